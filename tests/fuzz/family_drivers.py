"""Mutants that would have another file read, or a request made, by what reads vector files."""

from __future__ import annotations

import io
import json
import random
import sqlite3
import tempfile
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from base_region import Folder, Link, Pipe, base_folder
from judge import EITHER, FREE, REFUSE, Right
from written import MAIN, XML, Form, features, table_files, workbook

Made = tuple[Folder, Right, str]
CANARY = "CANARY7"  # an id that stands only in files outside and in what the server would give


@dataclass(frozen=True, slots=True)
class World:
    """A folder outside with files that must not be read, and a server that must see nothing."""

    outside: Path
    url: str


def make_outside(outside: Path) -> None:
    """Write the files that no region may read: lakes, landings and settings with the canary."""
    folder = canary_folder()
    for table in ("lakes", "landings"):
        for kind in ("geojson", "gpkg", "shp"):
            sheet = replace(folder.sheets[table], form=Form(kind=kind))
            for name, data in table_files(folder, table, sheet).items():
                (outside / name).write_bytes(data)
        sheet = folder.sheets[table]
        for name, data in table_files(folder, table, sheet).items():
            (outside / name).write_bytes(data)
    (outside / "secret.txt").write_text(f"{CANARY}\n")
    (outside / "init").write_text("<canary> +proj=utm +zone=9 +south +datum=WGS84 +units=m <>\n")
    (outside / "region.toml").write_text(f'name = "{CANARY}"\n')


def canary_folder() -> Folder:
    """The base region with the canary as the name of the first lake and of the first landing."""
    made = base_folder().with_cell("lakes", 0, "name", CANARY)
    return made.with_cell("landings", 0, "name", CANARY)


def canary_lakes() -> bytes:
    """What the server would give to whoever asks."""
    folder = canary_folder()
    return json.dumps(features(folder, "lakes", folder.sheets["lakes"])).encode()


def _sources(world: World, table: str) -> tuple[str, ...]:
    """Places that must not be opened."""
    out, web = str(world.outside), f"{world.url}/{table}.geojson"
    return (
        *(
            f"{out}/{table}.geojson",
            f"{out}/{table}.gpkg",
            f"{out}/{table}.shp",
            f"{out}/{table}.csv",
        ),
        *(web, f"/vsicurl/{web}", f"/vsicurl?url={web}", f"/vsicurl_streaming/{web}"),
        *(
            f"/vsizip//vsicurl/{world.url}/a.zip",
            f"/vsizip/{out}/a.zip",
            f"/vsis3/bucket/{table}.json",
        ),
        *(f"/vsisubfile/0_9999,{out}/{table}.geojson", f"GeoJSON:{out}/{table}.geojson"),
        *(f"WFS:{world.url}/wfs", f"OAPIF:{world.url}/oapi", f"CSW:{world.url}/csw"),
    )


def disguises(world: World, table: str, source: str) -> dict[str, bytes]:
    """Documents that some driver takes for an order to read a source."""
    at = f"{world.url}/{table}"
    vrt = f'<OGRVRTDataSource><OGRVRTLayer name="{table}">'
    vrt += f"<SrcDataSource>{source}</SrcDataSource><SrcLayer>{table}</SrcLayer>"
    vrt += "</OGRVRTLayer></OGRVRTDataSource>"
    line = f"gdal vector pipeline ! read {source} ! reproject --dst-crs EPSG:4326"
    link = {"rel": "data", "type": "application/json", "href": f"{at}/collections"}
    member = {"type": "link", "properties": {"href": f"{at}/crs", "type": "proj4"}}
    esri = {"objectIdFieldName": "id", "geometryType": "esriGeometryPoint", "features": []}
    return {
        "vrt": vrt.encode(),
        "vrt, mark": b"\xef\xbb\xbf" + vrt.encode(),
        "vrt, spaces": b"\n   " + vrt.encode(),
        "vrt, declared": b'<?xml version="1.0"?>\n<!-- kml -->' + vrt.encode(),
        "vrt of sql": vrt.replace("<SrcLayer>", "<SrcSQL>select * from ")
        .replace("</SrcLayer>", "</SrcSQL>")
        .encode(),
        "vrt in kml": f"<kml>{vrt}</kml>".encode(),
        "vrt union": f"<OGRVRTDataSource><OGRVRTUnionLayer name='{table}'>{vrt[18:-19]}"
        "</OGRVRTUnionLayer></OGRVRTDataSource>".encode(),
        "wfs": f"<OGRWFSDataSource><URL>{at}/wfs</URL></OGRWFSDataSource>".encode(),
        "wfs answer": f'<w:FeatureCollection xmlns:w="http://www.opengis.net/wfs" next="{at}/next">'
        "</w:FeatureCollection>".encode(),
        "wfs abilities": f'<WFS_Capabilities version="2.0.0"><OnlineResource href="{at}/wfs"/>'
        "</WFS_Capabilities>".encode(),
        "csw": f"<OGRCSWDataSource><URL>{at}/csw</URL></OGRCSWDataSource>".encode(),
        "streamed": json.dumps(
            {
                "type": "gdal_streamed_alg",
                "command_line": line,
                "relative_paths_relative_to_this_file": True,
            }
        ).encode(),
        "oapif": json.dumps({"links": [link], "title": table, "collections": []}).encode(),
        "oapif collections": json.dumps(
            {"collections": [{"id": table, "links": [{**link, "rel": "items"}]}], "links": [link]}
        ).encode(),
        "esri": json.dumps({**esri, "exceededTransferLimit": True}).encode(),
        "crs link": json.dumps({**_good(table), "crs": member}).encode(),
        "crs url": json.dumps(
            {**_good(table), "crs": {"type": "name", "properties": {"name": f"{at}/crs"}}}
        ).encode(),
        "crs file": json.dumps(
            {**_good(table), "crs": {"type": "name", "properties": {"name": source}}}
        ).encode(),
        "next page": json.dumps(
            {**_good(table), "links": [{"rel": "next", "href": f"{at}/page2.geojson"}]}
        ).encode(),
        "network link": f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><NetworkLink><Link>'
        f"<href>{at}.kml</href></Link></NetworkLink></Document></kml>".encode(),
        "kml entity": f'<!DOCTYPE kml [<!ENTITY x SYSTEM "file://{world.outside}/secret.txt">'
        f'<!ENTITY y SYSTEM "{at}/dtd">]>{_kml("&x;&y;")}'.encode(),
        "kml dtd": f'<!DOCTYPE kml SYSTEM "{at}/kml.dtd">{_kml("a")}'.encode(),
        "kml include": _kml(
            f'<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="{source}"/>'
        ).encode(),
        "gml schema": _gml(f'xsi:schemaLocation="http://example.org/f {at}/f.xsd"', "a").encode(),
        "gml link": _gml("", f'<gml:pos xlink:href="{at}/pos"/>').encode(),
        "gml entity": f'<!DOCTYPE a [<!ENTITY x SYSTEM "file://{world.outside}/secret.txt">]>'
        f"{_gml('', '&x;')}".encode(),
        "georss": f'<rss version="2.0"><channel><link>{at}</link></channel></rss>'.encode(),
        "topology": json.dumps({"type": "Topology", "objects": {}, "arcs": []}).encode(),
        "list of files": f"{source}\n".encode(),
        "csv": b"lake_id,WKT\n001,POINT(-128 -41)\n",
        "service": f'<Service name="WFS"><URL>{at}</URL></Service>'.encode(),
        "mapml": f'<mapml-><map-link href="{at}"/></mapml->'.encode(),
        "carto": f'{{"rows":[],"total_rows":0,"next":"{at}"}}'.encode(),
        "stac": json.dumps(
            {"type": "FeatureCollection", "stac_version": "1.0.0", **_next(at)}
        ).encode(),
        "zip of vrt": _zip({f"{table}.vrt": vrt.encode(), f"{table}.kml": vrt.encode()}),
        "zip of lakes": _zip({f"{table}.geojson": json.dumps(_good(table)).encode()}),
        "kmz": _zip({"doc.kml": _kml("a").encode()}),
        "zip climbing": _zip({f"../../{table}.shp": b"x", "/etc/passwd": b"x"}),
        "sqlite of others": _sqlite(source, geopackage=False),
        "gpkg of others": _sqlite(source, geopackage=True),
    }


def _next(at: str) -> dict[str, Any]:
    """A page that names the next."""
    return {"features": [], "links": [{"rel": "next", "href": f"{at}/next", "method": "GET"}]}


def _good(table: str) -> dict[str, Any]:
    """The base's own table as a feature collection."""
    folder = base_folder()
    return features(folder, table, folder.sheets[table])


def _kml(inside: str) -> str:
    """A KML of one place."""
    return (
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>'
        f"{inside}</name><Point><coordinates>-128,-41</coordinates></Point></Placemark>"
        "</Document></kml>"
    )


def _gml(attributes: str, inside: str) -> str:
    """A GML of one place."""
    return (
        '<FeatureCollection xmlns="http://example.org/f" xmlns:gml="http://www.opengis.net/gml" '
        'xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" {attributes}>'
        f"<gml:featureMember><lake><name>{inside}</name></lake></gml:featureMember>"
        "</FeatureCollection>"
    )


def _zip(files: dict[str, bytes]) -> bytes:
    """A zip archive, always with the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as book:
        for name, data in files.items():
            book.writestr(zipfile.ZipInfo(name), data)
    return out.getvalue()


def _sqlite(source: str, *, geopackage: bool) -> bytes:
    """A database whose only table is a view into another file."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place, "a.db")
        with sqlite3.connect(path) as base:
            base.execute("create table plain (lake_id text)")
            base.execute("pragma writable_schema = on")
            quoted = source.replace("'", "''")
            for name in ("lakes", "landings"):
                text = f"CREATE VIRTUAL TABLE {name} USING VirtualOGR(''{quoted}'')"
                base.execute(
                    "insert into sqlite_master (type, name, tbl_name, rootpage, sql)"
                    f" values ('table', '{name}', '{name}', 0, '{text}')"
                )
            if geopackage:
                base.execute("pragma application_id = 1196444487")
        base.close()
        return path.read_bytes()


def disguise(rng: random.Random, folder: Folder, world: World) -> Made:
    """An order to read another source, under an ending of a vector file."""
    table = rng.choice(("lakes", "landings"))
    source = rng.choice(_sources(world, table))
    made = disguises(world, table, source)
    name = rng.choice(list(made))
    ending = rng.choice(("geojson", "json", "gpkg", "shp", "fgb", "kml", "gml", "csv", "xlsx"))
    right = REFUSE
    harmless = name in ("crs link", "crs url", "crs file", "next page")
    if harmless and ending in ("geojson", "json"):
        right = EITHER
    if name in ("csv", "network link", "kmz", "kml include") or name.startswith("gml"):
        right = FREE  # real files of their kind, in which there is nothing to read elsewhere
    files = {f"{table}__csv": None, f"{table}__{ending}": made[name]}
    return folder.with_raw(**files), right, f"{table}.{ending}: {name} of {source}"


def real_but_linked(rng: random.Random, folder: Folder, world: World) -> Made:
    """A good GeoJSON with members that point elsewhere: they are not followed."""
    table = rng.choice(("lakes", "landings"))
    made = disguises(world, table, rng.choice(_sources(world, table)))
    name = rng.choice(("crs link", "crs url", "crs file", "next page", "stac", "streamed", "esri"))
    files = {f"{table}__csv": None, f"{table}__{rng.choice(('geojson', 'json'))}": made[name]}
    right = REFUSE if name in ("stac", "streamed", "esri") else EITHER
    return folder.with_raw(**files), right, f"{table}: {name}"


def link(rng: random.Random, folder: Folder, world: World) -> Made:
    """A symbolic link that leaves the folder, or leads nowhere, or a named pipe."""
    kind = rng.choice(
        ("csv", "geojson", "shp part", "settings", "loop", "device", "pipe", "folder")
    )
    table = rng.choice(("lakes", "landings"))
    out = world.outside
    files: dict[str, Any]
    if kind == "csv":
        files = {f"{table}__csv": Link(f"{out}/{table}.csv")}
    elif kind == "geojson":
        files = {f"{table}__csv": None, f"{table}__geojson": Link(f"{out}/{table}.geojson")}
    elif kind == "shp part":
        parts = table_files(folder, table, replace(folder.sheets[table], form=Form(kind="shp")))
        named = {n.replace(".", "__"): b for n, b in parts.items()}
        end = rng.choice(("dbf", "prj", "shx"))
        files = {f"{table}__csv": None, **named, f"{table}__{end}": Link(f"{out}/{table}.{end}")}
    elif kind == "settings":
        files = {"region__toml": Link(f"{out}/region.toml")}
    elif kind == "loop":
        files = {f"{table}__csv": Link(f"{table}.csv")}
    elif kind == "device":
        files = {f"{table}__csv": Link(rng.choice(("/dev/zero", "/dev/stdin", "/proc/self/mem")))}
    elif kind == "pipe":
        files = {f"{table}__csv": Pipe()}
    else:
        files = {f"{table}__csv": None, f"{table}__geojson": Link(str(out))}
    return folder.with_raw(**files), REFUSE, f"{table}: link, {kind}"


def beside(rng: random.Random, folder: Folder, world: World) -> Made:
    """Files beside a good vector file that would send its reader elsewhere."""
    out, kind = world.outside, rng.choice(("shp", "gpkg", "geojson", "gml", "csv"))
    made = folder.with_form("lakes", kind=kind)
    name, content = rng.choice(
        (
            ("lakes__vrt", disguises(world, "lakes", f"{out}/lakes.geojson")["vrt"]),
            (
                "lakes__gfs",
                f"<GMLFeatureClassList><a>{world.url}/a</a></GMLFeatureClassList>".encode(),
            ),
            (
                "lakes__xsd",
                f'<schema><import schemaLocation="{world.url}/b.xsd"/></schema>'.encode(),
            ),
            ("lakes__aux__xml", f"<PAMDataset><SRS>{world.url}/crs</SRS></PAMDataset>".encode()),
            ("lakes__qix", b"SQT" + b"\x01" * 200),
            ("lakes__csvt", b'"String"'),
            ("lakes__gpkg-wal", b"\x37\x7f\x06\x82" + b"\x00" * 200),
            ("lakes__prj", f"{world.url}/crs".encode()),
            ("lakes__prj", f"{out}/secret.txt".encode()),
            ("lakes__prj", f"+init={out}/init:canary".encode()),
            ("lakes__prj", b"GEOGCS[" * 20_000),
            ("lakes__prj", Link(f"{out}/secret.txt")),
            ("lakes__cpg", Link(f"{out}/secret.txt")),
            ("lakes__qix", Link(f"{out}/secret.txt")),
            ("gdalrc", b"CPL_DEBUG=ON"),
            ("proj__ini", f"[general]\ncdn_endpoint = {world.url}\nnetwork = on\n".encode()),
        )
    )
    right = EITHER
    if name in ("lakes__prj", "lakes__cpg") and kind == "shp":
        right = Right("either", {("lakes", ..., "name"): (...,)})
    return made.with_raw(**{name: content}), right, f"{name} beside lakes.{kind}"


def system(rng: random.Random, folder: Folder, world: World) -> Made:
    """A coordinate system in `region.toml` that would be fetched or read from a file."""
    out, web = world.outside, world.url
    text = rng.choice(
        (
            *(f"{web}/crs", f"{out}/secret.txt", f"+init={out}/init:canary", f"@{out}/init"),
            *(f"+proj=utm +zone=9 +south +nadgrids={out}/secret.txt", f"file://{out}/init"),
            *(f"+proj=utm +zone=9 +south +nadgrids={web}/grid.tif", f"+init={web}/init:canary"),
            *(f"+proj=utm +zone=9 +south +geoidgrids={web}/g.tif", f"/vsicurl/{web}/crs"),
            *(f"+proj=pipeline +step +proj=utm +zone=9 +step +proj=hgridshift +grids={out}/init",),
        )
    )
    return folder.with_setting("crs", f'"{text}"'), EITHER, f"crs = {text}"


def book(rng: random.Random, folder: Folder, world: World) -> Made:
    """A workbook with links and entities that lead elsewhere."""
    secret = f"file://{world.outside}/secret.txt"
    name, head, cell = rng.choice(
        (
            ("entity of a file", f'<!DOCTYPE a [<!ENTITY x SYSTEM "{secret}">]>', "&x;"),
            ("entity of a page", f'<!DOCTYPE a [<!ENTITY x SYSTEM "{world.url}/x">]>', "&x;"),
            ("dtd of a page", f'<!DOCTYPE a SYSTEM "{world.url}/a.dtd">', "001"),
        )
    )
    row = "".join(
        f'<c t="inlineStr"><is><t>{t}</t></is></c>' for t in (cell, "x", "-128", "-41", "5")
    )
    heads = "".join(
        f'<c t="inlineStr"><is><t>{t}</t></is></c>'
        for t in ("lake_id", "name", "longitude", "latitude", "area_ha")
    )
    rows = f"<sheetData><row>{heads}</row><row>{row}</row></sheetData>"
    sheet = f'{head}<worksheet xmlns="{MAIN}">{rows}</worksheet>'
    part = XML + sheet
    data = workbook({"Sheet1": ""}, parts={"xl/worksheets/sheet1.xml": part})
    return folder.with_raw(lakes__csv=None, lakes__xlsx=data), REFUSE, f"workbook: {name}"


MUTATORS = {
    "drivers": (disguise, disguise, disguise, real_but_linked, link, beside, system, book),
}
