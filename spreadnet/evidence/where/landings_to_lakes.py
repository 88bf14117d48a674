"""Landings on their lakes: matched by distance to the shoreline, and checked against it."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from spreadnet.errors import Problem
from spreadnet.evidence.personal import brief
from spreadnet.evidence.region import Note
from spreadnet.evidence.where.crs import swapped
from spreadnet.words import short_repr

FARTHEST_M = 1000.0  # from its stated lake; house rule, no source
NEAR_DEGREES = 0.5  # margin round the lakes within which a place counts as near them
MOST = 0.9  # share of the places that another reading must mend
SEVERAL = 3  # landings that must all be far before the file as a whole is blamed
SHOWN_LAKES = 4


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """The lake of each landing (row index), its distance from the shoreline, and problems."""

    lake_id: pd.Series
    shore_distance_m: pd.Series
    problems: tuple[Problem, ...]
    notes: tuple[Note, ...]


def misplaced(
    points: gpd.GeoSeries, lakes: gpd.GeoSeries, *, file: str, lakes_file: str
) -> list[Problem]:
    """
    The one cause, if there is one, that puts nearly all landings away from all lakes.

    Parameters
    ----------
    points, lakes : GeoSeries
        Both in longitude and latitude. `points` has row numbers as index.
    file, lakes_file : str
        Names in messages.

    Returns
    -------
    problems : list of Problem
        Empty, or one of `swapped`, `longitude-sign`.

    Examples
    --------
    >>> lakes = gpd.GeoSeries([shapely.Point(-128, -41)], crs=4326)
    >>> points = gpd.GeoSeries([shapely.Point(128, -41)], index=[2], crs=4326)
    >>> misplaced(points, lakes, file="landings.csv", lakes_file="lakes.csv")[0].code
    'longitude-sign'
    """
    points, lakes = points.dropna(), lakes.dropna()
    if points.empty or lakes.empty:
        return []
    lon, lat = points.x.to_numpy(), points.y.to_numpy()
    west, south, east, north = lakes.total_bounds

    def near(lon: np.ndarray, lat: np.ndarray) -> float:
        """Share of places within the box of the lakes and a margin."""
        wide, high = max(NEAR_DEGREES, east - west), max(NEAR_DEGREES, north - south)
        inside = (lon > west - wide) & (lon < east + wide)
        return float((inside & (lat > south - high) & (lat < north + high)).mean())

    if near(lon, lat) > 1 - MOST:
        return []
    row = int(points.index[0])
    if near(lat, lon) > MOST:
        return [swapped(file, row, beside=lakes_file, column="geometry")]
    if near(-lon, lat) > MOST:
        return [_wrong_sign(file, lakes_file, row)]
    return []


def _wrong_sign(file: str, lakes_file: str, row: int) -> Problem:
    """The problem that east was written for west or the other way round."""
    return Problem(
        "longitude-sign",
        file,
        f"with the other sign of longitude the landings lie near the lakes of {lakes_file}",
        "Places would land on the other side of the world, and nothing would be near anything.",
        "West of Greenwich is negative: is a minus sign missing?",
        row=row,
        column="geometry",
    )


def match_landings(
    points: gpd.GeoSeries,
    stated: pd.Series,
    lakes: gpd.GeoDataFrame,
    *,
    snap_m: float,
    file: str,
    names: pd.Series,
) -> Match:
    """
    The lake of each landing.

    A stated lake is kept and checked against the place; an empty one is filled when the landing
    lies in one lake, or when just one shoreline is within `snap_m`.

    Parameters
    ----------
    points : GeoSeries
        Landings in the CRS of `lakes`; row numbers as index; may be missing.
    stated : Series of str
        Their lake_id, missing where empty or unknown.
    lakes : GeoDataFrame
        Index lake_id; `geometry` and `area_ha`.
    snap_m : float
        Farthest shoreline that an unstated lake may have, in metres.
    file : str
        Name of the file in messages.
    names : Series of str
        landing_id of each row, for messages.

    Returns
    -------
    match : Match
        With the index of `points`.

    Notes
    -----
    A point on an island is not on the water: its distance is that to the island's shore. A lake
    given as a point counts as the circle of its area.
    """
    waters = water_shapes(lakes)
    lake_id = stated.copy()
    distance = pd.Series(np.nan, index=points.index)
    placed = points.notna().to_numpy() & ~points.is_empty.to_numpy()
    known = placed & stated.notna().to_numpy()
    position = lakes.index.get_indexer(stated[known])
    distance[known] = shapely.distance(np.asarray(points[known]), waters[position])
    limit = np.maximum(max(FARTHEST_M, snap_m), _point_slack(lakes)[position])
    far = distance[known].to_numpy() > limit
    tree = shapely.STRtree(waters)
    problems = _far(points[known][far], stated[known][far], distance, lakes, tree, file, names)
    if known.sum() >= SEVERAL and far.all():
        problems = [_apart(file, int(known.sum()))]
    notes = _other_lake(points[known], stated[known], distance, lakes, tree, file)
    found, more, faults = _nearest(
        points[placed & ~known], lakes, waters, tree, snap_m=snap_m, file=file, names=names
    )
    lake_id.loc[found.index] = found
    distance.loc[more.index] = more
    lost = ~placed & stated.isna().to_numpy()
    problems += [_no_place(file, int(r), names.loc[r]) for r in points.index[lost]]
    return Match(lake_id, distance, (*problems, *faults), tuple(notes))


def water_shapes(lakes: gpd.GeoDataFrame) -> np.ndarray:
    """Outlines, and for a lake given as a point the circle of its area."""
    shapes = np.asarray(lakes.geometry).copy()
    point = lakes.geom_type.to_numpy() == "Point"
    radius = np.nan_to_num(_radius(lakes)[point])
    shapes[point] = shapely.buffer(shapes[point], np.maximum(radius, 1.0))
    return shapes


def _radius(lakes: gpd.GeoDataFrame) -> np.ndarray:
    """Radius in metres of the circle of each lake's area."""
    area = lakes["area_ha"].to_numpy(dtype=float) * 10_000
    return np.sqrt(np.clip(area, 0, None) / np.pi)


def _point_slack(lakes: gpd.GeoDataFrame) -> np.ndarray:
    """Metres by which a lake given as a point may reach beyond its circle: long lakes do."""
    point = lakes.geom_type.to_numpy() == "Point"
    return np.where(point, 3 * np.nan_to_num(_radius(lakes)), 0.0)


def _far(
    points: gpd.GeoSeries,
    stated: pd.Series,
    distance: pd.Series,
    lakes: gpd.GeoDataFrame,
    tree: shapely.STRtree,
    file: str,
    names: pd.Series,
) -> list[Problem]:
    """Landings too far from the lake they are said to be on."""
    nearest = tree.nearest(np.asarray(points)) if len(points) else []
    return [
        Problem(
            "far-from-lake",
            file,
            f"landing '{brief(names.loc[row])}' is {distance.loc[row] / 1000:.1f} km"
            f" from its lake '{brief(stated.loc[row])}'",
            "One of the two is wrong, and every distance from it would be.",
            "Correct its place."
            if lakes.index[near] == stated.loc[row]
            else "Correct its place or its lake_id; the nearest lake is"
            f" '{brief(lakes.index[near])}'.",
            row=int(row),
            column="lake_id",
        )
        for row, near in zip(points.index, nearest, strict=True)
    ]


def _apart(file: str, count: int) -> Problem:
    """The problem that no landing is near its lake."""
    return Problem(
        "places-apart",
        file,
        f"none of the {count} landings lies near its lake",
        "The coordinate system of one of the two files is wrong, or the files do not belong"
        " together.",
        "Open both in a GIS on one map, and set the coordinate system of the one that is off.",
        column="geometry",
    )


def _other_lake(
    points: gpd.GeoSeries,
    stated: pd.Series,
    distance: pd.Series,
    lakes: gpd.GeoDataFrame,
    tree: shapely.STRtree,
    file: str,
) -> list[Note]:
    """A note on landings that lie in another lake than the stated one."""
    off = points[(distance[points.index] > 0).to_numpy()]
    if off.empty:
        return []
    which, lake = tree.query(np.asarray(off), predicate="intersects")
    if not len(which):
        return []
    pairs = {off.index[i]: lakes.index[j] for i, j in zip(which, lake, strict=True)}
    row, other = next(iter(pairs.items()))
    text = f"{file}: {len(pairs)} landings lie in another lake than the stated one"
    text += f" (first: row {row}, in '{brief(other)}', stated '{brief(stated.loc[row])}');"
    text += " the stated one is used"
    return [Note("other-lake", text)]


def _nearest(
    points: gpd.GeoSeries,
    lakes: gpd.GeoDataFrame,
    waters: np.ndarray,
    tree: shapely.STRtree,
    *,
    snap_m: float,
    file: str,
    names: pd.Series,
) -> tuple[pd.Series, pd.Series, list[Problem]]:
    """Lake and distance of landings without a stated lake, and those it can't be told for."""
    shapes = np.asarray(points)
    which, lake = tree.query(shapes, predicate="dwithin", distance=snap_m)
    pairs = pd.DataFrame(
        {
            "row": points.index[which],
            "lake": lake,
            "m": shapely.distance(shapes[which], waters[lake]),
        }
    ).sort_values(["row", "m", "lake"])
    pairs["inside"] = pairs["m"] == 0
    one_inside = pairs.groupby("row")["inside"].transform("sum") == 1
    pairs = pairs[pairs["inside"] | ~one_inside]  # on the water of one lake: that one it is
    count = pairs.groupby("row")["lake"].size().reindex(points.index, fill_value=0)
    single = pairs[pairs["row"].isin(count.index[count == 1])].set_index("row")
    problems = [_no_lake(file, int(r), names.loc[r], snap_m) for r in count.index[count == 0]]
    for row in count.index[count > 1]:
        near = pairs[pairs["row"] == row]
        shown = [
            f"'{brief(lakes.index[j])}' at {m:.0f} m"
            for j, m in near[["lake", "m"]].to_numpy()[:SHOWN_LAKES].astype(int)
        ]
        problems.append(_which_lake(file, int(row), names.loc[row], shown))
    found = pd.Series(lakes.index[single["lake"].to_numpy(dtype=int)], index=single.index)
    return found.astype("str"), single["m"], problems


def _no_lake(file: str, row: int, name: str, snap_m: float) -> Problem:
    """The problem that no shoreline is near enough."""
    return Problem(
        "no-lake-near",
        file,
        f"landing '{brief(name)}' has no lake_id, and no shoreline is within {snap_m:g} m",
        "Boats launched there would reach no lake.",
        "Fill in its lake_id, correct its place, or raise landing_snap_m in region.toml.",
        row=row,
        column="lake_id",
    )


def _which_lake(file: str, row: int, name: str, shown: list[str]) -> Problem:
    """The problem that several lakes are near enough."""
    return Problem(
        "which-lake",
        file,
        f"landing '{brief(name)}' has no lake_id, and several lakes are near: {', '.join(shown)}",
        "Only you can say which of them its boats reach.",
        "Fill in its lake_id.",
        row=row,
        column="lake_id",
    )


def _no_place(file: str, row: int, name: str) -> Problem:
    """The problem that a landing has neither lake nor place."""
    return Problem(
        "missing-value",
        file,
        f"landing '{brief(name)}' has neither a place nor a lake_id",
        "Nobody can tell which lake its boats reach.",
        "Fill in its lake_id, or its longitude and latitude.",
        row=row,
        column="lake_id",
    )
