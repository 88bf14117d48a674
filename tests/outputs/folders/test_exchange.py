"""A kill at any instant loses neither the old nor the new files, and nobody's own."""

import importlib.util
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from kill_steps import contents, fill

from spreadnet.cli import main
from spreadnet.errors import OutputError
from spreadnet.outputs.files.templates import write_templates
from spreadnet.outputs.folders import exchange as exchange_module
from spreadnet.outputs.folders.exchange import exchange, facts, recover, undisturbed
from spreadnet.outputs.folders.folder import refuse_if_taken, whole_folder
from spreadnet.outputs.folders.hold import give_up, take
from spreadnet.outputs.folders.owner import mark

HERE = Path(__file__).parent
DEMO = HERE.parents[1] / "demo_region"
HOLD = ".spreadnet-writing"
POSIX = pytest.mark.skipif(os.name == "nt", reason="signals and processes of POSIX")


@pytest.fixture(scope="module")
def gone():
    """Mark of a process that has ended."""
    code = "from spreadnet.outputs.folders.owner import mark; print(mark())"
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.strip()


@pytest.fixture
def earlier(tmp_path):
    """A folder with an earlier result."""
    out = tmp_path / "out"
    out.mkdir()
    fill(out, "old")
    return out


def half(out, *, moved, owner="none"):
    """What a run leaves that is killed after some of the moves of an exchange."""
    held = {p.name: facts(p) for p in out.iterdir()}
    hold = take(out)
    fill(hold / "new", "new")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(exchange_module, "_go_on", lambda *_: None)
        exchange(hold, out, held=held)
    (hold / "old").mkdir()
    moves = [(out / name, hold / "old" / name) for name in ("run.json", "landings.csv", "map.html")]
    moves += [(hold / "new" / n, out / n) for n in ("landings.csv", "map.html", "run.json")]
    for source, goal in moves[:moved]:
        source.rename(goal)
    give_up(hold)
    (hold / "owner-none").rename(hold / f"owner-{owner}")
    return hold


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="forks processes that kill themselves")
def test_a_kill_before_any_step_leaves_the_old_or_the_new_files_or_what_restores_them(tmp_path):
    done = subprocess.run(
        [sys.executable, "-W", "error", HERE / "kill_steps.py", tmp_path],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found = [json.loads(line) for line in done.stdout.splitlines()]
    for row in found:
        assert row["restored"] in ("old", "new"), row
        assert set(row["nested"]) <= {row["restored"]}, row  # killed while it restores, too
        assert row["left"] in (row["restored"], "old", "neither"), row
        assert row["told"] or row["left"] == row["restored"], row
        assert row["again"] is None and row["next"] and row["clean"], row
    seen = {(row["kind"], row["left"], row["restored"]) for row in found}
    assert {("earlier", "neither", "new"), ("undone", "neither", "old")} <= seen
    assert {("new", "old", "old"), ("new", "new", "new"), ("empty", "neither", "new")} <= seen
    assert not [row for row in found if row["kind"] == "new" and row["left"] == "neither"]


@pytest.mark.slow
@POSIX
def test_twenty_kills_at_random_instants_lose_nothing():
    path = HERE.parents[1] / "benchmarks" / "kills.py"
    spec = importlib.util.spec_from_file_location("benchmark_kills", path)
    kills = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(kills)
    for name, counts in kills.kills(20, seed=7).items():
        assert counts["kills"] >= 6
        assert not [what for what in kills.WRONG if counts[what]], (name, counts)


@pytest.mark.parametrize("moved", range(7))
def test_an_exchange_of_a_process_that_is_gone_is_finished(tmp_path, earlier, gone, moved):
    half(earlier, moved=moved, owner=gone)
    assert recover(earlier).endswith("this was finished now, the new result is there")
    assert recover(earlier) is None
    assert {n: t for n, t in contents(tmp_path).items() if n.endswith("csv")} == {
        "out/landings.csv": "new landings.csv"
    }
    with whole_folder(earlier, force=True) as folder:
        fill(folder, "newer")
    assert set(contents(earlier)) == {"landings.csv", "map.html", "run.json"}


def test_a_file_that_came_in_the_way_turns_the_exchange_back_and_is_kept(earlier):
    (earlier / "map.html").unlink()
    fill(earlier, "old", names=("landings.csv",))
    before = contents(earlier)
    hold = half(earlier, moved=2)
    (earlier / "map.html").write_text("years of work")
    assert "undone now, what was there before is back" in recover(earlier)
    assert contents(earlier) == before | {"map.html": "years of work"}
    assert not hold.exists()


def test_an_earlier_file_changed_after_the_kill_is_kept(earlier):
    before = contents(earlier)
    half(earlier, moved=1)
    (earlier / "landings.csv").write_text("my notes")
    assert "undone now" in recover(earlier)
    assert contents(earlier) == before | {"landings.csv": "my notes"}


def test_a_file_changed_while_it_is_moved_is_kept(earlier, monkeypatch):
    """A program that has an earlier file open may write to it wherever it lies by then."""
    before, rename = contents(earlier), Path.rename

    def changing_rename(self, goal):
        moved = rename(self, goal)
        if goal.parent.name == "old" and goal.name == "map.html":
            goal.write_text("my notes")
        return moved

    monkeypatch.setattr(Path, "rename", changing_rename)
    with pytest.raises(OutputError, match=r"changed since: map\.html"):
        with whole_folder(earlier, force=True) as folder:
            fill(folder, "new")
    assert contents(earlier) == before | {"map.html": "my notes"}


def test_a_new_file_changed_after_the_kill_is_kept(earlier):
    hold = half(earlier, moved=4)
    (earlier / "landings.csv").write_text("my notes")
    (hold / "forward.json").rename(hold / "back.json")
    with pytest.raises(OutputError, match=r"landings\.csv` is in the way[^$]*nothing is lost"):
        recover(earlier)
    assert (earlier / "landings.csv").read_text() == "my notes"
    (earlier / "landings.csv").rename(earlier / "notes.csv")
    assert "undone now" in recover(earlier)
    assert (earlier / "landings.csv").read_text() == "old landings.csv"
    assert (earlier / "notes.csv").read_text() == "my notes"


def test_files_without_a_journal_that_tells_of_them_are_never_deleted(earlier):
    kept = earlier / HOLD / "old"
    kept.mkdir(parents=True)
    (kept / "map.html").write_text("of an older version")
    for attempt in (recover, lambda out: refuse_if_taken(out, force=True)):
        with pytest.raises(OutputError, match="may hold earlier files[^$]*delete"):
            attempt(earlier)
    assert (kept / "map.html").read_text() == "of an older version"


@pytest.mark.parametrize(
    "name", ["../mine.csv", "/mine.csv", "..", "", "a/b", "a\\b", "a\0b", ".", HOLD]
)
@pytest.mark.parametrize("part", ["out", "come"])
def test_a_journal_of_anybody_moves_nothing_outside_its_folder(tmp_path, earlier, name, part):
    hold = half(earlier, moved=0)
    (tmp_path / "mine.csv").write_text("years of work")
    journal = json.loads((hold / "forward.json").read_text())
    journal[part][name] = {"bytes": 13, "sha256": "0"}
    (hold / "forward.json").write_text(json.dumps(journal))
    before = contents(tmp_path)
    with pytest.raises(OutputError, match="not written by spreadnet"):
        recover(earlier)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"out": 1, "come": 2}', '{"out": {"a": 1}}'])
def test_a_journal_that_cannot_be_read_is_told_and_nothing_is_moved(earlier, text):
    hold = half(earlier, moved=3)
    (hold / "forward.json").write_text(text)
    before = contents(earlier)
    with pytest.raises(OutputError, match=r"can't be read[^$]*nothing is lost"):
        recover(earlier)
    assert contents(earlier) == before


@pytest.mark.parametrize("parts", [(), ("new",), ("new", "old"), ("old",)])
@pytest.mark.parametrize("owned", [False, True])
def test_an_empty_leftover_never_blocks(earlier, gone, parts, owned):
    (earlier / HOLD).mkdir()
    for part in parts:
        (earlier / HOLD / part).mkdir()
    if owned:
        (earlier / HOLD / f"owner-{gone}").touch()
    recover(earlier)
    with whole_folder(earlier, force=True) as folder:
        fill(folder, "new")
    assert set(contents(earlier)) == {"landings.csv", "map.html", "run.json"}


def test_a_run_at_work_is_waited_for(earlier):
    hold = half(earlier, moved=2, owner=mark())
    before = contents(earlier)
    for attempt in (recover, lambda out: refuse_if_taken(out, force=True)):
        with pytest.raises(OutputError, match=f"another run is writing.*process {os.getpid()}"):
            attempt(earlier)
    (hold / "forward.json").unlink()  # nothing moved yet: what is there can be read
    assert recover(earlier) is None
    assert contents(earlier).keys() == before.keys() - {f"{HOLD}/forward.json"}


def test_a_hold_of_another_computer_is_left_until_its_mark_is_deleted(earlier, gone):
    _, rest = gone.split("-", 1)
    hold = half(earlier, moved=2, owner=f"01234567-{rest}")
    before = contents(earlier)
    with pytest.raises(OutputError, match=rf"on another computer.*\n\nhint.*delete `{hold}/owner-"):
        recover(earlier)
    assert contents(earlier) == before
    next(hold.glob("owner-*")).unlink()
    assert "finished now" in recover(earlier)


def test_working_folders_are_deleted_when_their_process_is_gone(tmp_path, gone):
    ours, others = tmp_path / f".spreadnet-{mark()}-abc", tmp_path / f".spreadnet-{gone}-abc"
    mine = tmp_path / ".spreadnet-notes"
    for folder in (ours, others, mine):
        (folder / "new").mkdir(parents=True)
        (folder / "new" / "map.html").write_text("half")
    assert "leftovers of a run" in recover(tmp_path / "out")
    assert {p.name for p in tmp_path.iterdir()} == {ours.name, mine.name}


@pytest.mark.parametrize("words", [("check",), ("plan", DEMO, "--previous"), ("survey-next",)])
def test_a_command_says_in_one_line_what_it_put_in_order(tmp_path, monkeypatch, capsys, words):
    """A region folder and an earlier plan are read only once they are whole."""
    from spreadnet.cli import commands

    monkeypatch.setattr(commands, "_region", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
    out = tmp_path / "out"
    out.mkdir()
    fill(out, "old")
    half(out, moved=4)
    main([str(word) for word in (*words, out)])
    first, *rest = capsys.readouterr().err.splitlines()
    assert first == (
        f"note: a run was broken off while it wrote to `{out}`: this was finished now, the new "
        "result is there"
    )
    assert not [line for line in rest if "broken off" in line or "all was written" in line]
    assert (out / "map.html").read_text() == "new map.html"


def test_a_library_call_warns_of_what_it_put_in_order(earlier):
    half(earlier, moved=4)
    with pytest.warns(UserWarning, match="finished now, the new result is there"):
        with whole_folder(earlier, force=True) as folder:
            fill(folder, "newer")
    assert (earlier / "map.html").read_text() == "newer map.html"


def test_templates_that_were_broken_off_are_finished(tmp_path, monkeypatch):
    write_templates(tmp_path / "whole")
    (tmp_path / "county").mkdir()
    monkeypatch.setattr(exchange_module, "_go_on", lambda *_: None)
    write_templates(tmp_path / "county")
    assert [p.name for p in (tmp_path / "county").iterdir()] == [HOLD]
    monkeypatch.undo()
    assert "finished now" in recover(tmp_path / "county")
    assert contents(tmp_path / "county") == contents(tmp_path / "whole")


@POSIX
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_signal_during_the_exchange_waits_until_all_is_written(
    tmp_path, monkeypatch, capsys, name
):
    rename, number = Path.rename, getattr(signal, name)
    before = signal.getsignal(number)

    def signalled(self, goal):
        if self.name == "lakes.csv":
            signal.raise_signal(number)
        return rename(self, goal)

    monkeypatch.setattr(Path, "rename", signalled)
    (tmp_path / "county").mkdir()
    assert main(["new", str(tmp_path / "county")]) == 128 + number
    told = capsys.readouterr().err
    assert told == f"\ninterrupted: all was written, in `{tmp_path / 'county'}`\n"
    write_templates(tmp_path / "whole")
    assert contents(tmp_path / "county") == contents(tmp_path / "whole")
    assert signal.getsignal(number) == before


@POSIX
def test_a_signal_while_an_earlier_run_is_put_in_order_claims_nothing_written(
    earlier, monkeypatch, capsys
):
    half(earlier, moved=4)
    rename = Path.rename

    def signalled(self, goal):
        signal.raise_signal(signal.SIGINT)
        return rename(self, goal)

    monkeypatch.setattr(Path, "rename", signalled)
    assert main(["run", str(DEMO), "--out", str(earlier), "--force"]) == 130
    note, *rest = capsys.readouterr().err.splitlines()
    assert "finished now" in note
    assert rest == ["", "interrupted: nothing was written"]
    assert (earlier / "map.html").read_text() == "new map.html"


@POSIX
def test_signals_put_off_within_one_another_come_once_at_the_end():
    done = []
    with pytest.raises(KeyboardInterrupt):
        with undisturbed():
            with undisturbed():
                signal.raise_signal(signal.SIGINT)
                done.append("inner")
            done.append("outer")
    assert done == ["inner", "outer"]
