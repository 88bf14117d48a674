"""
Write the folders of bad input beside this file, one tiny region folder a case.

Run it after changing a case: `python tests/broken/make_cases.py`. What spreadnet must say of each
is written by hand in `expect.toml`. The district is invented and lies in open ocean.
"""

from __future__ import annotations

import io
import json
import re
import shutil
import tempfile
import zipfile
from datetime import datetime
from pathlib import Path

import geopandas as gpd
import openpyxl
import shapely

HERE = Path(__file__).parent
STAMP = datetime(2026, 1, 1)

REGION = """name = "Invented district"
season_first_day = 2027-05-15
season_last_day = 2027-09-30
species = {dreissenid_mussel = 1.0}
"""
LAKES = """lake_id,name,longitude,latitude,area_ha
L01,North,-128.05,-41.02,120
L02,South,-127.90,-41.10,85
L03,East,-127.70,-41.05,40
"""
LANDINGS = """landing_id,lake_id,name,longitude,latitude,ramp_lanes
A01,L01,North ramp,-128.049,-41.021,2
A02,L02,South ramp,-127.901,-41.101,1
A03,L03,East ramp,-127.701,-41.051,1
"""
STATUS = """lake_id,species,status,first_found,surveys
L01,dreissenid_mussel,present,2021,4
L02,dreissenid_mussel,absent,,2
"""
VISITS = """visit_id,landing_id,date,start,end,launches
V01,A01,2026-07-04,08:00,12:00,31
V02,A02,2026-07-08,14:30,18:00,12
"""
CONTACTS = """visit_id,direction,last_water,next_water,days_out,plug
V01,launching,L02,,3,no
V01,retrieving,,none,,yes
V02,launching,outside,,20,not checked
"""
BASE = {
    "region.toml": REGION,
    "lakes.csv": LAKES,
    "landings.csv": LANDINGS,
    "status.csv": STATUS,
}
SEEN = {"visits.csv": VISITS, "contacts.csv": CONTACTS}


def changed(text: str, old: str, new: str) -> str:
    """Text with one place changed, which must be there."""
    assert old in text, old
    return text.replace(old, new)


def boxes(rings: dict[str, list], **extra: dict) -> str:
    """Lakes as GeoJSON from the outer ring of each."""
    features = [
        {
            "type": "Feature",
            "properties": {"lake_id": name.split("#")[0], **extra.get(name, {})},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }
        for name, ring in rings.items()
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}, indent=1) + "\n"


def square(longitude: float, latitude: float, half: float = 0.01) -> list:
    """Ring of a square."""
    w, e, s, n = longitude - half, longitude + half, latitude - half, latitude + half
    return [[w, s], [e, s], [e, n], [w, n], [w, s]]


RINGS = {
    "L01": square(-128.05, -41.02),
    "L02": square(-127.90, -41.10),
    "L03": square(-127.70, -41.05),
}
BOW_TIE = [[-127.91, -41.11], [-127.89, -41.09], [-127.89, -41.11], [-127.91, -41.09]]


def metres(rings: dict[str, list]) -> dict[str, list]:
    """The rings in UTM metres, as if a GIS had written GeoJSON without reprojecting."""
    shapes = gpd.GeoSeries([shapely.Polygon(r) for r in rings.values()], crs=4326).to_crs(32709)
    return {
        name: [[round(e, 1), round(n, 1)] for e, n in shape.exterior.coords]
        for name, shape in zip(rings, shapes, strict=True)
    }


def shapefile(*, prj: bool, crs: int = 4326) -> dict[str, bytes]:
    """The parts of a shapefile of the lakes."""
    frame = gpd.GeoDataFrame(
        {"lake_id": list(RINGS)},
        geometry=[shapely.Polygon(ring) for ring in RINGS.values()],
        crs=crs,
    )
    with tempfile.TemporaryDirectory() as folder:
        frame.to_file(Path(folder) / "lakes.shp")
        parts = {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}
    return parts if prj else {n: b for n, b in parts.items() if not n.endswith(".prj")}


def damaged(data: bytes) -> bytes:
    """The workbook with its sheet cut off."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.infolist():
            body = b"<x" if "sheet1" in part.filename else old.read(part)
            new.writestr(part, body, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def workbook(
    rows: list[list], *, merge: str = "", more: tuple[str, ...] = (), chart: bool = False
) -> bytes:
    """An XLSX of one sheet of rows, the same bytes each time; `more` are further filled sheets."""
    book = openpyxl.Workbook()
    book.properties.created = book.properties.modified = STAMP
    sheet = book.active
    sheet.title = "Sheet1"
    for row in rows:
        sheet.append(row)
    if merge:
        sheet.merge_cells(merge)
    if chart:
        book.create_chartsheet("Chart1")
    for name in more:
        book.create_sheet(name).append(["something"])
    out = io.BytesIO()
    book.save(out)
    return _stamped(out.getvalue())


def _stamped(data: bytes) -> bytes:
    """The archive with fixed times, so that a rerun changes nothing."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in sorted(old.namelist()):
            body = old.read(name)
            if name == "docProps/core.xml":
                head, _, tail = body.partition(b"<dcterms:modified")
                body = (
                    head
                    + b"<dcterms:modified"
                    + tail.replace(
                        tail[tail.index(b">") + 1 : tail.index(b"</")], b"2026-01-01T00:00:00Z"
                    )
                )
            new.writestr(zipfile.ZipInfo(name, STAMP.timetuple()[:6]), body, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def rows_of(text: str) -> list[list]:
    """CSV as rows for a workbook, numbers as numbers."""
    return [[_cell(cell) for cell in line.split(",")] for line in text.splitlines()]


def _cell(text: str) -> object:
    """A number where the text is one."""
    try:
        return float(text)
    except ValueError:
        return text or None


def cases() -> dict[str, dict[str, str | bytes | None]]:
    """Files that differ from the base region in each case; None takes a file away."""
    lakes_as = {"lakes.csv": None}
    return {
        # tables and columns
        "missing_table": {"landings.csv": None, "landing.csv": LANDINGS},
        "missing_column": {"status.csv": "lake_id,status\nL01,present\n"},
        "unknown_column": {"lakes.csv": changed(LAKES, "area_ha", "area_ha,dept_m")},
        "duplicate_heading": {"landings.csv": changed(LANDINGS, "ramp_lanes", "name")},
        "duplicate_id": {"lakes.csv": LAKES + "L02,Far south,-127.92,-41.30,11\n"},
        "two_files": {"lakes.geojson": boxes(RINGS)},
        "empty_file": {"status.csv": ""},
        "no_rows": {"landings.csv": LANDINGS.splitlines()[0] + "\n"},
        "missing_value": {"status.csv": changed(STATUS, "L02,", ",")},
        "long_row": {"lakes.csv": changed(LAKES, "L02,South", "L02,South, the long one")},
        "quotes": {"lakes.csv": changed(LAKES, "L02,South", 'L02,"South')},
        # references
        "unknown_lake": {"landings.csv": changed(LANDINGS, "A02,L02", "A02,L20")},
        "unknown_landing": {**SEEN, "visits.csv": changed(VISITS, "V02,A02", "V02,A09")},
        "zeros_lost": {
            "lakes.csv": changed(LAKES, "L01", "007"),
            "landings.csv": changed(LANDINGS, "A01,L01", "A01,7"),
            "status.csv": changed(STATUS, "L01", "007"),
        },
        "contact_without_visit": {**SEEN, "contacts.csv": changed(CONTACTS, "V02,", "V07,")},
        "contacts_without_visits": {"contacts.csv": CONTACTS},
        "unknown_water": {
            **SEEN,
            "contacts.csv": changed(CONTACTS, "launching,L02", "launching,X9"),
        },
        "unknown_species": {
            "status.csv": changed(STATUS, "L02,dreissenid_mussel", "L02,dreisenid_musel")
        },
        # cells
        "decimal_comma": {"lakes.csv": changed(LAKES, ",85", ',"12,5"')},
        "negative_area": {"lakes.csv": changed(LAKES, ",85", ",-85")},
        "not_whole": {"landings.csv": changed(LANDINGS, "-41.101,1", "-41.101,1.5")},
        "unknown_word": {
            **SEEN,
            "contacts.csv": changed(CONTACTS, "V02,launching", "V02,lanuching"),
        },
        "unknown_answer": {**SEEN, "contacts.csv": changed(CONTACTS, "not checked", "perhaps")},
        "status_word": {"status.csv": changed(STATUS, "present", "infested")},
        "absent_unseen": {"status.csv": changed(STATUS, "absent,,2", "absent,,0")},
        "clock": {**SEEN, "visits.csv": changed(VISITS, "08:00", "0.3333")},
        "end_before_start": {**SEEN, "visits.csv": changed(VISITS, "14:30,18:00", "14:30,02:00")},
        "date_styles": {
            **SEEN,
            "visits.csv": changed(VISITS, "2026-07-04", "25/07/2026")
            + "V03,A03,07/26/2026,08:00,10:00,4\nV04,A03,4 July 2026,08:00,10:00,4\n",
        },
        "date_ambiguous": {**SEEN, "visits.csv": changed(VISITS, "2026-07-04", "05/03/2026")},
        "date_serial": {**SEEN, "visits.csv": changed(VISITS, "2026-07-04", "46207")},
        "stream_to_itself": {
            "streams.csv": "upstream_lake_id,downstream_lake_id,distance_km\nL02,L02,4\n"
        },
        "movement_to_itself": {
            "movements.csv": "from_lake_id,to_lake_id,trips\nL01,L02,140\nL03,L03,20\n"
        },
        "date_late": {
            **SEEN,
            "visits.csv": changed(VISITS, "2026-07-08", "2027-10-01"),
            "status.csv": STATUS.replace("surveys\n", "surveys,last_survey\n").replace(
                "2021,4", "2028,4,2030-01-01"
            ),
        },
        "date_early": {**SEEN, "visits.csv": changed(VISITS, "2026-07-08", "1997-05-14")},
        "first_found_1700": {"status.csv": changed(STATUS, "2021", "1700")},
        "trips_endless": {
            "movements.csv": "from_lake_id,to_lake_id,trips\nL01,L02,inf\nL02,L03,1e7\n"
        },
        "counts_contradict": {
            **SEEN,
            "visits.csv": "visit_id,landing_id,date,start,end,launches,retrievals,refused\n"
            "V01,A01,2026-07-04,08:00,12:00,0,0,\nV02,A02,2026-07-08,14:30,18:00,3,2,30\n",
        },
        "too_many_boats": {**SEEN, "visits.csv": changed(VISITS, "18:00,12", "14:35,12")},
        # people
        "personal_column": {
            **SEEN,
            "contacts.csv": "visit_id,direction,boat_registration\nV01,launching,ZZ 1234 QX\n",
        },
        "staff_misspelt": {"landings.csv": changed(LANDINGS, "ramp_lanes", "can_staffed")},
        "personal_value": {
            "landings.csv": changed(LANDINGS, "South ramp", "ask warden@example.org"),
        },
        # places
        "swapped": {
            "lakes.csv": changed(LAKES, "longitude,latitude", "latitude,longitude"),
            "landings.csv": changed(LANDINGS, "longitude,latitude", "latitude,longitude"),
        },
        "swapped_landings": {
            "landings.csv": changed(LANDINGS, "longitude,latitude", "latitude,longitude")
        },
        "swapped_geojson": {
            **lakes_as,
            "lakes.geojson": boxes({n: [[b, a] for a, b in r] for n, r in RINGS.items()}),
        },
        "longitude_sign": {"landings.csv": LANDINGS.replace(",-12", ",12")},
        "crs_missing": {**lakes_as, **shapefile(prj=False)},
        "crs_metres": {**lakes_as, "lakes.geojson": boxes(metres(RINGS))},
        "crs_degrees": {**lakes_as, **shapefile(prj=True, crs=32709)},
        "crs_wrong": {"region.toml": REGION + 'crs = "EPSG:3857"\n'},
        "crs_geographic": {"region.toml": REGION + 'crs = "EPSG:4326"\n'},
        "crs_unknown": {"region.toml": REGION + 'crs = "EPSG:99999"\n'},
        "invalid_polygon": {
            **lakes_as,
            "lakes.geojson": boxes({**RINGS, "L02": [*BOW_TIE, BOW_TIE[0]]}),
        },
        "lake_in_two_rows": {
            **lakes_as,
            "lakes.geojson": boxes({**RINGS, "L01#2": square(-128.08, -41.02)}),
        },
        "point_without_area": {"lakes.csv": changed(LAKES, "-41.05,40", "-41.05,")},
        "far_from_lake": {
            "landings.csv": changed(LANDINGS, "-127.901,-41.101", "-127.901,-41.401")
        },
        "far_from_others": {"lakes.csv": LAKES + "L04,Slip,-12.8,-41.05,40\n"},
        "no_lake_near": {
            "landings.csv": changed(
                LANDINGS, "A02,L02,South ramp,-127.901,-41.101", "A02,,South ramp,-127.8,-41.2"
            )
        },
        "which_lake": {
            **lakes_as,
            "lakes.geojson": boxes({**RINGS, "L04": square(-127.879, -41.10)}),
            "landings.csv": changed(
                LANDINGS, "A02,L02,South ramp,-127.901", "A02,,South ramp,-127.8895"
            ),
        },
        "same_point": {"lakes.csv": changed(LAKES, "-127.70,-41.05", "-128.05,-41.02")},
        "same_outline": {
            **lakes_as,
            "lakes.geojson": boxes({**RINGS, "L04": RINGS["L02"], "L05": RINGS["L02"]}),
        },
        "lake_in_lake": {
            **lakes_as,
            "lakes.geojson": boxes({**RINGS, "L04": square(-127.895, -41.10, 0.004)}),
        },
        "null_island": {"lakes.csv": re.sub(r"-12\d\.\d+,-41\.\d+", "0,0", LAKES)},
        "polar": {
            "lakes.csv": LAKES.replace(",-41.", ",85."),
            "landings.csv": LANDINGS.replace(",-41.", ",85."),
        },
        "longitude_360": {
            **lakes_as,
            "lakes.geojson": boxes({n: [[a + 360, b] for a, b in r] for n, r in RINGS.items()}),
        },
        "longitude_360_csv": {"lakes.csv": changed(LAKES, "-127.70", "232.3")},
        "not_finite": {
            **lakes_as,
            "lakes.geojson": boxes(
                {**RINGS, "L02": [*RINGS["L02"][:2], [1e999, -41.1], RINGS["L02"][0]]}
            ),
        },
        # workbooks and encodings
        "title_row": {
            "lakes.csv": None,
            "lakes.xlsx": workbook([["Lakes of the invented district"], [], *rows_of(LAKES)]),
        },
        "merged_cells": {"lakes.csv": None, "lakes.xlsx": workbook(rows_of(LAKES), merge="B3:B4")},
        "formula_unsaved": {
            "lakes.csv": None,
            "lakes.xlsx": workbook([*rows_of(LAKES)[:3], ["L03", "East", -127.7, -41.05, "=20*2"]]),
        },
        "which_sheet": {"lakes.csv": None, "lakes.xlsx": workbook(rows_of(LAKES), more=("notes",))},
        "unreadable": {"lakes.csv": LAKES.encode() + b"L04,\x81\x8d,-127.7,-41.1,5\n"},
        "workbook_named_csv": {"lakes.csv": workbook(rows_of(LAKES))},
        "utf8_mark": {"lakes.csv": b"\xef\xbb\xbf" + LAKES.encode()},
        "utf16": {
            "lakes.csv": changed(LAKES, "North", "N\u00f8rd").replace(",", "\t").encode("utf-16")
        },
        "windows1252": {"lakes.csv": changed(LAKES, "North", "Lac d\u2019Or").encode("cp1252")},
        "semicolons": {
            "region.toml": REGION + 'decimal = ","\n',
            "lakes.csv": LAKES.replace(".", "#")
            .replace(",", ";")
            .replace("#", ",")
            .replace(";85", ";85,5"),
            "landings.csv": LANDINGS.replace(".", "#").replace(",", ";").replace("#", ","),
        },
        "number_too_large": {
            "lakes.csv": LAKES.replace("L0", "").replace(",120", ",1e400"),
            "landings.csv": LANDINGS.replace(",L0", ","),
            "status.csv": STATUS.replace("L0", ""),
            **SEEN,
            "contacts.csv": CONTACTS.replace("launching,L02", "launching,9.0"),
        },
        "id_decimals": {
            "lakes.csv": LAKES.replace("L0", ""),
            "landings.csv": LANDINGS.replace(",L0", ","),
            "status.csv": STATUS.replace("L0", ""),
            **SEEN,
            "contacts.csv": CONTACTS.replace("launching,L02", "launching,2.0"),
        },
        "control_letters": {
            "lakes.csv": LAKES.replace("L02", "L\x02").replace("L03", "L\ufffe"),
            "landings.csv": LANDINGS.replace("L02", "L\x02").replace("L03", "L\ufffe"),
            "status.csv": STATUS.replace("L02", "L\x02"),
        },
        "control_name": {"lakes.csv": changed(LAKES, "South", "So\x1b[31mth")},
        "look_alikes": {
            "lakes.csv": LAKES.replace("L01", "L 1").replace("L02", "L\u00a01"),
            "landings.csv": LANDINGS.replace("L01", "L 1").replace("L02", "L\u00a01"),
            "status.csv": STATUS.replace("L01", "L 1").replace("L02", "L\u00a01"),
        },
        "long_texts": {
            "lakes.csv": LAKES.replace("L02", "L" * 101).replace("East", "E" * 201),
            "landings.csv": LANDINGS.replace("L02", "L" * 101),
            "status.csv": STATUS.replace("L02", "L" * 101),
        },
        "damaged_workbook": {"lakes.csv": None, "lakes.xlsx": damaged(workbook(rows_of(LAKES)))},
        "chart_sheet": {"lakes.csv": None, "lakes.xlsx": workbook(rows_of(LAKES), chart=True)},
        "utf32": {"lakes.csv": LAKES.encode("utf-32")},
        "not_text": {"lakes.csv": b"%PDF-1.4\n" + bytes(range(32)) * 4},
        "error_value": {
            "lakes.csv": None,
            "lakes.xlsx": workbook(
                [*rows_of(LAKES)[:3], ["L03", "East", -127.7, -41.05, "#DIV/0!"]]
            ),
        },
        # settings
        "toml_deep": {"region.toml": REGION + f"holidays = {'[' * 2000}{']' * 2000}\n"},
        "toml_digits": {"region.toml": REGION + f"hours = {'9' * 5000}\n"},
        "toml_hex": {"region.toml": REGION + f"hours = 0x{'f' * 5000}\nseasons = {'9' * 400}\n"},
        "assumptions_absurd": {
            "region.toml": REGION + "assumptions = {water_temperature_c = 1e6, "
            "lake_area_exponent = 1e6, month_spread = 1e6, weekend_ratio = 1e-12, refusal = 0.9, "
            "dreissenid_mussel = {water_hours = 1e9, establish = 0.5}}\n"
        },
        "weight_tiny": {"region.toml": changed(REGION, "= 1.0}", "= 1e-300}")},
        "worth": {
            "lakes.csv": LAKES.replace("area_ha", "area_ha,worth")
            .replace("120", "120,1e-300")
            .replace(",85", ",85,1e300")
            .replace(",40", ",40,2")
        },
        "season_another_age": {"region.toml": REGION.replace("2027", "1927")},
        "shift_too_long": {
            "region.toml": REGION
            + 'shift_hours = 5\nmost_hours_per_landing_week = 4\nblocks = ["06:00-09:00"]\n'
        },
        "no_hours": {"region.toml": REGION + "hours = 0\nmost_hours_per_landing_week = 0\n"},
        "not_toml": {"region.toml": REGION + "hours = many\n"},
        "unknown_key": {"region.toml": REGION + "hour = 100\n"},
        "missing_key": {"region.toml": changed(REGION, 'name = "Invented district"\n', "")},
        "season_reversed": {"region.toml": changed(REGION, "2027-09-30", "2026-09-30")},
        "blocks_overlap": {"region.toml": REGION + 'blocks = ["06:00-12:00", "10:00-14:00"]\n'},
        "unknown_assumption": {"region.toml": REGION + "assumptions = {refusl = 0.1}\n"},
        "species_misspelt": {
            "region.toml": changed(REGION, "dreissenid_mussel", "dreisenid_mussel")
        },
        # nothing wrong: read, with a note
        "all_infested": {
            "status.csv": "lake_id,species,status\n"
            + "".join(f"L0{i},dreissenid_mussel,present\n" for i in (1, 2, 3))
        },
        "none_infested": {
            "status.csv": "lake_id,species,status,surveys\nL02,dreissenid_mussel,absent,2\n"
        },
        "no_interviews": {"visits.csv": VISITS},
        "one_landing": {"landings.csv": "\n".join(LANDINGS.splitlines()[:2]) + "\n"},
        "no_other_lake": {
            **SEEN,
            "contacts.csv": changed(CONTACTS, "launching,L02", "launching,L01"),
        },
        "overlap": {
            **lakes_as,
            "lakes.geojson": boxes({**RINGS, "L04": square(-127.884, -41.10)}),
        },
        "visit_twice": {
            **SEEN,
            "visits.csv": VISITS + "V03,A01,2026-07-04,8:00,12:00,31\n",
        },
        "winter": {**SEEN, "visits.csv": changed(VISITS, "2026-07-08", "2026-01-10")},
        "counts_differ": {**SEEN, "visits.csv": changed(VISITS, "18:00,12", "18:00,0")},
        # many at once
        "everything": {
            **SEEN,
            "region.toml": REGION + "hour = 100\n",
            "lakes.csv": changed(LAKES, ",120", ",none"),
            "landings.csv": changed(LANDINGS, "A02,L02", "A02,L20"),
            "status.csv": changed(STATUS, "absent", "gone"),
            "visits.csv": changed(VISITS, "14:30", "19:30"),
            "contacts.csv": changed(CONTACTS, "20,not", "-20,not"),
        },
    }


def main() -> None:
    """Write every case anew."""
    for old in HERE.iterdir():
        if old.is_dir() and not old.name.startswith("__"):
            shutil.rmtree(old)
    for name, change in cases().items():
        folder = HERE / name
        folder.mkdir()
        for file, content in {**BASE, **change}.items():
            if content is None:
                continue
            data = content.encode() if isinstance(content, str) else content
            (folder / file).write_bytes(data)


if __name__ == "__main__":
    main()
