"""Nothing of a person gets in, nothing of it is shown, and no place or id is taken for a person."""

from __future__ import annotations

import csv
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pytest
import shapely

from spreadnet.cli import main
from spreadnet.errors import InputError, Problem
from spreadnet.evidence.cells.cells import Manner
from spreadnet.evidence.checking.table import check_table
from spreadnet.evidence.columns import all_columns
from spreadnet.evidence.files.earlier_roster import NEEDED, read_roster
from spreadnet.evidence.files.text import read_csv
from spreadnet.evidence.personal.contact_details import contact_details, withheld
from spreadnet.evidence.personal.plates import boat_registration, plates
from spreadnet.evidence.personal.privacy import (
    brief,
    left_aside,
    looks_personal,
    personal_heading,
    shown,
)
from spreadnet.evidence.personal.private_cells import without_private
from spreadnet.evidence.read import check_region, read_region
from spreadnet.evidence.region import TABLES, Region
from spreadnet.evidence.settings.settings import read_settings
from spreadnet.evidence.types import TextTable
from spreadnet.outputs.files.templates import example_rows

SPECIES = {"dreissenid_mussel"}
EMAIL = "kwexil@example.org"
FULL_WIDTH = "kwexil\uff20example\uff0eorg"
TOML = """name = "Invented district"
season_first_day = 2027-05-15
season_last_day = 2027-09-30
species = {dreissenid_mussel = 1.0}
"""
CELLS = [(c.table, c.name) for c in all_columns() if c.table != "region" and c.kind != "geometry"]
TEXT_CELLS = [(c.table, c.name) for c in all_columns() if c.table != "region" and c.kind == "text"]
KEYS = [c.name for c in all_columns() if c.table == "region" and c.kind == "text"]


def folder_of(folder: Path, *, toml: str = TOML, **changed: list[list[str]]) -> Path:
    """The region of the templates' examples, every table with every column; some rows changed."""
    (folder / "region.toml").write_text(toml, encoding="utf-8")
    for table in TABLES:
        with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(changed.get(table) or example_rows(table, all_columns()))
    return folder


def with_cell(table: str, name: str, value: str) -> dict[str, list[list[str]]]:
    """Rows of a table with one cell of its first row changed."""
    rows = [list(row) for row in example_rows(table, all_columns())]
    rows[1][rows[0].index(name)] = value
    return {table: rows}


def everything(problems: list[Problem]) -> str:
    """All that problems say."""
    return "\n".join(f"{problem}{problem!r}" for problem in problems)


def table_of(table: str, **cells: list[str]) -> dict[str, TextTable]:
    """One text table with a few columns."""
    rows = len(next(iter(cells.values())))
    frame = pd.DataFrame(cells, index=range(2, rows + 2), dtype="str")
    return {table: TextTable(table, f"{table}.csv", frame)}


def refused(texts: dict[str, TextTable], country: str | None = None) -> list[tuple[str, int]]:
    """Column and row of each cell that is refused."""
    return [(p.column, p.row) for p in without_private(texts, country=country)[1]]


# nothing gets in


def test_the_example_region_that_the_cells_are_put_into_is_good(tmp_path: Path) -> None:
    problems, region = check_region(folder_of(tmp_path), species=SPECIES)
    assert problems == [] and region is not None


@pytest.mark.parametrize(("table", "name"), CELLS)
def test_an_email_in_any_column_is_refused_once_and_never_shown(
    tmp_path: Path, table: str, name: str
) -> None:
    folder = folder_of(tmp_path, **with_cell(table, name, EMAIL))
    problems, region = check_region(folder, species=SPECIES)
    assert region is None
    assert "kwexil" not in everything(problems)
    here = [p.code for p in problems if (p.file, p.row, p.column) == (f"{table}.csv", 2, name)]
    assert here == ["personal-data"]


@pytest.mark.parametrize(
    "value",
    [
        "kwexil, +64 21 000 0199",
        pytest.param("kwexil (at) example (dot) org", marks=pytest.mark.slow),
    ],
)
@pytest.mark.parametrize(("table", "name"), TEXT_CELLS)
def test_a_disguised_canary_in_any_text_column_is_refused_and_never_shown(
    tmp_path: Path, table: str, name: str, value: str
) -> None:
    folder = folder_of(tmp_path, **with_cell(table, name, value))
    problems, region = check_region(folder, species=SPECIES)
    assert region is None
    assert "kwexil" not in everything(problems)
    assert ("personal-data", name) in [(p.code, p.column) for p in problems]


@pytest.mark.parametrize(
    "line",
    [
        *(f'{name} = "{EMAIL}"' for name in KEYS),
        f'jurisdiction_hours = {{"{EMAIL}" = 4}}',
        f'species = {{"{EMAIL}" = 1.0}}',
        f'assumptions = {{"{EMAIL}" = 4}}',
        f'assumptions = {{refusal = "{EMAIL}"}}',
        f'blocks = ["06:00-10:00", "{EMAIL}"]',
        f'holidays = ["{EMAIL}"]',
        f'hours = "{EMAIL}"',
        f'"{EMAIL}" = 1',
        f'note = ["x", {{by = "{EMAIL}"}}]',
    ],
)
def test_an_email_in_any_key_is_refused_and_never_shown(tmp_path: Path, line: str) -> None:
    name = line.split(" =")[0]
    others = [kept for kept in TOML.splitlines() if not kept.startswith(f"{name} =")]
    folder = folder_of(tmp_path, toml="\n".join([*others, line]))
    problems, region = check_region(folder, species=SPECIES)
    assert region is None
    assert [p.code for p in problems] == ["personal-data"]
    assert "kwexil" not in everything(problems)


def test_a_phone_number_in_the_regions_name_is_told_by_its_country() -> None:
    text = TOML.replace("Invented district", "Ask 0470 12 34 56")
    assert not read_settings(text.encode(), species=SPECIES).problems
    problems = read_settings(f'{text}country = "BE"'.encode(), species=SPECIES).problems
    assert [(p.code, p.column) for p in problems] == [("personal-data", "name")]


@pytest.mark.parametrize(("table", "name"), [("visits", "visit_id"), ("landings", "name")])
def test_a_run_with_an_email_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], table: str, name: str
) -> None:
    given = tmp_path / "given"
    given.mkdir()
    folder_of(given, **with_cell(table, name, EMAIL))
    assert main(["run", str(given), "--out", str(tmp_path / "out")]) == 1
    assert not (tmp_path / "out").exists()
    assert "kwexil" not in "".join(capsys.readouterr())


# nothing is shown


@pytest.mark.parametrize(
    ("table", "rows"),
    [
        ("lakes", [[EMAIL, "ask kwexil@example.org"], ["lake_id", "name"], ["L1", "x"]]),
        ("lakes", [["lake_id", "name", EMAIL], ["L1", "x", "y"]]),
        ("lakes", [["lake_id", "name", "kwexil at example dot org"], ["L1", "x", "y"]]),
        ("lakes", [["lake_id", EMAIL, EMAIL], ["L1", "x", "y"]]),
        ("visits", [["visit_id", "landing_id"], ["V1", "A1", EMAIL]]),
        ("visits", [["visit_id", "landing_id"], [EMAIL, "A1"], [EMAIL, "A1"]]),
        ("lakes", [["lake_id", "name"], ["L\u00a0" + EMAIL, "x"], ["L " + EMAIL, "y"]]),
        ("lakes", [["lake_id", "name"], ["L1", f"\x07{EMAIL}" + "x" * 300]]),
    ],
)
def test_titles_headings_and_twins_never_show_an_email(
    tmp_path: Path, table: str, rows: list[list[str]]
) -> None:
    problems, region = check_region(folder_of(tmp_path, **{table: rows}), species=SPECIES)
    assert region is None
    assert "kwexil" not in everything(problems)


def test_names_of_sheets_layers_and_files_never_show_an_email(tmp_path: Path) -> None:
    folder = folder_of(tmp_path)
    for table in ("landings", "lakes"):
        (folder / f"{table}.csv").unlink()
    book = openpyxl.Workbook()
    book.active.title, book.active["A1"] = EMAIL, "x"
    book.create_sheet("other")["A1"] = "x"
    book.save(folder / "landings.xlsx")
    lakes = gpd.GeoDataFrame({"lake_id": ["L1"]}, geometry=[shapely.Point(0, 0)], crs=32709)
    for layer in (EMAIL, "other"):
        lakes.to_file(folder / "lakes.gpkg", layer=layer)
    (folder / f"landing {EMAIL}.csv").write_text("x\n")
    (folder / f"status {EMAIL}.csv").write_text("x\n")
    problems, _ = check_region(folder, species=SPECIES)
    assert {"which-sheet", "which-layer"} <= {p.code for p in problems}
    assert "kwexil" not in everything(problems)


def test_names_of_files_and_systems_never_reach_the_region(tmp_path: Path) -> None:
    folder = folder_of(tmp_path)
    (folder / f"list {EMAIL}.csv").write_text("x\n")
    region = read_region(folder)
    assert "not-read" in [note.code for note in region.notes]
    assert "kwexil" not in repr(region.notes)


def test_a_name_in_a_coordinate_system_never_reaches_the_record(tmp_path: Path) -> None:
    folder = folder_of(tmp_path)
    (folder / "lakes.csv").unlink()
    places = gpd.points_from_xy([-128.05, -127.9], [-41.02, -41.1], crs=4326)
    lakes = gpd.GeoDataFrame(
        {"lake_id": ["L01", "L02"], "area_ha": [120, 85]}, geometry=places
    ).to_crs(32709)
    lakes.to_file(folder / "lakes.shp")
    wkt = (folder / "lakes.prj").read_text().replace("WGS_1984_UTM_Zone_9S", f"by {EMAIL}", 1)
    (folder / "lakes.prj").write_text(
        wkt.replace('"False_Easting",500000', '"False_Easting",500001')
    )
    problems, region = check_region(folder, species=SPECIES)
    assert problems == [] and region is not None
    assert "kwexil" not in repr(region.sources) and "kwexil" not in region.crs


@pytest.mark.parametrize(
    ("table", "name", "value"),
    [
        ("visits", "date", "0470 12 34 56"),
        ("visits", "launches", "call 0470/12.34.56"),
        ("contacts", "plug", "0470 12 34 56"),
        ("visits", "start", "(555) 010-0199"),
    ],
)
def test_phone_numbers_in_cells_that_are_not_text_are_never_shown(
    tmp_path: Path, table: str, name: str, value: str
) -> None:
    folder = folder_of(tmp_path, toml=TOML + 'country = "BE"\n', **with_cell(table, name, value))
    problems, region = check_region(folder, species=SPECIES)
    assert region is None
    assert not any(part in everything(problems) for part in ("34", "0470", "0199", "555"))


def test_a_cell_taken_out_leaves_no_problem_behind(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, **with_cell("hours", "code", "Ovri Kwexil"))
    problems, _ = check_region(folder, species=SPECIES)
    assert [(p.code, p.row, p.column) for p in problems] == [("personal-data", 2, "code")]
    assert "Kwexil" not in everything(problems)


def test_a_roster_of_before_never_shows_an_email(tmp_path: Path) -> None:
    row = dict.fromkeys(NEEDED, "1") | {"date": EMAIL}
    pd.DataFrame([row]).to_csv(tmp_path / "roster.csv", index=False)
    with pytest.raises(InputError) as raised:
        read_roster(tmp_path)
    assert "kwexil" not in str(raised.value)


def test_long_texts_are_withheld_before_they_are_cut() -> None:
    text = "x" * 50 + " kwexil@example.org and more"
    assert brief(text) == "(not shown)"
    assert shown(text) == "a value not shown here"
    assert withheld(f"ask {FULL_WIDTH} twice") == "ask (not shown) twice"


# contact details


@pytest.mark.parametrize(
    "text",
    ["a.b@example.org", "a.b @ example.org", "a.b@ example.org", "name [at] example.org",
     "name(at)example(dot)org", "name {at} example {dot} org", "name AT example DOT org",
     "name at example.org", "Name At example dot org", "mailto:name", FULL_WIDTH,
     "name@\u200bexample.org", "name_at_example_dot_org", "first dot last at example dot org",
     "name@m\u00fcnze.example", "ask NAME@EXAMPLE.ORG.", "x<name@example.co.uk>"],
)  # fmt: skip
def test_email_addresses_are_seen_in_any_dress(text: str) -> None:
    for kind in ("text", "id", "code", "number"):
        assert contact_details(text, kind=kind), kind


@pytest.mark.parametrize(
    "text",
    ["+1 555 010 0199", "(555) 010-0199", "555-010-0199", "555.010.0199", "555 010 0199",
     "+64210000199", "0064 21 000 0199", "555\u2011010\u20110199", "555_010_0199",
     "\uff15\uff15\uff15-010-0199"],
)  # fmt: skip
def test_phone_numbers_written_as_such_are_seen_in_texts_and_ids(text: str) -> None:
    for kind in ("text", "id", "code"):
        assert contact_details(text, kind=kind), kind


@pytest.mark.parametrize("text", ["555-0199", "Ovri 555-0199", "call 5550199", "Tel. no. 5550 199"])
def test_local_numbers_are_seen_in_texts(text: str) -> None:
    assert looks_personal(text)


@pytest.mark.parametrize(
    ("country", "text"),
    [("BE", "0470 12 34 56"), ("BE", "0470/12.34.56"), ("DE", "030 123456"),
     ("GB", "020 7946 0958"), ("FR", "01 23 45 67 89"), ("NO", "22 12 34 56")],
)  # fmt: skip
def test_national_forms_are_seen_where_the_country_is_given(country: str, text: str) -> None:
    assert not contact_details(text)
    assert contact_details(text, country=country)
    assert contact_details(text, country=country, kind="id")


@pytest.mark.parametrize("country", [None, "US", "BE", "NO", "DE", "NZ", "GB", "FR", "DK"])
@pytest.mark.parametrize(
    "text",
    ["Lot 12-345", "Lot 123-4567", "Hwy 123-4567", "County Rd 123-4567", "Hwy. 61 access",
     "Parcel 012-345-6789", "Parcel No. 0123456789", "Forest Road 555-1234", "Lake 123-4567",
     "Pond No. 123-4567", "Mile 123.4567", "Section 12-345-6789", "HUC 070500010101",
     "Landing @ St. Orvel", "Ramp @ Hwy 12", "Camp at Polka Dot Lake", "CAMP AT POLKA DOT LAKE",
     "Open 06:00-10:00", "Open 06.00-22.00", "Since 2019-07-04", "Since 04.07.2019",
     "2019-2024", "45.97009, -89.26552", "N 45 58 12.345 W 89 15 55.5", "T41N R12E S24"],
)  # fmt: skip
def test_lots_roads_dates_and_places_are_no_contact_details(country: str, text: str) -> None:
    assert not contact_details(text, country=country)


@pytest.mark.parametrize("country", [None, "US", "BE", "NO", "DE", "NZ", "GB", "FR", "DK"])
@pytest.mark.parametrize(
    "text",
    ["1234567", "12345678", "123456789", "1234567890", "070500010101", "2125550199", "L07",
     "WI-1234", "AB1234CD", "27-0133", "123-4567", "2026070401", "20260704-0001"],
)  # fmt: skip
def test_ids_of_digits_are_no_phone_numbers(country: str, text: str) -> None:
    assert not contact_details(text, country=country, kind="id")
    assert not refused(table_of("lakes", lake_id=[text]), country)
    assert not refused(table_of("contacts", last_water=[text]), country)


def test_a_code_of_many_digits_is_a_phone_number() -> None:
    texts = table_of("hours", code=["E1", "5550100199", "1234"])
    assert refused(texts) == [("code", 3)]


# boats and vehicles


@pytest.mark.parametrize(
    "text",
    ["QXZ-4821", "qxz4821", "ZZ 0000 QX", "zz0000qx", "KX02 QXZ", "1-QXZ-234", "Q-XZ 1234",
     "QX-123-ZW", "12-QX-34", "1234 QXZ", "QXZ00000A000", "1XZWX00000A000000"],
)  # fmt: skip
def test_plates_are_refused_as_visits_and_codes_and_never_shown(text: str) -> None:
    visits = table_of("visits", visit_id=["V001", "V002", text])
    contacts = table_of("contacts", visit_id=["V001", text, text])
    made, problems = without_private({**visits, **contacts}, country=None)
    assert [(p.file, p.row) for p in problems] == [
        ("visits.csv", 4), ("contacts.csv", 3), ("contacts.csv", 4)
    ]  # fmt: skip
    assert text not in everything(problems)
    assert made["contacts"].cells["visit_id"].tolist() == ["V001", "", ""]
    assert refused(table_of("hours", code=["E1", text])) == [("code", 3)]


@pytest.mark.parametrize(
    "scheme",
    ["V{:03d}", "V{}", "{}", "2026-{:03d}", "VIS-{:04d}", "QXZ-{}", "QX{:05d}", "2026-07-04-{}",
     "NRA/{}", "A{:02d}-B", "20260704{:02d}", "visit {}", "e{}f", "QXZ{}A"],
)  # fmt: skip
def test_a_series_of_ids_is_never_taken_for_plates(scheme: str) -> None:
    assert plates([scheme.format(n) for n in range(1, 400)]) == set()


def test_a_plate_among_contacts_is_told_by_the_ids_of_the_visits() -> None:
    visits = table_of("visits", visit_id=["QXZ-104", "QXZ-105"])
    assert not refused({**visits, **table_of("contacts", visit_id=["QXZ-104"])})


@pytest.mark.parametrize("name", ["lake_id", "name"])
@pytest.mark.parametrize("text", ["QXZ-4821", "QXZ 4821", "AB1234CD", "L07", "WI-1234"])
def test_ids_and_names_of_places_are_never_taken_for_plates(name: str, text: str) -> None:
    assert not refused(table_of("lakes", **{name: [text]}))
    assert not refused(table_of("landings", **{name: [text], "jurisdiction": [text]}))


@pytest.mark.parametrize("text", ["2125550142", "town 555-0142"])
def test_digits_alone_are_no_jurisdiction(text: str) -> None:
    assert len(refused(table_of("landings", landing_id=["A1"], jurisdiction=[text]))) == 1
    assert not refused(table_of("landings", landing_id=[text[:10]], jurisdiction=["North Shore"]))


def test_a_boat_in_place_of_a_name_is_refused_unless_it_is_the_places_own_id() -> None:
    names = ["ZZ 0000 QX", "ZZ 0001 QX", "North"]
    texts = table_of("lakes", lake_id=["L1", "ZZ0001QX", "L3"], name=names)
    assert boat_registration(names[0])
    assert refused(texts) == [("name", 2)]


# headings


@pytest.mark.parametrize(
    "heading",
    ["phone", "cell_phone", "email", "boater_name", "first_name", "license_plate", "owner", "name",
     "registration_no", "description", "home_address", "recorded_by", "recordedby", "vehicle",
     "manager", "photo", "age", "license"],
)  # fmt: skip
def test_headings_about_people_are_refused_in_tables_about_people(heading: str) -> None:
    assert personal_heading(heading, "contacts") is not None


@pytest.mark.parametrize("table", ["lakes", "landings", "status", "streams", "contacts"])
@pytest.mark.parametrize(
    "heading",
    ["phone", "owner_phone", "email", "e_mail_address", "owner_name", "contact_name", "first_name",
     "license_plate", "plate", "registration", "licence_no", "hull_id", "date_of_birth"],
)  # fmt: skip
def test_headings_that_can_only_be_about_people_are_refused_everywhere(
    heading: str, table: str
) -> None:
    assert personal_heading(heading, table) is not None


@pytest.mark.parametrize(
    ("table", "heading"),
    [("landings", "manager"), ("landings", "photo"), ("lakes", "age"), ("landings", "owner"),
     ("landings", "cell coverage"), ("landings", "vehicle parking"), ("status", "license"),
     ("status", "recordedBy"), ("status", "identifiedBy"), ("landings", "owner_type"),
     ("contacts", "cell_coverage")],
)  # fmt: skip
def test_headings_that_may_be_about_a_place_are_left_aside_with_one_note(
    tmp_path: Path, table: str, heading: str
) -> None:
    rows = [list(row) for row in example_rows(table, all_columns())]
    rows = [[*rows[0], heading, "photo_url"], *([*row, "Ovri", EMAIL] for row in rows[1:])]
    if table == "contacts":
        rows = [row[:-1] for row in rows]
    region = read_region(folder_of(tmp_path, **{table: rows}))
    notes = [note.text for note in region.notes if note.code == "left-aside"]
    assert len(notes) == 1 and notes[0].startswith(f"{table}: left aside")
    assert "Ovri" not in held(region) and EMAIL not in held(region)


def held(region: Region) -> str:
    """All that a region holds, as text."""
    frames = [getattr(region, table) for table in TABLES]
    return "".join(frame.reset_index().to_csv() for frame in frames) + repr(region.notes)


@pytest.mark.parametrize("heading", ["lake_name", "landing_name", "water", "days", "notes_url"])
def test_places_and_counts_are_not_people(heading: str) -> None:
    assert personal_heading(heading, "lakes") is None
    assert not left_aside(heading, "lakes")


def test_a_heading_like_that_for_people_is_never_taken_as_misspelt() -> None:
    data = b"visit_id,landing_id,date,start,end,educator\n"
    text = read_csv(data, table="visits", file="v.csv").table
    problems = check_table(text, manner=Manner()).problems
    assert [(p.code, p.column) for p in problems] == [("personal-data", "educator")]


# settings


@pytest.mark.parametrize(("text", "country"), [('"NZ"', "NZ"), ('" be "', "BE")])
def test_the_country_is_known_by_its_two_letters(text: str, country: str) -> None:
    reading = read_settings((TOML + f"country = {text}").encode(), species=SPECIES)
    assert reading.problems == () and reading.settings.country == country


@pytest.mark.parametrize("text", ["ZZ", "Belgium", "+32"])
def test_a_country_that_is_none_is_named_with_its_line(text: str) -> None:
    problems = read_settings((TOML + f'country = "{text}"').encode(), species=SPECIES).problems
    assert [(p.code, p.row, p.column) for p in problems] == [("country", 5, "country")]


# many rows


@pytest.mark.parametrize("country", [None, "NZ"])
def test_no_cell_of_a_state_is_taken_for_a_person(country: str | None) -> None:
    rng = np.random.default_rng(5)
    n = 12_000
    texts = table_of(
        "lakes",
        lake_id=[str(7_000_000 + i) for i in range(n)],
        name=[
            f"Pond {i} at Hwy {rng.integers(10, 999)}-{rng.integers(1000, 9999)}" for i in range(n)
        ],
        longitude=[f"{v:.7f}" for v in rng.uniform(-128, -127, n)],
        latitude=[f"{v:.7f}" for v in rng.uniform(-42, -41, n)],
    )
    assert refused(texts, country) == []
