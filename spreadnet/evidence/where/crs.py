"""One projected CRS in metres for a region, and proof that distances in it are true."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from spreadnet.errors import Problem
from spreadnet.evidence.personal import brief
from spreadnet.evidence.vector import parse_crs

MOST_ERROR = 0.01  # share by which a distance may differ from the geodesic
GRID = 5  # points a side of the grid over the region at which distances are compared
STEP_DEGREES = 0.02  # about 2 km: a local distance, north and east of every point
FARTHEST_LATITUDE = 85.0  # degrees; web maps end at 85.05, UTM zones at 84
FULL_TURN = 360.0
MOST_SHARE_ODD = 0.1  # coordinates out of range: this share or more is the file's fault
_WGS84 = pyproj.Geod(ellps="WGS84")


def middle(longitude: np.ndarray, latitude: np.ndarray) -> tuple[float, float]:
    """
    Middle of places, also when they lie on both sides of 180 degrees.

    Examples
    --------
    >>> lon, lat = middle(np.array([179.0, -179.0]), np.array([-41.0, -43.0]))
    >>> abs(lon), lat
    (180.0, -42.0)
    """
    turn = np.radians(longitude)
    mean = np.degrees(np.arctan2(np.median(np.sin(turn)), np.median(np.cos(turn))))
    return round(float(mean), 9), float(np.median(latitude))


def best_utm(longitude: np.ndarray, latitude: np.ndarray) -> str:
    """
    The UTM zone of the middle of places, as an EPSG code.

    Parameters
    ----------
    longitude, latitude : array
        WGS 84 degrees.

    Returns
    -------
    crs : str
        EPSG:326zz north of the equator, EPSG:327zz south.

    Examples
    --------
    >>> best_utm(np.array([-128.0, -127.9]), np.array([-41.0, -41.2]))
    'EPSG:32709'
    """
    lon, lat = middle(longitude, latitude)
    zone = int((lon + 180) // 6) % 60 + 1
    return f"EPSG:{(32600 if lat >= 0 else 32700) + zone}"


def largest_error(crs: Any, longitude: np.ndarray, latitude: np.ndarray) -> float:
    """
    Largest relative difference between planar and geodesic distances over a region.

    Parameters
    ----------
    crs : pyproj.CRS or str
        A projected CRS in metres.
    longitude, latitude : array
        Places of the region, WGS 84 degrees.

    Returns
    -------
    error : float
        Share; infinity where the CRS can't show a part of the region.

    Notes
    -----
    Distances between all points of a grid over the region and to points about 2 km north and east
    of each. EPSG:3857 is out by 1/cos(latitude) - 1, a third at 41 degrees.

    Examples
    --------
    >>> lon, lat = np.array([-128.2, -127.8]), np.array([-41.2, -40.8])
    >>> largest_error("EPSG:32709", lon, lat) < 0.001, largest_error("EPSG:3857", lon, lat) > 0.3
    (True, True)
    """
    lon0, _ = middle(longitude, latitude)
    away = (longitude - lon0 + 180) % 360 - 180  # so that 180 degrees does not cut the region
    lon = lon0 + np.linspace(away.min(), away.max(), GRID)
    lat = np.linspace(latitude.min(), latitude.max(), GRID)
    lon, lat = (axis.ravel() for axis in np.meshgrid(lon, lat))
    first, second = np.triu_indices(lon.size, k=1)
    far = np.hypot(lon[first] - lon[second], lat[first] - lat[second]) > STEP_DEGREES / 10
    first, second = first[far], second[far]
    ends = np.concatenate([lon[first], lon, lon]), np.concatenate([lat[first], lat, lat])
    others = (
        np.concatenate([lon[second], lon + STEP_DEGREES, lon]),
        np.concatenate([lat[second], lat, np.clip(lat + STEP_DEGREES, -90, 90)]),
    )
    project = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform
    (e0, n0), (e1, n1) = project(*ends), project(*others)
    _, _, true = _WGS84.inv(*ends, *others)
    planar = np.hypot(e1 - e0, n1 - n0)
    error = np.abs(planar / true - 1)
    return float(np.max(np.where(np.isfinite(error), error, np.inf)))


def choose_crs(
    stated: str | None, longitude: np.ndarray, latitude: np.ndarray, *, row: int | None
) -> tuple[str, list[Problem]]:
    """
    The projected CRS of a region: the stated one if it is fit, else the best UTM zone.

    Parameters
    ----------
    stated : str, optional
        `crs` of `region.toml`.
    longitude, latitude : array
        Places of the lakes, WGS 84 degrees.
    row : int, optional
        Line of `crs` in `region.toml`, for messages.

    Returns
    -------
    crs, problems : str, list of Problem
        Always a usable CRS, so that checking can go on.
    """
    utm = best_utm(longitude, latitude)
    if stated is None:
        error = largest_error(utm, longitude, latitude)
        problems = [] if error <= MOST_ERROR else [_too_wide(error)]
        return utm, problems
    fault = _unfit(stated, utm, longitude, latitude)
    if fault is None:
        return stated, []
    code, what, why, mend = fault
    return utm, [Problem(code, "region.toml", what, why, mend, row=row, column="crs")]


def _unfit(
    stated: str, utm: str, longitude: np.ndarray, latitude: np.ndarray
) -> tuple[str, str, str, str] | None:
    """Code, what, why and mend of a stated CRS that can't be used."""
    why = "Distances and areas are measured in it, so it must be in metres and true to length."
    mend = f'Write crs = "{utm}", the UTM zone of the middle of your lakes, or leave crs out.'
    try:
        crs = parse_crs(stated)
    except ValueError as fault:
        return "crs-unknown", f"'{brief(stated)}' {fault}", why, mend
    if crs.is_geographic:
        return "crs-geographic", f"{brief(stated)} ({crs.name}) is in degrees", why, mend
    if not crs.is_projected or {a.unit_name for a in crs.axis_info[:2]} != {"metre"}:
        return "crs-not-metres", f"{brief(stated)} ({crs.name}) is not in metres", why, mend
    error = largest_error(crs, longitude, latitude)
    if error > MOST_ERROR:
        size = f"{error:.0%}" if np.isfinite(error) else "without bound"
        what = (
            f"distances in {brief(stated)} ({crs.name}) are wrong by up to {size} over your lakes"
        )
        return "crs-distorts", what, why, mend
    return None


def _too_wide(error: float) -> Problem:
    """The problem that no UTM zone serves the whole region."""
    return Problem(
        "region-too-wide",
        "region.toml",
        f"over these lakes the best UTM zone is wrong by up to {error:.0%}",
        "Distances decide where boats go, so they must be true over the whole region.",
        "Check for lakes placed far from the others; else set crs to an equidistant or conformal"
        " system in metres made for your whole region.",
        column="crs",
    )


def coordinate_problems(
    geometry: gpd.GeoSeries, crs: Any, *, file: str
) -> tuple[bool, list[Problem]]:
    """
    Whether the coordinates of a file can be what its CRS says, and the problems if not.

    Parameters
    ----------
    geometry : GeoSeries
        Index holds row numbers; missing geometry is passed over.
    crs : pyproj.CRS, optional
        What the file states.
    file : str
        Name of the file in messages.

    Returns
    -------
    usable, problems : bool, list of Problem
        `usable` is False when no place can be told from the file.
    """
    endless = _not_finite(geometry)
    if len(endless):
        return False, [_endless(file, endless)]
    bounds = geometry.bounds.dropna()
    if bounds.empty:
        return True, []
    origin = bounds.index[(bounds == 0).all(axis=1).to_numpy()]
    if len(origin):
        return False, [_null_island(file, origin)]
    east = bounds[["minx", "maxx"]].abs().max(axis=1)
    north = bounds[["miny", "maxy"]].abs().max(axis=1)
    in_degrees = bool(((east <= 180) & (north <= 90)).all())
    if crs is None:
        return False, [_crs_missing(file, in_degrees)]
    if crs.is_projected and in_degrees:
        return False, [_looks_like("crs-degrees", file, crs.name, "degrees", "metres")]
    if not crs.is_geographic:
        return True, []
    odd = (east > 180) | (north > 90)
    if not odd.any():
        return True, []
    if not (north > 90).any() and bounds["minx"].min() >= -FULL_TURN and _turn_fits(bounds):
        return False, [_past_180(file, odd.index[odd], float(east.max()))]
    turned = (north <= 180) & (east <= 90)
    if turned[odd].mean() > 1 - MOST_SHARE_ODD and odd.mean() > MOST_SHARE_ODD:
        return False, [swapped(file, int(odd.index[0]), column="geometry")]
    if odd.mean() > MOST_SHARE_ODD:
        return False, [_looks_like("crs-metres", file, crs.name, "metres", "degrees")]
    return False, [_out_of_range(file, int(row)) for row in odd.index[odd]]


def _not_finite(geometry: gpd.GeoSeries) -> pd.Index:
    """Rows with a coordinate that is infinite or no number."""
    numbers, which = shapely.get_coordinates(np.asarray(geometry), return_index=True)
    return geometry.index[np.unique(which[~np.isfinite(numbers).all(axis=1)])]


def _turn_fits(bounds: pd.DataFrame) -> bool:
    """Whether longitudes are those of a full turn: 0 to 360, or somewhat past 180."""
    return bool((bounds["maxx"] <= FULL_TURN).all())


def _endless(file: str, rows: pd.Index) -> Problem:
    """The problem that coordinates are infinite."""
    return Problem(
        "not-finite",
        file,
        f"a coordinate is infinite or no number{_more(rows)}",
        "There is no such place.",
        "Correct it; a GIS writes such numbers when it can't convert between coordinate systems.",
        row=int(rows[0]),
        column="geometry",
    )


def _null_island(file: str, rows: pd.Index) -> Problem:
    """The problem that places are at 0, 0."""
    return Problem(
        "null-island",
        file,
        f"the place is exactly 0, 0{_more(rows)}",
        "There is only open sea; software writes 0, 0 where a place is not known.",
        "Give the true place.",
        row=int(rows[0]),
        column="geometry",
    )


def _past_180(file: str, rows: pd.Index, most: float) -> Problem:
    """The problem that longitudes run past 180."""
    return Problem(
        "longitude-360",
        file,
        f"longitudes run to {most:.4g}, past 180{_more(rows)}",
        "Longitude runs from -180 to 180 here; west is negative.",
        "Take 360 from every longitude over 180 (add 360 below -180); cut a lake that crosses 180"
        " there, into two parts of one multipolygon.",
        row=int(rows[0]),
        column="geometry",
    )


def polar(file: str, rows: pd.Index) -> Problem:
    """The problem that lakes lie too near a pole for the map and for UTM."""
    return Problem(
        "polar",
        file,
        f"the place lies beyond {FARTHEST_LATITUDE:g} degrees of latitude{_more(rows)}",
        "No web map and no UTM zone can show it.",
        "Correct its coordinates, or leave the lake out.",
        row=int(rows[0]),
        column="geometry",
    )


def _more(rows: pd.Index) -> str:
    """How many rows share a fault with the first."""
    return f" (and in {len(rows) - 1} more rows)" if len(rows) > 1 else ""


def swapped(file: str, row: int | None, *, beside: str = "", column: str = "longitude") -> Problem:
    """The problem that longitude and latitude stand in each other's place."""
    fit = f" (the other way round they lie near those of {beside})" if beside else ""
    return Problem(
        "swapped",
        file,
        f"longitude and latitude look swapped{fit}",
        "Places would land on the other side of the world, and nothing would be near anything.",
        "Put longitude (east is positive) first or under longitude, latitude under latitude.",
        row=row,
        column=column,
    )


def _crs_missing(file: str, in_degrees: bool) -> Problem:
    """The problem that a file does not state its CRS."""
    guess = "The numbers look like longitude and latitude (EPSG:4326). " if in_degrees else ""
    return Problem(
        "crs-missing",
        file,
        "the file does not say its coordinate system",
        "Without it the places can't be put on a map or measured.",
        f"{guess}Set the layer's coordinate system in a GIS and save it again"
        " (a shapefile needs its .prj beside it).",
        column="geometry",
    )


def _looks_like(code: str, file: str, crs: str, seen: str, stated: str) -> Problem:
    """The problem that coordinates are in another unit than the CRS says."""
    return Problem(
        code,
        file,
        f"the coordinates look like {seen} but the file says {crs}, which is in {stated}",
        "Every place would be wrong.",
        "Set the coordinate system that the numbers are in, and save again"
        " (GeoJSON is always longitude and latitude).",
        column="geometry",
    )


def _out_of_range(file: str, row: int) -> Problem:
    """The problem that one place lies outside the world."""
    return Problem(
        "out-of-range",
        file,
        "the place lies outside longitude -180 to 180 or latitude -90 to 90",
        "There is no such place.",
        "Correct its coordinates.",
        row=row,
        column="geometry",
    )
