"""Text cells to typed columns: one rule for each type that `tables.csv` knows."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.cells.dates import read_dates
from spreadnet.evidence.columns import PURPOSE, WATERS, Column, plain_number
from spreadnet.evidence.distinct import marked
from spreadnet.evidence.personal import shown
from spreadnet.evidence.region import Note
from spreadnet.evidence.types import Manner, Typed

YES = ("yes", "y", "true", "t", "1")
NO = ("no", "n", "false", "f", "0")
FULL_TURN = 360.0  # degrees; some software counts longitude from 0 to 360
NOT_CHECKED = ("not checked", "unchecked", "not seen", "unknown", "na", "n/a", "?", "-")
# The digits 0 to 9 alone: others look alike, and no two programs agree on them.
_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_ID_DECIMAL = re.compile(r"(?:0|[1-9]\d*)\.0", re.ASCII)  # as a number without leading zeros
_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?(?:\s*([AaPp])(?:\.?[Mm])?\.?)?")


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one value, and how to mend it."""

    code: str
    what: str
    mend: str


def convert(column: Column, cells: pd.Series, *, file: str, manner: Manner) -> Typed:
    """
    One column of text cells in its own type.

    A blank never becomes a value here: it is missing until a documented default fills it, so
    that an unanswered question is never counted as a yes.

    Parameters
    ----------
    column : Column
        What the column means.
    cells : Series of str
        Blank is "". The index holds spreadsheet row numbers.
    file : str
        Name of the file in messages.
    manner : Manner
        Decimal mark and date format of the file.

    Returns
    -------
    typed : Typed
        `str`, `float64`, `Int64`, `boolean` or `datetime64[s]` values with the index of `cells`.

    Examples
    --------
    >>> from spreadnet.evidence.columns import columns
    >>> cells = pd.Series(["yes", "", "not checked"], dtype="str")
    >>> convert(columns("contacts")["plug"], cells, file="c.csv", manner=Manner()).values.tolist()
    [True, <NA>, <NA>]
    """
    if column.kind in ("date", "date or year"):
        values, problems = read_dates(column, cells, file=file, date_format=manner.date_format)
        return Typed(values, tuple(problems))
    if column.kind == "text":
        return _words(column, cells, file=file)
    parse = _PARSERS[column.kind]
    return _each(column, cells, parse, file=file, manner=manner)


def _each(
    column: Column,
    cells: pd.Series,
    parse: Callable[[Column, str, Manner], Any],
    *,
    file: str,
    manner: Manner,
) -> Typed:
    """Every distinct text is parsed once; rows whose text has a fault become problems."""
    codes, distinct = pd.factorize(cells)
    parsed = [parse(column, text, manner) if text else None for text in distinct.tolist()]
    faulty = np.array([isinstance(p, Fault) for p in parsed], dtype=bool)
    values: Any = pd.array(
        [None if isinstance(p, Fault) else p for p in parsed], dtype=_dtype(column)
    )  # type: ignore[call-overload]
    series = pd.Series(values.take(codes), index=cells.index, name=column.name)
    if column.kind in ("number", "clock"):
        series = series.astype("float64")
    rows: list[int] = np.flatnonzero(faulty[codes]).tolist() if len(faulty) else []
    problems = tuple(
        Problem(
            parsed[codes[i]].code,
            file,
            parsed[codes[i]].what,
            why(column),
            parsed[codes[i]].mend,
            row=int(cells.index[i]),
            column=column.name,
        )
        for i in rows
    )
    return Typed(series, problems, _separator_notes(column, cells, manner))


def _dtype(column: Column) -> str:
    """Nullable type in which the parsed values are held."""
    if column.kind == "integer":
        return "Int64"
    return "boolean" if column.kind.startswith("yes/no") else "Float64"


def why(column: Column) -> str:
    """Why a column matters: what it is, in its first sentence, and what its table is for."""
    first = re.split(r"(?<=[.]) (?=[A-Z])", column.description)[0]
    return f"{first} {PURPOSE.get(column.table, '')}".strip()


def number(column: Column, text: str, manner: Manner) -> float | Fault:
    """
    One number, with thousands parted by a space, a comma (or a point where that is not decimal).

    Examples
    --------
    >>> from spreadnet.evidence.columns import columns
    >>> number(columns("lakes")["area_ha"], "1,234.5", Manner())
    1234.5
    >>> number(columns("lakes")["area_ha"], "12,5", Manner()).code
    'not-a-number'
    """
    value = _to_float(text, manner.decimal, grouped=not column.unit.startswith("degrees"))
    if value is None:
        mend = _number_mend(column, text, manner)
        return Fault("not-a-number", f"{shown(text)} is not a number", mend)
    if not np.isfinite(value):
        return Fault("out-of-range", f"{shown(text)} is too large a number", _range_mend(column))
    return _in_range(column, text, value)


def _to_float(text: str, decimal: str, *, grouped: bool) -> float | None:
    """The number a text stands for, or None; infinite when it is too large to be held."""
    plain = text.replace("\u2212", "-")  # the typographic minus sign
    if grouped:
        plain = _ungroup(plain, decimal)
    if decimal == ",":
        plain = plain.replace(",", ".") if "." not in plain else "not a number"
    return float(plain) if _PLAIN.fullmatch(plain) else None


def _ungroup(text: str, decimal: str) -> str:
    """The text without the marks between thousands, when they stand where they should."""
    if text.isascii() and text.isdecimal():
        return text
    mark = "." if decimal == "," else ","
    part = rf"[{mark}' \u00a0\u202f]"
    whole = rf"[+-]?\d{{1,3}}(?:({part})\d{{3}})(?:\1\d{{3}})*"
    if not re.fullmatch(rf"{whole}(?:{re.escape(decimal)}\d+)?", text, re.ASCII):
        return text
    return re.sub(part, "", text)


def _number_mend(column: Column, text: str, manner: Manner) -> str:
    """How to mend a text that is no number."""
    if manner.decimal == "." and re.fullmatch(r"[+-]?\d+,\d+", text, re.ASCII):
        good = text.replace(",", ".")
        return f'Write it with a point, e.g. {good}; or set decimal = "," in region.toml.'
    if manner.decimal == "," and re.fullmatch(r"[+-]?\d+\.\d+", text, re.ASCII):
        return 'Write it with a comma; or take decimal = "," out of region.toml.'
    if any(c.isdecimal() and not c.isascii() for c in text):
        return "Write it with the digits 0 to 9."
    if re.search(r"\d\s*[A-Za-z%²]", text):
        return "Write the number alone, without its unit."
    unit = f" of {column.unit}" if column.unit and column.unit != "no unit" else ""
    return f"Write a number{unit}{_or_empty(column)}."


def _or_empty(column: Column) -> str:
    """That a cell may be left empty, where it may."""
    return "" if column.required else ", or leave the cell empty if it is not known"


def _in_range(column: Column, text: str, value: float) -> float | Fault:
    """The value, or the fault that it lies outside the allowed range."""
    low, high = column.low, column.high
    mend = _range_mend(column)
    if column.unit == "degrees east" and FULL_TURN / 2 < value <= FULL_TURN:
        mend = f"East of 180 is west: take 360 from it, {value - FULL_TURN:.10g}. {mend}"
    if low is not None and value < low:
        return Fault("out-of-range", f"{shown(text)} is less than {plain_number(low)}", mend)
    if high is not None and value > high:
        return Fault("out-of-range", f"{shown(text)} is more than {plain_number(high)}", mend)
    return value


def _range_mend(column: Column) -> str:
    """How to mend a number outside its range."""
    unit = f" {column.unit}" if column.unit and column.unit != "no unit" else ""
    allowed = f"Allowed: {column.range_words}{unit}. " if column.range_words else ""
    return f"{allowed}Correct it{_or_empty(column)}."


def _integer(column: Column, text: str, manner: Manner) -> int | Fault:
    """One whole number."""
    value = number(column, text, manner)
    if isinstance(value, Fault):
        return value
    if value != int(value):
        return Fault("not-whole", f"{shown(text)} is not a whole number", "Write a whole number.")
    return int(value)


def _yes_no(column: Column, text: str, manner: Manner) -> bool | Fault | None:  # noqa: ARG001
    """One yes or no; `not checked` counts as blank where the column allows it."""
    word = re.sub(r"[\s_]+", " ", text.strip().lower()).removesuffix(".0")
    if word in YES:
        return True
    if word in NO:
        return False
    if column.kind == "yes/no/not checked" and word in NOT_CHECKED:
        return None
    words = "yes or no" if column.kind == "yes/no" else "yes, no or not checked"
    what = f"{shown(text)} is not one of the answers"
    return Fault("unknown-word", what, f"Write {words}, or leave the cell empty.")


def clock_hours(column: Column, text: str, manner: Manner) -> float | Fault:  # noqa: ARG001
    """
    Hours after midnight of one clock time.

    Examples
    --------
    >>> from spreadnet.evidence.columns import columns
    >>> clock_hours(columns("visits")["start"], "7:30 PM", Manner())
    19.5
    """
    found = _CLOCK.fullmatch(text.strip())
    if found:
        hours, minutes, seconds = int(found[1]), int(found[2]), int(found[3] or 0)
        if found[4]:
            half = hours % 12 if 1 <= hours <= 12 else 99
            hours = half + (12 if found[4].lower() == "p" else 0)
        value = hours + minutes / 60 + seconds / 3600
        if minutes < 60 and seconds < 60 and value <= 24:
            return value
    mend = "Write it as HH:MM, e.g. 08:30."
    if re.fullmatch(r"0?\.\d+", text.strip(), re.ASCII):
        part = round(float(text) * 24 * 60)
        mend = f"It looks like a spreadsheet's share of a day: {part // 60:02d}:{part % 60:02d}?"
        mend += " Format the column as a time and save again."
    return Fault("not-a-time", f"{shown(text)} is not a clock time", mend)


def _words(column: Column, cells: pd.Series, *, file: str) -> Typed:
    """Text, in the spelling of the allowed words where there are such."""
    values = cells.mask(cells == "")
    notes: tuple[Note, ...] = ()
    if column.key or column.name in WATERS:
        trailing = marked(values, _ID_DECIMAL.fullmatch)
        if trailing.any():
            values = values.mask(trailing, values.str.removesuffix(".0"))
            text = f"{file}: '.0' taken off {int(trailing.sum())} ids in {column.name}"
            notes = (Note("id-decimal", text),)
    if not column.allowed:
        return Typed(values.rename(column.name), (), notes)
    plain = {_plain_word(word): word for word in column.allowed}
    codes, given = pd.factorize(values)
    words = [*(plain.get(_plain_word(text)) for text in given), None]
    matched = pd.Series(pd.array(words, dtype="str").take(codes), index=values.index)
    bad = values.index[values.notna().to_numpy() & matched.isna().to_numpy()]
    problems = tuple(_unknown_word(column, str(cells.loc[r]), int(r), file=file) for r in bad)
    return Typed(matched.rename(column.name), problems, notes)


def _plain_word(text: str) -> str:
    """A word as it is compared: lower case, one space between parts."""
    return re.sub(r"[\s_\-]+", " ", str(text)).strip().lower()


def _unknown_word(column: Column, text: str, row: int, *, file: str) -> Problem:
    """The problem that a word is not on the fixed list."""
    near = nearest(text.lower(), column.allowed)
    hint = f"Did you mean '{near}'? " if near else ""
    return Problem(
        "unknown-word",
        file,
        f"{shown(text)} is not on the list",
        why(column),
        f"{hint}Use one of: {', '.join(column.allowed)}.",
        row=row,
        column=column.name,
    )


def nearest(word: str, known: Sequence[str], *, cutoff: float = 0.6) -> str | None:
    """
    The known word nearest in spelling, or None when none is near.

    Examples
    --------
    >>> nearest("lanuching", ["launching", "retrieving"])
    'launching'
    """
    found = difflib.get_close_matches(word, list(known), n=1, cutoff=cutoff)
    return found[0] if found else None


def _separator_notes(column: Column, cells: pd.Series, manner: Manner) -> tuple[Note, ...]:
    """One note when marks between thousands were taken out."""
    if column.kind not in ("number", "integer") or column.unit.startswith("degrees"):
        return ()
    changed = int(marked(cells, lambda text: _ungroup(text, manner.decimal) != text).sum())
    if not changed:
        return ()
    text = f"{column.table}: marks between thousands taken out of {changed} cells of {column.name}"
    return (Note("thousands", text),)


def default_value(column: Column) -> Any:
    """
    The default of `tables.csv` as a value, or None when it is worked out from other cells.

    Examples
    --------
    >>> from spreadnet.evidence.columns import columns
    >>> default_value(columns("landings")["ramp_lanes"]), default_value(columns("lakes")["name"])
    (1, None)
    """
    if column.kind in ("number", "integer") and _PLAIN.fullmatch(column.default):
        value = float(column.default)
        return int(value) if column.kind == "integer" else value
    if column.kind == "yes/no" and column.default in ("yes", "no"):
        return column.default == "yes"
    if column.kind == "text" and column.default in (*column.allowed, "none", "any"):
        return column.default
    return None


_PARSERS: dict[str, Callable[[Column, str, Manner], Any]] = {
    "number": number,
    "integer": _integer,
    "yes/no": _yes_no,
    "yes/no/not checked": _yes_no,
    "clock": clock_hours,
}
