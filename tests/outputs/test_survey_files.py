"""The survey list as a command and a table."""

import json

import pandas as pd

import spreadnet
from spreadnet.cli import main


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
    names = ["READ_FIRST.txt", "survey.csv", "columns.csv"]
    assert [one["file"] for one in record["outputs"]] == names
    assert main(["survey-next", "demo_region", "--out", str(out)]) == 1
    assert "--force" in capsys.readouterr().err


def test_the_library_gives_the_same(demo_region):
    survey = spreadnet.survey_next(demo_region)
    assert list(survey.table.index) == list(demo_region.landings.index)
    longer = spreadnet.survey_next(demo_region, survey_hours=12)
    assert longer.table["contacts_launching"].sum() > survey.table["contacts_launching"].sum()
