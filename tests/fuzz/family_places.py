"""Mutants of geometry: outlines of lakes and points of landings, and their coordinate systems."""

from __future__ import annotations

import json
import random
from typing import Any

from base_region import HALF_LAKE, Folder, base_folder
from judge import ACCEPT, EITHER, FREE, REFUSE, Right
from written import features

Made = tuple[Folder, Right, str]
MOVED = Right(
    "either",
    {("lakes", ..., name): (...,) for name in ("shape_m2", "longitude", "latitude")},
)


def _collection(folder: Folder, table: str = "lakes") -> dict[str, Any]:
    """A table as a feature collection, to be changed."""
    return features(folder, table, folder.sheets[table])


def _written(folder: Folder, made: Any, table: str = "lakes") -> Folder:
    """The folder with a GeoJSON in place of a table."""
    data = made if isinstance(made, bytes) else json.dumps(made).encode()
    return folder.with_raw(**{f"{table}__csv": None, f"{table}__geojson": data})


def same_outline(rng: random.Random, folder: Folder, _: object) -> Made:
    """Outlines written in another way: other start, other turn, heights, parts, more decimals."""
    base = base_folder(folder.place, outlines=True)
    made = _collection(base)
    said = []
    for feature in made["features"]:
        ring = feature["geometry"]["coordinates"][0][:-1]
        turn = rng.randrange(4)
        ring = ring[turn:] + ring[:turn]
        ring = ring[::-1] if rng.random() < 0.5 else ring
        ring = [*ring, ring[0]]
        way = rng.choice(
            ("plain", "height", "twice", "middle", "multi", "members", "endless height")
        )
        if way in ("height", "endless height"):
            ring = [[*point, 87.5] for point in ring]
        if way == "twice":
            ring = [point for point in ring for _ in (0, 1)]
        if way == "middle":
            half = [(a + b) / 2 for a, b in zip(ring[0], ring[1], strict=True)]
            ring = [ring[0], half, *ring[1:]]
        feature["geometry"]["coordinates"] = [ring]
        if way == "multi":
            feature["geometry"] = {"type": "MultiPolygon", "coordinates": [[ring]]}
        if way == "members":
            feature |= {"id": rng.choice((7, "seven")), "bbox": [0, 0, 1, 1], "foreign": {"a": [1]}}
        said.append(way)
    return _written(base, made), ACCEPT, ", ".join(said)


def odd_outline(rng: random.Random, folder: Folder, _: object) -> Made:
    """The outline of one lake in a shape that no lake has."""
    base = base_folder(folder.place, outlines=True)
    made = _collection(base)
    at = rng.randrange(len(made["features"]))
    w, s = made["features"][at]["geometry"]["coordinates"][0][0]
    e, n = w + 2 * HALF_LAKE, s + 2 * HALF_LAKE
    square = [[w, s], [e, s], [e, n], [w, n], [w, s]]
    name, shape, right = rng.choice(_odd_shapes(w, s, e, n, square))
    made["features"][at]["geometry"] = shape
    return _written(base, made), right, f"lake {at}: {name}"


def _odd_shapes(
    w: float, s: float, e: float, n: float, square: list[list[float]]
) -> tuple[tuple[str, Any, Right], ...]:
    """Shapes by name, with what is right of each."""
    inner = [[w + 0.002, s + 0.002], [w + 0.002, s + 0.004], [w + 0.004, s + 0.004]]
    far = [[x + 1, y + 1] for x, y in square]

    def polygon(*rings: Any) -> dict[str, Any]:
        return {"type": "Polygon", "coordinates": list(rings)}

    return (
        ("none", None, REFUSE),
        ("empty", polygon(), REFUSE),
        ("empty ring", polygon([]), REFUSE),
        ("bow tie", polygon([[w, s], [e, n], [e, s], [w, n], [w, s]]), MOVED),
        ("open ring", polygon(square[:-1]), EITHER),
        ("two points", polygon([[w, s], [e, s], [w, s]]), REFUSE),
        ("no area", polygon([[w, s], [e, s], [e, s], [w, s]]), REFUSE),
        ("one point", polygon([[w, s]] * 5), REFUSE),
        ("line", {"type": "LineString", "coordinates": square}, REFUSE),
        ("points", {"type": "MultiPoint", "coordinates": square}, REFUSE),
        ("collection", {"type": "GeometryCollection", "geometries": [polygon(square)]}, EITHER),
        ("unknown kind", {"type": "Circle", "coordinates": [w, s]}, REFUSE),
        ("no kind", {"coordinates": square}, REFUSE),
        ("text", "POLYGON ((0 0, 1 0, 1 1, 0 0))", REFUSE),
        ("nan", polygon([[w, float("nan")], *square[1:-1], [w, float("nan")]]), REFUSE),
        ("endless", polygon([[w, 1e999], *square[1:-1], [w, 1e999]]), REFUSE),
        ("1e300", polygon([[w, 1e300], *square[1:-1], [w, 1e300]]), REFUSE),
        ("words", polygon([["a", "b"], *square[1:]]), REFUSE),
        ("null in it", polygon([None, *square[1:]]), REFUSE),
        ("one number", polygon([[w], *square[1:]]), REFUSE),
        ("swapped", polygon([[y, x] for x, y in square]), REFUSE),
        ("hole outside", polygon(square, [*far[:3], far[0]]), MOVED),
        ("hole", polygon(square, [*inner, inner[0]]), MOVED),
        ("hole is all", polygon(square, square), MOVED),
        ("two far parts", {"type": "MultiPolygon", "coordinates": [[square], [far]]}, FREE),
        ("part twice", {"type": "MultiPolygon", "coordinates": [[square], [square]]}, EITHER),
        (
            "whole world",
            polygon([[-180, -90], [180, -90], [180, 90], [-180, 90], [-180, -90]]),
            REFUSE,
        ),
        ("null island", polygon([[0, 0]] * 5), REFUSE),
        ("spike", polygon([*square[:2], [e + 0.5, s], *square[1:]]), MOVED),
        ("many holes", polygon(square, *[[*inner, inner[0]]] * 50), MOVED),
    )


def odd_collection(rng: random.Random, folder: Folder, _: object) -> Made:
    """A GeoJSON whose frame is odd."""
    base = base_folder(folder.place, outlines=True)
    made = _collection(base)
    text = json.dumps(made)
    name, data, right = rng.choice(
        (
            ("a list", json.dumps(made["features"]), REFUSE),
            ("one feature", json.dumps(made["features"][0]), REFUSE),
            ("no features", json.dumps({**made, "features": []}), REFUSE),
            ("features null", json.dumps({**made, "features": None}), REFUSE),
            ("a feature null", json.dumps({**made, "features": [None, *made["features"]]}), EITHER),
            ("comment", "/* lakes */" + text, REFUSE),
            ("mark", "\ufeff" + text, EITHER),
            ("twice", text + text, REFUSE),
            ("lines", "\n".join(json.dumps(f) for f in made["features"]), REFUSE),
            ("trailing comma", text[:-1] + ",}", EITHER),
            ("single quotes", text.replace('"', "'"), REFUSE),
            ("utf-16", text, EITHER),
            ("spaces first", "\n" * 3000 + text, EITHER),
            ("type twice", text.replace('{"type"', '{"type": "Topology", "type"', 1), EITHER),
            ("topology", json.dumps({"type": "Topology", "objects": {}, "arcs": []}), REFUSE),
            (
                "properties null",
                text.replace('"properties": {', '"properties": null, "p": {'),
                REFUSE,
            ),
            ("nested", text.replace('"001"', '{"a": {"b": ["001"]}}', 1), REFUSE),
            ("a number", text.replace('"001"', "1", 1), REFUSE),
            ("a true", text.replace('"001"', "true", 1), REFUSE),
            ("a heading twice", text.replace('"name":', '"NAME": "x", "name":', 1), REFUSE),
        )
    )
    content = data.encode("utf-16") if name == "utf-16" else data.encode()
    return _written(base, content), right, name


def crs_said(rng: random.Random, folder: Folder, _: object) -> Made:
    """A GeoJSON that says another coordinate system than it is in, or is in another."""
    base = base_folder(folder.place, outlines=True)
    made = _collection(base)
    code, right = rng.choice(
        (
            ("urn:ogc:def:crs:OGC:1.3:CRS84", ACCEPT),
            ("EPSG:4326", EITHER),
            ("urn:ogc:def:crs:EPSG::4326", EITHER),
            ("urn:ogc:def:crs:EPSG::3857", REFUSE),
            ("urn:ogc:def:crs:EPSG::32709", REFUSE),
            ("EPSG:99999", EITHER),
            ("EPSG:4979", EITHER),
            ("EPSG:5703", EITHER),
            ("nonsense", EITHER),
            ("", EITHER),
            ("+proj=pipeline +step +proj=utm +zone=9 +south", EITHER),
        )
    )
    made["crs"] = {"type": "name", "properties": {"name": code}}
    return _written(base, made), right, code


def metres(rng: random.Random, folder: Folder, _: object) -> Made:
    """Lakes in metres of a projected system that the file states, or does not."""
    import geopandas as gpd

    base = base_folder(folder.place, outlines=True)
    frame = gpd.GeoDataFrame.from_features(_collection(base)["features"], crs=4326)
    zone = 32700 + int((frame.total_bounds[0] + 180) // 6) + 1
    if folder.place == 2:
        return _written(base, _collection(base)), ACCEPT, "as it was"
    moved = frame.to_crs(zone)
    stated = rng.random() < 0.5
    made = json.loads(moved.to_json(drop_id=True))
    made.pop("crs", None)
    if stated:
        name = f"urn:ogc:def:crs:EPSG::{zone}"
        made["crs"] = {"type": "name", "properties": {"name": name}}
    right = Right("accept", {("lakes", ..., "shape_m2"): (...,)}) if stated else REFUSE
    return _written(base, made), right, f"metres of {zone}, stated {stated}"


def odd_landing(rng: random.Random, folder: Folder, _: object) -> Made:
    """A landing in a GeoJSON that is no point, or nowhere."""
    made = _collection(folder, "landings")
    at = rng.randrange(len(made["features"]))
    lon, lat = made["features"][at]["geometry"]["coordinates"]
    loose = {("landings", at, "*"): (...,)}
    name, shape, right = rng.choice(
        (
            ("none", None, Right("either", loose)),
            ("many points", {"type": "MultiPoint", "coordinates": [[lon, lat]]}, EITHER),
            ("line", {"type": "LineString", "coordinates": [[lon, lat], [lon, lat]]}, REFUSE),
            ("empty", {"type": "Point", "coordinates": []}, Right("either", loose)),
            ("nan", {"type": "Point", "coordinates": [lon, float("nan")]}, REFUSE),
            ("height", {"type": "Point", "coordinates": [lon, lat, 12]}, ACCEPT),
            ("four numbers", {"type": "Point", "coordinates": [lon, lat, 1, 2]}, EITHER),
            ("far", {"type": "Point", "coordinates": [lon, lat + 0.5]}, REFUSE),
            ("swapped", {"type": "Point", "coordinates": [lat, lon]}, REFUSE),
            ("turned", {"type": "Point", "coordinates": [-lon, lat]}, REFUSE),
            ("round the world", {"type": "Point", "coordinates": [lon + 360, lat]}, EITHER),
            ("beyond the pole", {"type": "Point", "coordinates": [lon, lat - 90]}, REFUSE),
        )
    )
    made["features"][at]["geometry"] = shape
    return _written(folder, made, "landings"), right, f"landing {at}: {name}"


MUTATORS = {
    "geometry": (
        *(same_outline, odd_outline, odd_outline, odd_collection, crs_said, metres, odd_landing),
    ),
}
