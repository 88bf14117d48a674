"""Bytes of a CSV or workbook as text cells, each with the row number its spreadsheet shows."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from typing import Any

import pandas as pd
from openpyxl.utils import get_column_letter

from spreadnet.errors import Problem
from spreadnet.evidence.columns import columns, plain_heading
from spreadnet.evidence.distinct import marked
from spreadnet.evidence.limits import MOST_CELLS, MOST_COLUMNS, MOST_ROWS
from spreadnet.evidence.personal import brief
from spreadnet.evidence.region import Note
from spreadnet.evidence.types import Reading, TextTable

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "upright line"}
UTF16_ZEROS = 0.8  # share of every second byte that is zero in UTF-16 of western letters
MOST_CONTROL = 0.1  # share of control characters beyond which a file is no text
_CONTROL = frozenset(map(chr, (*range(9), 11, 12, *range(14, 32))))
HEADING_SEARCH = 15  # rows looked at for a heading below a title
HEADING_LETTERS = 100_000  # in which these rows are
_OUTER = " \t\r\n\u00a0\u202f\ufeff\u200b\u200c\u200d\u2060"
_EXCEL_ERROR = re.compile(r"#(REF!|N/A|VALUE!|DIV/0!|NAME\?|NUM!|NULL!|SPILL!|CALC!)")
# UTF-8 read once as Windows-1252: A-tilde or a-circumflex before a symbol.
_GARBLED = re.compile("\u00c3[\u0080-\u00bf]|\u00e2\u20ac|\u00c3\u00a9")

Row = tuple[int, list[str]]


def read_csv(data: bytes, *, table: str, file: str) -> Reading:
    r"""
    Text cells of a CSV file.

    Spreadsheets write CSV in many encodings and with several delimiters; all that can be told
    apart for certain are read, and said in a note. Nothing is converted to a number here, so
    `007` stays `007`.

    Parameters
    ----------
    data : bytes
        The whole file.
    table : str
        Name of the table, by whose columns the heading and the delimiter are recognised.
    file : str
        Name to use in messages.

    Returns
    -------
    reading : Reading
        The table is None when nothing could be read.

    Examples
    --------
    >>> reading = read_csv(b"lake_id;name\n\n007;Duck\n", table="lakes", file="lakes.csv")
    >>> reading.table.cells["lake_id"].to_dict()
    {3: '007'}
    """
    text, encoding, problem = decode(data, file=file)
    if problem is not None:
        return Reading(None, (problem,))
    if not text.strip(_OUTER):
        return Reading(None, (empty_file(file),))
    try:
        text, delimiter = _delimiter(text, table)
        rows = _records(text, delimiter, strict=True)
    except TooLarge as error:
        return Reading(None, (error.problem(file),))
    except csv.Error as error:
        return Reading(None, (_quote_problem(file, text, error),))
    read = to_table(rows, table=table, file=file, encoding=encoding)
    notes = _csv_notes(read.table, encoding=encoding, delimiter=delimiter, file=file)
    return Reading(read.table, read.problems, (*notes, *read.notes))


def decode(data: bytes, *, file: str) -> tuple[str, str, Problem | None]:
    """
    Text of the bytes of a CSV or TOML file, the encoding's name, and a problem if there is one.

    UTF-8 first, since text of another encoding is almost never valid UTF-8; UTF-16 when its mark
    shows it, or zeros at nearly every second byte; else Windows-1252, which Excel writes.

    Examples
    --------
    >>> decode("Lac d\u2019Or".encode("cp1252"), file="lakes.csv")[1]
    'Windows-1252'
    """
    if data[:4] == b"PK\x03\x04" or data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        return "", "", _unreadable(file, "this is an Excel workbook, not text", "Name it .xlsx")
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        what = "the file is text in UTF-32, which is not read"
        return "", "", _unreadable(file, what, "Save it again as 'CSV UTF-8'")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _try(data, "utf-16", "UTF-16", file)
    start = data[:2000]
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if max(even, odd) > UTF16_ZEROS * (len(start) // 2) and min(even, odd) < max(even, odd) / 10:
        return _try(data, "utf-16-le" if odd > even else "utf-16-be", "UTF-16", file)
    try:
        text, name, problem = data.decode("utf-8-sig"), "UTF-8", None
    except UnicodeDecodeError:
        text, name, problem = _try(data, "cp1252", "Windows-1252", file)
    unseen = sum(c in _CONTROL for c in text[:2000])
    if unseen > MOST_CONTROL * len(text[:2000]) + 1:
        return "", "", _unreadable(file, "this is not text", "Save it again as 'CSV UTF-8'")
    return text, name, problem


def _try(data: bytes, codec: str, name: str, file: str) -> tuple[str, str, Problem | None]:
    """Text in one codec, or the problem that it is not in that either."""
    try:
        return data.decode(codec), name, None
    except UnicodeDecodeError:
        what = "the file is not text in UTF-8, UTF-16 or Windows-1252"
        return "", "", _unreadable(file, what, "Save it again as 'CSV UTF-8'")


def _unreadable(file: str, what: str, mend: str) -> Problem:
    """The problem that a file can't be read as what it should be."""
    return Problem("unreadable", file, what, "Nothing in it can be used.", f"{mend}.")


def empty_file(file: str) -> Problem:
    """The problem that a file holds nothing at all."""
    return Problem(
        "empty-file",
        file,
        "the file is empty",
        "A table needs at least its row of headings.",
        "Fill it in, or delete it if it is not needed. `spreadnet new FOLDER` writes the headings.",
    )


class TooLarge(Exception):
    """A table with more rows, columns or cells than are read."""

    def __init__(self, what: str, limit: str, mend: str) -> None:
        super().__init__(what)
        self.what, self.limit, self.mend = what, limit, mend

    def problem(self, file: str) -> Problem:
        """The problem of a file."""
        why = f"At most {self.limit} are read: more would take minutes, and memory that few have."
        return Problem("too-large", file, self.what, why, self.mend)


def _records(text: str, delimiter: str, *, strict: bool) -> list[Row]:
    """Every record with its number: a quoted cell may span lines, and is one spreadsheet row."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=strict)
    records, count = [], 0
    for number, cells in enumerate(reader, start=1):
        count += len(cells)
        if number > MOST_ROWS or count > MOST_CELLS or len(cells) > MOST_COLUMNS:
            limit = f"{MOST_ROWS} rows, {MOST_COLUMNS} columns and {MOST_CELLS} cells"
            mend = "Delete rows and columns that are empty or not of your region and seasons."
            raise TooLarge(f"the table has more cells than are read, in row {number}", limit, mend)
        records.append((number, [c.strip(_OUTER) for c in cells]))
    return records


def _delimiter(text: str, table: str) -> tuple[str, str]:
    """The delimiter under which the first rows show most of the table's headings."""
    stated = re.match(r"sep=(.)\r?\n", text)  # Excel's own line; it shows no row for it
    if stated and stated[1] in DELIMITERS:
        return text[stated.end() :], stated[1]
    known = columns(table)
    start = "\n".join(text[:HEADING_LETTERS].splitlines()[:HEADING_SEARCH])

    def score(delimiter: str) -> tuple[int, int]:
        rows = [cells for _, cells in _records(start, delimiter, strict=False)]
        hits = max((_hits(cells, known) for cells in rows), default=0)
        return hits, len(rows[0]) if rows and hits == 0 else 0

    return text, max(DELIMITERS, key=score)  # the first of equals: comma


def _hits(cells: Sequence[str], known: dict[str, Any]) -> int:
    """How many cells of a row are headings of the table."""
    return sum(plain_heading(cell) in known for cell in cells)


def _quote_problem(file: str, text: str, error: csv.Error) -> Problem:
    """The problem that quotation marks do not pair, or that a cell is too long to be one."""
    open_row = next(
        (n for n, line in enumerate(io.StringIO(text), start=1) if line.count('"') % 2), None
    )
    if open_row is None:
        return Problem(
            "too-long",
            file,
            f"a cell can't be read ({error})",
            "No cell of a table is so long: the file may not be a table at all.",
            "Open it in a spreadsheet, shorten the cell and save it again as CSV.",
        )
    return Problem(
        "quotes",
        file,
        "the quotation marks do not pair up",
        f"Cells after them run together ({error}).",
        'Write a quotation mark inside a cell twice ("") or take it out.',
        row=open_row,
    )


def to_table(
    rows: Sequence[Row],
    *,
    table: str,
    file: str,
    encoding: str | None = None,
    decimal: str | None = None,
) -> Reading:
    """
    Rows of text as a table: heading found, blank rows dropped, row numbers kept.

    Parameters
    ----------
    rows : sequence of (int, list of str)
        Row number as a spreadsheet shows it, and the cells.
    table, file : str
        As in `read_csv`.
    encoding, decimal : str, optional
        Handed on to the table.

    Returns
    -------
    reading : Reading
        With problems for a title above the heading, headings that repeat or are missing, and
        rows longer than the heading.
    """
    full = [(n, cells) for n, cells in rows if any(cells)]
    if not full:
        return Reading(None, (empty_file(file),))
    known = columns(table)
    first = _hits(full[0][1], known)
    best = max(range(min(len(full), HEADING_SEARCH)), key=lambda i: _hits(full[i][1], known))
    problems: list[Problem] = []
    if best > 0 and _hits(full[best][1], known) >= max(2, first + 1):
        problems.append(_title_problem(file, full[0], full[best][0]))
        full = full[best:]
    (heading_row, headings), body = full[0], full[1:]
    names, letters, faults = _headings(headings, heading_row, body, file=file)
    problems += faults
    problems += _long_rows(body, len(headings), file=file)
    data = {name: [c[i] if i < len(c) else "" for _, c in body] for name, i in names.items()}
    cells = pd.DataFrame(data, index=pd.Index([n for n, _ in body], dtype="int64"), dtype="str")
    problems += _excel_errors(cells, file=file)
    made = TextTable(table, file, cells, letters, encoding=encoding, decimal=decimal)
    # a workbook keeps no empty cells at the end of a row, so there they mean nothing
    notes = _short_rows(body, len(headings), table=table) if encoding else ()
    return Reading(made, tuple(problems), notes)


def _title_problem(file: str, title: Row, heading_row: int) -> Problem:
    """The problem that something stands above the heading."""
    above = "row 1" if heading_row == 2 else f"rows 1 to {heading_row - 1}"
    words = brief(next(cell for cell in title[1] if cell))
    return Problem(
        "title-row",
        file,
        f"'{words}' stands above the headings, which are in row {heading_row}",
        "The first row must hold the headings, so that every program reads the same table.",
        f"Delete {above}.",
        row=title[0],
    )


def _headings(
    headings: Sequence[str], row: int, body: Sequence[Row], *, file: str
) -> tuple[dict[str, int], dict[str, str], list[Problem]]:
    """Plain heading to position and to letter, and what is wrong with them."""
    positions: dict[str, list[int]] = {}
    problems = []
    for i, heading in enumerate(headings):
        name = plain_heading(heading)
        if name:
            positions.setdefault(name, []).append(i)
        elif any(i < len(cells) and cells[i] for _, cells in body):
            problems.append(
                Problem(
                    "no-heading",
                    file,
                    f"column {get_column_letter(i + 1)} has cells but no heading",
                    "Nobody can tell what they mean.",
                    "Give it a heading from the README of the templates, or delete it.",
                    row=row,
                )
            )
    for name, places in positions.items():
        if len(places) > 1:
            named = " and ".join(get_column_letter(i + 1) for i in places)
            problems.append(
                Problem(
                    "duplicate-heading",
                    file,
                    f"columns {named} have the same heading",
                    "Only one of them can be right.",
                    "Delete or rename all but one.",
                    row=row,
                    column=brief(name),
                )
            )
    first = {name: places[0] for name, places in positions.items()}
    return first, {n: get_column_letter(i + 1) for n, i in first.items()}, problems


def _long_rows(body: Sequence[Row], width: int, *, file: str) -> list[Problem]:
    """Rows with more filled cells than there are headings."""
    return [
        Problem(
            "long-row",
            file,
            f"the row has {len(cells)} cells and the heading {width}",
            "Cells have moved to the right, into columns they do not belong to.",
            "Put a cell that holds a comma (or the delimiter) in quotation marks;"
            " write decimals with a point, or set `decimal` in region.toml.",
            row=row,
        )
        for row, cells in body
        if len(cells) > width and any(cells[width:])
    ]


def _short_rows(body: Sequence[Row], width: int, *, table: str) -> tuple[Note, ...]:
    """One note when rows end before the heading does."""
    short = [row for row, cells in body if len(cells) < width]
    if not short:
        return ()
    text = (
        f"{table}: {len(short)} rows end early (first: row {short[0]}); the rest is read as empty"
    )
    return (Note("short-row", text),)


def _excel_errors(cells: pd.DataFrame, *, file: str) -> list[Problem]:
    """Cells in which a spreadsheet has written an error of its own."""
    problems = []
    for column in cells.columns:
        bad = cells.index[marked(cells[column], _EXCEL_ERROR.fullmatch)]
        problems += [
            Problem(
                "formula-error",
                file,
                f"the spreadsheet shows {cells.loc[row, column]}",
                "A formula failed there, so there is no value.",
                "Mend the formula or type the value.",
                row=int(row),
                column=brief(column),
            )
            for row in bad
        ]
    return problems


def _csv_notes(table: TextTable | None, *, encoding: str, delimiter: str, file: str) -> list[Note]:
    """What was noticed about encoding and delimiter."""
    if table is None:
        return []
    notes = []
    if encoding != "UTF-8":
        shown = _accented(table.cells)
        seen = f"; accents read as: {', '.join(shown)}" if shown else ""
        notes.append(Note("encoding", f"{file}: read as {encoding}{seen}"))
    if delimiter != ",":
        notes.append(Note("delimiter", f"{file}: cells are parted by {DELIMITERS[delimiter]}"))
    if any(marked(table.cells[c], _GARBLED.search).any() for c in table.cells.columns):
        text = "letters look garbled, as when UTF-8 is read as Windows-1252; check the names"
        notes.append(Note("garbled", f"{file}: {text}"))
    return notes


def _accented(cells: pd.DataFrame) -> list[str]:
    """Up to three names that hold letters beyond plain ASCII, to check the encoding by."""
    if "name" not in cells.columns:
        return []
    names = cells["name"]
    return names[~names.map(str.isascii)].drop_duplicates().head(3).map(brief).tolist()
