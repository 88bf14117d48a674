"""The expected spread: its adjoint exact and cheap, its order that of simulated futures."""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import scipy.sparse as sp
from scipy.stats import spearmanr

import spreadnet
from spreadnet.decisions.draws.parallel import one_thread
from spreadnet.decisions.draws.run import run_model
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.model.spread.expected import expected_spread, gradient, total
from spreadnet.model.spread.futures import simulate
from spreadnet.model.spread.one_landing import avoided_at_one
from spreadnet.model.spread.types import Coverage, SpreadInputs
from spreadnet.model.trips.dense import Trips

DEMO = Path(__file__).parents[2] / "demo_region"
LANDINGS, LAKES, WITH_LANDING, SEASONS = 3_500, 12_000, 2_741, 10
REACHED = 0.85  # of the boats, when a landing is fully covered
FUTURES = 15_000
STEP = 1e-30


@one_thread
def rows():
    region = spreadnet.read_region(DEMO)
    evidence = spreadnet.gather_evidence(region)
    movement = spreadnet.build_model(region, evidence)
    place = place_of(region, evidence, movement)
    run = run_model(best_estimates(evidence, movement), movement, place=place, seasons=SEASONS)
    apart = max(complex_step(run, name) for name in run.inputs)
    yield row("gradient against complex step, demo, every landing", apart, 1e-10, "relative")
    yield from adjoint_rows()
    yield from order_rows(run)


def row(name, figure, bar, unit, *, least=False):
    ok = figure >= bar if least else figure <= bar
    return {"name": name, "figure": figure, "bar": bar, "unit": unit, "ok": bool(ok)}


def complex_step(run, name):
    """Largest relative difference of the run's slope to derivatives by a complex step."""
    inputs, slope = run.inputs[name], run.slopes[name]
    n = len(inputs.landing_lake)
    worst = 0.0
    for side, known in (("leaving", slope.leaving), ("arriving", slope.arriving)):
        exact = np.empty(n)
        for k in range(n):
            shares = {"leaving": np.zeros(n, complex), "arriving": np.zeros(n, complex)}
            shares[side][k] = STEP * 1j
            path = expected_spread(inputs, Coverage(**shares), seasons=run.seasons)
            exact[k] = -total(inputs, path).imag / STEP
        worst = max(worst, float(np.max(np.abs(known - exact)) / np.max(np.abs(exact))))
        big = np.abs(exact) > 1e-6 * np.abs(exact).max()
        worst = max(worst, float(np.max(np.abs(known - exact)[big] / np.abs(exact)[big])))
    return worst


def state(rng):
    """Random trips at the size of a state, in single precision."""
    group = np.concatenate(
        [np.arange(WITH_LANDING), rng.integers(0, WITH_LANDING, LANDINGS - WITH_LANDING)]
    )
    lakes = np.sort(rng.choice(LAKES, WITH_LANDING, replace=False))
    by_origin = rng.gamma(0.2, 0.3, (LANDINGS, WITH_LANDING)).astype(np.float32)
    by_origin[np.arange(LANDINGS), group] = 0
    weight = rng.gamma(2, 1, LANDINGS)
    initial = np.zeros(LAKES)
    initial[rng.choice(lakes, 164, replace=False)] = 1
    return SpreadInputs(
        trips=Trips(by_origin, group, weight / np.bincount(group, weight)[group]),
        landing_lake=lakes[group],
        leaving=rng.beta(2, 10, (6, LANDINGS)),
        arriving=rng.gamma(2, 0.5, (6, LANDINGS)),
        weights=np.full(6, 0.02),
        outside_boats=rng.gamma(1, 1, LANDINGS),
        outside_leaving=np.full(6, 0.1),
        education_effect=np.full(6, 0.5),
        establish=1.0,
        allee_exponent=1.0,
        habitat=rng.random(LAKES),
        streams=sp.csr_array((LAKES, LAKES)),
        initial=initial,
        worth=np.ones(LAKES),
    )


def calibrated(inputs, share):
    """Inputs with which so many of the free lakes with a landing fall in the first season."""
    nobody = Coverage.none(len(inputs.landing_lake))
    lakes = np.unique(inputs.landing_lake)
    free = lakes[inputs.initial[lakes] == 0]
    low, high = 1e-8, 10.0
    for _ in range(60):
        middle = (low * high) ** 0.5
        given = replace(inputs, establish=middle)
        found = expected_spread(given, nobody, seasons=1).infested[1][free].mean()
        low, high = (middle, high) if found < share else (low, middle)
    return replace(inputs, establish=low)


def fastest(function, repeats=5):
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        result = function()
        times.append(time.perf_counter() - began)
    return min(times), result


def adjoint_rows():
    inputs = calibrated(state(np.random.default_rng(1)), 0.025)
    nobody = Coverage.none(LANDINGS)
    forward, path = fastest(lambda: expected_spread(inputs, nobody, seasons=SEASONS))
    back, _ = fastest(lambda: gradient(inputs, nobody, path))
    both = forward + back
    yield row("forward + adjoint over forward, 3,500 landings", both / forward, 3, "times")
    yield row(
        "landing by landing over forward + adjoint, 3,500 landings",
        (LANDINGS + 1) * forward / both,
        800,
        "times",
        least=True,
    )


def order_rows(run):
    """Effects of covering one landing fully: exact differences against simulated ones."""
    for name, inputs in run.inputs.items():
        n = len(inputs.landing_lake)
        share = np.full(n, REACHED)
        exact = avoided_at_one(inputs, np.arange(n), share, share, seasons=SEASONS)
        futures = {"seasons": SEASONS, "seed": 1, "species": name, "futures": range(FUTURES)}
        without = simulate(inputs, **futures).new(inputs.worth)
        effects = np.empty((2, n))
        for k in range(n):
            covered = Coverage.none(n)
            covered.leaving[k] = covered.arriving[k] = REACHED
            avoided = without - simulate(inputs, coverage=covered, **futures).new(inputs.worth)
            effects[:, k] = avoided[::2].mean(), avoided[1::2].mean()
        mean = effects.mean(axis=0)
        halves = spearmanr(*effects).statistic
        first = {*np.argsort(-mean)[:20]} & {*np.argsort(-exact)[:20]}
        label = name.split("_")[-1]
        yield row(
            f"order by exact differences against simulated, {label}",
            spearmanr(exact, mean).statistic,
            min(0.98, halves),  # the simulated order can't be told better than its halves agree
            f"rho (halves {halves:.3f})",
            least=True,
        )
        yield row(f"the same, of the first 20, {label}", len(first), 18, "landings", least=True)
