"""Mutants of single cells: words in place of values, slips of the pen, cells moved."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from base_region import ANSWERS, CLOCKS, DATES, NUMBERS, Folder
from judge import REFUSE, Right
from oracle import KEYS, readings

Made = tuple[Folder, Right, str]

ANY_WORDS = (
    *("nan", "NaN", "None", "none", "null", "NULL", "NA", "N/A", "#N/A", "#REF!", "-", "?", "x"),
    *("inf", "-inf", "Infinity", "1e400", "TRUE", "0", "-1", "1", "today", "now", "=1+1", "+1"),
    *("-1+1", "@SUM(1)", "'12", "\t", "\u00a0", "\u200b", "\u202e12", "\x00", "\x07", "\ufffe"),
    *("\ud800", "<b>1</b>", "${x}", "{{7*7}}", "%s", "\\", '"', "''", "a;b", "a,b", "a|b", "a\nb"),
    *("x" * 300, "9" * 400, "\u0660", "１２", "½", "Ⅻ", "²", "٣", "é" * 120, "🚤", "CON", "../x"),
)
NUMBER_WORDS = (
    *("12,5", "12.5 ha", "12ha", "~12", "<12", ">1", "12?", "1-2", "12 000", "1.234,5", "1,23"),
    *("1,234", "1,234.5", "1 234", "1'234", "--5", "+5", "\u22125", "5%", "1_000", "0x10", "1e3"),
    *(
        "1E1",
        "1e-3",
        ".5",
        "5.",
        "0.50",
        "007",
        "1 2",
        "12 .5",
        "1.2.3",
        "twelve",
        "O",
        "l2",
        "12O",
    ),
    *("1,000,000", "1,00,000", "12,345,6", "1e309", "5e-324", "-0", "0.1e1", "1d3", "12\u00a0000"),
    *("²5", "５", "1．5", "12º", "12'30\"", "41.02S", "128°03'W", "1/2", "1:2", "12;5", "NaN12"),
)
DATE_WORDS = (
    *("today", "now", "Today", "NOW", "tomorrow", "yesterday", "T", "NaT", "nat", "epoch", "noon"),
    *("2026", "2026-07", "20260704", "2026-7-4", "2026-07-04T08:00", "2026-07-04 00:00:00"),
    *("2026-07-04 08:30", "04/07/2026", "07/04/2026", "25/07/2026", "4 July 2026", "July 4, 2026"),
    *("2026-W27", "2026-W27-6", "2026-185", "2026/07/04", "2026.07.04", "2026-02-30", "2026-13-01"),
    *("0000-00-00", "9999-12-31", "1799-12-31", "+2026-07-04", "-2026-07-04", "2026-07-04Z"),
    *(
        "2026-07-04+14:00",
        "46207",
        "46207.0",
        "1783123200",
        "1e9",
        "２０２６-07-04",
        "2026-07-04 ?",
    ),
    *("2026\u201007\u201004", "26-07-04", "2026-07-4 ", "Monday", "Q3 2026", "next week", "now()"),
    *("2026-07-04, 2026-07-05", "2026-07-04/05", "٢٠٢٦-٠٧-٠٤", "2026-07-04T00:00:00.000"),
)
CLOCK_WORDS = (
    *("now", "noon", "midnight", "8", "8.00", "0.3333", "25:00", "24:00", "8:60", "08:00:61"),
    *("8:00 AM", "8:00 pm", "8:00 a.m.", "13:00 PM", "00:00 AM", "12:00 AM", "8:00 XM", "8:00 m"),
    *("8.30", "0830", "８:００", "8:00-12:00", "8h", "8 o'clock", "-8:00", "8:00:00", "08:00Z"),
    *("8:00 .", "7:30.M", "today 8:00", "24:01", "8:0", "008:00", "8:00+02:00", "1:00p", "8:00 P"),
)
ANSWER_WORDS = (
    *("YES", "Yes.", "y", "N", "no.", "NO", "ja", "nein", "oui", "maybe", "2", "-1", "1.0", "0.0"),
    *("o", "x", "✓", "yes?", "yes/no", "y e s", "yesno", "not checked", "Not_Checked", "unchecked"),
    *(
        "NOT CHECKED",
        "nicht",
        "on",
        "off",
        "T",
        "f",
        "true",
        "FALSE",
        "１",
        "unknown",
        "n/a",
        "not",
    ),
)
ID_WORDS = (
    *("1", "01", "001", "0001", "1.0", "001.0", "2", "002.0", "1E3", "1e3", "1000", "1.00E+03"),
    *(
        "L4",
        "l04",
        "L04 ",
        "L-04",
        "L04\u200b",
        "Ｌ04",
        "LO4",
        "outside",
        "OUTSIDE",
        "none",
        "None",
    ),
    *(
        "nan",
        "E1;E2",
        "E1,E2",
        "=E1",
        "@E1",
        "-E1",
        "+E1",
        "＝E1",
        "E1\tE2",
        "00１",
        "E\u0001",
        "any",
    ),
    *("A04", "0A", "0a", "A0 4", "invented county", "Outside ", "not a lake", "1.0E3", "01.0"),
)


def spot(rng: random.Random, folder: Folder, headings: Sequence[str] = ()) -> tuple[str, int, str]:
    """A cell: table, row, heading."""
    tables = [
        (t, h)
        for t, sheet in folder.sheets.items()
        for h in sheet.headings
        if not headings or h in headings
    ]
    table, heading = rng.choice(tables)
    return table, rng.randrange(len(folder.sheets[table].rows)), heading


def right_of(folder: Folder, table: str, row: int, heading: str, text: str) -> Right:
    """What is right when one cell holds a text."""
    allowed = readings(folder, table, row, heading, text)
    if not allowed:
        return REFUSE
    cells: dict[tuple[str, Any, str], tuple[Any, ...]] = {(table, row, heading): allowed}
    if (table, heading) == ("contacts", "direction"):
        for other in ("last_water", "next_water", "days_out"):
            cells[table, row, other] = (...,)
    if heading == KEYS.get(table):
        cells[table, row, "name"] = (...,)
    return Right("either", cells)


def put(folder: Folder, table: str, row: int, heading: str, text: str) -> Made:
    """A folder with a text in a cell, and what is right of it."""
    right = right_of(folder, table, row, heading, text)
    changed = folder.with_cell(table, row, heading, text)
    return changed, right, f"{table}.{heading}[{row}] = {text[:60]!r}"


def word(rng: random.Random, folder: Folder, _: object) -> Made:
    """A word that means something to some program, in a cell of any column."""
    table, row, heading = spot(rng, folder)
    return put(folder, table, row, heading, rng.choice(_words(table, heading)))


def _words(table: str, heading: str) -> tuple[str, ...]:
    """Words to try in a column, those of its own kind first."""
    if heading in NUMBERS:
        return NUMBER_WORDS + ANY_WORDS
    if heading in DATES:
        return DATE_WORDS + ANY_WORDS
    if heading in CLOCKS:
        return CLOCK_WORDS + ANY_WORDS
    if heading in ANSWERS:
        return ANSWER_WORDS + ANY_WORDS
    return ID_WORDS + ANY_WORDS


def word_as_date(rng: random.Random, folder: Folder, _: object) -> Made:
    """A word in the place of a date."""
    return put(folder, *spot(rng, folder, tuple(DATES)), rng.choice(DATE_WORDS))


def word_as_number(rng: random.Random, folder: Folder, _: object) -> Made:
    """A word in the place of a number."""
    return put(folder, *spot(rng, folder, tuple(NUMBERS)), rng.choice(NUMBER_WORDS))


def word_as_time(rng: random.Random, folder: Folder, _: object) -> Made:
    """A word in the place of a clock time."""
    return put(folder, *spot(rng, folder, tuple(CLOCKS)), rng.choice(CLOCK_WORDS))


def word_as_answer(rng: random.Random, folder: Folder, _: object) -> Made:
    """A word in the place of yes or no."""
    return put(folder, *spot(rng, folder, tuple(ANSWERS)), rng.choice(ANSWER_WORDS))


def word_as_water(rng: random.Random, folder: Folder, _: object) -> Made:
    """A word in the place of a water, in either direction."""
    place = spot(rng, folder, ("last_water", "next_water"))
    return put(folder, *place, rng.choice(ID_WORDS + ANY_WORDS))


def word_as_id(rng: random.Random, folder: Folder, _: object) -> Made:
    """An id as a careless program leaves it."""
    heads = [h for s in folder.sheets.values() for h in s.headings if h.endswith(("_id", "code"))]
    return put(folder, *spot(rng, folder, heads), rng.choice(ID_WORDS))


def slip(rng: random.Random, folder: Folder, _: object) -> Made:
    """A cell with one to three slips of the pen."""
    table, row, heading = spot(rng, folder)
    text = folder.sheets[table].cell(row, heading)
    for _times in range(rng.randint(1, 3)):
        at = rng.randint(0, len(text))
        odd = rng.choice("0123456789.,-+ eE:/'\"\u00a0\u200b０x;|\t%")
        text = rng.choice(
            (
                text[:at] + odd + text[at:],
                text[:at] + text[at + 1 :],
                text[:at] + odd + text[at + 1 :],
                text[at:] + text[:at],
                text + text,
                text.upper(),
                text.swapcase(),
            )
        )
    return put(folder, table, row, heading, text)


def moved(rng: random.Random, folder: Folder, _: object) -> Made:
    """Two cells of a row changed about."""
    table, row, first = spot(rng, folder)
    second = rng.choice(folder.sheets[table].headings)
    one, other = (folder.sheets[table].cell(row, h) for h in (first, second))
    cells: dict[tuple[str, Any, str], tuple[Any, ...]] = {}
    for heading, text in ((first, other), (second, one)):
        right = right_of(folder, table, row, heading, text)
        if right is REFUSE:
            cells = {}
            break
        cells |= right.cells
    made = folder.with_cell(table, row, first, other).with_cell(table, row, second, one)
    if "direction" in (first, second) or "status" in (first, second):
        cells = cells and {**cells, (table, row, "*"): (...,)}
    right = Right("either", cells) if cells else REFUSE
    return made, right, f"{table}[{row}]: {first} and {second} changed about"


def swapped_place(rng: random.Random, folder: Folder, _: object) -> Made:
    """Longitude and latitude of one row, or of a whole table, changed about."""
    table = rng.choice(("lakes", "landings"))
    sheet = folder.sheets[table]
    rows = range(len(sheet.rows)) if rng.random() < 0.3 else [rng.randrange(len(sheet.rows))]
    made = folder
    for row in rows:
        lon, lat = sheet.cell(row, "longitude"), sheet.cell(row, "latitude")
        made = made.with_cell(table, row, "longitude", lat).with_cell(table, row, "latitude", lon)
    return made, REFUSE, f"{table}: places of {len(rows)} rows changed about"


def turned_sign(rng: random.Random, folder: Folder, _: object) -> Made:
    """A longitude or latitude with the other sign, or counted from 0 to 360."""
    table, row, heading = spot(rng, folder, ("longitude", "latitude"))
    text = folder.sheets[table].cell(row, heading)
    other = text[1:] if text.startswith("-") else f"-{text}"
    return (
        folder.with_cell(table, row, heading, other),
        REFUSE,
        f"{table}.{heading}[{row}]: {other}",
    )


def zeros_lost(rng: random.Random, folder: Folder, _: object) -> Made:
    """Every id of one column as a spreadsheet leaves it that takes ids for numbers."""
    pairs = (
        *(("lakes", "lake_id"), ("landings", "lake_id"), ("status", "lake_id")),
        *(("visits", "visit_id"), ("contacts", "visit_id"), ("streams", "upstream_lake_id")),
        *(("movements", "from_lake_id"), ("landings", "landing_id"), ("visits", "landing_id")),
        *(("contacts", "last_water"), ("promised", "landing_id"), ("hours", "home_landing_id")),
    )
    table, heading = rng.choice(pairs)
    sheet = folder.sheets[table]
    at = sheet.headings.index(heading)
    ending = rng.choice(("", ".0", ".00", "E0"))
    rows = []
    for row in sheet.rows:
        bare = f"{int(row[at])}{ending}" if row[at].isdigit() else row[at]
        bare = "1000" if bare == "1E3" else bare
        rows.append((*row[:at], bare, *row[at + 1 :]))
    changed = folder.with_sheet(table, replace(sheet, rows=tuple(rows)))
    return changed, REFUSE, f"{table}.{heading}: ids as numbers, ending {ending!r}"


def doubled_row(rng: random.Random, folder: Folder, _: object) -> Made:
    """A row twice, where a row may stand but once."""
    keyed = ("lakes", "landings", "status", "streams", "visits", "movements", "promised")
    table = rng.choice(keyed)
    sheet = folder.sheets[table]
    row = rng.choice([r for r in sheet.rows if table != "promised" or r[-1]])
    changed = replace(sheet, rows=(*sheet.rows, row))
    return folder.with_sheet(table, changed), REFUSE, f"{table}: row {row[:2]} twice"


def lost_row(rng: random.Random, folder: Folder, _: object) -> Made:
    """A row gone that other tables name."""
    table = rng.choice(("lakes", "landings", "visits"))
    sheet = folder.sheets[table]
    row = rng.randrange(len(sheet.rows) - (table == "landings"))
    changed = replace(sheet, rows=sheet.rows[:row] + sheet.rows[row + 1 :])
    return folder.with_sheet(table, changed), REFUSE, f"{table}: row {row} gone"


def mixed_dates(rng: random.Random, folder: Folder, _: object) -> Made:
    """Dates in two orders, or in one that can't be told, with or without the setting."""
    stated = rng.choice((None, "DD/MM/YYYY", "MM/DD/YYYY"))
    table, row, heading = spot(rng, folder, ("date", "last_survey"))
    orders = {None: "05/03/2026", "DD/MM/YYYY": "07/26/2026", "MM/DD/YYYY": "26/07/2026"}
    made = folder.with_cell(table, row, heading, orders[stated])
    if stated:
        made = made.with_setting("date_format", f'"{stated}"')
        made = made.with_form(rng.choice(("visits", "hours", "promised")), dates=stated)
    return made, REFUSE, f"{table}.{heading}[{row}] = {orders[stated]} with {stated}"


MUTATORS = {
    "cells": (word, slip, moved, swapped_place, turned_sign, zeros_lost, doubled_row, lost_row),
    "words": (
        *(word_as_date, word_as_date, word_as_number, word_as_time, word_as_answer),
        *(word_as_water, word_as_id, mixed_dates),
    ),
}
