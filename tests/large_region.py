"""
Make a large invented region: python tests/large_region.py FOLDER [--size state] [--lakes N] ...

A region the size of a state or a nation, to measure time and memory on. Boats move by a gravity law
and two species have spread along it, so that results make sense; names and places are made up, in
open ocean.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from scipy.spatial import cKDTree

MIDDLE = (-128.0, -41.0)  # longitude, latitude: open ocean, as the demo
KM_PER_DEGREE = 111.2
LAKES_PER_KM2 = 0.045
LEAST_APART_KM = 0.25
GAPS = {"plug": 0.2, "plants": 0.15, "animals": 0.03, "mud": 0.08, "water": 0.15}
SPECIES = {"dreissenid_mussel": (0.04, 0.25), "eurasian_watermilfoil": (0.08, 0.35)}
DISTANCE_EXPONENT, TRAFFIC_EXPONENT = 1.7, 0.7
LAST_YEAR = 2026
SETTINGS = """\
name = "{name}"
season_first_day = 2027-05-15
season_last_day = 2027-09-30
hours = {hours}
crs = "+proj=laea +lat_0={latitude} +lon_0={longitude} +datum=WGS84 +units=m"
species = {{dreissenid_mussel = 1.0, eurasian_watermilfoil = 0.6}}
"""


@dataclass(frozen=True, slots=True, eq=False)
class Size:
    """How much of everything."""

    lakes: int = 12_000
    landings: int = 3_500
    visits: int = 20_000
    contacts: int = 60_000
    visited: int = 1_500
    streams: int = 4_000


STATE = Size()
NATION = Size(100_000, 30_000, 60_000, 150_000, 6_000, 20_000)
SMALL = Size(60, 25, 150, 900, 15, 12)
SIZES = {"small": SMALL, "state": STATE, "nation": NATION}


@dataclass(frozen=True, slots=True, eq=False)
class Land:
    """
    Where lakes and landings lie and how busy they are.

    `lake_km` (L, 2) and `landing_km` (K, 2) east and north of the middle; `area_ha` (L,);
    `landing_lake` (K,); `launches` (K,) in a season.
    """

    lake_km: np.ndarray
    landing_km: np.ndarray
    area_ha: np.ndarray
    landing_lake: np.ndarray
    launches: np.ndarray


def made_land(seed: int, n_lakes: int, n_landings: int) -> Land:
    """
    Lakes in clusters, most landings on the larger ones, each with its traffic.

    Parameters
    ----------
    seed : int
        The same seed gives the same land.
    n_lakes, n_landings : int
        How many.

    Returns
    -------
    land : Land
        About four lakes in five with a landing have just one.
    """
    rng = np.random.default_rng([seed, 1])
    side = np.sqrt(n_lakes / LAKES_PER_KM2)
    n_clusters = max(n_lakes // 60, 1)
    middles = rng.uniform(-0.5, 0.5, (n_clusters, 2)) * side * [1.1, 0.9]
    loose = rng.random(n_lakes) < 0.35
    lake_km = middles[rng.integers(0, n_clusters, n_lakes)] + rng.normal(0, 9, (n_lakes, 2))
    lake_km[loose] = (rng.uniform(-0.5, 0.5, (n_lakes, 2)) * side * [1.1, 0.9])[loose]
    for _ in range(50):
        nearest_km = cKDTree(lake_km).query(lake_km, k=2)[0][:, 1]
        close = nearest_km < LEAST_APART_KM
        lake_km[close] += rng.normal(0, 3, (int(close.sum()), 2))
    most_ha = np.pi * (0.4 * nearest_km) ** 2 * 100  # no two outlines meet
    area_ha = np.minimum(np.exp(rng.normal(4.2, 1.2, n_lakes)).clip(4, 20_000), most_ha)
    # Larger lakes draw landings: ordered by a random key that area weighs.
    key = np.log(rng.random(n_lakes)) / area_ha**0.7
    n_with = max(int(0.78 * n_landings), 1)
    landing_lake = np.concatenate(
        [np.argsort(-key)[:n_with], rng.choice(np.argsort(-key)[:n_with], n_landings - n_with)]
    )
    radius_km = np.sqrt(area_ha / 100 / np.pi)[landing_lake]
    turn = rng.uniform(0, 2 * np.pi, n_landings)
    shore = np.column_stack([np.cos(turn), np.sin(turn)]) * 0.9 * radius_km[:, None]
    launches = 180 * area_ha[landing_lake] ** 0.3 * rng.gamma(3, 1 / 3, n_landings)
    return Land(lake_km, lake_km[landing_lake] + shore, area_ha, landing_lake, launches)


def national_arrays(
    seed: int = 1, n_lakes: int = NATION.lakes, n_landings: int = NATION.landings
) -> dict[str, np.ndarray]:
    """
    What a gradient on a whole nation needs, without a file.

    Parameters
    ----------
    seed : int
        The same seed gives the same arrays.
    n_lakes, n_landings : int
        How many.

    Returns
    -------
    arrays : dict
        The arrays of `Land` by name; `leaving` and `arriving` (6, K), rates by route;
        `infested` (L,), chance that each lake is infested now.
    """
    land = made_land(seed, n_lakes, n_landings)
    rng = np.random.default_rng([seed, 3])
    gaps = np.array([*GAPS.values(), 0.05])[:, None]
    busy = np.bincount(land.landing_lake, land.launches, minlength=n_lakes)
    infested = rng.random(n_lakes) < 0.1 * busy / busy.max() + 0.02 * (busy > 0)
    return {
        **{field.name: getattr(land, field.name) for field in fields(land)},
        "leaving": rng.beta(20 * gaps, 20 * (1 - gaps), (len(gaps), n_landings)),
        "arriving": rng.beta(20 * gaps, 20 * (1 - gaps), (len(gaps), n_landings)),
        "infested": infested.astype(float),
    }


def shares_of(land: Land, landings: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """
    Lakes with a landing, and the shares of them among the last waters of some landings' boats.

    The landing's own lake has none.
    """
    lakes, group = np.unique(land.landing_lake, return_inverse=True)
    traffic = np.bincount(group, land.launches)
    apart = land.landing_km[landings, None] - land.lake_km[lakes]
    pull = TRAFFIC_EXPONENT * np.log(traffic) - DISTANCE_EXPONENT * np.log1p(
        np.hypot(apart[..., 0], apart[..., 1])
    )
    pull[np.arange(len(landings)), group[landings]] = -np.inf
    share = np.exp(pull - pull.max(axis=1, keepdims=True))
    return lakes, share / share.sum(axis=1, keepdims=True)


def write_large_region(folder: Path, *, seed: int = 1, size: Size = STATE) -> None:
    """
    Write the folder of a large region.

    Parameters
    ----------
    folder : Path
        An existing folder.
    seed : int
        The same seed gives the same files.
    size : Size
        How much of everything.
    """
    land = made_land(seed, size.lakes, size.landings)
    rng = np.random.default_rng([seed, 2])
    ids = pd.Series(np.char.mod("%06d", np.arange(size.lakes)))
    with _dated():
        _lakes(rng, land, ids).to_file(folder / "lakes.gpkg", layer="lakes", engine="pyogrio")
    landing_ids = pd.Series(np.char.mod("A%05d", np.arange(size.landings)))
    longitude, latitude = _degrees(land.landing_km)
    pd.DataFrame(
        {
            "landing_id": landing_ids,
            "lake_id": ids[land.landing_lake].to_numpy(),
            "name": "Landing " + landing_ids,
            "longitude": longitude.round(6),
            "latitude": latitude.round(6),
            "ramp_lanes": rng.integers(1, 4, size.landings),
            "trailer_stalls": rng.integers(2, 40, size.landings),
            "can_staff": np.where(rng.random(size.landings) < 0.93, "yes", "no"),
        }
    ).to_csv(folder / "landings.csv", index=False)
    _status(rng, land, ids).to_csv(folder / "status.csv", index=False)
    n_streams = min(size.streams, size.lakes - 1)
    up = rng.choice(size.lakes - 1, n_streams, replace=False)
    pd.DataFrame(
        {
            "upstream_lake_id": ids[up].to_numpy(),
            "downstream_lake_id": ids[up + 1].to_numpy(),
            "distance_km": rng.uniform(0.5, 25, n_streams).round(1),
        }
    ).to_csv(folder / "streams.csv", index=False)
    visits, visited = _visits(rng, land, landing_ids, size)
    visits.to_csv(folder / "visits.csv", index=False)
    _contacts(rng, land, ids, visits, visited, size).to_csv(folder / "contacts.csv", index=False)
    settings = SETTINGS.format(
        name=f"Made region {seed}",
        hours=size.landings,
        latitude=MIDDLE[1],
        longitude=MIDDLE[0],
    )
    (folder / "region.toml").write_text(settings, encoding="utf-8")


@contextmanager
def _dated() -> Iterator[None]:
    """Have GDAL write a fixed day in place of the time: the same seed gives the same bytes."""
    name = "OGR_CURRENT_DATE"
    earlier = pyogrio.get_gdal_config_option(name)
    pyogrio.set_gdal_config_options({name: f"{LAST_YEAR}-12-31T00:00:00.000Z"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({name: earlier})


def _degrees(points_km: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Longitude and latitude of points east and north of the middle."""
    latitude = MIDDLE[1] + points_km[:, 1] / KM_PER_DEGREE
    narrow = np.cos(np.radians(latitude))
    return MIDDLE[0] + points_km[:, 0] / (KM_PER_DEGREE * narrow), latitude


def _lakes(rng: np.random.Generator, land: Land, ids: pd.Series) -> gpd.GeoDataFrame:
    """Outlines of few points, about as large as their area."""
    n = len(ids)
    turn = np.linspace(0, 2 * np.pi, 13)[:-1]
    waves = 1 + 0.15 * np.cos(3 * turn + rng.uniform(0, 6, (n, 1)))
    radius = np.sqrt(land.area_ha / 100 / np.pi)[:, None] * waves
    rings = land.lake_km[:, None] + np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=2)
    longitude, latitude = _degrees(rings.reshape(-1, 2))
    corners = np.column_stack([longitude, latitude]).reshape(n, len(turn), 2)
    return gpd.GeoDataFrame(
        {
            "lake_id": ids,
            "name": "Lake " + ids,
            "area_ha": land.area_ha.round(1),
            "depth_m": rng.uniform(2, 40, n).round(1),
            "secchi_m": rng.uniform(0.5, 6, n).round(1),
            "calcium_mg_l": rng.uniform(5, 60, n).round(1),
        },
        geometry=shapely.polygons(corners),
        crs="EPSG:4326",
    )


def _status(rng: np.random.Generator, land: Land, ids: pd.Series) -> pd.DataFrame:
    """Finds that come near earlier ones and where boats go, and surveys without a find."""
    n = len(ids)
    busy = np.bincount(land.landing_lake, land.launches, minlength=n)
    parts = []
    for name, (share, detection) in SPECIES.items():
        looked = rng.random(n) < 0.45
        number = max(int(share * n), 4)
        start = land.lake_km[rng.choice(n, 3)]
        away = np.min(np.hypot(*(land.lake_km[:, None] - start).transpose(2, 0, 1)), axis=1)
        key = np.log(rng.random(n)) / ((1 + busy) ** 0.7 / (20 + away) ** 1.5)
        infested = np.argsort(-key)[:number]
        since = np.full(n, 9999)
        since[infested] = (2004 + 22 * np.sqrt(np.linspace(0, 1, number))).astype(int)
        known = (rng.random(n) < 0.7) & (since + rng.geometric(0.5, n) - 1 <= LAST_YEAR)
        surveys = rng.integers(1, 5, n)
        missed = rng.random(n) < (1 - detection) ** surveys
        absent = looked & ~known & ((since > LAST_YEAR) | missed)
        rows = known | absent
        parts.append(
            pd.DataFrame(
                {
                    "lake_id": ids[rows].to_numpy(),
                    "species": name,
                    "status": np.where(known, "present", "absent")[rows],
                    "first_found": pd.Series(np.where(known, since, -1)[rows])
                    .replace(-1, pd.NA)
                    .astype("Int64"),
                    "surveys": surveys[rows],
                    "last_survey": f"{LAST_YEAR}-08-01",
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _visits(
    rng: np.random.Generator, land: Land, landing_ids: pd.Series, size: Size
) -> tuple[pd.DataFrame, np.ndarray]:
    """Visits at the landings that anyone goes to, the busy ones first."""
    weight = land.launches / land.launches.sum()
    n_places = min(size.visited, size.landings)
    places = rng.choice(size.landings, n_places, replace=False, p=weight)
    visited = rng.choice(places, size.visits)
    days = pd.to_datetime(f"{LAST_YEAR - 1}-05-15") + pd.to_timedelta(
        rng.integers(0, 135, size.visits) + 365 * rng.integers(0, 2, size.visits), unit="D"
    )
    first = 6 + 4 * rng.integers(0, 4, size.visits)
    expected = 4 * land.launches[visited] / 2200 * np.where(days.day_of_week >= 5, 2.2, 1.0)
    launches, retrievals = rng.poisson(expected), rng.poisson(expected)
    visits = pd.DataFrame(
        {
            "visit_id": np.char.mod("V%06d", np.arange(size.visits)),
            "landing_id": landing_ids[visited].to_numpy(),
            "date": days.strftime("%Y-%m-%d"),
            "start": np.char.mod("%02d:00", first),
            "end": np.char.mod("%02d:00", first + 4),
            "launches": launches,
            "retrievals": retrievals,
        }
    )
    return visits, visited


def _contacts(
    rng: np.random.Generator,
    land: Land,
    ids: pd.Series,
    visits: pd.DataFrame,
    visited: np.ndarray,
    size: Size,
) -> pd.DataFrame:
    """Boat parties spoken with, no more than were counted."""
    boats = visits[["launches", "retrievals"]].to_numpy()
    visit = np.repeat(np.arange(len(visits)), boats.sum(axis=1))
    turn = np.arange(len(visit)) - np.repeat(
        np.cumsum(boats.sum(axis=1)) - boats.sum(axis=1), boats.sum(axis=1)
    )
    launching = turn < boats[visit, 0]
    kept = np.sort(rng.permutation(len(visit))[: size.contacts])
    visit, launching = visit[kept], launching[kept]
    n = len(visit)
    places, row = np.unique(visited[visit], return_inverse=True)
    water = np.full(n, "", dtype=object)
    kind = rng.choice(4, n, p=[0.45, 0.33, 0.08, 0.14])
    water[kind == 0] = ids[land.landing_lake[visited[visit]]].to_numpy()[kind == 0]
    water[kind == 2], water[kind == 3] = "outside", "none"
    draw = rng.random(n)
    for first in range(0, len(places), 500):
        some = np.arange(first, min(first + 500, len(places)))
        lakes, share = shares_of(land, places[some])
        here = np.flatnonzero((kind == 1) & (row >= some[0]) & (row <= some[-1]))
        below = np.cumsum(share, axis=1)
        for k in here:
            named = np.searchsorted(below[row[k] - first], draw[k])
            water[k] = ids.iloc[lakes[min(named, len(lakes) - 1)]]
    table = pd.DataFrame(
        {
            "visit_id": visits["visit_id"].to_numpy()[visit],
            "direction": np.where(launching, "launching", "retrieving"),
            "craft": rng.choice(["motor", "sail", "paddle"], n, p=[0.75, 0.05, 0.2]),
            "last_water": np.where(launching, water, ""),
            "next_water": np.where(launching, "", water),
            "days_out": np.where(
                launching & (kind < 3), rng.exponential(10, n).astype(int).astype(str), ""
            ),
        }
    )
    for gap, rate in GAPS.items():
        answer = rng.random(n)
        table[gap] = np.where(answer < rate, "yes", np.where(answer < 0.9, "no", "not checked"))
    return table


def main() -> None:
    """Write one region."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--size", choices=SIZES, default="state")
    numbers = [field.name for field in fields(Size)]
    for name in numbers:
        parser.add_argument(f"--{name}", type=int, help=f"number of {name} in place of the size's")
    given = parser.parse_args()
    changed = {name: getattr(given, name) for name in numbers if getattr(given, name) is not None}
    given.folder.mkdir(parents=True, exist_ok=True)
    write_large_region(given.folder, seed=given.seed, size=replace(SIZES[given.size], **changed))


if __name__ == "__main__":
    main()
