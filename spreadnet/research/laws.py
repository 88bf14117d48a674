"""Laws from the literature as weights of mass and distance, for comparison and for researchers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]


def power(mass: Array, distance_km: Array, *, exponent: float = 2.0) -> Array:
    """
    Gravity law mass x distance^-exponent.

    Fix the exponent with `functools.partial` and give the result to `law_shares`.

    Parameters
    ----------
    mass : array, shape (L,)
        How much each place attracts.
    distance_km : array, shape (K, L)
        Kilometres, above 0 but at the own place.
    exponent : float
        Steepness, no unit.

    Returns
    -------
    weights : array, shape (K, L)
        Not normalised.

    Examples
    --------
    >>> power(np.array([4.0, 9.0]), np.array([[2.0, 3.0]]))
    array([[1., 1.]])
    """
    return mass * distance_km**-exponent


def exponential(mass: Array, distance_km: Array, *, rate: float) -> Array:
    """
    Gravity law mass x exp(-rate x distance).

    Parameters
    ----------
    mass : array, shape (L,)
        How much each place attracts.
    distance_km : array, shape (K, L)
        Kilometres.
    rate : float
        Per kilometre.

    Returns
    -------
    weights : array, shape (K, L)
        Not normalised.
    """
    return mass * np.exp(-rate * distance_km)


def power_exponential(mass: Array, distance_km: Array, *, exponent: float, rate: float) -> Array:
    """
    Gravity law mass x distance^-exponent x exp(-rate x distance), also known as Tanner's.

    Parameters
    ----------
    mass : array, shape (L,)
        How much each place attracts.
    distance_km : array, shape (K, L)
        Kilometres, above 0 but at the own place.
    exponent : float
        Steepness, no unit.
    rate : float
        Per kilometre.

    Returns
    -------
    weights : array, shape (K, L)
        Not normalised.
    """
    return mass * distance_km**-exponent * np.exp(-rate * distance_km)


def intervening_opportunities(
    mass: Array,
    distance_km: Array,
    *,
    rate: float,
    origin: NDArray[np.integer] | None = None,
) -> Array:
    """
    Schneider's law: each chance met on the way is taken with the same small probability.

    Parameters
    ----------
    mass : array, shape (L,)
        Opportunities at each place.
    distance_km : array, shape (K, L)
        Kilometres; only their order counts.
    rate : float
        Chance that one opportunity is taken, per unit of mass.
    origin : array of int, shape (K,), optional
        Position of each row's own place. Left out: row i starts at place i.

    Returns
    -------
    weights : array, shape (K, L)
        0 at the own place.

    Notes
    -----
    exp(-rate S) - exp(-rate (S + mass)), S as in `nearer_mass`. Schneider (1959), as given by
    Lenormand et al. 2016, doi:10.1016/j.jtrangeo.2015.12.008.
    """
    start = _origin(distance_km, origin)
    nearer = nearer_mass(mass, distance_km, origin=start)
    weights = np.exp(-rate * nearer) * -np.expm1(-rate * mass)
    return _without_own(weights, start)


def radiation(
    mass: Array, distance_km: Array, *, origin: NDArray[np.integer] | None = None
) -> Array:
    """
    Radiation law: a trip ends at the nearest place that offers more than home does.

    Parameters
    ----------
    mass : array, shape (L,)
        Opportunities at each place.
    distance_km : array, shape (K, L)
        Kilometres; only their order counts.
    origin : array of int, shape (K,), optional
        Position of each row's own place. Left out: row i starts at place i.

    Returns
    -------
    weights : array, shape (K, L)
        0 at the own place.

    Notes
    -----
    m_i m_j / ((m_i + S)(m_i + m_j + S)), S as in `nearer_mass`. Simini et al. 2012,
    doi:10.1038/nature10856.
    """
    start = _origin(distance_km, origin)
    home = mass[start][:, None]
    reached = home + nearer_mass(mass, distance_km, origin=start)
    return _without_own(home * mass / (reached * (reached + mass)), start)


def extended_radiation(
    mass: Array,
    distance_km: Array,
    *,
    exponent: float,
    origin: NDArray[np.integer] | None = None,
) -> Array:
    """
    Radiation law with an exponent that sets how far trips reach.

    Parameters
    ----------
    mass : array, shape (L,)
        Opportunities at each place.
    distance_km : array, shape (K, L)
        Kilometres; only their order counts.
    exponent : float
        Above 0, no unit.
    origin : array of int, shape (K,), optional
        Position of each row's own place. Left out: row i starts at place i.

    Returns
    -------
    weights : array, shape (K, L)
        0 at the own place.

    Notes
    -----
    With a = m_i + S and b = a + m_j: (b^e - a^e)(m_i^e + 1) / ((a^e + 1)(b^e + 1)). Yang et al.
    2014, doi:10.1038/srep05662.
    """
    start = _origin(distance_km, origin)
    home = mass[start][:, None]
    reached = home + nearer_mass(mass, distance_km, origin=start)
    before, after = reached**exponent, (reached + mass) ** exponent
    weights = (after - before) * (home**exponent + 1) / ((before + 1) * (after + 1))
    return _without_own(weights, start)


def nearer_mass(
    mass: Array, distance_km: Array, *, origin: NDArray[np.integer] | None = None
) -> Array:
    """
    Mass of the other places that are no farther from the origin than each place.

    Parameters
    ----------
    mass : array, shape (L,)
        Opportunities at each place.
    distance_km : array, shape (K, L)
        Kilometres.
    origin : array of int, shape (K,), optional
        Position of each row's own place. Left out: row i starts at place i.

    Returns
    -------
    nearer : array, shape (K, L)
        Neither the own place nor the place itself counts; places equally far do (ties count).

    Examples
    --------
    >>> distance_km = np.array([[0.0, 5.0, 5.0, 9.0]])
    >>> nearer_mass(np.array([1.0, 2, 4, 8]), distance_km, origin=np.array([0]))
    array([[0., 4., 2., 6.]])
    """
    start = _origin(distance_km, origin)
    nearer = np.empty(distance_km.shape)
    for row, own in enumerate(start):
        others = np.array(mass, float)
        others[own] = 0.0
        order = np.argsort(distance_km[row], kind="stable")
        ranked = distance_km[row][order]
        within = np.searchsorted(ranked, distance_km[row], side="right")
        nearer[row] = np.cumsum(others[order])[within - 1] - others
    return np.maximum(nearer, 0.0)


def _origin(distance_km: Array, origin: NDArray[np.integer] | None) -> NDArray[np.integer]:
    """Positions of the own places, checked."""
    if origin is None and distance_km.shape[0] != distance_km.shape[1]:
        message = f"Invalid origin. Rows of a table of shape {distance_km.shape} need their places."
        raise ValueError(message)
    return np.arange(len(distance_km)) if origin is None else np.asarray(origin)


def _without_own(weights: Array, start: NDArray[np.integer]) -> Array:
    """The weights with 0 at the own place."""
    weights[np.arange(len(start)), start] = 0.0
    return weights
