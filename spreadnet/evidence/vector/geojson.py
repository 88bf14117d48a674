"""GeoJSON to rows, with no driver between: text, then numbers, then shapes."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pyproj
import shapely
from shapely.geometry import shape

from spreadnet.evidence.limits import DEEPEST, JSON_PARTS
from spreadnet.evidence.personal import brief
from spreadnet.evidence.vector.layers import RESAVE, CannotRead, Layer, bounded, stated

FIRST_ROW = 2  # of the first feature, as in its attribute table
_DEGREES = "OGC:CRS84"  # RFC 7946: what coordinates are in when nothing is said
_SHAPES = {
    *("Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon"),
    "GeometryCollection",
}
_KINDS = ("FeatureCollection", "Feature")


def read_geojson(data: bytes) -> Layer:
    """
    Rows of a GeoJSON file (RFC 7946, and the `crs` member that went before it).

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    layer : Layer
        One row a feature.

    Raises
    ------
    CannotRead
        If the file is no `FeatureCollection` or `Feature`, or a shape in it is none.

    Examples
    --------
    >>> point = '{"type": "Point", "coordinates": [-128, -41]}'
    >>> text = '{"type": "Feature", "properties": {"lake_id": "007"}, "geometry": %s}' % point
    >>> layer = read_geojson(text.encode())
    >>> layer.attributes, layer.shapes[0].wkt
    ({'lake_id': ['007']}, 'POINT (-128 -41)')
    """
    read = _json(data)
    del data
    kind = read.get("type") if isinstance(read, dict) else None
    if kind not in _KINDS:
        said = f"'{brief(kind)}'" if isinstance(kind, str) else "missing"
        raise CannotRead(f"this is not GeoJSON: its type is {said}, not FeatureCollection")
    features = read.get("features") if kind == "FeatureCollection" else [read]
    if not isinstance(features, list):
        raise CannotRead("this is not GeoJSON: its features are no list")
    bounded(len(features), 1)
    crs = _crs(read)
    shapes = np.full(len(features), None, dtype=object)
    attributes: dict[str, list[Any]] = {}
    for i, feature in enumerate(features):
        if not isinstance(feature, dict) or feature.get("type") != "Feature":
            raise CannotRead("this is no Feature of GeoJSON", row=i + FIRST_ROW)
        for name, value in (_members(feature, "properties", i) or {}).items():
            if name not in attributes:
                bounded(len(features), len(attributes) + 1)
                attributes[name] = [None] * len(features)
            attributes[name][i] = _plain(value)
        shapes[i] = _shape(_members(feature, "geometry", i), i + FIRST_ROW)
        features[i] = None  # so that numbers as text, lists and shapes are never all held
    return Layer(attributes, shapes, crs)


def _json(data: bytes) -> Any:
    """What the bytes say, when they are JSON."""
    if sum(map(data.count, (b",", b"[", b"{"))) > JSON_PARTS:
        raise CannotRead(
            f"the file has more than {JSON_PARTS} numbers, lists and objects",
            "Keep only the lakes of your region, simplify their outlines, or save as GeoPackage.",
            why="It would take more memory than many computers have.",
            code="too-large",
        )
    try:
        return json.loads(data.decode(json.detect_encoding(data)).removeprefix("\ufeff"))
    except RecursionError:
        raise CannotRead("brackets stand too deep in brackets to be read") from None
    except ValueError as error:  # no JSON, no text, or a number of thousands of digits
        where = f" (line {error.lineno})" if isinstance(error, json.JSONDecodeError) else ""
        raise CannotRead(f"this is not GeoJSON text{where}") from None


def _members(feature: dict[str, Any], name: str, position: int) -> dict[str, Any] | None:
    """Properties or geometry of a feature."""
    found = feature.get(name)
    if found is not None and not isinstance(found, dict):
        raise CannotRead(f"its {name} is not written as GeoJSON", row=position + FIRST_ROW)
    return found


def _plain(value: Any) -> Any:
    """A property; lists and objects as their JSON."""
    return json.dumps(value, ensure_ascii=False) if isinstance(value, list | dict) else value


def _shape(geometry: dict[str, Any] | None, row: int) -> Any:
    """A shape of GeoJSON, None where there is none."""
    if geometry is None:
        return None
    if not _known(geometry):
        raise CannotRead("its geometry is no shape of GeoJSON", row=row)
    try:
        return shape(geometry)
    except (ValueError, TypeError, LookupError, AttributeError, shapely.errors.ShapelyError):
        raise CannotRead("the coordinates of its geometry are no shape", row=row) from None


def _known(geometry: Any, depth: int = 0) -> bool:
    """Whether a geometry, and those in it, are of kinds that GeoJSON has."""
    if depth > DEEPEST or not isinstance(geometry, dict) or geometry.get("type") not in _SHAPES:
        return False
    inner = geometry.get("geometries", []) if geometry["type"] == "GeometryCollection" else []
    return isinstance(inner, list) and all(_known(part, depth + 1) for part in inner)


def _crs(read: dict[str, Any]) -> pyproj.CRS | None:
    """Longitude and latitude, or what the older `crs` member names."""
    if "crs" not in read:
        return stated(_DEGREES, "its crs")
    member = read["crs"]
    if member is None:
        return None
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(member, dict) or member.get("type") != "name" or not isinstance(name, str):
        raise CannotRead(
            "its crs is not given by name (a link to one is not followed)",
            f"Save it again in longitude and latitude, which GeoJSON is in. {RESAVE}",
            why="Without it the places can't be put on a map or measured.",
            code="crs-unknown",
        )
    return stated(name, "its crs")
