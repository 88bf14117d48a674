"""From a gravity law to the trips between landings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from spreadnet.model.movement.fit import AREA, GravityFit
from spreadnet.model.trips import Trips

if TYPE_CHECKING:
    from numpy.typing import DTypeLike, NDArray

    Array = NDArray[np.floating]

TRAFFIC = "log_traffic"
BLOCK_ROWS = 256  # landings worked on at a time, so that no second full matrix is held
SMALLEST_AREA_HA = 0.01  # an area of 0 has no logarithm


def lake_attractions(
    area_ha: Array, launches: Array, landing_lake: NDArray[np.integer]
) -> dict[str, Array]:
    """
    Covariates of the lakes that draw boats: area, and boats launched there.

    Parameters
    ----------
    area_ha : array, shape (L,)
        Hectares.
    launches : array, shape (K,)
        Boats launched in a season at each landing, above 0.
    landing_lake : array of int, shape (K,)
        Position of each landing's lake.

    Returns
    -------
    attractions : dict of str to array, shape (L,)
        `log_area` and `log_traffic`; the latter is 0 for lakes without a landing, which no trip
        can reach.

    Raises
    ------
    ValueError
        If a number of launches is not above 0.
    """
    if not (launches > 0).all():
        message = "Invalid launches. Every landing must have more than 0 boats a season."
        raise ValueError(message)
    traffic = np.bincount(landing_lake, weights=launches, minlength=len(area_ha))
    return {
        AREA: np.log(np.maximum(area_ha, SMALLEST_AREA_HA)),
        TRAFFIC: np.log(np.where(traffic > 0, traffic, 1.0)),
    }


def destination_shares(
    fit: GravityFit,
    attractions: Mapping[str, Array],
    distance_km: Array,
    own_lake: NDArray[np.integer],
    *,
    coefficients: Array | None = None,
    candidates: NDArray[np.bool_] | None = None,
    dtype: DTypeLike = np.float64,
) -> Array:
    """
    Shares of a landing's boats that come from, or go to, each other lake.

    Parameters
    ----------
    fit : GravityFit
        The law.
    attractions : mapping of str to array, shape (L,)
        Holds at least the covariates that the fit names.
    distance_km : array, shape (K, L)
        Kilometres from every landing to every lake.
    own_lake : array of int, shape (K,)
        Position of each landing's own lake.
    coefficients : array, shape (P,), optional
        In place of the fit's own, e.g. `fit.draw(rng)`. Left out: the fit's own, with those of
        distance clipped as in `DistanceLaw.bounded`.
    candidates : array of bool, shape (L,), optional
        Lakes that can be reached. Left out: the lakes in `own_lake`, those with a landing.
    dtype : dtype
        `float64`, or `float32` for half the time and memory.

    Returns
    -------
    shares : array, shape (K, L)
        Rows add up to 1 over the other lakes with a landing; a row is 0 where there is none.

    Raises
    ------
    ValueError
        If a covariate is missing or a shape is wrong.

    Notes
    -----
    The greatest utility of each row is taken off before the exponential, so that a landing
    thousands of kilometres away from all lakes still prefers the nearer ones.
    """
    given = fit.bounded() if coefficients is None else np.asarray(coefficients, float)
    split = len(fit.attractions)
    reachable = _reachable(candidates, own_lake, distance_km)
    pull = lake_pull(fit, attractions, given[:split], reachable).astype(dtype)
    theta = given[split:].astype(dtype)
    place = np.where(reachable, np.cumsum(reachable) - 1, -1)[own_lake]

    shares = np.zeros(distance_km.shape, dtype)
    if pull.size == 0:
        return shares
    columns = np.flatnonzero(reachable)
    for first in range(0, len(own_lake), BLOCK_ROWS):
        block = slice(first, first + BLOCK_ROWS)
        distance = distance_km[block][:, columns].astype(dtype)
        own = np.flatnonzero(place[block] >= 0), place[block][place[block] >= 0]
        distance[own] = 1.0  # any finite number: it is excluded below
        utility = fit.law.log_pull(distance, theta)
        utility += pull
        utility[own] = -np.inf
        shares[block, columns] = _softmax(utility)
    return shares


def law_shares(
    law: Callable[[Array, Array], Array],
    mass: Array,
    distance_km: Array,
    own_lake: NDArray[np.integer],
    *,
    candidates: NDArray[np.bool_] | None = None,
) -> Array:
    """
    The same shares from a researcher's own law, with no fit.

    Parameters
    ----------
    law : callable
        `law(mass, distance_km)` gives weights of shape (K, L), 0 or more; what it gives for the
        own lake is ignored. See `spreadnet.research.laws` for examples.
    mass : array, shape (L,)
        How much each lake attracts, e.g. its area or traffic.
    distance_km : array, shape (K, L)
        Kilometres from every landing to every lake.
    own_lake : array of int, shape (K,)
        Position of each landing's own lake.
    candidates : array of bool, shape (L,), optional
        As in `destination_shares`.

    Returns
    -------
    shares : array, shape (K, L)
        Rows add up to 1 over the other lakes with a landing; a row is 0 where all weights are.

    Raises
    ------
    ValueError
        If the weights have another shape, or one is negative or not finite.

    Examples
    --------
    >>> def inverse_square(mass, distance_km):
    ...     return mass / (1 + distance_km) ** 2
    >>> distance_km = np.array([[0.0, 1, 3], [1, 0, 1], [3, 1, 0]])
    >>> law_shares(inverse_square, np.array([1.0, 1, 4]), distance_km, np.arange(3))
    array([[0. , 0.5, 0.5],
           [0.2, 0. , 0.8],
           [0.2, 0.8, 0. ]])
    """
    reachable = _reachable(candidates, own_lake, distance_km)
    with np.errstate(all="ignore"):  # the own lake at 0 km may give anything
        weights = np.array(law(mass, distance_km), float)
    if weights.shape != distance_km.shape:
        message = f"Invalid law. Its weights have the shape {weights.shape}, not that of "
        raise ValueError(f"{message}distance_km, {distance_km.shape}.")
    weights[np.arange(len(own_lake)), own_lake] = 0.0
    weights[:, ~reachable] = 0.0
    if not ((weights >= 0) & np.isfinite(weights)).all():
        message = "Invalid law. Its weights must be finite numbers of 0 or more."
        raise ValueError(message)
    top = weights.max(axis=1, keepdims=True, initial=0.0)
    weights = np.divide(weights, top, out=np.zeros_like(weights), where=top > 0)
    total = weights.sum(axis=1, keepdims=True)
    return np.divide(weights, total, out=np.zeros_like(weights), where=total > 0)


def lake_trips(
    launches: Array, share_other: Array, shares: Array, landing_lake: NDArray[np.integer]
) -> Trips:
    """
    Trips a season between landings.

    Parameters
    ----------
    launches : array, shape (K,)
        Boats launched in a season at each landing.
    share_other : array, shape (K,)
        Share of those whose last water was another lake of the region, 0 to 1.
    shares : array, shape (K, A)
        Which other lake that was, see `destination_shares`.
    landing_lake : array of int, shape (K,)
        Position of each landing's lake among the A lakes.

    Returns
    -------
    trips : Trips
        In the dtype of `shares`; none within a lake. As many arrive at a landing as launches x
        share_other where every lake in `shares` has a landing.

    Raises
    ------
    ValueError
        If shapes disagree.

    Notes
    -----
    Boats from a lake are split among its landings by their launches (evenly where all are 0).

    Examples
    --------
    >>> shares = np.array([[0.0, 1.0], [1.0, 0.0], [1.0, 0.0]])
    >>> lake_trips(np.array([10.0, 30, 20]), np.full(3, 0.5), shares, np.array([0, 1, 1])).matrix()
    array([[ 0., 15., 10.],
           [ 3.,  0.,  0.],
           [ 2.,  0.,  0.]])
    """
    n_landings = len(landing_lake)
    if len(launches) != n_landings or len(share_other) != n_landings or len(shares) != n_landings:
        lengths = (len(launches), len(share_other), len(shares), n_landings)
        message = f"Invalid arrays. One row a landing is needed in each; lengths are {lengths}."
        raise ValueError(message)
    arriving = (np.asarray(launches, float) * share_other).astype(shares.dtype)
    by_origin = shares * arriving[:, None]
    by_origin[np.arange(n_landings), landing_lake] = 0
    return Trips(by_origin, landing_lake, within_lake_split(launches, landing_lake))


def within_lake_split(launches: Array, landing_lake: NDArray[np.integer]) -> Array:
    """
    Share of its lake's traffic that each landing has.

    Parameters
    ----------
    launches : array, shape (K,)
        Boats launched in a season at each landing.
    landing_lake : array of int, shape (K,)
        Position of each landing's lake.

    Returns
    -------
    split : array, shape (K,)
        Adds up to 1 over the landings of a lake; even where none has traffic.

    Examples
    --------
    >>> within_lake_split(np.array([10.0, 30, 5, 0, 0]), np.array([0, 0, 1, 2, 2]))
    array([0.25, 0.75, 1.  , 0.5 , 0.5 ])
    """
    total = np.bincount(landing_lake, weights=launches)[landing_lake]
    number = np.bincount(landing_lake)[landing_lake]
    return np.divide(launches, total, out=1.0 / number, where=total > 0)


def _reachable(
    candidates: NDArray[np.bool_] | None, own_lake: NDArray[np.integer], distance_km: Any
) -> NDArray[np.bool_]:
    """Lakes that a trip can start or end at."""
    if np.ndim(distance_km) != 2 or len(distance_km) != len(own_lake):
        message = f"Invalid distance_km. Its shape {np.shape(distance_km)} must have one row for "
        raise ValueError(f"{message}each of the {len(own_lake)} landings.")
    n_lakes = distance_km.shape[1]
    if candidates is None:
        return np.isin(np.arange(n_lakes), own_lake)
    if np.shape(candidates) != (n_lakes,):
        message = f"Invalid candidates. Its shape {np.shape(candidates)} must be ({n_lakes},)."
        raise ValueError(message)
    return np.asarray(candidates, bool)


def lake_pull(
    fit: GravityFit,
    attractions: Mapping[str, Array],
    coefficients: Array,
    reachable: NDArray[np.bool_],
) -> Array:
    """
    Logarithm of how much each lake that can be reached attracts, whatever the distance.

    Parameters
    ----------
    fit : GravityFit
        The law.
    attractions : mapping of str to array, shape (L,)
        Holds at least the covariates that the fit names.
    coefficients : array, shape (A,)
        One a covariate that the fit names.
    reachable : array of bool, shape (L,)
        Lakes that can be reached.

    Returns
    -------
    pull : array
        One value a lake that can be reached.

    Raises
    ------
    ValueError
        If a covariate is missing, or has no number where it is needed.
    """
    missing = [name for name in fit.attractions if name not in attractions]
    if missing:
        message = f"Invalid attractions. The fit also needs '{missing[0]}'."
        raise ValueError(message)
    pull = np.zeros(int(reachable.sum())) if fit.levels is None else fit.levels[reachable]
    for name, coefficient in zip(fit.attractions, coefficients, strict=True):
        pull = pull + coefficient * np.asarray(attractions[name], float)[reachable]
    if np.isnan(pull).any():
        message = "Invalid attractions. Every lake with a landing needs a number."
        raise ValueError(message)
    return pull


def _softmax(utility: Array) -> Array:
    """Shares of each row; 0 where no lake can be chosen."""
    top = utility.max(axis=1, keepdims=True)
    weight = utility - np.where(np.isfinite(top), top, 0)
    np.exp(weight, out=weight)
    total = weight.sum(axis=1, keepdims=True)
    weight /= np.where(total > 0, total, 1)
    return weight
