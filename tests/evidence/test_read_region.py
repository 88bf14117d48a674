"""A region folder becomes a Region: types, formats, repairs, defaults and what is done without."""

from __future__ import annotations

import dataclasses
import io
import warnings
from datetime import date, datetime, time
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from spreadnet.evidence.cells.cells import convert
from spreadnet.evidence.cells.dates import read_dates
from spreadnet.evidence.cells.days import day_pattern
from spreadnet.evidence.checking.counts import count_notes, count_problems
from spreadnet.evidence.checking.table import check_table
from spreadnet.evidence.columns import columns
from spreadnet.evidence.files.text import read_csv
from spreadnet.evidence.files.workbook import read_xlsx
from spreadnet.evidence.read import check_region, empty_frame
from spreadnet.evidence.region import GAPS, TABLES, Block, Region
from spreadnet.evidence.settings.settings import read_settings
from spreadnet.evidence.types import Manner
from spreadnet.evidence.where.crs import best_utm, largest_error
from spreadnet.evidence.where.outlines import check_outlines
from spreadnet.evidence.where.overlaps import overlapping

SPECIES = {"dreissenid_mussel"}
TOML = """name = "Invented district"
season_first_day = 2027-05-15
season_last_day = 2027-09-30
species = {dreissenid_mussel = 1.0}
"""
LAKES = """lake_id,name,longitude,latitude,area_ha
007,North,-128.05,-41.02,120
L02,South,-127.90,-41.10,"1,085.5"
L03,East,-127.70,-41.05,40
"""
LANDINGS = """landing_id,lake_id,longitude,latitude,trailer_stalls,can_staff
A01,007,-128.049,-41.021,25,
A02,L02,,,,no
A03,L03,-127.701,-41.051,12,Y
"""
STATUS = """lake_id,species,status,first_found
007,dreissenid_mussel,Present,2021
L02,dreissenid_mussel,absent,
L03,dreissenid_mussel,unknown,
"""
VISITS = """visit_id,landing_id,date,start,end,launches,refused
V01,A01,2026-07-04,8:00,12:30,31,0
V02,A02,2026-07-08,2:30 PM,6:00 PM,,
"""
CONTACTS = """visit_id,direction,last_water,next_water,days_out,plug,plants,animals,mud,water
V01,launching,L02,,3.5,No,YES,,not checked,1
V01,retrieving,,None,,yes,no,no,no,no
V02,launching,OUTSIDE,L03,20,,,,,
"""


def write(folder: Path, **files: str) -> Path:
    """A region folder of the base files, with some changed; `lakes="..."` is lakes.csv."""
    base = {"region": TOML, "lakes": LAKES, "landings": LANDINGS, "status": STATUS}
    for name, text in {**base, **files}.items():
        if text:
            ending = "toml" if name == "region" else "csv"
            (folder / f"{name}.{ending}").write_text(text, encoding="utf-8")
    return folder


def good(folder: Path) -> Region:
    """The region of a folder that has no problem."""
    problems, region = check_region(folder, species=SPECIES)
    assert problems == []
    assert region is not None
    return region


@pytest.fixture
def region(tmp_path: Path) -> Region:
    return good(write(tmp_path, visits=VISITS, contacts=CONTACTS))


def outline(longitude: float, latitude: float, half: float = 0.01) -> shapely.Polygon:
    return shapely.box(longitude - half, latitude - half, longitude + half, latitude + half)


def lakes_frame(**extra: list) -> gpd.GeoDataFrame:
    places = [(-128.05, -41.02), (-127.90, -41.10), (-127.70, -41.05)]
    data = {"lake_id": ["007", "L02", "L03"], **extra}
    return gpd.GeoDataFrame(data, geometry=[outline(*p) for p in places], crs=4326)


# the region's types


def test_ids_keep_their_zeros_and_rows_stand_in_their_order(region: Region) -> None:
    assert region.lakes.index.tolist() == ["007", "L02", "L03"]
    assert region.lakes.index.name == "lake_id"
    assert region.landings["lake_id"].tolist() == ["007", "L02", "L03"]


def test_types_are_those_that_the_region_promises(region: Region) -> None:
    want = {
        "lakes": {"name": "str", "area_ha": "float64", "worth": "float64"},
        "landings": {"ramp_lanes": "Int64", "trailer_stalls": "Int64", "can_staff": "boolean"},
        "status": {"surveys": "Int64", "first_found": "datetime64[s]", "status": "str"},
        "visits": {"date": "datetime64[s]", "start": "float64", "launches": "Int64"},
        "contacts": {"last_water": "str", "days_out": "float64", **dict.fromkeys(GAPS, "boolean")},
    }
    for table, types in want.items():
        found = getattr(region, table).dtypes.astype(str)
        assert {name: found[name] for name in types} == types
    assert region.visits.index.name == "visit_id"
    assert list(region.landings.columns) == [
        "lake_id",
        "name",
        "geometry",
        "ramp_lanes",
        "trailer_stalls",
        "jurisdiction",
        "can_staff",
        "shore_distance_m",
    ]


@pytest.mark.parametrize("table", TABLES)
def test_an_absent_table_has_the_types_of_a_present_one(table: str, region: Region) -> None:
    made, read = empty_frame(table), getattr(region, table)
    shared = [name for name in made.columns if name in read.columns]
    assert made[shared].dtypes.tolist() == read[shared].dtypes.tolist()


def test_a_blank_answer_is_missing_and_never_yes(region: Region) -> None:
    contacts = region.contacts
    assert contacts["plug"].tolist() == [False, True, pd.NA]
    assert contacts["mud"].tolist() == [pd.NA, False, pd.NA]
    assert contacts["plants"].mean() == 0.5
    assert contacts["corrected"].isna().all()


def test_zero_is_a_count_and_blank_is_not_counted(region: Region) -> None:
    assert region.visits["refused"].tolist() == [0, pd.NA]
    assert region.visits["launches"].tolist() == [31, pd.NA]


def test_clock_times_are_hours_after_midnight(region: Region) -> None:
    assert region.visits["start"].tolist() == [8.0, 14.5]
    assert region.visits["end"].tolist() == [12.5, 18.0]


@pytest.mark.parametrize("text", ["8:00 m", "8:00 .", "7:30.M", "8:00 XM"])
def test_a_time_with_half_a_word_behind_it_is_refused(text: str) -> None:
    made = convert(columns("visits")["start"], pd.Series([text]), file="f", manner=Manner())
    assert [p.code for p in made.problems] == ["not-a-time"]


def test_words_are_settled_and_answers_of_the_other_direction_left_out(region: Region) -> None:
    assert region.contacts["next_water"].fillna("").tolist() == ["", "none", ""]
    assert region.contacts["last_water"].fillna("").tolist() == ["L02", "", "outside"]
    assert "other-direction" in {note.code for note in region.notes}


def test_every_default_filled_is_counted(region: Region) -> None:
    texts = {note.text for note in region.notes if note.code == "default-filled"}
    assert not any("can_staff" in text for text in texts)  # unknown is not a yes
    assert region.landings["can_staff"].isna().sum() == 1
    assert "landings: ramp_lanes is empty in 3 of 3 rows; taken as 1" in texts
    assert any(text.startswith("status: surveys is empty in 2 of 3 rows") for text in texts)
    assert region.status["surveys"].tolist() == [pd.NA, 1, 0]
    assert region.landings["trailer_stalls"].tolist() == [25, pd.NA, 12]


def test_thousands_are_read_and_said(region: Region) -> None:
    assert region.lakes.loc["L02", "area_ha"] == 1085.5
    assert [n.text for n in region.notes if n.code == "thousands"] == [
        "lakes: marks between thousands taken out of 1 cells of area_ha"
    ]


def test_a_landing_without_a_place_is_put_on_its_lake_and_said(region: Region) -> None:
    middle = region.lakes.geometry.loc["L02"]
    assert region.landings.geometry.loc["A02"].equals(middle)
    assert region.landings["shore_distance_m"].tolist() == [0.0, 0.0, 0.0]
    assert "no-place" in {note.code for note in region.notes}


def test_sources_name_each_file_with_its_hash(region: Region) -> None:
    assert {source.file for source in region.sources} == {
        "region.toml",
        *(f"{t}.csv" for t in ("lakes", "landings", "status", "visits", "contacts")),
    }
    assert all(len(source.sha256) == 64 and source.bytes > 0 for source in region.sources)


def test_what_the_run_does_without_is_said(tmp_path: Path) -> None:
    codes = {note.code for note in good(write(tmp_path)).notes}
    assert {"no-visits", "no-contacts", "no-streams"} <= codes


def test_interviews_may_name_a_lake_without_a_landing(tmp_path: Path) -> None:
    landings = "\n".join(LANDINGS.splitlines()[:3]) + "\n"
    contacts = CONTACTS.replace("launching,L02", "launching,L03")
    region = good(write(tmp_path, landings=landings, visits=VISITS, contacts=contacts))
    texts = [note.text for note in region.notes if note.code == "water-without-landing"]
    assert texts == ["contacts name 1 lakes that have no landing: L03"]


def test_reading_twice_gives_the_same_region(tmp_path: Path) -> None:
    folder = write(tmp_path, visits=VISITS, contacts=CONTACTS)
    first, second = good(folder), good(folder)
    for table in TABLES:
        pd.testing.assert_frame_equal(getattr(first, table), getattr(second, table))
    assert first.notes == second.notes


def test_lock_files_and_strangers_are_not_read(tmp_path: Path) -> None:
    folder = write(tmp_path)
    (folder / "~$lakes.xlsx").write_bytes(b"lock")
    (folder / "minutes.docx").write_bytes(b"words")
    notes = {note.code: note.text for note in good(folder).notes}
    assert notes["not-read"] == "not a table, so not read: minutes.docx"


# vector files


@pytest.mark.parametrize("ending", ["gpkg", "geojson", "json", "shp", "kml"])
def test_every_vector_format_gives_the_same_lakes(ending: str, tmp_path: Path) -> None:
    frame = lakes_frame(depth_m=[1.5, None, 30.0])
    driver = "KML" if ending == "kml" else None  # else LIBKML makes a folder of files
    frame.to_file(write(tmp_path, lakes="") / f"lakes.{ending}", driver=driver)
    region = good(tmp_path)
    order = ["007", "L02", "L03"]
    assert list(region.lakes.index) == order
    assert region.lakes.loc[order, "depth_m"].fillna(-1).tolist() == [1.5, -1.0, 30.0]
    assert region.crs == "EPSG:32709"
    geod = pyproj.Geod(ellps="WGS84")  # areas on the ellipsoid, the independent check
    true = [abs(geod.geometry_area_perimeter(s)[0]) / 1e4 for s in lakes_frame().geometry]
    np.testing.assert_allclose(region.lakes.loc[order, "area_ha"], true, rtol=2e-3)


def test_a_projected_file_gives_the_same_places_as_degrees(tmp_path: Path) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    lakes_frame().to_file(write(tmp_path / "one", lakes="") / "lakes.geojson")
    lakes_frame().to_crs(32709).to_file(write(tmp_path / "two", lakes="") / "lakes.gpkg")
    one, two = good(tmp_path / "one"), good(tmp_path / "two")
    assert (one.lakes.distance(two.lakes).max(), two.crs) == (0.0, one.crs)
    np.testing.assert_allclose(one.lakes.area, two.lakes.area, rtol=1e-6)


def test_headings_that_a_shapefile_cut_are_made_whole(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame(
        {"landing_id": ["A01"], "lake_id": ["007"], "trailer_st": [4], "jurisdicti": ["county"]},
        geometry=[shapely.Point(-128.05, -41.02)],
        crs=4326,
    )
    frame.to_file(write(tmp_path, landings="") / "landings.shp")
    region = good(tmp_path)
    assert region.landings.loc["A01", "trailer_stalls"] == 4
    assert region.landings.loc["A01", "jurisdiction"] == "county"
    assert "short-heading" in {note.code for note in region.notes}


def test_heights_are_left_out_and_said(tmp_path: Path) -> None:
    frame = lakes_frame()
    frame["geometry"] = shapely.force_3d(frame.geometry, z=350.0)
    frame.to_file(write(tmp_path, lakes="") / "lakes.geojson")
    region = good(tmp_path)
    assert not region.lakes.has_z.any()
    assert "height" in {note.code for note in region.notes}


def test_several_layers_need_one_named_like_the_table(tmp_path: Path) -> None:
    path = write(tmp_path, lakes="") / "lakes.gpkg"
    lakes_frame().to_file(path, layer="outlines")
    lakes_frame().to_file(path, layer="old")
    problems, _ = check_region(tmp_path, species=SPECIES)
    assert [p.code for p in problems] == ["which-layer"]
    lakes_frame().to_file(path, layer="lakes")
    good(tmp_path)


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_geopackage_without_crs_is_refused(tmp_path: Path) -> None:
    frame = lakes_frame().set_crs(None, allow_override=True)
    frame.to_file(write(tmp_path, lakes="") / "lakes.gpkg")
    problems, _ = check_region(tmp_path, species=SPECIES)
    assert [p.code for p in problems] == ["crs-missing"]


def test_acres_in_place_of_hectares_are_noticed(tmp_path: Path) -> None:
    frame = lakes_frame()
    frame["area_ha"] = frame.to_crs(32709).area / 4046.8564224  # international acre
    frame.to_file(write(tmp_path, lakes="") / "lakes.gpkg")
    text = next(n.text for n in good(tmp_path).notes if n.code == "area-unit")
    assert "look like acres" in text


def test_a_lake_without_a_shape_is_a_problem(tmp_path: Path) -> None:
    frame = lakes_frame()
    frame.loc[1, "geometry"] = None
    frame.to_file(write(tmp_path, lakes="") / "lakes.geojson")
    problems, _ = check_region(tmp_path, species=SPECIES)
    assert [(p.code, p.row) for p in problems if p.file == "lakes.geojson"] == [
        ("missing-value", 3)
    ]


# outlines


def _outlines(*shapes: shapely.Geometry, degrees: bool = False) -> tuple:
    series = gpd.GeoSeries(list(shapes), index=range(2, len(shapes) + 2), crs=32709)
    ids = pd.Series([f"L{i}" for i in series.index], index=series.index)
    return check_outlines(series, ids, file="lakes.gpkg", degrees=degrees)


def test_a_repair_that_keeps_the_area_is_made_and_said() -> None:
    spike = shapely.Polygon(
        [(0, 0), (100, 0), (100, 100), (50, 100), (50, 150), (50, 100), (0, 100)]
    )
    shapes, problems, notes = _outlines(spike)
    assert problems == []
    assert shapes.iloc[0].geom_type == "Polygon" and shapes.iloc[0].area == 10_000
    assert [note.code for note in notes] == ["outline-repaired"]


def test_a_repair_that_changes_the_area_is_refused() -> None:
    # A bow tie: buffer(0) would keep one half, make_valid both; neither is known to be right.
    shapes, problems, _ = _outlines(shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]))
    assert [(p.code, p.row) for p in problems] == [("outline-invalid", 2)]
    assert shapes.isna().all()


def test_a_line_is_no_lake() -> None:
    _, problems, _ = _outlines(shapely.LineString([(0, 0), (1, 1)]), shapely.Point(0, 0))
    assert [(p.code, p.row) for p in problems] == [("geometry-kind", 2)]


def test_a_shape_drawn_the_long_way_round_is_named() -> None:
    _, problems, _ = _outlines(shapely.box(-179.9, -41, 179.9, -40.9), degrees=True)
    assert [p.code for p in problems] == ["antimeridian"]


# places


def test_an_empty_lake_id_is_filled_from_the_one_near_shoreline(tmp_path: Path) -> None:
    lakes_frame().to_file(write(tmp_path, lakes="") / "lakes.gpkg")
    rows = ["landing_id,longitude,latitude", "A01,-128.0390,-41.02", "A02,-127.90,-41.10"]
    (tmp_path / "landings.csv").write_text("\n".join(rows))
    region = good(tmp_path)
    assert region.landings["lake_id"].tolist() == ["007", "L02"]
    geod = pyproj.Geod(ellps="WGS84")
    true = geod.inv(-128.04, -41.02, -128.039, -41.02)[2]
    assert region.landings["shore_distance_m"].tolist() == pytest.approx([true, 0.0], rel=1e-3)


def test_a_point_on_an_island_is_as_far_as_the_island_shore(tmp_path: Path) -> None:
    frame = lakes_frame()
    hole = outline(-127.90, -41.10, 0.001)
    frame.loc[1, "geometry"] = frame.geometry[1].difference(hole)
    frame.to_file(write(tmp_path, lakes="") / "lakes.gpkg")
    landings = "landing_id,lake_id,longitude,latitude\nA01,L02,-127.90,-41.10\n"
    region = good(write(tmp_path, lakes="", landings=landings))
    edge = pyproj.Geod(ellps="WGS84").inv(-127.90, -41.10, -127.899, -41.10)[2]
    assert region.landings["shore_distance_m"].iloc[0] == pytest.approx(edge, rel=1e-3)


def test_places_swapped_within_range_are_told_by_the_lakes(tmp_path: Path) -> None:
    lakes = LAKES.replace("-128.", "-50.").replace("-127.", "-49.")
    landings = LANDINGS.replace("-128.", "-50.").replace("-127.", "-49.")
    swapped = landings.replace("longitude,latitude", "latitude,longitude")
    problems, _ = check_region(write(tmp_path, lakes=lakes, landings=swapped), species=SPECIES)
    assert [(p.code, p.file) for p in problems] == [("swapped", "landings.csv")]
    good(write(tmp_path, lakes=lakes, landings=landings))


def test_no_landing_near_any_lake_is_one_problem(tmp_path: Path) -> None:
    rows = "".join(f"A0{i},L02,-127.4,-41.9\n" for i in range(1, 5))
    landings = "landing_id,lake_id,longitude,latitude\n" + rows
    problems, _ = check_region(write(tmp_path, landings=landings), species=SPECIES)
    assert [p.code for p in problems] == ["places-apart"]


def test_a_region_across_180_degrees_is_in_one_zone() -> None:
    lon, lat = np.array([179.8, -179.9]), np.array([-41.0, -41.1])
    crs = best_utm(lon, lat)
    assert crs in ("EPSG:32760", "EPSG:32701")
    assert largest_error(crs, lon, lat) < 0.01


@pytest.mark.parametrize(
    ("crs", "least"),
    # EPSG:3857 stretches by 1/cos(latitude): 34% at 41 degrees, seen from the geodesic.
    [("EPSG:3857", 1 / np.cos(np.radians(41)) - 1.02)],
)
def test_web_mercator_is_out_by_a_third(crs: str, least: float) -> None:
    lon, lat = np.array([-128.1, -127.7]), np.array([-41.1, -41.0])
    assert largest_error(crs, lon, lat) > least
    assert largest_error("EPSG:32709", lon, lat) < 0.001


# text and workbooks


def test_row_numbers_are_those_of_the_spreadsheet() -> None:
    data = b'\n\nlake_id,name\n\nL01,"two\nlines"\n,,\nL02,x\n'
    cells = read_csv(data, table="lakes", file="lakes.csv").table.cells
    assert cells["lake_id"].to_dict() == {5: "L01", 7: "L02"}


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_csv_of_every_kind_gives_the_same_cells(delimiter: str, encoding: str) -> None:
    text = "lake_id,name,area_ha\n007,L\u00e4nge,12.5\n".replace(",", delimiter)
    reading = read_csv(text.encode(encoding), table="lakes", file="lakes.csv")
    assert reading.problems == ()
    assert reading.table.cells.iloc[0].to_dict() == {
        "lake_id": "007",
        "name": "L\u00e4nge",
        "area_ha": "12.5",
    }


def test_unseen_characters_in_headings_do_not_hide_them() -> None:
    data = "\ufefflake_id\u200b,\u00a0Name ,Area-ha\n1,a,2\n".encode()
    cells = read_csv(data, table="lakes", file="lakes.csv").table.cells
    assert list(cells.columns) == ["lake_id", "name", "area_ha"]


def _book(rows: list[list], formats: dict[str, str] | None = None) -> bytes:
    import io

    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for place, form in (formats or {}).items():
        book.active[place].number_format = form
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_workbook_cells_are_read_as_they_are_shown() -> None:
    rows = [
        ["visit_id", "landing_id", "date", "start", "end", "launches"],
        [123, "00123", datetime(2026, 7, 4), time(8, 5), "12:00", 31.0],
        [None] * 6,
        ["V02", 124.0, date(2026, 7, 5), datetime(2026, 7, 5, 9, 30), 46143, None],
    ]
    cells = read_xlsx(_book(rows, {"A2": "00000"}), table="visits", file="v.xlsx").table.cells
    assert cells.loc[2].tolist() == ["00123", "00123", "2026-07-04", "08:05", "12:00", "31"]
    assert cells.loc[4].tolist() == ["V02", "124", "2026-07-05", "2026-07-05 09:30", "46143", ""]


def test_an_xlsx_region_reads_like_a_csv_region(tmp_path: Path) -> None:
    folder = write(tmp_path, visits="")
    rows = [line.split(",") for line in VISITS.splitlines()]
    rows[1][2:5] = [datetime(2026, 7, 4), time(8, 0), time(12, 30)]
    (folder / "visits.xlsx").write_bytes(_book(rows))
    other = tmp_path / "csv"
    other.mkdir()
    pd.testing.assert_frame_equal(good(folder).visits, good(write(other, visits=VISITS)).visits)


def test_a_stray_space_or_a_bold_cell_far_below_is_no_row() -> None:
    book = openpyxl.Workbook()
    for row in (["lake_id", "name"], ["L01", "North"]):
        book.active.append(row)
    book.active.cell(1_048_576, 2).value = " "
    book.active.cell(200_000, 3).font = openpyxl.styles.Font(bold=True)
    out = io.BytesIO()
    book.save(out)
    reading = read_xlsx(out.getvalue(), table="lakes", file="lakes.xlsx")
    assert reading.problems == reading.notes == ()
    assert reading.table.cells.to_dict("index") == {2: {"lake_id": "L01", "name": "North"}}


def test_a_formula_whose_value_was_saved_is_read_as_that_value() -> None:
    # A saved formula has its value beside it: what LibreOffice and Excel write.
    import io
    import zipfile

    made = _book([["lake_id", "area_ha"], ["L01", "=20*2"], ["L02", 7]])
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(made)) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.infolist():
            body = old.read(part).replace(b"<f>20*2</f><v />", b"<f>20*2</f><v>40</v>")
            new.writestr(part, body.replace(b"<f>20*2</f><v></v>", b"<f>20*2</f><v>40</v>"))
    reading = read_xlsx(out.getvalue(), table="lakes", file="lakes.xlsx")
    assert reading.problems == ()
    assert reading.table.cells["area_ha"].tolist() == ["40", "7"]


def test_a_cell_too_long_to_be_one_is_a_problem() -> None:
    data = f"lake_id,name\nL01,{'x' * 140_000}\n".encode()
    assert [p.code for p in read_csv(data, table="lakes", file="lakes.csv").problems] == [
        "too-long"
    ]
    unclosed = f'lake_id,name\nL01,"{"x" * 140_000}\n'.encode()
    problems = read_csv(unclosed, table="lakes", file="lakes.csv").problems
    assert [(p.code, p.row) for p in problems] == [("quotes", 2)]


def test_one_nul_does_not_make_a_file_utf_16() -> None:
    data = LAKES.replace("007", "0\x007").encode()
    reading = read_csv(data, table="lakes", file="lakes.csv")
    assert reading.table.encoding == "UTF-8"
    problems = check_table(reading.table, manner=Manner()).problems
    assert [(p.code, p.row) for p in problems] == [("control-letter", 2)]
    assert "0<U+0000>7" in problems[0].what and "U+0000 (NUL)" in problems[0].what


@pytest.mark.parametrize("text", ["\x1b[31m", "x" * 500, "\u202e\ufffe", "\U0010ffff" * 90])
def test_no_message_prints_a_raw_or_an_endless_cell(text: str, tmp_path: Path) -> None:
    lakes = LAKES.replace("L03,", f"L{text},").replace("East", f"E{text}").replace("40", text)
    landings = LANDINGS.replace("A03,L03", f"A03{text},L{text}{text}").replace("can_staff", text)
    status = STATUS.replace("unknown", text).replace("2021", text)
    visits = VISITS.replace("8:00", text).replace("V02,A02", f"V02,{text}")
    contacts = CONTACTS.replace("V02", f"V{text}").replace("L03", text).replace("YES", text)
    toml = TOML.replace("Invented", "In\\u0007vented") + f'hours = "{"y" * 500}"\n'
    folder = write(tmp_path, region=toml, lakes=lakes, landings=landings, status=status,
                   visits=visits, contacts=contacts)  # fmt: skip
    problems, _ = check_region(folder, species=SPECIES)
    assert len(problems) > 10
    for problem in problems:
        for words in (problem.what, problem.why, problem.mend, problem.column or ""):
            assert words.isprintable(), words
            assert "x" * 81 not in words and "y" * 81 not in words


def test_what_gdal_adds_to_kml_is_passed_over(tmp_path: Path) -> None:
    lakes_frame(name=["North", "South", "East"]).to_file(
        write(tmp_path, lakes="") / "lakes.kml", driver="LIBKML"
    )
    assert good(tmp_path).lakes["name"].tolist() == ["North", "South", "East"]


# geometry shared


def test_a_lake_on_an_island_that_is_cut_out_is_no_overlap(tmp_path: Path) -> None:
    frame = lakes_frame()
    island, pond = outline(-127.90, -41.10, 0.005), outline(-127.90, -41.10, 0.002)
    frame.loc[1, "geometry"] = frame.geometry[1].difference(island)
    frame.loc[2, "geometry"] = pond
    frame.to_file(write(tmp_path, lakes="") / "lakes.gpkg")
    landings = "\n".join(LANDINGS.splitlines()[:2])
    codes = {n.code for n in good(write(tmp_path, lakes="", landings=landings)).notes}
    assert "outlines-overlap" not in codes


@pytest.mark.parametrize(("west", "kind"), [(9.95, None), (9.5, "note"), (4.0, "problem")])
def test_outlines_may_overlap_a_little(west: float, kind: str | None) -> None:
    # Shares of the smaller, by hand: 0.5%, 5% and 60%.
    lakes = gpd.GeoSeries(
        [shapely.box(0, 0, 10, 10), shapely.box(west, 0, west + 10, 10)], index=[2, 3]
    )
    problems, notes = overlapping(lakes, pd.Series(["A", "B"], index=[2, 3]), file="l.gpkg")
    assert (bool(problems), bool(notes)) == (kind == "problem", kind == "note")


@pytest.mark.parametrize("apart", [0.0, 0.001])
def test_lakes_by_the_thousand_in_one_place_are_one_problem_or_none(apart: float) -> None:
    lakes = gpd.GeoSeries([shapely.box(i * apart, 0, i * apart + 100, 100) for i in range(3000)])
    ids = pd.Series([f"N{i}" for i in range(3000)])
    problems, notes = overlapping(lakes, ids, file="l.gpkg")
    assert [p.code for p in problems] == (["outlines-overlap"] if apart else [])
    assert notes == []


def test_a_workbook_whose_archive_is_damaged_is_refused_in_words() -> None:
    book = openpyxl.Workbook()
    book.active.append(["lake_id"])
    out = io.BytesIO()
    book.save(out)
    data = bytearray(out.getvalue())
    data[data.rindex(b"PK\x01\x02") + 6] = 222  # the version of zip that is needed to read it
    reading = read_xlsx(bytes(data), table="lakes", file="lakes.xlsx")
    assert [p.code for p in reading.problems] == ["unreadable"]


def test_a_landings_layer_with_no_row_and_no_crs_is_refused_in_words(tmp_path: Path) -> None:
    write(tmp_path, landings="")
    empty = gpd.GeoDataFrame({"landing_id": pd.Series(dtype=str)}, geometry=[], crs=None)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that the layer has no coordinate system
        empty.to_file(tmp_path / "landings.gpkg", layer="landings", geometry_type="Point")
    problems, _ = check_region(tmp_path, species=SPECIES)
    assert [p.code for p in problems] == ["no-rows"]


# dates and settings


def test_one_stated_format_is_read_and_iso_always() -> None:
    cells = pd.Series(["13/07/2026", "2026-07-04", ""], dtype="str")
    values, problems = read_dates(
        columns("visits")["date"], cells, file="v.csv", date_format="DD/MM/YYYY"
    )
    assert problems == []
    assert values.dt.strftime("%Y-%m-%d").fillna("").tolist() == ["2026-07-13", "2026-07-04", ""]


def test_a_year_alone_is_only_a_first_find() -> None:
    cells = pd.Series(["2021"], dtype="str")
    found, none = read_dates(
        columns("status")["first_found"], cells, file="s.csv", date_format="YYYY-MM-DD"
    )
    assert none == [] and found.dt.year.tolist() == [2021]
    _, problems = read_dates(
        columns("status")["last_survey"], cells, file="s.csv", date_format="YYYY-MM-DD"
    )
    assert [p.code for p in problems] == ["date-style"]


@pytest.mark.parametrize(
    "line",
    [
        "water_temperature_c = -5", "lake_area_exponent = 10", "weekend_ratio = 0.015",
        "refusal = 1", "dreissenid_mussel = {establish = 1e-6}",
    ],
)  # fmt: skip
def test_an_assumption_may_go_to_the_end_of_what_is_taken(line: str) -> None:
    text = f"{TOML}assumptions = {{{line}}}\n"
    assert read_settings(text.encode(), species=SPECIES).problems == ()


def test_a_shift_may_fill_the_longest_block_and_the_week() -> None:
    text = TOML + "shift_hours = 4\nmost_hours_per_landing_week = 4\n"
    assert read_settings(text.encode(), species=SPECIES).problems == ()


@pytest.mark.parametrize(
    ("launches", "contacts", "problem", "note"),
    # The limit of a gross contradiction: three times the count and five besides.
    [(1, 1, False, False), (1, 2, False, True), (1, 8, False, True), (1, 9, True, True)],
)
def test_a_miscount_is_a_note_and_a_gross_one_a_problem(
    launches: int, contacts: int, problem: bool, note: bool, tmp_path: Path
) -> None:
    visits = (
        f"visit_id,landing_id,date,start,end,launches\nV1,A01,2026-07-04,8:00,12:00,{launches}\n"
    )
    rows = "visit_id,direction\n" + "V1,launching\n" * contacts
    tables = {}
    for table, text in (("visits", visits), ("contacts", rows)):
        read = read_csv(text.encode(), table=table, file=f"{table}.csv").table
        tables[table] = check_table(read, manner=Manner())
    assert bool(count_problems(tables)) == problem
    assert bool(count_notes(tables)) == note


@pytest.mark.parametrize("bad", ["DD/MM/YY", "YYYY-MM", "day/month/year", "DD/MM/YYYY HH"])
def test_a_date_format_must_name_year_month_and_day(bad: str) -> None:
    assert day_pattern(bad) is None


def test_all_settings_are_read() -> None:
    text = (
        TOML
        + """crs = "EPSG:32709"
hours = 120
blocks = ["12:00-18:00", "6:00-12:00"]
holidays = [2027-07-05, "2027-06-01"]
cost_per_hour = 30
assumptions = {refusal = 0.1, outside_infested = {value = 0.2, low = 0.1, high = 0.3}}
"""
    )
    reading = read_settings(text.encode(), species=SPECIES)
    assert reading.problems == ()
    made = reading.settings
    assert made.blocks == (Block(6, 12), Block(12, 18))
    assert made.holidays == (date(2027, 6, 1), date(2027, 7, 5))
    assert (made.hours, made.cost_per_hour, made.crs) == (120.0, 30.0, "EPSG:32709")
    assert made.season_days == 139


def test_defaults_of_settings_are_those_of_tables_csv() -> None:
    made = read_settings(TOML.encode(), species=SPECIES).settings
    for name, column in columns("region").items():
        if column.kind in ("number", "integer") and column.default:
            numeric = column.default.replace(".", "", 1).isdigit()
            assert getattr(made, name) == (float(column.default) if numeric else None), name
    assert ", ".join(b.label for b in made.blocks) == columns("region")["blocks"].default
    assert set(columns("region")) == {f.name for f in dataclasses.fields(made)}


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("hours = -1", "out-of-range"),
        ("hours = true", "not-a-number"),
        ("hours = nan", "not-a-number"),
        ("seasons = 2.5", "not-whole"),
        ('education = "talk"', "unknown-word"),
        ('decimal = ";"', "unknown-word"),
        ('date_format = "D/M/Y"', "date-format"),
        ('blocks = ["10:00-09:00"]', "not-a-time"),
        ("holidays = 2027-07-05", "not-a-list"),
        ("assumptions = {refusal = {low = 0.1}}", "assumption"),
        ("assumptions = {refusal = {value = 0.5, low = 0.6, high = 0.7}}", "assumption"),
    ],
)
def test_a_bad_setting_is_named_with_its_line(line: str, code: str) -> None:
    problems = read_settings((TOML + line).encode(), species=SPECIES).problems
    assert [(p.code, p.row, p.column) for p in problems] == [(code, 5, line.split(" =")[0])]


# properties

IDS = st.text("0123456789ABCxyz_.", min_size=1, max_size=9).filter(lambda t: not t.endswith(".0"))


@given(st.lists(IDS, min_size=1, max_size=8, unique=True))
@settings(max_examples=60, deadline=None)
def test_ids_come_through_unchanged(ids: list[str]) -> None:
    data = ("lake_id,name\n" + "".join(f"{i},x\n" for i in ids)).encode()
    cells = read_csv(data, table="lakes", file="lakes.csv").table.cells["lake_id"]
    typed = convert(columns("lakes")["lake_id"], cells, file="lakes.csv", manner=Manner())
    assert typed.values.tolist() == ids


@given(st.lists(st.sampled_from(["", "yes", "no", "not checked", "perhaps", "Y", " "]), max_size=9))
@settings(max_examples=60, deadline=None)
def test_only_a_word_for_yes_becomes_yes(answers: list[str]) -> None:
    cells = pd.Series([a.strip() for a in answers], dtype="str")
    typed = convert(columns("contacts")["plug"], cells, file="c.csv", manner=Manner())
    assert int(typed.values.sum()) == sum(a in ("yes", "Y") for a in answers)
    assert len(typed.problems) == answers.count("perhaps")


@given(st.floats(0, 1e6, allow_nan=False), st.sampled_from([".", ","]))
@settings(max_examples=60, deadline=None)
def test_a_number_is_the_same_with_either_decimal_mark(value: float, mark: str) -> None:
    text = f"{value:.3f}".replace(".", mark)
    typed = convert(
        columns("lakes")["area_ha"], pd.Series([text]), file="l.csv", manner=Manner(mark)
    )
    assert typed.values.iloc[0] == float(f"{value:.3f}")


@given(st.binary(max_size=300))
@settings(max_examples=80, deadline=None)
def test_no_bytes_make_the_reader_fall_over(data: bytes) -> None:
    assert read_csv(data, table="lakes", file="lakes.csv") is not None
    assert read_settings(data, species=SPECIES) is not None


def test_visit_hours_in_no_time_block_are_told(demo_region):
    from dataclasses import replace

    from spreadnet.evidence.checking.missing import _outside_blocks
    from spreadnet.evidence.region import Block

    settings = demo_region.settings
    assert _outside_blocks(demo_region.visits, settings) == []
    late = replace(settings, blocks=(Block(23, 24),))
    (note,) = _outside_blocks(demo_region.visits, late)
    assert "100% of their hours lie in no time block" in note.text
    assert _outside_blocks(demo_region.visits.iloc[:0], late) == []
