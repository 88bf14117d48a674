"""The survey list as a command and a table."""

import json
from dataclasses import replace
from datetime import date

import openpyxl
import pandas as pd
import pytest

import spreadnet
from spreadnet.cli import main
from spreadnet.outputs.write import write_survey
from spreadnet.words import survey_words


def test_the_command_lists_and_writes(capsys, tmp_path):
    out = tmp_path / "out"
    assert main(["survey-next", "demo_region", "--out", str(out), "--shown", "3"]) == 0
    told = capsys.readouterr().out
    assert "where one more survey shift would sharpen the decision most" in told
    table = pd.read_csv(out / "survey.csv", dtype={"landing_id": str})
    first = table.iloc[0]
    assert first["survey_rank"] == 1
    assert f"1  {first['name']} [{first['landing_id']}]" in told
    assert table["gain"].is_monotonic_decreasing
    record = json.loads((out / "run.json").read_text("utf-8"))
    assert record["survey_next"]["region"] == "Ovrin Shelf"
    names = ["READ_FIRST.txt", "survey.csv", "lakes_to_survey.csv", "survey.xlsx", "survey.html"]
    names.append("columns.csv")
    assert [one["file"] for one in record["outputs"]] == names
    assert main(["survey-next", "demo_region", "--out", str(out)]) == 1
    assert "--force" in capsys.readouterr().err


@pytest.fixture(scope="module")
def written(demo_region, tmp_path_factory):
    survey = spreadnet.survey_next(demo_region)
    folder = tmp_path_factory.mktemp("survey") / "out"
    write_survey(survey, demo_region, folder, made_on=date(2027, 1, 2))
    return survey, folder


def test_lakes_are_ranked_beside_landings_in_every_file(demo_region, written):
    survey, folder = written
    lakes = pd.read_csv(folder / "lakes_to_survey.csv", dtype={"lake_id": str})
    first = lakes.iloc[0]
    assert first["survey_rank"] == 1
    assert lakes["gain"].tolist() == pytest.approx(survey.lakes["gain"].tolist(), rel=1e-5)
    book = openpyxl.load_workbook(folder / "survey.xlsx")
    assert book.sheetnames == ["read first", "landings", "lakes"]
    rows = list(book["lakes"].values)
    assert list(rows[0]) == list(lakes.columns)
    assert rows[1][rows[0].index("lake_id")] == first["lake_id"]
    assert book["landings"].max_row == 1 + len(demo_region.landings)
    page = (folder / "survey.html").read_text("utf-8")
    shown = lakes[lakes["survey_rank"].notna()].head(3)
    assert all(f"{row.lake} ({row.lake_id})" in page for row in shown.itertuples())
    landing = survey.table["survey_rank"].idxmin()
    assert f"({landing})" in page
    assert "seed" not in page
    told = survey_words(survey, demo_region)
    assert f"1  {first['lake']} [{first['lake_id']}]: gain " in told
    assert "Cautions" in page


def test_every_column_of_the_survey_is_explained(written):
    folder = written[1]
    meanings = pd.read_csv(folder / "columns.csv")
    for name in ("survey.csv", "lakes_to_survey.csv"):
        columns = list(pd.read_csv(folder / name).columns)
        assert columns == meanings.loc[meanings["file"] == name, "column"].tolist()


def test_a_lake_that_looks_like_a_formula_or_a_tag_is_only_text(demo_region, written, tmp_path):
    survey = written[0]
    lakes = survey.lakes.assign(lake="=1+<b>2</b>")
    out = tmp_path / "out"
    write_survey(replace(survey, lakes=lakes), demo_region, out)
    assert "<b>2" not in (out / "survey.html").read_text("utf-8")
    cell = openpyxl.load_workbook(out / "survey.xlsx")["lakes"]["C2"]
    assert cell.data_type == "s"


def test_the_library_gives_the_same(demo_region):
    survey = spreadnet.survey_next(demo_region)
    assert list(survey.table.index) == list(demo_region.landings.index)
    longer = spreadnet.survey_next(demo_region, survey_hours=12)
    assert longer.table["contacts_launching"].sum() > survey.table["contacts_launching"].sum()
