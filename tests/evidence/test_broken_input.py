"""Each kind of bad input has a tiny folder in tests/broken: the message, and the exact place."""

from __future__ import annotations

import hashlib
import re
import tomllib
from pathlib import Path

import pytest

from spreadnet.errors import InputError
from spreadnet.evidence.read import check_region, read_region

BROKEN = Path(__file__).parents[1] / "broken"
EXPECT = tomllib.loads((BROKEN / "expect.toml").read_text(encoding="utf-8"))
FAULTY = sorted(name for name, case in EXPECT.items() if "problems" in case)
FINE = sorted(name for name, case in EXPECT.items() if "notes" in case)
SPECIES = {"dreissenid_mussel", "spiny_waterflea"}


def test_every_folder_is_expected_and_every_expectation_has_its_folder() -> None:
    folders = {p.name for p in BROKEN.iterdir() if p.is_dir() and not p.name.startswith("__")}
    assert folders == set(EXPECT) == {*FAULTY, *FINE}


@pytest.mark.parametrize("name", FAULTY)
def test_every_problem_is_told_once_with_its_place(name: str) -> None:
    problems, region = check_region(BROKEN / name, species=SPECIES)
    expected = EXPECT[name]["problems"]
    assert region is None
    assert [(p.code, p.file, p.row, p.column) for p in problems] == [
        (e["code"], e["file"], e.get("row"), e.get("column")) for e in expected
    ]
    for problem, wanted in zip(problems, expected, strict=True):
        assert re.search(wanted["match"], str(problem)), str(problem)
        assert problem.what and problem.why and problem.mend


@pytest.mark.parametrize("name", FINE)
def test_what_can_be_read_is_read_with_a_note(name: str) -> None:
    problems, region = check_region(BROKEN / name, species=SPECIES)
    assert problems == []
    assert region is not None
    for wanted in EXPECT[name]["notes"]:
        texts = [note.text for note in region.notes if note.code == wanted["code"]]
        assert any(re.search(wanted["match"], text) for text in texts), region.notes


def _files(folder: Path) -> dict[str, str]:
    """Hash of every file of a folder."""
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}


@pytest.mark.parametrize("name", ["crs_missing", "everything", "title_row", "one_landing"])
def test_checking_leaves_the_folder_as_it_was(name: str) -> None:
    before = _files(BROKEN / name)
    check_region(BROKEN / name, species=SPECIES)
    assert _files(BROKEN / name) == before


@pytest.mark.parametrize("name", ["personal_column", "personal_value"])
def test_personal_values_are_never_echoed(name: str) -> None:
    problems, _ = check_region(BROKEN / name, species=SPECIES)
    text = "\n".join(str(problem) + repr(problem) for problem in problems)
    assert "warden" not in text and "example.org" not in text and "1234" not in text


def test_reading_raises_every_problem_at_once() -> None:
    with pytest.raises(InputError, match="6 problems in the input") as raised:
        read_region(BROKEN / "everything")
    assert len(raised.value.problems) == 6


def test_a_folder_that_is_not_there_is_a_problem_too() -> None:
    problems, region = check_region(BROKEN / "nowhere", species=SPECIES)
    assert region is None
    assert [p.code for p in problems] == ["no-folder"]


def test_an_empty_folder_names_all_that_is_needed(tmp_path: Path) -> None:
    problems, _ = check_region(tmp_path, species=SPECIES)
    assert {p.file for p in problems} == {"region.toml", "lakes.csv", "landings.csv", "status.csv"}
    assert {p.code for p in problems} == {"missing-table"}
