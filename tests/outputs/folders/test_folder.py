"""A result folder is whole or not there, and never takes a stranger's files with it."""

import os
import shutil
import sys
import tempfile
from pathlib import Path

import pytest
from kill_steps import contents, fill

from spreadnet.errors import OutputError
from spreadnet.outputs.folders import folder as folder_module
from spreadnet.outputs.folders.folder import refuse_if_taken, whole_folder

LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="asks the Linux kernel")


def write(out, text="new", *, force=False):
    with whole_folder(out, force=force) as folder:
        fill(folder, text)


@pytest.fixture
def earlier(tmp_path):
    """A folder with an earlier result."""
    out = tmp_path / "out"
    out.mkdir()
    fill(out, "old")
    return out


def test_finished_folder_takes_its_place(tmp_path):
    with whole_folder(tmp_path / "deep" / "out") as folder:
        fill(folder, "x")
        assert not (tmp_path / "deep" / "out").exists()
    assert (tmp_path / "deep" / "out" / "landings.csv").read_text() == "x landings.csv"
    assert [p.name for p in (tmp_path / "deep").iterdir()] == ["out"]


@pytest.mark.parametrize("raised", [RuntimeError, KeyboardInterrupt, OSError])
@pytest.mark.parametrize("place", ["out", "deep/er/out", "empty"])
def test_an_error_leaves_nothing(tmp_path, raised, place):
    (tmp_path / "empty").mkdir()
    with (
        pytest.raises(OutputError if raised is OSError else raised),
        whole_folder(tmp_path / place) as folder,
    ):
        fill(folder, "half")
        raise raised("broke")
    assert contents(tmp_path) == {"empty": None}


def test_an_interruption_keeps_the_earlier_result(tmp_path, earlier):
    before = contents(tmp_path)
    with pytest.raises(KeyboardInterrupt), whole_folder(earlier, force=True) as folder:
        fill(folder, "half")
        raise KeyboardInterrupt
    assert contents(tmp_path) == before


@pytest.mark.parametrize("failing", range(9))
def test_a_move_that_fails_is_undone_with_all_before_it(tmp_path, earlier, monkeypatch, failing):
    before, count = contents(tmp_path), iter(range(100))
    rename = folder_module.Path.rename

    def failing_rename(self, goal):
        if next(count) == failing:
            raise OSError(28, "No space left on device")
        return rename(self, goal)

    monkeypatch.setattr(folder_module.Path, "rename", failing_rename)
    with pytest.raises(OutputError, match="No space left on device; nothing was written"):
        write(earlier, force=True)
    assert contents(tmp_path) == before


def test_earlier_files_that_cannot_be_put_back_are_told_of_and_are_back_with_the_next_command(
    tmp_path, earlier, monkeypatch
):
    before = contents(tmp_path)
    rename, count = folder_module.Path.rename, iter(range(100))

    def failing_rename(self, goal):
        if next(count) >= 5 and not self.name.startswith("owner"):
            raise OSError(5, "Input/output error")
        return rename(self, goal)

    monkeypatch.setattr(folder_module.Path, "rename", failing_rename)
    with pytest.raises(OutputError, match=r"Input/output error[^$]*earlier files are in `.*old`"):
        write(earlier, force=True)
    kept = earlier / ".spreadnet-writing" / "old"
    assert sorted(p.name for p in kept.iterdir()) == ["landings.csv", "map.html", "run.json"]
    with pytest.raises(OutputError, match="nothing is lost"):
        refuse_if_taken(earlier, force=True)
    monkeypatch.undo()
    with pytest.warns(UserWarning, match="finished now, the new result is there"):
        refuse_if_taken(earlier, force=True)
    assert contents(tmp_path).keys() == before.keys()
    assert (earlier / "map.html").read_text() == "new map.html"


def test_an_earlier_result_needs_force(tmp_path, earlier):
    with pytest.raises(OutputError, match="earlier result\n\nhint: add `--force`"):
        write(earlier)
    write(earlier, force=True)
    assert (earlier / "landings.csv").read_text() == "new landings.csv"
    assert len(contents(tmp_path)) == 4


def test_files_of_an_earlier_result_that_the_new_one_has_not_go_too(earlier):
    fill(earlier, "old", names=("landings.csv", "brief.html"))
    (earlier / "map.html").unlink()
    write(earlier, force=True)
    assert set(contents(earlier)) == {"landings.csv", "map.html", "run.json"}


@pytest.mark.parametrize("force", [False, True])
def test_input_tables_are_never_taken_for_a_result(tmp_path, force):
    region = tmp_path / "county"
    region.mkdir()
    for name in ("lakes.csv", "landings.csv"):
        (region / name).write_text("years of work")
    before = contents(tmp_path)
    for attempt in (refuse_if_taken, write):
        with pytest.raises(OutputError, match=r"did not write.*such as `lakes\.csv`"):
            attempt(region, force=force)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("record", ["{}", "[]", "no JSON", '{"spreadnet": 1, "outputs": [1]}', "1"])
def test_another_programs_record_proves_nothing(earlier, record):
    (earlier / "run.json").write_text(record)
    with pytest.raises(OutputError, match="did not write"):
        write(earlier, force=True)
    assert (earlier / "landings.csv").exists()


@pytest.mark.parametrize("name", ["thesis.txt", "map.html"])
@pytest.mark.parametrize("kind", ["file", "folder", "link"])
def test_force_never_takes_other_files_folders_or_links(earlier, tmp_path, name, kind):
    mine = earlier / name
    if kind == "file":
        (earlier / "map.html").unlink()
        fill(earlier, "old", names=("landings.csv",))
        mine.write_text("years of work")
    else:
        mine.unlink(missing_ok=True)
        (tmp_path / "mine").mkdir()
        mine.mkdir() if kind == "folder" else mine.symlink_to(tmp_path / "mine")
        (mine / "years.txt").write_text("of work")
    before = contents(tmp_path)
    with pytest.raises(OutputError, match=rf"did not write.*such as `{name}`"):
        write(earlier, force=True)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize("text", ["much longer than it was before", "OLD landings.csv"])
def test_files_that_the_user_changed_are_named_and_kept(earlier, force, text):
    (earlier / "landings.csv").write_text(text)
    with pytest.raises(OutputError, match=r"changed since: landings\.csv\n\nhint"):
        write(earlier, force=force)
    assert (earlier / "landings.csv").read_text() == text


def test_what_the_system_leaves_in_folders_is_not_touched(earlier):
    (earlier / ".DS_Store").write_text("finder")
    write(earlier, force=True)
    assert (earlier / ".DS_Store").read_text() == "finder"
    assert (earlier / "landings.csv").read_text() == "new landings.csv"


@pytest.mark.parametrize("force", [False, True])
def test_files_that_come_during_the_run_are_kept(tmp_path, earlier, force):
    for place in ("new", "empty", "out"):
        if place == "out" and not force:
            continue
        out = tmp_path / place
        if place == "empty":
            out.mkdir()
        with pytest.raises(OutputError, match="nothing was written|did not write"):
            with whole_folder(out, force=force) as folder:
                fill(folder, "new")
                out.mkdir(exist_ok=True)
                (out / "thesis.txt").write_text("years of work")
        assert (out / "thesis.txt").read_text() == "years of work"
        assert not list(tmp_path.rglob(".spreadnet-*"))
    assert (earlier / "landings.csv").read_text() == "old landings.csv"


@pytest.mark.parametrize("force", [False, True])
def test_of_two_runs_into_an_old_folder_the_later_is_refused(tmp_path, force):
    (tmp_path / "out").mkdir()
    with whole_folder(tmp_path / "out", force=force) as folder:
        fill(folder, "first")
        with pytest.raises(OutputError, match="another run is writing"):
            write(tmp_path / "out", "second", force=force)
    assert (tmp_path / "out" / "landings.csv").read_text() == "first landings.csv"
    assert set(contents(tmp_path / "out")) == {"landings.csv", "map.html", "run.json"}


@pytest.mark.parametrize("force", [False, True])
def test_of_two_runs_into_a_new_folder_the_first_to_end_stays(tmp_path, force):
    with pytest.raises(OutputError, match="earlier result|came into being"):
        with whole_folder(tmp_path / "out", force=force) as folder:
            fill(folder, "slow")
            write(tmp_path / "out", "quick", force=force)
    assert (tmp_path / "out" / "landings.csv").read_text() == "quick landings.csv"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_folder_that_is_there_stays_the_same_folder(tmp_path, monkeypatch):
    """It may be a mounted disk, or where the user stands: it can't be renamed or made anew."""
    place = tmp_path / "here"
    place.mkdir()
    monkeypatch.chdir(place)
    before, above = place.stat().st_ino, tmp_path.stat().st_mtime_ns
    for force in (False, True):
        refuse_if_taken(".", force=force)
        write(".", force=force)
    assert place.stat().st_ino == before
    assert tmp_path.stat().st_mtime_ns == above  # nothing was made beside it: it may be read-only
    assert set(contents(tmp_path / "here")) == {"landings.csv", "map.html", "run.json"}


def test_a_linked_folder_stays_a_link(tmp_path, earlier):
    link = tmp_path / "latest"
    link.symlink_to(earlier, target_is_directory=True)
    refuse_if_taken(link, force=True)
    write(link, force=True)
    assert link.is_symlink()
    assert (earlier / "landings.csv").read_text() == "new landings.csv"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["latest", "out"]


def test_places_that_cannot_be_written_are_explained_before_the_work(tmp_path):
    (tmp_path / "file").write_text("")
    (tmp_path / "gone").symlink_to(tmp_path / "nowhere")
    for place, words in {
        "file": "is a file, not a folder",
        "file/out": "file` is a file, so no folder can be made in it",
        "file/deep/out": "file` is a file, so no folder can be made in it",
        "gone": "is a link to something that is not there",
        "gone/out": "gone` is a link to something that is not there",
        "n" * 300: "can't write to",
        "made/" + "n" * 300: "can't write to",
    }.items():
        for attempt in (refuse_if_taken, write):
            with pytest.raises(OutputError, match=words) as told:
                attempt(tmp_path / place, force=True)
            assert "hint: choose another folder" in str(told.value)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "gone"]


@LINUX
def test_a_place_where_nobody_may_write_is_found_by_trying():
    """In /proc nothing can be made, not even by the superuser, whom permissions do not stop."""
    for place in ("/proc/out", "/proc/deep/out", "/proc/self"):
        with pytest.raises(OutputError, match=r"can't write to `/proc|did not write"):
            refuse_if_taken(place, force=True)


@pytest.fixture
def ordinary_place():
    """A folder of an ordinary user; a superuser, whom permissions do not stop, becomes one."""
    place = Path(tempfile.mkdtemp())
    place.chmod(0o777)
    superuser = os.getuid() == 0
    if superuser:
        os.seteuid(65534)
    try:
        yield place
    finally:
        if superuser:
            os.seteuid(0)
        for folder, _, _ in os.walk(place):
            Path(folder).chmod(0o755)
        shutil.rmtree(place)


@pytest.mark.skipif(os.name == "nt", reason="Windows has other permissions")
def test_a_read_only_place_is_explained(ordinary_place):
    (ordinary_place / "shut" / "open").mkdir(parents=True)
    (ordinary_place / "shut").chmod(0o555)
    with pytest.raises(OutputError, match="Permission denied"):
        refuse_if_taken(ordinary_place / "shut" / "out", force=False)
    write(ordinary_place / "shut" / "open")
    assert (ordinary_place / "shut" / "open" / "run.json").exists()


def test_trying_the_place_leaves_no_trace(tmp_path, earlier):
    before = contents(tmp_path)
    refuse_if_taken(tmp_path / "some" / "deep" / "place", force=False)
    refuse_if_taken(earlier, force=True)
    assert contents(tmp_path) == before
