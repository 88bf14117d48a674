"""Mutants that are small to write and huge to read, or simply huge: refused early, or read soon."""

from __future__ import annotations

import io
import json
import random
import struct
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from base_region import Folder, base_folder
from judge import FREE, REFUSE, Right
from written import MAIN, XML, Form, csv_bytes, features, table_files, workbook, xlsx_bytes

Made = tuple[Folder, Right, str]
MEGABYTE = 1_000_000


def _repeated(head: bytes, piece: bytes, times: int, tail: bytes) -> Iterator[bytes]:
    """A long part, in pieces."""
    yield head
    block = piece * 1000
    for _ in range(times // 1000):
        yield block
    yield piece * (times % 1000)
    yield tail


def _book(folder: Folder, part: object, name: str = "xl/worksheets/sheet1.xml") -> Folder:
    """The folder with lakes as a workbook of which one part is given."""
    data = workbook({"Sheet1": _sheet(folder)}, parts={name: part})
    return folder.with_raw(lakes__csv=None, lakes__xlsx=data)


def _sheet(folder: Folder) -> str:
    """What stands inside of the sheet of lakes."""
    sheet = replace(folder.sheets["lakes"], form=Form(kind="xlsx"))
    with zipfile.ZipFile(io.BytesIO(xlsx_bytes(sheet))) as book:
        text = book.read("xl/worksheets/sheet1.xml").decode()
    return text[text.index("<sheetData>") : text.index("</worksheet>")]


def _worksheet(folder: Folder, more: bytes, times: int) -> Iterator[bytes]:
    """The sheet of lakes with a piece repeated below its rows."""
    start = f'{XML}<worksheet xmlns="{MAIN}">{_sheet(folder)}'.replace("</sheetData>", "")
    return _repeated(start.encode(), more, times, b"</sheetData></worksheet>")


def far_cells(rng: random.Random, folder: Folder, _: object) -> Made:
    """Rows with a cell in the last column."""
    rows = "".join(
        f'<row r="{n}"><c r="XFD{n}"><v>1</v></c></row>'
        for n in range(10, rng.choice((50, 20_000)))
    )
    return _book(folder, _worksheet(folder, rows.encode(), 1)), REFUSE, "cells in the last column"


def many_rows(rng: random.Random, folder: Folder, _: object) -> Made:
    """A million rows without a number of their own."""
    piece = rng.choice((b"<row/>", b"<row><c><v>1</v></c></row>", b'<row><c s="1"/></row>'))
    right = REFUSE if b"<v>" in piece else FREE
    return _book(folder, _worksheet(folder, piece, 1_000_000)), right, f"a million of {piece!r}"


def long_cell(rng: random.Random, folder: Folder, _: object) -> Made:
    """A cell of 400 MB in a workbook."""
    head = f'{XML}<worksheet xmlns="{MAIN}">{_sheet(folder)}'.replace("</sheetData>", "")
    head += '<row><c t="inlineStr"><is><t>'
    tail = b"</t></is></c></row></sheetData></worksheet>"
    part = _repeated(head.encode(), b"x" * 1000, 400_000, tail)
    return _book(folder, part), REFUSE, "a cell of 400 MB"


def shared_texts(rng: random.Random, folder: Folder, _: object) -> Made:
    """Millions of shared texts that no cell uses."""
    part = _repeated(
        f'{XML}<sst xmlns="{MAIN}">'.encode(), b"<si><t>x</t></si>", 3_000_000, b"</sst>"
    )
    return _book(folder, part, "xl/sharedStrings.xml"), FREE, "3,000,000 shared texts"


def laughs(rng: random.Random, folder: Folder, _: object) -> Made:
    """Entities of entities, in a workbook, KML or GML."""
    names = [f'<!ENTITY a{i} "{f"&a{i - 1};" * 10 if i else "ha" * 50}">' for i in range(10)]
    head = f"<!DOCTYPE a [{''.join(names)}]>"
    ending = rng.choice(("xlsx", "kml", "gml"))
    if ending == "xlsx":
        body = '<sheetData><row><c t="inlineStr"><is><t>&a9;</t></is></c></row></sheetData>'
        part = f'<?xml version="1.0"?>{head}<worksheet xmlns="{MAIN}">{body}</worksheet>'
        return _book(folder, part), REFUSE, "entities in a workbook"
    root = "kml" if ending == "kml" else "FeatureCollection"
    space = "opengis.net/kml/2.2" if ending == "kml" else "opengis.net/gml"
    text = (
        f'{head}<{root} xmlns="http://www.{space}"><Document><name>&a9;</name></Document></{root}>'
    )
    files = {"lakes__csv": None, f"lakes__{ending}": text.encode()}
    return folder.with_raw(**files), REFUSE, f"entities in a {ending}"


def wide_sheet(rng: random.Random, folder: Folder, _: object) -> Made:
    """Hundreds of sheets, or hundreds of thousands of merged cells."""
    if rng.random() < 0.5:
        data = workbook({f"S{i}": _sheet(folder) for i in range(300)})
        made = folder.with_raw(lakes__csv=None, lakes__xlsx=data)
        return made, REFUSE, "300 sheets"
    head = f'{XML}<worksheet xmlns="{MAIN}">{_sheet(folder)}<mergeCells>'.encode()
    part = _repeated(
        head, b'<mergeCell ref="A3:XFD1048576"/>', 50_000, b"</mergeCells></worksheet>"
    )
    return _book(folder, part), REFUSE, "50,000 merged blocks of a whole sheet"


def long_csv(rng: random.Random, folder: Folder, _: object) -> Made:
    """A CSV of 100 MB: rows, one row, one cell, quotation marks, line ends or zeros."""
    table = rng.choice(("lakes", "contacts", "status"))
    data = csv_bytes(folder.sheets[table])
    last = data.splitlines(keepends=True)[-1]
    way = rng.choice(("rows", "ids", "cells", "cell", "quotes", "lines", "zeros", "spaces", "wide"))
    more = {
        "rows": last * (100 * MEGABYTE // len(last)),
        "ids": b"".join(b"N%d,x,1,1,1,,,,1\n" % i for i in range(4 * MEGABYTE)),
        "cells": b"," * 100 * MEGABYTE,
        "cell": b"x" * 100 * MEGABYTE,
        "quotes": b'"' + b'""' * 50 * MEGABYTE,
        "lines": b"\n" * 100 * MEGABYTE,
        "zeros": b"\x00" * 100 * MEGABYTE,
        "spaces": b" " * 100 * MEGABYTE,
        "wide": b"",
    }[way]
    if way == "wide":
        data = data.replace(b"\n", b",x" * 100_000 + b"\n")
    right = FREE if way in ("lines", "spaces", "rows", "zeros") else REFUSE
    made = folder.with_raw(**{f"{table}__csv": data + more})
    return made, right, f"{table}: 100 MB of {way}"


def deep_json(rng: random.Random, folder: Folder, _: object) -> Made:
    """A GeoJSON nested hundreds of thousands deep."""
    deep = rng.choice((1_000, 100_000, 1_000_000))
    opened, closed = rng.choice((("[", "]"), ('{"a":', "}")))
    nest = opened * deep + ("1" if opened != "[" else "") + closed * deep
    where = rng.choice(("all", "coordinates", "property", "crs"))
    made = features(folder, "lakes", folder.sheets["lakes"])
    text = json.dumps(made)
    if where == "all":
        text = nest
    elif where == "coordinates":
        text = text.replace('"coordinates": [', f'"coordinates": {nest}, "b": [', 1)
    elif where == "property":
        text = text.replace('"properties": {', f'"properties": {{"deep": {nest}, ', 1)
    else:
        text = text[:-1] + f', "crs": {nest}}}'
    files = {"lakes__csv": None, "lakes__geojson": text.encode()}
    return folder.with_raw(**files), FREE if where == "crs" else REFUSE, f"{where} {deep} deep"


def many_points(rng: random.Random, folder: Folder, _: object) -> Made:
    """A GeoJSON of an outline of a million points, or of tens of thousands of lakes."""
    base = base_folder(folder.place, outlines=True)
    made = features(base, "lakes", base.sheets["lakes"])
    text = json.dumps(made)
    if rng.random() < 0.5:
        ring = made["features"][0]["geometry"]["coordinates"][0]
        one = f"[{ring[1][0]}, {ring[1][1]}]"
        text = text.replace(one, ", ".join([one] * 1_000_000), 1)
        name = "a million points"
    else:
        one = made["features"][-1]
        apart = rng.choice((0.0, 1e-9))
        copies = [_copy(one, f"N{i}", i * apart) for i in range(40_000)]
        text = json.dumps({**made, "features": made["features"] + copies})
        name = f"40,000 lakes in one place, {apart} degrees apart"
    return base.with_raw(lakes__geojson=text.encode()), FREE, name


def _copy(feature: dict[str, Any], name: str, east: float) -> dict[str, Any]:
    """A lake once more under another id, a little to the east."""
    ring = [[x + east, y] for x, y in feature["geometry"]["coordinates"][0]]
    return {
        **feature,
        "properties": {**feature["properties"], "lake_id": name},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }


def lying_header(rng: random.Random, folder: Folder, _: object) -> Made:
    """A vector file or table of attributes that says it is far longer than it is."""
    kind = rng.choice(("shp", "dbf", "fgb", "gpkg"))
    form = Form(kind="shp" if kind == "dbf" else kind)
    files = table_files(folder, "lakes", replace(folder.sheets["lakes"], form=form))
    name = f"lakes.{kind}"
    data = bytearray(files[name])
    if kind == "dbf":
        data[4:8] = struct.pack("<I", 2**32 - 1)
    elif kind == "shp":
        data[104:108] = struct.pack(">i", 2**31 - 1)
    elif kind == "fgb":
        data[8:12] = struct.pack("<I", 2**31 - 1)
    else:
        data[28:32] = struct.pack(">I", 2**32 - 1)
    files[name] = bytes(data)
    named = {n.replace(".", "__"): b for n, b in files.items()}
    return folder.with_raw(lakes__csv=None, **named), FREE, f"{name}: lengths that lie"


def long_settings(rng: random.Random, folder: Folder, _: object) -> Made:
    """A `region.toml` of tens of megabytes, or nested deep."""
    name, text = rng.choice(
        (
            ("a text of 30 MB", f'name = "{"x" * 30 * MEGABYTE}"\n'),
            ("brackets", f"holidays = {'[' * 100_000}{']' * 100_000}\n"),
            ("braces", f"assumptions = {'{a = ' * 2_000}1{'}' * 2_000}\n"),
            ("dots", f"{'a.' * 5_000}b = 1\n"),
            ("digits", f"hours = {'9' * 1_000_000}\n"),
            ("keys", "".join(f"k{i} = 1\n" for i in range(200_000))),
            ("tables", "".join(f"[t{i}]\n" for i in range(100_000))),
            ("dates", f"holidays = [{'2027-07-05,' * 300_000}]\n"),
            ("lines", "\n" * 50 * MEGABYTE),
        )
    )
    base = "".join(
        f"{k} = {v}\n" for k, v in folder.settings.items() if k not in ("name", "holidays")
    )
    right = FREE if name in ("lines", "dates") else REFUSE
    return folder.with_raw(region__toml=(text + base).encode()), right, f"region.toml: {name}"


def zip_of_zeros(rng: random.Random, folder: Folder, _: object) -> Made:
    """A workbook with a part of a gigabyte that no table needs, or that is its frame."""
    name = rng.choice(
        ("xl/media/image1.png", "xl/styles.xml", "xl/workbook.xml", "docProps/app.xml")
    )
    part = _repeated(b"", b"\x00" * 1000, 1_000_000, b"")
    return _book(folder, part, name), FREE, f"a gigabyte of zeros as {name}"


MUTATORS = {
    "bombs": (
        *(far_cells, many_rows, long_cell, shared_texts, laughs, wide_sheet, long_csv, long_csv),
        *(deep_json, many_points, lying_header, long_settings, zip_of_zeros),
    ),
}
