"""GeoPackage to rows: an SQLite database in memory that may only be read, table by table."""

from __future__ import annotations

import re
import sqlite3
import struct
from contextlib import closing
from datetime import datetime
from typing import Any

import numpy as np
import pyproj
import shapely

from spreadnet.evidence.limits import DEEPEST, VECTOR_BYTES
from spreadnet.evidence.vector.layers import (
    CannotRead,
    Layer,
    bounded,
    choose_layer,
    no_geometry,
    stated,
)

SIGNATURE = b"SQLite format 3\0"
_MODES = slice(18, 20)  # bytes of the header that say whether there is a write-ahead log
_ROLLBACK = b"\x01\x01"  # there is none
STEPS = 1_000  # of SQLite between two looks at how far it has come
MOST_STEPS = 200_000  # thousands of steps; a table of MOST_CELLS takes a tenth
_ENVELOPES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}  # bytes, OGC 12-128r18, clause 2.1.3
_POINT, _LINE, _POLYGON, _COLLECTION = 1, 2, 3, 7  # kinds of shape in WKB; 4 to 7 hold others
FIRST_ROW = 2


def read_geopackage(data: bytes, *, table: str) -> Layer:
    """
    Rows of the layer of a GeoPackage that holds a table.

    SQLite gets a copy of the bytes, no file. It may read plain tables and nothing else: no views,
    virtual tables, functions or other databases, so nothing in the file can act.

    Parameters
    ----------
    data : bytes
        The whole file.
    table : str
        `lakes` or `landings`; the layer of that name is read, or the only one.

    Returns
    -------
    layer : Layer

    Raises
    ------
    CannotRead
        If the file is no GeoPackage, is damaged, or holds something that is not read.
    """
    if not data.startswith(SIGNATURE) or len(data) < 100:
        raise CannotRead("this is not a GeoPackage: it does not begin as an SQLite database does")
    if data[_MODES] != _ROLLBACK:  # a log that is empty changes nothing; a full one is refused
        data = data[: _MODES.start] + _ROLLBACK + data[_MODES.stop :]
    try:
        with closing(sqlite3.connect(":memory:", isolation_level=None)) as base:
            base.deserialize(data)
            del data
            _shut(base)
            return _layer(base, table)
    except (sqlite3.Error, OverflowError, UnicodeDecodeError) as error:
        kind = type(error).__name__
        raise CannotRead(f"this can't be read as a GeoPackage ({kind})") from None


def _shut(base: sqlite3.Connection) -> None:
    """Let a database be read only, plainly, and not for ever."""
    base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, VECTOR_BYTES)
    base.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
    base.execute("PRAGMA trusted_schema = OFF")
    base.execute("PRAGMA query_only = ON")
    base.execute("PRAGMA cell_size_check = ON")
    allowed = {sqlite3.SQLITE_SELECT, sqlite3.SQLITE_READ}

    def judge(action: int, name: str | None, *_: str | None) -> int:
        """Whether SQLite may take a step of a statement."""
        columns = action == sqlite3.SQLITE_PRAGMA and name == "table_info"
        return sqlite3.SQLITE_OK if columns or action in allowed else sqlite3.SQLITE_DENY

    base.set_authorizer(judge)
    done = [0]

    def count() -> bool:
        """Whether to stop, since no honest table takes so long."""
        done[0] += 1
        return done[0] > MOST_STEPS

    base.set_progress_handler(count, STEPS)


def _layer(base: sqlite3.Connection, table: str) -> Layer:
    """The layer of a table."""
    for needed in ("gpkg_contents", "gpkg_geometry_columns", "gpkg_spatial_ref_sys"):
        if not _is_table(base, needed):
            raise CannotRead(f"this is not a GeoPackage: it has no table {needed}")
    kinds = base.execute("SELECT table_name, data_type FROM gpkg_contents").fetchall()
    named = [name for name, kind in kinds if kind == "features" and isinstance(name, str)]
    if not named and kinds:
        raise no_geometry()
    name = named[choose_layer(named, table)]
    if not _is_table(base, name):
        raise CannotRead("its layer is a view or a link to another source, which is not read")
    found = base.execute(
        "SELECT column_name, srs_id FROM gpkg_geometry_columns WHERE table_name = ?", (name,)
    ).fetchone()
    if found is None:
        raise no_geometry()
    crs = _crs(base, found[1])
    return _rows(base, name, str(found[0]), crs)


def _is_table(base: sqlite3.Connection, name: str) -> bool:
    """Whether a name is that of a table with pages of its own: no view, no virtual table."""
    found = base.execute(
        "SELECT rootpage FROM sqlite_master WHERE type = 'table' AND name = ?", (name,)
    ).fetchone()
    return found is not None and bool(found[0])


def _crs(base: sqlite3.Connection, srs_id: Any) -> pyproj.CRS | None:
    """The coordinate system of an entry of `gpkg_spatial_ref_sys`; None when it is undefined."""
    found = base.execute(
        "SELECT organization, organization_coordsys_id, definition FROM gpkg_spatial_ref_sys"
        " WHERE srs_id = ?",
        (srs_id,),
    ).fetchone()
    if found is None:
        return None
    organization, code, definition = (str(part) for part in found)
    if re.match(r"(?i)\s*$|undefined|(local_cs|engcrs)\W+(undefined|unknown)", definition):
        return None
    if organization.upper() in ("EPSG", "ESRI"):
        return stated(f"{organization}:{code}", "its coordinate system")
    return stated(definition, "its coordinate system")


def _rows(base: sqlite3.Connection, name: str, geometry: str, crs: pyproj.CRS | None) -> Layer:
    """Every row of a layer, in the order of its row ids."""
    quoted = '"' + name.replace('"', '""') + '"'
    kinds = {c[1]: str(c[2]).upper() for c in base.execute(f"PRAGMA table_info({quoted})")}
    place = next((n for n in kinds if n.lower() == geometry.lower()), None)
    if place is None:
        raise no_geometry()
    cursor = base.execute(f"SELECT * FROM {quoted} ORDER BY rowid")
    names = [column[0] for column in cursor.description]
    rows = _fetched(cursor, width=len(names))
    values = zip(*rows, strict=True) if rows else [()] * len(names)  # columns without a row too
    columns = dict(zip(names, values, strict=True))
    del rows
    blobs = columns.pop(place, ())
    shapes = np.full(len(blobs), None, dtype=object)
    for i, blob in enumerate(blobs):
        shapes[i] = _shape(blob, i + FIRST_ROW)
    return Layer(
        {n: [_value(v, kinds[n]) for v in values] for n, values in columns.items()}, shapes, crs
    )


def _fetched(cursor: sqlite3.Cursor, *, width: int) -> list[tuple[Any, ...]]:
    """Rows of a layer; damaged pages may show the same bytes again and again."""
    rows: list[tuple[Any, ...]] = []
    size = 0
    for row in cursor:
        rows.append(row)
        size += sum(len(value) for value in row if isinstance(value, bytes | str))
        bounded(len(rows), width)
        if size > VECTOR_BYTES:
            raise CannotRead("its rows hold more than the file does")
    return rows


def _value(value: Any, kind: str) -> Any:
    """A stored value by the kind that its column is declared to have."""
    if kind == "BOOLEAN" and value in (0, 1):
        return bool(value)
    if kind == "DATETIME" and isinstance(value, str):
        try:
            return datetime.fromisoformat(value)
        except ValueError:
            return value
    return "(binary)" if isinstance(value, bytes) else value


def _shape(blob: Any, row: int) -> Any:
    """The shape of a geometry blob, OGC 12-128r18, clause 2.1.3; None where there is none."""
    if blob is None:
        return None
    try:
        if blob[:2] != b"GP" or blob[3] & 0b100000:  # an extended blob holds what is not WKB
            raise ValueError
        wkb = blob[8 + _ENVELOPES[blob[3] >> 1 & 0b111] :]
        if _end(wkb, 0) > len(wkb):
            raise ValueError
        return shapely.from_wkb(wkb)
    except (TypeError, ValueError, LookupError, struct.error, shapely.errors.ShapelyError):
        what = "its geometry is no point, line, polygon or set of these"
        raise CannotRead(what, row=row) from None


def _end(wkb: bytes, start: int, depth: int = 0) -> int:
    """
    Where a shape in WKB ends, told without making it.

    GEOS follows shapes in shapes as deep as they go, and a file of a megabyte can hold so many that
    the process dies of it; so depth and kinds are seen to first.
    """
    order = "<" if wkb[start] else ">"
    code, count = struct.unpack_from(f"{order}II", wkb, start + 1)
    kind, more = code % 1000, code // 1000  # 1001 is a point with height, 3001 with height and M
    if more > 3 or not _POINT <= kind <= _COLLECTION or depth > DEEPEST:
        raise ValueError(code)
    width = 8 * (2 + (more > 0) + (more > 2))
    at = start + 9
    if kind == _POINT:
        return start + 5 + width
    if kind == _LINE:
        return at + count * width
    for _ in range(count):
        if kind == _POLYGON:
            (points,) = struct.unpack_from(f"{order}I", wkb, at)
            at += 4 + points * width
        else:
            at = _end(wkb, at, depth + 1)
    return at
