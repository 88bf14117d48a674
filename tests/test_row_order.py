"""The order of rows changes nothing: shuffled tables give the same bytes, on any hash seed."""

import json
import os
import random
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from large_region import SMALL, write_large_region

import spreadnet
from spreadnet.evidence.read import check_region
from spreadnet.evidence.region import TABLES, Block
from spreadnet.outputs.write import write_hindcast, write_survey

DEMO = Path(__file__).parents[1] / "demo_region"
DRAWS, DAY = 8, date(2027, 1, 1)
TURNED = {
    "{dreissenid_mussel = 1.0, eurasian_watermilfoil = 0.6}": (
        "{eurasian_watermilfoil = 0.6, dreissenid_mussel = 1.0}"
    ),
    '["06:00-10:00", "10:00-14:00", "14:00-18:00", "18:00-22:00"]': (
        '["18:00-22:00", "10:00-14:00", "06:00-10:00", "14:00-18:00"]'
    ),
    "[2027-06-21, 2027-08-16]": "[2027-08-16, 2027-06-21]",
}


def copied(to, *, seed=None):
    """The demo region in a new folder, with a seed every row and key in another place."""
    rng = random.Random(seed)
    to.mkdir()
    for path in sorted(DEMO.iterdir()):
        text = path.read_text("utf-8")
        if seed is not None and path.suffix == ".csv":
            head, *rows = text.splitlines(keepends=True)
            text = head + "".join(rng.sample(rows, len(rows)))
        elif seed is not None and path.suffix == ".geojson":
            lakes = json.loads(text)
            rng.shuffle(lakes["features"])
            text = json.dumps(lakes)
        elif seed is not None and path.suffix == ".toml":
            for one, other in TURNED.items():
                assert one in text
                text = text.replace(one, other)
        if path.suffix in (".csv", ".geojson", ".toml"):
            (to / path.name).write_text(text, "utf-8")
    return to


def left_behind(folder, out):
    """What every command writes of a region: file to bytes, less what names the input's bytes."""
    region = spreadnet.read_region(folder)
    result = spreadnet.assess(region, draws=DRAWS)
    plan = spreadnet.season_plan(result, draws=DRAWS)
    spreadnet.write_results(result, out / "run", made_on=DAY, plan=plan)
    foretold = spreadnet.hindcast(region, from_year=2023, draws=DRAWS)
    write_hindcast(foretold, out / "hindcast", made_on=DAY)
    write_survey(spreadnet.survey_next(region), region, out / "survey", made_on=DAY)
    files = {str(p.relative_to(out)): p.read_bytes() for p in out.rglob("*") if p.is_file()}
    record = json.loads(files[str(Path("run", "run.json"))])
    number = record["run"].encode()
    for name in ("run", "inputs", "timings_s", "outputs"):
        del record[name]
    files[str(Path("run", "run.json"))] = json.dumps(record).encode()
    return {name: data.replace(number, b"RUN") for name, data in files.items()}


@pytest.fixture(scope="module")
def as_given(tmp_path_factory):
    folder = tmp_path_factory.mktemp("given")
    return left_behind(copied(folder / "demo"), folder / "out")


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_shuffled_tables_give_the_same_bytes_in_every_file(as_given, tmp_path, seed):
    found = left_behind(copied(tmp_path / "demo", seed=seed), tmp_path / "out")
    assert len(found) >= 25
    assert set(found) == set(as_given)
    assert [name for name in found if found[name] != as_given[name]] == []


@pytest.mark.slow
def test_hash_seed_and_workers_change_no_table(tmp_path):
    runs = []
    for number in (1, 2):
        words = ["run", copied(tmp_path / f"demo{number}", seed=number), "--out"]
        words += [tmp_path / f"out{number}", "--draws", 2, "--workers", number]
        runs.append(
            subprocess.Popen(
                [sys.executable, "-m", "spreadnet.cli", *map(str, words)],
                env={**os.environ, "PYTHONHASHSEED": str(number)},
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        )
    assert [work.wait(timeout=300) for work in runs] == [0, 0]
    files = [{p.name: p.read_bytes() for p in (tmp_path / f"out{n}").iterdir()} for n in (1, 2)]
    tables = [name for name in files[0] if name.endswith((".csv", ".graphml"))]
    assert len(tables) >= 13
    assert [name for name in tables if files[0][name] != files[1][name]] == []


def same_tables(one, other):
    """Hold every table of two regions to be the same, to the last bit."""
    for table in TABLES:
        first, second = getattr(one, table), getattr(other, table)
        if isinstance(first, gpd.GeoDataFrame):
            assert (first.geometry.to_wkb() == second.geometry.to_wkb()).all()
            first, second = (pd.DataFrame(t.drop(columns="geometry")) for t in (first, second))
        pd.testing.assert_frame_equal(first, second, check_exact=True)
    assert [note.text for note in one.notes] == [note.text for note in other.notes]


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A small region with ready movements, as files and as tables of their rows."""
    folder = tmp_path_factory.mktemp("small")
    write_large_region(folder, size=SMALL)
    lakes = gpd.read_file(folder / "lakes.gpkg")
    rng = np.random.default_rng(4)
    ends = rng.permuted(np.tile(lakes["lake_id"], (120, 1)), axis=1)[:, :2]
    trips = pd.DataFrame(ends, columns=["from_lake_id", "to_lake_id"]).drop_duplicates()
    trips["trips"] = rng.gamma(1, 90, len(trips)).round(3)
    trips.to_csv(folder / "movements.csv", index=False)
    tables = {
        p.stem: pd.read_csv(p, dtype=str, keep_default_na=False) for p in folder.glob("*.csv")
    }
    tables["lakes"] = lakes
    tables["landings"] = gpd.GeoDataFrame(
        tables["landings"].drop(columns=["longitude", "latitude"]),
        geometry=gpd.points_from_xy(
            tables["landings"]["longitude"], tables["landings"]["latitude"]
        ),
        crs=4326,
    )
    return folder, tables


def written_as(small, to, *, places, plain, seed=None):
    """The small region in other formats; with a seed every table's rows in another order."""
    folder, tables = small
    to.mkdir()
    shutil.copy(folder / "region.toml", to)
    for number, (name, rows) in enumerate(sorted(tables.items())):
        if seed is not None:
            rows = rows.sample(frac=1, random_state=seed + number)
        if isinstance(rows, gpd.GeoDataFrame):
            short = rows.rename(columns=lambda c: c[:10]) if places == "shp" else rows
            short.to_file(to / f"{name}.{places}", engine="pyogrio")
        elif plain == "xlsx":
            rows.to_excel(to / f"{name}.xlsx", index=False)
        else:
            rows.to_csv(to / f"{name}.csv", index=False)
    return to


@pytest.mark.parametrize(
    ("places", "plain"), [("gpkg", "csv"), ("geojson", "xlsx"), ("shp", "csv")]
)
def test_every_format_gives_the_same_region_from_shuffled_rows(small, tmp_path, places, plain):
    one = written_as(small, tmp_path / "one", places=places, plain=plain)
    other = written_as(small, tmp_path / "other", places=places, plain=plain, seed=3)
    region = spreadnet.read_region(one)
    assert len(region.movements) > 100
    same_tables(region, spreadnet.read_region(other))


@pytest.mark.slow
def test_a_table_of_movements_may_be_shuffled_too(small, tmp_path):
    found = [
        spreadnet.assess(
            spreadnet.read_region(
                written_as(small, tmp_path / str(seed), places="gpkg", plain="csv", seed=seed)
            ),
            draws=3,
        )
        for seed in (None, 5)
    ]
    assert found[0].movement.kind == "movements"
    for table in ("landings", "lakes", "trips"):
        one, other = (pd.DataFrame(getattr(result, table)) for result in found)
        pd.testing.assert_frame_equal(
            one.drop(columns="geometry"), other.drop(columns="geometry"), check_exact=True
        )


def test_a_region_changed_in_python_is_in_order_again_and_what_was_given_is_left(demo_region):
    given = {t: getattr(demo_region, t).sample(frac=1, random_state=6) for t in TABLES}
    before = {name: table.copy() for name, table in given.items()}
    same_tables(replace(demo_region, **given), demo_region)
    for name, table in given.items():
        pd.testing.assert_frame_equal(table, before[name])


def test_names_blocks_and_holidays_stand_in_order_however_they_are_given(demo_region):
    settings = demo_region.settings
    turned = replace(
        settings,
        species=dict(reversed(settings.species.items())),
        blocks=settings.blocks[::-1],
        holidays=settings.holidays[::-1],
    )
    assert list(turned.species) == sorted(settings.species)
    assert turned.blocks[:2] == (Block(6, 10), Block(10, 14))
    assert turned == settings


def test_problems_name_the_row_of_the_file(tmp_path):
    folder = copied(tmp_path / "demo", seed=7)
    lines = (folder / "visits.csv").read_text("utf-8").splitlines()
    cells = lines[40].split(",")
    lines[40] = ",".join([*cells[:5], "many", *cells[6:]])
    (folder / "visits.csv").write_text("\n".join(lines) + "\n", "utf-8")
    problems, _ = check_region(folder)
    assert [(p.file, p.row, p.column) for p in problems] == [("visits.csv", 41, "educators")]
