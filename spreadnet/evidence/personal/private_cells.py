"""Cells of the tables, and texts of `region.toml`, that look like something of a person."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.columns import WATERS, Column, columns
from spreadnet.evidence.distinct import marked
from spreadnet.evidence.personal.contact_details import LOOKED_AT, Kind, contact_details
from spreadnet.evidence.personal.plates import boat_registration, plates
from spreadnet.evidence.personal.privacy import brief
from spreadnet.evidence.types import TextTable

CONTACT = "an e-mail address or a phone number"
_WHY = "spreadnet keeps no personal data; the value is not shown or kept."
_PERSON = re.compile(r"[A-Z][a-z]+,? +(?:[A-Z]\. *)?[A-Z][a-z]+")
# Columns whose texts are ids of one kind, so that what is odd among them can be told.
_SERIES = (
    (("visits", "visit_id"), ("contacts", "visit_id")),
    (("hours", "code"), ("promised", "code")),
)
_SERIES_COLUMNS = ("visit_id", "code")
_NAMES_AND_KEYS = ("name", "jurisdiction_hours")  # keys of region.toml that hold names


def without_private(
    texts: Mapping[str, TextTable], *, country: str | None
) -> tuple[dict[str, TextTable], list[Problem]]:
    """
    The tables with every cell blank that looks like something of a person, and the problems.

    It comes before every other check, so that no message of these can show such a cell.

    Parameters
    ----------
    texts : mapping of str to TextTable
        Tables by name; only columns of `tables.csv` are looked at, since no other is read.
    country : str or None
        Country of `region.toml`, by which national phone numbers are told.

    Returns
    -------
    texts, problems : dict of str to TextTable, list of Problem
    """
    odd = _plates(texts)
    made, problems = {}, []
    for table, text in texts.items():
        cells = text.cells.copy()
        for name, column in columns(table).items():
            if name not in cells or column.kind == "geometry":
                continue
            found = _private(column, text, odd.get((table, name), set()), country=country)
            private = [_problem(column, text.file, row, what) for row, what in found.items()]
            if private:
                cells[name] = cells[name].mask(cells.index.isin(list(found)), "")
                problems += private
        made[table] = replace(text, cells=cells)
    return made, problems


def _plates(texts: Mapping[str, TextTable]) -> dict[tuple[str, str], set[str]]:
    """Texts like a plate among the ids of visits and the codes of people, by table and column."""
    found = {}
    for places in _SERIES:
        given = [(t, c) for t, c in places if t in texts and c in texts[t].cells]
        known = [texts[t].cells[c] for t, c in given]
        ids = pd.unique(pd.concat(known)).tolist() if known else []
        found.update(dict.fromkeys(given, plates([i for i in ids if i])))
    return found


def _private(
    column: Column, text: TextTable, odd: Collection[str], *, country: str | None
) -> dict[int, str]:
    """Rows of a column that look like something of a person, and what that is."""
    cells, kind = text.cells[column.name], _kind(column)
    # A body is named by words, so that digits alone are no more its name than a person's code.
    kinds: tuple[Kind, ...] = (kind, "code") if column.name == "jurisdiction" else (kind,)
    tests: dict[str, Callable[[str], object]] = {
        CONTACT: lambda cell: any(
            contact_details(cell[:LOOKED_AT], country=country, kind=one) for one in kinds
        ),
        "a registration or plate": lambda cell: cell in odd,
    }
    if column.name == "code":
        tests["a person's name"] = _PERSON.fullmatch
    if column.name == "name":
        own = {_signs(i) for i in text.cells.get(f"{text.table[:-1]}_id", pd.Series(dtype="str"))}
        tests["a registration or plate"] = lambda c: boat_registration(c) and _signs(c) not in own
    elif column.name == "jurisdiction":
        tests["a registration or plate"] = boat_registration
    elif kind == "id" and cells.name not in _SERIES_COLUMNS:  # parted by dashes it may be an id
        tests["a registration or plate"] = lambda c: " " in c and boat_registration(c)
    found: dict[int, str] = {}
    for what, test in tests.items():
        for row in cells.index[marked(cells, test)]:
            found.setdefault(int(row), what)
    return found


def _signs(text: str) -> str:
    """The letters and digits of an id alone."""
    return re.sub(r"[\W_]", "", text).upper()


def _kind(column: Column) -> Kind:
    """How the cells of a column are looked at for phone numbers."""
    if column.name == "code":
        return "code"
    if column.kind != "text":
        return "number"
    place = column.key not in ("", "species") or column.name in WATERS
    return "id" if place else "text"


def _problem(column: Column, file: str, row: int, what: str) -> Problem:
    """The problem of one cell; its value is not in it."""
    mend = "Take it out of the cell; use a place's name, or a code that stands for nobody."
    if column.key.endswith("_id") or column.key == "key":
        mend = "Write an id that says nothing of a person, such as V12, in every table."
    if column.name == "code":
        mend = "Write a code that stands for nobody, such as E12, in every table."
    what = f"the cell looks like {what}"
    return Problem("personal-data", file, what, _WHY, mend, row=row, column=column.name)


def private_settings(
    given: Mapping[str, Any], *, lines: Mapping[str, int], country: str | None, file: str
) -> tuple[dict[str, Any], list[Problem]]:
    """
    Keys of `region.toml` without those that hold contact details, and the problems.

    Parameters
    ----------
    given : mapping
        As TOML gives it.
    lines : mapping of str to int
        Line of each key.
    country : str or None
        Country by which national phone numbers are told.
    file : str
        Name of the file in messages.

    Returns
    -------
    given, problems : dict of str to object, list of Problem
    """
    kept, problems = {}, []
    mend = "Take it out; use the name of a place, or a word that stands for nobody."
    for key, value in given.items():
        kind: Kind = "text" if key in _NAMES_AND_KEYS else "number"
        texts = [(key, "text"), *((text, kind) for text in _texts(value))]
        if any(contact_details(t[:LOOKED_AT], country=country, kind=k) for t, k in texts):
            what, row = f"the key holds something like {CONTACT}", lines.get(key)
            found = Problem("personal-data", file, what, _WHY, mend, row=row, column=brief(key))
            problems.append(found)
        else:
            kept[key] = value
    return kept, problems


def _texts(value: Any) -> Iterator[str]:
    """Every text in a value of TOML, names of its keys too."""
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, str):
            yield one
        elif isinstance(one, dict):
            waiting += [*one, *one.values()]
        elif isinstance(one, list):
            waiting += one
