"""The invented region: made by its script, as large and as messy as it is said to be."""

import dataclasses
import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Transformer
from shapely.geometry import shape

from spreadnet.evidence.columns import columns
from spreadnet.evidence.personal.privacy import looks_personal
from spreadnet.evidence.read import check_region
from spreadnet.evidence.species.species import read_species
from spreadnet.model.carriage.habitat import habitat
from spreadnet.model.distance import landing_lake_positions, landing_to_lake_km
from spreadnet.model.movement.interviews import build_interviews

FOLDER = Path(__file__).parents[2] / "demo_region"
TABLES = ("landings", "status", "streams", "visits", "contacts")
GAPS = ["plug", "plants", "animals", "mud", "water"]


@pytest.fixture(scope="module")
def make_demo():
    spec = importlib.util.spec_from_file_location("make_demo", FOLDER / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_demo"] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules["make_demo"]


@pytest.fixture(scope="module")
def made(make_demo):
    return make_demo.make_region()


@pytest.fixture(scope="module")
def tables():
    return {t: pd.read_csv(FOLDER / f"{t}.csv", dtype=str, keep_default_na=False) for t in TABLES}


@pytest.fixture(scope="module")
def features():
    return json.loads((FOLDER / "lakes.geojson").read_text("utf-8"))["features"]


@pytest.fixture(scope="module")
def outlines(features):
    """Outlines in metres."""
    flat = Transformer.from_crs("EPSG:4326", "EPSG:32709", always_xy=True)

    def metres(lonlat):
        return np.column_stack(flat.transform(*lonlat.T))

    return shapely.transform([shape(f["geometry"]) for f in features], metres)


@pytest.fixture(scope="module")
def region():
    problems, found = check_region(FOLDER)
    assert problems == []
    return found


def test_files_are_those_the_script_makes(made):
    for name, text in made.files.items():
        assert (FOLDER / name).read_bytes() == text.encode(), f"{name}: run make_demo.py again"


@pytest.mark.slow
def test_another_seed_makes_another_region_and_changes_no_size(make_demo, made):
    other = make_demo.make_region(make_demo.SEED + 1)
    assert other.files["contacts.csv"] != made.files["contacts.csv"]
    assert other.files["landings.csv"].count("\n") == made.files["landings.csv"].count("\n")


@pytest.mark.slow
def test_parameters_change_boats_and_leave_the_land_alone(make_demo, made):
    quiet = dataclasses.replace(make_demo.Truth(), launches_per_hour=0.2)
    other = make_demo.make_region(truth=quiet)
    assert other.files["lakes.geojson"] == made.files["lakes.geojson"]
    assert other.files["contacts.csv"].count("\n") < made.files["contacts.csv"].count("\n") / 2


def test_folder_is_under_two_megabytes():
    assert sum(path.stat().st_size for path in FOLDER.iterdir() if path.is_file()) < 2e6


def test_reader_finds_no_problem_and_fills_in_the_lakes_of_landings(region, made):
    assert (len(region.lakes), len(region.landings)) == (72, 104)
    lakes = landing_lake_positions(region.landings, region.lakes)
    assert (lakes == made.known.landing_lake).all()


def test_it_lies_in_the_open_ocean(outlines, features):
    west, south, east, north = shapely.total_bounds([shape(f["geometry"]) for f in features])
    assert west > -128.8 and east < -127.2
    assert south > -41.5 and north < -40.5
    west, south, east, north = shapely.total_bounds(outlines)
    assert 95_000 < east - west < 112_000
    assert 75_000 < north - south < 92_000


def test_outlines_are_valid_and_do_not_touch(outlines):
    assert shapely.is_valid(outlines).all()
    assert shapely.area(outlines).min() > 8e4
    for k, one in enumerate(outlines):
        assert shapely.distance(one, np.delete(outlines, k)).min() > 400


def test_outlines_follow_the_geojson_standard(features):
    """RFC 7946, 3.1.6 and 4: outer rings anticlockwise, closed, WGS 84 without a `crs` member."""
    assert "crs" not in json.loads((FOLDER / "lakes.geojson").read_text("utf-8"))
    for feature in features:
        outer, *holes = feature["geometry"]["coordinates"]
        assert shapely.is_ccw(shapely.linearrings(outer))
        assert not any(shapely.is_ccw(shapely.linearrings(hole)) for hole in holes)
        assert outer[0] == outer[-1]


def test_lakes_are_many_varied_and_some_have_islands(features, outlines):
    assert 60 <= len(outlines) <= 80
    areas = shapely.area(outlines) / 1e4
    assert areas.min() < 12 and areas.max() > 4_500
    assert 120 < np.median(areas) < 260
    assert sum(len(f["geometry"]["coordinates"]) > 1 for f in features) >= 10
    # An oval fills its hull; natural outlines have bays, some many more than others.
    hull = shapely.area(outlines) / shapely.area(shapely.convex_hull(outlines))
    assert 0.5 < hull.min() < 0.75 and np.median(hull) < 0.9


def test_lake_tables_have_gaps(features):
    table = pd.DataFrame([f["properties"] for f in features])
    for name in ("depth_m", "secchi_m", "calcium_mg_l"):
        assert 0.03 < table[name].isna().mean() < 0.4, name
    assert 0.9 < table["worth"].isna().mean() < 1
    assert table["name"].is_unique


def test_landings_lie_at_the_shore_of_their_lake(made, tables, outlines):
    flat = Transformer.from_crs("EPSG:4326", "EPSG:32709", always_xy=True)
    places = tables["landings"][["longitude", "latitude"]].astype(float).to_numpy()
    points = shapely.points(np.column_stack(flat.transform(*places.T)))
    shores = shapely.boundary(outlines)[made.known.landing_lake]
    assert shapely.distance(points, shores).max() < 150


def test_landings_are_many_and_uneven(tables, made):
    landings = tables["landings"]
    assert 90 <= len(landings) <= 120
    number = np.bincount(made.known.landing_lake, minlength=72)
    assert (number == 0).sum() == 10 and number.max() >= 5
    assert landings["name"].is_unique
    assert landings["jurisdiction"].replace("", np.nan).nunique() == 3
    assert 2 <= (landings["can_staff"] == "no").sum() <= 8
    for name in ("lake_id", "ramp_lanes", "trailer_stalls", "jurisdiction", "can_staff"):
        assert (landings[name] == "").any(), name


def test_two_species_were_found_over_at_least_eight_years(tables):
    status = tables["status"]
    assert status["species"].nunique() == 2
    for _, rows in status.groupby("species"):
        years = rows.loc[rows["status"] == "present", "first_found"].str[:4].replace("", np.nan)
        assert years.nunique() >= 8 and years.astype(float).max() >= 2024
        assert (rows["status"] == "absent").sum() > 15
        assert (rows["status"] == "unknown").sum() > 5
        assert len(rows) < 72  # some lakes have no row at all
    dated = status.loc[status["first_found"] != "", "first_found"]
    assert set(dated.str.len()) == {4, 10}  # years alone, and days
    assert (status.loc[status["status"] == "present", "first_found"] == "").any()


def test_streams_join_neighbours_and_some_have_a_barrier(tables, outlines):
    streams = tables["streams"]
    assert 12 <= len(streams) <= 20
    assert (streams["barrier"] == "yes").sum() == 3
    ends = [
        streams[f"{side}_lake_id"].str[1:].astype(int).to_numpy() - 1
        for side in ("upstream", "downstream")
    ]
    apart = shapely.distance(outlines[ends[0]], outlines[ends[1]]) / 1000
    assert (streams["distance_km"].astype(float) >= apart - 0.06).all()


def test_visits_are_uneven_and_some_met_nobody(tables):
    visits = tables["visits"]
    assert len(visits) >= 300
    assert 50 <= visits["landing_id"].nunique() <= 70
    assert set(visits["date"].str[:4]) == {"2025", "2026"}
    for name in ("launches", "retrievals", "refused", "educators"):
        assert 0.01 < (visits[name] == "").mean() < 0.25, name
    assert (visits["launches"] == "0").sum() >= 10
    assert ((visits["launches"] == "0") & (visits["retrievals"] == "0")).any()
    refused = pd.to_numeric(visits["refused"]).sum()
    assert 0.02 < refused / (refused + len(tables["contacts"])) < 0.06
    clocks = [
        visits[c].str[:2].astype(int) + visits[c].str[3:].astype(int) / 60 for c in ("start", "end")
    ]
    stay = clocks[1] - clocks[0]
    assert stay.between(2, 4).all()
    crossing = (clocks[0] - 6) // 4 < (clocks[1] - 6.01) // 4
    assert 0.05 < crossing.mean() < 0.3


def test_contacts_are_messy_in_each_way_that_life_is(tables, made):
    contacts, visits = tables["contacts"], tables["visits"].set_index("visit_id")
    assert 4_000 <= len(contacts) <= 5_500
    here = contacts["visit_id"].map(visits["landing_id"]).str[1:].astype(int) - 1
    own = "L" + pd.Series(made.known.landing_lake[here] + 1).astype(str).str.zfill(2)
    for direction, column in (("launching", "last_water"), ("retrieving", "next_water")):
        rows = (contacts["direction"] == direction).to_numpy()
        water = contacts.loc[rows, column]
        assert rows.mean() > 0.4
        assert 0.03 < (water == "").mean() < 0.1
        assert 0.04 < (water == "outside").mean() < 0.15
        assert 0.05 < (water == "none").mean() < 0.25
        other = ~water.isin(["", "outside", "none"]) & (water != own[rows])
        assert 0.25 < other.mean() < 0.4
    for gap in GAPS:
        assert (contacts[gap] == "not checked").mean() > 0.03, gap
        assert (contacts[gap] == "").mean() > 0.02, gap
        assert 0.005 < (contacts[gap] == "yes").mean() < 0.35, gap
    found = (contacts[GAPS] == "yes").any(axis=1)
    assert set(contacts.loc[~found, "corrected"]) == {""}
    assert set(contacts.loc[found, "corrected"]) == {"", "yes", "no"}
    launching = contacts["direction"] == "launching"
    assert 0.15 < (contacts.loc[launching, "days_out"] == "").mean() < 0.4
    assert {"motor", "ballast", "sail", "personal watercraft", "paddle", "unknown", ""} == set(
        contacts["craft"]
    )


def test_nobody_spoke_with_more_boats_than_there_were(tables):
    visits = tables["visits"].set_index("visit_id")
    spoken = tables["contacts"].groupby("visit_id").size().reindex(visits.index, fill_value=0)
    counts = visits[["launches", "retrievals", "refused"]].apply(pd.to_numeric)
    whole = counts.notna().all(axis=1)
    boats = counts["launches"] + counts["retrievals"]
    assert (spoken + counts["refused"] <= boats)[whole].all()
    assert spoken.max() <= 12 * 4


def test_no_column_or_cell_is_personal(tables):
    for name, table in tables.items():
        assert set(table.columns) <= set(columns(name)), name
        for column in table.columns:
            if column not in ("longitude", "latitude"):  # decimals look like phone numbers
                assert not table[column].map(looks_personal).any(), f"{name}: {column}"


def test_names_are_invented_words(make_demo, features, tables):
    words = set(make_demo.WORDS.split())
    kinds = {"Lake", "Pond", "Tarn", "Water"}
    for feature in features:
        assert set(feature["properties"]["name"].split()) - kinds <= words
    assert set(tables["landings"]["name"].str.split().str[0]) <= words


def test_true_quantities_agree_with_the_model_of_the_package(made, region, features):
    """What the generator computes for itself, against spreadnet's own functions."""
    known = made.known
    reached = np.isin(np.arange(72), known.landing_lake)
    distance = landing_to_lake_km(region.landings, region.lakes)
    assert distance[:, reached] == pytest.approx(known.distance_km[:, reached], abs=0.003)
    for name, expected in known.habitat.items():
        needed = "calcium_mg_l" if name == "dreissenid_mussel" else ["secchi_m", "depth_m"]
        described = region.lakes[needed].notna().to_numpy().reshape(72, -1).all(axis=1)
        found = habitat(read_species()[name], region.lakes)
        assert found[described] == pytest.approx(expected[described], abs=1e-9), name
    assert known.trips.sum(axis=0) == pytest.approx(known.launches * known.shares[0, :, 1])


def test_interviews_follow_the_true_choices(made, region):
    """Log-likelihood of the other lakes named, within 3 standard errors of what truth expects."""
    known = made.known
    interviews = build_interviews(region.contacts, region.visits, region.landings, region.lakes)
    assert interviews.total > 1_200
    contacts = region.contacts
    at = contacts["visit_id"].map(region.visits["landing_id"])
    k = region.landings.index.get_indexer(at)
    way = (contacts["direction"] == "retrieving").to_numpy().astype(int)
    water = contacts["last_water"].fillna(contacts["next_water"])
    j = region.lakes.index.get_indexer(water)
    other = (j >= 0) & (j != known.landing_lake[k]) & np.isin(j, known.landing_lake)
    chance = known.choice[way[other], k[other]]
    log = np.log(np.where(chance > 0, chance, 1))
    mean = (chance * log).sum(axis=1)
    spread = np.sqrt((chance * log**2).sum() - (mean**2).sum())
    named = log[np.arange(other.sum()), j[other]]
    assert abs(named.sum() - mean.sum()) < 3 * spread


def test_readme_counts_what_is_there(tables):
    text = (FOLDER / "README.md").read_text("utf-8")
    streams, contacts = len(tables["streams"]), len(tables["contacts"])
    landings, visits = len(tables["landings"]), len(tables["visits"])
    told = ("72 lakes", f"{landings} landings", f"{streams} streams", f"{visits} visits")
    for words in (*told, f"{contacts:,} boat parties"):
        assert words in text
