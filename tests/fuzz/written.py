"""A table of text cells as the bytes of a CSV, workbook or vector file."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import tempfile
import warnings
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from base_region import Folder, Sheet

DRIVERS = {
    "gpkg": "GPKG",
    "shp": "ESRI Shapefile",
    "fgb": "FlatGeobuf",
    "kml": "KML",
    "gml": "GML",
}
VECTOR = ("geojson", "json", *DRIVERS)
NOT_READ = ("fgb", "gml")  # vector formats that are refused, with the mend
STYLES = {"date": 1, "time": 2, "padded": 3}
EPOCH = date(1899, 12, 30)


@dataclass(frozen=True, slots=True)
class Form:
    """How a table is written: format, encoding, separator, quoting and other looks."""

    kind: str = "csv"
    ending: str = ""
    encoding: str = "utf-8"
    mark: bytes = b""
    delimiter: str = ","
    newline: str = "\n"
    quote_all: bool = False
    last_newline: bool = True
    first_line: str = ""
    blank_rows: tuple[int, ...] = ()
    pad: str = ""
    extra_delimiters: int = 0
    decimal: str = "."
    dates: str = "YYYY-MM-DD"
    texts_only: bool = False  # in a workbook: numbers and dates as text
    shared: bool = False  # in a workbook: texts in the shared table
    padded_ids: bool = False  # in a workbook: ids of digits alone as numbers shown as 000
    sheet: str = "Sheet1"
    more_sheets: tuple[str, ...] = ()
    hidden: bool = False
    formulas: str = ""  # in a workbook: "saved" or "unsaved" formulas in place of numbers
    epoch_1904: bool = False


def rendered(folder: Folder) -> dict[str, Any]:
    """Every file of a folder by name."""
    files: dict[str, Any] = {"region.toml": settings_bytes(folder.settings)}
    for table, sheet in folder.sheets.items():
        files |= table_files(folder, table, sheet)
    for name, content in folder.raw.items():
        files.pop(name, None)
        if content is not None:
            files[name] = content
    return files


def settings_bytes(settings: Mapping[str, str]) -> bytes:
    """`region.toml` of keys with their TOML text."""
    return "".join(f"{key} = {text}\n" for key, text in settings.items()).encode()


def table_files(folder: Folder, table: str, sheet: Sheet) -> dict[str, bytes]:
    """The file of one table, or its parts for a shapefile."""
    form = sheet.form
    if form.kind == "csv":
        return {f"{table}{form.ending or '.csv'}": csv_bytes(sheet)}
    if form.kind == "xlsx":
        return {f"{table}{form.ending or '.xlsx'}": xlsx_bytes(sheet)}
    if form.kind in ("geojson", "json"):
        return {f"{table}.{form.kind}": json.dumps(features(folder, table, sheet)).encode()}
    return vector_files(folder, table, sheet)


def csv_bytes(sheet: Sheet) -> bytes:
    """CSV in the manner that the form says."""
    form = sheet.form
    out = io.StringIO()
    writer = csv.writer(
        out,
        delimiter=form.delimiter,
        lineterminator=form.newline,
        quoting=csv.QUOTE_ALL if form.quote_all else csv.QUOTE_MINIMAL,
    )
    out.write(form.first_line + form.newline if form.first_line else "")
    more = [""] * form.extra_delimiters
    writer.writerow([*(form.pad + h + form.pad for h in sheet.headings), *more])
    for number, row in enumerate(sheet.rows):
        if number in form.blank_rows:
            out.write(form.newline)
        cells = [looks(h, c, form) for h, c in zip(sheet.headings, row, strict=False)]
        cells += row[len(sheet.headings) :]
        writer.writerow([*(form.pad + c + form.pad for c in cells), *more])
    text = out.getvalue()
    if not form.last_newline:
        text = text.removesuffix(form.newline)
    return form.mark + text.encode(form.encoding, errors="surrogatepass")


def looks(heading: str, cell: str, form: Form) -> str:
    """A cell with the decimal mark and the date format of the form, if it is a number or day."""
    from base_region import DATES, NUMBERS

    if heading in NUMBERS and form.decimal != "." and _number(cell) is not None:
        return cell.replace(".", form.decimal)
    if heading in DATES and form.dates != "YYYY-MM-DD" and _day(cell) is not None:
        year, month, day = cell.split("-")
        return form.dates.replace("YYYY", year).replace("MM", month).replace("DD", day)
    return cell


def _number(cell: str) -> float | None:
    """The number that a cell of the base holds, if it is one."""
    try:
        value = float(cell)
    except ValueError:
        return None
    plain = cell.isascii() and "_" not in cell and cell.strip() == cell
    return value if plain and math.isfinite(value) else None


def _day(cell: str) -> date | None:
    """The day that a cell of the base holds, if it is one."""
    try:
        return date.fromisoformat(cell) if re.fullmatch(r"\d{4}-\d\d-\d\d", cell) else None
    except ValueError:
        return None


# workbooks


def xlsx_bytes(sheet: Sheet) -> bytes:
    """A small XLSX made part by part, so that odd ones can be made too."""
    form, texts = sheet.form, []
    lines = [_xlsx_row(1, [(h, "") for h in sheet.headings], form, texts)]
    number = 1
    for row, cells in enumerate(sheet.rows):
        number += 1 + (row in form.blank_rows)
        named = list(zip([*sheet.headings, *[""] * len(cells)], cells, strict=False))
        lines.append(_xlsx_row(number, [(c, h) for h, c in named], form, texts))
    body = f"<sheetData>{''.join(lines)}</sheetData>"
    return workbook({form.sheet: body, **dict.fromkeys(form.more_sheets, NOTES)}, texts, form)


NOTES = (
    '<sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>something</t></is></c></row></sheetData>'
)


def _xlsx_row(number: int, cells: Sequence[tuple[str, str]], form: Form, texts: list[str]) -> str:
    """One row of a sheet; a heading has no heading of its own."""
    made = [
        _xlsx_cell(f"{letters(i)}{number}", text, heading, form, texts)
        for i, (text, heading) in enumerate(cells)
    ]
    hidden = ' hidden="1"' if form.hidden and number == 2 else ""
    return f'<row r="{number}"{hidden}>{"".join(made)}</row>'


def _xlsx_cell(place: str, text: str, heading: str, form: Form, texts: list[str]) -> str:
    """One cell in the type that a spreadsheet would give it."""
    from base_region import CLOCKS, DATES, NUMBERS

    if text == "":
        return ""
    typed = heading and not form.texts_only
    if typed and heading in NUMBERS and _number(text) is not None:
        if form.formulas == "unsaved":
            return f'<c r="{place}"><f>{text}+0</f></c>'
        formula = f"<f>{text}+0</f>" if form.formulas else ""
        return f'<c r="{place}">{formula}<v>{text}</v></c>'
    if typed and heading in DATES and (day := _day(text)):
        serial = (day - EPOCH).days - (1462 if form.epoch_1904 else 0)
        return f'<c r="{place}" s="{STYLES["date"]}"><v>{serial}</v></c>'
    if typed and heading in CLOCKS and len(text) == 5 and text.replace(":", "").isdigit():
        share = (int(text[:2]) * 60 + int(text[3:])) / 1440
        return f'<c r="{place}" s="{STYLES["time"]}"><v>{share!r}</v></c>'
    if typed and form.padded_ids and len(text) == 3 and text.isascii() and text.isdigit():
        return f'<c r="{place}" s="{STYLES["padded"]}"><v>{int(text)}</v></c>'
    words = escape(form.pad + text + form.pad)
    if form.shared:
        texts.append(words)
        return f'<c r="{place}" t="s"><v>{len(texts) - 1}</v></c>'
    return f'<c r="{place}" t="inlineStr"><is><t xml:space="preserve">{words}</t></is></c>'


def letters(position: int) -> str:
    """Column letters of a position from 0."""
    name = ""
    position += 1
    while position:
        position, rest = divmod(position - 1, 26)
        name = chr(65 + rest) + name
    return name


XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACK = "http://schemas.openxmlformats.org/package/2006"
KINDS = "application/vnd.openxmlformats-officedocument.spreadsheetml"


def workbook(
    sheets: Mapping[str, str],
    texts: Sequence[str] = (),
    form: Form | None = None,
    *,
    parts: Mapping[str, Any] | None = None,
) -> bytes:
    """
    An XLSX of sheets whose XML is given.

    Parameters
    ----------
    sheets : mapping of str to str
        Name of each sheet to what stands inside of `worksheet`.
    texts : sequence of str
        The shared texts, escaped.
    form : Form, optional
        For dates counted from 1904.
    parts : mapping, optional
        Parts to put in place of, or beside, those made here; an iterator of bytes is written
        piece by piece.
    """
    names = list(sheets)
    old = ' date1904="1"' if form is not None and form.epoch_1904 else ""
    listed = "".join(
        f'<sheet name="{escape(n, {chr(34): "&quot;"})}" sheetId="{i}" r:id="rId{i}"/>'
        for i, n in enumerate(names, start=1)
    )
    made: dict[str, Any] = {
        "[Content_Types].xml": _content_types(len(names)),
        "_rels/.rels": f'{XML}<Relationships xmlns="{PACK}/relationships"><Relationship Id="rId1" '
        f'Type="{RELS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{XML}<workbook xmlns="{MAIN}" xmlns:r="{RELS}"><workbookPr{old}/>'
        f"<sheets>{listed}</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": _relations(len(names)),
        "xl/styles.xml": STYLE_SHEET,
        "xl/sharedStrings.xml": f'{XML}<sst xmlns="{MAIN}">'
        + "".join(f'<si><t xml:space="preserve">{t}</t></si>' for t in texts)
        + "</sst>",
    }
    for i, body in enumerate(sheets.values(), start=1):
        made[f"xl/worksheets/sheet{i}.xml"] = f'{XML}<worksheet xmlns="{MAIN}">{body}</worksheet>'
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as book:
        for name, content in {**made, **(parts or {})}.items():
            if isinstance(content, str | bytes):
                book.writestr(name, content)
                continue
            with book.open(name, "w", force_zip64=True) as part:
                for piece in content:
                    part.write(piece)
    return out.getvalue()


def _content_types(count: int) -> str:
    """Which part of a workbook is what."""
    parts = [
        f'<Override PartName="/xl/worksheets/sheet{i}.xml" ContentType="{KINDS}.worksheet+xml"/>'
        for i in range(1, count + 1)
    ]
    return (
        f'{XML}<Types xmlns="{PACK}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{KINDS}.sheet.main+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{KINDS}.styles+xml"/>'
        f'<Override PartName="/xl/sharedStrings.xml" ContentType="{KINDS}.sharedStrings+xml"/>'
        f"{''.join(parts)}</Types>"
    )


def _relations(count: int) -> str:
    """The parts that a workbook refers to."""
    kinds = [("worksheet", f"worksheets/sheet{i}.xml") for i in range(1, count + 1)]
    kinds += [("styles", "styles.xml"), ("sharedStrings", "sharedStrings.xml")]
    listed = "".join(
        f'<Relationship Id="rId{i}" Type="{RELS}/{kind}" Target="{target}"/>'
        for i, (kind, target) in enumerate(kinds, start=1)
    )
    return f'{XML}<Relationships xmlns="{PACK}/relationships">{listed}</Relationships>'


STYLE_SHEET = (
    f'{XML}<styleSheet xmlns="{MAIN}"><numFmts count="1"><numFmt numFmtId="170" formatCode="000"/>'
    '</numFmts><fonts count="1"><font/></fonts><fills count="1"><fill><patternFill/></fill></fills>'
    '<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>'
    '<cellXfs count="4"><xf/><xf numFmtId="14"/><xf numFmtId="20"/><xf numFmtId="170"/></cellXfs>'
    "</styleSheet>"
)


# vector files


def features(folder: Folder, table: str, sheet: Sheet) -> dict[str, Any]:
    """A table as the feature collection of a GeoJSON."""
    rows = [dict(zip(sheet.headings, row, strict=False)) for row in sheet.rows]
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": properties(row),
                "geometry": geometry(row, outline=folder.outlines and table == "lakes"),
            }
            for row in rows
        ],
    }


def properties(row: Mapping[str, str]) -> dict[str, Any]:
    """Attributes in the types of a vector file: numbers as numbers, the rest as text."""
    from base_region import NUMBERS

    made: dict[str, Any] = {}
    for heading, cell in row.items():
        if heading not in ("longitude", "latitude"):
            value = _number(cell) if heading in NUMBERS else None
            made[heading] = (cell or None) if value is None else value
    return made


def geometry(row: Mapping[str, str], *, outline: bool) -> dict[str, Any] | None:
    """A point, or the square round it."""
    from base_region import HALF_LAKE

    try:
        lon, lat = float(row["longitude"]), float(row["latitude"])
    except (KeyError, ValueError):
        return None
    if not outline:
        return {"type": "Point", "coordinates": [lon, lat]}
    w, e, s, n = lon - HALF_LAKE, lon + HALF_LAKE, lat - HALF_LAKE, lat + HALF_LAKE
    return {"type": "Polygon", "coordinates": [[[w, s], [e, s], [e, n], [w, n], [w, s]]]}


def vector_files(folder: Folder, table: str, sheet: Sheet) -> dict[str, bytes]:
    """A table as GeoPackage, shapefile, FlatGeobuf, KML or GML, written by GDAL."""
    import geopandas as gpd
    import pyogrio

    made = features(folder, table, sheet)["features"]
    frame = gpd.GeoDataFrame.from_features(made, crs=4326)
    kind = sheet.form.kind
    if kind == "kml":
        frame = frame.astype({c: "str" for c in frame.columns if c != "geometry"})
        frame = frame.where(frame.notna() & (frame != "nan") & (frame != "None"), None)
    with tempfile.TemporaryDirectory() as place, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # headings of a shapefile are cut
        path = Path(place) / f"{table}.{kind}"
        layer = {} if kind in ("shp", "fgb") else {"layer": table}
        pyogrio.write_dataframe(frame, path, driver=DRIVERS[kind], **layer)
        return {p.name: p.read_bytes() for p in sorted(Path(place).iterdir())}
