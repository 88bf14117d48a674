"""The commands as a user runs them: exit codes, where words go, what is left behind."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from spreadnet.cli import main

DEMO = Path(__file__).parents[1] / "demo_region"


def run(*words, cwd=None):
    return subprocess.run(
        [sys.executable, "-m", "spreadnet.cli", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        encoding="utf-8",
    )


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """One real run of the command on the demo region."""
    folder = tmp_path_factory.mktemp("run")
    done = run("run", DEMO, "--out", folder / "out", "--draws", 20, "--seed", 5)
    assert done.returncode == 0, done.stderr
    return done, folder / "out"


def test_run_leaves_every_file_and_nothing_else(finished):
    _, out = finished
    assert {p.name for p in out.iterdir()} == {
        "landings.csv",
        "lakes.csv",
        "trips.csv",
        "gap_rates.csv",
        "comparison.csv",
        "network.graphml",
        "region.gpkg",
        "map.html",
        "run.json",
    }
    assert [p.name for p in out.parent.iterdir()] == ["out"]


def test_run_prints_ten_landings_with_reasons_and_where_files_went(finished):
    done, out = finished
    ranks = re.findall(r"^ {1,2}(\d+)  .*avoided \(.*\), rank \d+ to \d+$", done.stdout, re.M)
    assert [int(r) for r in ranks] == list(range(1, 11))
    assert done.stdout.count("     - ") >= 20
    assert "busiest first" in done.stdout
    assert "Seed 5, 20 draws" in done.stdout
    assert str(out) in done.stdout
    first = pd.read_csv(out / "landings.csv", dtype=str, encoding="utf-8-sig").iloc[0]
    assert f"[{first['landing_id']}]" in done.stdout.split("\n  2  ")[0]


def test_progress_and_notes_go_to_stderr(finished):
    done, _ = finished
    assert "ranking: " in done.stderr
    assert "note: " in done.stderr
    assert "note: " not in done.stdout
    assert "\x1b[" not in done.stdout + done.stderr


def test_the_record_holds_no_path_of_this_machine(finished):
    _, out = finished
    text = (out / "run.json").read_text("utf-8")
    assert str(out.parent) not in text
    assert str(DEMO.parent) not in text
    record = json.loads(text)
    assert record["seed"] == 5
    assert record["counts"]["contacts"] >= 4000
    assert {i["table"] for i in record["inputs"]} >= {"lakes", "landings", "visits", "contacts"}


def test_same_seed_gives_the_same_bytes(finished, tmp_path):
    _, out = finished
    again = tmp_path / "again"
    assert run("run", DEMO, "--out", again, "--draws", 20, "--seed", 5).returncode == 0
    for name in ("landings.csv", "lakes.csv", "trips.csv", "comparison.csv", "network.graphml"):
        assert (out / name).read_bytes() == (again / name).read_bytes(), name
    assert (out / "map.html").read_bytes() == (again / "map.html").read_bytes()


def test_an_earlier_result_is_kept_without_force(finished):
    _, out = finished
    before = {p.name: p.read_bytes() for p in out.iterdir()}
    done = run("run", DEMO, "--out", out, "--draws", 2)
    assert done.returncode == 1
    assert "add `--force`" in done.stderr
    assert before == {p.name: p.read_bytes() for p in out.iterdir()}


def test_a_missing_region_is_explained(tmp_path):
    done = run("run", tmp_path / "nowhere", "--out", tmp_path / "out")
    assert done.returncode == 1
    assert "nowhere" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


def test_unknown_species_is_explained(tmp_path):
    done = run("run", DEMO, "--out", tmp_path / "out", "--species", "dragon")
    assert done.returncode == 1
    assert "'dragon' is not in scope" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "words",
    [["run"], ["run", "x"], ["dance"], ["run", "x", "--out", "y", "--draws", "0"], []],
)
def test_wrong_usage_exits_2(words):
    done = run(*words)
    assert done.returncode == 2
    assert "usage: spreadnet" in done.stderr


def test_new_then_check_says_what_to_fill_in(tmp_path):
    done = run("new", "county", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "county" / "README.md").exists()
    checked = run("check", "county", cwd=tmp_path)
    assert checked.returncode == 1
    assert "Traceback" not in checked.stderr + checked.stdout
    again = run("new", "county", cwd=tmp_path)
    assert again.returncode == 1


def test_check_of_the_demo_finds_nothing(capsys):
    assert main(["check", str(DEMO)]) == 0
    told = capsys.readouterr().out
    assert "OK: no problems" in told
    assert "lakes" in told


@pytest.mark.parametrize("command", ["species", "assumptions"])
def test_lists_are_tables_with_sources(command, capsys):
    assert main([command]) == 0
    table = capsys.readouterr().out.splitlines()
    assert "source" in table[0]
    assert len(table) > 10


def test_an_unexpected_error_shows_no_traceback(monkeypatch, capsys):
    import spreadnet.evidence.read as read

    def broken(_folder):
        raise ZeroDivisionError("inside")

    monkeypatch.setattr(read, "check_region", broken)
    assert main(["check", str(DEMO)]) == 1
    assert "run again with `--debug`" in capsys.readouterr().err
    with pytest.raises(ZeroDivisionError):
        main(["check", str(DEMO), "--debug"])


def test_an_interruption_leaves_nothing(monkeypatch, capsys, tmp_path):
    import spreadnet.decisions.decide as decide

    def interrupted(*_args, **_kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(decide, "run_draws", interrupted)
    assert main(["run", str(DEMO), "--out", str(tmp_path / "out"), "--draws", "2"]) == 130
    assert "nothing was written" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
