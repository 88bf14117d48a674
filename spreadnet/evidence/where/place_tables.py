"""Lakes and landings as geometry in the one projected CRS of the region."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from spreadnet.errors import Problem
from spreadnet.evidence.personal import brief
from spreadnet.evidence.region import Note, Settings
from spreadnet.evidence.types import Checked, TextTable
from spreadnet.evidence.vector import from_degrees
from spreadnet.evidence.where.crs import (
    FARTHEST_LATITUDE,
    choose_crs,
    coordinate_problems,
    middle,
    polar,
)
from spreadnet.evidence.where.landings_to_lakes import match_landings, misplaced
from spreadnet.evidence.where.outlines import area_note, check_outlines, polygon_area_ha
from spreadnet.evidence.where.overlaps import overlapping, same_places
from spreadnet.words import short_repr

ODD_LAKE_M = 1_000_000.0  # this far from the middle of the lakes, and
ODD_LAKE_TIMES = 20.0  # this many times as far as the middling lake: a slip of the pen
_DEGREES = pyproj.CRS("EPSG:4326")


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A spatial table in the region's CRS, indexed by id; None when places can't be told."""

    frame: gpd.GeoDataFrame | None
    crs: str | None
    problems: tuple[Problem, ...] = ()
    notes: tuple[Note, ...] = ()


def place_lakes(
    text: TextTable, checked: Checked, settings: Settings, *, row: int | None
) -> Placed:
    """
    Lakes with their outlines and areas in the region's CRS.

    Parameters
    ----------
    text : TextTable
        As read; its geometry, when it is a vector file.
    checked : Checked
        The typed table, before defaults.
    settings : Settings
        `crs` is used when it is fit.
    row : int, optional
        Line of `crs` in `region.toml`.

    Returns
    -------
    placed : Placed
        Index lake_id, columns `geometry` and `area_ha` (measured from the outline where empty).
    """
    if any(p.code == "swapped" for p in checked.problems):
        return Placed(None, None)
    geometry, crs = _raw(text, checked)
    usable, problems = coordinate_problems(geometry, crs, file=text.file)
    if not usable:
        return Placed(None, None, tuple(_columns(problems, text)))
    ids = checked.frame["lake_id"].fillna("")
    degrees = bool(crs.is_geographic)
    outlines, faults, notes = check_outlines(geometry, ids, file=text.file, degrees=degrees)
    told = _told(checked)
    problems += [p for p in faults if p.row not in told]
    kept = outlines.notna().to_numpy()
    if not kept.any():
        return Placed(None, None, tuple(_columns(problems, text)), tuple(notes))
    problems += same_places(outlines[kept], ids, file=text.file)
    lon, lat = _corners(outlines[kept], crs)
    beyond = outlines.index[kept][(np.abs(lat) > FARTHEST_LATITUDE).reshape(-1, 2).any(axis=1)]
    if len(beyond):
        problems.append(polar(text.file, beyond))
        return Placed(None, None, tuple(_columns(problems, text)), tuple(notes))
    odd = _odd_lakes(lon, lat)
    problems += [
        _odd_lake(text.file, int(r), ids.loc[r], d)
        for r, d in zip(outlines.index[kept][odd > 0], odd[odd > 0], strict=True)
    ]
    near = np.repeat(odd == 0, 2)
    chosen, faults = choose_crs(settings.crs, lon[near], lat[near], row=row)
    problems += faults
    metres = outlines.set_crs(crs, allow_override=True).to_crs(chosen)
    measured = polygon_area_ha(metres)
    faults, more = overlapping(metres[kept], ids, file=text.file)
    problems, notes = problems + faults, notes + more
    stated = checked.frame["area_ha"]
    notes += area_note(stated.set_axis(ids), measured.set_axis(ids), file=text.file)
    area = stated.fillna(measured)
    lost = area.isna().to_numpy() & kept & _blank(text, "area_ha")
    problems += [_no_area(text.file, int(r), ids.loc[r]) for r in outlines.index[lost]]
    frame = gpd.GeoDataFrame({"geometry": metres, "area_ha": area}, crs=chosen).set_index(ids)
    frame = frame[kept & ~ids.duplicated().to_numpy() & (ids != "").to_numpy()]
    return Placed(frame, chosen, tuple(_columns(problems, text)), tuple(notes))


def _raw(text: TextTable, checked: Checked) -> tuple[gpd.GeoSeries, Any]:
    """Geometry as the file gives it, and its CRS."""
    if text.geometry is not None:
        return text.geometry, text.crs
    return from_degrees(checked.frame["longitude"], checked.frame["latitude"]), _DEGREES


def _told(checked: Checked) -> set[int | None]:
    """Rows whose coordinates are already told to be faulty."""
    return {p.row for p in checked.problems if p.column in ("longitude", "latitude")}


def _blank(text: TextTable, name: str) -> np.ndarray:
    """Which cells of a column are empty, all of them when it is not there."""
    if name not in text.cells:
        return np.ones(len(text.cells), dtype=bool)
    return (text.cells[name] == "").to_numpy(dtype=bool)


def _columns(problems: list[Problem], text: TextTable) -> list[Problem]:
    """Problems that name the column a CSV has in place of `geometry`."""
    if text.geometry is not None:
        return problems
    return [replace(p, column="longitude") if p.column == "geometry" else p for p in problems]


def _corners(outlines: gpd.GeoSeries, crs: Any) -> tuple[np.ndarray, np.ndarray]:
    """Longitude and latitude of two corners of the box of each lake, one after the other."""
    box = outlines.bounds.to_numpy().reshape(-1, 2)
    project = pyproj.Transformer.from_crs(crs, _DEGREES, always_xy=True).transform
    lon, lat = project(box[:, 0], box[:, 1])
    return np.asarray(lon), np.asarray(lat)


def _odd_lakes(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    """Metres from the middle of the lakes of each lake that lies absurdly far off, else 0."""
    first_lon, first_lat = lon[::2], lat[::2]
    mid_lon, mid_lat = middle(first_lon, first_lat)
    geod = pyproj.Geod(ellps="WGS84")
    here = np.full(len(first_lon), mid_lon), np.full(len(first_lon), mid_lat)
    _, _, away = geod.inv(*here, first_lon, first_lat)
    limit = max(ODD_LAKE_M, ODD_LAKE_TIMES * float(np.median(away)))
    return np.where(np.asarray(away) > limit, away, 0.0)


def _odd_lake(file: str, row: int, lake: str, away: float) -> Problem:
    """The problem that one lake lies far from all others."""
    return Problem(
        "far-from-others",
        file,
        f"lake '{brief(lake)}' lies {away / 1000:,.0f} km from the middle of the lakes",
        "No boat trip goes so far; a digit or a minus sign is probably wrong.",
        "Correct its coordinates.",
        row=row,
        column="geometry",
    )


def _no_area(file: str, row: int, lake: str) -> Problem:
    """The problem that a lake given as a point has no area."""
    return Problem(
        "missing-value",
        file,
        f"lake '{brief(lake)}' is a point and has no area_ha",
        "The area tells how strongly a lake draws boats; a point can't be measured.",
        "Fill in area_ha, or give its outline.",
        row=row,
        column="area_ha",
    )


def place_landings(
    text: TextTable, checked: Checked, lakes: Placed, settings: Settings, *, lakes_file: str
) -> Placed:
    """
    Landings with their points, lakes and distances from the shoreline.

    Parameters
    ----------
    text, checked : TextTable, Checked
        As in `place_lakes`.
    lakes : Placed
        The lakes; without a frame only the coordinates are checked.
    settings : Settings
        `landing_snap_m` is used.
    lakes_file : str
        Name in messages.

    Returns
    -------
    placed : Placed
        Index: row numbers. Columns `geometry`, `lake_id`, `shore_distance_m`.
    """
    if any(p.code == "swapped" for p in checked.problems):
        return Placed(None, None)
    raw, crs = _raw(text, checked)
    usable, problems = coordinate_problems(raw, crs, file=text.file)
    problems += _half_places(text)
    names = checked.frame["landing_id"].fillna("")
    if not usable:
        return Placed(None, None, tuple(_columns(problems, text)))
    points, faults = _points(raw, names, file=text.file)
    problems += faults
    if lakes.frame is None or lakes.crs is None:
        return Placed(None, None, tuple(_columns(problems, text)))
    crs = crs or _DEGREES  # silent only where no row has a place: then none is moved
    points = points.set_crs(crs, allow_override=True)
    middles = gpd.GeoSeries(lakes.frame.centroid, crs=lakes.crs).to_crs(_DEGREES)
    astray = misplaced(points.to_crs(_DEGREES), middles, file=text.file, lakes_file=lakes_file)
    if astray:
        return Placed(None, None, tuple(_columns(problems + astray, text)))
    metres = points.to_crs(lakes.crs)
    stated = checked.frame["lake_id"]
    known = (stated.isna() | stated.isin(lakes.frame.index)).to_numpy(dtype=bool)
    told = _told(checked) | {p.row for p in problems}
    known = known & ~metres.index.isin(sorted(r for r in told if r))  # one fault a row is enough
    match = match_landings(
        metres[known],
        stated[known],
        lakes.frame,
        snap_m=settings.landing_snap_m,
        file=text.file,
        names=names,
    )
    frame = gpd.GeoDataFrame({"geometry": metres}, crs=lakes.crs)
    frame["lake_id"] = match.lake_id.reindex(frame.index)
    frame["shore_distance_m"] = match.shore_distance_m.reindex(frame.index)
    frame, notes = _on_lake(frame, lakes.frame, file=text.file)
    filled = int((stated.isna() & frame["lake_id"].notna()).sum())
    if filled:
        said = f"{text.file}: lake_id of {filled} landings filled from the nearest shoreline"
        notes.append(Note("lake-matched", said))
    found = (*problems, *match.problems)
    return Placed(frame, lakes.crs, tuple(_columns(list(found), text)), (*match.notes, *notes))


def _half_places(text: TextTable) -> list[Problem]:
    """Rows with only one of longitude and latitude."""
    if text.geometry is not None or not {"longitude", "latitude"} <= set(text.cells.columns):
        return []
    lon, lat = _blank(text, "longitude"), _blank(text, "latitude")
    return [
        Problem(
            "missing-value",
            text.file,
            "only one of longitude and latitude is filled in",
            "A place needs both.",
            "Fill in the other, or empty both.",
            row=int(r),
            column="longitude" if lon[i] else "latitude",
        )
        for i, r in enumerate(text.cells.index)
        if lon[i] != lat[i]
    ]


def _points(
    raw: gpd.GeoSeries, names: pd.Series, *, file: str
) -> tuple[gpd.GeoSeries, list[Problem]]:
    """Points; a multipoint of one point is that point, any other shape a problem."""
    shapes = np.array(raw, dtype=object)
    one = (shapely.get_type_id(shapes) == shapely.GeometryType.MULTIPOINT) & (
        shapely.get_num_geometries(shapes) == 1
    )
    shapes[one] = shapely.get_geometry(shapes[one], 0)
    shapes[shapely.is_empty(shapes)] = None
    wrong = (shapely.get_type_id(shapes) != shapely.GeometryType.POINT) & ~shapely.is_missing(
        shapes
    )
    problems = [
        Problem(
            "geometry-kind",
            file,
            f"landing '{brief(names.loc[r])}' is drawn as a {shape.geom_type}",
            "A landing is one point.",
            "Give the point where boats reach the water.",
            row=int(r),
            column="geometry",
        )
        for r, shape in zip(raw.index[wrong], shapes[wrong], strict=True)
    ]
    shapes[wrong] = None
    return gpd.GeoSeries(shapes, index=raw.index), problems


def _on_lake(
    frame: gpd.GeoDataFrame, lakes: gpd.GeoDataFrame, *, file: str
) -> tuple[gpd.GeoDataFrame, list[Note]]:
    """Landings without a place put on their lake, and a note on how many."""
    gone = frame.geometry.isna() & frame["lake_id"].notna()
    if not gone.any():
        return frame, []
    made = frame.copy()
    inside = lakes.geometry.representative_point()
    shapes = np.array(frame.geometry, dtype=object)
    shapes[gone.to_numpy()] = np.asarray(inside.loc[frame.loc[gone, "lake_id"]])
    made["geometry"] = gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs)
    made.loc[gone, "shore_distance_m"] = 0.0
    text = f"{file}: {int(gone.sum())} landings have no place and are put on their lake"
    return made, [Note("no-place", text)]
