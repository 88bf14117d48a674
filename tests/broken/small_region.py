"""The small valid region that every case of bad input changes, and what its files are made with."""

from __future__ import annotations

import io
import json
import tempfile
import zipfile
from functools import partial
from pathlib import Path

import geopandas as gpd
import openpyxl
import shapely

# An invented district in open ocean.
REGION = """name = "Invented district"
season_first_day = 2027-05-15
season_last_day = 2027-09-30
species = {dreissenid_mussel = 1.0}
"""
LAKES = """lake_id,name,longitude,latitude,area_ha
L01,North,-128.05,-41.02,120
L02,South,-127.90,-41.10,85
L03,East,-127.70,-41.05,40
"""
LANDINGS = """landing_id,lake_id,name,longitude,latitude,ramp_lanes
A01,L01,North ramp,-128.049,-41.021,2
A02,L02,South ramp,-127.901,-41.101,1
A03,L03,East ramp,-127.701,-41.051,1
"""
STATUS = """lake_id,species,status,first_found,surveys
L01,dreissenid_mussel,present,2021,4
L02,dreissenid_mussel,absent,,2
"""
VISITS = """visit_id,landing_id,date,start,end,launches
V01,A01,2026-07-04,08:00,12:00,31
V02,A02,2026-07-08,14:30,18:00,12
"""
CONTACTS = """visit_id,direction,last_water,next_water,days_out,plug
V01,launching,L02,,3,no
V01,retrieving,,none,,yes
V02,launching,outside,,20,not checked
"""
BASE = {
    "region.toml": REGION,
    "lakes.csv": LAKES,
    "landings.csv": LANDINGS,
    "status.csv": STATUS,
}
SEEN = {"visits.csv": VISITS, "contacts.csv": CONTACTS}
KNOWN_SPECIES = {"dreissenid_mussel", "spiny_waterflea"}


def square(longitude, latitude, half=0.01):
    """Ring of a square."""
    w, e, s, n = longitude - half, longitude + half, latitude - half, latitude + half
    return [[w, s], [e, s], [e, n], [w, n], [w, s]]


RINGS = {
    "L01": square(-128.05, -41.02),
    "L02": square(-127.90, -41.10),
    "L03": square(-127.70, -41.05),
}


def write_region(folder, changes):
    """
    Write the small region with its changes into a folder.

    A change is a file's whole text or bytes, a function that makes them, None for no file, or
    (old, new): what takes the place of a text that must be there, or a list of such pairs.
    """
    for name, change in {**BASE, **changes}.items():
        content = _content(name, change)
        if content is not None:
            data = content if isinstance(content, bytes) else content.encode()
            (folder / name).write_bytes(data)
    return folder


def _content(name, change):
    """The text or bytes of one file."""
    if callable(change):
        return change()
    if isinstance(change, tuple | list):
        text = {**BASE, **SEEN}[name]
        for old, new in [change] if isinstance(change, tuple) else change:
            assert old in text, f"{name} has no {old!r} to change"
            text = text.replace(old, new)
        return text
    return change


# --- settings ---------------------------------------------------------------------------------


def settings(*lines):
    """The settings with lines more."""
    return {"region.toml": REGION + "".join(f"{line}\n" for line in lines)}


# --- lakes with outlines ----------------------------------------------------------------------


def geojson(rings):
    """Lakes as GeoJSON from the outer ring of each; what follows a # is no part of the id."""
    features = [
        {
            "type": "Feature",
            "properties": {"lake_id": name.split("#")[0]},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }
        for name, ring in rings.items()
    ]
    return json.dumps({"type": "FeatureCollection", "features": features})


def outlines(changed=None, *, point=None):
    """Lakes as GeoJSON in place of the CSV, with rings changed or added, or every point moved."""
    rings = {**RINGS, **(changed or {})}
    if point:
        rings = {name: [point(*at) for at in ring] for name, ring in rings.items()}
    return {"lakes.csv": None, "lakes.geojson": geojson(rings)}


def outlines_in_metres():
    """UTM metres in a file that should hold degrees, as a GIS writes where it didn't reproject."""
    shapes = gpd.GeoSeries([shapely.Polygon(ring) for ring in RINGS.values()], crs=4326)
    rings = {
        name: [[round(e, 1), round(n, 1)] for e, n in shape.exterior.coords]
        for name, shape in zip(RINGS, shapes.to_crs(32709), strict=True)
    }
    return geojson(rings)


def shapefile(*, crs=4326, without=()):
    """The lakes as a shapefile in place of the CSV."""
    endings = {".cpg", ".dbf", ".prj", ".shp", ".shx"} - set(without)
    parts = {f"lakes{end}": partial(_shapefile_part, end, crs) for end in sorted(endings)}
    return {"lakes.csv": None, **parts}


def _shapefile_part(ending, crs):
    """Bytes of one of a shapefile's files."""
    frame = gpd.GeoDataFrame(
        {"lake_id": list(RINGS)},
        geometry=[shapely.Polygon(ring) for ring in RINGS.values()],
        crs=crs,
    )
    with tempfile.TemporaryDirectory() as folder:
        frame.to_file(Path(folder) / "lakes.shp")
        return (Path(folder) / f"lakes{ending}").read_bytes()


# --- workbooks --------------------------------------------------------------------------------


def workbook(**parts):
    """The lakes as an XLSX in place of the CSV; `parts` as in `workbook_bytes`."""
    return {"lakes.csv": None, "lakes.xlsx": partial(workbook_bytes, **parts)}


def workbook_bytes(*, above=(), last=None, merged="", sheets=(), chart=False, cut=False):
    """
    The lakes as an XLSX of one sheet.

    `above` are rows over the heading, `last` takes the last row's place, `sheets` are further
    filled sheets, `cut` breaks the sheet off.
    """
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Sheet1"
    rows = [[_cell(cell) for cell in line.split(",")] for line in LAKES.splitlines()]
    for row in [*above, *(rows if last is None else [*rows[:-1], last])]:
        sheet.append(row)
    if merged:
        sheet.merge_cells(merged)
    if chart:
        book.create_chartsheet("Chart1")
    for name in sheets:
        book.create_sheet(name).append(["something"])
    out = io.BytesIO()
    book.save(out)
    return _cut(out.getvalue()) if cut else out.getvalue()


def _cell(text):
    """A number where the text is one."""
    try:
        return float(text)
    except ValueError:
        return text or None


def _cut(data):
    """The workbook with its sheet broken off."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.infolist():
            new.writestr(part, b"<x" if "sheet1" in part.filename else old.read(part))
    return out.getvalue()
