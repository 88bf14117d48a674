"""Rules on tables: headings, values, keys and references. One rule, one function."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import pandas as pd

from spreadnet.errors import SHOWN, Problem
from spreadnet.evidence.cells import convert, letter_problems, nearest, plain_id, twin_problems, why
from spreadnet.evidence.columns import WATERS, Column, columns
from spreadnet.evidence.personal import (
    brief,
    left_aside,
    personal_heading,
    personal_headings,
    shown,
)
from spreadnet.evidence.region import Note
from spreadnet.evidence.types import Checked, Manner, TextTable
from spreadnet.evidence.where import MOST_SHARE_ODD, swapped

WATER_WORDS = ("outside", "none")
NAME_LENGTH = 60  # letters of a heading or an id that are compared with those known
NEAR_HEADING = 0.8  # likeness above which a heading that looks personal is taken as misspelt
# Never suggested for a heading that looks personal: what stands under it may be names of people.
_ABOUT_PEOPLE = ("educators",)
NEAR_ID = 0.75  # likeness above which an id is suggested; ids of one series are all alike


def check_table(text: TextTable, *, manner: Manner) -> Checked:
    """
    One table in its types: headings, values and identifiers checked.

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
    notes = _aside_notes(text)
    swap = _swapped_columns(text, used)
    for name, column in known.items():
        if column.kind == "geometry":
            continue
        cells = text.cells.get(name, blank)
        made = convert(column, cells, file=text.file, manner=used)
        typed[name] = made.values
        off = swap and name in ("longitude", "latitude")
        problems += () if off else made.problems
        problems += letter_problems(column, cells, file=text.file)
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
    aside = _aside(text)
    unknown = [name for name in given if name not in known and name not in aside]
    personal = [n for n in unknown if personal_heading(n, text.table) and not _misspelt(n, known)]
    problems = personal_headings(personal, table=text.table, file=text.file)
    problems += [_unknown_column(name, text, known) for name in unknown if name not in personal]
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


def _misspelt(name: str, known: Mapping[str, Column]) -> bool:
    """Whether a heading is so near to one of the table's own that it is meant for it."""
    places = [n for n in known if n not in _ABOUT_PEOPLE]
    return nearest(name[:NAME_LENGTH], places, cutoff=NEAR_HEADING) is not None


def _aside(text: TextTable) -> list[str]:
    """Headings that may be about a person, or not: their columns are not read."""
    known = columns(text.table)
    unknown = (name for name in text.cells.columns if name not in known)
    return [n for n in unknown if left_aside(n, text.table) and not _misspelt(n, known)]


def _aside_notes(text: TextTable) -> list[Note]:
    """One note when columns are left aside."""
    aside = _aside(text)
    if not aside:
        return []
    said = f"{text.table}: left aside, since they may be about people, and neither read nor copied:"
    return [Note("left-aside", f"{said} {', '.join(map(brief, aside))}")]


def _near_heading(name: str, unknown: list[str]) -> str:
    """Which unknown heading may be the missing one."""
    near = nearest(name, [n for n in unknown if len(n) <= NAME_LENGTH])
    return f" Is '{near}' meant for it?" if near else ""


def _unknown_column(name: str, text: TextTable, known: Mapping[str, Column]) -> Problem:
    """The problem that a heading means nothing."""
    near = nearest(name[:NAME_LENGTH], list(known))
    hint = f"Did you mean '{near}'? " if near else ""
    what, mend = f"unknown column '{brief(name)}'", f"{hint}Rename or delete it."
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
        column=brief(name),
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
    problems = repeats(frame, [name], "duplicate-id", text.file, why_not, mend)
    problems += twin_problems(columns(text.table)[name], frame[name], file=text.file)
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


def repeats(
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
        for name in WATERS:
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
    if values.empty:
        return []
    single = {"lakes": "lake", "landings": "landing", "visits": "visit"}.get(target, target)
    hints = _id_hints(values.unique().tolist(), known)
    last = f"add it to {where}."
    if target == "species":
        last = "see `spreadnet species`."
    elif column.name in WATERS:
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


def _id_hints(values: Sequence[str], known: Collection[str]) -> dict[str, str]:
    """For each unknown id the one probably meant: zeros in front, two letters turned, likeness."""
    bare = {k.lstrip("0"): k for k in known if k.isdigit()}
    turned = {"".join(sorted(k)): k for k in known}
    seen = {plain_id(k): k for k in known}
    hints = {}
    for i, value in enumerate(values):
        padded = bare.get(value.lstrip("0")) if value.isdigit() else None
        near = seen.get(plain_id(value)) or turned.get("".join(sorted(value)))
        if near is None and padded is None and i < SHOWN:  # slow, so for those that are shown
            near = nearest(value[:NAME_LENGTH], list(known), cutoff=NEAR_ID)
        hints[value] = f"Did you mean '{brief(near)}'? " if near else ""
        if padded:
            hints[value] = (
                f"'{brief(padded)}' is: zeros in front were lost or added; keep ids as text. "
            )
    return hints
