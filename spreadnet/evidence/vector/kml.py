"""KML to rows: placemarks with their extended data, and no link followed."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from xml.etree.ElementTree import Element, ParseError

import numpy as np
import shapely
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from spreadnet.evidence.limits import DEEPEST, DEEPEST_XML, MOST_ROWS, XML_PARTS
from spreadnet.evidence.vector.layers import CannotRead, Layer, bounded, choose_layer, stated

FIRST_ROW = 2
_HOLDERS = ("Document", "Folder")
_SHAPES = ("Point", "LineString", "LinearRing", "Polygon", "MultiGeometry")
_RESAVE = "Open it in a GIS and save it again as KML, or as GeoPackage."


@dataclass(slots=True, eq=False)
class _Folder:
    """Placemarks that stand directly in a folder or document."""

    name: str = ""
    rows: list[dict[str, str]] = field(default_factory=list)
    shapes: list[Any] = field(default_factory=list)


def read_kml(data: bytes, *, table: str) -> Layer:
    """
    Rows of the folder of a KML file that holds a table.

    Parameters
    ----------
    data : bytes
        The whole file.
    table : str
        `lakes` or `landings`; the folder of that name is read, or the only one with placemarks.

    Returns
    -------
    layer : Layer
        Columns `name`, `description` and those of the extended data; longitude and latitude.

    Raises
    ------
    CannotRead
        If the file is no KML, has a document type or a link, or a shape in it is none.

    Examples
    --------
    >>> mark = "<Placemark><name>Duck</name><Point><coordinates>-128,-41,5</coordinates></Point>"
    >>> layer = read_kml(f"<kml>{mark}</Placemark></kml>".encode(), table="lakes")
    >>> layer.attributes, layer.shapes[0].wkt
    ({'name': ['Duck']}, 'POINT Z (-128 -41 5)')
    """
    try:
        folders = [folder for folder in _folders(data) if folder.rows]
    except (ParseError, DefusedXmlException, ValueError, LookupError) as error:
        kind = type(error).__name__
        raise CannotRead(f"this can't be read as KML ({kind})", _RESAVE) from None
    folder = folders[choose_layer([f.name for f in folders], table)]
    names = list(dict.fromkeys(name for row in folder.rows for name in row))
    bounded(len(folder.rows), len(names))
    shapes = np.full(len(folder.rows), None, dtype=object)
    shapes[:] = folder.shapes
    attributes: dict[str, list[Any]] = {n: [r.get(n) for r in folder.rows] for n in names}
    return Layer(attributes, shapes, stated("OGC:CRS84", "its coordinate system"))


def _folders(data: bytes) -> list[_Folder]:
    """Every folder and document of a file in its order, also those without placemarks."""
    folders = [_Folder()]
    inside = [folders[0]]
    open_parts: list[str] = []
    for event, part in _events(data):
        name = _local(part)
        if event == "start":
            if not open_parts and name != "kml":
                raise CannotRead(f"this is not KML: it begins with <{name[:40]}>", _RESAVE)
            if name == "NetworkLink":
                mend = "Save it with what the link shows: only what is in the file is read."
                raise CannotRead("the file links to another one, which is not followed", mend)
            open_parts.append(name)
            if name in _HOLDERS:
                inside.append(_Folder())
                folders.append(inside[-1])
            continue
        open_parts.pop()
        if name in _HOLDERS:
            inside.pop()
        elif name == "name" and open_parts[-1:] and open_parts[-1] in _HOLDERS:
            inside[-1].name = _text(part)
        elif name == "Placemark":
            _add(inside[-1], part)
        if "Placemark" not in open_parts:
            part.clear()
    return folders


def _events(data: bytes) -> Iterator[tuple[str, Element]]:
    """Starts and ends of elements, as long as they are not too many or too deep."""
    depth = count = 0
    for event, part in iterparse(io.BytesIO(data), events=("start", "end"), forbid_dtd=True):
        count += event == "start"
        depth += 1 if event == "start" else -1
        if count > XML_PARTS or depth > DEEPEST_XML:
            raise CannotRead("it has more parts, or parts in parts, than are read", _RESAVE)
        yield event, part


def _local(part: Element) -> str:
    """Name of an element without its namespace."""
    return str(part.tag).rpartition("}")[2]


def _text(part: Element) -> str:
    """Text of an element."""
    return (part.text or "").strip()


def _add(folder: _Folder, placemark: Element) -> None:
    """A placemark as a row of its folder."""
    if len(folder.rows) >= MOST_ROWS:
        raise CannotRead(f"the file has more than {MOST_ROWS} placemarks", _RESAVE)
    values: dict[str, str] = {}
    shape = None
    for part in placemark:
        name = _local(part)
        if name in ("name", "description"):
            values[name] = _text(part)
        elif name == "ExtendedData":
            values |= _extended(part)
        elif name in _SHAPES:
            try:
                shape = _shape(part)
            except (ValueError, shapely.errors.ShapelyError):
                row = len(folder.rows) + FIRST_ROW
                raise CannotRead("its coordinates are no shape", _RESAVE, row=row) from None
    folder.rows.append(values)
    folder.shapes.append(shape)


def _extended(part: Element) -> dict[str, str]:
    """Extended data, named directly or by a schema."""
    values = {}
    for item in part.iter():
        name, kind = item.get("name"), _local(item)
        if kind == "SimpleData" and name:
            values[name] = _text(item)
        elif kind == "Data" and name:
            values[name] = next((_text(v) for v in item if _local(v) == "value"), "")
    return values


def _shape(part: Element, depth: int = 0) -> Any:
    """A shape of KML."""
    kind = _local(part)
    if kind == "MultiGeometry":
        if depth > DEEPEST:
            raise ValueError(depth)
        return _gathered([_shape(p, depth + 1) for p in part if _local(p) in _SHAPES])
    if kind == "Polygon":
        rings = {"outerBoundaryIs": [], "innerBoundaryIs": []}  # type: dict[str, list[Any]]
        for side in part:
            if _local(side) in rings:
                rings[_local(side)] += [_points(ring) for ring in side]
        outer, holes = rings["outerBoundaryIs"], rings["innerBoundaryIs"]
        return shapely.Polygon(outer[0], holes) if outer else shapely.Polygon()
    made = {"Point": shapely.Point, "LineString": shapely.LineString}
    return made.get(kind, shapely.LinearRing)(_points(part))


def _gathered(shapes: list[Any]) -> Any:
    """Shapes as one: a multipolygon or multipoint where all are of that kind."""
    kinds = {shape.geom_type for shape in shapes}
    if kinds == {"Polygon"}:
        return shapely.MultiPolygon(shapes)
    if kinds == {"Point"}:
        return shapely.MultiPoint(shapes)
    return shapely.GeometryCollection(shapes)


def _points(part: Element) -> list[tuple[float, ...]]:
    """Points of an element, `longitude,latitude[,height]` parted by spaces."""
    said = next((_text(p) for p in part if _local(p) == "coordinates"), "")
    points = [tuple(float(number) for number in point.split(",")) for point in said.split()]
    if {len(point) for point in points} - {2, 3}:
        raise ValueError(said[:40])
    least = min((len(point) for point in points), default=2)
    return [point[:least] for point in points]
