"""The sense of rows: rules of each table, spellings settled, and documented defaults filled."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.cells import default_value, why
from spreadnet.evidence.check import WATER_WORDS, Checked, repeats
from spreadnet.evidence.privacy import shown
from spreadnet.evidence.region import Note, Settings
from spreadnet.evidence.settings import block_of
from spreadnet.evidence.tables import columns

LONGEST_VISIT_HOURS = 14.0  # more than a day's light: said in a note, not refused
SHOWN_ROWS = 5


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
    """A lake without any surface."""
    empty = checked.frame.index[(checked.frame["area_ha"] == 0).to_numpy()]
    return [
        _row_problem(checked, "out-of-range", int(r), "area_ha", "the area is 0", "Correct it.")
        for r in empty
    ]


def _row_problem(checked: Checked, code: str, row: int, name: str, what: str, mend: str) -> Problem:
    """A problem of one cell of a table."""
    reason = why(columns(checked.table)[name])
    return Problem(code, checked.file, what, reason, mend, row=row, column=name)


def _status_rows(checked: Checked, settings: Settings) -> list[Problem]:  # noqa: ARG001
    """Two rows for one lake and species; looked for and not found, without a survey."""
    frame = checked.frame
    why_not = "One lake has one status for a species."
    problems = repeats(
        frame, ["lake_id", "species"], "duplicate-row", checked.file, why_not, "Keep one row."
    )
    never = (frame["status"] == "absent") & (frame["surveys"] == 0).fillna(value=False)
    mend = "Write unknown where nobody has looked, or the number of surveys."
    return problems + [
        _row_problem(checked, "absent-unseen", int(r), "surveys", "absent, with 0 surveys", mend)
        for r in frame.index[never.to_numpy(dtype=bool)]
    ]


def _visit_rows(checked: Checked, settings: Settings) -> list[Problem]:  # noqa: ARG001
    """A visit that ends before it begins, or takes no time."""
    frame = checked.frame
    wrong = frame.index[(frame["end"] <= frame["start"]).to_numpy()]
    mend = "Correct one of the two; a visit past midnight is written as two visits."
    what = "the visit does not end after its start"
    return [_row_problem(checked, "end-before-start", int(r), "end", what, mend) for r in wrong]


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


def _hour_rows(checked: Checked, settings: Settings) -> list[Problem]:
    """A block that is not in region.toml."""
    labels = {block.label for block in settings.blocks}
    problems = []
    given = checked.frame["block"].dropna()
    for row, text in zip(given.index.tolist(), given, strict=True):
        block = block_of(text)
        if text.lower() != "any" and (block is None or block.label not in labels):
            mend = f"Use one of: any, {', '.join(sorted(labels))}."
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
}


def settle_waters(checked: Checked) -> Checked:
    """
    Contacts with `outside` and `none` in one spelling, and answers of the other direction gone.

    `last_water` and `days_out` are asked of boats going in, `next_water` of boats coming out; an
    answer under the other direction has no documented meaning, so it is left out and counted.
    """
    frame = checked.frame.copy()
    notes = list(checked.notes)
    for name in ("last_water", "next_water"):
        plain = frame[name].str.lower()
        frame[name] = frame[name].where(~plain.isin(WATER_WORDS), plain)
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


def visit_notes(visits: pd.DataFrame) -> list[Note]:
    """Visits longer than a day's light."""
    hours = (visits["end"] - visits["start"]).to_numpy(dtype=float)
    long = visits.index[np.nan_to_num(hours) > LONGEST_VISIT_HOURS]
    if not len(long):
        return []
    shown_ids = ", ".join(str(i) for i in long[:SHOWN_ROWS])
    text = f"visits: {len(long)} last more than {LONGEST_VISIT_HOURS:g} hours (first: {shown_ids})"
    return [Note("long-visit", text)]
