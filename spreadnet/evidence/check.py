"""Rules on tables: headings, keys, references and the sense of rows. One rule, one function."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.cells import Manner, convert, default_value, nearest, why
from spreadnet.evidence.privacy import personal_heading, personal_headings, personal_values, shown
from spreadnet.evidence.projection import MOST_SHARE_ODD, swapped
from spreadnet.evidence.region import Note, Settings
from spreadnet.evidence.settings import block_of
from spreadnet.evidence.tables import Column, columns
from spreadnet.evidence.text import TextTable

LONGEST_VISIT_HOURS = 14.0  # more than a day's light: said in a note, not refused
WATER_WORDS = ("outside", "none")
SHOWN_ROWS = 5
NEAR_ID = 0.75  # likeness above which an id is suggested; ids of one series are all alike


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """A typed table (index: spreadsheet rows) with problems and notes, before defaults."""

    table: str
    file: str
    frame: pd.DataFrame
    problems: tuple[Problem, ...] = ()
    notes: tuple[Note, ...] = ()


def check_table(text: TextTable, *, manner: Manner) -> Checked:
    """
    One table in its types: headings, personal data, values and identifiers checked.

    Parameters
    ----------
    text : TextTable
        Text cells, from CSV, workbook or vector file.
    manner : Manner
        Decimal mark and date format of `region.toml`.

    Returns
    -------
    checked : Checked
        Every column of `tables.csv` but `geometry`; a column that is not there is all missing.
    """
    known = columns(text.table)
    problems = heading_problems(text)
    used = Manner(text.decimal or manner.decimal, manner.date_format)
    blank = pd.Series("", index=text.cells.index, dtype="str")
    typed: dict[str, pd.Series] = {}
    notes: list[Note] = []
    swap = _swapped_columns(text, used)
    for name, column in known.items():
        if column.kind == "geometry":
            continue
        cells = text.cells.get(name, blank)
        private = personal_values(column, cells, file=text.file)
        made = convert(column, cells, file=text.file, manner=used)
        typed[name] = made.values.mask(cells.index.isin([p.row for p in private]))
        off = swap and name in ("longitude", "latitude")
        problems += [*private, *(() if off else made.problems)]
        notes += made.notes
        if column.required and name in text.cells:
            problems += _missing_values(column, cells, file=text.file)
    problems += swap
    frame = pd.DataFrame(typed, index=text.cells.index)
    problems += duplicate_ids(frame, text=text)
    return Checked(text.table, text.file, frame, tuple(problems), tuple(notes))


def heading_problems(text: TextTable) -> list[Problem]:
    """Headings that are missing, unknown or about a person."""
    known = columns(text.table)
    given = list(text.cells.columns)
    unknown = [name for name in given if name not in known]
    problems = personal_headings(unknown, table=text.table, file=text.file)
    for name in unknown:
        if personal_heading(name, text.table) is None:
            problems.append(_unknown_column(name, text, known))
    if text.geometry is None and "geometry" in given:
        problems.append(_unknown_column("geometry", text, known))
    needed = [name for name, column in known.items() if column.required]
    if text.geometry is None and "geometry" in needed:
        needed = [n for n in needed if n != "geometry"] + ["longitude", "latitude"]
    elif "geometry" in needed:
        needed.remove("geometry")
    elif {"longitude", "latitude"} & set(given):
        needed += ["longitude", "latitude"]
    return problems + [
        Problem(
            "missing-column",
            text.file,
            f"there is no column '{name}'",
            why(known[name]),
            f"Add the column '{name}'." + _near_heading(name, unknown),
            row=1,
            column=name,
        )
        for name in needed
        if name not in given
    ]


def _near_heading(name: str, unknown: list[str]) -> str:
    """Which unknown heading may be the missing one."""
    near = nearest(name, unknown)
    return f" Is '{near}' meant for it?" if near else ""


def _unknown_column(name: str, text: TextTable, known: Mapping[str, Column]) -> Problem:
    """The problem that a heading means nothing."""
    near = nearest(name, list(known))
    hint = f"Did you mean '{near}'? " if near else ""
    what, mend = f"unknown column '{name}'", f"{hint}Rename or delete it."
    if name == "geometry":
        what = "a geometry can't be written in a CSV or workbook"
        mend = "Give longitude and latitude, or a GeoJSON or GeoPackage file."
    return Problem(
        "unknown-column",
        text.file,
        what,
        "A column that is not known is not used, whatever was meant by it.",
        f"{mend} Columns of {text.table}: {', '.join(known)}.",
        row=1,
        column=name,
    )


def _missing_values(column: Column, cells: pd.Series, *, file: str) -> list[Problem]:
    """Blank cells where a value is required."""
    mend = "Fill it in."
    if column.key == "key":
        mend += " If the row is a total or a remark, delete it."
    return [
        Problem(
            "missing-value",
            file,
            "the cell is empty",
            why(column),
            mend,
            row=int(row),
            column=column.name,
        )
        for row in cells.index[(cells == "").to_numpy()]
    ]


def _swapped_columns(text: TextTable, manner: Manner) -> list[Problem]:
    """One problem when swapping longitude and latitude brings nearly all into range."""
    if not {"longitude", "latitude"} <= set(text.cells.columns):
        return []
    mark = manner.decimal
    lon, lat = (
        pd.to_numeric(text.cells[c].str.replace(mark, "."), errors="coerce").abs()
        for c in ("longitude", "latitude")
    )
    odd = (lat > 90) & (lat <= 180) & (lon <= 90)
    if not len(odd) or odd.mean() <= 1 - MOST_SHARE_ODD:
        return []
    return [swapped(text.file, int(odd.index[odd][0]))]


def duplicate_ids(frame: pd.DataFrame, *, text: TextTable) -> list[Problem]:
    """Identifiers that stand in two rows."""
    keys = [n for n, c in columns(text.table).items() if c.key == "key"]
    if not keys:
        return []
    name = keys[0]
    mend = "Give each its own id."
    if text.geometry is not None and text.table == "lakes":
        mend += " If the rows are parts of one lake, merge (dissolve) them by lake_id in a GIS."
    why_not = f"Other tables name the {text.table} by id, so an id must mean one of them."
    problems = _repeats(frame, [name], "duplicate-id", text.file, why_not, mend)
    if text.table == "lakes":
        reserved = frame[name].str.lower().isin(WATER_WORDS)
        problems += [
            Problem(
                "reserved-id",
                text.file,
                f"a lake can't have the id {shown(str(frame.loc[row, name]))}",
                "In contacts that word stands for no lake of the region.",
                "Give the lake another id.",
                row=int(row),
                column=name,
            )
            for row in frame.index[reserved.fillna(value=False).to_numpy(dtype=bool)]
        ]
    return problems


def _repeats(
    frame: pd.DataFrame, names: list[str], code: str, file: str, why_not: str, mend: str
) -> list[Problem]:
    """Rows that repeat the values of an earlier one in some columns."""
    filled = frame[names].dropna()
    first = pd.Series(filled.index, index=filled.index)
    first = first.groupby([filled[n] for n in names]).transform("min")
    again = filled.index[(first != filled.index).to_numpy()]
    return [
        Problem(
            code,
            file,
            f"{' and '.join(shown(str(v)) for v in filled.loc[row])} is already in row"
            f" {first.loc[row]}",
            why_not,
            mend,
            row=int(row),
            column=names[-1],
        )
        for row in again
    ]


def reference_problems(
    checked: Checked, known: Mapping[str, Collection[str]], files: Mapping[str, str]
) -> list[Problem]:
    """
    Cells that must name a row of another table and do not.

    Parameters
    ----------
    checked : Checked
        A typed table.
    known : mapping
        Ids of `lakes`, `landings`, `visits` and names of `species`; a table that could not be
        read is left out, and what names it is not checked.
    files : mapping
        File of each table, for messages.

    Returns
    -------
    problems : list of Problem
        One a cell; a lost zero in front is named.
    """
    problems: list[Problem] = []
    for name, column in columns(checked.table).items():
        target = column.key.split(".")[0]
        if column.key in ("", "key") or target not in known:
            continue
        values = checked.frame[name]
        bad = values.notna() & ~values.isin(list(known[target]))
        where = "`spreadnet species`" if target == "species" else files.get(target, target)
        problems += _unknown(column, values[bad], target, known[target], where, checked.file)
    if checked.table == "contacts" and "lakes" in known:
        for name in ("last_water", "next_water"):
            column, values = columns("contacts")[name], checked.frame[name]
            allowed = [*known["lakes"], *WATER_WORDS]
            bad = values.notna() & ~values.isin(allowed)
            where = files.get("lakes", "lakes")
            found = _unknown(column, values[bad], "lakes", allowed, where, checked.file)
            problems += found
    return problems


def _unknown(
    column: Column,
    values: pd.Series,
    target: str,
    known: Collection[str],
    where: str,
    file: str,
) -> list[Problem]:
    """One problem for each cell whose value is not known."""
    single = {"lakes": "lake", "landings": "landing", "visits": "visit"}.get(target, target)
    hints = {value: _id_hint(value, known) for value in values.unique()}
    last = f"add it to {where}."
    if target == "species":
        last = "see `spreadnet species`."
    elif column.name in ("last_water", "next_water"):
        last = "write outside for a water that is not in the region, none for no trip."
    return [
        Problem(
            f"unknown-{single}",
            file,
            f"{shown(value)} is not in {where}",
            why(column),
            f"{hints[value]}Otherwise {last}" if hints[value] else last[0].upper() + last[1:],
            row=row,
            column=column.name,
        )
        for row, value in zip(values.index.tolist(), values, strict=True)
    ]


def _id_hint(value: str, known: Collection[str]) -> str:
    """The id that was probably meant, zeros in front first."""
    bare = value.lstrip("0")
    padded = [k for k in known if k.lstrip("0") == bare and bare.isdigit()]
    if padded:
        return f"'{padded[0]}' is: zeros in front were lost or added; keep ids as text. "
    turned = [k for k in known if sorted(k) == sorted(value)]  # two letters the wrong way round
    near = turned[0] if turned else nearest(value, list(known), cutoff=NEAR_ID)
    return f"Did you mean '{near}'? " if near else ""


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
    problems = _repeats(
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
            *_repeats(frame, [first, second], "duplicate-row", checked.file, why_not, mend_pair),
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
