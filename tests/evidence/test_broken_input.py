"""Each kind of bad input of `tests/broken/cases.py`: the message, and the exact place."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest
from broken.cases import FAULTY, FINE
from broken.small_region import BASE, KNOWN_SPECIES, SEEN, write_region

from spreadnet.errors import InputError
from spreadnet.evidence.read import check_region, read_region


def _place(problem) -> str:
    """file:row:column, as the cases write it."""
    parts = (problem.file, problem.row or "", problem.column or "")
    return ":".join(map(str, parts)).rstrip(":")


@pytest.mark.parametrize("more", [{}, SEEN], ids=["four tables", "with visits"])
def test_the_region_that_every_case_changes_has_nothing_wrong(more, tmp_path) -> None:
    problems, region = check_region(write_region(tmp_path, more), species=KNOWN_SPECIES)
    assert problems == []
    assert region is not None
    assert len(region.lakes) == len(region.landings) == 3


def test_no_two_cases_are_the_same_and_each_changes_something(write_broken) -> None:
    assert not set(FAULTY) & set(FINE)
    seen = {}
    for name in [*FAULTY, *FINE]:
        files = {p.name: p.read_bytes() for p in write_broken(name).iterdir()}
        assert files != {k: v.encode() for k, v in BASE.items()}, name
        other = seen.setdefault(repr(sorted(files.items())), name)
        assert other == name


@pytest.mark.parametrize("name", FAULTY)
def test_every_problem_is_told_once_with_its_place(name: str, write_broken) -> None:
    problems, region = check_region(write_broken(name), species=KNOWN_SPECIES)
    expected = FAULTY[name].told
    assert expected, "a faulty case must be told of"
    assert region is None
    assert [(p.code, _place(p)) for p in problems] == [(e.code, e.place) for e in expected]
    for problem, wanted in zip(problems, expected, strict=True):
        assert re.search(wanted.says, str(problem), re.DOTALL), str(problem)
        assert problem.what and problem.why and problem.mend


@pytest.mark.parametrize("name", FINE)
def test_what_can_be_read_is_read_with_a_note(name: str, write_broken) -> None:
    problems, region = check_region(write_broken(name), species=KNOWN_SPECIES)
    assert problems == []
    assert region is not None
    for wanted in FINE[name].told:
        texts = [note.text for note in region.notes if note.code == wanted.code]
        assert any(re.search(wanted.says, text, re.DOTALL) for text in texts), region.notes


def _files(folder: Path) -> dict[str, str]:
    """Hash of every file of a folder."""
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}


@pytest.mark.parametrize("name", ["crs_missing", "everything", "title_row", "one_landing"])
def test_checking_leaves_the_folder_as_it_was(name: str, write_broken) -> None:
    folder = write_broken(name)
    before = _files(folder)
    check_region(folder, species=KNOWN_SPECIES)
    assert _files(folder) == before


@pytest.mark.parametrize("name", ["personal_column", "personal_value"])
def test_personal_values_are_never_echoed(name: str, write_broken) -> None:
    problems, _ = check_region(write_broken(name), species=KNOWN_SPECIES)
    text = "\n".join(str(problem) + repr(problem) for problem in problems)
    assert "warden" not in text and "example.org" not in text and "1234" not in text


def test_reading_raises_every_problem_at_once(write_broken) -> None:
    with pytest.raises(InputError, match="6 problems in the input") as raised:
        read_region(write_broken("everything"))
    assert len(raised.value.problems) == 6


def test_a_folder_that_is_not_there_is_a_problem_too(tmp_path: Path) -> None:
    problems, region = check_region(tmp_path / "nowhere", species=KNOWN_SPECIES)
    assert region is None
    assert [p.code for p in problems] == ["no-folder"]


def test_an_empty_folder_names_all_that_is_needed(tmp_path: Path) -> None:
    problems, _ = check_region(tmp_path, species=KNOWN_SPECIES)
    assert {p.file for p in problems} == {"region.toml", "lakes.csv", "landings.csv", "status.csv"}
    assert {p.code for p in problems} == {"missing-table"}
