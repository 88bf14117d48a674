"""Expected spread over seasons, and its adjoint: what every boat reached would avoid."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from spreadnet.model.spread.between_lakes import lake_rates
from spreadnet.model.spread.types import Coverage, Gradient, Path, covered
from spreadnet.model.trips import Trips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.spread.between_lakes import Changes, Rates, Sending
    from spreadnet.model.spread.types import SpreadInputs

    Array = NDArray[np.floating]

ROWS = 32  # landings a block


def expected_spread(
    inputs: SpreadInputs,
    coverage: Coverage | None = None,
    *,
    seasons: int,
    rates: Sending | None = None,
    changes: Changes | None = None,
) -> Path:
    """
    Expected course of the species: the mean-field recursion on cumulative hazards.

    Each season's hazard is added to a running sum, so a chance can never leave 0 to 1 and tiny
    hazards are not lost. The result is slightly high where a few lakes decide what happens,
    because it spreads each lake's chance over all its neighbours at once.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    coverage : Coverage, optional
        Shares of boats reached, the same in every season, (K,) or (P, K); nobody when left out.
    seasons : int
        Seasons to look ahead, 1 or more.
    rates : Sending, optional
        `lake_rates(inputs, coverage, establish=1.0)` where that is there already.
    changes : Changes, optional
        Instead of coverage and rates: P small changes of another course. What is worked out is by
        how much each differs from it, as a difference from the start.

    Returns
    -------
    path : Path
        Chances and introductions by season, in the order of `inputs`'s lakes; with `changes` what
        comes on top of the hazards, chances and introductions of the course beside.

    Raises
    ------
    ValueError
        If `seasons` is below 1, or the shapes of the coverage disagree.

    Notes
    -----
    With x the chance of being infested, u and v the rates on leaving and arriving and w the
    weights: q = trips' (u x), z = establish * sum over the lake's landings and routes of
    w v (q + outside), hazard = habitat (z^c + streams' x), x = 1 - (1 - x0) exp(-sum of hazards).
    Trips summed over routes and landings are the rates between lakes, so a season is one product.
    """
    if seasons < 1:
        message = f"Invalid seasons '{seasons}'. It must be 1 or more."
        raise ValueError(message)
    if coverage is not None:
        _check_shapes(inputs, coverage)
    if changes is not None:
        rates = changes.rates
    elif rates is None:
        rates = lake_rates(inputs, coverage, establish=1.0)
    outside = rates.outside if changes is None else changes.outside
    beside = None if changes is None else changes.beside
    at, initial = rates.lakes, inputs.initial
    hazard: Array = np.zeros((*outside.shape[:-1], len(initial)))
    start = initial if beside is None else 0.0
    hazards, infested, introductions = [hazard], [hazard + start], []
    for season in range(seasons):
        state = infested[season]
        if changes is None:
            sent: Array = outside + rates.sent(state[..., at])
        else:
            sent = changes.sent(state[..., at], season)
        came, brought = np.zeros((2, *hazard.shape), sent.dtype)
        came[..., at] = inputs.establish * sent
        before = None if beside is None else beside.introductions[season, at]
        brought[..., at] = _power_change(before, came[..., at], inputs.allee_exponent)
        hazard = hazard + inputs.habitat * (brought + state @ inputs.streams)
        free = 1 - initial
        if beside is not None:
            free = free * np.exp(-beside.cumulative_hazard[season + 1])
        hazards.append(hazard)
        infested.append(start - free * np.expm1(-hazard))
        introductions.append(came)
    return Path(np.stack(hazards), np.stack(infested), np.stack(introductions))


def _power_change(before: Array | None, change: Array, exponent: float) -> Array:
    """What a change of introductions changes of their power."""
    if exponent == 1:
        return change
    if before is None:
        return change**exponent
    return np.maximum(before + change, 0.0) ** exponent - before**exponent


def _check_shapes(inputs: SpreadInputs, coverage: Coverage) -> None:
    """Refuse shares that are not one a landing."""
    shapes = [np.shape(coverage.leaving), np.shape(coverage.arriving)]
    if shapes[0] != shapes[1] or shapes[0][-1:] != inputs.landing_lake.shape:
        message = f"Invalid coverages of shapes {shapes[0]} and {shapes[1]}. Both must "
        raise ValueError(f"{message}have {len(inputs.landing_lake)} columns.")


def new_infestations(inputs: SpreadInputs, path: Path) -> Array:
    """
    Chance of a new infestation of each lake by the end of the path.

    Parameters
    ----------
    inputs : SpreadInputs
        The inputs that made the path.
    path : Path
        Result of `expected_spread`.

    Returns
    -------
    chance : array, shape (L,), or (P, L) for P coverages
        Chance that the lake is free now and infested at the end, 0 to 1.
    """
    return -(1 - inputs.initial) * np.expm1(-path.cumulative_hazard[-1])


def total(inputs: SpreadInputs, path: Path) -> Any:
    """
    New infestations expected over the whole region, weighted by worth.

    Parameters
    ----------
    inputs : SpreadInputs
        The inputs that made the path.
    path : Path
        Result of `expected_spread`.

    Returns
    -------
    total : float, or array of shape (P,) for P coverages
        Sum over lakes of worth times the chance of a new infestation.
    """
    return new_infestations(inputs, path) @ inputs.worth


def gradient(
    inputs: SpreadInputs,
    coverage: Coverage | None,
    path: Path,
    *,
    rates: Rates | None = None,
) -> Gradient:
    """
    What further coverage at each landing avoids, for all landings at once.

    One pass backwards over the seasons gives for every landing what two further runs would give
    for one: the cost is about that of one more forward pass.

    Parameters
    ----------
    inputs : SpreadInputs
        The inputs that made the path.
    coverage : Coverage or None
        The coverage that made the path, (K,); the gradient is taken there.
    path : Path
        Result of `expected_spread`.
    rates : Rates, optional
        As for `expected_spread`.

    Returns
    -------
    gradient : Gradient
        Avoided new infestations per unit of coverage (positive: coverage helps).

    Notes
    -----
    The discrete adjoint of `expected_spread`; tests compare it with complex-step derivatives.
    """
    if rates is None:
        rates = lake_rates(inputs, coverage, establish=1.0)
    lakes, exponent = rates.lakes, inputs.allee_exponent
    free = 1 - inputs.initial
    by_hazard = inputs.worth * free * np.exp(-path.cumulative_hazard[-1])
    initial = inputs.worth * np.expm1(-path.cumulative_hazard[-1])
    lake_value = np.empty_like(path.introductions)
    for season in reversed(range(path.seasons)):
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
