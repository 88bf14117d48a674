"""Carriage: the chance that a trip from an infested lake brings a living introduction."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spreadnet.evidence.region import GAPS

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from spreadnet.evidence.species import Species

    Array = NDArray[np.float64]

ROUTES = (*GAPS, "residual")  # residual: ballast water that can't be emptied


def route_weights(species: Species, survival: ArrayLike) -> Array:
    """
    Chance that each open route carries the species alive to the next launch.

    Parameters
    ----------
    species : Species
        The species.
    survival : array-like, shape (R,)
        Share alive at the next launch, in the order `ROUTES`.

    Returns
    -------
    weights : array, shape (R,)
        Chance that the route takes the species on, times survival.

    Examples
    --------
    >>> from spreadnet.evidence.species.species import read_species
    >>> route_weights(read_species()["eurasian_watermilfoil"], [0, 0.5, 0, 0, 0, 0])
    array([0. , 0.2, 0. , 0. , 0. , 0. ])
    """
    carried = np.array([species.values[f"carry_{route}"] for route in ROUTES])
    return carried * np.asarray(survival, dtype=float)


def carriage(leaving: ArrayLike, arriving: ArrayLike, weights: ArrayLike) -> Array:
    """
    Exact chance that a boat brings the species alive: 1 - prod(1 - leaving arriving weight).

    Routes are taken to act independently on a boat, given its landings.

    Parameters
    ----------
    leaving : array-like, shape (R, ...)
        Share of boats that leave with the route open.
    arriving : array-like, shape (R, ...)
        Rate on arriving over the region's mean. Broadcast against `leaving`: the same shape for
        pairs, `leaving[:, :, None]` and `arriving[:, None, :]` for every pair of landings.
    weights : array-like, shape (R,)
        Chance that an open route carries the species alive, from `route_weights`.

    Returns
    -------
    carriage : array, shape (...)
        Chance for each pair, 0 to 1.

    Notes
    -----
    The spread engine uses the sum over routes instead, because a sum splits into a factor of
    leaving and a factor of arriving, so that coverage never rebuilds the trips. The sum c is
    never below the exact chance and exceeds it by at most c^2 / 2 (Bonferroni): 0.0002 at a
    carriage of 0.02.

    Examples
    --------
    >>> carriage([0.5, 0.5], [1.0, 1.0], [0.2, 0.4]).round(2)
    np.float64(0.28)
    """
    out, into = np.asarray(leaving, dtype=float), np.asarray(arriving, dtype=float)
    both = out * into
    weight = np.asarray(weights, dtype=float).reshape(-1, *(1,) * (both.ndim - 1))
    chance = np.clip(both * weight, 0, 1)
    with np.errstate(divide="ignore"):  # log(0) where a route is certain: the chance is 1
        return -np.expm1(np.log1p(-chance).sum(axis=0))


def leaving_rates(gap_rates_out: ArrayLike, ballast_share: ArrayLike) -> Array:
    """
    Share of boats leaving each landing with each route open.

    Parameters
    ----------
    gap_rates_out : array-like, shape (G, K)
        Gap rates on leaving, in the order `GAPS`.
    ballast_share : array-like, shape (K,)
        Share of boats with ballast tanks: these can't be emptied wholly, so the route is open
        on each of them.

    Returns
    -------
    leaving : array, shape (R, K)
        In the order `ROUTES`.

    Examples
    --------
    >>> leaving_rates([[0.2], [0.1], [0.0], [0.0], [0.3]], [0.05]).ravel()
    array([0.2 , 0.1 , 0.  , 0.  , 0.3 , 0.05])
    """
    return np.vstack([np.asarray(gap_rates_out, dtype=float), np.asarray(ballast_share)])


def arriving_relative(gap_rates_in: ArrayLike, traffic: ArrayLike, *, bound: float = 3.0) -> Array:
    """
    Rate on arriving at each landing over the region's mean rate on arriving.

    Boats that arrive somewhere with more gaps than elsewhere carry more. The ratio is bounded,
    since a landing seen a few times can show an extreme rate by chance.

    Parameters
    ----------
    gap_rates_in : array-like, shape (G, K)
        Gap rates on arriving, in the order `GAPS`.
    traffic : array-like, shape (K,)
        Traffic of each landing, the weights of the region's mean.
    bound : float
        Ratios are kept from 1 / bound to bound; 1 or more.

    Returns
    -------
    arriving : array, shape (R, K)
        In the order `ROUTES`; 1 for `residual`, and for a gap that was found nowhere.

    Raises
    ------
    ValueError
        If `bound` is below 1.

    Examples
    --------
    >>> arriving_relative([[0.1, 0.3]] * 5, [1, 1])[0].round(2)
    array([0.5, 1.5])
    """
    if not bound >= 1:
        message = f"Invalid bound '{bound}'. It must be 1 or more."
        raise ValueError(message)
    rates, weight = np.asarray(gap_rates_in, dtype=float), np.asarray(traffic, dtype=float)
    total = weight.sum()
    mean = rates @ weight / total if total > 0 else np.zeros(len(rates))
    known = mean > 0
    ratio = np.ones_like(rates)
    ratio[known] = np.clip(rates[known] / mean[known, None], 1 / bound, bound)
    return np.vstack([ratio, np.ones(rates.shape[1])])
