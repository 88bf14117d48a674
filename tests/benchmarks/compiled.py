"""Compiled code beside the NumPy way at the size of a state: time, memory, and the same answers."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from typing import NamedTuple

import networkx as nx
import numpy as np
import scipy.sparse as sp

from spreadnet.model.distance import planar_km
from spreadnet.model.fast.bridge import SWITCH, fast_available, rates_between
from spreadnet.model.laws import POWER
from spreadnet.model.movement.fit import GravityFit
from spreadnet.model.movement.shares import destination_shares, lake_trips, within_lake_split
from spreadnet.model.spread import futures as simulation
from spreadnet.model.spread.between_lakes import lake_rates
from spreadnet.model.spread.futures import NEVER, at_risk
from spreadnet.model.spread.types import SpreadInputs
from spreadnet.model.trips.by_law import LawTrips

N_LAKES, N_LANDINGS, WITH_LANDING, INFESTED, SEASONS = 12_000, 3_500, 2_741, 164, 10
SUITABLE = 0.62  # of lakes: 40 infestations in the first year are 2.5% of those that are free
ESTABLISH = 0.28  # so that there are about 40 in the first year
BUILD, BETWEEN, FUTURES = 4, 1.2, 1.3  # times faster, at least
DIFFERENT = 1e-4  # share of lakes whose season may differ, where the seventh digit decides
DENSE_PLAIN, DENSE, LOOP = (
    1.3,
    3,
    100,
)  # times faster than a dense matrix, and than a loop, at least
REPEATS = 5


class State(NamedTuple):
    """A made state and one set of numbers."""

    trips: LawTrips
    area: np.ndarray
    distance_km: np.ndarray
    inputs: SpreadInputs
    limits: np.ndarray
    infested: np.ndarray


def rows() -> list[dict[str, object]]:
    """Figures with their bars, for the table of all benchmarks."""
    if not fast_available():
        return [_row("compiled code: the extra `fast` is not there", 0, np.inf, "no bar", True)]
    state = made_state()
    return [
        *_build_rows(state),
        *_futures_rows(state),
        *_loop_rows(),
    ]


def _row(name: str, figure: float, bar: float, unit: str, ok: bool) -> dict[str, object]:
    return {"name": name, "figure": float(figure), "bar": bar, "unit": unit, "ok": bool(ok)}


def _seconds(function, repeats=REPEATS):
    """Shortest time of a few runs, and the result."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        result = function()
        times.append(time.perf_counter() - start)
    return min(times), result


def made_state(size=1.0, *, with_distances=True, n_limits=400):
    """Lakes of a state; `size` multiplies the numbers of lakes and landings."""
    rng = np.random.default_rng(1)
    n_lakes, n_landings, n_groups = (int(size * n) for n in (N_LAKES, N_LANDINGS, WITH_LANDING))
    group = np.concatenate([np.arange(n_groups), rng.integers(0, n_groups, n_landings - n_groups)])
    lakes = np.sort(rng.choice(n_lakes, n_groups, replace=False))
    lake_km = rng.uniform(0, 500, (n_groups, 2))
    landing_km = lake_km[group] + rng.normal(0, 1, (n_landings, 2))
    launches, log_area = rng.gamma(2, 300, n_landings), rng.normal(5, 1.2, n_groups)
    initial = np.zeros(n_lakes)
    initial[rng.choice(lakes, int(size * INFESTED), replace=False)] = 1
    suitable = rng.random(n_lakes) < SUITABLE
    trips = LawTrips(
        landing_km=landing_km,
        lake_km=lake_km,
        group=group,
        split=within_lake_split(launches, group),
        arriving=0.3 * launches,
        pull=0.5 * log_area,
        law=POWER,
        coefficients=np.array([-2.0]),
    )
    routes = 6
    inputs = SpreadInputs(
        trips=trips,
        landing_lake=lakes[group],
        leaving=rng.beta(2, 20, (routes, n_landings)),
        arriving=rng.gamma(2, 0.5, (routes, n_landings)),
        weights=np.array([0.02, 0.05, 0.0, 0.01, 0.0, 0.03]),
        outside_boats=rng.gamma(1, 0.5, n_landings),
        outside_leaving=np.full(routes, 0.1),
        education_effect=np.full(routes, 0.5),
        establish=ESTABLISH,
        allee_exponent=1.0,
        habitat=np.where(suitable, rng.uniform(0.3, 1.0, n_lakes), 0.0),
        streams=sp.csr_array((n_lakes, n_lakes)),
        initial=initial,
        worth=np.ones(n_lakes),
    )
    distance_km = np.zeros((0, 0))
    if with_distances:
        distance_km = planar_km(1000 * landing_km, 1000 * lake_km, dtype=np.float32)
    limits = rng.exponential(size=(n_limits, n_lakes))
    infested = np.broadcast_to(initial == 1, limits.shape).copy()
    return State(trips, log_area, distance_km, inputs, limits, infested)


def by_numpy(state, trips):
    """Trips without compiled code."""
    fit = GravityFit(
        law=trips.law,
        attractions=("pull",),
        coefficients=np.append(1.0, trips.coefficients),
        covariance=np.eye(2),
        naive_covariance=np.eye(2),
        log_likelihood=0.0,
        interviews=0.0,
        landings=0,
    )
    shares = destination_shares(
        fit,
        {"pull": trips.pull},
        state.distance_km,
        trips.group,
        coefficients=fit.coefficients,
        dtype=np.float32,
    )
    share = np.full(len(trips.group), 0.3)
    return lake_trips(trips.arriving / 0.3, share, shares, trips.group)


def _build_rows(state):
    state.trips.stored()  # loads the compiled code
    slow, expected = _seconds(lambda: by_numpy(state, state.trips))
    quick, found = _seconds(state.trips.stored)
    known = expected.by_origin > 0
    gap = np.abs(found.by_origin[known] / expected.by_origin[known] - 1)
    whole = replace(state.inputs, trips=expected)
    weighted = (whole.establish * whole.arriving * whole.weights[:, None]).T
    left = expected.leaving_mean(whole.leaving.T).T
    plain, rates = _seconds(lambda: lake_rates(whole))
    fast, between = _seconds(
        lambda: rates_between(expected.by_origin, left, weighted, state.trips.group)
    )
    apart = np.abs(between - rates.between).max() / rates.between.max()
    return [
        _row("trips, 3,500 landings: NumPy over compiled, time", slow / quick, BUILD,
             "times, at least", slow / quick >= BUILD),
        _row("trips, 3,500 landings, compiled", quick, np.inf, "s, no bar", True),
        _row("trips: median gap between the two", np.median(gap), 2e-6, "share, at most",
             np.median(gap) <= 2e-6),
        _row("rates between lakes: NumPy over compiled, time", plain / fast, BETWEEN,
             "times, at least", plain / fast >= BETWEEN),
        _row("rates between lakes: gap over the largest", apart, 1e-6, "share, at most",
             apart <= 1e-6),
    ]  # fmt: skip


def _futures_rows(state):
    whole = replace(state.inputs, trips=state.trips.stored())
    rates = lake_rates(whole)

    def run(switch):
        return futures_of(whole, rates, state, switch=switch)

    dense, by_matrix = _seconds(lambda: dense_futures(whole, rates, state), 1)
    slow, expected = _seconds(lambda: run("0"), 2)
    quick, found = _seconds(lambda: run("1"), 2)
    new = ((expected > 0) & (expected < NEVER)).sum(axis=1).mean()
    first_year = (expected == 1).sum(axis=1).mean()
    different = (expected != found).sum()
    per_thousand = 1000 * quick / len(state.limits)
    return [
        _row("made state: new infestations in the first season", first_year, np.inf,
             "lakes, no bar", True),
        _row("made state: new infestations in ten seasons", new, np.inf, "lakes, no bar", True),
        _row("1,000 futures: a dense matrix a season over NumPy, time", dense / slow, DENSE_PLAIN,
             "times, at least", dense / slow >= DENSE_PLAIN),
        _row("1,000 futures: a dense matrix a season over compiled, time", dense / quick, DENSE,
             "times, at least", dense / quick >= DENSE),
        _row("futures: lakes whose season differs from the dense ones",
             (by_matrix != expected).mean(), DIFFERENT, "share, at most",
             (by_matrix != expected).mean() <= DIFFERENT),
        _row("1,000 futures, same numbers: NumPy over compiled, time", slow / quick, FUTURES,
             "times, at least", slow / quick >= FUTURES),
        _row("1,000 futures, same numbers, compiled", per_thousand, np.inf, "s, no bar", True),
        _row("futures: lakes whose season differs", different, 0, "lakes, at most",
             different == 0),
    ]  # fmt: skip


def futures_of(inputs, rates, state, *, switch):
    """Seasons of infestation without compiled code ("0") or with it ("1"), same thresholds."""
    always = inputs.initial == 1
    place = np.full(len(always), -1)
    place[rates.lakes] = np.arange(len(rates.lakes))
    before = os.environ.get(SWITCH)
    os.environ[SWITCH] = switch
    try:
        spread = simulation._way(inputs, rates, at_risk(inputs, place))
    finally:
        os.environ.pop(SWITCH)
        if before is not None:
            os.environ[SWITCH] = before
    first = np.full(state.limits.shape, NEVER, np.uint8)
    first[state.infested | always] = 0
    infested = state.infested & ~always
    spread(first, infested=infested, limits=state.limits, seasons=SEASONS)
    return first


def dense_futures(inputs, rates, state):
    """The plain way: every season all futures times the whole matrix."""
    infested = state.infested.copy()
    first = np.where(infested, 0, NEVER).astype(np.uint8)
    summed = np.zeros(infested.shape)
    for season in range(1, SEASONS + 1):
        brought = rates.outside + infested[:, rates.lakes].astype(rates.between.dtype) @ (
            rates.between
        )
        summed[:, rates.lakes] += inputs.habitat[rates.lakes] * brought
        new = (summed >= state.limits) & ~infested
        first[new] = season
        infested |= new
    return first


def looped(inputs, graph, limits, infested):
    """One future by a loop over the roads of a graph."""
    season_of = dict.fromkeys(np.flatnonzero(infested).tolist(), 0)
    summed = dict.fromkeys(graph, 0.0)
    for season in range(1, SEASONS + 1):
        came = []
        for lake in graph:
            if lake in season_of:
                continue
            brought = graph.nodes[lake]["outside"]
            for origin, _, trips in graph.in_edges(lake, data="brought"):
                if origin in season_of:
                    brought += trips
            summed[lake] += inputs.habitat[lake] * brought
            if summed[lake] >= limits[lake]:
                came.append(lake)
        season_of.update(dict.fromkeys(came, season))
    return season_of


def _loop_rows():
    """A county: 90 landings."""
    state = made_state(90 / N_LANDINGS, with_distances=False, n_limits=1000)
    inputs = replace(state.inputs, trips=state.trips.stored(), establish=40 * ESTABLISH)
    rates = lake_rates(inputs)
    graph = nx.DiGraph()
    for place, lake in enumerate(rates.lakes.tolist()):
        graph.add_node(lake, outside=rates.outside[place])
    for origin, destination in np.argwhere(rates.between > 0).tolist():
        lakes = int(rates.lakes[origin]), int(rates.lakes[destination])
        graph.add_edge(*lakes, brought=float(rates.between[origin, destination]))
    few = 5

    def run(switch):
        return futures_of(inputs, rates, state, switch=switch)

    def loops():
        return [looped(inputs, graph, state.limits[i], state.infested[i]) for i in range(few)]

    slow, found = _seconds(loops, 1)
    slow *= len(state.limits) / few
    quick, expected = _seconds(lambda: run("1"))
    plain, _ = _seconds(lambda: run("0"))
    apart = sum(
        expected[i, lake] != found[i].get(lake, NEVER) for i in range(few) for lake in graph
    )
    return [
        _row("1,000 futures of a county: loop over networkx over NumPy, time", slow / plain, LOOP,
             "times, at least", slow / plain >= LOOP),
        _row("1,000 futures of a county: loop over networkx over compiled", slow / quick, LOOP,
             "times, at least", slow / quick >= LOOP),
        _row("futures of a county: lakes whose season differs", apart, 0, "lakes, at most",
             apart == 0),
    ]  # fmt: skip
