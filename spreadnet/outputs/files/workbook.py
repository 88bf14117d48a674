"""Tables as a workbook to print and hand round, with the cautions on its first sheet."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import UTC
from typing import TYPE_CHECKING, Any

import pandas as pd
from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from spreadnet.evidence.cells import FORMULA
from spreadnet.outputs.safe import for_book

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from openpyxl.worksheet.worksheet import Worksheet

WIDEST = 40  # letters of a column
READ_FIRST = "read first"  # name of the sheet with the cautions
ZIP_DAY = (1980, 1, 1, 0, 0, 0)  # earliest a ZIP file can name


def workbook(
    sheets: Mapping[str, pd.DataFrame], *, cautions: Sequence[str], stamp: datetime
) -> bytes:
    """
    Workbook with a sheet of cautions, and one for each table.

    Parameters
    ----------
    sheets : mapping of str to DataFrame
        Tables by name of their sheet; the index is left out.
    cautions : sequence of str
        For the first sheet, `read first`.
    stamp : datetime
        When it was made, with its offset.

    Returns
    -------
    workbook : bytes
        XLSX; the same for the same arguments.
    """
    book = Workbook()
    made = stamp.astimezone(UTC).replace(tzinfo=None, microsecond=0)
    book.properties.creator = "spreadnet"
    book.properties.created = made
    first = book.active
    first.title, first.column_dimensions["A"].width = READ_FIRST, 2.5 * WIDEST
    for row, text in enumerate(("Cautions", *cautions), start=1):
        cell = first.cell(row, 1, text)
        cell.font, cell.alignment = Font(bold=row == 1), Alignment(wrap_text=True, vertical="top")
    first.page_setup.orientation = "landscape"
    for name, table in sheets.items():
        _fill(book.create_sheet(name), table)
    raw = io.BytesIO()
    book.save(raw)
    return _dated(raw.getvalue(), f"{made.isoformat()}Z")


def _fill(sheet: Worksheet, table: pd.DataFrame) -> None:
    """Write a table with a heading that stays in view and is printed on every page."""
    formats = {"km": "0.0", "hours": "0.0", "share_of_offer": "0%"}
    for column, name in enumerate(table.columns, start=1):
        heading = sheet.cell(1, column, str(name))
        heading.font, heading.alignment = Font(bold=True), Alignment(vertical="top")
        longest = len(str(name))
        for row, value in enumerate(table[name], start=2):
            shown = _write(sheet.cell(row, column), value, number_format=formats.get(str(name)))
            longest = max(longest, shown)
        sheet.column_dimensions[get_column_letter(column)].width = min(longest + 2, WIDEST)
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = sheet.dimensions
    sheet.print_title_rows = "1:1"
    sheet.oddFooter.center.text = f"Cautions are on the sheet '{READ_FIRST}'"
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _write(cell: Any, value: Any, *, number_format: str | None) -> int:
    """Write one value as what it is; return the letters it takes."""
    if isinstance(value, pd.Timestamp):
        cell.value, cell.number_format = value.to_pydatetime().date(), "yyyy-mm-dd"
        return 10
    if pd.isna(value) or value == "":
        return 0
    if isinstance(value, str):
        cell.value = text = for_book(value)
        cell.data_type = "s"  # else "=1" is taken for a formula and "#N/A" for an error
        cell.quotePrefix = bool(FORMULA.match(text))  # so that it stays text when it is edited
        return len(text)
    cell.value = round(float(value), 6) if isinstance(value, float) else int(value)
    if number_format is not None:
        cell.number_format = number_format
    return 8


def _dated(workbook: bytes, moment: str) -> bytes:
    """The same workbook with the time it was made in place of the time it was written."""
    new = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook)) as old,
        zipfile.ZipFile(new, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(
                    rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + moment.encode(), content
                )
            entry = zipfile.ZipInfo(name, ZIP_DAY)
            entry.compress_type = zipfile.ZIP_DEFLATED
            target.writestr(entry, content)
    return new.getvalue()
