"""The commands as a user runs them: exit codes, where words go, what is left behind."""

import csv
import io
import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import time
import unicodedata
from contextlib import contextmanager
from pathlib import Path

import pandas as pd
import pytest
from broken.cases import FAULTY, FINE

from spreadnet.cli import main

DEMO = Path(__file__).parents[1] / "demo_region"
DRAWS = 5  # of a run that is looked at: the fewer, the sooner

POSIX = pytest.mark.skipif(os.name == "nt", reason="signals and full devices of POSIX")


def run(*words, cwd=None, **flows):
    return subprocess.run(
        [sys.executable, "-m", "spreadnet.cli", *map(str, words)],
        **({"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | flows),
        text=True,
        check=False,
        cwd=cwd,
        encoding="utf-8",
    )


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """One real run of the command on the demo region."""
    folder = tmp_path_factory.mktemp("run")
    done = run("run", DEMO, "--out", folder / "out", "--draws", DRAWS, "--seed", 5)
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
        "totals.csv",
        "by_season.csv",
        *("READ_FIRST.txt", "columns.csv"),
        "network.graphml",
        "region.gpkg",
        "map.html",
        "run.json",
        *("plan.csv", "ways.csv", "value_of_hours.csv", "rules.csv", "plan.html"),
        "spreading.csv",
        *("roster.csv", "roster.xlsx", "roster.ics"),
    }
    assert [p.name for p in out.parent.iterdir()] == ["out"]


def test_run_prints_ten_landings_with_reasons_and_where_files_went(finished):
    done, out = finished
    ranks = re.findall(r"^ {1,2}(\d+)  .*avoided \(.*\), rank \d+ to \d+$", done.stdout, re.M)
    assert [int(r) for r in ranks] == list(range(1, 11))
    assert done.stdout.count("     - ") >= 20
    assert "busiest first" in done.stdout
    assert f"Seed 5, {DRAWS} draws" in done.stdout
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


@pytest.mark.slow
def test_same_seed_gives_the_same_bytes(finished, tmp_path):
    _, out = finished
    again = tmp_path / "again"
    assert run("run", DEMO, "--out", again, "--draws", DRAWS, "--seed", 5).returncode == 0
    for file in sorted(out.iterdir()):
        if file.name != "run.json":
            assert file.read_bytes() == (again / file.name).read_bytes(), file.name
    one, two = (json.loads((folder / "run.json").read_text("utf-8")) for folder in (out, again))
    assert one | {"timings_s": None} == two | {"timings_s": None}


def test_an_earlier_result_is_kept_without_force(finished):
    _, out = finished
    before = {p.name: p.read_bytes() for p in out.iterdir()}
    done = run("run", DEMO, "--out", out, "--draws", 2)
    assert done.returncode == 1
    assert "add `--force`" in done.stderr
    assert before == {p.name: p.read_bytes() for p in out.iterdir()}


def test_a_missing_region_is_explained(tmp_path, capsys):
    assert main(["run", str(tmp_path / "nowhere"), "--out", str(tmp_path / "out")]) == 1
    told = capsys.readouterr().err
    assert "nowhere" in told
    assert "Traceback" not in told
    assert not (tmp_path / "out").exists()


def test_unknown_species_is_explained(tmp_path, capsys):
    assert main(["run", str(DEMO), "--out", str(tmp_path / "out"), "--species", "dragon"]) == 1
    assert "'dragon' is not in scope" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["run"], "required: REGION, --out"),
        (["run", "x"], "required: --out"),
        (["dance"], "invalid choice"),
        ([], "required: COMMAND"),
        (
            ["run", "x", "--out", "y", "--workers", "2", "--scheduler", "tcp://a:1"],
            "not allowed with argument",
        ),
        *(
            (["run", "x", "--out", "y", "--workers", n], "is not a whole number from 1 to 1,024")
            for n in ("0", "-1", "1.5", "two", "nan", "1e1", "1_0", "\uff12")
        ),
        *(
            (["plan", "x", "--hours", n], "is not a number of hours")
            for n in ("-1", "nan", "inf", "1_0", "1e3", "\uff18", "1e7", "9" * 400)
        ),
        *(
            (["plan", "x", "--from", day], "is not a date")
            for day in ("today", "20270701", "2027-W26-4", "2027-07-01T00:00:00Z")
        ),
        (
            ["run", "x", "--out", "y", "--draws", "0"],
            "'0' is not a whole number from 1 to 1,000,000",
        ),
        (["run", "x", "--out", "y", "--draws", "1000001"], "from 1 to 1,000,000"),
        (["run", "x", "--out", "y", "--draws", "2.5"], "'2.5' is not a whole number"),
        (["run", "x", "--out", "y", "--draws", "9" * 5000], "is not a whole number"),
        (["run", "x", "--out", "y", "--draws", "\u00b2"], "is not a whole number"),
        (["run", "x", "--out", "y", "--seasons", "0"], "'0' is not a whole number from 1 to 50"),
        (["run", "x", "--out", "y", "--seasons", "51"], "'51' is not a whole number from 1 to 50"),
        (["run", "x", "--out", "y", "--seed", "-1"], "not a whole number from 0 to"),
        (["run", "x", "--out", ""], "--out: no folder is named"),
        (["new", ""], "no folder is named; for the folder you are in, write `.`"),
        (["check", " "], "no folder is named"),
        (["da\x1b[31mnce"], "usage: spreadnet"),
        (["check", "x", "\x1b[31my"], "unrecognized arguments: \ufffd[31my"),
    ],
)
def test_wrong_usage_exits_2_and_says_what_is_wrong(words, told, capsys):
    with pytest.raises(SystemExit) as ended:
        main(words)
    said = capsys.readouterr()
    assert ended.value.code == 2
    assert "usage: spreadnet" in said.err
    assert told in said.err
    assert "\x1b" not in said.err
    assert said.out == ""


def test_new_then_check_says_what_to_fill_in(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "county"]) == 0
    assert (tmp_path / "county" / "README.md").exists()
    assert main(["check", "county"]) == 1
    told = capsys.readouterr()
    assert "Traceback" not in told.err + told.out
    assert main(["new", "county"]) == 1


def test_check_of_the_demo_finds_nothing(capsys):
    assert main(["check", str(DEMO)]) == 0
    told = capsys.readouterr().out
    assert "OK: no problems" in told
    assert "lakes" in told


def test_what_new_says_to_type_next_works_as_it_stands(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "our county's lakes"]) == 0
    line = capsys.readouterr().out.splitlines()[-1].strip()
    if os.name != "nt":
        assert shlex.split(line) == ["spreadnet", "check", "our county's lakes"]
    assert main(shlex.split(line)[1:]) == 1
    told = capsys.readouterr()
    assert "no folder" not in told.err + told.out


def test_species_are_listed_with_names_and_sources(capsys):
    from spreadnet.evidence.species.species import species_table

    assert main(["species"]) == 0
    rows = list(csv.reader(io.StringIO(capsys.readouterr().out)))
    table = species_table()
    assert rows[0] == [*table.index.names, *table.columns]
    assert "source" in rows[0]
    assert [tuple(row[: table.index.nlevels]) for row in rows[1:]] == [
        name if isinstance(name, tuple) else (name,) for name in table.index
    ]
    assert len({len(row) for row in rows}) == 1


def test_assumptions_are_listed_with_names_and_sources(capsys):
    from spreadnet.assumptions import DEFAULT

    assert main(["assumptions"]) == 0
    rows = list(csv.reader(io.StringIO(capsys.readouterr().out)))
    assert rows[0][0] == "name"
    assert "source" in rows[0]
    assert [row[0] for row in rows[1:]] == list(DEFAULT.entries)


def test_an_unexpected_error_shows_no_traceback(monkeypatch, capsys):
    import spreadnet.evidence.read as read

    def broken(_folder):
        raise ZeroDivisionError("inside")

    monkeypatch.setattr(read, "check_region", broken)
    assert main(["check", str(DEMO)]) == 1
    assert "nothing was written; run again with `--debug`" in capsys.readouterr().err
    with pytest.raises(ZeroDivisionError):
        main(["check", str(DEMO), "--debug"])


def test_an_interruption_leaves_nothing(monkeypatch, capsys, tmp_path):
    import spreadnet.decisions.ranking.rank as decide

    def interrupted(*_args, **_kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(decide, "run_draws", interrupted)
    assert main(["run", str(DEMO), "--out", str(tmp_path / "out"), "--draws", "2"]) == 130
    assert "nothing was written" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@POSIX
@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a full device")
def test_results_that_are_there_are_not_said_to_be_missing(tmp_path):
    with Path("/dev/full").open("w") as full:
        done = run("run", DEMO, "--out", tmp_path / "out", "--draws", 2, stdout=full)
        assert done.returncode == 1
        assert "can't print the answer" in done.stderr
        assert f"all was written, in `{tmp_path / 'out'}`" in done.stderr
        assert "nothing was written" not in done.stderr
        assert "Exception ignored" not in done.stderr
        assert (tmp_path / "out" / "run.json").exists()
        new = run("new", tmp_path / "county", stdout=full)
        assert f"all was written, in `{tmp_path / 'county'}`" in new.stderr
        silent = run("run", DEMO, "--out", tmp_path / "out2", "--draws", 2, stderr=full)
    assert silent.returncode == 0
    assert "avoided" in silent.stdout


def test_an_interruption_before_the_work_shows_no_traceback(monkeypatch, capsys):
    from spreadnet.cli import entry

    def interrupted():
        raise KeyboardInterrupt

    monkeypatch.setattr(entry, "command_line", interrupted)
    assert main(["check", "x"]) == 130
    assert capsys.readouterr().err == "\ninterrupted: nothing was written\n"


@contextmanager
def working(*words, **options):
    """A run that would take hours, with signals as a terminal leaves them; none stays behind."""

    def as_in_a_terminal():  # under nohup or in the background of a script some are ignored
        for name in ("SIGTERM", "SIGHUP", "SIGINT"):
            signal.signal(getattr(signal, name), signal.SIG_DFL)

    with subprocess.Popen(
        [sys.executable, "-m", "spreadnet.cli", "run", str(DEMO), *map(str, words)],
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        preexec_fn=as_in_a_terminal,
        **options,
    ) as work:
        try:
            yield work
        finally:
            work.kill()


@POSIX
@pytest.mark.slow
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
@pytest.mark.parametrize("after", ["reading the tables", "fitting movement"])
def test_a_signal_ends_a_run_cleanly(tmp_path, name, after):
    number = getattr(signal, name)
    with working("--out", tmp_path / "deep" / "out", "--draws", 100_000) as work:
        for line in work.stderr:
            if line.startswith(after):
                break
        work.send_signal(number)
        _, told = work.communicate(timeout=30)
        assert work.returncode == 128 + number
    assert told.endswith("interrupted: nothing was written\n")
    assert "Traceback" not in told
    assert list(tmp_path.iterdir()) == []


@POSIX
@pytest.mark.slow
@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT"])
def test_a_signal_ends_the_processes_that_draw(tmp_path, name):
    """Ctrl-C in a terminal reaches every process of the group; none stays, none complains."""
    number = getattr(signal, name)
    options = ("--workers", 2, "--out", tmp_path / "deep" / "out", "--draws", 100_000)
    with working(*options, start_new_session=True) as work:
        for line in work.stderr:
            if line.startswith("fitting movement"):
                break
        time.sleep(4)
        os.killpg(work.pid, number)
        _, told = work.communicate(timeout=30)
        assert work.returncode == 128 + number
    assert told == "\ninterrupted: nothing was written\n"
    assert list(tmp_path.iterdir()) == []
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        try:
            os.killpg(work.pid, 0)
        except ProcessLookupError:
            return
        time.sleep(0.1)
    pytest.fail("a process was left behind")


@POSIX
@pytest.mark.parametrize(
    "name",
    ["SIGTERM", *(pytest.param(name, marks=pytest.mark.slow) for name in ("SIGHUP", "SIGINT"))],
)
def test_a_signal_during_the_writing_leaves_nothing(monkeypatch, capsys, tmp_path, name):
    from spreadnet.outputs import write as results

    def signalled(*_args, **_kwargs):
        os.kill(os.getpid(), getattr(signal, name))
        time.sleep(1)

    monkeypatch.setattr(results, "map_html", signalled)
    before = signal.getsignal(getattr(signal, name))
    code = main(["run", str(DEMO), "--out", str(tmp_path / "deep" / "out"), "--draws", "2"])
    assert code == 128 + getattr(signal, name)
    assert "nothing was written" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
    assert signal.getsignal(getattr(signal, name)) == before


def test_a_place_that_cannot_be_written_is_refused_before_the_work(tmp_path):
    (tmp_path / "file").write_text("")
    done = run("run", tmp_path / "no region", "--out", tmp_path / "file" / "out")
    assert done.returncode == 1
    assert "is a file, so no folder can be made in it" in done.stderr
    assert "no region" not in done.stderr


def test_force_keeps_input_tables_and_changed_results(finished):
    import shutil

    _, out = finished
    mine = out.parent / "mine"
    shutil.copytree(out, mine)
    (mine / "landings.csv").write_text("my own notes")
    done = run("run", DEMO, "--out", mine, "--draws", 2, "--force")
    assert done.returncode == 1
    assert "changed since: landings.csv" in done.stderr
    (mine / "run.json").unlink()
    done = run("run", DEMO, "--out", mine, "--draws", 2, "--force")
    assert done.returncode == 1
    assert "spreadnet did not write" in done.stderr
    assert (mine / "landings.csv").read_text() == "my own notes"
    shutil.rmtree(mine)


def test_force_replaces_an_unchanged_result(finished, tmp_path, monkeypatch):
    _, out = finished
    shutil.copytree(out, tmp_path / "out")
    monkeypatch.chdir(tmp_path / "out")
    assert main(["run", str(DEMO), "--out", ".", "--draws", "2", "--force"]) == 0
    assert json.loads((tmp_path / "out" / "run.json").read_text("utf-8"))["draws"] == 2
    assert {p.name for p in (tmp_path / "out").iterdir()} == {p.name for p in out.iterdir()}


def test_nothing_that_a_terminal_acts_on_is_printed(tmp_path):
    """Control characters (Cc, ECMA-48) and marks that turn the direction (UAX 9)."""
    done = run("check", tmp_path / "a\x1b]0;title\x07\u202eb\x9b31m")
    assert done.returncode == 1
    assert done.stderr or done.stdout
    for letter in done.stdout + done.stderr:
        assert letter == "\n" or unicodedata.category(letter) not in {"Cc", "Cf"}


def test_a_region_at_the_pole_is_refused_before_the_draws(
    monkeypatch, capsys, tmp_path, demo_region
):
    from dataclasses import replace

    import spreadnet.evidence.read as read

    far = demo_region.lakes.to_crs("EPSG:32661")  # polar stereographic north, UPS
    far = far.set_geometry(far.geometry.scale(1e-3, 1e-3, origin=(2e6, 2e6)))
    lakes = far.translate(
        2e6 - far.geometry.iloc[0].centroid.x, 2e6 - far.geometry.iloc[0].centroid.y
    )
    polar = replace(demo_region, lakes=far.set_geometry(lakes))
    monkeypatch.setattr(read, "read_region", lambda _: polar)
    assert main(["run", str(DEMO), "--out", str(tmp_path / "out"), "--draws", "2"]) == 1
    told = capsys.readouterr().err
    assert "has no place on the map, which ends at 85 degrees" in told
    assert "ranking" not in told
    assert list(tmp_path.iterdir()) == []


def test_problems_alike_are_counted_after_the_first_twenty(tmp_path, capsys):
    region = tmp_path / "region"
    shutil.copytree(DEMO, region)
    lines = (region / "status.csv").read_text("utf-8").splitlines()
    head = lines[0].split(",")
    at = head.index("status")
    broken = [lines[0]]
    for line in lines[1:41]:
        cells = line.split(",")
        cells[at] = "perhaps"
        broken.append(",".join(cells))
    (region / "status.csv").write_text("\n".join(broken) + "\n", "utf-8")
    assert main(["check", str(region)]) == 1
    told = capsys.readouterr().out
    assert told.count("problem: status.csv") == 20
    assert "... and 20 more like it in status.csv, column status" in told
    assert main(["check", str(region), "--all"]) == 1
    assert capsys.readouterr().out.count("problem: status.csv") == 40


@pytest.mark.slow
@pytest.mark.parametrize("name", [*FAULTY, *FINE])
def test_a_run_on_a_faulty_folder_leaves_nothing(name, write_broken, tmp_path, capsys):
    """Whatever is wrong with the tables, there is a whole result or none, and no traceback."""
    case = write_broken(name)
    code = main(["run", str(case), "--out", str(tmp_path / "out"), "--draws", "2"])
    told = capsys.readouterr()
    assert "Traceback" not in told.out + told.err
    assert "something unexpected" not in told.err
    if code == 0:
        assert [p.name for p in tmp_path.iterdir()] == ["out"]
    else:
        assert code == 1
        assert list(tmp_path.iterdir()) == []
