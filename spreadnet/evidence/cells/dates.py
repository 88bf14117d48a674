"""Dates: ISO always, one stated format besides, and everything else explained, never guessed."""

from __future__ import annotations

import re
from datetime import date, timedelta

import numpy as np
import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.cells.days import FIRST_YEAR, LAST_YEAR, day_in_cell
from spreadnet.evidence.columns import Column
from spreadnet.evidence.personal import shown

# Day numbers of Excel from 1954 to 2119: what a date column holds when its format is lost.
_SERIAL = re.compile(r"[2-7]\d{4}(\.\d+)?", re.ASCII)
_ISO = re.compile(r"\d{4}-\d{1,2}-\d{1,2}", re.ASCII)
_MOMENT = re.compile(r"\d{4}-\d{1,2}-\d{1,2}[ Tt]\d{1,2}:\d{2}.*", re.ASCII)
_PARTED = re.compile(r"(\d{1,2})([/.\- ])(\d{1,2})\2(\d{4}|\d{2})", re.ASCII)
_NAMED = re.compile(
    r"(\d{1,2}[ \-./]+[A-Za-z]{3,9}\.?[ \-./,]+\d{2,4}|[A-Za-z]{3,9}\.? \d{1,2},? \d{4})",
    re.ASCII,
)


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
    alone = column.kind == "date or year"
    parsed = [day_in_cell(text, date_format, year_alone=alone) for text in distinct.tolist()]
    stamps = np.array([np.datetime64(d, "s") if d else np.datetime64("NaT", "s") for d in parsed])
    stamps = stamps.astype("datetime64[s]") if len(stamps) else np.empty(0, "datetime64[s]")
    values = pd.Series(stamps[codes], index=cells.index, name=column.name)
    bad = cells[(values.isna() & (cells != "")).to_numpy()]
    return values, _styles(column, bad, file=file, date_format=date_format)


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
    if _MOMENT.fullmatch(text):
        return "moment"
    if _PARTED.fullmatch(text):
        return "parted" + _PARTED.sub(r"\2", text)
    if _NAMED.fullmatch(text):
        return "named"
    return "year" if re.fullmatch(r"\d{4}", text, re.ASCII) else "other"


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
    if style == "moment":
        return "not-a-date", "Write the day alone, without a time of day: YYYY-MM-DD."
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
