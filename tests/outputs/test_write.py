"""The four writers: whole folders, and every column of every table explained."""

import csv
import json
import re

import pytest

import spreadnet
from spreadnet.model.carriage.carriage import GAPS

WRITTEN = ("run", "plan", "hindcast", "survey")


@pytest.fixture(scope="module")
def results(demo_region, tmp_path_factory):
    """Each result in a folder of its own, the run with a plan beside it."""
    out = tmp_path_factory.mktemp("results")
    plan = spreadnet.season_plan(demo_region, draws=2)
    survey = spreadnet.survey_next(demo_region)
    foretold = spreadnet.hindcast(demo_region, from_year=2018, draws=2)
    ranked = spreadnet.assess(demo_region, draws=2)
    return {
        "run": (out / "run", spreadnet.write_results(ranked, out / "run", plan=plan)),
        "plan": (out / "plan", spreadnet.write_plan(plan, out / "plan")),
        "hindcast": (out / "hindcast", spreadnet.write_hindcast(foretold, out / "hindcast")),
        "survey": (out / "survey", spreadnet.write_survey(survey, demo_region, out / "survey")),
    }


def rows(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.reader(file))


def as_pattern(column, species):
    """A column that stands for several, as a pattern of their names."""
    one_of = {"<species>": "|".join(species), "<gap>": "|".join(GAPS)}
    pattern = re.escape(column)
    for name, choices in one_of.items():
        pattern = pattern.replace(re.escape(name), f"({choices})")
    return re.compile(pattern)


@pytest.mark.parametrize("name", WRITTEN)
def test_every_column_of_every_table_is_explained_and_nothing_else(name, results, demo_region):
    folder, files = results[name]
    head, *meanings = rows(folder / "columns.csv")
    assert head == ["file", "column", "unit", "meaning"]
    tables = {f.name for f in files if f.suffix == ".csv"} - {"columns.csv"}
    assert {row[0] for row in meanings} == tables
    for table in tables:
        columns = rows(folder / table)[0]
        patterns = [
            as_pattern(row[1], demo_region.settings.species) for row in meanings if row[0] == table
        ]
        for column in columns:
            assert sum(bool(p.fullmatch(column)) for p in patterns) == 1, f"{table}: {column}"
        for pattern in patterns:
            assert any(map(pattern.fullmatch, columns)), f"{table}: {pattern.pattern}"
    assert all(len(row[3]) > 3 for row in meanings)


@pytest.mark.parametrize("name", WRITTEN)
def test_the_record_names_every_file_and_comes_last(name, results):
    folder, files = results[name]
    assert [f.name for f in files[-2:]] == ["columns.csv", "run.json"]
    assert {f.name for f in folder.iterdir()} == {f.name for f in files}
    record = json.loads((folder / "run.json").read_text("utf-8"))
    assert [one["file"] for one in record["outputs"]] == [f.name for f in files[:-1]]
    assert record["spreadnet"] and record["made_on"]


def test_a_table_of_the_same_name_is_explained_as_what_it_is(results):
    chance = {}
    for name in ("run", "hindcast"):
        meanings = rows(results[name][0] / "columns.csv")
        chance[name] = {row[1] for row in meanings if row[0] == "lakes.csv"}
    assert "chance" in chance["hindcast"] and "chance" not in chance["run"]
    assert "worth" in chance["run"] and "worth" not in chance["hindcast"]
