"""Gravity fit and trip matrix: speed beside a common alternative, and the same numbers."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import scipy.sparse as sp
import statsmodels.api as sm

from spreadnet.assumptions import DEFAULT
from spreadnet.model.laws import POWER
from spreadnet.model.movement.fit import AREA, assumed_gravity, fit_gravity
from spreadnet.model.movement.interviews import Interviews
from spreadnet.model.movement.shares import destination_shares, lake_trips

TIMES_FASTER = 20  # than a GLM with a dummy for every surveyed landing
AGREEMENT = 1e-5
REPEATS = 3


def rows() -> list[dict[str, object]]:
    """Figures with their bars, for the table of all benchmarks."""
    return [*_fit_rows(), *_trip_rows()]


def _row(name: str, figure: float, bar: float, unit: str, ok: bool) -> dict[str, object]:
    return {"name": name, "figure": float(figure), "bar": bar, "unit": unit, "ok": bool(ok)}


def _seconds(function):
    """Shortest time of a few runs, and the result."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        result = function()
        times.append(time.perf_counter() - start)
    return min(times), result


def _survey(n_landings=60, n_lakes=300, per_landing=60, seed=0):
    rng = np.random.default_rng(seed)
    lakes = rng.uniform(0, 200, (n_lakes, 2))
    own_lake = rng.choice(n_lakes, n_landings, replace=False)
    distance_km = np.hypot(*(lakes[own_lake][:, None] - lakes).transpose(2, 0, 1))
    attractions = {
        "log_area": rng.normal(5, 1.2, n_lakes),
        "log_traffic": rng.normal(5, 1, n_lakes),
    }
    weight = np.exp(0.6 * attractions["log_area"] + 0.4 * attractions["log_traffic"])
    weight = weight / (distance_km + 1) ** 1.8
    weight[np.arange(n_landings), own_lake] = 0
    counts = rng.multinomial(per_landing, weight / weight.sum(axis=1, keepdims=True))
    interviews = Interviews(
        counts=sp.csr_array(counts.astype(float)),
        landing=np.arange(n_landings),
        direction=np.zeros(n_landings, int),
        own_lake=own_lake,
        candidates=np.ones(n_lakes, bool),
        left_out={},
    )
    return interviews, attractions, distance_km


def _glm_table(interviews, attractions, distance_km):
    """The same data as one row a landing and lake, with a dummy for every landing."""
    counts = interviews.counts.toarray()
    landing, lake = np.nonzero(np.arange(counts.shape[1]) != interviews.own_lake[:, None])
    design = pd.get_dummies(pd.Series(landing), prefix="landing", dtype=float)
    for name, values in attractions.items():
        design[name] = values[lake]
    design["log_distance"] = np.log(distance_km[landing, lake] + POWER.softening_km)
    return counts[landing, lake], design


def _fit_rows() -> list[dict[str, object]]:
    survey = _survey()
    quick, fit = _seconds(lambda: fit_gravity(*survey, law=POWER, prior=None))
    counts, design = _glm_table(*survey)
    slow, glm = _seconds(
        lambda: sm.GLM(counts, design, family=sm.families.Poisson()).fit(tol=1e-10)
    )
    apart = np.abs(fit.coefficients - glm.params[list(fit.names)].to_numpy()).max()
    faster = slow / quick
    return [
        _row(
            "gravity fit: statsmodels GLM with 60 dummies over ours, time",
            faster,
            TIMES_FASTER,
            "times, at least",
            faster >= TIMES_FASTER,
        ),
        _row(
            "gravity fit: largest gap to that GLM's coefficients",
            apart,
            AGREEMENT,
            "no unit, at most",
            apart <= AGREEMENT,
        ),
    ]


def _trip_rows() -> list[dict[str, object]]:
    """State size: 3,500 landings on 2,700 lakes."""
    rng = np.random.default_rng(1)
    n_landings, n_lakes = 3_500, 2_700
    landing_lake = np.concatenate(
        [np.arange(n_lakes), rng.integers(0, n_lakes, n_landings - n_lakes)]
    )
    at = rng.uniform(0, 500, (n_lakes, 2)).astype(np.float32)
    distance_km = np.hypot(*(at[landing_lake][:, None] - at).transpose(2, 0, 1))
    attractions = {AREA: rng.normal(5, 1.2, n_lakes)}
    launches, share_other = rng.gamma(2, 300, n_landings), np.full(n_landings, 0.3)
    fit = assumed_gravity(DEFAULT)

    def build(dtype):
        shares = destination_shares(fit, attractions, distance_km, landing_lake, dtype=dtype)
        return lake_trips(launches, share_other, shares, landing_lake)

    single, trips = _seconds(lambda: build(np.float32))
    double, exact = _seconds(lambda: build(np.float64))
    gap = np.abs(trips - exact).max() / exact.max()
    kept = np.abs(exact.sum(axis=0) / (launches * share_other) - 1).max()
    return [
        _row("trips between 3,500 landings, float32", single, np.inf, "s, no bar", True),
        _row("trips between 3,500 landings, float64", double, np.inf, "s, no bar", True),
        _row(
            "float32 trips: gap to float64 over the largest",
            gap,
            1e-5,
            "share, at most",
            gap <= 1e-5,
        ),
        _row("trips lost or gained at any landing", kept, 1e-9, "share, at most", kept <= 1e-9),
    ]
