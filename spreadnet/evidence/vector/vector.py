"""Vector files to text cells and geometry, by one reader for each ending."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from spreadnet.errors import Problem
from spreadnet.evidence.columns import columns, plain_heading
from spreadnet.evidence.files import Contents, plain_text
from spreadnet.evidence.personal import brief
from spreadnet.evidence.region import Note
from spreadnet.evidence.types import Reading, TextTable
from spreadnet.evidence.vector.geojson import read_geojson
from spreadnet.evidence.vector.geopackage import read_geopackage
from spreadnet.evidence.vector.kml import read_kml
from spreadnet.evidence.vector.layers import CannotRead, Layer
from spreadnet.evidence.vector.shapefile import read_shapefile

DBF_NAME = 10  # letters of a heading that a shapefile keeps
# Columns that a GIS makes by itself; they say nothing about the lake or landing.
_MACHINE = {
    *("fid", "id", "objectid", "shape_leng", "shape_length", "shape_area", "globalid"),
    # what GDAL makes of KML and GML, also when they were converted to another format since
    *("timestamp", "begin", "end", "altitudemode", "tessellate", "extrude", "visibility"),
    *("draworder", "icon", "snippet", "gml_id", "gml_parent_id"),
}
_KML = {"description"}  # in other formats it may hold something, so there it is asked about
FIRST_ROW = 2  # of the first feature: its attribute table has the heading in row 1


def read_vector(contents: Contents, *, table: str) -> Reading:
    """
    Text cells and geometry of a vector file.

    Each ending has one reader, which sees to the signature of the file first, gets bytes and no
    path, and can reach neither another file nor the network; a library of drivers that looks into
    the file and picks one of many could be made to do both. Attributes become text as a spreadsheet
    would show them, so that one set of rules checks CSV, workbook and map layer alike. Row numbers
    are those of the attribute table below its heading.

    Parameters
    ----------
    contents : Contents
        GeoJSON, GeoPackage, Shapefile or KML, by its ending.
    table : str
        `lakes` or `landings`; the layer of that name is read, or the only one.

    Returns
    -------
    reading : Reading
        `geometry` is two-dimensional and may hold None; `crs` is None when the file is silent.
    """
    if not contents.data:
        what = "the file is empty"
        empty = CannotRead(what, why="It has no lakes.", code="empty-file")
        return Reading(None, (empty.problem(contents.name),))
    try:
        layer = _layer(contents, table)
    except CannotRead as fault:
        return Reading(None, (fault.problem(contents.name),))
    return _as_table(layer, table=table, file=contents.name)


def _layer(contents: Contents, table: str) -> Layer:
    """The layer of a table, by the reader of the file's ending."""
    if contents.suffix == ".gpkg":
        return read_geopackage(contents.data, table=table)
    if contents.suffix == ".shp":
        return read_shapefile(contents.parts, stem=Path(contents.name).stem)
    if contents.suffix == ".kml":
        return read_kml(contents.data, table=table)
    return read_geojson(contents.data)


def _as_table(layer: Layer, *, table: str, file: str) -> Reading:
    """A layer as text cells beside its geometry."""
    index = pd.RangeIndex(FIRST_ROW, FIRST_ROW + len(layer.shapes))
    flat = shapely.force_2d(layer.shapes)
    raised = int(shapely.has_z(layer.shapes).sum())
    headings, notes = _headings(list(layer.attributes), table)
    machine = _MACHINE | (_KML if file.lower().endswith(".kml") else set())
    headings = {raw: name for raw, name in headings.items() if name not in machine}
    kept = {name: layer.attributes[raw] for raw, name in headings.items()}
    cells = {name: [_cell(value) for value in values] for name, values in kept.items()}
    if raised:
        notes.append(Note("height", f"{file}: heights of {raised} shapes are not used"))
    made = TextTable(
        table,
        file,
        pd.DataFrame(cells, index=index, dtype="str"),
        decimal=".",
        geometry=gpd.GeoSeries(flat, index=index),
        crs=_worth_the_name(layer.crs),
    )
    return Reading(made, tuple(_repeated(headings, file)), tuple(notes))


def _cell(value: Any) -> str:
    """One attribute as text, missing as blank."""
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return ""
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


def _worth_the_name(crs: pyproj.CRS | None) -> pyproj.CRS | None:
    """The CRS of a layer, or None when it is a placeholder for one."""
    placeholder = crs is None or re.search("undefined|unknown", crs.name.lower())
    return None if placeholder else crs


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
