"""Distances against published geodesics, and the traps of plane coordinates."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pyproj import Transformer

from spreadnet.model.distance import (
    geodesic_km,
    lake_points,
    landing_lake_positions,
    landing_to_lake_km,
    planar_km,
)

# Sources of every line: tests/data/movement/README.md
LINES = pd.read_csv(Path(__file__).parents[1] / "data/movement/distance_lines.csv")
ON_WGS84 = LINES[(LINES["ellipsoid"] == "WGS84") & LINES["published_m"].notna()]


@pytest.mark.parametrize("line", ON_WGS84.to_dict("records"), ids=lambda line: line["name"])
def test_published_geodesics_are_met_within_a_millimetre(line):
    km = geodesic_km(line["lon1"], line["lat1"], line["lon2"], line["lat2"])
    assert km * 1000 == pytest.approx(line["published_m"], abs=1e-3)


def test_the_grs80_line_of_the_australian_manual_is_met_on_wgs84():
    """Flinders Peak to Buninyong, 54,972.271 m (from memory); the ellipsoids differ by 0.1 mm."""
    line = LINES[LINES["name"].str.startswith("Flinders")].iloc[0]
    km = geodesic_km(line["lon1"], line["lat1"], line["lon2"], line["lat2"])
    assert km == pytest.approx(54.972271, abs=1e-6)


def test_longitude_comes_first():
    assert geodesic_km(0, 0, 1, 0) == pytest.approx(111.319490793, abs=1e-9)
    assert geodesic_km(0, 0, 0, 1) == pytest.approx(110.574388558, abs=1e-9)


def test_the_date_line_is_no_barrier():
    assert geodesic_km(179.5, 10, -179.5, 10) == pytest.approx(geodesic_km(0, 10, 1, 10))


def test_coinciding_points_are_exactly_zero_apart():
    assert geodesic_km(-95.3, 46.1, -95.3, 46.1) == 0
    points = np.array([[512_345.678, 5_098_765.432]])
    for dtype in (np.float64, np.float32):
        assert planar_km(points, points, dtype=dtype)[0, 0] == 0


def test_geodesics_broadcast():
    km = geodesic_km(np.array([[0.0], [1.0]]), 0.0, np.array([0.0, 1.0, 2.0]), 0.0)
    assert km.shape == (2, 3)
    assert km[1, 1] == 0


def test_swapped_degrees_are_refused():
    with pytest.raises(ValueError, match="other way round"):
        geodesic_km(46, -95, 46, -94)
    with pytest.raises(ValueError, match="finite"):
        geodesic_km(np.nan, 40, 0, 0)


def test_a_utm_plane_agrees_with_the_ellipsoid_to_a_third_of_a_percent():
    """facts: EPSG:26915 is off by -0.04% to +0.30% in a box 11 degrees wide (computed)."""
    rng = np.random.default_rng(1)
    lon, lat = rng.uniform(-96, -90, 60), rng.uniform(42, 49.5, 60)
    points = np.column_stack(Transformer.from_crs(4326, 32615, always_xy=True).transform(lon, lat))
    plane = planar_km(points, points)
    true = geodesic_km(lon[:, None], lat[:, None], lon, lat)
    apart = ~np.eye(60, dtype=bool)
    assert np.abs(plane / np.where(apart, true, 1) - 1)[apart].max() < 0.0035


def test_float32_keeps_metres_far_from_the_origin_of_the_coordinates():
    """Differences of uncentred float32 coordinates lose metres."""
    rng = np.random.default_rng(2)
    points = np.array([500_000.0, 5_400_000.0]) + rng.uniform(0, 100_000, (700, 2))
    exact = planar_km(points, points)
    quick = planar_km(points, points, dtype=np.float32)
    assert quick.dtype == np.float32
    assert np.abs(quick - exact).max() < 1e-4  # 10 cm
    raw = points.astype(np.float32) / np.float32(1000)
    careless = np.hypot(raw[:, :1] - raw[:, 0], raw[:, 1:] - raw[:, 1])
    assert np.abs(careless - exact).max() > 5 * np.abs(quick - exact).max()


def test_planar_distance_refuses_missing_coordinates():
    with pytest.raises(ValueError, match="easting and northing"):
        planar_km(np.array([[np.nan, 0.0]]), np.zeros((1, 2)))


def make_region(crs="EPSG:32615"):
    lakes = gpd.GeoDataFrame(
        geometry=gpd.points_from_xy([0, 9_000, 50_000], [0, 0, 0]).buffer(500),
        index=pd.Index(["a", "b", "c"], name="lake_id"),
        crs=crs,
    )
    landings = gpd.GeoDataFrame(
        {"lake_id": ["b", "a", "b"]},
        geometry=gpd.points_from_xy([8_000, 0, 10_000], [0, 1_000, 2_000]),
        index=pd.Index(["1", "2", "3"], name="landing_id"),
        crs=crs,
    )
    return landings, lakes


def test_a_lake_is_where_its_landings_are():
    landings, lakes = make_region()
    assert landing_lake_positions(landings, lakes).tolist() == [1, 0, 1]
    km = landing_to_lake_km(landings, lakes)
    assert km.shape == (3, 3)
    assert km[0, 1] == pytest.approx(np.hypot(1, 1))  # mean of the two landings of lake b
    assert km[1, 0] == 0
    assert km[1, 2] == pytest.approx(np.hypot(50, 1), abs=0.01)  # no landing: inside the lake


def test_landing_order_only_reorders_rows():
    landings, lakes = make_region()
    order = [2, 0, 1]
    km = landing_to_lake_km(landings, lakes)
    np.testing.assert_allclose(landing_to_lake_km(landings.iloc[order], lakes), km[order])


def test_lake_points_leave_their_inputs_alone():
    at, lake, middles = np.zeros((2, 2)), np.array([1, 1]), np.ones((2, 2))
    assert lake_points(at, lake, middles).tolist() == [[1, 1], [0, 0]]
    assert middles.tolist() == [[1, 1], [1, 1]]


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857", "EPSG:2263", None])
def test_coordinates_in_which_lengths_are_wrong_are_refused(crs):
    """Degrees, Web Mercator (34-54% too long at 42-49.5 N), feet, none at all."""
    with pytest.raises(ValueError, match="CRS"):
        landing_to_lake_km(*make_region(crs))


def test_two_coordinate_systems_are_refused():
    landings, lakes = make_region()
    with pytest.raises(ValueError, match="must be that of lakes"):
        landing_to_lake_km(landings, lakes.to_crs("EPSG:32616"))


def test_a_landing_of_an_unknown_lake_is_refused():
    landings, lakes = make_region()
    with pytest.raises(ValueError, match="'z'"):
        landing_lake_positions(landings.assign(lake_id="z"), lakes)
