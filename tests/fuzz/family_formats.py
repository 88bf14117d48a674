"""Mutants of formats: the same region as workbooks and vector files, and odd or damaged ones."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from base_region import NUMBERS, SPATIAL, Folder, base_folder
from family_tables import csv_manner
from judge import ACCEPT, EITHER, FREE, REFUSE, Right
from written import NOT_READ, VECTOR, Form, table_files, workbook, xlsx_bytes

Made = tuple[Folder, Right, str]


def formats(rng: random.Random, folder: Folder, _: object) -> Made:
    """Every table in a format of its own that means the same; lakes as points or outlines."""
    made = base_folder(folder.place, outlines=rng.random() < 0.5)
    said = []
    for table in folder.sheets:
        kinds = ["csv", "xlsx", "xlsx", *(VECTOR if table in SPATIAL else ())]
        if made.outlines and table == "lakes":
            kinds = [*VECTOR]
        kind = rng.choice(kinds)
        changes = csv_manner(rng) if kind == "csv" else book_manner(rng) if kind == "xlsx" else {}
        made = made.with_form(table, kind=kind, **changes)
        said.append(f"{table} {kind} {changes}")
    refused = any(made.sheets[table].form.kind in NOT_READ for table in SPATIAL)
    right = REFUSE if refused else ACCEPT
    return made, right, "; ".join(said)


def book_manner(rng: random.Random) -> dict[str, object]:
    """Looks of a workbook that mean the same."""
    return {
        "texts_only": rng.random() < 0.2,
        "shared": rng.random() < 0.5,
        "padded_ids": rng.random() < 0.3,
        "pad": rng.choice(("", "", " ")),
        "hidden": rng.random() < 0.2,
        "blank_rows": (rng.randint(0, 3),) if rng.random() < 0.3 else (),
        "formulas": rng.choice(("", "", "saved")),
        "epoch_1904": rng.random() < 0.2,
        "ending": rng.choice((".xlsx", ".XLSX", ".xlsm")),
    }


def odd_book(rng: random.Random, folder: Folder, _: object) -> Made:
    """A workbook with something in it that can't be read for certain."""
    table = rng.choice(list(folder.sheets))
    name, change, right = rng.choice(
        (
            ("two sheets", {"more_sheets": ("notes",)}, REFUSE),
            ("two sheets, one named", {"more_sheets": ("notes",), "sheet": table}, ACCEPT),
            ("unsaved formulas", {"formulas": "unsaved"}, REFUSE),
            ("a title", {"first_line": "title"}, REFUSE),
        )
    )
    made = folder.with_form(table, kind="xlsx", **change)
    if name == "unsaved formulas" and not NUMBERS & set(folder.sheets[table].headings):
        right = ACCEPT
    if name == "a title":
        sheet = made.sheets[table]
        top = ("Table of the district", *[""] * (len(sheet.headings) - 1))
        sheet = replace(sheet, headings=top, rows=(sheet.headings, *sheet.rows))
        made = made.with_sheet(table, sheet)
    return made, right, f"{table}: {name}"


def odd_cell(rng: random.Random, folder: Folder, _: object) -> Made:
    """One cell of a workbook written in an odd way."""
    table, old, new, right = rng.choice(ODD_CELLS)
    data = _sheet_xml(folder, table)
    if old not in data:
        raise RuntimeError(f"{old} is not in {table}")
    changed = workbook({"Sheet1": data.replace(old, new, 1)})
    files = {f"{table}__csv": None, f"{table}__xlsx": changed}
    return folder.with_raw(**files), right, f"{table}: {old} became {new}"


def _sheet_xml(folder: Folder, table: str) -> str:
    """What stands inside of the sheet of a table."""
    import io
    import zipfile

    sheet = replace(folder.sheets[table], form=Form(kind="xlsx"))
    with zipfile.ZipFile(io.BytesIO(xlsx_bytes(sheet))) as book:
        text = book.read("xl/worksheets/sheet1.xml").decode()
    return text[text.index("<sheetData>") : text.index("</worksheet>")]


def _inline(text: str) -> str:
    """A text cell."""
    return f'<is><t xml:space="preserve">{text}</t></is>'


def _named(table: str, row: int, name: str, *values: Any) -> Right:
    """That one cell may have other values."""
    return Right("either", {(table, row, name): values})


_ID = f'<c r="A2" t="inlineStr">{_inline("001")}</c>'
_AREA = "<v>85.5</v>"
ODD_CELLS: tuple[tuple[str, str, str, Right], ...] = (
    ("lakes", _ID, '<c r="A2"><v>1</v></c>', REFUSE),
    ("lakes", _ID, '<c r="A2"><f>"0"&amp;"01"</f></c>', REFUSE),
    ("lakes", _ID, '<c r="A2" t="str"><f>"0"&amp;"01"</f><v>001</v></c>', ACCEPT),
    ("lakes", _ID, '<c r="A2" t="e"><v>#REF!</v></c>', REFUSE),
    ("lakes", _ID, '<c r="A2" t="s"><v>99</v></c>', REFUSE),
    ("lakes", _ID, '<c r="A2" t="b"><v>1</v></c>', REFUSE),
    ("lakes", _ID, '<c r="A2" t="zz"><v>001</v></c>', Right("either")),
    ("lakes", _ID, f'<c r="B2" t="inlineStr">{_inline("001")}</c>', REFUSE),
    ("lakes", _ID, f'<c r="A9999999" t="inlineStr">{_inline("001")}</c>', EITHER),
    ("lakes", _ID, f'<c t="inlineStr">{_inline("001")}</c>', EITHER),
    ("lakes", _ID, _ID + _ID, EITHER),
    ("lakes", _ID, '<c r="A2" t="inlineStr"><is><r><t>0</t></r><r><t>01</t></r></is></c>', ACCEPT),
    ("lakes", _AREA, "<v>85,5</v>", REFUSE),
    ("lakes", _AREA, "<v>nan</v>", REFUSE),
    ("lakes", _AREA, "<v>inf</v>", REFUSE),
    ("lakes", _AREA, "<v>1e400</v>", REFUSE),
    ("lakes", _AREA, "<v>today</v>", REFUSE),
    ("lakes", _AREA, "<v></v>", REFUSE),
    ("lakes", _AREA, "<v>0x55</v>", REFUSE),
    ("lakes", _AREA, "<v>8_5</v>", _named("lakes", 1, "area_ha", 85.0)),
    ("lakes", _AREA, "<v>8.55E1</v>", ACCEPT),
    ("lakes", _AREA, "<v> 85.5 </v>", ACCEPT),
    ("lakes", _AREA, "<f>1+1</f><v>85.5</v>", ACCEPT),
    ("lakes", _AREA, '<f t="shared" si="0"/><v>85.5</v>', ACCEPT),
    ("lakes", "<sheetData>", '<dimension ref="A1:B2"/><sheetData>', ACCEPT),
    ("lakes", "<sheetData>", '<dimension ref="A1:XFD1048576"/><sheetData>', ACCEPT),
    (
        "lakes",
        "</sheetData>",
        '</sheetData><mergeCells><mergeCell ref="A2:A3"/></mergeCells>',
        REFUSE,
    ),
    ("lakes", '<row r="2">', '<row r="2000000000">', EITHER),
    ("lakes", '<row r="3">', '<row r="2">', EITHER),
    ("lakes", '<row r="2">', "<row>", EITHER),
    ("lakes", '<row r="2">', '<row r="-5">', EITHER),
    ("lakes", '<row r="2">', '<row r="two">', REFUSE),
    ("visits", '<c r="C2" s="1"><v>46207</v></c>', '<c r="C2"><v>46207</v></c>', REFUSE),
    ("visits", "<v>46207</v>", "<v>46207.5</v>", REFUSE),
    ("visits", "<v>46207</v>", "<v>-1</v>", REFUSE),
    ("visits", "<v>46207</v>", "<v>1e30</v>", REFUSE),
    ("visits", "<v>46207</v>", "<v>today</v>", REFUSE),
    ("visits", '<c r="C2" s="1"><v>46207</v></c>', '<c r="C2"><f>TODAY()</f></c>', REFUSE),
    ("visits", '<c r="C2" s="1"><v>46207</v></c>', '<c r="C2" t="d"><v>2026-07-04</v></c>', ACCEPT),
    (
        "visits",
        '<c r="C2" s="1"><v>46207</v></c>',
        f'<c r="C2" t="inlineStr">{_inline("now")}</c>',
        REFUSE,
    ),
)


def broken_book(rng: random.Random, folder: Folder, _: object) -> Made:
    """A workbook cut off, or with bytes overwritten."""
    table = rng.choice(list(folder.sheets))
    data = bytearray(xlsx_bytes(replace(folder.sheets[table], form=Form(kind="xlsx"))))
    right: Right = REFUSE
    if rng.random() < 0.4:
        data = data[: rng.randrange(len(data) - 30)]
        if rng.random() < 0.3:
            data += b"PK\x05\x06" + b"\x00" * 18
    else:
        right = FREE
        for _times in range(rng.randint(1, 20)):
            data[rng.randrange(len(data))] = rng.randrange(256)
    files = {f"{table}__csv": None, f"{table}__xlsx": bytes(data)}
    return folder.with_raw(**files), right, f"{table}: damaged workbook"


def other_parts(rng: random.Random, folder: Folder, _: object) -> Made:
    """A workbook with parts that refer outside, act, or are not what they are called."""
    body = _sheet_xml(folder, "lakes")
    entity = '<?xml version="1.0"?><!DOCTYPE worksheet [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
    name, parts, right = rng.choice(
        (
            ("a macro", {"xl/vbaProject.bin": b"\x00" * 500}, ACCEPT),
            ("a path that climbs", {"../../evil.xml": b"x"}, ACCEPT),
            ("no sheet", {"xl/worksheets/sheet1.xml": b""}, REFUSE),
            ("sheet is HTML", {"xl/worksheets/sheet1.xml": b"<html/>"}, REFUSE),
            ("styles gone bad", {"xl/styles.xml": b"<x"}, EITHER),
            ("no kinds", {"[Content_Types].xml": b""}, REFUSE),
            (
                "an entity",
                {"xl/worksheets/sheet1.xml": f"{entity}<worksheet>&x;</worksheet>".encode()},
                REFUSE,
            ),
        )
    )
    data = workbook({"Sheet1": body}, parts=parts)
    return folder.with_raw(lakes__csv=None, lakes__xlsx=data), right, f"lakes: {name}"


def wrong_ending(rng: random.Random, folder: Folder, _: object) -> Made:
    """A file of one format under the ending of another."""
    table = rng.choice(SPATIAL)
    sheet = folder.sheets[table]
    kinds = ("xlsx", "geojson", "gpkg", "kml", "csv")
    kind, ending = rng.choice(
        [(k, e) for k in kinds for e in kinds if k != e and (k, e) != ("geojson", "json")]
    )
    data = table_files(folder, table, replace(sheet, form=Form(kind=kind)))[f"{table}.{kind}"]
    files = {f"{table}__csv": None, f"{table}__{ending}": data}
    return folder.with_raw(**files), REFUSE, f"{table}: {kind} named {ending}"


def broken_vector(rng: random.Random, folder: Folder, _: object) -> Made:
    """A vector file cut off or with bytes overwritten; a shapefile with parts gone."""
    table = rng.choice(SPATIAL)
    kind = rng.choice(("geojson", "gpkg", "shp", "fgb", "kml", "gml"))
    files: dict[str, Any] = table_files(
        folder, table, replace(folder.sheets[table], form=Form(kind=kind))
    )
    way = rng.choice(("cut", "bytes", "part gone"))
    name = f"{table}.{kind}"
    right: Right = FREE
    if way == "part gone" and kind == "shp":
        gone = rng.choice([n for n in files if not n.endswith(".cpg")])
        files = {n: b for n, b in files.items() if n != gone}
        right = FREE if gone.endswith(".shx") else REFUSE
        way = f"{gone} gone"
    elif way == "cut":
        name = rng.choice([n for n in files if n.endswith((kind, "dbf", "shx"))])
        most = len(files[name]) - 30
        files[name] = files[name][: rng.randrange(max(1, most))]
        right = REFUSE if kind in ("geojson", "kml", "gml") else FREE
    else:
        data = bytearray(files[name])
        for _times in range(rng.randint(1, 30)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        files[name] = bytes(data)
    named = {n.replace(".", "__"): b for n, b in files.items()}
    return folder.with_raw(**{f"{table}__csv": None, **named}), right, f"{table}.{kind}: {way}"


def side_files(rng: random.Random, folder: Folder, _: object) -> Made:
    """Files beside a vector file that a GIS keeps, holding nothing of use."""
    kind = rng.choice(("shp", "gpkg", "geojson"))
    made = folder.with_form("lakes", kind=kind)
    ending = rng.choice(("qix", "sbn", "sbx", "aux__xml", "qmd", "qpj", "gfs", "xsd", "idm", "vrt"))
    junk = bytes(rng.randrange(256) for _ in range(rng.choice((0, 10, 300))))
    made = made.with_raw(**{f"lakes__{ending}": junk})
    return made, EITHER, f"lakes.{ending} of {len(junk)} bytes beside lakes.{kind}"


def wide_cpg(rng: random.Random, folder: Folder, _: object) -> Made:
    """A shapefile whose letters are said to be in another encoding than they are."""
    made = folder.with_form("lakes", kind="shp")
    said = rng.choice(("UTF-16", "ISO-8859-1", "CP932", "nonsense", "UTF-8\x00", "", "x" * 5000))
    named = {("lakes", ..., "name"): (...,)}
    return made.with_raw(lakes__cpg=said.encode()), Right("either", named), f"cpg {said[:20]!r}"


def layers(rng: random.Random, folder: Folder, _: object) -> Made:
    """A GeoPackage with two layers, or a table beside its layer."""
    import tempfile
    from pathlib import Path

    import geopandas as gpd
    import pyogrio
    from written import features

    named = rng.random() < 0.5
    frame = gpd.GeoDataFrame.from_features(
        features(folder, "lakes", folder.sheets["lakes"])["features"], crs=4326
    )
    with tempfile.TemporaryDirectory() as place:
        path = Path(place, "lakes.gpkg")
        for layer in ("lakes" if named else "waters", "other"):
            pyogrio.write_dataframe(frame, path, layer=layer, driver="GPKG", append=path.exists())
        data = path.read_bytes()
    right = ACCEPT if named else REFUSE
    return folder.with_raw(lakes__csv=None, lakes__gpkg=data), right, f"two layers, named {named}"


CHANGES: tuple[Callable[..., Made], ...] = (odd_book, odd_cell, odd_cell, broken_book, other_parts)
MUTATORS = {
    "formats": (formats, formats, wrong_ending, broken_vector, side_files, wide_cpg, layers),
    "workbooks": CHANGES,
}
