"""One day as text: the stated format and no other, the same on every machine and every day."""

from __future__ import annotations

import re
from datetime import date
from functools import cache

FIRST_YEAR, LAST_YEAR = 1800, 2100
MONTHS = (
    *("january", "february", "march", "april", "may", "june", "july", "august", "september"),
    *("october", "november", "december"),
)
_TOKENS = {
    "YYYY": r"(?P<year>\d{4})",
    "MMMM": r"(?P<name>" + "|".join(MONTHS) + ")",
    "MMM": r"(?P<name>" + "|".join(name[:3] for name in MONTHS) + ")",
    "MM": r"(?P<month>\d{1,2})",
    "DD": r"(?P<day>\d{1,2})",
}
_PARTS = re.compile("|".join(_TOKENS))
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_ISO_CELL = re.compile(r"(\d{4}-\d{1,2}-\d{1,2})(?:[ T]00:00(?::00(?:\.0+)?)?)?", re.ASCII)


@cache
def day_pattern(date_format: str) -> re.Pattern[str] | None:
    """
    Pattern of the days written in a format of `region.toml`, or None when it is no format.

    A format names the year (YYYY), the month (MM, MMM or MMMM) and the day (DD) once each. Names
    of months are English, whatever the machine speaks. Only the digits 0 to 9 count; a month or
    day may lack its zero, but not where nothing parts it from its neighbour.

    Examples
    --------
    >>> day_pattern("DD/MM/YYYY").fullmatch("5/3/2026")["month"]
    '3'
    >>> day_pattern("D/M/YY") is None
    True
    """
    between = _PARTS.split(date_format)
    tokens = _PARTS.findall(date_format)
    months = [token for token in tokens if token.startswith("MM")]
    if sorted({*tokens} - {*months}) != ["DD", "YYYY"] or len(tokens) != 3 or len(months) != 1:
        return None
    if re.search(r"[^\W_]", "".join(between)):
        return None
    pattern = re.escape(between[0])
    for i, token in enumerate(tokens):
        alone = (i == 0 or between[i]) and (i == len(tokens) - 1 or between[i + 1])
        pattern += _TOKENS[token] if alone else _TOKENS[token].replace("{1,2}", "{2}")
        pattern += re.escape(between[i + 1])
    return re.compile(pattern, re.ASCII | re.IGNORECASE)


def iso_day(text: str) -> date | None:
    """
    The day that is written YYYY-MM-DD, or None.

    Examples
    --------
    >>> iso_day("2027-07-01")
    datetime.date(2027, 7, 1)
    >>> iso_day("20270701") is iso_day("2027-W26-4") is iso_day("today") is None
    True
    """
    return _day(*map(int, text.split("-"))) if _ISO_DAY.fullmatch(text) else None


def day_in_cell(text: str, date_format: str, *, year_alone: bool = False) -> date | None:
    """
    The day in a cell: ISO always, the stated format besides, a year where it may stand alone.

    Parameters
    ----------
    text : str
        The cell. ISO may end with the midnight that spreadsheets add.
    date_format : str
        As in `region.toml`.
    year_alone : bool
        Whether four digits stand for the first day of a year.

    Returns
    -------
    day : date or None
        None for all else, words such as `today` and days before 1800 or after 2100 among it.

    Examples
    --------
    >>> day_in_cell("2026-7-4 00:00:00", "DD MMM YYYY"), day_in_cell("4 Jul 2026", "DD MMM YYYY")
    (datetime.date(2026, 7, 4), datetime.date(2026, 7, 4))
    >>> day_in_cell("now", "DD MMM YYYY") is None
    True
    """
    iso = _ISO_CELL.fullmatch(text)
    if iso:
        return _sane(_day(*map(int, iso[1].split("-"))))
    if year_alone and re.fullmatch(r"\d{4}", text, re.ASCII):
        return _sane(_day(int(text), 1, 1))
    stated = day_pattern(date_format)
    found = stated.fullmatch(text) if stated else None
    if found is None:
        return None
    parts = found.groupdict()
    name = parts.get("name")
    short = [month[:3] for month in MONTHS]
    month = int(parts["month"]) if name is None else short.index(name[:3].lower()) + 1
    return _sane(_day(int(parts["year"]), month, int(parts["day"])))


def _sane(found: date | None) -> date | None:
    """The day, if it is one between 1800 and 2100."""
    return found if found is not None and FIRST_YEAR <= found.year <= LAST_YEAR else None


def _day(year: int, month: int, day: int) -> date | None:
    """The day of a year, month and day, or None when there is none."""
    try:
        return date(year, month, day)
    except ValueError:
        return None
