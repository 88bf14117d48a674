"""`region.toml` to `Settings`: every key checked, defaults as `tables.csv` documents them."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import Any

from spreadnet.assumptions import DEFAULT, Assumptions
from spreadnet.errors import Problem
from spreadnet.evidence.cells import nearest, why
from spreadnet.evidence.dates import strptime_format
from spreadnet.evidence.privacy import shown
from spreadnet.evidence.region import Block, Settings
from spreadnet.evidence.species import Species, read_species
from spreadnet.evidence.tables import Column, columns
from spreadnet.evidence.text import decode

FILE = "region.toml"
LONGEST_SEASON_DAYS = 366
_PLACEHOLDER = date(2000, 1, 1)
_BLOCK = re.compile(r"\s*(\d{1,2}):(\d{2})\s*[-\u2013]\s*(\d{1,2}):(\d{2})\s*")


class _BadValue(Exception):
    """A value that can't be used: what is wrong and how to mend it."""

    def __init__(self, code: str, what: str, mend: str) -> None:
        super().__init__(what)
        self.code, self.what, self.mend = code, what, mend


@dataclass(frozen=True, slots=True, eq=False)
class SettingsReading:
    """Settings with which checking can go on, what is wrong with them, and lines of the keys."""

    settings: Settings
    problems: tuple[Problem, ...]
    lines: Mapping[str, int]


def read_settings(
    data: bytes, *, species: Collection[str], assumptions: Assumptions = DEFAULT
) -> SettingsReading:
    r"""
    Settings from the bytes of a `region.toml`.

    Parameters
    ----------
    data : bytes
        The whole file.
    species : collection of str
        Names of the species that spreadnet knows.
    assumptions : Assumptions
        The set whose names `assumptions` may change.

    Returns
    -------
    reading : SettingsReading
        Faulty values are replaced by the default (or an empty placeholder), so that the tables
        can be checked in the same pass; use the settings only when there is no problem.

    Examples
    --------
    >>> text = 'name = "Inlet"\nseason_first_day = 2027-05-15\nseason_last_day = 2027-09-30\n'
    >>> text += "species = {dreissenid_mussel = 1.0}\nseason = 3"
    >>> reading = read_settings(text.encode(), species={"dreissenid_mussel"})
    >>> str(reading.problems[0]).splitlines()[0]
    "region.toml, row 5, column season: unknown key 'season'"
    """
    text, _, problem = decode(data, file=FILE)
    if problem is not None:
        return SettingsReading(_placeholder({}), (problem,), {})
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return SettingsReading(_placeholder({}), (_not_toml(error),), {})
    lines = _lines(text)
    values: dict[str, Any] = {}
    problems = _unknown_keys(given, lines)
    for name, column in columns("region").items():
        if name not in given:
            problems += [_missing_key(column)] if column.required else []
            continue
        found, faults = _value(column, given[name], lines.get(name), species, assumptions)
        problems += faults
        if not faults:
            values[name] = found
    problems += _season_problems(values, lines)
    return SettingsReading(_placeholder(values), tuple(problems), lines)


def _placeholder(values: dict[str, Any]) -> Settings:
    """Settings of the values that are good, with placeholders for required ones that are not."""
    needed = {"name": "", "season_first_day": _PLACEHOLDER, "season_last_day": _PLACEHOLDER}
    return Settings(**{**needed, "species": {}, **values})


def _lines(text: str) -> dict[str, int]:
    """Line on which each key of the top level, or its table, is first named."""
    lines: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        found = re.match(r"\s*\[{0,2}\s*[\"']?([A-Za-z0-9_\-]+)[\"']?\s*(?:[=.\]])", line)
        if found:
            lines.setdefault(found[1], number)
    return lines


def _problem(code: str, column: Column, what: str, mend: str, row: int | None) -> Problem:
    """A problem of one key."""
    return Problem(code, FILE, what, why(column), mend, row=row, column=column.name)


def _not_toml(error: tomllib.TOMLDecodeError) -> Problem:
    """The problem that the file is not valid TOML."""
    found = re.search(r"line (\d+)", str(error))
    return Problem(
        "not-toml",
        FILE,
        f"this is not valid TOML ({error})",
        "Nothing in it can be used.",
        'Write one `key = value` a line, text in "quotes", dates as 2027-05-15.',
        row=int(found[1]) if found else None,
    )


def _unknown_keys(given: Mapping[str, Any], lines: Mapping[str, int]) -> list[Problem]:
    """Keys that mean nothing, with the nearest that does."""
    known = columns("region")
    problems = []
    for name in given:
        if name in known:
            continue
        near = nearest(name, list(known))
        hint = f"Did you mean '{near}'? " if near else ""
        problems.append(
            Problem(
                "unknown-key",
                FILE,
                f"unknown key {shown(name)}",
                "A key that is not known has no effect, whatever was meant by it.",
                f"{hint}Known keys: {', '.join(known)}.",
                row=lines.get(name),
                column=name,
            )
        )
    return problems


def _missing_key(column: Column) -> Problem:
    """The problem that a required key is not there."""
    mend = f"Add a line, e.g. {column.name} = {column.example}"
    return _problem("missing-key", column, f"the key '{column.name}' is missing", mend, None)


def _value(
    column: Column,
    raw: Any,
    row: int | None,
    species: Collection[str],
    assumptions: Assumptions,
) -> tuple[Any, list[Problem]]:
    """One key's value in the type of `Settings`, or its problems."""
    if column.name == "species":
        return _weights(column, raw, row, species)
    if column.name == "assumptions":
        return _changes(column, raw, row, assumptions)
    try:
        return _CONVERT[column.kind](column, raw), []
    except _BadValue as bad:
        return None, [_problem(bad.code, column, bad.what, bad.mend, row)]


def _text(column: Column, raw: Any) -> str:
    """A text value, on the fixed list where there is one."""
    mend = f"Write it in quotes, e.g. {column.name} = {column.example}"
    if not isinstance(raw, str) or not raw.strip():
        raise _BadValue("not-text", f"{shown(str(raw))} is not a text", mend)
    if column.name == "decimal":
        allowed: tuple[str, ...] = (".", ",")  # `;` parts the words of tables.csv
    else:
        allowed = column.allowed
    if allowed and raw not in allowed:
        near = nearest(raw.lower(), allowed)
        hint = f"Did you mean '{near}'? " if near else ""
        listed = ", ".join(f'"{word}"' for word in allowed)
        raise _BadValue(
            "unknown-word", f"{shown(raw)} is not on the list", f"{hint}One of {listed}."
        )
    if column.name == "date_format" and strptime_format(raw) is None:
        mend = 'Use YYYY, MM (or MMM) and DD once each, e.g. "DD/MM/YYYY".'
        raise _BadValue("date-format", f"{shown(raw)} is not a date format", mend)
    return raw.strip() if column.name != "decimal" else raw


def _number(column: Column, raw: Any) -> float:
    """A number in its range."""
    mend = f"Write a number, e.g. {column.name} = {column.example}"
    if isinstance(raw, bool) or not isinstance(raw, int | float) or raw != raw:
        raise _BadValue("not-a-number", f"{shown(str(raw))} is not a number", mend)
    low, high = column.low, column.high
    if (
        (low is not None and raw < low)
        or (high is not None and raw > high)
        or raw in (float("inf"), float("-inf"))
    ):
        raise _BadValue("out-of-range", f"{raw} is outside {column.range_words}", mend)
    return float(raw)


def _integer(column: Column, raw: Any) -> int:
    """A whole number in its range."""
    value = _number(column, raw)
    if value != int(value):
        mend = f"Write a whole number, e.g. {column.name} = {column.example}"
        raise _BadValue("not-whole", f"{raw} is not a whole number", mend)
    return int(value)


def _day(column: Column, raw: Any) -> date:
    """A TOML date, or a text that is an ISO date."""
    if isinstance(raw, datetime):
        return raw.date()
    if isinstance(raw, date):
        return raw
    try:
        return date.fromisoformat(str(raw))
    except ValueError:
        mend = f"Write it as {column.name} = 2027-05-15"
        raise _BadValue("not-a-date", f"{shown(str(raw))} is not a date", mend) from None


def _days(column: Column, raw: Any) -> tuple[date, ...]:
    """A list of dates, in order."""
    if not isinstance(raw, list):
        mend = f"Write a list, e.g. {column.name} = {column.example}"
        raise _BadValue("not-a-list", f"{shown(str(raw))} is not a list of dates", mend)
    return tuple(sorted({_day(column, item) for item in raw}))


def _blocks(column: Column, raw: Any) -> tuple[Block, ...]:
    """Clock ranges in order of time, none over another."""
    mend = f"Write them as {column.name} = {column.example}"
    if not isinstance(raw, list) or not raw:
        raise _BadValue("not-a-list", f"{shown(str(raw))} is not a list of clock ranges", mend)
    blocks = sorted((_block(str(item), mend) for item in raw), key=lambda b: b.first)
    for early, late in pairwise(blocks):
        if late.first < early.last:
            what = f"the blocks {early.label} and {late.label} overlap"
            raise _BadValue("blocks-overlap", what, "Let each begin when the one before ends.")
    return tuple(blocks)


def _block(text: str, mend: str) -> Block:
    """One clock range."""
    block = block_of(text)
    if block is None:
        raise _BadValue("not-a-time", f"{shown(text)} is not a clock range", mend)
    return block


def block_of(text: str) -> Block | None:
    """
    The block that a text such as `6:00-10:00` stands for, or None.

    Examples
    --------
    >>> block_of("6:00 - 10:30").label
    '06:00-10:30'
    >>> block_of("10:00-06:00") is None
    True
    """
    found = _BLOCK.fullmatch(text)
    if not found:
        return None
    h0, m0, h1, m1 = (int(part) for part in found.groups())
    first, last = h0 + m0 / 60, h1 + m1 / 60
    return Block(first, last) if m0 < 60 and m1 < 60 and first < last <= 24 else None


def _weights(
    column: Column, raw: Any, row: int | None, species: Collection[str]
) -> tuple[dict[str, float] | None, list[Problem]]:
    """Species in scope with what each counts."""
    mend = f"Write it as {column.name} = {column.example}"
    if not isinstance(raw, dict) or not raw:
        what = f"{shown(str(raw))} is not a table of species and weights"
        return None, [_problem("not-a-table", column, what, mend, row)]
    problems, weights = [], {}
    for name, weight in raw.items():
        if name not in species:
            near = nearest(name, list(species))
            hint = f"Did you mean '{near}'? " if near else ""
            known = f"{hint}Known: {', '.join(sorted(species))}."
            what = f"unknown species {shown(name)}"
            problems.append(_problem("unknown-species", column, what, known, row))
        try:
            weights[name] = _number(column, weight)
        except _BadValue as bad:
            what = f"the weight of {shown(name)}: {bad.what}"
            problems.append(_problem(bad.code, column, what, mend, row))
    if not problems and not any(weights.values()):
        what = "every species has the weight 0"
        problems.append(_problem("out-of-range", column, what, mend, row))
    return weights, problems


def _changes(
    column: Column, raw: Any, row: int | None, assumptions: Assumptions
) -> tuple[dict[str, Any] | None, list[Problem]]:
    """Assumptions to change; each is tried by itself so that every fault is told."""
    if not isinstance(raw, dict):
        what = f"{shown(str(raw))} is not a table of names and numbers"
        mend = f"Write it as {column.name} = {column.example}"
        return None, [_problem("not-a-table", column, what, mend, row)]
    known = read_species()
    problems: list[Problem] = []
    sets: list[tuple[Assumptions | Species, dict[str, Any], str]]
    for name, change in raw.items():
        if name in known and isinstance(change, dict):
            sets = [(known[name], {n: c}, f"{name}.{n}") for n, c in change.items()]
        else:
            sets = [(assumptions, {name: change}, name)]
        for holder, one, place in sets:
            problems += _faults_of_change(column, holder, one, place=place, row=row)
    return dict(raw), problems


def _faults_of_change(
    column: Column,
    holder: Assumptions | Species,
    change: dict[str, Any],
    *,
    place: str,
    row: int | None,
) -> list[Problem]:
    """What is wrong with one changed number, if anything."""
    try:
        holder.with_changes(change)
    except KeyError:
        what = f"assumption '{place}' has a range but no value"
        mend = f"Write {place} = {{value = ..., low = ..., high = ...}}."
        return [_problem("assumption", column, what, mend, row)]
    except (ValueError, TypeError) as error:
        mend = "Write a number, or {value = ..., low = ..., high = ...} with low <= value <= high;"
        mend += " `spreadnet assumptions` and `spreadnet species` list the names."
        return [_problem("assumption", column, str(error), mend, row)]
    return []


def _season_problems(values: Mapping[str, Any], lines: Mapping[str, int]) -> list[Problem]:
    """A season that ends before it begins, or lasts more than a year."""
    first, last = values.get("season_first_day"), values.get("season_last_day")
    if first is None or last is None:
        return []
    days = (last - first).days + 1
    if 1 <= days <= LONGEST_SEASON_DAYS:
        return []
    what = f"the season lasts from {first} to {last}, {days} days"
    if days < 1:
        what = f"the season ends on {last}, before it begins on {first}"
    column = columns("region")["season_last_day"]
    row = lines.get("season_last_day")
    return [_problem("season", column, what, "Correct one of the two days.", row)]


_CONVERT: dict[str, Callable[[Column, Any], Any]] = {
    "text": _text,
    "number": _number,
    "integer": _integer,
    "date": _day,
    "dates": _days,
    "clock ranges": _blocks,
}
