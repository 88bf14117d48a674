"""One value of `region.toml` in its own type, by the kind that `tables.csv` gives its key."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime, time
from itertools import pairwise
from typing import Any
from zoneinfo import available_timezones

from spreadnet.evidence.cells import LONGEST_NAME, bad_letter, day_pattern, iso_day, nearest
from spreadnet.evidence.columns import Column, plain_number
from spreadnet.evidence.personal import brief, shown
from spreadnet.evidence.region import Block

LEAST_WEIGHT, MOST_WEIGHT = 1e-6, 1e6  # of a species; 0 leaves it out
LARGEST = 1e300  # what stands in a key is less
_BLOCK = re.compile(r"\s*([0-9]{1,2}):([0-9]{2})\s*[-\u2013]\s*([0-9]{1,2}):([0-9]{2})\s*")


class BadValue(Exception):
    """A value that can't be used: what is wrong and how to mend it."""

    def __init__(self, code: str, what: str, mend: str) -> None:
        super().__init__(what)
        self.code, self.what, self.mend = code, what, mend


def said(raw: Any) -> str:
    """A value of any kind as it is shown in a message."""
    try:
        return shown(str(raw))
    except (ValueError, RecursionError):  # Python writes no whole number of 5000 digits
        return "a number of thousands of digits"


def _text(column: Column, raw: Any) -> str:
    """A text value, on the fixed list where there is one."""
    mend = f"Write it in quotes, e.g. {column.name} = {column.example}"
    if not isinstance(raw, str) or not raw.strip():
        raise BadValue("not-text", f"{said(raw)} is not a text", mend)
    if len(raw) > LONGEST_NAME:
        mend = f"Write {LONGEST_NAME} letters or fewer."
        raise BadValue("too-long", f"a text of {len(raw)} letters", mend)
    letter = bad_letter(raw, name=True)
    if letter:
        what = f"the text '{brief(raw)}' holds the letter {letter}"
        raise BadValue("control-letter", what, "Take it out: it can't be seen or printed.")
    if column.name == "decimal":
        allowed: tuple[str, ...] = (".", ",")  # `;` parts the words of tables.csv
    else:
        allowed = column.allowed
    if allowed and raw not in allowed:
        near = nearest(raw.lower(), allowed)
        hint = f"Did you mean '{near}'? " if near else ""
        listed = ", ".join(f'"{word}"' for word in allowed)
        raise BadValue(
            "unknown-word", f"{shown(raw)} is not on the list", f"{hint}One of {listed}."
        )
    if column.name == "date_format" and day_pattern(raw) is None:
        mend = 'Use YYYY, MM (or MMM) and DD once each, e.g. "DD/MM/YYYY".'
        raise BadValue("date-format", f"{shown(raw)} is not a date format", mend)
    if column.name == "time_zone" and raw.strip() not in available_timezones():
        near = nearest(raw.strip(), sorted(available_timezones()))
        mend = f"{f'Did you mean {near!r}? ' if near else ''}Write it as Area/Place, from the list"
        what = f"{shown(raw)} is no time zone"
        raise BadValue("time-zone", what, f"{mend} of time zones of your system.")
    if column.name == "country":
        country = country_of(raw)
        if country is None:
            mend = "Write its two letters in ISO 3166, such as those at the end of web addresses."
            raise BadValue("country", f"{shown(raw)} is no country", mend)
        return country
    return raw.strip() if column.name != "decimal" else raw


def country_of(raw: Any) -> str | None:
    """
    The country that two letters stand for, or None.

    Examples
    --------
    >>> country_of("nz"), country_of("ZZ"), country_of(64)
    ('NZ', None, None)
    """
    if not isinstance(raw, str):
        return None
    from phonenumbers import SUPPORTED_REGIONS  # takes 0.05 s, and is seldom needed

    word = raw.strip().upper()
    return word if word in SUPPORTED_REGIONS else None


def number_of(column: Column, raw: Any) -> float:
    """A number in its range."""
    mend = f"Write a number, e.g. {column.name} = {column.example}"
    if isinstance(raw, bool) or not isinstance(raw, int | float) or raw != raw:
        raise BadValue("not-a-number", f"{said(raw)} is not a number", mend)
    if abs(raw) > LARGEST:
        what = f"{said(raw)} is outside {column.range_words or 'what a number can be'}"
        raise BadValue("out-of-range", what, mend)
    low, high = column.low, column.high
    if (low is not None and raw < low) or (high is not None and raw > high):
        raise BadValue("out-of-range", f"{raw} is outside {column.range_words}", mend)
    return float(raw)


def _integer(column: Column, raw: Any) -> int:
    """A whole number in its range."""
    value = number_of(column, raw)
    if value != int(value):
        mend = f"Write a whole number, e.g. {column.name} = {column.example}"
        raise BadValue("not-whole", f"{raw} is not a whole number", mend)
    return int(value)


def _flag(column: Column, raw: Any) -> bool:
    """True or false, or yes or no in quotes."""
    words = {"yes": True, "no": False}
    if isinstance(raw, bool):
        return raw
    if isinstance(raw, str) and raw.strip().lower() in words:
        return words[raw.strip().lower()]
    mend = f"Write {column.name} = true or {column.name} = false"
    raise BadValue("not-yes-or-no", f"{said(raw)} is neither true nor false", mend)


def _day(column: Column, raw: Any) -> date:
    """A TOML date, or the same in quotes; a moment is refused, since its day hangs on a zone."""
    day = iso_day(raw) if isinstance(raw, str) else raw
    if isinstance(day, datetime) and day == datetime.combine(day.date(), time(0)):
        return day.date()  # the midnight that some programs add, as in cells
    if isinstance(day, date) and not isinstance(day, datetime):
        return day
    mend = f"Write it as {column.name} = 2027-05-15"
    raise BadValue("not-a-date", f"{said(raw)} is not a day", mend)


def _days(column: Column, raw: Any) -> tuple[date, ...]:
    """A list of dates, in order."""
    if not isinstance(raw, list):
        mend = f"Write a list, e.g. {column.name} = {column.example}"
        raise BadValue("not-a-list", f"{said(raw)} is not a list of dates", mend)
    return tuple(sorted({_day(column, item) for item in raw}))


def _blocks(column: Column, raw: Any) -> tuple[Block, ...]:
    """Clock ranges in order of time, none over another."""
    mend = f"Write them as {column.name} = {column.example}"
    if not isinstance(raw, list) or not raw:
        raise BadValue("not-a-list", f"{said(raw)} is not a list of clock ranges", mend)
    blocks = sorted((_block(item, mend) for item in raw), key=lambda b: b.first)
    for early, late in pairwise(blocks):
        if late.first < early.last:
            what = f"the blocks {early.label} and {late.label} overlap"
            raise BadValue("blocks-overlap", what, "Let each begin when the one before ends.")
    return tuple(blocks)


def _block(raw: Any, mend: str) -> Block:
    """One clock range."""
    block = block_of(raw) if isinstance(raw, str) else None
    if block is None:
        raise BadValue("not-a-time", f"{said(raw)} is not a clock range", mend)
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


def weight_of(column: Column, raw: Any) -> float:
    """What one species counts: 0, or a number that sums with the others can hold."""
    weight = number_of(column, raw)
    if weight and not LEAST_WEIGHT <= weight <= MOST_WEIGHT:
        mend = "Weights only count beside each other: write 1 for the one that counts most."
        what = f"{weight:g} is neither 0 nor between {plain_number(LEAST_WEIGHT)} and"
        what += f" {plain_number(MOST_WEIGHT)}"
        raise BadValue("out-of-range", what, mend)
    return weight


CONVERT: dict[str, Callable[[Column, Any], Any]] = {
    "text": _text,
    "number": number_of,
    "integer": _integer,
    "yes/no": _flag,
    "date": _day,
    "dates": _days,
    "clock ranges": _blocks,
}
