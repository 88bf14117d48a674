"""XLSX workbooks as text cells: what the spreadsheet shows, never what a guess makes of it."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from defusedxml.ElementTree import iterparse
from openpyxl.utils import get_column_letter

from spreadnet.errors import Problem
from spreadnet.evidence.files.text import Row, TooLarge, empty_file, to_table
from spreadnet.evidence.limits import (
    BOOK_LETTERS,
    BOOK_OTHER_BYTES,
    BOOK_TAGS,
    BOOK_UNPACKED_BYTES,
    LOOKED_AT,
    MOST_CELLS,
    MOST_ROWS,
    MOST_SHEETS,
    SHEET_ROWS,
    size_words,
)
from spreadnet.evidence.personal import brief
from spreadnet.evidence.types import Reading

_OUTER = " \t\r\n\u00a0\u202f\ufeff\u200b\u200c\u200d\u2060"
SHOWN_CELLS = 5
AS_CSV = "A large table is read sooner as CSV: save it as that."
_CELL_TAGS = 4  # <c><v></v></c>
# Parts of a workbook that may be large; the others are read whole.
_LARGE = ("xl/worksheets/", "xl/sharedstrings.xml", "xl/drawings/", "xl/media/", "xl/pivotcache/")


def read_xlsx(data: bytes, *, table: str, file: str) -> Reading:
    """
    Text cells of the sheet of a workbook that holds a table.

    The sheet named like the table, or the only one that is not empty. Dates become ISO text and
    whole numbers lose their `.0`; an id with a zero-padding format is read as it is shown.

    Parameters
    ----------
    data : bytes
        The whole file.
    table, file : str
        Name of the table, and of the file in messages.

    Returns
    -------
    reading : Reading
        The table is None when nothing could be read.
    """
    if not data:
        return Reading(None, (empty_file(file),))
    try:
        _see_to_size(data)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl on styles and extensions that it drops
            return _read_book(data, table=table, file=file)
    except TooLarge as error:
        return Reading(None, (error.problem(file),))
    except Exception as error:  # openpyxl raises many kinds on damaged files
        return Reading(None, (_not_a_workbook(file, error, charts=_charts(data)),))


def _see_to_size(data: bytes) -> None:
    """See to it, before XML is read, that a workbook is not larger than is read."""
    tags = sheets = 0
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        total = sum(info.file_size for info in parts.infolist())  # no part unpacks to more
        if total > BOOK_UNPACKED_BYTES:
            what = f"the workbook has {size_words(total)} unpacked"
            raise TooLarge(what, size_words(BOOK_UNPACKED_BYTES), AS_CSV)
        for info in parts.infolist():
            name = info.filename.lower()
            if info.file_size > BOOK_OTHER_BYTES and not name.startswith(_LARGE):
                what = f"the part {brief(name)} of the workbook has {size_words(info.file_size)}"
                raise TooLarge(what, size_words(BOOK_OTHER_BYTES), AS_CSV)
            part = parts.read(info)
            tags += part.count(b"<")
            sheets += part.count(b"sheetId=") if name == "xl/workbook.xml" else 0
    if tags > BOOK_TAGS:
        what = f"the workbook has some {tags // _CELL_TAGS} cells"
        raise TooLarge(what, f"some {BOOK_TAGS // _CELL_TAGS} cells", AS_CSV)
    if sheets > MOST_SHEETS:
        mend = f"Delete those that do not hold the table. {AS_CSV}"
        raise TooLarge(f"the workbook has {sheets} sheets", f"{MOST_SHEETS} sheets", mend)


def _read_book(data: bytes, *, table: str, file: str) -> Reading:
    """The sheet that holds the table, in one walk over the cells that are there."""
    book = _load(data, values=False)
    names = [sheet.title for sheet in book.worksheets if _filled(sheet)]
    same = [name for name in names if name.strip().lower() == table]
    chosen = same or names
    if not chosen:
        return Reading(None, (empty_file(file),))
    if len(chosen) > 1:
        return Reading(None, (_which_sheet(file, table, chosen),))
    rows, formulas = _walk(book[chosen[0]])
    unsaved: list[str] = []
    if formulas:
        stored = _load(data, values=True)[chosen[0]]
        rows, _ = _walk(stored)
        texts = dict(rows)
        unsaved = [name for name, n, i in formulas if not _at(texts.get(n, []), i)]
    read = to_table(rows, table=table, file=file, decimal=".")
    heading_row = min((r for r in read.table.cells.index), default=2) if read.table else 2
    problems = [
        *_merged(_merged_blocks(data, book[chosen[0]]), file=file, heading_row=int(heading_row) - 1)
    ]
    if unsaved:
        letters = read.table.letters if read.table else {}
        problems.append(_unsaved(file, unsaved, {v: k for k, v in letters.items()}))
    return Reading(read.table, (*problems, *read.problems), read.notes)


def _load(data: bytes, *, values: bool) -> Any:
    """The workbook to walk over, with formulas or with the values they had when last saved."""
    import openpyxl

    book = openpyxl.load_workbook(
        io.BytesIO(data), data_only=values, read_only=True, keep_links=False
    )
    for sheet in book.worksheets:
        sheet.reset_dimensions()  # else every row is filled up to the farthest cell
    return book


def _filled(sheet: Any) -> bool:
    """Whether any cell of a sheet holds something besides spaces, or it is too large to tell."""
    seen = 0
    for row in sheet.iter_rows(values_only=True, max_row=SHEET_ROWS):
        seen += len(row) + 1
        if seen > LOOKED_AT or any(v is not None and str(v).strip(_OUTER) for v in row):
            return True
    return False


def _walk(sheet: Any) -> tuple[list[Row], list[tuple[str, int, int]]]:
    """Rows that hold something, and the place of every formula: name, row, position."""
    rows: list[Row] = []
    formulas = []
    cells = letters = 0
    for number, row in enumerate(sheet.iter_rows(max_row=SHEET_ROWS), start=1):
        if not row:
            continue
        cells += len(row)
        if cells > MOST_CELLS or len(rows) > MOST_ROWS or letters > BOOK_LETTERS:
            far = f"{get_column_letter(len(row))}{number}"
            what = f"the sheet has more cells than are read, up to {far}"
            mend = f"Delete the columns and rows beyond the table (they may look empty). {AS_CSV}"
            raise TooLarge(what, f"{MOST_CELLS} cells", mend)
        texts = [_text(cell) for cell in row]
        if any(texts):
            rows.append((number, texts))
            letters += sum(map(len, texts))
        formulas += [(c.coordinate, number, i) for i, c in enumerate(row) if c.data_type == "f"]
    return rows, formulas


def _at(texts: list[str], position: int) -> str:
    """The text at a position of a row that may end before it."""
    return texts[position] if position < len(texts) else ""


def _merged_blocks(data: bytes, sheet: Any) -> list[Any]:
    """Merged ranges of a sheet, which openpyxl passes over when it only reads."""
    from openpyxl.worksheet.cell_range import CellRange

    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        part = parts.read(sheet._worksheet_path)
    if b"mergeCell " not in part:
        return []
    found = []
    for _, element in iterparse(io.BytesIO(part)):
        if element.tag.rpartition("}")[2] == "mergeCell":
            found.append(CellRange(element.get("ref")))
        element.clear()
    return found


def _charts(data: bytes) -> bool:
    """Whether a workbook has sheets that hold a chart alone."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as parts:
            return any(name.startswith("xl/chartsheets/") for name in parts.namelist())
    except (zipfile.BadZipFile, NotImplementedError, OSError, ValueError):
        return False


def _text(cell: Any) -> str:
    """One cell as the text that stands for it."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, str):
        return value.strip(_OUTER)
    padded = re.fullmatch(r"0{2,}", cell.number_format or "")
    if padded and isinstance(value, int | float) and value == int(value) and value >= 0:
        return f"{int(value):0{len(padded[0])}d}"
    return plain_text(value)


def plain_text(value: Any) -> str:
    """
    A stored value as text: dates in ISO form, whole numbers without `.0`.

    Examples
    --------
    >>> plain_text(124.0), plain_text(12.5), plain_text(datetime(2026, 7, 4))
    ('124', '12.5', '2026-07-04')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, timedelta):
        minutes = round(value.total_seconds() / 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
    if isinstance(value, time):
        return value.isoformat("minutes" if value.second == 0 else "seconds")
    if isinstance(value, datetime):
        midnight = value.time() == time(0)
        return value.date().isoformat() if midnight else value.isoformat(" ", "minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value).strip(_OUTER)


def _merged(blocks: Sequence[Any], *, file: str, heading_row: int) -> list[Problem]:
    """Merged blocks in the heading or below it: only their first cell has the value."""
    return [
        Problem(
            "merged-cells",
            file,
            f"cells {block.coord} are merged",
            "Only the first of them holds the value; the others would be read as empty.",
            "Unmerge them and write the value in every cell it holds for.",
            row=block.min_row,
        )
        for block in blocks
        if block.max_row >= heading_row
    ]


def _unsaved(file: str, places: Sequence[str], headings: dict[str, str]) -> Problem:
    """The problem that formulas have no stored value."""
    shown = ", ".join(places[:SHOWN_CELLS]) + (" ..." if len(places) > SHOWN_CELLS else "")
    letter = re.sub(r"\d", "", places[0])
    return Problem(
        "formula-unsaved",
        file,
        f"{len(places)} formulas have no value stored: {shown}",
        "They would be read as empty.",
        "Open the workbook in Excel or LibreOffice, save it, and try again; or type the values.",
        row=int(re.sub(r"\D", "", places[0])),
        column=headings.get(letter, letter),
    )


def _which_sheet(file: str, table: str, names: Sequence[str]) -> Problem:
    """The problem that several sheets could be the table."""
    return Problem(
        "which-sheet",
        file,
        f"the workbook has several sheets: {', '.join(map(brief, names[:SHOWN_CELLS]))}",
        "It is not clear which of them is the table.",
        f"Name the right one '{table}', or delete the others.",
    )


def _not_a_workbook(file: str, error: Exception, *, charts: bool) -> Problem:
    """The problem that the file is no workbook, or a damaged one."""
    mend = "Open it in Excel or LibreOffice and save it as .xlsx, without a password."
    if charts:
        mend = f"Delete the sheets that hold only a chart, or save the table as CSV. {mend}"
    return Problem(
        "unreadable",
        file,
        f"this can't be read as an XLSX workbook ({type(error).__name__})",
        "Nothing in it can be used.",
        mend,
    )
