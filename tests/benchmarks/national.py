"""A nation of 30,000 landings and 100,000 lakes: far lakes lumped beside the whole matrix."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import scipy.sparse as sp

from spreadnet.assumptions import DEFAULT
from spreadnet.model.distance import lake_points, planar_km
from spreadnet.model.fast.bridge import fast_available
from spreadnet.model.movement.fit import AREA, assumed_gravity
from spreadnet.model.movement.shares import destination_shares, within_lake_split
from spreadnet.model.spread.expected import expected_spread, gradient, total
from spreadnet.model.spread.types import Coverage, SpreadInputs
from spreadnet.model.trips.by_law import LawTrips
from spreadnet.model.trips.dense import Trips
from spreadnet.model.trips.lumped import lumped_trips

N_LAKES, N_LANDINGS = 100_000, 30_000
WIDE_KM, HIGH_KM = 4500.0, 2600.0
SEASONS = 10
ROUTES = 6
YEARLY = 0.005  # hazard of a lake in the first season, on average
SHARE_OTHER = 0.3
ROWS = 1024
FIRST = 100
GAP, FEWEST_SAME, TIME, MEMORY_GB = 0.01, FIRST, 0.25, 6.0


def rows() -> list[dict[str, object]]:
    """Figures with their bars, measured in a process of their own so that memory can be told."""
    # -P: files beside this one have names that libraries look for, such as `coverage`.
    command = [sys.executable, "-P", str(Path(__file__).resolve())]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    found = json.loads(done.stdout)
    same, ratio = found["same"], found["lumped_s"] / found["whole_s"]
    given = [
        ("gap to whole matrix, norm", found["gap"], GAP, "share, at most"),
        (f"first {FIRST}: the same as by whole matrix", same, FEWEST_SAME, "landings, at least"),
        (f"first {FIRST}: most that one not of them scores less", found["lost"], np.inf, "share"),
        ("total new infestations, gap", found["total_gap"], GAP, "share, at most"),
        ("build and gradient over whole matrix, 6 routes", ratio, TIME, "of the time, at most"),
        (
            "gradient alone over whole matrix, 6 routes",
            found["alone"],
            TIME,
            "of the time, at most",
        ),
        ("gradient alone over whole matrix, 1 route", found["one"], np.inf, "of the time, no bar"),
        ("build, lumped", found["build_s"], np.inf, "s, no bar"),
        ("gradient, lumped", found["lumped_s"] - found["build_s"], np.inf, "s, no bar"),
        ("peak memory, lumped", found["lumped_gb"], MEMORY_GB, "GB, at most"),
        ("peak memory, whole matrix", found["whole_gb"], MEMORY_GB, "GB, at most"),
    ]
    if "compiled" in found:
        name = "build and gradient over compiled whole matrix"
        given.insert(5, (name, found["compiled"], TIME, "of the time, at most"))
    return [
        {
            "name": f"national, {name}",
            "figure": float(figure),
            "bar": bar,
            "unit": unit,
            "ok": bool(figure >= bar if "least" in unit else figure <= bar),
        }
        for name, figure, bar, unit in given
    ]


def nation(seed: int = 0) -> tuple[LawTrips, SpreadInputs]:
    """Lakes in clumps of all sizes, landings on the larger ones, infested in some corners."""
    rng = np.random.default_rng(seed)
    box = np.array([WIDE_KM, HIGH_KM])
    middles = rng.uniform(0, 1, (N_LAKES // 250, 2)) * box
    size = rng.pareto(1.5, len(middles)) + 0.2
    clump = rng.choice(len(middles), N_LAKES, p=size / size.sum())
    at = middles[clump] + rng.normal(0, 60, (N_LAKES, 2))
    scattered = rng.random(N_LAKES) < 0.3
    at[scattered] = rng.uniform(0, 1, (int(scattered.sum()), 2)) * box
    log_area = rng.normal(3.5, 1.6, N_LAKES)
    n_access = int(0.9 * N_LANDINGS)
    access = np.argsort(-(rng.gumbel(size=N_LAKES) + 0.6 * log_area))[:n_access]
    size = np.exp(0.7 * log_area[access])
    more = rng.choice(access, N_LANDINGS - n_access, p=size / size.sum())
    lake = rng.permutation(np.concatenate([access, more]))
    shore_km = 0.05 * np.exp(0.5 * log_area[lake])
    landings = at[lake] + rng.normal(0, 1, (N_LANDINGS, 2)) * shore_km[:, None]
    launches = rng.gamma(2, 30, N_LANDINGS) * np.exp(0.4 * log_area[lake])
    lakes, group = np.unique(lake, return_inverse=True)
    fit = assumed_gravity(DEFAULT)
    trips = LawTrips(
        landing_km=landings,
        lake_km=lake_points(landings, group, np.zeros((len(lakes), 2))),
        group=group,
        split=within_lake_split(launches, group),
        arriving=launches * SHARE_OTHER,
        pull=fit.coefficients[0] * log_area[lakes],
        law=fit.law,
        coefficients=fit.coefficients[1:],
    )
    corners = middles[rng.choice(len(middles), 6, replace=False)]
    away = np.sqrt(((at[:, None] - corners) ** 2).sum(axis=2)).min(axis=1)
    infested = rng.random(N_LAKES) < 0.15 * (np.exp(-away / 200) + 0.002)
    infested &= np.isin(np.arange(N_LAKES), lakes)
    return trips, _species(rng, lake, infested.astype(float))


def _species(rng, lake, initial) -> SpreadInputs:
    return SpreadInputs(
        trips=None,
        landing_lake=lake,
        leaving=rng.beta(1.5, 10, (ROUTES, N_LANDINGS)),
        arriving=rng.gamma(4, 0.25, (ROUTES, N_LANDINGS)),
        weights=0.03 * rng.random(ROUTES),
        outside_boats=np.zeros(N_LANDINGS),
        outside_leaving=np.full(ROUTES, 0.1),
        education_effect=np.full(ROUTES, 0.5),
        establish=1.0,
        allee_exponent=1.0,
        habitat=rng.beta(4, 2, N_LAKES),
        streams=sp.csr_array((N_LAKES, N_LAKES)),
        initial=initial,
        worth=np.ones(N_LAKES),
    )


def whole_trips(given: LawTrips) -> Trips:
    """The whole matrix with NumPy, some landings at a time so that it is held once."""
    log_area = given.pull / assumed_gravity(DEFAULT).coefficients[0]
    by_origin = np.empty((len(given.group), len(given.pull)), np.float32)
    for first in range(0, len(by_origin), ROWS):
        some = slice(first, first + ROWS)
        by_origin[some] = destination_shares(
            assumed_gravity(DEFAULT),
            {AREA: log_area},
            planar_km(given.landing_km[some] * 1000, given.lake_km * 1000, dtype=np.float32),
            given.group[some],
            candidates=np.ones(len(log_area), bool),
            dtype=np.float32,
        )
        by_origin[some] *= given.arriving[some, None].astype(np.float32)
    return Trips(by_origin, given.group, given.split)


def _calibrated(inputs: SpreadInputs) -> SpreadInputs:
    """Establishment chance at which lakes start with the yearly hazard."""
    path = expected_spread(inputs, Coverage.none(N_LANDINGS), seasons=1)
    risk = (path.introductions[0] * inputs.habitat)[np.unique(inputs.landing_lake)]
    return replace(inputs, establish=YEARLY / risk.mean())


def _one_route(inputs: SpreadInputs) -> SpreadInputs:
    return replace(
        inputs,
        leaving=inputs.leaving[:1],
        arriving=inputs.arriving[:1],
        weights=inputs.weights[:1],
        outside_leaving=inputs.outside_leaving[:1],
        education_effect=inputs.education_effect[:1],
    )


def _gradient(inputs: SpreadInputs) -> tuple[float, np.ndarray]:
    nobody = Coverage.none(N_LANDINGS)
    path = expected_spread(inputs, nobody, seasons=SEASONS)
    slope = gradient(inputs, nobody, path)
    return total(inputs, path), slope.leaving + slope.arriving


def _timed(function, *given):
    """Time on the processor, one thread: other work on the machine is left out."""
    start = time.process_time()
    result = function(*given)
    return time.process_time() - start, result


def _peak_gb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6  # Linux counts in kB


def measure() -> dict[str, float]:
    """Both ways, the lumped one first: what it takes can't be told once the matrix was there."""
    given, bare = nation()
    build_s, trips = _timed(lumped_trips, given)
    inputs = _calibrated(replace(bare, trips=trips))
    lumped_s, (lumped_total, lumped) = _timed(_gradient, inputs)
    one_s, _ = _timed(_gradient, _one_route(inputs))
    lumped_gb = _peak_gb()
    whole_build_s, trips = _timed(whole_trips, given)
    inputs = replace(inputs, trips=trips)
    whole_s, (whole_total, whole) = _timed(_gradient, inputs)
    whole_one_s, _ = _timed(_gradient, _one_route(inputs))
    whole_gb = _peak_gb()
    first, chosen = (np.argsort(-slope, kind="stable")[:FIRST] for slope in (whole, lumped))
    found = {
        "gap": np.linalg.norm(lumped - whole) / np.linalg.norm(whole),
        "same": len(set(first) & set(chosen)),
        "lost": 1 - whole[chosen].min() / whole[first[-1]],
        "total_gap": abs(lumped_total / whole_total - 1),
        "build_s": build_s,
        "lumped_s": build_s + lumped_s,
        "whole_s": whole_build_s + whole_s,
        "alone": lumped_s / whole_s,
        "one": one_s / whole_one_s,
        "lumped_gb": lumped_gb,
        "whole_gb": whole_gb,
    }
    del trips, inputs
    if fast_available():
        compiled_s, _ = _timed(given.stored)
        found["compiled"] = (build_s + lumped_s) / (compiled_s + whole_s)
    return {name: float(value) for name, value in found.items()}


if __name__ == "__main__":
    print(json.dumps(measure()))
