"""Expected spread and its adjoint by way of the rates between lakes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread.expected import Coverage, Gradient, Path, covered
from spreadnet.model.trips.dense import Trips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.spread.between_lakes import FlowRates, LakeRates
    from spreadnet.model.spread.expected import SpreadInputs

    Array = NDArray[np.floating]

ROWS = 32  # landings a block


def path_by_lake(inputs: SpreadInputs, rates: LakeRates | FlowRates, *, seasons: int) -> Path:
    """
    Expected course, as `expected_spread` gives it.

    Where the rates between lakes are known already, a season is one product with them.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    rates : LakeRates
        `lake_rates(inputs, coverage, establish=1.0)`; nobody is covered when it is left out.
    seasons : int
        Seasons to look ahead, 1 or more.

    Returns
    -------
    path : Path
        To the last bits that of `expected_spread`, without `carried`.

    Raises
    ------
    ValueError
        If `seasons` is below 1.
    """
    if seasons < 1:
        message = f"Invalid seasons '{seasons}'. It must be 1 or more."
        raise ValueError(message)
    at = rates.lakes
    hazards = np.zeros((seasons + 1, len(inputs.initial)))
    infested = np.empty_like(hazards)
    introductions = np.zeros((seasons, len(inputs.initial)))
    downstream = inputs.streams.T.tocsr()
    infested[0] = inputs.initial
    for season in range(seasons):
        sent = rates.sent(infested[[season]][:, at])[0]
        introductions[season, at] = inputs.establish * (rates.outside + sent)
        hazard = inputs.habitat * (
            introductions[season] ** inputs.allee_exponent + downstream @ infested[season]
        )
        hazards[season + 1] = hazards[season] + hazard
        infested[season + 1] = inputs.initial - (1 - inputs.initial) * np.expm1(
            -hazards[season + 1]
        )
    return Path(hazards, infested, introductions, carried=None)


def gradient_by_lake(
    inputs: SpreadInputs,
    path: Path,
    rates: LakeRates | FlowRates,
    *,
    coverage: Coverage | None = None,
) -> Gradient:
    """
    What further coverage at each landing avoids, as `gradient` gives it.

    Parameters
    ----------
    inputs : SpreadInputs
        The inputs that made the path.
    path : Path
        Result of `path_by_lake` or `expected_spread`.
    rates : LakeRates
        As for `path_by_lake`.
    coverage : Coverage, optional
        That of path and rates; nobody when left out.

    Returns
    -------
    gradient : Gradient
        To the last bits that of `gradient`.
    """
    lakes, seasons = rates.lakes, path.seasons
    free, exponent = 1 - inputs.initial, inputs.allee_exponent
    by_hazard = inputs.worth * free * np.exp(-path.cumulative_hazard[-1])
    initial = inputs.worth * np.expm1(-path.cumulative_hazard[-1])
    lake_value = np.empty_like(path.introductions)
    for season in reversed(range(seasons)):
        by_habitat = by_hazard * inputs.habitat
        slope = exponent * path.introductions[season] ** (exponent - 1) if exponent != 1 else 1.0
        lake_value[season] = by_habitat * slope
        by_state = inputs.streams @ by_habitat
        by_state[lakes] += rates.back(inputs.establish * lake_value[season, lakes])
        still_free = np.exp(-path.cumulative_hazard[season])
        initial = initial + by_state * still_free
        by_hazard = by_hazard + by_state * free * still_free
    at = inputs
    if coverage is not None:
        leaving, arriving = covered(inputs, coverage)
        at = replace(inputs, leaving=leaving, arriving=arriving)
    by_leaving, by_arriving = _by_route(at, path, lake_value)
    effect = inputs.education_effect[:, None]
    return Gradient(
        leaving_routes=effect * inputs.leaving * by_leaving,
        arriving_routes=effect * inputs.arriving * by_arriving,
        initial=initial,
        lake_value=lake_value,
    )


def _by_route(inputs: SpreadInputs, path: Path, lake_value: Array) -> tuple[Array, Array]:
    """
    What rates on leaving and arriving weigh, route by route, (R, K) each.

    Seasons are summed first, pair by pair, and routes after: two thin products in place of one of
    seasons times routes. A block of pairs stays in the cache.
    """
    trips = inputs.trips
    if not isinstance(trips, Trips):
        return _by_route_flowing(inputs, path, lake_value)
    dtype = trips.by_origin.dtype
    used = np.flatnonzero(inputs.weights > 0)
    by_leaving, by_arriving = np.zeros_like(inputs.leaving), np.zeros_like(inputs.arriving)
    value = (inputs.establish * lake_value[:, inputs.landing_lake]).T
    valued, infested = value.astype(dtype), path.infested[:-1, _lake_of_group(inputs, trips)]
    infested = np.ascontiguousarray(infested, dtype)
    left = np.ascontiguousarray(trips.leaving_mean(inputs.leaving[used].T), dtype)
    into = (inputs.weights[used, None] * inputs.arriving[used]).astype(dtype)
    arrived = np.empty((len(value), len(used)), dtype)
    by_group = np.zeros((len(used), len(left)))
    for start in range(0, len(value), ROWS):
        rows = slice(start, start + ROWS)
        pairs = valued[rows] @ infested
        pairs *= trips.by_origin[rows]
        arrived[rows] = pairs @ left
        by_group += into[:, rows] @ pairs
    outside = value.sum(axis=1) * inputs.outside_boats
    from_outside = outside[:, None] * inputs.outside_leaving[used]
    by_arriving[used] = (arrived + from_outside).T * inputs.weights[used, None]
    by_leaving[used] = by_group[:, trips.group] * trips.split
    return by_leaving, by_arriving


def _by_route_flowing(inputs: SpreadInputs, path: Path, lake_value: Array) -> tuple[Array, Array]:
    """The same where trips are not held as a matrix: season by season."""
    used = np.flatnonzero(inputs.weights > 0)
    by_leaving, by_arriving = np.zeros_like(inputs.leaving), np.zeros_like(inputs.arriving)
    left, into = inputs.leaving[used], inputs.arriving[used] * inputs.weights[used, None]
    outside = np.outer(inputs.outside_leaving[used], inputs.outside_boats)
    for season in range(path.seasons):
        value = inputs.establish * lake_value[season][inputs.landing_lake]
        infested = path.infested[season][inputs.landing_lake]
        arrived = inputs.trips.into((left * infested).T).T + outside
        by_arriving[used] += value * arrived * inputs.weights[used, None]
        by_leaving[used] += inputs.trips.out_of((into * value).T).T * infested
    return by_leaving, by_arriving


def _lake_of_group(inputs: SpreadInputs, trips: Trips) -> NDArray[np.integer]:
    """Position of the lake that each group of origins belongs to."""
    of_group = np.empty(trips.by_origin.shape[1], np.intp)
    of_group[trips.group] = inputs.landing_lake
    return of_group
