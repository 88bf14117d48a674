"""Shapefile to rows, through pyshp, after its three parts were seen to fit each other."""

from __future__ import annotations

import io
import logging
import re
import struct
import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np
import pyproj
import shapefile as pyshp
import shapely
from shapely.geometry import shape

from spreadnet.evidence.files import PARTS
from spreadnet.evidence.limits import MOST_ROWS, RING_PAIRS
from spreadnet.evidence.vector.layers import CannotRead, Layer, bounded, stated

NEEDED = PARTS[:3]
SIGNATURE = struct.pack(">i", 9994)
HEADER = 100  # bytes of .shp and .shx before the first record
KEPT, DELETED = b" ", b"*"  # what a row of a .dbf begins with
FIRST_ROW = 2
# Code pages by the byte that a .dbf gives, from memory; 0 and 87 mean that of the writer's system.
_PAGES = {1: "cp437", 2: "cp850", 3: "cp1252", 200: "cp1250", 201: "cp1251", 203: "cp1253"}
# What pyshp and shapely raise on parts that are damaged.
_FAULTS = (
    *(pyshp.ShapefileException, pyshp.GeoJSON_Error, shapely.errors.ShapelyError, struct.error),
    *(ValueError, LookupError, TypeError, AttributeError, AssertionError, OverflowError),
)
_RESAVE = "Open it in a GIS and save it again, all parts together, or as GeoPackage."


def read_shapefile(parts: Mapping[str, bytes], *, stem: str) -> Layer:
    """
    Rows of a shapefile.

    Parameters
    ----------
    parts : mapping of str to bytes
        The files of `PARTS` that are there, by their ending in small letters.
    stem : str
        Name without ending, for messages.

    Returns
    -------
    layer : Layer
        Without the rows that the .dbf marks as deleted.

    Raises
    ------
    CannotRead
        If a part is missing, is not what its ending says, or does not fit the others.
    """
    if not parts[".shp"].startswith(SIGNATURE):
        raise CannotRead("this is not a shapefile: it does not begin with the code 9994", _RESAVE)
    lost = [f"{stem}{ending}" for ending in NEEDED if ending not in parts]
    if lost:
        what = "the shapefile has lost a part of it"
        mend = f"Put {' and '.join(lost)} beside it: a shapefile is several files."
        raise CannotRead(what, mend)
    rows = _shape_count(parts[".shp"], parts[".shx"])
    kept = _kept(parts[".dbf"])
    if rows != len(kept):
        what = f"{stem}.shp has {rows} shapes and {stem}.dbf {len(kept)} rows"
        raise CannotRead(what, _RESAVE)
    crs = _crs(parts.get(".prj"))
    encoding = _encoding(parts[".dbf"], parts.get(".cpg"))
    try:
        with _reader(parts, encoding) as reader:
            names = [field[0] for field in reader.fields if field[0] != "DeletionFlag"]
            bounded(rows, len(names))
            records = list(reader.iterRecords())
            shapes = _shapes(reader, kept)
    except _FAULTS as error:
        kind = type(error).__name__
        raise CannotRead(f"this can't be read as a shapefile ({kind})", _RESAVE) from None
    if len(set(names)) < len(names):
        raise CannotRead("two columns have the same name", _RESAVE)
    columns = list(zip(*records, strict=True)) or [()] * len(names)
    return Layer(
        {name: list(values) for name, values in zip(names, columns, strict=True)}, shapes, crs
    )


def _reader(parts: Mapping[str, bytes], encoding: str) -> Any:
    """The reader of pyshp on the bytes of the parts."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a wrong length in a header, which nothing rests on
        shp, dbf = io.BytesIO(parts[".shp"]), io.BytesIO(parts[".dbf"])
        return pyshp.Reader(shp=shp, dbf=dbf, encoding=encoding)


def _shape_count(shp: bytes, shx: bytes) -> int:
    """How many shapes there are; the index must name them in the order of the file."""
    listed = np.frombuffer(shx[HEADER : len(shx) - (len(shx) - HEADER) % 8], dtype=">i4")
    starts: list[tuple[int, int]] = []
    at = HEADER
    while at < len(shp):
        if at + 12 > len(shp) or len(starts) > MOST_ROWS:
            raise CannotRead("its .shp is cut off, or has more shapes than are read", _RESAVE)
        (words,) = struct.unpack_from(">i", shp, at + 4)
        starts.append((at // 2, words))
        if words < 2:
            raise CannotRead("its .shp has a shape without length", _RESAVE)
        at += 8 + 2 * words
    if not shx.startswith(SIGNATURE) or at > len(shp):
        raise CannotRead("its .shp is cut off, or its .shx is no index", _RESAVE)
    if listed.tolist() != [number for start in starts for number in start]:
        raise CannotRead("its .shx names other shapes than its .shp holds", _RESAVE)
    return len(starts)


def _kept(dbf: bytes) -> np.ndarray:
    """Which rows of a .dbf are not marked as deleted."""
    if len(dbf) < 33:
        raise CannotRead("its .dbf is cut off", _RESAVE)
    rows, header, width = struct.unpack_from("<IHH", dbf, 4)
    if width < 1 or header + rows * width > len(dbf):
        raise CannotRead("its .dbf is cut off", _RESAVE)
    flags = np.frombuffer(dbf, dtype="S1", offset=header, count=rows * width)[::width]
    kept = np.asarray(flags == KEPT)
    if not (kept | np.asarray(flags == DELETED)).all():
        raise CannotRead("its .dbf is damaged", _RESAVE)
    return kept


def _shapes(reader: Any, kept: np.ndarray) -> np.ndarray:
    """Shapes of the rows that are kept."""
    logging.getLogger(pyshp.__name__).setLevel(
        logging.ERROR
    )  # outlines are checked later, and told
    made: list[Any] = []
    pairs = 0
    for i, found in enumerate(reader.iterShapes()):
        pairs += len(getattr(found, "parts", ())) ** 2
        if pairs > RING_PAIRS:
            what = "its shapes have too many rings to tell which lies in which"
            raise CannotRead(what, "Save it as GeoPackage.", row=i + FIRST_ROW)
        if kept[i]:
            empty = found.shapeType == pyshp.NULL or not found.points
            made.append(None if empty else shape(found.__geo_interface__))
    shapes = np.full(len(made), None, dtype=object)
    shapes[:] = made
    return shapes


def _encoding(dbf: bytes, cpg: bytes | None) -> str:
    """Encoding of the texts: what the .cpg or the .dbf says, else UTF-8 if it is that."""
    if cpg is not None and cpg.strip():
        said = cpg.decode("latin-1").strip("\xef\xbb\xbf \r\n\t\0").lower()
        number = re.sub(r"^(?:ansi|cp|windows|ibm|oem)?[ _-]?(?=\d)", "", said)
        names = {"65001": "utf-8", "utf8": "utf-8", "utf-8": "utf-8", "88591": "latin-1"}
        known = names.get(number) or {
            "iso-8859-1": "latin-1",
            "iso 8859-1": "latin-1",
            "iso88591": "latin-1",
            "latin1": "latin-1",
        }.get(said)
        if known is None and re.fullmatch(r"(437|85[027]|86[056]|125[0-8])", number):
            known = f"cp{number}"
        if known is None:
            raise CannotRead("its .cpg names an encoding that is not read", _RESAVE)
        return known
    if dbf[29] in _PAGES:
        return _PAGES[dbf[29]]
    try:
        dbf[32:].decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _crs(prj: bytes | None) -> pyproj.CRS | None:
    """The coordinate system of a .prj."""
    text = (prj or b"").decode("utf-8", errors="replace").strip("\ufeff\0 \t\r\n")
    return stated(text, "its .prj") if text else None
