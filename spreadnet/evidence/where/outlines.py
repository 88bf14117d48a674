"""Lake outlines: kinds of shape, repair of invalid ones, and what can't be repaired."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from spreadnet.errors import Problem
from spreadnet.evidence.personal import brief
from spreadnet.evidence.region import Note

MOST_CHANGE = 0.01  # share of its area by which a repair may change a lake; house rule, no source
POLYGONS = ("Polygon", "MultiPolygon")
WIDEST_DEGREES = 180.0  # a shape wider than half the world has been cut the wrong way round


def check_outlines(
    geometry: gpd.GeoSeries, ids: pd.Series, *, file: str, degrees: bool
) -> tuple[gpd.GeoSeries, list[Problem], list[Note]]:
    """
    Outlines fit to measure with, and what was wrong with the others.

    A self-touching outline is repaired without a change of area; one that crosses itself has no
    one area, so a repair that changes it by more than 1% is an error.

    Parameters
    ----------
    geometry : GeoSeries
        Index holds row numbers; polygons, multipolygons, points, or missing.
    ids : Series of str
        Identifier of each row, for messages.
    file : str
        Name of the file in messages.
    degrees : bool
        Whether the coordinates are longitude and latitude.

    Returns
    -------
    geometry, problems, notes : GeoSeries, list of Problem, list of Note
        A new series; rows with a problem hold None.

    Notes
    -----
    `make_valid(method="structure", keep_collapsed=False)` keeps holes as holes and drops spikes,
    which `buffer(0)` does not promise.
    """
    shapes = np.array(geometry, dtype=object)
    problems = _missing(shapes, geometry.index, ids, file=file)
    shapes[shapely.is_empty(shapes)] = None
    shapes = _single_points(shapes)
    repaired, faults, notes = _repair(shapes, geometry.index, ids, file=file)
    problems += faults
    problems += _wrong_kind(repaired, geometry.index, ids, file=file)
    if degrees:
        problems += _too_wide(repaired, geometry.index, ids, file=file)
    bad = geometry.index.isin([p.row for p in problems if p.row is not None])
    repaired[bad] = None
    made = gpd.GeoSeries(repaired, index=geometry.index, crs=geometry.crs)
    return made, problems, notes


def _problem(code: str, file: str, row: int, what: str, why: str, mend: str) -> Problem:
    """A problem in the geometry of a row."""
    return Problem(code, file, what, why, mend, row=row, column="geometry")


def _missing(shapes: np.ndarray, index: pd.Index, ids: pd.Series, *, file: str) -> list[Problem]:
    """Rows without a shape."""
    gone = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    return [
        _problem(
            "missing-value",
            file,
            int(row),
            f"lake '{brief(ids.loc[row])}' has no place",
            "Distances to it can't be measured.",
            "Give its outline or one point; in a CSV fill in longitude and latitude.",
        )
        for row in index[gone]
    ]


def _single_points(shapes: np.ndarray) -> np.ndarray:
    """Multipoints of one point as that point."""
    one = (shapely.get_type_id(shapes) == shapely.GeometryType.MULTIPOINT) & (
        shapely.get_num_geometries(shapes) == 1
    )
    made = shapes.copy()
    made[one] = shapely.get_geometry(shapes[one], 0)
    return made


def _repair(
    shapes: np.ndarray, index: pd.Index, ids: pd.Series, *, file: str
) -> tuple[np.ndarray, list[Problem], list[Note]]:
    """Invalid shapes made valid, unless their area would change by more than 1%."""
    made = shapes.copy()
    where = np.flatnonzero(~shapely.is_valid(shapes) & ~shapely.is_missing(shapes))
    problems, changes = [], []
    for i in where:
        with np.errstate(over="ignore"):  # of coordinates that no place on earth has
            reason = shapely.is_valid_reason(shapes[i])
        fixed = _polygon_parts(
            shapely.make_valid(shapes[i], method="structure", keep_collapsed=False)
        )
        before, after = shapely.area(shapes[i]), shapely.area(fixed)
        change = abs(after - before) / before if before > 0 else np.inf
        if not np.isfinite(change) or change > MOST_CHANGE:
            problems.append(_unrepaired(file, int(index[int(i)]), ids.iloc[i], reason, change))
        made[i] = fixed
        changes.append(change)
    kept = [c for c in changes if c <= MOST_CHANGE]
    notes = []
    if kept:
        text = f"{file}: {len(kept)} invalid outlines repaired; area changed by {max(kept):.2%}"
        notes = [Note("outline-repaired", f"{text} at most")]
    return made, problems, notes


def _polygon_parts(shape: Any) -> Any:
    """The polygons of a collection; any other shape as it is."""
    if shape.geom_type != "GeometryCollection":
        return shape
    parts = [p for p in shapely.get_parts(shape) if p.geom_type in POLYGONS]
    return shapely.union_all(parts) if parts else shape


def _unrepaired(file: str, row: int, lake: str, reason: str, change: float) -> Problem:
    """The problem that a repair would change a lake too much."""
    size = f"by {change:.0%}" if np.isfinite(change) else "beyond measure"
    return _problem(
        "outline-invalid",
        file,
        row,
        f"the outline of lake '{brief(lake)}' is invalid ({reason})",
        f"Repairing it would change its area {size}, so its true shape can't be known.",
        "Redraw it in a GIS, or use a point with area_ha.",
    )


def _wrong_kind(shapes: np.ndarray, index: pd.Index, ids: pd.Series, *, file: str) -> list[Problem]:
    """Shapes that are neither an area nor a point, or an area of nothing."""
    problems = []
    kinds = shapely.get_type_id(shapes)
    area = np.isin(kinds, (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON))
    fit = (area & (shapely.area(shapes) > 0)) | (kinds == shapely.GeometryType.POINT)
    for i in np.flatnonzero(~fit & ~shapely.is_missing(shapes) & shapely.is_valid(shapes)):
        problems.append(
            _problem(
                "geometry-kind",
                file,
                int(index[int(i)]),
                f"lake '{brief(ids.iloc[i])}' is drawn as a {shapes[i].geom_type} without an area",
                "A lake is an area or one point.",
                "Draw its outline as a polygon, or give one point and area_ha.",
            )
        )
    return problems


def _too_wide(shapes: np.ndarray, index: pd.Index, ids: pd.Series, *, file: str) -> list[Problem]:
    """Shapes drawn the long way round the world."""
    bounds = shapely.bounds(shapes)
    wide = np.flatnonzero(bounds[:, 2] - bounds[:, 0] > WIDEST_DEGREES)
    return [
        _problem(
            "antimeridian",
            file,
            int(index[int(i)]),
            f"lake '{brief(ids.iloc[i])}' is {bounds[i, 2] - bounds[i, 0]:.0f} degrees wide",
            "It crosses longitude 180 and was drawn the long way round the world.",
            "Cut it at longitude 180 into two parts of one multipolygon.",
        )
        for i in wide
    ]


def polygon_area_ha(lakes: gpd.GeoSeries) -> pd.Series:
    """
    Area of the outlines in hectares; missing for points.

    Examples
    --------
    >>> square = shapely.box(0, 0, 1000, 1000)
    >>> polygon_area_ha(gpd.GeoSeries([square, shapely.Point(0, 0)], crs=32709)).tolist()
    [100.0, nan]
    """
    area = lakes.area / 10_000
    return area.where(lakes.geom_type.isin(POLYGONS))


UNITS = (("acres", 2.471054), ("square kilometres", 0.01), ("square metres", 10_000.0))
SAME_AREA = 1.5  # factor between stated and measured area that is worth a word


def area_note(stated: pd.Series, measured: pd.Series, *, file: str) -> list[Note]:
    """
    A note when stated areas differ from the outlines by more than a factor of 1.5.

    Examples
    --------
    >>> area_note(pd.Series([247.1], index=["L01"]), pd.Series([100.0]), file="lakes.shp")[0].text
    "lakes.shp: area_ha of 1 lakes differs from the outline by more than a factor of 1.5
    (first: 'L01'); the values look like acres"
    """
    ratio = stated.to_numpy(dtype=float) / measured.to_numpy(dtype=float)
    odd = np.isfinite(ratio) & ((ratio > SAME_AREA) | (ratio < 1 / SAME_AREA))
    if not odd.any():
        return []
    middle = float(np.median(ratio[odd]))
    unit = next((u for u, r in UNITS if 1 / 1.25 < middle / r < 1.25), None)
    likely = f"; the values look like {unit}" if unit else "; the stated areas are used"
    text = f"{file}: area_ha of {int(odd.sum())} lakes differs from the outline by more than a"
    text += f" factor of {SAME_AREA} (first: '{brief(stated.index[odd][0])}'){likely}"
    return [Note("area-unit" if unit else "area-differs", text)]
