"""Vector files to text cells and geometry, through GDAL."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from spreadnet.errors import Problem
from spreadnet.evidence.columns import columns, plain_heading
from spreadnet.evidence.files.text import Reading, TextTable
from spreadnet.evidence.files.workbook import plain_text
from spreadnet.evidence.personal.privacy import brief
from spreadnet.evidence.region import Note

SUFFIXES = (".geojson", ".json", ".gpkg", ".shp", ".fgb", ".kml", ".gml")
SHAPEFILE_PARTS = (".shp", ".dbf", ".shx", ".prj", ".cpg")
DBF_NAME = 10  # letters of a heading that a shapefile keeps
# Columns that a GIS makes by itself; they say nothing about the lake or landing.
_MACHINE = {
    *("fid", "id", "objectid", "shape_leng", "shape_length", "shape_area", "globalid"),
    # what GDAL makes of KML and GML, also when they were converted to another format since
    *("timestamp", "begin", "end", "altitudemode", "tessellate", "extrude", "visibility"),
    *("draworder", "icon", "snippet", "gml_id", "gml_parent_id"),
}
_KML = {"description"}  # in other formats it may hold something, so there it is asked about
SHOWN_LAYERS = 10
FIRST_ROW = 2  # of the first feature: its attribute table has the heading in row 1


def read_vector(path: Path, *, table: str) -> Reading:
    """
    Text cells and geometry of a vector file.

    Attributes become text as a spreadsheet would show them, so that one set of rules checks CSV,
    workbook and map layer alike. Row numbers are those of the attribute table below its heading.

    Parameters
    ----------
    path : Path
        GeoJSON, GeoPackage, Shapefile or another format of `SUFFIXES`.
    table : str
        `lakes` or `landings`; the layer of that name is read, or the only one.

    Returns
    -------
    reading : Reading
        `geometry` is two-dimensional and may hold None; `crs` is None when the file is silent.
    """
    try:
        layer = _layer(path, table)
        if isinstance(layer, Problem):
            return Reading(None, (layer,))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what GDAL remarks on is checked below
            frame = pyogrio.read_dataframe(path, layer=layer)
    except Exception as error:  # GDAL, PROJ and GEOS raise many kinds
        return Reading(None, (_unreadable(path, error),))
    if not isinstance(frame, gpd.GeoDataFrame):
        return Reading(None, (_no_geometry(path),))
    return _as_table(frame, table=table, file=path.name)


def _layer(path: Path, table: str) -> str | Problem:
    """The layer to read: named like the table, or the only one."""
    names = [str(name) for name, _ in pyogrio.list_layers(path)]
    same = [name for name in names if name.lower() == table]
    if len(same or names) == 1:
        return (same or names)[0]
    return Problem(
        "which-layer",
        path.name,
        f"the file has {len(names)} layers: {', '.join(map(brief, names[:SHOWN_LAYERS]))}",
        "It is not clear which of them is the table.",
        f"Name the right one '{table}', or save it alone in a file.",
    )


def _unreadable(path: Path, error: Exception) -> Problem:
    """The problem that GDAL can't read a file."""
    mend = "Open it in a GIS and save it again as GeoJSON or GeoPackage."
    if path.suffix.lower() == ".shp" and not path.with_suffix(".shx").exists():
        mend = f"Put {path.stem}.shx and {path.stem}.dbf beside it: a shapefile is several files."
    if path.stat().st_size == 0:
        return Problem("empty-file", path.name, "the file is empty", "It has no lakes.", mend)
    kind = type(error).__name__
    what = f"this can't be read as a vector file ({kind})"
    return Problem("unreadable", path.name, what, "Nothing in it can be used.", mend)


def _no_geometry(path: Path) -> Problem:
    """The problem that no row has a place."""
    return Problem(
        "no-geometry",
        path.name,
        "no row of the file has a geometry",
        "Distances can't be measured without places.",
        "Save it with its geometry, or as CSV with the columns longitude and latitude.",
    )


def _as_table(frame: gpd.GeoDataFrame, *, table: str, file: str) -> Reading:
    """A GeoDataFrame as text cells beside its geometry."""
    index = pd.RangeIndex(FIRST_ROW, FIRST_ROW + len(frame))
    geometry = np.asarray(frame.geometry.array)
    flat = shapely.force_2d(geometry)
    raised = int(shapely.has_z(geometry).sum())
    headings, notes = _headings([str(c) for c in frame.columns if c != frame.geometry.name], table)
    machine = _MACHINE | (_KML if file.lower().endswith(".kml") else set())
    headings = {raw: name for raw, name in headings.items() if name not in machine}
    kept = {name: frame[raw] for raw, name in headings.items()}
    cells = {name: [_cell(value) for value in values] for name, values in kept.items()}
    if raised:
        notes.append(Note("height", f"{file}: heights of {raised} shapes are not used"))
    made = TextTable(
        table,
        file,
        pd.DataFrame(cells, index=index, dtype="str"),
        decimal=".",
        geometry=gpd.GeoSeries(flat, index=index),
        crs=_stated_crs(frame.crs),
    )
    return Reading(made, tuple(_repeated(headings, file)), tuple(notes))


def _cell(value: Any) -> str:
    """One attribute as text, missing as blank."""
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, np.generic):
        value = value.item()
    return plain_text(value)


def _headings(raw: Sequence[str], table: str) -> tuple[dict[str, str], list[Note]]:
    """Attribute names to plain headings; names that a shapefile cut are made whole."""
    known = columns(table)
    plain = {name: plain_heading(name) for name in raw}
    whole = {}
    for name, heading in plain.items():
        longer = [c for c in known if len(heading) == DBF_NAME and c.startswith(heading)]
        if heading not in known and len(longer) == 1:
            whole[name] = longer[0]
    made = ", ".join(f"{name} as {full}" for name, full in whole.items())
    notes = [Note("short-heading", f"{table}: headings cut short are read: {made}")] if made else []
    return {**plain, **whole}, notes


def _repeated(headings: dict[str, str], file: str) -> list[Problem]:
    """Attribute names that come to the same heading."""
    names = list(headings.values())
    return [
        Problem(
            "duplicate-heading",
            file,
            f"{' and '.join(brief(r) for r, n in headings.items() if n == name)} mean the same",
            "Only one of them can be right.",
            "Delete or rename all but one.",
            row=1,
            column=brief(name),
        )
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]


def _stated_crs(crs: Any) -> Any:
    """The two-dimensional CRS of a layer, or None when it has none worth the name."""
    if crs is None or "undefined" in crs.name.lower() or "unknown" in crs.name.lower():
        return None
    return crs.to_2d()


def from_degrees(longitude: pd.Series, latitude: pd.Series) -> gpd.GeoSeries:
    """
    Points of longitude and latitude columns, WGS 84; None where either is missing.

    Examples
    --------
    >>> from_degrees(pd.Series([-128.0, None]), pd.Series([-41.0, -41.2])).isna().tolist()
    [False, True]
    """
    lon, lat = longitude.to_numpy(dtype=float), latitude.to_numpy(dtype=float)
    points = np.full(len(lon), None, dtype=object)
    known = np.isfinite(lon) & np.isfinite(lat)
    points[known] = shapely.points(lon[known], lat[known])
    return gpd.GeoSeries(points, index=longitude.index, crs="EPSG:4326")
