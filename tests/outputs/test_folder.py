"""A result folder is whole or not there, and never takes a stranger's files with it."""

import pytest

from spreadnet.errors import OutputError
from spreadnet.outputs.folder import whole_folder


def test_finished_folder_takes_its_place(tmp_path):
    with whole_folder(tmp_path / "deep" / "out") as folder:
        (folder / "landings.csv").write_text("x")
        assert not (tmp_path / "deep" / "out").exists()
    assert (tmp_path / "deep" / "out" / "landings.csv").read_text() == "x"
    assert [p.name for p in (tmp_path / "deep").iterdir()] == ["out"]


def test_an_error_leaves_nothing(tmp_path):
    with pytest.raises(RuntimeError, match="broke"), whole_folder(tmp_path / "out") as folder:
        (folder / "landings.csv").write_text("half")
        raise RuntimeError("broke")
    assert list(tmp_path.iterdir()) == []


def test_an_interruption_keeps_the_earlier_result(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "landings.csv").write_text("old")
    with (
        pytest.raises(KeyboardInterrupt),
        whole_folder(out, force=True, ours={"landings.csv"}) as folder,
    ):
        (folder / "landings.csv").write_text("half")
        raise KeyboardInterrupt
    assert (out / "landings.csv").read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_an_earlier_result_needs_force(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "landings.csv").write_text("old")
    with pytest.raises(OutputError, match="earlier result.*\n\nhint: add `--force`"):
        with whole_folder(out, ours={"landings.csv"}):
            pass
    with whole_folder(out, force=True, ours={"landings.csv"}) as folder:
        (folder / "landings.csv").write_text("new")
    assert (out / "landings.csv").read_text() == "new"


def test_force_never_takes_other_files(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "thesis.txt").write_text("years of work")
    with pytest.raises(OutputError, match="did not write, such as `thesis.txt`"):
        with whole_folder(out, force=True, ours={"landings.csv"}):
            pass
    assert (out / "thesis.txt").exists()


def test_a_file_in_the_way_is_explained(tmp_path):
    (tmp_path / "out").write_text("")
    with pytest.raises(OutputError, match="is a file, not a folder"):
        with whole_folder(tmp_path / "out", force=True):
            pass
