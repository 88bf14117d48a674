"""Result tables: ids and order, safe text, layers for a GIS, the graph, the record."""

import hashlib
import json
import sqlite3
import time
from dataclasses import replace
from datetime import date
from xml.etree import ElementTree

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pyogrio
import pytest

from spreadnet.evidence.region import GAPS
from spreadnet.outputs.files.record import plain, run_number, run_record, write_record
from spreadnet.outputs.files.tables import (
    in_rank_order,
    rounded,
    write_meanings,
    write_tables,
)


@pytest.fixture(scope="module")
def written(demo_result, tmp_path_factory):
    folder = tmp_path_factory.mktemp("tables")
    return folder, write_tables(demo_result, folder)


def read(folder, name):
    return pd.read_csv(
        folder / name, encoding="utf-8-sig", dtype={"landing_id": str, "lake_id": str}
    )


def test_landings_are_in_order_of_rank_with_their_ids(written, demo_result):
    table = read(written[0], "landings.csv")
    assert list(table["rank"]) == list(range(1, len(demo_result.landings) + 1))
    assert set(table["landing_id"]) == set(demo_result.landings.index)
    value = demo_result.landings["avoided_per_100_hours"]
    assert table["avoided_per_100_hours"].to_numpy() == pytest.approx(
        value[table["landing_id"]].to_numpy(), rel=1e-5
    )
    assert table["longitude"].between(-180, 180).all()


def test_lakes_stand_in_the_order_of_their_ids(written, demo_result):
    assert list(read(written[0], "lakes.csv")["lake_id"]) == sorted(demo_result.region.lakes.index)


def test_gap_rates_have_intervals_and_counts(written):
    table = read(written[0], "gap_rates.csv")
    assert {"landing_id", "direction", "gap", "checked", "found", "rate", "low", "high"} <= set(
        table
    )
    assert ((table["low"] <= table["rate"]) & (table["rate"] <= table["high"])).all()


def test_geopackage_holds_the_layers_in_the_projected_crs(written, demo_result):
    path = written[0] / "region.gpkg"
    assert {"lakes", "landings", "trips", "run_info"} <= set(gpd.list_layers(path)["name"])
    landings = gpd.read_file(path, layer="landings")
    assert landings.crs == demo_result.region.landings.crs
    assert landings["landing_id"].iloc[0] == in_rank_order(demo_result.landings).index[0]


def test_graph_has_every_lake_and_its_streams(written, demo_result):
    graph = nx.read_graphml(written[0] / "network.graphml")
    assert set(graph.nodes) == set(demo_result.region.lakes.index)
    streams = {(a, b) for a, b, data in graph.edges(data=True) if data["stream"]}
    table = demo_result.region.streams
    assert streams == set(zip(table["upstream_lake_id"], table["downstream_lake_id"], strict=True))


def test_same_result_gives_the_same_bytes_on_the_same_day(demo_result, tmp_path):
    """A GeoPackage holds the time of its last change (OGC 12-128r18, gpkg_contents)."""
    made_on = date(2026, 11, 25)
    sums = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        files = write_tables(demo_result, tmp_path / name, made_on=made_on)
        sums.append({f.name: hashlib.sha256(f.read_bytes()).hexdigest() for f in files})
        time.sleep(1.1)  # the clock of the file goes by seconds
    assert sums[0] == sums[1]
    with sqlite3.connect(tmp_path / "one" / "region.gpkg") as base:
        days = base.execute("SELECT DISTINCT last_change FROM gpkg_contents").fetchall()
    base.close()
    assert days == [("2026-11-25T00:00:00.000Z",)]


def test_the_day_of_other_geopackages_is_left_alone(demo_result, tmp_path):
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2001-02-03T00:00:00.000Z"})
    try:
        write_tables(demo_result, tmp_path, made_on=date(2026, 11, 25))
        assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == "2001-02-03T00:00:00.000Z"
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    (tmp_path / "again").mkdir()
    write_tables(demo_result, tmp_path / "again")
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def test_graph_is_xml_whatever_the_names_hold(demo_result, tmp_path):
    """XML 1.0, production 2 (Char): no control characters, halves of pairs, U+FFFE or U+FFFF."""
    hostile = "".join(map(chr, range(32))) + "\x7f\ufffe\uffff\ud800<&]]>\u202e\U0001f6a4"
    network = nx.relabel_nodes(demo_result.network, {"L01": "L\x0001"})
    for _, facts in network.nodes(data=True):
        facts["name"] = hostile
    lakes = demo_result.lakes.assign(name=hostile)
    landings = demo_result.landings.assign(name=hostile)
    write_tables(replace(demo_result, network=network, lakes=lakes, landings=landings), tmp_path)
    ElementTree.parse(tmp_path / "network.graphml")
    graph = nx.read_graphml(tmp_path / "network.graphml")
    assert set(graph.nodes) == set(demo_result.region.lakes.index)
    shown = {facts["name"] for _, facts in graph.nodes(data=True)}
    assert {name.strip() for name in shown} == {"\x7f<&]]>\u202e\U0001f6a4"}
    assert set(read(tmp_path, "lakes.csv")["lake_id"]) == set(demo_result.region.lakes.index)
    assert "\0" not in gpd.read_file(tmp_path / "region.gpkg", layer="lakes")["name"].iloc[0]


def test_rounding_keeps_missing_values_and_size():
    table = rounded(pd.DataFrame({"a": [np.nan, 0.0, 1.23456789e-9, 987654321.0]}))
    assert np.isnan(table["a"][0])
    assert table["a"].tolist()[1:] == [0.0, 1.23457e-9, 987654000.0]


def test_record_is_json_without_missing_numbers(demo_result, tmp_path):
    record = run_record(demo_result, timings={"x": 1.0}, made_on=date(2026, 11, 25))
    (tmp_path / "a.csv").write_text("a")
    path = write_record(record, tmp_path / "run.json", files=[tmp_path / "a.csv"])
    back = json.loads(path.read_text("utf-8"), parse_constant=lambda c: pytest.fail(c))
    assert back["outputs"][0]["sha256"].startswith("ca978112")  # SHA-256 of "a", FIPS 180-4
    assert back["run"] == run_number(demo_result)
    assert back["made_on"] == "2026-11-25"
    assert {row["name"] for row in back["assumptions"]} >= {"refusal", "outside_infested"}
    assert all(entry["sha256"] for entry in back["inputs"])


def test_plain_handles_nested_tables():
    assert plain({"t": pd.DataFrame({"a": [1.0, np.nan]}, index=["x", "y"])}) == {
        "t": [{"index": "x", "a": 1.0}, {"index": "y", "a": None}]
    }


def test_every_column_written_is_explained(written, demo_result):
    """`columns.csv` explains each column of each table, and nothing that is not there."""
    folder = written[0]
    path = write_meanings("run", sorted(folder.glob("*.csv")), folder / "columns.csv")
    meanings = pd.read_csv(path, keep_default_na=False)
    assert len(set(meanings["file"])) >= 7
    assert (meanings["meaning"].str.len() > 3).all()
    for file, rows in meanings.groupby("file"):
        explained = set()
        for column in rows["column"]:
            if "<species>" in column:
                names = demo_result.evidence.species
                explained |= {column.replace("<species>", name) for name in names}
            elif "<gap>" in column:
                explained |= {column.replace("<gap>", gap) for gap in GAPS}
            else:
                explained.add(column)
        assert explained == set(read(folder, file).columns), file


def test_yes_and_no_come_out_as_they_went_in(written):
    table = read(written[0], "landings.csv")
    assert set(table["visited"]) == {"yes", "no"}
    assert set(table["can_staff"]) <= {"yes", "no"}
