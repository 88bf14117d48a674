"""What goes wrong with a plan never loses what is done, and the message says what is missing."""

import shutil

import pytest
from accepted_mutants import Region

from spreadnet.cli import main
from spreadnet.outputs.write import PLAN_FILES, ROSTER_FILES

QUICK = ("--draws", "1", "--seasons", "2", "--workers", "1")


@pytest.fixture
def region(tmp_path):
    folder = tmp_path / "region"
    folder.mkdir()
    return Region().write(folder)


def broken(*_, **__):
    raise KeyError("E1")


def names(folder):
    return {path.name for path in folder.iterdir()}


def ended(*words):
    return main([*map(str, words), *QUICK])


def test_an_error_in_the_roster_keeps_ranking_and_plan(region, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("spreadnet.decisions.plan.dated.make_roster", broken)
    assert ended("run", region, "--out", tmp_path / "out") == 1
    there = names(tmp_path / "out")
    assert {"landings.csv", "map.html", "run.json", "plan.csv", "plan.html"} <= there
    assert not there & set(ROSTER_FILES)
    told = capsys.readouterr()
    assert "all else is written, but not roster.csv, roster.xlsx, roster.ics: something" in told.err
    assert "KeyError: 'E1'" in told.err
    assert "Traceback" not in told.err
    assert "North ramp" in told.out and "The plan: " in told.out
    assert "Dates could not be worked out" in (tmp_path / "out" / "plan.html").read_text("utf-8")


def test_a_plan_without_dates_is_written_and_said_to_be_incomplete(
    region, tmp_path, monkeypatch, capsys
):
    monkeypatch.setattr("spreadnet.decisions.plan.dated.make_roster", broken)
    assert ended("plan", region, "--out", tmp_path / "out") == 1
    assert set(PLAN_FILES) - names(tmp_path / "out") == set(ROSTER_FILES)
    told = capsys.readouterr()
    assert "dates and people could not be worked out (KeyError: 'E1')" in told.err
    assert "1 x South ramp (A02), weekend" in told.out  # where and when to stand is told


def test_a_plan_that_is_only_told_has_no_dates_either(region, monkeypatch, capsys):
    monkeypatch.setattr("spreadnet.decisions.plan.dated.make_roster", broken)
    assert ended("plan", region) == 1
    told = capsys.readouterr()
    assert "error: the plan has no dates: something unexpected" in told.err
    assert "1 x South ramp (A02), weekend" in told.out  # where and when to stand is told


@pytest.mark.parametrize("command", ["run", "plan"])
def test_an_error_while_the_roster_is_written_keeps_the_rest(
    command, region, tmp_path, monkeypatch, capsys
):
    monkeypatch.setattr("spreadnet.outputs.write.write_roster", broken)
    assert ended(command, region, "--out", tmp_path / "out") == 1
    assert set(PLAN_FILES) - names(tmp_path / "out") == set(ROSTER_FILES)
    assert "not roster.csv, roster.xlsx, roster.ics" in capsys.readouterr().err


@pytest.mark.parametrize(
    "place", ["spreadnet.decisions.plan.dated.best_plan", "spreadnet.outputs.write.plan_page"]
)
def test_an_error_in_the_plan_keeps_the_ranking(place, region, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(place, broken)
    assert ended("run", region, "--out", tmp_path / "out") == 1
    there = names(tmp_path / "out")
    assert {"landings.csv", "map.html", "run.json"} <= there
    assert not there & set(PLAN_FILES)
    told = capsys.readouterr()
    assert "not plan.csv, ways.csv" in told.err
    assert "North ramp" in told.out


def test_rules_that_clash_keep_the_ranking_and_are_told(tmp_path, capsys):
    made = Region()
    made.settings["hours"] = "0"
    (tmp_path / "region").mkdir()
    assert ended("run", made.write(tmp_path / "region"), "--out", tmp_path / "out") == 1
    assert "landings.csv" in names(tmp_path / "out")
    told = capsys.readouterr().err
    assert "but not plan.csv" in told
    assert "no plan keeps to all rules" in told
    assert "something unexpected" not in told


def test_a_season_that_is_over_needs_no_plan(tmp_path, capsys):
    made = Region()
    made.rows["visits"][0]["date"] = "2027-09-30"
    (tmp_path / "region").mkdir()
    assert ended("run", made.write(tmp_path / "region"), "--out", tmp_path / "out") == 0
    assert not names(tmp_path / "out") & set(PLAN_FILES)
    assert "no plan is made" in capsys.readouterr().err


def test_a_disk_that_is_full_is_no_reason_to_write_less(region, tmp_path, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("spreadnet.outputs.write.write_roster", full)
    assert ended("run", region, "--out", tmp_path / "out") == 1
    assert not (tmp_path / "out").exists()


def test_a_code_that_the_roster_would_part_is_refused_by_check(tmp_path, capsys):
    made = Region()
    for table in ("hours", "promised"):
        made.rows[table][0]["code"] = "E1;E2"
    (tmp_path / "region").mkdir()
    folder = made.write(tmp_path / "region")
    assert main(["check", str(folder)]) == 1
    told = capsys.readouterr().out
    assert "hours.csv, row 2, column code: the cell is not a code" in told
    assert "promised.csv, row 2, column code: the cell is not a code" in told
    assert "Write one code a cell" in told
    shutil.rmtree(folder)


def test_a_promise_in_a_block_too_short_for_a_shift_is_refused_by_check(tmp_path, capsys):
    made = Region()
    made.settings["blocks"] = '["06:00-08:00", "10:00-14:00"]'
    made.rows["promised"][0]["block"] = "06:00-08:00"
    (tmp_path / "region").mkdir()
    assert main(["check", str(made.write(tmp_path / "region"))]) == 1
    assert "the block 06:00-08:00 is shorter than a shift, 4 hours" in capsys.readouterr().out


@pytest.mark.parametrize("word", ["nan", "NaN", "None", "NULL", "NA", "<NA>", "NaT", "null"])
@pytest.mark.parametrize("column", ["last_water", "next_water"])
@pytest.mark.parametrize("row", [0, 1])
def test_a_word_for_nothing_is_a_lake_or_a_problem(column, row, word, tmp_path, capsys):
    """Asked of boats going in or coming out, and under the other direction."""
    made = Region()
    made.rows["contacts"][row][column] = word
    (tmp_path / "region").mkdir()
    folder = made.write(tmp_path / "region")
    if word == "None":  # in capitals or not, the word for no trip
        assert main(["check", str(folder)]) == 0
        return
    assert main(["check", str(folder)]) == 1
    told = capsys.readouterr().out
    assert f"contacts.csv, row {row + 2}, column {column}: '{word}' is not in lakes.csv" in told
    made.rename("lakes", "L02", word)
    made.rename("lakes", "L03", "x3")
    made.rows["contacts"][row][column] = word
    made.write(folder)
    assert main(["check", str(folder)]) == 0


def test_where_nothing_is_avoided_costs_are_empty_and_a_note_says_so(tmp_path, capsys):
    import pandas as pd

    made = Region()
    made.settings["cost_per_hour"] = "30"
    made.rows["status"] = [
        {"lake_id": lake["lake_id"], "species": "dreissenid_mussel", "status": "present"}
        for lake in made.rows["lakes"]
    ]
    (tmp_path / "region").mkdir()
    folder, out = made.write(tmp_path / "region"), tmp_path / "out"
    assert ended("run", folder, "--out", out) == 0
    told = capsys.readouterr()
    assert "such cells are empty" in told.err
    for name in ("ways.csv", "value_of_hours.csv", "comparison.csv"):
        table = pd.read_csv(out / name)
        assert len(table)
        assert table["cost_per_infestation_avoided"].isna().all(), name
        assert (table["cost"] >= 0).all()
    for path in [*out.glob("*.csv"), out / "plan.html", out / "run.json"]:
        words = path.read_text("utf-8-sig").replace(",", " ").replace(">", " ").split()
        assert not {"inf", "Infinity", "nan", "NaN"} & set(words), path.name
    assert "nothing avoided" in (out / "plan.html").read_text("utf-8")
