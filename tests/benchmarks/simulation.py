"""
Simulated futures beside a dense matrix and a loop over a graph; the expected total beside them.

Times are those of the processor, since both sides of every ratio use one thread.
"""

from __future__ import annotations

import os
import random
import time
from dataclasses import replace
from typing import NamedTuple
from unittest import mock

import networkx as nx
import numpy as np
import scipy.sparse as sp
from scipy.optimize import brentq

from spreadnet.assumptions import DEFAULT
from spreadnet.model.fast.bridge import SWITCH, fast_available
from spreadnet.model.laws import POWER
from spreadnet.model.spread.between_lakes import LakeRates, lake_rates
from spreadnet.model.spread.expected import expected_spread, total
from spreadnet.model.spread.futures import NEVER, simulate, thresholds
from spreadnet.model.spread.types import Coverage, SpreadInputs
from spreadnet.model.trips.dense import Trips

FUTURES, SEASONS, SEED = 1_000, 10, 1
SUITABLE = 0.62  # of lakes
FIRST_YEAR = 0.025  # of suitable lakes that are free and have a landing
BATCH = 250  # futures that the dense version multiplies together; more were no faster
FEW = 10  # futures of the loop, from which a thousand are reckoned
DENSE, LOOP = 3, 100  # times faster, at least
DIFFERENT = 1e-4  # share of lakes whose season may differ, where the seventh digit decides
ABOVE, BELOW = 0.02, -3  # expected total: share above, standard errors below
ASSUMED = DEFAULT.entries["distance_exponent"].value  # where no interview tells
FLATTER = 1.5  # lakes have more neighbours, each of less weight
REPEATS = 3


class Made(NamedTuple):
    """A made region and its rates."""

    inputs: SpreadInputs
    rates: LakeRates


def rows():
    """Figures with their bars, for the table of all benchmarks."""
    state = made(12_000, 3_500, 2_741, infested=164, exponent=ASSUMED)
    ways = {"NumPy": "0", **({"compiled": "1"} if fast_available() else {})}
    yield from dense_rows(state, ways)
    yield from loop_rows(made(300, 90, 70, infested=5, exponent=ASSUMED, dtype=np.float64))
    for exponent, above in ((FLATTER, ABOVE), (ASSUMED, np.inf)):
        state = made(12_000, 3_500, 2_741, infested=164, exponent=exponent)
        yield from total_rows(state, exponent, above)


def row(name, figure, bar, unit, *, least=False):
    ok = figure >= bar if least else figure <= bar
    return {"name": name, "figure": float(figure), "bar": bar, "unit": unit, "ok": bool(ok)}


def fastest(function, repeats=REPEATS):
    """Shortest time of a few runs, and the result."""
    times = []
    for _ in range(repeats):
        began = time.process_time()
        result = function()
        times.append(time.process_time() - began)
    return min(times), result


def made(n_lakes, n_landings, with_landing, *, infested, exponent, dtype=np.float32):
    """Lakes at random in a square; boats by area over a power of the distance, as assumed."""
    rng = np.random.default_rng(1)
    group = np.concatenate(
        [np.arange(with_landing), rng.integers(0, with_landing, n_landings - with_landing)]
    )
    lakes = np.sort(rng.choice(n_lakes, with_landing, replace=False))
    at_km = rng.uniform(0, 500 * (n_lakes / 12_000) ** 0.5, (with_landing, 2))
    away = np.hypot(*(at_km[group][:, None] - at_km).transpose(2, 0, 1))
    pull = np.exp(0.5 * rng.normal(5, 1.2, with_landing)) / (away + POWER.softening_km) ** exponent
    pull[np.arange(n_landings), group] = 0
    launches = rng.gamma(2, 300, n_landings)
    pull *= (0.3 * launches / pull.sum(axis=1))[:, None]
    initial = np.zeros(n_lakes)
    initial[rng.choice(lakes, infested, replace=False)] = 1
    inputs = SpreadInputs(
        trips=Trips(pull.astype(dtype), group, launches / np.bincount(group, launches)[group]),
        landing_lake=lakes[group],
        leaving=rng.beta(2, 20, (6, n_landings)),
        arriving=rng.gamma(2, 0.5, (6, n_landings)),
        weights=np.array([0.02, 0.05, 0.0, 0.01, 0.0, 0.03]),
        outside_boats=rng.gamma(1, 0.5, n_landings),
        outside_leaving=np.full(6, 0.1),
        education_effect=np.full(6, 0.5),
        establish=1.0,
        allee_exponent=1.0,
        habitat=np.where(rng.random(n_lakes) < SUITABLE, rng.uniform(0.3, 1, n_lakes), 0.0),
        streams=sp.csr_array((n_lakes, n_lakes)),
        initial=initial,
        worth=np.ones(n_lakes),
    )
    return calibrated(inputs)


def calibrated(inputs):
    """With the establishment chance that gives the first year's share of new infestations."""
    rates = lake_rates(inputs)
    hazard = inputs.habitat[rates.lakes] * (
        rates.outside + (inputs.initial[rates.lakes] == 1) @ rates.between.astype(float)
    )
    hazard = hazard[(inputs.initial[rates.lakes] == 0) & (inputs.habitat[rates.lakes] > 0)]

    def above(log_chance):
        return -np.expm1(-np.exp(log_chance) * hazard).mean() - FIRST_YEAR

    inputs = replace(inputs, establish=float(np.exp(brentq(above, -30, 30))))
    return Made(inputs, lake_rates(inputs))


def simulated(region, way, n_futures=FUTURES):
    """Futures by the NumPy way ('0') or the compiled one ('1')."""
    with mock.patch.dict(os.environ, {SWITCH: way}):
        return simulate(
            region.inputs,
            seasons=SEASONS,
            seed=SEED,
            species="made",
            futures=range(n_futures),
            rates=region.rates,
        )


def dense(region):
    """The plain way: every season all futures times the whole matrix, with the same luck."""
    inputs, rates = region
    n_lakes, parts = len(inputs.initial), []
    for start in range(0, FUTURES, BATCH):
        limits = thresholds(SEED, "made", range(start, start + BATCH), n_lakes=n_lakes)
        infested = np.tile(inputs.initial == 1, (BATCH, 1))
        first = np.where(infested, 0, NEVER).astype(np.uint8)
        summed = np.zeros(limits.shape)
        for season in range(1, SEASONS + 1):
            at_origin = infested[:, rates.lakes].astype(rates.between.dtype)
            brought = rates.outside + at_origin @ rates.between
            summed[:, rates.lakes] += inputs.habitat[rates.lakes] * brought
            new = (summed >= limits) & ~infested
            first[new] = season
            infested |= new
        parts.append(first)
    return np.concatenate(parts)


def dense_rows(state, ways):
    size = "1,000 futures x 10 seasons, 12,000 lakes"
    slow, expected = fastest(lambda: dense(state), 2)
    new = ((expected > 0) & (expected != NEVER)).sum(axis=1).mean()
    yield row("made state: new infestations in ten seasons", new, np.inf, "lakes, no bar")
    for name, way in ways.items():
        simulated(state, way, 2)  # loads compiled code
        quick, found = fastest(lambda way=way: simulated(state, way))
        different = (found.first_season != expected).mean()
        yield row(f"{size}: {name}", quick, np.inf, "s, no bar")
        bar = DENSE if name == list(ways)[-1] else -np.inf  # on the fastest way there is
        yield row(f"{size}: dense over {name}", slow / quick, bar, "times, at least", least=True)
        yield row(f"the same: season differs, {name}", different, DIFFERENT, "share, at most")


def graph_of(region):
    """Rates as edges between lakes."""
    inputs, rates = region
    graph = nx.DiGraph()
    for place, lake in enumerate(rates.lakes.tolist()):
        graph.add_node(lake, outside=float(rates.outside[place]), fit=float(inputs.habitat[lake]))
    for origin, destination in np.argwhere(rates.between > 0).tolist():
        lakes = int(rates.lakes[origin]), int(rates.lakes[destination])
        graph.add_edge(*lakes, rate=float(rates.between[origin, destination]))
    return graph


def looped(graph, at_start, rng):
    """One future by a loop over the graph's own dicts; new infestations."""
    infested = set(at_start)
    limits = {lake: rng.expovariate(1) for lake in graph}
    summed = dict.fromkeys(graph, 0.0)
    for _ in range(SEASONS):
        came = []
        for lake, known in graph.nodes.items():
            if lake in infested:
                continue
            brought = known["outside"]
            for origin, edge in graph.pred[lake].items():
                if origin in infested:
                    brought += edge["rate"]
            summed[lake] += known["fit"] * brought
            if summed[lake] >= limits[lake]:
                came.append(lake)
        infested.update(came)
    return len(infested) - len(at_start)


def loop_rows(county):
    """In double precision as a small region is, where the NumPy way is the only one."""
    graph, rng = graph_of(county), random.Random(1)
    at_start = np.flatnonzero(county.inputs.initial == 1).tolist()
    slow, _ = fastest(lambda: [looped(graph, at_start, rng) for _ in range(FEW)])
    slow *= FUTURES / FEW
    quick, found = fastest(lambda: simulated(county, "0"))
    name = f"1,000 futures of a county: loop over a graph ({FEW} timed) over NumPy"
    yield row(name, slow / quick, LOOP, "times, at least", least=True)
    plain = np.array([looped(graph, at_start, rng) for _ in range(200)])
    error = np.hypot(plain.std() / len(plain) ** 0.5, found.new().std() / FUTURES**0.5)
    apart = abs(plain.mean() - found.new().mean()) / error
    yield row("the same: gap between the mean totals", apart, 4, "standard errors")


def total_rows(state, exponent, most):
    """
    The nearer boats stay, the more of a lake's chance hangs on one neighbour.

    No bar for the steeper law: some pairs of these lakes, scattered at random, have a hazard above
    0.4 a year, where chances of neighbours can't be told from each other (a run says so).
    """
    inputs, futures = state.inputs, 4 * FUTURES
    path = expected_spread(inputs, Coverage.none(len(inputs.landing_lake)), seasons=SEASONS)
    new = simulated(state, "1", futures).new()
    above, error = total(inputs, path) - new.mean(), new.std(ddof=1) / futures**0.5
    name = f"expected over simulated, 2.5% a year, 164 seeds, distance^-{exponent:g}"
    yield row(name, above / new.mean(), most, "share above")
    yield row("the same", above / error, BELOW, "standard errors above", least=True)
