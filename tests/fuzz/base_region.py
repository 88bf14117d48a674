"""The region that every mutant is made from: all nine tables of an invented district, as text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from written import Form

# Places far out in open ocean: the third lies on both sides of 180 degrees.
PLACES = ((-128.05, -41.02), (40.4, -38.2), (179.93, -44.5))
HALF_LAKE = 0.006  # degrees from the middle of a lake to its sides
SETTINGS = {
    "name": '"Invented district"',
    "season_first_day": "2027-05-15",
    "season_last_day": "2027-09-30",
    "species": "{dreissenid_mussel = 1.0, spiny_waterflea = 0.5}",
    "hours": "60",
    "cost_per_hour": "30.5",
    "holidays": "[2027-07-05]",
    "seasons": "3",
    "jurisdiction_hours": '{"invented county" = 8}',
}
LAKES = """lake_id,name,longitude,latitude,area_ha,depth_m,secchi_m,calcium_mg_l,worth
001,Ünder Lake,+0.00,+0.00,120,14,3.5,22,1
002,"Côte Basse, the long one",+0.15,-0.08,85.5,6.25,,18.5,2
1E3,East Lake,+0.35,-0.03,1040.25,,2,,1
L04,East Lake,+0.20,+0.11,40,9,1.5,31,0.5
"""
LANDINGS = """landing_id,lake_id,name,longitude,latitude,\
ramp_lanes,trailer_stalls,jurisdiction,can_staff
01,001,Nørth ramp,+0.001,+0.001,2,25,invented county,yes
02,002,South ramp,+0.151,-0.079,1,10,,no
0A,1E3,Long pier,+0.351,-0.031,3,40,"county, the other",yes
A04,L04,Mill ramp,+0.199,+0.112,1,8,invented county,yes
A05,001,Reed slip,-0.002,-0.001,1,4,,yes
"""
STATUS = """lake_id,species,status,first_found,surveys,last_survey
001,dreissenid_mussel,present,2021,4,2026-08-20
002,dreissenid_mussel,absent,,2,2026-08-21
1E3,dreissenid_mussel,unknown,,0,
1E3,spiny_waterflea,present,2022-06-30,3,2025-09-12
"""
STREAMS = """upstream_lake_id,downstream_lake_id,distance_km,barrier
001,002,6.5,no
002,1E3,12.25,yes
"""
VISITS = """visit_id,landing_id,date,start,end,educators,launches,retrievals,refused
001,01,2026-07-04,08:00,12:00,2,31,18,1
002,02,2026-07-08,14:30,18:00,1,12,9,0
V03,0A,2026-08-15,06:15,10:45,1,22,17,2
V04,A04,2026-06-19,10:00,13:30,3,9,4,0
"""
CONTACTS = """visit_id,direction,craft,last_water,next_water,days_out,\
plug,plants,animals,mud,water,corrected
001,launching,motor,002,,3,no,yes,no,no,no,yes
001,retrieving,motor,,none,,yes,no,no,not checked,yes,
002,launching,paddle,outside,,20.5,not checked,no,no,no,no,
002,retrieving,sail,,001,,no,no,no,no,yes,no
V03,launching,ballast,none,,,no,no,yes,no,,yes
V03,launching,personal watercraft,1E3,,0,no,no,no,no,no,
V04,retrieving,unknown,,outside,,,,,,,
"""
MOVEMENTS = """from_lake_id,to_lake_id,trips
001,002,140
002,1E3,95.5
"""
HOURS = """code,date,block,hours,home_landing_id,most_km
E1,2027-07-03,06:00-10:00,4,01,40
E2,2027-07-04,any,3.5,,
0E7,2027-08-01,10:00-14:00,4,0A,25.5
"""
PROMISED = """date,landing_id,block,code
2027-07-03,01,06:00-10:00,E1
2027-07-10,02,10:00-14:00,
"""
SPATIAL = ("lakes", "landings")
NUMBERS = {
    *("longitude", "latitude", "area_ha", "depth_m", "secchi_m", "calcium_mg_l", "worth"),
    *("ramp_lanes", "trailer_stalls", "surveys", "distance_km", "educators", "launches"),
    *("retrievals", "refused", "days_out", "trips", "hours", "most_km"),
}
DATES = {"date", "first_found", "last_survey"}
CLOCKS = {"start", "end"}
ANSWERS = {"can_staff", "barrier", "plug", "plants", "animals", "mud", "water", "corrected"}


@dataclass(frozen=True, slots=True)
class Sheet:
    """One table: headings, rows of text cells, and how they are to be written."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    form: Form = field(default_factory=Form)

    def cell(self, row: int, heading: str) -> str:
        """Text of one cell."""
        return self.rows[row][self.headings.index(heading)]

    def with_cell(self, row: int, heading: str, text: str) -> Sheet:
        """The table with one cell changed."""
        at = self.headings.index(heading)
        changed = (*self.rows[row][:at], text, *self.rows[row][at + 1 :])
        return replace(self, rows=(*self.rows[:row], changed, *self.rows[row + 1 :]))


@dataclass(frozen=True, slots=True)
class Link:
    """A symbolic link in place of a file."""

    target: str


@dataclass(frozen=True, slots=True)
class Pipe:
    """A named pipe in place of a file: opening it to read waits for ever."""


Content = bytes | Link | Pipe | None


@dataclass(frozen=True, slots=True)
class Folder:
    """A region folder before it is written; `raw` holds files that replace or join the others."""

    sheets: Mapping[str, Sheet]
    settings: Mapping[str, str]
    place: int = 0
    outlines: bool = False
    raw: Mapping[str, Content] = field(default_factory=dict)

    def with_sheet(self, table: str, sheet: Sheet) -> Folder:
        """The folder with one table changed."""
        return replace(self, sheets={**self.sheets, table: sheet})

    def with_form(self, table: str, **changes: object) -> Folder:
        """The folder with one table written in another way."""
        sheet = self.sheets[table]
        return self.with_sheet(table, replace(sheet, form=replace(sheet.form, **changes)))

    def with_cell(self, table: str, row: int, heading: str, text: str) -> Folder:
        """The folder with one cell changed."""
        return self.with_sheet(table, self.sheets[table].with_cell(row, heading, text))

    def with_setting(self, key: str, text: str | None) -> Folder:
        """The folder with one key of `region.toml` set, or taken out."""
        kept = {k: v for k, v in self.settings.items() if k != key}
        return replace(self, settings=kept if text is None else {**kept, key: text})

    def with_raw(self, **files: Content) -> Folder:
        """The folder with files as they stand; None takes one away. `__` stands for a point."""
        named = {name.replace("__", "."): content for name, content in files.items()}
        return replace(self, raw={**self.raw, **named})


def base_folder(place: int = 0, *, outlines: bool = False) -> Folder:
    """
    The valid region.

    Parameters
    ----------
    place : int
        Which of `PLACES` it lies at.
    outlines : bool
        Whether lakes are squares in a GeoJSON in place of points in a CSV.
    """
    texts = {
        "lakes": LAKES,
        "landings": LANDINGS,
        "status": STATUS,
        "streams": STREAMS,
        "visits": VISITS,
        "contacts": CONTACTS,
        "movements": MOVEMENTS,
        "hours": HOURS,
        "promised": PROMISED,
    }
    sheets = {table: _sheet(text, PLACES[place]) for table, text in texts.items()}
    folder = Folder(sheets, SETTINGS, place, outlines)
    return folder.with_form("lakes", kind="geojson") if outlines else folder


def _sheet(text: str, place: tuple[float, float]) -> Sheet:
    """A table of CSV text, with places counted from the middle of the district."""
    import csv
    import io

    headings, *rows = csv.reader(io.StringIO(text))
    made = [tuple(_placed(h, c, place) for h, c in zip(headings, r, strict=True)) for r in rows]
    return Sheet(tuple(headings), tuple(made))


def _placed(heading: str, cell: str, place: tuple[float, float]) -> str:
    """A cell, or where it is a longitude or latitude the place in degrees."""
    if heading not in ("longitude", "latitude"):
        return cell
    degrees = float(cell) + place[heading == "latitude"]
    return f"{degrees - 360 if degrees > 180 else degrees:.6g}"
