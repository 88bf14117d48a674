"""The sense of rows: rules of each table, spellings settled, and documented defaults filled."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.cells import default_value, why
from spreadnet.evidence.checking.table import WATER_WORDS, repeats
from spreadnet.evidence.columns import WATERS, columns, plain_number
from spreadnet.evidence.personal import brief, shown
from spreadnet.evidence.region import Note, Settings
from spreadnet.evidence.settings import LEAST_WEIGHT, NO_SEASON, block_of
from spreadnet.evidence.types import Checked

LONGEST_VISIT_HOURS = 14.0  # more than a day's light: said in a note, not refused
SHOWN_ROWS = 5
OLDEST_VISIT_YEARS = 30  # traffic of so long ago says little of today's; house rule, no source
LEAST_AREA_HA = 1e-4  # a square metre


def row_problems(checked: Checked, settings: Settings) -> list[Problem]:
    """
    Rows that make no sense in themselves, each table by its own rules.

    Parameters
    ----------
    checked : Checked
        A typed table.
    settings : Settings
        Blocks are compared with those of `hours`.

    Returns
    -------
    problems : list of Problem
    """
    rule = _ROW_RULES.get(checked.table)
    return rule(checked, settings) if rule else []


def _lake_rows(checked: Checked, settings: Settings) -> list[Problem]:  # noqa: ARG001
    """A lake without a surface worth the name; a worth that is next to nothing."""
    area, worth = checked.frame["area_ha"], checked.frame["worth"]
    small = area[(area < LEAST_AREA_HA).to_numpy()]
    mean = worth[((worth > 0) & (worth < LEAST_WEIGHT)).to_numpy()]
    mend = f"Write 0, or a number from {plain_number(LEAST_WEIGHT)} on."
    return [
        _row_problem(checked, "out-of-range", int(r), name, f"the {word} is {v:g}", what)
        for name, word, found, what in (
            ("area_ha", "area", small, "Correct it: a hectare is 10,000 square metres."),
            ("worth", "worth", mean, mend),
        )
        for r, v in zip(found.index, found, strict=True)
    ]


def _row_problem(checked: Checked, code: str, row: int, name: str, what: str, mend: str) -> Problem:
    """A problem of one cell of a table."""
    reason = why(columns(checked.table)[name])
    return Problem(code, checked.file, what, reason, mend, row=row, column=name)


def _grouped(checked: Checked, code: str, name: str, bad: pd.Series, what: str) -> list[Problem]:
    """One problem of all rows with the same fault, at the first; `what` holds its cell as {}."""
    rows = checked.frame.index[bad.fillna(value=False).to_numpy(dtype=bool)]
    if not len(rows):
        return []
    value = checked.frame.loc[rows[0], name]
    said = what.format(value.date() if isinstance(value, pd.Timestamp) else value)
    more = f" (and {len(rows) - 1} more such rows)" if len(rows) > 1 else ""
    return [_row_problem(checked, code, int(rows[0]), name, said + more, "Correct the date.")]


def _late(checked: Checked, settings: Settings, name: str) -> list[Problem]:
    """Days later than the season that is planned for ends."""
    last = settings.season_last_day
    if last == NO_SEASON:
        return []
    late = checked.frame[name] > pd.Timestamp(last)
    what = f"{{}} is later than the last day of the season to plan for, {last}"
    return _grouped(checked, "date-late", name, late, what)


def _status_rows(checked: Checked, settings: Settings) -> list[Problem]:
    """Two rows for one lake and species; looked for and not found, without a survey; late days."""
    frame = checked.frame
    why_not = "One lake has one status for a species."
    problems = repeats(
        frame, ["lake_id", "species"], "duplicate-row", checked.file, why_not, "Keep one row."
    )
    never = (frame["status"] == "absent") & (frame["surveys"] == 0).fillna(value=False)
    mend = "Write unknown where nobody has looked, or the number of surveys."
    problems += _late(checked, settings, "first_found")
    problems += _late(checked, settings, "last_survey")
    return problems + [
        _row_problem(checked, "absent-unseen", int(r), "surveys", "absent, with 0 surveys", mend)
        for r in frame.index[never.to_numpy(dtype=bool)]
    ]


def _visit_rows(checked: Checked, settings: Settings) -> list[Problem]:
    """A visit that ends before it begins, or takes no time; one long ago, or yet to come."""
    frame = checked.frame
    wrong = frame.index[(frame["end"] <= frame["start"]).to_numpy()]
    mend = "Correct one of the two; a visit past midnight is written as two visits."
    what = "the visit does not end after its start"
    problems = _late(checked, settings, "date")
    if settings.season_first_day != NO_SEASON:
        oldest = pd.Timestamp(settings.season_first_day) - pd.DateOffset(years=OLDEST_VISIT_YEARS)
        old = f"{{}} is more than {OLDEST_VISIT_YEARS} years before the season to plan for"
        problems += _grouped(checked, "date-early", "date", frame["date"] < oldest, old)
    return problems + [
        _row_problem(checked, "end-before-start", int(r), "end", what, mend) for r in wrong
    ]


def _pair_rows(first: str, second: str) -> Callable[[Checked, Settings], list[Problem]]:
    """Rule for a table that joins two lakes: not a lake to itself, and no pair twice."""

    def rule(checked: Checked, settings: Settings) -> list[Problem]:  # noqa: ARG001
        frame = checked.frame
        same = frame.index[(frame[first] == frame[second]).to_numpy(dtype=bool)]
        what = f"{first} and {second} are the same lake"
        mend = "Correct one of the two, or delete the row."
        why_not = "Each pair of lakes is one row."
        mend_pair = "Keep one row (add the numbers up if both are right)."
        return [
            *(_row_problem(checked, "same-lake", int(r), second, what, mend) for r in same),
            *repeats(frame, [first, second], "duplicate-row", checked.file, why_not, mend_pair),
        ]

    return rule


def _promised_rows(checked: Checked, settings: Settings) -> list[Problem]:
    """A shift outside the season, in no block, or promised twice."""
    frame, first = checked.frame, settings.season_first_day
    problems = _late(checked, settings, "date") + _block_problems(checked, settings, any_too=False)
    problems += _short_blocks(checked, settings)
    if first != NO_SEASON:
        early = frame["date"] < pd.Timestamp(first)
        what = f"{{}} is before the first day of the season to plan for, {first}"
        problems += _grouped(checked, "date-early", "date", early, what)
    why_not = "One crew works a block at a landing; who comes along is one more row with a code."
    names = ["date", "landing_id", "block", "code"]
    mend = "Keep one row."
    return problems + repeats(frame, names, "duplicate-row", checked.file, why_not, mend)


def _short_blocks(checked: Checked, settings: Settings) -> list[Problem]:
    """Shifts promised in a block that is shorter than a shift."""
    shift = settings.shift_hours
    short = {b.label for b in settings.blocks if b.hours < shift - 1e-9}
    mend = "Name a longer block, or set shift_hours in region.toml so that a shift fits."
    what = f"the block {{}} is shorter than a shift, {shift:g} hours"
    given = checked.frame["block"].dropna()
    return [
        _row_problem(checked, "shift-too-long", row, "block", what.format(block.label), mend)
        for row, block in zip(given.index.tolist(), given.map(block_of), strict=True)
        if block is not None and block.label in short
    ]


def _hour_rows(checked: Checked, settings: Settings) -> list[Problem]:
    """A block that is not in region.toml."""
    return _block_problems(checked, settings, any_too=True)


def _block_problems(checked: Checked, settings: Settings, *, any_too: bool) -> list[Problem]:
    """Blocks that are not in region.toml."""
    labels = {block.label for block in settings.blocks}
    problems = []
    given = checked.frame["block"].dropna()
    for row, text in zip(given.index.tolist(), given, strict=True):
        block = block_of(text)
        if any_too and text.lower() == "any":
            continue
        if block is None or block.label not in labels:
            mend = f"Use one of: {'any, ' if any_too else ''}{', '.join(sorted(labels))}."
            what = f"{shown(text)} is not a block of region.toml"
            problems.append(_row_problem(checked, "unknown-word", row, "block", what, mend))
    return problems


_ROW_RULES: dict[str, Callable[[Checked, Settings], list[Problem]]] = {
    "lakes": _lake_rows,
    "status": _status_rows,
    "visits": _visit_rows,
    "streams": _pair_rows("upstream_lake_id", "downstream_lake_id"),
    "movements": _pair_rows("from_lake_id", "to_lake_id"),
    "hours": _hour_rows,
    "promised": _promised_rows,
}


def settle_waters(checked: Checked) -> Checked:
    """Contacts with `outside` and `none` in one spelling."""
    frame = checked.frame.copy()
    for name in WATERS:
        plain = frame[name].str.lower()
        frame[name] = frame[name].where(~plain.isin(WATER_WORDS), plain)
    return Checked(checked.table, checked.file, frame, checked.problems, checked.notes)


def settle_directions(checked: Checked) -> Checked:
    """
    Contacts without answers of the other direction.

    `last_water` and `days_out` are asked of boats going in, `next_water` of boats coming out; an
    answer under the other direction has no documented meaning, so it is left out and counted.
    """
    frame = checked.frame.copy()
    notes = list(checked.notes)
    for name, direction in (
        ("last_water", "launching"),
        ("days_out", "launching"),
        ("next_water", "retrieving"),
    ):
        other = (frame["direction"].notna() & (frame["direction"] != direction)).to_numpy()
        moot = other & frame[name].notna().to_numpy()
        if moot.any():
            frame[name] = frame[name].mask(moot)
            text = f"contacts: {name} is used of boats {direction} only; {int(moot.sum())} others"
            notes.append(Note("other-direction", f"{text} are left out"))
    return Checked(checked.table, checked.file, frame, checked.problems, tuple(notes))


def settle_blocks(checked: Checked) -> Checked:
    """Hours with their blocks in the one spelling of `Block.label`, and `any` in lower case."""
    frame = checked.frame.copy()
    blocks = {text: block_of(text) for text in frame["block"].dropna().unique()}
    labels = {text: block.label if block else text.lower() for text, block in blocks.items()}
    frame["block"] = frame["block"].map(labels, na_action="ignore").astype("str")
    return Checked(checked.table, checked.file, frame, checked.problems, checked.notes)


def fill_defaults(checked: Checked, computed: Mapping[str, Any]) -> Checked:
    """
    The table with every documented default filled in, and a note counting each.

    Parameters
    ----------
    checked : Checked
        A typed table.
    computed : mapping
        Column to a value or a Series (same index) for defaults that are worked out from other
        cells; the others come from `tables.csv`.

    Returns
    -------
    filled : Checked
        A new table; gap answers stay missing, since a blank is `not checked`.
    """
    frame, notes = checked.frame.copy(), list(checked.notes)
    for name, column in columns(checked.table).items():
        if name not in frame:
            continue
        value = computed[name] if name in computed else default_value(column)
        empty = frame[name].isna()
        if value is None or not empty.any():
            continue
        frame[name] = frame[name].where(~empty, value)
        count = int((empty & frame[name].notna()).sum())
        if count:
            of = f"{count} of {len(frame)} rows"
            text = f"{checked.table}: {name} is empty in {of}; taken as {column.default}"
            notes.append(Note("default-filled", text))
    return Checked(checked.table, checked.file, frame, checked.problems, tuple(notes))


def visit_notes(visits: pd.DataFrame, settings: Settings) -> list[Note]:
    """Visits longer than a day's light, outside the months of the season, or entered twice."""
    return [*_long_visits(visits), *_other_months(visits, settings), *_twice(visits)]


def _other_months(visits: pd.DataFrame, settings: Settings) -> list[Note]:
    """Visits in months that the season to plan for does not touch."""
    first, last = settings.season_first_day, settings.season_last_day
    months = set(pd.period_range(first, last, freq="M").month)
    other = visits.index[~visits["date"].dt.month.isin(months)]
    if not len(other):
        return []
    text = f"visits: {len(other)} of {len(visits)} are in months outside the season"
    text += f" {first} to {last} (first: {_ids(other)})"
    return [Note("other-months", text)]


def _twice(visits: pd.DataFrame) -> list[Note]:
    """Visits with the landing, day and hours of an earlier one."""
    again = visits.index[visits.duplicated(["landing_id", "date", "start", "end"])]
    if not len(again):
        return []
    text = f"visits: {len(again)} have the landing, day and hours of an earlier one"
    text += f" (first: {_ids(again)}); if one was entered twice, delete one of the two"
    return [Note("visit-twice", text)]


def _ids(ids: pd.Index) -> str:
    """The first few ids for a note."""
    return ", ".join(brief(i) for i in ids[:SHOWN_ROWS]) + (" ..." if len(ids) > SHOWN_ROWS else "")


def _long_visits(visits: pd.DataFrame) -> list[Note]:
    """Visits longer than a day's light."""
    hours = (visits["end"] - visits["start"]).to_numpy(dtype=float)
    long = visits.index[np.nan_to_num(hours) > LONGEST_VISIT_HOURS]
    if not len(long):
        return []
    text = f"visits: {len(long)} last more than {LONGEST_VISIT_HOURS:g} hours (first: {_ids(long)})"
    return [Note("long-visit", text)]
