"""No file of a region folder has another file read or the network called."""

from __future__ import annotations

import gzip
import hashlib
import http.server
import io
import json
import os
import sqlite3
import struct
import threading
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import geopandas as gpd
import pyproj
import pytest
import shapely

from spreadnet.evidence.limits import DEEPEST
from spreadnet.evidence.read import check_region
from spreadnet.evidence.vector.stated_crs import parse_crs

SPECIES = {"dreissenid_mussel"}
FOLDER = {
    "region.toml": 'name = "Invented district"\nseason_first_day = 2027-05-15\n'
    "season_last_day = 2027-09-30\nspecies = {dreissenid_mussel = 1.0}\n",
    "landings.csv": "landing_id,lake_id,longitude,latitude\nA01,L01,-128.05,-41.02\n"
    "A02,L02,-127.9,-41.1\n",
    "status.csv": "lake_id,species,status\nL01,dreissenid_mussel,present\n",
}
IDS = ["L01", "L02"]
ENDINGS = ("geojson", "json", "gpkg", "shp", "kml")


class Server(http.server.ThreadingHTTPServer):
    """A server that gives everyone the lakes, and remembers who asked."""

    asked: list[str]
    lakes: bytes


class _Handler(http.server.BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        assert isinstance(self.server, Server)
        self.server.asked.append(self.path)
        self.send_response(200)
        self.send_header("Content-Length", str(len(self.server.lakes)))
        self.end_headers()
        if self.command == "GET":
            self.wfile.write(self.server.lakes)

    do_HEAD = do_POST = do_GET

    def log_message(self, *_: object) -> None:
        pass


def lakes_frame() -> gpd.GeoDataFrame:
    """Two lakes."""
    shapes = [
        shapely.box(w, s, w + 0.02, s + 0.02) for w, s in ((-128.06, -41.03), (-127.91, -41.11))
    ]
    return gpd.GeoDataFrame({"lake_id": IDS}, geometry=shapes, crs="EPSG:4326")


@pytest.fixture
def server() -> Iterator[Server]:
    made = Server(("127.0.0.1", 0), _Handler)
    made.asked, made.lakes = [], lakes_frame().to_json().encode()
    thread = threading.Thread(target=made.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    yield made
    made.shutdown()
    made.server_close()
    thread.join()


@pytest.fixture
def region(tmp_path: Path) -> Path:
    """A region folder without lakes, beside a folder that it has no business with."""
    folder = tmp_path / "region"
    folder.mkdir()
    for name, text in FOLDER.items():
        (folder / name).write_text(text, encoding="utf-8")
    (tmp_path / "outside").mkdir()
    lakes_frame().to_file(tmp_path / "outside" / "lakes.geojson")
    return folder


def codes(folder: Path) -> dict[str, str]:
    """Codes of the problems of each file; the region must not be read."""
    problems, made = check_region(folder, species=SPECIES)
    assert made is None
    return {p.file: p.code for p in problems}


def zipped(name: str, data: bytes) -> bytes:
    """A ZIP of one file."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as parts:
        parts.writestr(name, data)
    return out.getvalue()


def vrt(source: str) -> bytes:
    """A virtual layer that shows another source."""
    layer = f'<OGRVRTLayer name="lakes"><SrcDataSource relativeToVRT="0">{source}</SrcDataSource>'
    layer += "<SrcLayer>lakes</SrcLayer></OGRVRTLayer>"
    return f"<OGRVRTDataSource>{layer}</OGRVRTDataSource>".encode()


def pipeline(source: str) -> bytes:
    """A streamed algorithm that reads another source."""
    line = f"gdal vector pipeline ! read {source} ! edit --crs EPSG:4326"
    return json.dumps({"type": "gdal_streamed_alg", "command_line": line}).encode()


def entity(source: str) -> bytes:
    """A KML whose text is another source."""
    kind = f'<!DOCTYPE kml [<!ENTITY other SYSTEM "{source}">]>'
    return f"<?xml version='1.0'?>{kind}<kml><Document>&other;</Document></kml>".encode()


def link(source: str) -> bytes:
    """A KML that shows another source."""
    href = f"<NetworkLink><Link><href>{source}</href></Link></NetworkLink>"
    return f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{href}</Document></kml>'.encode()


def schema(source: str) -> bytes:
    """A GML whose schema and one shape are at another source."""
    kinds = 'xmlns:gml="http://www.opengis.net/gml" xmlns:xlink="http://www.w3.org/1999/xlink"'
    kinds += ' xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"'
    shape = f'<gml:geometryProperty xlink:href="{source}#a"/><lake_id>L01</lake_id>'
    member = f'<gml:featureMember><lakes gml:id="b">{shape}</lakes></gml:featureMember>'
    where = f'xsi:schemaLocation="http://invented.example {source}"'
    return f"<gml:FeatureCollection {kinds} {where}>{member}</gml:FeatureCollection>".encode()


DISGUISES: dict[str, Callable[[str, str], bytes]] = {
    "virtual layer of a path": lambda path, _: vrt(path),
    "virtual layer of an address": lambda _, url: vrt(f"/vsicurl/{url}"),
    "virtual layer after a space": lambda path, _: b" \n" + vrt(path),
    "virtual layer after another signature": lambda path, _: b"<kml/>" + vrt(path),
    "virtual layer in a comment of KML": lambda path, _: b"<kml><!--" + vrt(path) + b"--></kml>",
    "web feature service": lambda _, url: (
        f"<OGRWFSDataSource><URL>{url}?SERVICE=WFS</URL></OGRWFSDataSource>".encode()
    ),
    "catalogue service": lambda _, url: (
        f"<OGRCSWDataSource><URL>{url}</URL></OGRCSWDataSource>".encode()
    ),
    "pipeline of a path": lambda path, _: pipeline(path),
    "pipeline of an address": lambda _, url: pipeline(f"/vsicurl/{url}"),
    "service description": lambda _, url: json.dumps(
        {"links": [{"rel": "data", "href": url, "type": "application/json"}], "conformsTo": []}
    ).encode(),
    "entity of a path": lambda path, _: entity(Path(path).as_uri()),
    "entity of an address": lambda _, url: entity(url),
    "network link": lambda _, url: link(url),
    "network link to a path": lambda path, _: link(path),
    "schema at an address": lambda _, url: schema(url),
    "geojson in a zip": lambda path, _: zipped("lakes.geojson", Path(path).read_bytes()),
    "virtual layer in a zip": lambda path, _: zipped("lakes.vrt", vrt(path)),
    "kml in a zip": lambda _, url: zipped("doc.kml", link(url)),
    "gzip": lambda path, _: gzip.compress(Path(path).read_bytes()),
    "the name of a path": lambda path, _: path.encode(),
    "esri json": lambda _, __: json.dumps(
        {"geometryType": "esriGeometryPoint", "fields": [], "features": []}
    ).encode(),
    "topojson": lambda _, __: json.dumps({"type": "Topology", "objects": {}, "arcs": []}).encode(),
}


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("name", DISGUISES)
def test_a_disguise_is_refused_and_reaches_nothing(
    name: str, ending: str, region: Path, server: Server
) -> None:
    outside = region.parent / "outside" / "lakes.geojson"
    url = f"http://127.0.0.1:{server.server_address[1]}/lakes.geojson"
    (region / f"lakes.{ending}").write_bytes(DISGUISES[name](str(outside), url))
    found = codes(region)
    assert found[f"lakes.{ending}"] in ("unreadable", "no-geometry", "which-layer")
    assert server.asked == []


@pytest.mark.parametrize("ending", ["vrt", "gml", "fgb", "zip", "kmz", "wfs"])
def test_other_endings_are_not_opened_whatever_they_hold(
    ending: str, region: Path, server: Server
) -> None:
    (region / f"lakes.{ending}").write_bytes(vrt(str(region.parent / "outside" / "lakes.geojson")))
    problems, made = check_region(region, species=SPECIES)
    assert made is None
    assert {p.code for p in problems if p.file.startswith("lakes")} <= {
        "unreadable",
        "missing-table",
    }
    assert server.asked == []


# links and what is no file


@pytest.mark.parametrize(
    "name",
    [
        "region.toml",
        "landings.csv",
        "status.csv",
        *(f"lakes.{e}" for e in (*ENDINGS, "csv", "xlsx")),
    ],
)
def test_a_link_that_leaves_the_folder_is_refused(name: str, region: Path) -> None:
    target = region.parent / "outside" / name
    if target.suffix in (".gpkg", ".shp"):
        lakes_frame().to_file(target)
    elif not target.exists():
        target.write_text(FOLDER.get(name, "lake_id\nL01\n"), encoding="utf-8")
    (region / name).unlink(missing_ok=True)
    (region / name).symlink_to(target)
    assert codes(region)[name] == "link-outside"


@pytest.mark.parametrize("ending", ["dbf", "shx", "prj", "cpg"])
def test_a_part_of_a_shapefile_that_leaves_the_folder_is_refused(ending: str, region: Path) -> None:
    lakes_frame().to_file(region / "lakes.shp")
    part = region / f"lakes.{ending}"
    outside = region.parent / "outside" / part.name
    part.rename(outside)
    part.symlink_to(outside)
    assert codes(region) == {part.name: "link-outside"}


def test_a_link_inside_the_folder_is_followed(region: Path) -> None:
    lakes_frame().to_file(region / "outlines_2026.geojson")
    (region / "lakes.geojson").symlink_to("outlines_2026.geojson")
    assert check_region(region, species=SPECIES)[0] == []


def test_a_region_folder_may_itself_be_a_link(region: Path) -> None:
    lakes_frame().to_file(region / "lakes.geojson")
    (region.parent / "short").symlink_to(region)
    assert check_region(region.parent / "short", species=SPECIES)[0] == []


def test_folders_pipes_and_loose_links_in_place_of_tables_are_told(region: Path) -> None:
    (region / "lakes.csv").mkdir()
    (region / "status.csv").unlink()
    (region / "status.csv").symlink_to("nowhere.csv")
    (region / "landings.csv").unlink()
    os.mkfifo(region / "landings.csv")
    names = ("lakes.csv", "landings.csv", "status.csv")
    assert codes(region) == dict.fromkeys(names, "not-a-file")


# coordinate systems


@pytest.mark.parametrize("ending", ["gpkg", "shp", "geojson"])
@pytest.mark.parametrize("kind", ["grid of a path", "grid of an address", "extension", "words"])
def test_a_coordinate_system_that_rests_on_other_files_is_refused(
    kind: str, ending: str, region: Path, server: Server
) -> None:
    grid = f"http://127.0.0.1:{server.server_address[1]}/grid.tif"
    grid = str(region.parent / "outside" / "grid.gsb") if kind == "grid of a path" else grid
    wkt = pyproj.CRS.from_string(f"+proj=longlat +ellps=intl +nadgrids={grid}").to_wkt()
    if kind == "extension":
        plain = pyproj.CRS.from_string("+proj=tmerc +lon_0=-127.7 +ellps=intl").to_wkt("WKT1_GDAL")
        wkt = plain[:-1] + f',EXTENSION["PROJ4","+proj=utm +zone=9 +nadgrids={grid}"]]'
    if kind == "words":
        wkt = f"+proj=pipeline +step +proj=hgridshift +grids={grid}"
    path = region / f"lakes.{ending}"
    lakes_frame().to_file(path)
    if ending == "gpkg":
        with sqlite3.connect(path) as base:
            entry = "UPDATE gpkg_spatial_ref_sys SET organization = 'NONE', definition = ?"
            base.execute(f"{entry} WHERE srs_id = 4326", (wkt,))
        base.close()
    elif ending == "shp":
        path.with_suffix(".prj").write_text(wkt, encoding="utf-8")
    else:
        crs = {"type": "name", "properties": {"name": wkt}}
        path.write_text(json.dumps({**json.loads(path.read_text()), "crs": crs}), encoding="utf-8")
    assert codes(region)[path.name] == "crs-unknown"
    assert server.asked == []


def test_a_crs_by_link_is_not_followed(region: Path, server: Server) -> None:
    lakes = json.loads(lakes_frame().to_json())
    url = f"http://127.0.0.1:{server.server_address[1]}/crs"
    lakes["crs"] = {"type": "link", "properties": {"href": url, "type": "proj4"}}
    (region / "lakes.geojson").write_text(json.dumps(lakes), encoding="utf-8")
    assert codes(region) == {"lakes.geojson": "crs-unknown"}
    assert server.asked == []


def test_proj_fetches_no_grid_even_where_the_environment_lets_it(
    region: Path, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PROJ_NETWORK_ENDPOINT", f"http://127.0.0.1:{server.server_address[1]}")
    pyproj.network.set_network_enabled(True)
    try:
        lakes_frame().to_crs(4267).to_file(region / "lakes.gpkg")
        server.asked.clear()
        assert check_region(region, species=SPECIES)[0] == []
        assert not pyproj.network.is_network_enabled()
    finally:
        pyproj.network.set_network_enabled(False)
    assert server.asked == []


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("+proj=pipeline +step +proj=utm +zone=9 +south", "operation of several steps"),
        ("+init=epsg:32709", "operation of several steps, or a name of one"),
        ("+proj=utm +zone=9 +south +nadgrids=http://127.0.0.1:9/grid.tif", r"\+nadgrids"),
        ("+proj=utm +zone=9 +south +geoidgrids=@other.gtx", r"\+geoidgrids"),
        ("http://127.0.0.1:9/crs", "not a known coordinate system"),
        ("/etc/hostname", "not a known coordinate system"),
        ("EPSG:32709+5773", "not a known coordinate system"),
        ("WGS 84 / UTM zone 9S", "not a known coordinate system"),
        ("PROJCS[" * 5000, "is 35000 letters long"),
    ],
)
def test_a_crs_that_is_no_plain_system_is_refused_with_the_mend(
    text: str, told: str, region: Path
) -> None:
    with pytest.raises(ValueError, match=told):
        parse_crs(text)
    if len(text) > 200:
        return
    lakes_frame().to_file(region / "lakes.gpkg")
    toml = FOLDER["region.toml"] + f'crs = "{text}"\n'
    (region / "region.toml").write_text(toml, encoding="utf-8")
    (problem,) = check_region(region, species=SPECIES)[0]
    assert (problem.file, problem.row) == ("region.toml", 5)
    if "@" in text:  # looks like an e-mail address, which is refused before it is looked at
        assert problem.code == "personal-data"
        return
    assert problem.code == "crs-unknown"
    assert "EPSG:32709" in problem.mend


def test_plain_systems_are_read_in_every_form_that_files_use() -> None:
    utm = pyproj.CRS("EPSG:32709")
    for version in ("WKT1_GDAL", "WKT1_ESRI", "WKT2_2019"):
        assert parse_crs(utm.to_wkt(version)) == utm
    assert parse_crs("urn:ogc:def:crs:EPSG:9.8:32709") == utm
    own = "+proj=laea +lat_0=-41 +lon_0=-128 +datum=WGS84 +units=m"
    assert parse_crs(own) == pyproj.CRS(own)
    assert parse_crs(pyproj.CRS(own + " +towgs84=1,2,3").to_wkt()).is_bound


# GeoPackages that act


def acting(path: Path, *statements: str) -> None:
    """A GeoPackage of the lakes after some statements."""
    lakes_frame().to_file(path)
    base = sqlite3.connect(path, isolation_level=None)
    for statement in ("PRAGMA writable_schema = ON", *statements):
        base.execute(statement)
    base.close()


def virtual(module: str) -> str:
    """A statement that puts a virtual table into a schema without its module."""
    sql = f"CREATE VIRTUAL TABLE lakes USING {module}"
    return f"INSERT INTO sqlite_master VALUES ('table', 'lakes', 'lakes', 0, '{sql}')"


@pytest.mark.parametrize("kind", ["VirtualOGR", "VirtualShape", "view", "endless", "function"])
def test_a_geopackage_that_acts_is_refused(kind: str, region: Path, server: Server) -> None:
    url = f"/vsicurl/http://127.0.0.1:{server.server_address[1]}/lakes.geojson"
    away = "ALTER TABLE lakes RENAME TO old"
    endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS fid,"
    statements = {
        "VirtualOGR": (away, virtual(f"VirtualOGR({url})")),
        "VirtualShape": (away, virtual(f"VirtualShape({url})")),
        "view": (away, "CREATE VIEW lakes AS SELECT * FROM old"),
        "endless": (away, f"CREATE VIEW lakes AS {endless} NULL AS geom FROM n"),
        "function": (  # SQLite here does not know GDAL's function; a file may name it all the same
            'UPDATE sqlite_master SET sql = replace(sql, \'"lake_id" TEXT\', \'"lake_id" TEXT,'
            " \"name\" TEXT AS (ogr_geocode(lake_id)) VIRTUAL') WHERE name = 'lakes'",
        ),
    }
    acting(region / "lakes.gpkg", *statements[kind])
    assert codes(region) == {"lakes.gpkg": "unreadable"}
    assert server.asked == []


def test_changes_beside_a_geopackage_are_not_left_out_in_silence(region: Path) -> None:
    path = region / "lakes.gpkg"
    lakes_frame().to_file(path)
    base = sqlite3.connect(path)
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("PRAGMA wal_autocheckpoint = 0")
    base.execute("UPDATE gpkg_contents SET description = 'changed'")
    base.commit()
    assert codes(region) == {"lakes.gpkg": "unsaved"}
    base.close()
    assert check_region(region, species=SPECIES)[0] == []


def nested(depth: int) -> bytes:
    """A point in so many collections, as the blob of a GeoPackage."""
    wkb = struct.pack("<BII", 1, 7, 1) * depth + struct.pack("<BIdd", 1, 1, -128.0, -41.0)
    return b"GP\0\1" + struct.pack("<i", 4326) + wkb


@pytest.mark.parametrize("depth", [DEEPEST + 2, 200_000])
def test_shapes_in_shapes_do_not_end_the_process(depth: int, region: Path) -> None:
    path = region / "lakes.gpkg"
    lakes_frame().to_file(path)
    base = sqlite3.connect(path, isolation_level=None)
    triggers = base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (name,) in triggers:
        base.execute(f'DROP TRIGGER "{name}"')
    base.execute("UPDATE lakes SET geom = ? WHERE lake_id = 'L02'", (nested(depth),))
    base.close()
    (problem,) = check_region(region, species=SPECIES)[0]
    assert (problem.code, problem.file, problem.row) == ("unreadable", "lakes.gpkg", 3)


# the record of what was read


def recorded(folder: Path) -> dict[str, tuple[int, str]]:
    """Size and hash that the region keeps of every file."""
    problems, made = check_region(folder, species=SPECIES)
    assert problems == []
    assert made is not None
    return {source.file: (source.bytes, source.sha256) for source in made.sources}


@pytest.mark.parametrize("ending", ["geojson", "gpkg", "kml"])
def test_the_hash_is_that_of_the_file(ending: str, region: Path) -> None:
    path = region / f"lakes.{ending}"
    lakes_frame().to_file(path, driver="KML" if ending == "kml" else None)
    data = path.read_bytes()
    assert recorded(region)[path.name] == (len(data), hashlib.sha256(data).hexdigest())


@pytest.mark.parametrize("ending", ["shp", "SHX", "Dbf", "prj", "CPG"])
def test_the_hash_of_a_shapefile_covers_every_part_in_any_case(ending: str, region: Path) -> None:
    lakes_frame().to_file(region / "lakes.shp")
    part = region / f"lakes.{ending.lower()}"
    part = part.rename(region / f"LAKES.{ending}")
    before = recorded(region)
    data = part.read_bytes()
    at = {"shp": 68, "SHX": 68, "Dbf": 1, "prj": len(data), "CPG": len(data)}[ending]
    other = bytes([data[at] ^ 1]) if at < len(data) else b"\n"
    part.write_bytes(data[:at] + other + data[at + 1 :])  # a byte that changes no value
    after = recorded(region)
    assert [name for name in before if before[name] != after[name]] in (
        ["lakes.shp"],
        ["LAKES.shp"],
    )


def test_a_part_that_is_there_twice_is_told(region: Path) -> None:
    lakes_frame().to_file(region / "lakes.shp")
    (region / "LAKES.DBF").write_bytes((region / "lakes.dbf").read_bytes())
    assert codes(region) == {"lakes.shp": "two-files"}


def test_bytes_are_read_once(region: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lakes_frame().to_file(region / "lakes.gpkg")
    opened: list[str] = []
    plain = Path.open

    def counted(path: Path, *args: str, **named: str) -> object:
        opened.append(path.name)
        return plain(path, *args, **named)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", counted)
    recorded(region)
    inside = [name for name in opened if (region / name).exists()]
    assert sorted(inside) == sorted(path.name for path in region.iterdir())


def test_region_toml_in_two_cases_is_told(region: Path) -> None:
    lakes_frame().to_file(region / "lakes.gpkg")
    (region / "Region.toml").write_text(FOLDER["region.toml"], encoding="utf-8")
    (problem,) = check_region(region, species=SPECIES)[0]
    assert problem.code == "two-files"
    assert "Region.toml and region.toml are both" in problem.what


def test_a_file_or_an_endless_name_in_place_of_a_folder_is_told(region: Path) -> None:
    (problem,) = check_region(region / "status.csv", species=SPECIES)[0]
    assert (problem.code, problem.what) == ("no-folder", "this is a file, not a folder")
    (problem,) = check_region(region / ("x" * 5000), species=SPECIES)[0]
    assert problem.code == "no-folder"
    assert len(str(problem)) < 400


def test_a_zip_of_an_unknown_version_is_told(region: Path) -> None:
    data = bytearray(zipped("xl/workbook.xml", b"<workbook/>"))
    at = data.index(b"PK\x01\x02")
    data[at + 6 : at + 8] = b"\xd4\x00"  # version needed to open it
    (region / "lakes.xlsx").write_bytes(bytes(data))
    assert codes(region) == {"lakes.xlsx": "unreadable"}


def test_a_wrong_length_in_the_header_of_a_shapefile_changes_nothing(region: Path) -> None:
    lakes_frame().to_file(region / "lakes.shp")
    path = region / "lakes.shp"
    data = path.read_bytes()
    path.write_bytes(data[:24] + b"\0\0\0\1" + data[28:])
    assert check_region(region, species=SPECIES)[0] == []
