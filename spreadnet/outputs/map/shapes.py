"""Shapes made small enough to travel inside the map page; for drawing only."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

DECIMALS = 5  # of a degree, about 1 m
SHARE_OF_SIDE = 0.02  # of the square root of a lake's area: changes no area by more than 10%
LARGEST_TOLERANCE_M = 25.0
STEEPEST_LATITUDE = 85.0  # the page's projection has no poles
LETTERS = np.frombuffer(
    b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_", dtype=np.uint8
)


def pack(numbers: NDArray[np.int64]) -> str:
    """
    Whole numbers as short text, five bits to a letter.

    A state's lakes have hundreds of thousands of corners: as decimal text they would make the page
    twice as long. Small numbers take one letter, so differences between corners take two or three.

    Parameters
    ----------
    numbers : array of int, (N,)
        Any whole numbers.

    Returns
    -------
    text : str
        Letters that need no escaping anywhere. Each number has its sign moved to the lowest bit
        and is written lowest five bits first; 32 is added to every letter but its last.

    Examples
    --------
    >>> pack(np.array([0, 1, -1, 16]))
    'ACBgB'
    """
    values = np.asarray(numbers, dtype=np.int64)
    bits = ((values << 1) ^ (values >> 63)).astype(np.uint64)
    if not bits.size:
        return ""
    most = max(1, -(-int(bits.max()).bit_length() // 5))
    places = np.arange(most, dtype=np.uint64) * np.uint64(5)
    left = bits[:, None] >> places[None, :]
    used = left > 0
    used[:, 0] = True
    more = np.zeros_like(used)
    more[:, :-1] = used[:, 1:]
    codes = (left & np.uint64(31)).astype(np.uint8) + np.uint8(32) * more
    return LETTERS[codes[used]].tobytes().decode("ascii")


def simplified(shapes: gpd.GeoSeries) -> gpd.GeoSeries:
    """
    Lake shapes with fewer corners.

    The tolerance follows each lake's size: a fixed one ruins small lakes.

    Parameters
    ----------
    shapes : geopandas.GeoSeries
        Shapes in a projected CRS in metres.

    Returns
    -------
    shapes : geopandas.GeoSeries
        The same index and CRS; no area changes by more than a few percent.
    """
    tolerance = np.minimum(SHARE_OF_SIDE * np.sqrt(shapes.area), LARGEST_TOLERANCE_M)
    thin = shapely.simplify(shapes.to_numpy(), tolerance.to_numpy(), preserve_topology=True)
    return gpd.GeoSeries(thin, index=shapes.index, crs=shapes.crs)


def degrees(shapes: gpd.GeoSeries, *, turned: bool) -> gpd.GeoSeries:
    """
    Shapes in longitude and latitude.

    Parameters
    ----------
    shapes : geopandas.GeoSeries
        Shapes in a projected CRS.
    turned : bool
        Whether western longitudes are written as 180 and more, for a region across 180 degrees.

    Returns
    -------
    shapes : geopandas.GeoSeries
        The same index, longitude first.

    """
    world = shapes.to_crs(4326)

    def turn(points: NDArray[np.float64]) -> NDArray[np.float64]:
        shift = np.where(points[:, 0] < 0, 360.0, 0.0) if turned else 0.0
        return np.column_stack([points[:, 0] + shift, points[:, 1]])

    return gpd.GeoSeries(shapely.transform(world.to_numpy(), turn), index=shapes.index, crs=4326)


def off_the_map(shapes: gpd.GeoSeries) -> list[str]:
    """
    Ids of shapes that the page's projection can't show.

    Parameters
    ----------
    shapes : geopandas.GeoSeries
        Shapes in a projected CRS, by id.

    Returns
    -------
    ids : list of str
        Those with a corner beyond 85 degrees, or with no place in degrees at all.
    """
    points, row = shapely.get_coordinates(shapes.to_crs(4326).to_numpy(), return_index=True)
    bad = ~(np.isfinite(points).all(axis=1) & (np.abs(points[:, 1]) <= STEEPEST_LATITUDE))
    return [str(name) for name in shapes.index[np.unique(row[bad])]]


def crosses_180(shapes: gpd.GeoSeries) -> bool:
    """
    Whether a region lies across 180 degrees of longitude.

    Parameters
    ----------
    shapes : geopandas.GeoSeries
        Shapes in a projected CRS.

    Returns
    -------
    crosses : bool
        True if western longitudes must be turned for the region to hold together.

    Raises
    ------
    ValueError
        If a coordinate has no place on the map (swapped columns, wrong CRS, or near a pole), or the
        region is wider than half the globe either way.
    """
    points = shapely.get_coordinates(shapes.to_crs(4326).to_numpy())
    if not np.isfinite(points).all() or (np.abs(points[:, 1]) > STEEPEST_LATITUDE).any():
        message = (
            "Invalid geometry. Every shape must lie between 85 degrees south and north. Some do "
            "not, or have no place at all: the CRS may be wrong, or easting and northing swapped."
        )
        raise ValueError(message)
    longitudes = points[:, 0]
    if np.ptp(longitudes) <= 180.0:
        return False
    if np.ptp(longitudes % 360.0) > 180.0:
        message = (
            f"Invalid region: {np.ptp(longitudes):.0f} degrees of longitude wide. A region must be "
            "narrower than half the globe. Some shape may be far from the others."
        )
        raise ValueError(message)
    return True


def whole_degrees(points: NDArray[np.float64]) -> NDArray[np.int64]:
    """Longitude and latitude as whole numbers of the last decimal kept."""
    return np.rint(points * 10.0**DECIMALS).astype(np.int64)


def packed_points(points: NDArray[np.float64]) -> str:
    """Points (N, 2) in degrees as text: each as its step from the one before, the first from 0."""
    whole = whole_degrees(points)
    return pack(np.diff(whole, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)).ravel())


def packed_polygons(shapes: gpd.GeoSeries) -> dict[str, str]:
    """
    Outlines of all lakes as three texts.

    Parameters
    ----------
    shapes : geopandas.GeoSeries
        Polygons in degrees; points and missing shapes have no outline.

    Returns
    -------
    outlines : dict
        `corners`: points of all rings in a row; `rings`: corners of each ring; `lakes`: rings of
        each lake. The last corner of a ring, equal to the first, is left out.
    """
    parts, lake = shapely.get_parts(shapes.to_numpy(), return_index=True)
    polygon = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    rings, part = shapely.get_rings(parts[polygon], return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    last = np.append(ring[1:] != ring[:-1], True) if len(ring) else np.zeros(0, dtype=bool)
    per_ring = np.bincount(ring[~last], minlength=len(rings))
    per_lake = np.bincount(lake[polygon][part], minlength=len(shapes))
    return {
        "corners": packed_points(points[~last]),
        "rings": pack(per_ring),
        "lakes": pack(per_lake),
    }


def region_outline(shapes: gpd.GeoSeries) -> shapely.Polygon:
    """
    Soft outline round everything on the map, drawn as the land behind it.

    Without a background the page would look like a void; lakes are given no other land.

    Parameters
    ----------
    shapes : geopandas.GeoSeries
        All shapes in a projected CRS.

    Returns
    -------
    outline : shapely.Polygon
        A hull round the corners of all bounding boxes with a rounded margin.
    """
    known = shapes[~(shapes.is_empty | shapes.isna())]
    west, south, east, north = known.bounds.to_numpy().T
    corners = np.concatenate(
        [
            np.column_stack(pair)
            for pair in ((west, south), (west, north), (east, south), (east, north))
        ]
    )
    margin = max(0.04 * float(np.hypot(np.ptp(corners[:, 0]), np.ptp(corners[:, 1]))), 500.0)
    hull = shapely.concave_hull(shapely.MultiPoint(corners), ratio=0.5)
    soft = hull.buffer(2.0 * margin).buffer(-margin)
    largest = max(shapely.get_parts(soft), key=lambda part: part.area)
    return shapely.Polygon(shapely.simplify(largest, margin / 50.0).exterior)
