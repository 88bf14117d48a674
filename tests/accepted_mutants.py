"""
Small regions changed at random within what `check` takes: odd ids, ends of ranges, empty tables.

Every number of a mutant names it for good: the same number gives the same folder.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np

from spreadnet.cli import main
from spreadnet.decisions.shifts.region_rules import first_free_day
from spreadnet.errors import SpreadnetError
from spreadnet.evidence.columns import columns
from spreadnet.evidence.read import check_region
from spreadnet.outputs.write import PLAN_FILES

REGION = {
    "name": '"Invented district"',
    "season_first_day": "2027-05-15",
    "season_last_day": "2027-09-30",
    "species": "{dreissenid_mussel = 1.0}",
    "hours": "16",
}
TABLES = {
    "lakes": """lake_id,name,longitude,latitude,area_ha,depth_m,secchi_m,calcium_mg_l,worth
L01,North,-128.05,-41.02,120,14,3,22,1
L02,South,-127.90,-41.10,85,8,,,1
L03,East,-127.70,-41.05,40,,2,,2""",
    "landings": """landing_id,lake_id,name,longitude,latitude,ramp_lanes,trailer_stalls,jurisdiction,can_staff
A01,L01,North ramp,-128.049,-41.021,2,25,invented county,yes
A02,L02,South ramp,-127.901,-41.101,1,10,,yes
A03,L03,East ramp,-127.701,-41.051,1,,,no""",  # noqa: E501
    "status": """lake_id,species,status,first_found,surveys,last_survey
L01,dreissenid_mussel,present,2021,4,2026-08-20
L02,dreissenid_mussel,absent,,2,""",
    "streams": """upstream_lake_id,downstream_lake_id,distance_km,barrier
L01,L02,6.5,no""",
    "visits": """visit_id,landing_id,date,start,end,educators,launches,retrievals,refused
V01,A01,2026-07-04,08:00,12:00,1,31,12,1
V02,A02,2026-07-08,14:30,18:00,2,12,,0""",
    "contacts": """visit_id,direction,craft,last_water,next_water,days_out,plug,plants,animals,mud,water,corrected
V01,launching,motor,L02,,3,no,yes,no,no,no,yes
V01,retrieving,ballast,,L03,,yes,no,no,not checked,yes,
V02,launching,paddle,outside,,20,not checked,no,no,no,no,""",  # noqa: E501
    "movements": "from_lake_id,to_lake_id,trips",
    "hours": """code,date,block,hours,home_landing_id,most_km
E1,2027-06-05,10:00-14:00,4,A01,40
E2,2027-06-06,any,8,,""",
    "promised": """date,landing_id,block,code
2027-07-03,A01,06:00-10:00,E1""",
}
ODD_IDS = (
    "007",
    "nan",
    "None",
    "NA",
    "null",
    "inf",
    "1e5",
    "true",
    "L 01",
    "a,b",
    "a:b",
    "a/b",
    "x=y",
    "(1)",
    "#1",
    "\u00d8-1",
    "\u6e56",
    "\u0645\u06cc\u200c\u0631",
    "a\u00a0b",
    "'1",
    'q"q',
    "<b>",
    "${x}",
    "a\\b",
    "&amp;",
    "0",
    "_x0041_",
    "2027-01-01",
    "rank",
    "lake_id",
    "d%",
    "1.5",
    "outside1",
    "geometry",
    "x" * 100,
    "\U0001f6a4",
    "a_b-c.d~e",
    "*",
    "?",
    "S001",
    "{0}",
    "index",
    "1-2",
)
ODD_NAMES = (
    "=1+1",
    "a;=b",
    "two\nlines",
    "-",
    "a; b; c",
    "<script>alert(1)</script>",
    "\u202eturned",
    "n" * 200,
    "nan",
    "\uff1dx",
    "_x003D_",
    '"',
    "\t",
    "a|b",
    "None",
)
CODES = (
    "1",
    "E-1",
    "e_9",
    "0",
    "A1b2C3d4E5f6",
    "007",
    "_1",
    "E1;E2",
    "-1",
    "E",
    "=1",
    "nan1",
    "1e5",
)


class Region:
    """Tables as rows of text, and settings, while they are changed."""

    def __init__(self) -> None:
        self.settings = dict(REGION)
        self.rows = {t: list(csv.DictReader(io.StringIO(text))) for t, text in TABLES.items()}
        self.heads = {t: text.splitlines()[0].split(",") for t, text in TABLES.items()}
        self.left_out = {"movements"}

    def rename(self, table: str, old: str, new: str) -> None:
        """An id changed wherever it stands."""
        key = {"lakes": "lake", "landings": "landing", "visits": "visit"}[table]
        for rows in self.rows.values():
            for row in rows:
                for column, value in row.items():
                    water = table == "lakes" and column.endswith("_water")
                    if value == old and (f"{key}_id" in column or water):
                        row[column] = new

    def write(self, folder: Path) -> Path:
        """The region as a folder."""
        text = "".join(f"{key} = {value}\n" for key, value in self.settings.items())
        (folder / "region.toml").write_text(text, "utf-8")
        for table, rows in self.rows.items():
            if table in self.left_out:
                continue
            with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
                out = csv.DictWriter(file, self.heads[table], lineterminator="\n")
                out.writeheader()
                out.writerows(rows)
        return folder


def odd_id(region, rng):
    """One id of odd letters, everywhere."""
    table = str(rng.choice(["lakes", "landings", "visits"]))
    rows = region.rows[table]
    if rows:
        key = region.heads[table][0]
        region.rename(table, str(rng.choice([row[key] for row in rows])), str(rng.choice(ODD_IDS)))


def odd_name(region, rng):
    """One free text."""
    table, column = [("lakes", "name"), ("landings", "name"), ("landings", "jurisdiction")][
        rng.integers(3)
    ]
    region.rows[table][rng.integers(len(region.rows[table]))][column] = str(rng.choice(ODD_NAMES))


def odd_code(region, rng):
    """Codes of people, alike in both tables or not."""
    code = str(rng.choice(CODES))
    for table in ("hours", "promised") if rng.random() < 0.6 else ("hours",):
        for row in region.rows[table][: 1 + int(rng.integers(2))]:
            row["code"] = code


def end_of_range(region, rng):
    """One number at the end of what tables.csv allows, or 0, or empty."""
    table = str(rng.choice([t for t, rows in region.rows.items() if rows]))
    known = [
        c
        for n, c in columns(table).items()
        if c.kind in ("number", "integer") and n in region.heads[table]
    ]
    known = [c for c in known if c.name not in ("longitude", "latitude")]
    if not known:
        return
    column = known[rng.integers(len(known))]
    ends = [c for c in (column.low, column.high) if c is not None]
    value = str(rng.choice([*(f"{end:g}" for end in ends), "0", "1", ""]))
    rows = region.rows[table]
    for row in rows if rng.random() < 0.4 else [rows[rng.integers(len(rows))]]:
        row[column.name] = value


def setting_at_its_end(region, rng):
    """One setting at the end of what tables.csv allows."""
    known = [c for c in columns("region").values() if c.kind in ("number", "integer")]
    column = known[rng.integers(len(known))]
    ends = [column.low, min(column.high, 400.0) if column.name == "hours" else column.high]
    region.settings[column.name] = f"{ends[rng.integers(2)]:.10g}"
    if column.name == "shift_hours":
        region.settings["blocks"] = '["00:00-24:00"]'


def edge_day(region, rng):
    """A day of visits, offers or promises at an edge of the season."""
    days = ["2027-05-15", "2027-09-30", "2027-05-14", "2027-10-01", "2027-06-01", "1997-06-01"]
    table = str(rng.choice(["visits", "hours", "promised"]))
    for row in region.rows[table]:
        if rng.random() < 0.7:
            row["date"] = str(rng.choice(days))


def other_season(region, rng):
    """A season of one day, of a year, over New Year."""
    first, last = [
        ("2027-07-03", "2027-07-03"),
        ("2027-01-01", "2027-12-31"),
        ("2026-12-01", "2027-11-30"),
        ("2027-07-05", "2027-07-09"),
        ("2028-02-29", "2028-02-29"),
        ("2027-06-05", "2027-06-06"),
    ][rng.integers(6)]
    region.settings |= {"season_first_day": first, "season_last_day": last}


def no_rows(region, rng):
    """A table left out, or with its headings only."""
    table = str(rng.choice(["streams", "visits", "contacts", "hours", "promised"]))
    gone = {table, "contacts"} if table == "visits" else {table}
    for name in gone:
        if rng.random() < 0.5:
            region.left_out.add(name)
        region.rows[name] = []


def one_status(region, rng):
    """All lakes infested, none, or nothing known."""
    word = str(rng.choice(["present", "absent", "unknown"]))
    lakes = [row["lake_id"] for row in region.rows["lakes"]]
    found = {"present": ["", "2021", "2026-08-20"], "absent": [""], "unknown": [""]}[word]
    region.rows["status"] = [
        {
            "lake_id": lake,
            "species": "dreissenid_mussel",
            "status": word,
            "first_found": str(rng.choice(found)),
            "surveys": "" if word == "unknown" else "3",
            "last_survey": "",
        }
        for lake in lakes
    ]


def fewer_places(region, rng):
    """A single lake, or a single landing."""
    if rng.random() < 0.5:
        kept = {row["lake_id"] for row in region.rows["lakes"][:1]}
        region.rows["lakes"] = region.rows["lakes"][:1]
        for table in ("landings", "status"):
            region.rows[table] = [r for r in region.rows[table] if r["lake_id"] in kept]
        region.rows["streams"], region.rows["movements"] = [], []
    else:
        region.rows["landings"] = region.rows["landings"][:1]
    places = {row["landing_id"] for row in region.rows["landings"]}
    lakes = {row["lake_id"] for row in region.rows["lakes"]} | {"outside", "none", ""}
    region.rows["visits"] = [r for r in region.rows["visits"] if r["landing_id"] in places]
    visits = {row["visit_id"] for row in region.rows["visits"]}
    region.rows["contacts"] = [
        r
        for r in region.rows["contacts"]
        if r["visit_id"] in visits and {r["last_water"], r["next_water"]} <= lakes
    ]
    region.rows["promised"] = [r for r in region.rows["promised"] if r["landing_id"] in places]


def nobody_may_stand(region, rng):
    """No landing can be staffed, or all."""
    word = str(rng.choice(["yes", "no"]))
    for row in region.rows["landings"]:
        row["can_staff"] = word


def other_blocks(region, rng):
    """Blocks of other lengths, and shifts that fit."""
    blocks, shift, mine = [
        ('["00:00-24:00"]', "24", "00:00-24:00"),
        ('["05:00-05:30", "10:00-14:00"]', "4", "05:00-05:30"),
        ('["09:00-18:00"]', "2.5", "09:00-18:00"),
        ('["20:00-24:00"]', "4", "20:00-24:00"),
        ('["06:07-10:13", "10:13-22:59"]', "1.1", "06:07-10:13"),
    ][rng.integers(5)]
    region.settings |= {"blocks": blocks, "shift_hours": shift, "most_hours_per_landing_week": "48"}
    for table in ("hours", "promised"):
        for row in region.rows[table]:
            if row["block"] != "any":
                row["block"] = mine


def more_people(region, rng):
    """Crews, offers of little time, many rows of one person, a jurisdiction that is owed hours."""
    region.settings["crew"] = str(rng.choice(["1", "2", "3"]))
    for k in range(int(rng.integers(12))):
        row = {
            "code": f"P{k % 4}",
            "date": f"2027-06-{1 + k:02d}",
            "block": str(rng.choice(["any", ""])),
            "hours": str(rng.choice(["", "0", "3.9", "24"])),
            "home_landing_id": "",
            "most_km": "0",
        }
        region.rows["hours"].append(row)
    if rng.random() < 0.4:
        region.settings["jurisdiction_hours"] = '{"invented county" = 8}'


def known_trips(region, rng):
    """A table of trips in place of interviews."""
    lakes = [row["lake_id"] for row in region.rows["lakes"]]
    region.left_out.discard("movements")
    region.rows["movements"] = [
        {"from_lake_id": a, "to_lake_id": b, "trips": str(rng.choice(["0", "1", "140", "1000000"]))}
        for a in lakes
        for b in lakes
        if a != b and rng.random() < 0.7
    ]


def costs(region, rng):
    """Costs and other settings that only words come from."""
    region.settings |= {"cost_per_hour": str(rng.choice(["0", "30"])), "cost_per_km": "0.4"}
    region.settings["time_zone"] = str(rng.choice(['"Etc/GMT+9"', '"UTC"', '"Africa/Casablanca"']))
    region.settings["education"] = str(rng.choice(['"talk only"', '"check together"']))


def worth_nothing(region, rng):
    """Lakes that count for nothing, or for very much."""
    for row in region.rows["lakes"]:
        row["worth"] = str(rng.choice(["0", "1000000", "0.000001", "1"]))


CHANGES = (
    odd_id,
    odd_id,
    odd_id,
    odd_name,
    odd_name,
    odd_code,
    odd_code,
    end_of_range,
    end_of_range,
    end_of_range,
    end_of_range,
    setting_at_its_end,
    setting_at_its_end,
    edge_day,
    other_season,
    no_rows,
    no_rows,
    one_status,
    fewer_places,
    nobody_may_stand,
    other_blocks,
    more_people,
    known_trips,
    costs,
    worth_nothing,
)


def mutant(number: int, folder: Path) -> list[str]:
    """Write one mutant into an empty folder; the names of its changes."""
    rng = np.random.default_rng([number, 9])
    region = Region()
    changes = [CHANGES[i] for i in rng.integers(len(CHANGES), size=int(rng.integers(1, 5)))]
    for change in changes:
        change(region, rng)
    region.write(folder)
    return [change.__name__ for change in changes]


RANKING = {"landings.csv", "lakes.csv", "trips.csv", "region.gpkg", "map.html", "run.json"}
QUICK = ("--draws", "2", "--seasons", "2", "--workers", "1", "--debug")


def finish(region: Path, folder: Path) -> str:
    """
    Run both commands on a region; `refused` by `check`, `finished`, or `told` why there is no plan.

    Any other end raises: an exception that is no `SpreadnetError`, or files that are missing.
    """
    problems, read = check_region(region)
    if problems:
        return "refused"
    over = first_free_day(read) > read.settings.season_last_day
    ends = {}
    for command in ("run", "plan"):
        out = folder / command
        try:
            code = main([command, str(region), "--out", str(out), *QUICK])
        except SpreadnetError as error:
            assert command == "plan", error
            assert len(str(error).splitlines()) > 1 and "Error" not in str(error)
            ends[command] = "told"
            continue
        there = {path.name for path in out.iterdir()}
        assert command == "plan" or there >= RANKING
        ends[command] = "finished" if code == 0 else "told"
        if code == 0:
            assert over or there >= set(PLAN_FILES)
        else:  # a run whose plan can't be made: all of it or none, and `plan` says the same
            assert command == "run" and not there & set(PLAN_FILES)
    assert ends["run"] == ends["plan"] or over
    return ends["plan"]
