"""
Make the invented region of this folder: python demo_region/make_demo.py [--out FOLDER] [--seed N].

Everything is drawn from the model that spreadnet fits, with the parameters of `Truth`, in plain
numpy of its own, so that a test can ask whether they are found again.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import Transformer

SEED = 27
DISTRICT = "Ovrin Shelf"
CRS = "EPSG:32709"
MIDDLE = (-128.0, -41.0)  # longitude, latitude: open ocean, so that nobody takes it for real
WIDTH_M, HEIGHT_M = 110_000.0, 90_000.0
LAKES, LANDINGS, VISITED, VISITS, STREAMS = 72, 104, 61, 364, 18
SEASON = (date(2027, 5, 15), date(2027, 9, 30))
HOLIDAYS = (date(2027, 6, 21), date(2027, 8, 16))
VISIT_YEARS, LAST_YEAR = (2025, 2026), 2026
BLOCKS = ((6, 10), (10, 14), (14, 18), (18, 22))
MONTHS = (5, 6, 7, 8, 9)
GAPS = ("plug", "plants", "animals", "mud", "water")
CRAFT = ("motor", "ballast", "sail", "personal watercraft", "paddle")
BOARDS = ("Velk Ward", "Ostrid Ward", "Pellam Ward")
SIDES = ("east", "northeast", "north", "northwest", "west", "southwest", "south", "southeast")
KINDS = ("ramp", "slip", "landing", "hard")
WORDS = (
    "Anvelt Askrin Bemmith Borvane Brellig Caldrune Cimmast Corvenny Dalquorn Dorrimel Drusket "
    "Elvorn Embrask Estwin Fallorn Fenquill Firrag Gambrel Garvith Gelstow Gossamy Halvern "
    "Heskel Hurrand Ilmerick Ivrost Jarrowen Jessilk Kelvane Kerrith Kolbray Lanquin Lissorv "
    "Lorrimuk Marquesk Mestrin Mirvask Morquith Nambrey Nelloth Norvask Obbrin Ollisk Orquane "
    "Pallowin Perrisk Prandle Quarrim Quennick Rannoway Relvick Rombrel Sarquin Selmarch "
    "Silvask Sorrith Tallorix Tamberel Terrowin Tovrick Ubbeln Ulquorm Vambrel Verrisol Vurlick "
    "Wandrith Wesquell Wollarn Yarrick Yemvale Zandrel Zorrimy "
)


@dataclass(frozen=True, slots=True)
class SpeciesTruth:
    """Habits of one species; carry and hours by the routes plug, ..., water, ballast."""

    name: str
    carry: tuple[float, ...]
    hours: tuple[float, ...]
    cool_factor: float
    establish: float
    detection: float
    stream_per_year: float
    first_year: int
    started_in: int
    stream_efold_km: float = 8.0
    survival_shape: float = 1.5


# Carriage, survival and streams: the middle values of spreadnet/evidence/species.csv.
MUSSEL = SpeciesTruth(
    "dreissenid_mussel",
    carry=(0.03, 0.02, 0.5, 0.01, 0.1, 0.2),
    hours=(120, 34.7, 34.7, 34.7, 120, 120),
    cool_factor=7.7,
    establish=0.005,
    detection=0.25,
    stream_per_year=0.3,
    first_year=2011,
    started_in=2,
)
MILFOIL = SpeciesTruth(
    "eurasian_watermilfoil",
    carry=(0.005, 0.4, 0.01, 0.05, 0.03, 0.005),
    hours=(500, 23.1, 23.1, 35, 500, 500),
    cool_factor=2.0,
    establish=0.015,
    detection=0.35,
    stream_per_year=0.1,
    first_year=2005,
    started_in=3,
)


@dataclass(frozen=True, slots=True)
class Truth:
    """The parameters from which the region is drawn, in the words of spreadnet's model."""

    launches_per_hour: float = 0.8
    ramp_lanes: float = 0.5
    trailer_stalls: float = 0.3
    lake_area: float = 0.2
    weekend_ratio: float = 2.4
    blocks: tuple[float, ...] = (0.9, 1.3, 1.1, 0.5)
    months: tuple[float, ...] = (0.7, 1.05, 1.35, 1.15, 0.65)
    retrieval_blocks: tuple[float, ...] = (0.4, 0.85, 1.3, 2.0)
    kappa: float = 3.0  # shape of the landings' own factors
    visit_spread: float = 0.35
    refusal: float = 0.04
    contacts_per_hour: float = 12.0
    # Shares of same lake, other lake, outside, none.
    launching: tuple[float, ...] = (0.43, 0.34, 0.09, 0.14)
    retrieving: tuple[float, ...] = (0.46, 0.30, 0.07, 0.17)
    share_concentration: float = 14.0
    distance_exponent: float = 1.7
    traffic_exponent: float = 0.7
    area_exponent: float = 0.2
    softening_km: float = 1.0
    pair_spread: float = 0.25  # habits of a landing's boaters, which no law knows
    gaps_launching: tuple[float, ...] = (0.16, 0.10, 0.02, 0.07, 0.13)
    gaps_retrieving: tuple[float, ...] = (0.33, 0.22, 0.035, 0.11, 0.21)
    gap_precision: float = 18.0
    corrected: float = 0.52
    days_quick: float = 0.25
    days_mean: float = 14.0
    craft: tuple[float, ...] = (0.60, 0.07, 0.05, 0.08, 0.20)
    outside_infested: float = 0.2
    cool_damp: float = 0.1
    known_anyway: float = 0.65  # infestations that the public would report
    known_in_year: float = 0.65
    species: tuple[SpeciesTruth, ...] = (MUSSEL, MILFOIL)


# How many times likelier each gap is on each kind of boat; scaled so that the mean boat has 1.
CRAFT_GAPS = np.array(
    [
        [1.2, 1.0, 1.0, 1.0, 1.1],
        [1.2, 0.9, 1.2, 0.9, 1.8],
        [0.9, 0.9, 1.6, 0.8, 0.9],
        [0.5, 0.8, 0.6, 0.6, 1.0],
        [0.1, 1.2, 0.7, 1.5, 0.5],
    ]
)


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """
    What no table says: K landings, L lakes, directions (launching, retrieving).

    `rate` (K, 2, 4, 5) boats launched an hour by day type, block, month, and `retrieval_rate`;
    `launches` (K,) in the season; `shares` (2, K, 4); `choice` (2, K, L) which other lake;
    `gap_by_craft` (2, 5, K, 5) and `gap_rates` (2, 5, K), its mean over boats; `ballast` (K,);
    `trips` (K, K); `habitat` and `infested_from` by species, the latter the year (inf: not
    infested); `factor` (K,) of the landing itself.
    """

    landing_lake: np.ndarray
    distance_km: np.ndarray
    rate: np.ndarray
    retrieval_rate: np.ndarray
    factor: np.ndarray
    launches: np.ndarray
    shares: np.ndarray
    choice: np.ndarray
    gap_by_craft: np.ndarray
    gap_rates: np.ndarray
    ballast: np.ndarray
    trips: np.ndarray
    habitat: Mapping[str, np.ndarray]
    infested_from: Mapping[str, np.ndarray]


@dataclass(frozen=True, slots=True, eq=False)
class DemoRegion:
    """The text of every file by its name, the parameters, and what was drawn from them."""

    files: Mapping[str, str]
    truth: Truth
    known: Known


@dataclass(frozen=True, slots=True, eq=False)
class Land:
    """Lakes and landings as they are, in metres from the middle of the district."""

    shapes: tuple[shapely.Polygon, ...]
    names: tuple[str, ...]
    area_ha: np.ndarray
    depth_m: np.ndarray
    secchi_m: np.ndarray
    calcium_mg_l: np.ndarray
    points: np.ndarray
    landing_lake: np.ndarray
    lanes: np.ndarray
    stalls: np.ndarray
    streams: tuple[tuple[int, int, float, bool], ...]


PROMISED = """\
date,landing_id,block,code
2027-06-21,A030,10:00-14:00,E1
2027-07-10,A094,10:00-14:00,
"""


def make_region(seed: int = SEED, truth: Truth | None = None) -> DemoRegion:
    """
    Draw the whole region from a seed.

    Parameters
    ----------
    seed : int
        0 or more; the same seed gives the same bytes.
    truth : Truth, optional
        Parameters; the lakes and landings are the same whatever they are.

    Returns
    -------
    region : DemoRegion
        Nothing is written.
    """
    truth = truth or Truth()
    land = _land(seed)
    known = _known(seed, truth, land)
    visits, contacts = _visits(seed, truth, land, known)
    files = {
        "region.toml": _settings(),
        "lakes.geojson": _lakes_file(seed, land),
        "landings.csv": _landings_file(seed, land),
        "status.csv": _status_file(seed, truth, known),
        "streams.csv": _streams_file(land),
        "visits.csv": visits,
        "contacts.csv": contacts,
        "hours.csv": _hours_file(seed),
        "promised.csv": PROMISED,
    }
    return DemoRegion(files, truth, known)


def write_region(region: DemoRegion, folder: Path) -> None:
    """Write every file of the region into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in region.files.items():
        (folder / name).write_bytes(text.encode())


def _rng(seed: int, purpose: str) -> np.random.Generator:
    """Random numbers of one purpose, so that a change to one leaves the others as they were."""
    return np.random.default_rng([seed, zlib.crc32(purpose.encode())])


# --- the land: outlines of lakes, landings, streams -------------------------------------------


def _waves(rng: np.random.Generator, u: Any, v: Any, cycles: tuple[float, float]) -> Any:
    """Rough ground of variance 1: a sum of waves, the shorter the lower."""
    number = np.exp(rng.uniform(*np.log(cycles), 70))
    turn, phase = rng.uniform(0, 2 * np.pi, (2, 70))
    total = np.zeros_like(u)
    for k, t, p in zip(number, turn, phase, strict=True):
        total += np.cos(k * np.pi * (np.cos(t) * u + np.sin(t) * v) + p) / k
    return total / np.sqrt((number**-2.0).sum() / 2)


def _shorelines(depth: np.ndarray) -> list[np.ndarray]:
    """Closed lines at depth 0 of a grid, water on the left (marching squares)."""
    grid = np.pad(depth, 1, constant_values=-1.0)
    wet = grid > 0
    code = wet[:-1, :-1] + 2 * wet[:-1, 1:] + 4 * wet[1:, 1:] + 8 * wet[1:, :-1]
    corners = ((0, 0), (0, 1), (1, 1), (1, 0))
    follows = {}
    for i, j in zip(*np.nonzero((code > 0) & (code < 15)), strict=True):
        around = [(int(i) + a, int(j) + b) for a, b in corners]
        inside = [bool(wet[at]) for at in around]
        edges = [tuple(sorted((around[e], around[(e + 1) % 4]))) for e in range(4)]
        for enter in range(4):
            if not inside[enter] and inside[(enter + 1) % 4]:
                leave = (enter + 1) % 4
                while inside[(leave + 1) % 4]:
                    leave = (leave + 1) % 4
                follows[edges[leave]] = edges[enter]
    lines = []
    while follows:
        first, edge = follows.popitem()
        path = [first]
        while edge != first:
            path.append(edge)
            edge = follows.pop(edge)
        ends = np.array(path)
        one, two = (grid[tuple(ends[:, k].T)] for k in (0, 1))
        share = (one / (one - two))[:, None]
        lines.append((ends[:, 0] + (ends[:, 1] - ends[:, 0]) * share)[:, ::-1])
    return lines


def _enclosed(line: np.ndarray) -> float:
    """Area inside a closed line, negative when it runs clockwise."""
    x, y = line.T
    return float(0.5 * (x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


def _thinned(line: np.ndarray, least: float) -> np.ndarray:
    """The line without points that lie very near the one before."""
    kept = [line[0]]
    for point in line[1:]:
        if np.hypot(*(point - kept[-1])) >= least:
            kept.append(point)
    return np.array(kept)


def _outline(rng: np.random.Generator, area_ha: float, angle: float) -> shapely.Polygon:
    """One lake about the origin: hollows in rough ground, filled with water to one level."""
    size = np.log(area_ha / 8)
    cells = int(46 + 11 * size)
    long = np.exp(np.clip(rng.normal(0.55, 0.35), 0, 1.4)) ** 0.5
    side = np.linspace(-2.6, 2.6, cells)
    u, v = np.meshgrid(side, side)
    bent_u, bent_v = (w + 0.26 * _waves(rng, u, v, (0.3, 1.2)) for w in (u, v))
    depth = np.full_like(u, -9.0)
    for hollow in range(int(rng.integers(1, 4 if area_ha > 60 else 3))):
        at = rng.normal(0, (0.42 * long, 0.32))
        reach = 0.85 * (rng.uniform(0.5, 0.95) if hollow else 1.0)
        distance = np.hypot((bent_u - at[0]) / long, (bent_v - at[1]) * long)
        depth = np.maximum(depth, reach - distance)
    for _ in range(int(rng.poisson(0.45 * size))):  # hills under water: islands and shallow bays
        at, wide = rng.normal(0, (0.5 * long, 0.4)), rng.uniform(0.10, 0.26)
        hill = np.exp(-(((u - at[0]) / long) ** 2 + ((v - at[1]) * long) ** 2) / wide**2)
        depth -= rng.uniform(0.4, 1.1) * hill
    depth += rng.uniform(0.10, 0.17 + 0.03 * size) * _waves(rng, u, v, (0.8, 4 + 0.6 * size))
    lines = [_thinned(line, 0.4) for line in _shorelines(depth)]
    areas = np.array([_enclosed(line) if len(line) > 3 else 0.0 for line in lines])
    shell = lines[int(areas.argmax())]
    if shell.min() < 3 or shell.max() > cells - 2 or len(shell) < 20:  # cut off by the grid
        return _outline(rng, area_ha, angle)
    rim, scale = shapely.Polygon(shell), 1e4 * area_ha / areas.max()
    holes = [
        line
        for line, area in sorted(zip(lines, areas, strict=True), key=lambda pair: pair[1])
        if area < 0
        and -area * scale > max(1500.0, 8 * area_ha)
        and rim.contains(shapely.Polygon(line))
    ][:7]
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    rings = [(line - shell.mean(axis=0)) * scale**0.5 @ turn for line in (shell, *holes)]
    lake = shapely.Polygon(rings[0], rings[1:])
    # Thin necks fall apart when coordinates are rounded: such a lake is drawn again.
    sound = lake.is_valid and shapely.get_num_geometries(lake.buffer(-4)) == 1
    return lake if sound else _outline(rng, area_ha, angle)


def _scattered(rng: np.random.Generator, areas: np.ndarray) -> list[shapely.Polygon]:
    """Lakes laid out in loose belts, the largest first, none nearer than a short portage."""
    placed: list[shapely.Polygon] = []
    half = np.array([WIDTH_M, HEIGHT_M]) / 2
    for area in areas:
        while True:
            along, across = rng.uniform(-1, 1), rng.normal(0, 0.13)
            belt = (-0.55, 0.15, 0.75)[int(rng.integers(3))]
            at = half * [along, belt + 0.33 * along + 0.12 * np.sin(4 * along) + across]
            if rng.random() < 0.15:
                at = half * rng.uniform(-1, 1, 2)
            elif len(placed) > 6 and rng.random() < 0.6:  # in a string of lakes
                near = placed[int(rng.integers(len(placed)))].centroid
                at = np.array([near.x, near.y]) + rng.normal(0, (5_500, 3_500))
            angle = 0.55 + 0.35 * np.sin(at[0] / 30_000) + rng.normal(0, 0.3)
            lake = shapely.transform(_outline(rng, area, angle), lambda c, s=at: c + s)
            reach = np.abs(np.reshape(lake.bounds, (2, 2))).max(axis=0)
            if (reach > half - (20_000 if area > 3_000 else 0)).any():
                continue
            if not placed or shapely.distance(lake, placed).min() > 450:
                break
        placed.append(lake)
    return placed


def _land(seed: int) -> Land:
    """All that does not depend on boats or species."""
    rng = _rng(seed, "lakes")
    drawn = np.exp(rng.normal(np.log(170), 1.5, 4 * LAKES))
    areas = np.sort(drawn[(drawn > 8) & (drawn < 6_000)][:LAKES])[::-1]
    shapes = _scattered(rng, areas)
    order = np.lexsort([[-s.centroid.y for s in shapes]])  # numbered from north to south
    shapes, areas = [shapes[k] for k in order], areas[order]
    middle = np.array([[s.centroid.x, s.centroid.y] for s in shapes]) / 1000
    depth = 3.2 * areas**0.27 * np.exp(rng.normal(0, 0.35, LAKES))
    secchi = np.clip(2.6 * np.exp(rng.normal(0.008 * middle[:, 1], 0.4)), 0.4, 9)
    calcium = np.clip(22 * np.exp(0.014 * middle[:, 0] + rng.normal(0, 0.28, LAKES)), 2, 70)
    names = _lake_names(rng, areas)
    points, landing_lake = _landing_places(_rng(seed, "landings"), shapes, areas)
    rng = _rng(seed, "ramps")
    big = np.log(areas[landing_lake] / 150)
    lanes = np.clip(np.round(np.exp(0.35 + 0.16 * big + rng.normal(0, 0.35, LANDINGS))), 1, 4)
    stalls = np.maximum(np.round(9 * lanes**1.2 * np.exp(rng.normal(0, 0.45, LANDINGS))), 2)
    return Land(
        shapes=tuple(shapes),
        names=names,
        area_ha=areas,
        depth_m=np.maximum(depth, 1.5).round(1),
        secchi_m=np.minimum(secchi, depth).round(1),
        calcium_mg_l=calcium.round(1),
        points=points,
        landing_lake=landing_lake,
        lanes=lanes,
        stalls=stalls,
        streams=_streams(_rng(seed, "streams"), shapes, middle),
    )


def _lake_names(rng: np.random.Generator, areas: np.ndarray) -> tuple[str, ...]:
    """Invented names, ponds small and waters large."""
    forms = []
    for area in areas:
        small, large = ("{} Pond", "{} Tarn", "{} Lake"), ("Lake {}", "{} Water", "{} Lake")
        chosen = small if area < 40 else large if area > 900 else ("{} Lake",)
        forms.append(chosen[int(rng.integers(len(chosen)))])
    words = rng.permutation(WORDS.split())[:LAKES]
    return tuple(f.format(w) for f, w in zip(forms, words, strict=True))


def _landing_places(
    rng: np.random.Generator, shapes: list[shapely.Polygon], areas: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Points a few metres from the shore, spread about each lake; some small lakes have none."""
    ease = areas**0.55 * np.exp(rng.normal(0, 0.4, LAKES))
    number = np.ones(LAKES, dtype=int)
    small = np.flatnonzero(areas < np.quantile(areas, 0.4))
    number[rng.permutation(small)[:10]] = 0
    while number.sum() < LANDINGS:
        number[np.argmax(np.where(number > 0, ease / (number + 0.6), 0))] += 1
    points = []
    for lake, count in zip(shapes, number, strict=True):
        shore, start = lake.exterior, rng.random()
        for k in range(count):
            share = (start + (k + rng.uniform(-0.3, 0.3)) / count) % 1
            on_shore = shore.interpolate(share, normalized=True)
            points.append(np.array([on_shore.x, on_shore.y]) + rng.normal(0, 5, 2))
    return np.array(points), np.repeat(np.arange(LAKES), number)


def _streams(
    rng: np.random.Generator, shapes: list[shapely.Polygon], middle: np.ndarray
) -> tuple[tuple[int, int, float, bool], ...]:
    """The shortest ways down from a lake to a lower neighbour, one outlet a lake."""
    height = 0.9 * middle[:, 1] - 0.5 * middle[:, 0] + rng.normal(0, 6, LAKES)
    apart = np.array([shapely.distance(shape, shapes) for shape in shapes]) / 1000
    downhill = np.where(height[:, None] > height[None, :], apart, np.inf)
    nearest, outlet = downhill.min(axis=1), downhill.argmin(axis=1)
    chosen = np.sort(np.argsort(nearest)[:STREAMS])
    winding = rng.uniform(1.1, 1.6, LAKES)
    dammed = set(rng.permutation(chosen)[:3].tolist())
    return tuple(
        (int(i), int(outlet[i]), round(float(nearest[i] * winding[i]), 1), int(i) in dammed)
        for i in chosen
    )


# --- the boats and the species: what is true ---------------------------------------------------


def _known(seed: int, truth: Truth, land: Land) -> Known:
    """Draw what boats do and where the species are by now."""
    lake = land.landing_lake
    rate, factor = _rates(_rng(seed, "traffic"), truth, land)
    hours = _season_hours()
    launches = (rate * hours).sum(axis=(1, 2, 3))
    late = np.array(truth.retrieval_blocks)[None, None, :, None]
    retrieval = rate * late * (rate * hours).sum() / (rate * late * hours).sum()
    rng = _rng(seed, "shares")
    means = np.array([truth.launching, truth.retrieving])
    shares = np.array([rng.dirichlet(truth.share_concentration * m, LANDINGS) for m in means])
    distance = _distances(land)
    choice = _choice(_rng(seed, "choice"), truth, land, launches, distance)
    mix = _craft_mix(truth, land)
    rng = _rng(seed, "gaps")
    bases = np.array([truth.gaps_launching, truth.gaps_retrieving])[:, :, None]
    weight = truth.gap_precision
    own = rng.beta(bases * weight, (1 - bases) * weight, (2, len(GAPS), LANDINGS))
    by_craft = _gap_chances(truth, own)
    gap_rates = np.einsum("dgkc,kc->dgk", by_craft, mix)
    split = launches / np.bincount(lake, launches, minlength=LAKES)[lake]
    trips = split[:, None] * (launches * shares[0, :, 1] * choice[0][:, lake].T)
    ballast = mix[:, CRAFT.index("ballast")]
    habitat = {s.name: _habitat(s, land) for s in truth.species}
    boats = (trips, lake, gap_rates, ballast, launches, shares[0, :, 2])
    infested = {
        s.name: _spread(_rng(seed, f"spread of {s.name}"), truth, s, land, habitat[s.name], boats)
        for s in truth.species
    }
    made = (lake, distance, rate, retrieval, factor, launches, shares, choice)
    return Known(*made, by_craft, gap_rates, ballast, trips, habitat, infested)


def _season_hours() -> np.ndarray:
    """Hours of the season by day type, block and month, shape (2, 4, 5)."""
    days = np.zeros((2, 1, len(MONTHS)))
    day = SEASON[0]
    while day <= SEASON[1]:
        days[int(day.weekday() >= 5 or day in HOLIDAYS), 0, MONTHS.index(day.month)] += 1
        day += timedelta(days=1)
    return days * np.array([last - first for first, last in BLOCKS])[None, :, None]


def _rates(rng: np.random.Generator, truth: Truth, land: Land) -> tuple[np.ndarray, np.ndarray]:
    """Launches an hour (K, 2, 4, 5): size of the landing x time x the landing's own factor."""
    size = np.log([land.lanes, 1 + land.stalls, land.area_ha[land.landing_lake]])
    size -= size.mean(axis=1, keepdims=True)
    level = np.array([truth.ramp_lanes, truth.trailer_stalls, truth.lake_area]) @ size
    factor = rng.gamma(truth.kappa, 1 / truth.kappa, LANDINGS)
    hours = _season_hours()
    weekends = hours[1].sum() / hours.sum()
    by_day = np.log(truth.weekend_ratio) * (np.arange(2) - weekends)
    by_block, by_month = np.log(truth.blocks), np.log(truth.months)
    time = (
        by_day[:, None, None]
        + (by_block - by_block.mean())[None, :, None]
        + (by_month - by_month.mean())[None, None, :]
    )
    base = truth.launches_per_hour * factor * np.exp(level)
    return base[:, None, None, None] * np.exp(time), factor


def _distances(land: Land) -> np.ndarray:
    """Kilometres from every landing to the mean place of every lake's landings."""
    number = np.bincount(land.landing_lake, minlength=LAKES)
    middle = np.array([[s.centroid.x, s.centroid.y] for s in land.shapes])
    total = np.zeros_like(middle)
    np.add.at(total, land.landing_lake, land.points)
    middle = np.where(number[:, None] > 0, total / np.maximum(number, 1)[:, None], middle)
    return np.linalg.norm(land.points[:, None] - middle[None], axis=2) / 1000


def _choice(
    rng: np.random.Generator, truth: Truth, land: Land, launches: np.ndarray, distance: np.ndarray
) -> np.ndarray:
    """Which other lake a boat comes from, or goes to: gravity, shape (2, K, L)."""
    traffic = np.bincount(land.landing_lake, launches, minlength=LAKES)
    reached = traffic > 0
    pull = np.where(reached, traffic, 1.0) ** truth.traffic_exponent
    pull = np.where(reached, pull * land.area_ha**truth.area_exponent, 0.0)
    weight = pull * (distance + truth.softening_km) ** -truth.distance_exponent
    weight = weight * np.exp(truth.pair_spread * rng.standard_normal((2, *distance.shape)))
    weight[:, np.arange(LANDINGS), land.landing_lake] = 0
    return weight / weight.sum(axis=2, keepdims=True)


def _craft_mix(truth: Truth, land: Land) -> np.ndarray:
    """Kinds of boat at each landing (K, 5): ballast and sail on large lakes, paddle on small."""
    lean = np.array([0.05, 0.25, 0.2, 0.1, -0.2])
    big = np.log(land.area_ha[land.landing_lake] / 400)[:, None]
    mix = np.array(truth.craft) * np.exp(lean * big)
    return mix / mix.sum(axis=1, keepdims=True)


def _gap_chances(truth: Truth, own: np.ndarray) -> np.ndarray:
    """Chance of each gap at each landing (2, 5, K) on each kind of boat, shape (2, 5, K, 5)."""
    scaled = CRAFT_GAPS / (np.array(truth.craft) @ CRAFT_GAPS)
    return np.clip(own[..., None] * scaled.T[None, :, None, :], 0, 0.95)


def _habitat(species: SpeciesTruth, land: Land) -> np.ndarray:
    """How well each lake suits it: calcium for the mussel, light on the bottom for the plant."""
    if species.name == MUSSEL.name:
        steps = np.digitize(land.calcium_mg_l, [12.0, 20.0, 28.0])
        return np.array([0.02, 0.2, 0.6, 1.0])[steps]
    reach = np.minimum(10**0.31 * land.secchi_m**0.66 / land.depth_m, 1)
    return 1 - (1 - reach) ** 2


def _route_weights(truth: Truth, species: SpeciesTruth) -> np.ndarray:
    """Chance that an open route carries it alive to the next launch, over days out."""
    past = np.arange(1, 400)
    slow = np.exp(-(past - 1) / truth.days_mean) - np.exp(-past / truth.days_mean)
    chance = np.concatenate([np.full(6, truth.days_quick / 6), (1 - truth.days_quick) * slow])
    days = np.concatenate([np.arange(6), 5 + past])
    hours, shape = np.array(species.hours)[:, None], species.survival_shape
    warm = np.exp(-((24 * days / hours) ** shape)) @ chance
    cool = np.exp(-((24 * days / (species.cool_factor * hours)) ** shape)) @ chance
    air = np.array([False, True, True, True, False, False])
    alive = np.where(air, (1 - truth.cool_damp) * warm + truth.cool_damp * cool, warm)
    return np.array(species.carry) * alive


def _spread(
    rng: np.random.Generator,
    truth: Truth,
    species: SpeciesTruth,
    land: Land,
    habitat: np.ndarray,
    boats: tuple[np.ndarray, ...],
) -> np.ndarray:
    """Year in which each lake was infested, by trips, from outside and down streams."""
    trips, lake, gap_rates, ballast, launches, outside_share = boats
    leaving = np.vstack([gap_rates[1], ballast])
    mean_in = gap_rates[0] @ launches / launches.sum()
    arriving = np.vstack([np.clip(gap_rates[0] / mean_in[:, None], 1 / 3, 3), np.ones(LANDINGS)])
    weights = _route_weights(truth, species)
    outside = launches * outside_share * truth.outside_infested
    outside_leaving = leaving @ launches / launches.sum()
    down = np.zeros((LAKES, LAKES))
    for above, below, length, barrier in land.streams:
        strength = species.stream_per_year * np.exp(-length / species.stream_efold_km)
        down[above, below] = 0 if barrier else strength
    busy = np.bincount(lake, launches, minlength=LAKES) * (habitat >= 0.5)
    since = np.full(LAKES, np.inf)
    since[np.argsort(-busy)[rng.permutation(8)[: species.started_in]]] = species.first_year
    for year in range(species.first_year + 1, LAST_YEAR + 1):
        infested = (since < year).astype(float)
        carried = (leaving * infested[lake]) @ trips + outside_leaving[:, None] * outside
        met = np.bincount(lake, weights @ (carried * arriving), minlength=LAKES)
        hazard = habitat * (species.establish * met + infested @ down)
        new = (rng.random(LAKES) < -np.expm1(-hazard)) & (infested == 0)
        since[new] = year
    return since


# --- what people wrote down ---------------------------------------------------------------------


def _visits(seed: int, truth: Truth, land: Land, known: Known) -> tuple[str, str]:
    """The texts of visits.csv and contacts.csv."""
    rng = _rng(seed, "visits")
    mix, rows, at, direction = _craft_mix(truth, land), [], [], []
    days = [date(year, 5, 15) + timedelta(days=k) for year in VISIT_YEARS for k in range(139)]
    for number, (landing, day, start, end) in enumerate(_shifts(rng, known, days)):
        visit = f"V{number + 1:03d}"
        hours = np.array([max(min(end, b) - max(start, a), 0) for a, b in BLOCKS])
        kind, month = int(day.weekday() >= 5), MONTHS.index(day.month)
        luck = rng.gamma(truth.visit_spread**-2, truth.visit_spread**2)
        launched, taken_out = (
            int(rng.poisson(luck * (r[landing, kind, :, month] @ hours)))
            for r in (known.rate, known.retrieval_rate)
        )
        met = rng.permutation(np.repeat([0, 1], [launched, taken_out]))
        met = met[: int(truth.contacts_per_hour * (end - start))]
        willing = rng.random(len(met)) >= truth.refusal
        at += [(visit, landing)] * int(willing.sum())
        direction += met[willing].tolist()
        counts = (launched, taken_out, int((~willing).sum()))
        blank = rng.random(3) < (0.04, 0.15, 0.06)
        written = ["" if b else n for n, b in zip(counts, blank, strict=True)]
        educators = ("", 1, 1, 1, 2, 2, 2, 2, 3)[int(rng.integers(9))]
        rows.append(
            [visit, f"A{landing + 1:03d}", day, _clock(start), _clock(end), educators, *written]
        )
    names = "visit_id landing_id date start end educators launches retrievals refused"
    landings = np.array([landing for _, landing in at])
    contacts = _contacts(_rng(seed, "contacts"), truth, known, mix, landings, np.array(direction))
    lines = [[visit, *contact] for (visit, _), contact in zip(at, contacts, strict=True)]
    headings = f"visit_id direction craft last_water next_water days_out {' '.join(GAPS)} corrected"
    return _csv(names, rows), _csv(headings, lines)


def _shifts(
    rng: np.random.Generator, known: Known, days: list[date]
) -> list[tuple[int, date, float, float]]:
    """Where and when people stood, in order of time: more often at busy landings, on weekends."""
    effort = known.launches**0.75 * rng.gamma(2, 0.5, LANDINGS)
    chosen = np.argsort(-effort * rng.gamma(4, 0.25, LANDINGS))[:VISITED]
    rest = rng.choice(chosen, VISITS - VISITED, p=effort[chosen] / effort[chosen].sum())
    keen = np.array([2.6 if day.weekday() >= 5 else 1.0 for day in days])
    taken, shifts = set(), []
    for landing in (*chosen.tolist(), *rest.tolist()):
        day = days[int(rng.choice(len(days), p=keen / keen.sum()))]
        if (landing, day) in taken:
            day = next(free for free in days if (landing, free) not in taken)
        taken.add((landing, day))
        length = 2 + 0.5 * int(rng.integers(5))
        first = BLOCKS[int(rng.choice(4, p=(0.27, 0.36, 0.25, 0.12)))][0]
        start = first + 0.5 * int(rng.integers(2 * (4 - length) + 1))
        if rng.random() < 0.15:  # from one block into the next
            start, length = min(first + 2.5, 18.5), max(length, 2.5)
        shifts.append((landing, day, start, start + length))
    return sorted(shifts, key=lambda shift: (shift[1], shift[2], shift[0]))


def _contacts(
    rng: np.random.Generator,
    truth: Truth,
    known: Known,
    mix: np.ndarray,
    landing: np.ndarray,
    direction: np.ndarray,
) -> list[list[Any]]:
    """One row a party spoken with, blanks and all."""
    count = len(landing)
    craft = _pick(rng, mix[landing])
    kind = _pick(rng, known.shares[direction, landing])
    other = _pick(rng, known.choice[direction, landing])
    lakes = np.where(kind == 0, known.landing_lake[landing], other)
    bare = np.setdiff1d(np.arange(LAKES), known.landing_lake)
    carried_in = (craft == CRAFT.index("paddle")) & (kind == 1) & (rng.random(count) < 0.04)
    lakes = np.where(carried_in, bare[rng.integers(len(bare), size=count)], lakes)
    words = np.array([f"L{k + 1:02d}" for k in lakes], dtype=object)
    water = np.select([kind == 2, kind == 3], ["outside", "none"], words)
    water = np.where(rng.random(count) < 0.06, "", water)
    quick = rng.random(count) < truth.days_quick
    slow = 5 + np.ceil(rng.exponential(truth.days_mean, count)).astype(int)
    days = np.where(quick, rng.integers(0, 6, count), np.minimum(slow, 400)).astype(object)
    unknown_days = (direction == 1) | (water == "none") | (rng.random(count) < 0.1)
    days = np.where(unknown_days, "", days)
    chance = known.gap_by_craft[direction, :, landing, craft]
    found = rng.random(chance.shape) < chance
    hurried = rng.random((count, 1)) < 0.05
    skipped = (rng.random(found.shape) < 0.07) | hurried
    unsaid = np.where(rng.random(found.shape) < 0.6, "not checked", "")
    answers = np.where(skipped, unsaid, np.where(found, "yes", "no"))
    mended = np.where(rng.random(count) < truth.corrected, "yes", "no")
    noted = (found & ~skipped).any(axis=1) & (rng.random(count) >= 0.08)
    corrected = np.where(noted, mended, "")
    boats = np.array([*CRAFT, "unknown", ""])[
        np.where(rng.random(count) < 0.05, rng.integers(5, 7, count), craft)
    ]
    last, following = np.where(direction == 0, water, ""), np.where(direction == 1, water, "")
    ways = np.array(["launching", "retrieving"])[direction]
    columns = (ways, boats, last, following, days, *answers.T, corrected)
    return [list(row) for row in zip(*columns, strict=True)]


def _pick(rng: np.random.Generator, chances: np.ndarray) -> np.ndarray:
    """One position for each row of chances."""
    below = np.cumsum(chances, axis=1)
    return (rng.random((len(chances), 1)) * below[:, -1:] >= below).sum(axis=1)


def _status_file(seed: int, truth: Truth, known: Known) -> str:
    """What surveys and the public found, and when; much was never looked at."""
    names = "lake_id species status first_found surveys last_survey"
    rows = []
    for species in truth.species:
        rng = _rng(seed, f"surveys of {species.name}")
        looked = rng.random(LAKES) < 0.55
        for lake, since in enumerate(known.infested_from[species.name]):
            years = np.sort(rng.integers(2013, LAST_YEAR + 1, rng.poisson(2.5)))
            years = years if looked[lake] else years[:0]
            seen = years[(years >= since) & (rng.random(len(years)) < species.detection)]
            lag = int(rng.geometric(truth.known_in_year)) - 1
            told = since + lag if rng.random() < truth.known_anyway else np.inf
            found = min([told, *seen.tolist()])
            day = date(LAST_YEAR, 7, 1) + timedelta(days=int(rng.integers(70)))
            last = day.replace(year=int(years[-1])) if len(years) else ""
            surveys: Any = len(years) or ""
            first: Any = ""
            if found <= LAST_YEAR:
                first = int(found) if rng.random() < 0.6 else day.replace(year=int(found))
                first = "" if rng.random() < 0.07 else first
                status = "present"
            elif len(years):
                status = "absent"
            elif rng.random() < 0.5:
                status, surveys = "unknown", 0
            else:
                continue
            rows.append([f"L{lake + 1:02d}", species.name, status, first, surveys, last])
    return _csv(names, rows)


def _lakes_file(seed: int, land: Land) -> str:
    """Outlines in degrees, one lake a line (RFC 7946: outer rings run anticlockwise)."""
    rng = _rng(seed, "lake table")
    columns = {
        name: [None if gone else float(v) for v, gone in zip(values, gaps, strict=True)]
        for name, values, gaps in (
            ("depth_m", land.depth_m, rng.random(LAKES) < 0.15),
            ("secchi_m", land.secchi_m, rng.random(LAKES) < 0.2),
            ("calcium_mg_l", land.calcium_mg_l, rng.random(LAKES) < 0.15),
        )
    }
    worth = np.where(rng.random(LAKES) < 0.06, 2, 0)
    lines = []
    for k, (shape, name) in enumerate(zip(land.shapes, land.names, strict=True)):
        rings = [_degrees(np.array(ring.coords)) for ring in (shape.exterior, *shape.interiors)]
        table = {"lake_id": f"L{k + 1:02d}", "name": name}
        table |= {column: values[k] for column, values in columns.items()}
        feature = {
            "type": "Feature",
            "properties": {**table, "worth": int(worth[k]) or None},
            "geometry": {"type": "Polygon", "coordinates": rings},
        }
        lines.append(json.dumps(feature, separators=(",", ":")))
    return '{"type":"FeatureCollection","features":[\n' + ",\n".join(lines) + "\n]}\n"


def _degrees(metres: np.ndarray) -> list[list[float]]:
    """Longitude and latitude to about a metre, from metres east and north of the middle."""
    flat = Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    middle = np.array(flat.transform(*MIDDLE))
    lon, lat = flat.transform(*(metres + middle).T, direction="INVERSE")
    return [[round(float(a), 5), round(float(b), 5)] for a, b in zip(lon, lat, strict=True)]


def _landings_file(seed: int, land: Land) -> str:
    """Landings with what their owners know of them."""
    rng = _rng(seed, "landing table")
    places = _degrees(land.points)
    unsaid = rng.random((LANDINGS, 5)) < (0.05, 0.03, 0.2, 0.04, 0.3)
    closed = set(rng.permutation(LANDINGS)[:6].tolist())
    rows, used = [], set()
    for k, lake in enumerate(land.landing_lake):
        shape, (east, north) = land.shapes[lake], land.points[k]
        turn = np.arctan2(north - shape.centroid.y, east - shape.centroid.x)
        word = land.names[lake].replace("Lake", "").split()[0]
        side = SIDES[round(turn / (np.pi / 4)) % 8]
        options = [f"{word} {side} {kind}" for kind in KINDS]
        name = next(option for option in options if option not in used)
        used.add(name)
        board = BOARDS[2 if north > 12_000 else int(east > -8_000)]
        staff = "no" if k in closed else "" if unsaid[k, 4] else "yes"
        given = [f"L{lake + 1:02d}", int(land.lanes[k]), int(land.stalls[k]), board]
        known = ["" if gone else v for v, gone in zip(given, unsaid[k, :4], strict=True)]
        rows.append([f"A{k + 1:03d}", known[0], name, *places[k], *known[1:], staff])
    names = "landing_id lake_id name longitude latitude ramp_lanes trailer_stalls jurisdiction"
    return _csv(f"{names} can_staff", rows)


def _streams_file(land: Land) -> str:
    """Streams, the barrier left empty where nobody noted one."""
    rows = [
        [f"L{above + 1:02d}", f"L{below + 1:02d}", length, "yes" if barrier else ""]
        for above, below, length, barrier in land.streams
    ]
    return _csv("upstream_lake_id downstream_lake_id distance_km barrier", rows)


def _hours_file(seed: int) -> str:
    """Days on which nine people can come, most of them weekend days, by codes that name nobody."""
    rng = _rng(seed, "people")
    days = [SEASON[0] + timedelta(days=i) for i in range((SEASON[1] - SEASON[0]).days + 1)]
    keen = np.array([6.0 if day.weekday() >= 5 or day in HOLIDAYS else 1.0 for day in days])
    blocks = ("any", "any", *(f"{a:02d}:00-{b:02d}:00" for a, b in BLOCKS[1:3]))
    rows = []
    for person in range(1, 10):
        home = f"A{int(rng.integers(1, LANDINGS + 1)):03d}"
        farthest = 60 if rng.random() < 0.3 else 120
        number = int(rng.integers(11, 20))
        for place in sorted(rng.choice(len(days), number, replace=False, p=keen / keen.sum())):
            block = blocks[int(rng.integers(len(blocks)))]
            rows.append([f"E{person}", days[place], block, 4, home, farthest])
    return _csv("code date block hours home_landing_id most_km", rows)


def _settings() -> str:
    """The text of region.toml."""
    blocks = ", ".join(f'"{a:02d}:00-{b:02d}:00"' for a, b in BLOCKS)
    return f"""\
# An invented district in the open ocean. No lake, landing, board or number in it is real.
name = "{DISTRICT}"

# The season to plan for. Visits of earlier years say how busy landings are.
season_first_day = {SEASON[0]}
season_last_day = {SEASON[1]}
holidays = [{", ".join(str(day) for day in HOLIDAYS)}]  # weekdays with weekend traffic

# How much one new infestation of each species counts.
species = {{{MUSSEL.name} = 1.0, {MILFOIL.name} = 0.6}}

# Educator hours for the whole season, in shifts of four hours.
hours = 320
shift_hours = 4
blocks = [{blocks}]
cost_per_hour = 28  # any currency; only used to print costs
cost_per_km = 0.4
jurisdiction_hours = {{"Velk Ward" = 24}}  # least hours at the landings of a ward
time_zone = "Etc/GMT+9"
after_dusk = true  # its season is the dark half of the year there, as nobody would choose it

crs = "{CRS}"  # metres, for distances and areas
seasons = 5  # how many seasons ahead new infestations are counted
"""


def _csv(headings: str, rows: list[list[Any]]) -> str:
    """A table as text, lines ended by a line feed."""
    made = io.StringIO()
    csv.writer(made, lineterminator="\n").writerows([headings.split(), *rows])
    return made.getvalue()


def _clock(hours: float) -> str:
    """Hours after midnight as a clock time."""
    return f"{int(hours):02d}:{round(hours % 1 * 60):02d}"


def main() -> None:
    """Write the region, beside this script unless another folder is named."""
    asked = argparse.ArgumentParser(description="Make the invented region.")
    asked.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder to write to")
    asked.add_argument("--seed", type=int, default=SEED, help="seed of the random numbers")
    given = asked.parse_args()
    region = make_region(given.seed)
    write_region(region, given.out)
    size = sum(len(text.encode()) for text in region.files.values())
    print(f"wrote {len(region.files)} files, {size / 1e6:.2f} MB, seed {given.seed}")


if __name__ == "__main__":
    main()
