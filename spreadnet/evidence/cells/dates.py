"""Dates: ISO always, one stated format besides, and everything else explained, never guessed."""

from __future__ import annotations

import re
from datetime import date, timedelta

import numpy as np
import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.columns import Column
from spreadnet.evidence.personal.privacy import shown

FIRST_YEAR, LAST_YEAR = 1800, 2100
# Day numbers of Excel from 1954 to 2119: what a date column holds when its format is lost.
_SERIAL = re.compile(r"[2-7]\d{4}(\.\d+)?")
_ISO = re.compile(r"\d{4}-\d{1,2}-\d{1,2}([ T]00:00(:00(\.0+)?)?)?")
_PARTED = re.compile(r"(\d{1,2})([/.\- ])(\d{1,2})\2(\d{4}|\d{2})")
_NAMED = re.compile(
    r"(\d{1,2}[ \-./]+[A-Za-z]{3,9}\.?[ \-./,]+\d{2,4}|[A-Za-z]{3,9}\.? \d{1,2},? \d{4})"
)
_TOKENS = (("YYYY", "%Y"), ("MMMM", "%B"), ("MMM", "%b"), ("MM", "%m"), ("DD", "%d"))


def strptime_format(date_format: str) -> str | None:
    """
    The format of `region.toml` in the codes of `strptime`, or None when it is not one.

    A format names the year (YYYY), the month (MM, MMM or MMMM) and the day (DD) once each.

    Examples
    --------
    >>> strptime_format("DD/MM/YYYY"), strptime_format("D/M/YY")
    ('%d/%m/%Y', None)
    """
    text = date_format.replace("%", "%%")
    for token, code in _TOKENS:
        text = text.replace(token, code, 1)
    found = sorted(re.findall(r"%[YBbmd]", text))
    months = {"%B", "%b", "%m"}
    whole = len(found) == 3 and {"%Y", "%d"} <= set(found) and bool(months & set(found))
    return text if whole and not re.search(r"[A-Za-z]", re.sub(r"%[YBbmd]", "", text)) else None


def read_dates(
    column: Column, cells: pd.Series, *, file: str, date_format: str
) -> tuple[pd.Series, list[Problem]]:
    """
    A column of dates; one problem for each way of writing that is not the stated one.

    Parameters
    ----------
    column : Column
        Of kind `date`, or `date or year`, where a year alone stands for its first day.
    cells : Series of str
        Blank is "". The index holds spreadsheet row numbers.
    file : str
        Name of the file in messages.
    date_format : str
        As in `region.toml`, e.g. `DD/MM/YYYY`. ISO dates are read whatever it says.

    Returns
    -------
    values, problems : Series of datetime64[s], list of Problem
        Missing where blank or faulty.

    Examples
    --------
    >>> from spreadnet.evidence.columns import columns
    >>> cells = pd.Series(["2026-07-04", "05/03/2026"], index=[2, 3], dtype="str")
    >>> values, problems = read_dates(
    ...     columns("visits")["date"], cells, file="visits.csv", date_format="YYYY-MM-DD"
    ... )
    >>> [problem.code for problem in problems]
    ['date-style']
    """
    codes, distinct = pd.factorize(cells)
    parsed = [_parse(text, date_format, column) for text in distinct.tolist()]
    stamps = np.array([np.datetime64(d, "s") if d else np.datetime64("NaT", "s") for d in parsed])
    stamps = stamps.astype("datetime64[s]") if len(stamps) else np.empty(0, "datetime64[s]")
    values = pd.Series(stamps[codes], index=cells.index, name=column.name)
    bad = cells[(values.isna() & (cells != "")).to_numpy()]
    return values, _styles(column, bad, file=file, date_format=date_format)


def _parse(text: str, date_format: str, column: Column) -> date | None:
    """One date, or None."""
    stated = strptime_format(date_format)
    if _ISO.fullmatch(text):
        return _sane(text[:10].split(" ")[0].split("T")[0], "%Y-%m-%d")
    if column.kind == "date or year" and re.fullmatch(r"\d{4}", text):
        return _sane(text, "%Y")
    return _sane(text, stated) if stated else None


def _sane(text: str, code: str) -> date | None:
    """The date in one format, if it is a day between 1800 and 2100."""
    found = pd.to_datetime(text, format=code, errors="coerce")
    if pd.isna(found) or not FIRST_YEAR <= found.year <= LAST_YEAR:
        return None
    return found.date()


def _styles(column: Column, bad: pd.Series, *, file: str, date_format: str) -> list[Problem]:
    """One problem for each manner of writing, at its first row, with how many rows share it."""
    manner = bad.map(_manner)
    problems = []
    for style, rows in bad.groupby(manner, sort=False):
        code, mend = _explain(str(style), rows, date_format, column)
        more = f" (and {len(rows) - 1} more such cells)" if len(rows) > 1 else ""
        problems.append(
            Problem(
                code,
                file,
                f"{shown(rows.iloc[0])} is not a date written {date_format}{more}",
                "A date read wrongly moves boats to another day or season.",
                mend,
                row=int(rows.index[0]),
                column=column.name,
            )
        )
    return problems


def _manner(text: str) -> str:
    """The manner in which a text that is no date in the stated format seems to be written."""
    if _SERIAL.fullmatch(text):
        return "serial"
    if _ISO.fullmatch(text):
        return "no such day"
    if _PARTED.fullmatch(text):
        return "parted" + _PARTED.sub(r"\2", text)
    if _NAMED.fullmatch(text):
        return "named"
    return "year" if re.fullmatch(r"\d{4}", text) else "other"


def _explain(style: str, rows: pd.Series, date_format: str, column: Column) -> tuple[str, str]:
    """Code and mend of one manner of writing."""
    if style == "serial":
        day = date(1899, 12, 30) + timedelta(days=int(float(rows.iloc[0])))
        return "date-serial", (
            f"It looks like the number by which a spreadsheet stores {day.isoformat()}."
            " Format the column as a date YYYY-MM-DD and save again."
        )
    if style.startswith("parted"):
        return "date-style", _order_words(rows, style[6:], date_format)
    if style == "named":
        return "date-style", (
            "One format for all tables: write YYYY-MM-DD, or set date_format in region.toml,"
            ' e.g. "DD MMM YYYY".'
        )
    years = f"between {FIRST_YEAR} and {LAST_YEAR}"
    if column.kind == "date or year":
        return "not-a-date", f"Write the day as YYYY-MM-DD, or the year alone, {years}."
    if style == "year":
        return "date-style", "A whole day is needed here: write YYYY-MM-DD."
    mend = f"Write the day as YYYY-MM-DD, {years}; one cell, one day."
    return "not-a-date", mend


def _order_words(rows: pd.Series, mark: str, date_format: str) -> str:
    """Which of day and month comes first, as far as the cells tell."""
    parts = rows.str.extract(_PARTED)
    first, second = parts[0].astype(int), parts[2].astype(int)
    if (parts[3].str.len() == 2).any():
        return "Write the year with four digits: YYYY-MM-DD."
    day, month = f"DD{mark}MM{mark}YYYY", f"MM{mark}DD{mark}YYYY"
    if (first > 12).any() and (second > 12).any():
        return "Some cells have the day first and some the month: write them all YYYY-MM-DD."
    if (first > 12).any() or (second > 12).any():
        likely = day if (first > 12).any() else month
        if likely == date_format:
            return "There is no such day: correct it."
        return f'If all are {likely}, set date_format = "{likely}" in region.toml.'
    return (
        "Day and month can't be told apart. Write YYYY-MM-DD, or set date_format in region.toml"
        f' to "{day}" or "{month}".'
    )
