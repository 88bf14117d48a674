"""Fixtures that several rooms share: a browser with no network, an invented region for the map."""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from _pytest.doctest import DoctestModule

DEMO = Path(__file__).parents[1] / "demo_region"
CRS = "EPSG:32709"  # UTM 9 south: the invented region lies in open ocean
BROWSER_FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)


@pytest.hookimpl(wrapper=True)
def pytest_collect_file(file_path):
    """Doctests are the package's: no file of tests is collected twice to look for some."""
    found = yield
    if file_path.name.startswith("test_"):
        return [one for one in found if not isinstance(one, DoctestModule)]
    return found


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    """Headless chromium that can reach this machine alone; logs and requests are recorded."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    driver = shutil.which("chromedriver")
    if chromium is None or driver is None:
        reason = "chromium and chromedriver are not on the path"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in (*BROWSER_FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    service = webdriver.ChromeService(executable_path=driver)
    window = webdriver.Chrome(options=options, service=service)
    yield window
    window.quit()


def _blob(rng, east, north, size):
    """Lake-like shape: a circle with a few smooth waves, some long, some with an island."""
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    waves = sum(
        rng.normal(0, 0.30 / k**1.2) * np.cos(k * turn + rng.uniform(0, 6.3)) for k in range(2, 9)
    )
    radius = size * np.exp(waves)
    tilt, long = rng.uniform(0, np.pi), rng.uniform(1.0, 2.2)
    x, y = radius * np.cos(turn) * long, radius * np.sin(turn) / long**0.5
    shape = np.column_stack(
        [east + x * np.cos(tilt) - y * np.sin(tilt), north + x * np.sin(tilt) + y * np.cos(tilt)]
    )
    lake = shapely.make_valid(shapely.Polygon(shape)).buffer(0)
    lake = max(shapely.get_parts(lake), key=lambda part: part.area)
    if size > 900:
        lake = lake.difference(shapely.Point(lake.representative_point()).buffer(0.12 * size))
    return max(shapely.get_parts(lake), key=lambda part: part.area)


FIRST = """
    Amber Ash Birch Bell Clay Cloud Crane Deep Dune Elder Fern Finch Glass Grey Hazel Heron
"""
SECOND = """
    Loam Lost Mill Moss North Otter Pine Plover Quill Reed Rush Sand Slate Stone Teal Willow
"""


def _names(rng, count):
    """Invented names of lakes, each once."""
    pairs = [f"{a} {b}" for a in FIRST.split() for b in SECOND.split()]
    return [f"{pairs[i]} Lake" for i in rng.permutation(len(pairs))[:count]]


@pytest.fixture
def write_broken(tmp_path_factory):
    """Return a function that writes the folder of a case of `broken/cases.py` by its name."""
    from broken.cases import FAULTY, FINE
    from broken.small_region import write_region

    def write(name):
        return write_region(tmp_path_factory.mktemp(name), {**FAULTY, **FINE}[name].changes)

    return write


@pytest.fixture(scope="session")
def demo_maker():
    """Module that makes the demo region, for regions like it with a truth that is known."""
    spec = importlib.util.spec_from_file_location("demo_maker", DEMO / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["demo_maker"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def sample_region_tables():
    """Return a function that makes lakes, landings and trips of an invented region."""

    def make(
        lakes=70, landings=100, species=("shell", "weed"), seed=11, middle=(582_000.0, 5_460_000.0)
    ):
        rng = np.random.default_rng(seed)
        side = 6_500.0 * np.sqrt(lakes)
        places = _scattered(rng, lakes, side) + np.asarray(middle)
        sizes = np.exp(rng.normal(6.35, 0.55, lakes)).clip(120, 2_300)
        shapes = [_blob(rng, *at, size) for at, size in zip(places, sizes, strict=True)]
        table = _lakes(rng, shapes, species)
        spots = _landings(rng, table, landings)
        return table, spots, _trips(rng, table)

    return make


def _scattered(rng, count, side):
    """Points kept apart: a grid shaken up."""
    wide = int(np.ceil(np.sqrt(count)))
    cells = rng.permutation(wide * wide)[:count]
    grid = np.column_stack([cells % wide, cells // wide]) + rng.uniform(0.1, 0.9, (count, 2))
    return (grid / wide - 0.5) * [side, 0.8 * side]


def _lakes(rng, shapes, species):
    """Lakes with statuses and chances."""
    count = len(shapes)
    table = gpd.GeoDataFrame(
        {"name": _names(rng, count) if count <= 256 else [f"Lake {k}" for k in range(count)]},
        geometry=shapes,
        index=pd.Index([f"L{k:03d}" for k in range(count)], name="lake_id"),
        crs=CRS,
    )
    table["area_ha"] = table.area / 10_000
    left = np.ones(count)
    words = np.array(["infested", "looked for, not found", "not surveyed"])
    for name in species:
        status = rng.choice(words, count, p=[0.17, 0.48, 0.35])
        chance = np.where(status == "infested", 0.0, rng.beta(0.6, 6, count))
        table[f"status_{name}"] = status
        table[f"infested_chance_{name}"] = np.where(
            status == "infested", 1.0, np.where(status == "not surveyed", 0.08, 0.02)
        )
        table[f"new_infestation_chance_{name}"] = chance
        left *= 1 - chance
    every = np.all([table[f"status_{name}"] == "infested" for name in species], axis=0)
    table["new_infestation_chance"] = np.where(every, np.nan, 1 - left)
    return table


def _landings(rng, lakes, count):
    """Landings on the shores, with a ranking."""
    of = np.concatenate(
        [np.arange(len(lakes))[:count], rng.integers(0, len(lakes), max(0, count - len(lakes)))]
    )
    shores = lakes.geometry.exterior.iloc[of]
    points = [line.interpolate(rng.random(), normalized=True) for line in shores]
    value = np.sort(rng.gamma(0.6, 0.02, count))[::-1]
    spread = rng.integers(0, 6, (2, count))
    rank = np.arange(1, count + 1)
    boats = rng.gamma(1.5, 500, count)
    side = rng.choice(["North", "East", "West", "Old mill", "Park"], count)
    return gpd.GeoDataFrame(
        {
            "rank": pd.array(rank, dtype="Int64"),
            "name": [
                f"{lakes['name'].iloc[k].removesuffix(' Lake')} {s} landing"
                for k, s in zip(of, side, strict=True)
            ],
            "lake_id": lakes.index[of],
            "lake_name": lakes["name"].iloc[of].to_numpy(),
            "avoided_per_100_hours": value,
            "avoided_low": value * 0.5,
            "avoided_high": value * 1.8,
            "rank_low": np.maximum(1, rank - spread[0]),
            "rank_high": np.minimum(count, rank + spread[1]),
            "chance_first_10": 1 / (1 + np.exp(np.minimum(rank - 10.5, 60) / 3)),
            "launches": boats,
            "launches_low": boats * 0.7,
            "launches_high": boats * 1.4,
            "visited": rng.random(count) < 0.7,
            "can_staff": rng.random(count) < 0.9,
            "best_when": rng.choice(
                ["weekend 10:00-14:00", "weekend 06:00-10:00", "weekday 14:00-18:00"], count
            ),
            "leaving_share": rng.random(count),
            "bridging_boats_per_100_hours": rng.gamma(1.0, 20.0, count),
            "reasons": "About 3 in 10 boats leave with plants attached; boats go on to 12 lakes "
            "where it has not been found; busy on weekend mornings",
        },
        geometry=points,
        index=pd.Index([f"R{k:03d}" for k in range(count)], name="landing_id"),
        crs=lakes.crs,
    )


def _trips(rng, lakes):
    """Trips between some pairs of lakes, more between near ones."""
    count = len(lakes)
    pairs = rng.integers(0, count, (min(6 * count, 4_000), 2))
    pairs = np.unique(pairs[pairs[:, 0] != pairs[:, 1]], axis=0)
    at = np.column_stack([lakes.geometry.centroid.x, lakes.geometry.centroid.y])
    ends = at[pairs]
    far = np.hypot(*(ends[:, 0] - ends[:, 1]).T) / 1000
    boats = rng.gamma(1.0, 300, len(pairs)) / (1 + far / 8) ** 1.5
    return gpd.GeoDataFrame(
        {
            "from_lake_id": lakes.index[pairs[:, 0]],
            "to_lake_id": lakes.index[pairs[:, 1]],
            "trips": boats,
            "introductions": boats * 1e-4,
            "distance_km": far,
        },
        geometry=shapely.linestrings(ends) if len(pairs) else [],
        crs=lakes.crs,
    )


@pytest.fixture(scope="session")
def demo_region():
    """The region of the project's own demo folder."""
    import spreadnet

    return spreadnet.read_region(DEMO)


@pytest.fixture(scope="session")
def demo_result(demo_region):
    """One assessment of the demo region, shared by the tests that only look at it."""
    import spreadnet

    return spreadnet.assess(demo_region, draws=20, seed=1)
