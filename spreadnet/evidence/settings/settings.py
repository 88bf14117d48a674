"""`region.toml` to `Settings`: every key checked, defaults as `tables.csv` documents them."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from spreadnet.assumptions import DEFAULT, Assumption, Assumptions
from spreadnet.errors import Problem
from spreadnet.evidence.cells import LONGEST_NAME, nearest, why
from spreadnet.evidence.columns import Column, columns
from spreadnet.evidence.files import decode
from spreadnet.evidence.personal import brief, coded, private_settings, shown, withheld
from spreadnet.evidence.region import SETTINGS_FILE, Settings
from spreadnet.evidence.settings.domains import outside
from spreadnet.evidence.settings.values import (
    CONVERT,
    BadValue,
    country_of,
    number_of,
    said,
    weight_of,
)
from spreadnet.evidence.species import Species, read_species
from spreadnet.words import short_repr

LONGEST_SEASON_DAYS = 366
FIRST_SEASON, LAST_SEASON = 2000, 2100  # years
NO_SEASON = date(1, 1, 1)  # stands for a day of the season that could not be read


@short_repr
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
    text, _, problem = decode(data, file=SETTINGS_FILE)
    if problem is not None:
        return SettingsReading(_placeholder({}), (problem,), {})
    try:
        given = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of 5000 digits, brackets 2000 deep
        return SettingsReading(_placeholder({}), (_not_toml(error),), {})
    lines = _lines(text)
    values: dict[str, Any] = {}
    country = country_of(given.get("country"))
    kept, private = private_settings(given, lines=lines, country=country, file=SETTINGS_FILE)
    problems = [*private, *_unknown_keys(kept, lines)]
    for name, column in columns("region").items():
        if name in given and name not in kept:
            continue
        if name not in given:
            problems += [_missing_key(column)] if column.required else []
            continue
        found, faults = _value(column, given[name], lines.get(name), species, assumptions)
        problems += faults
        if not faults:
            values[name] = found
    faults = _season_problems(values, lines)
    if faults:
        values = {k: v for k, v in values.items() if not k.startswith("season_")}
    problems += [*faults, *_shift_problems(values, lines)]
    return SettingsReading(_placeholder(values), tuple(problems), lines)


def _placeholder(values: dict[str, Any]) -> Settings:
    """Settings of the values that are good, with placeholders for required ones that are not."""
    needed = {"name": "", "season_first_day": NO_SEASON, "season_last_day": NO_SEASON}
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
    return Problem(code, SETTINGS_FILE, what, why(column), mend, row=row, column=column.name)


def _not_toml(error: ValueError | RecursionError) -> Problem:
    """The problem that the file is not valid TOML."""
    found = re.search(r"line (\d+)", str(error))
    plain = isinstance(error, tomllib.TOMLDecodeError)
    fault = brief(error) if plain else "a number too long, or brackets too deep, to be read"
    return Problem(
        "not-toml",
        SETTINGS_FILE,
        f"this is not valid TOML ({fault})",
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
        near = nearest(name[:LONGEST_NAME], list(known))
        hint = f"Did you mean '{near}'? " if near else ""
        problems.append(
            Problem(
                "unknown-key",
                SETTINGS_FILE,
                f"unknown key {shown(name)}",
                "A key that is not known has no effect, whatever was meant by it.",
                f"{hint}Known keys: {', '.join(known)}.",
                row=lines.get(name),
                column=brief(name),
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
    if column.name == "jurisdiction_hours":
        return _hours_by_name(column, raw, row)
    if column.name == "assumptions":
        return _changes(column, raw, row, assumptions)
    try:
        return CONVERT[column.kind](column, raw), []
    except BadValue as bad:
        return None, [_problem(bad.code, column, bad.what, bad.mend, row)]


def _weights(
    column: Column, raw: Any, row: int | None, species: Collection[str]
) -> tuple[dict[str, float] | None, list[Problem]]:
    """Species in scope with what each counts."""
    mend = f"Write it as {column.name} = {column.example}"
    if not isinstance(raw, dict) or not raw:
        what = f"{said(raw)} is not a table of species and weights"
        return None, [_problem("not-a-table", column, what, mend, row)]
    problems, weights = [], {}
    for name, weight in raw.items():
        if name not in species:
            near = nearest(name[:LONGEST_NAME], list(species))
            hint = f"Did you mean '{near}'? " if near else ""
            known = f"{hint}Known: {', '.join(sorted(species))}."
            what = f"unknown species {shown(name)}"
            problems.append(_problem("unknown-species", column, what, known, row))
        try:
            weights[name] = weight_of(column, weight)
        except BadValue as bad:
            what = f"the weight of {shown(name)}: {bad.what}"
            problems.append(_problem(bad.code, column, what, bad.mend, row))
    if not problems and not any(weights.values()):
        what = "every species has the weight 0"
        problems.append(_problem("out-of-range", column, what, mend, row))
    return weights, problems


def _hours_by_name(
    column: Column, raw: Any, row: int | None
) -> tuple[dict[str, float] | None, list[Problem]]:
    """Hours of each jurisdiction; whether it has landings is told when these are read."""
    if not isinstance(raw, dict):
        what = f"{said(raw)} is not a table of names and hours"
        mend = f"Write it as {column.name} = {column.example}"
        return None, [_problem("not-a-table", column, what, mend, row)]
    problems, hours = [], {}
    for name, given in raw.items():
        try:
            hours[name] = number_of(replace(column, low=0.0, high=1e6), given)
        except BadValue as bad:
            what = f"the hours of {shown(name)}: {bad.what}"
            problems.append(_problem(bad.code, column, what, bad.mend, row))
    return hours, problems


def _changes(
    column: Column, raw: Any, row: int | None, assumptions: Assumptions
) -> tuple[dict[str, Any] | None, list[Problem]]:
    """Assumptions to change; each is tried by itself so that every fault is told."""
    if not isinstance(raw, dict):
        what = f"{said(raw)} is not a table of names and numbers"
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
    name = next(iter(change))
    mend = "Write a number, or {value = ..., low = ..., high = ...} with low <= value <= high;"
    mend += " `spreadnet assumptions` and `spreadnet species` list the names."
    try:
        changed = _entries(holder.with_changes(change))[name]
    except KeyError:
        what = f"assumption '{brief(place)}' has a range but no value"
        mend = f"Write {brief(place)} = {{value = ..., low = ..., high = ...}}."
        return [_problem("assumption", column, what, mend, row)]
    except (ValueError, TypeError, OverflowError, RecursionError) as error:
        what = coded(withheld(str(error))[:LONGEST_NAME])
        return [_problem("assumption", column, what, mend, row)]
    fault = outside(_entries(holder)[name], changed)
    return [_problem("assumption", column, fault, mend, row)] if fault else []


def _entries(holder: Assumptions | Species) -> Mapping[str, Assumption]:
    """The numbers of a set, or of a species, by name."""
    return holder.entries if isinstance(holder, Assumptions) else holder.values.entries


def _season_problems(values: Mapping[str, Any], lines: Mapping[str, int]) -> list[Problem]:
    """A season that ends before it begins, lasts more than a year, or lies in another age."""
    first, last = values.get("season_first_day"), values.get("season_last_day")
    if first is None or last is None:
        return []
    days = (last - first).days + 1
    near = first.year >= FIRST_SEASON and last.year <= LAST_SEASON
    if 1 <= days <= LONGEST_SEASON_DAYS and near:
        return []
    what = f"the season lies outside the years {FIRST_SEASON} to {LAST_SEASON}"
    if days > LONGEST_SEASON_DAYS:
        what = f"the season lasts from {first} to {last}, {days} days"
    if days < 1:
        what = f"the season ends on {last}, before it begins on {first}"
    column = columns("region")["season_last_day"]
    row = lines.get("season_last_day")
    return [_problem("season", column, what, "Correct one of the two days.", row)]


def _shift_problems(values: Mapping[str, Any], lines: Mapping[str, int]) -> list[Problem]:
    """A shift too long for every block, or for what a landing takes in a week."""
    known = columns("region")
    blocks = values.get("blocks", Settings.__dataclass_fields__["blocks"].default)
    shift = values.get("shift_hours", float(known["shift_hours"].default))
    name = "most_hours_per_landing_week"
    week = values.get(name, float(known[name].default))
    longest = max(block.hours for block in blocks)
    row = lines.get("shift_hours")
    lasts = f"a shift lasts {shift:g} hours{'' if row else ' (shift_hours, left out)'}"
    problems = []
    if shift > longest + 1e-9:
        what = f"{lasts}, and the longest block {longest:g}"
        mend = f"Set shift_hours to {longest:g} or less, or make the blocks longer."
        problems.append(_problem("shift-too-long", known["shift_hours"], what, mend, row))
    if 0 < week < shift:
        what = f"{lasts}, and {name} is {week:g}"
        mend = f"Set shift_hours to {week:g} or less, or raise {name}."
        problems.append(_problem("shift-too-long", known["shift_hours"], what, mend, row))
    return problems
