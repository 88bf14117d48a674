"""Survival between two trips: in air on what is attached, in water that is held."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from spreadnet.evidence.species import Species

    Array = NDArray[np.float64]

ATTACHED = ("plants", "animals", "mud")  # these ride in air, all other routes in held water
REFERENCE_C = 20.0  # temperature at which `water_hours` is stated
HOURS_PER_DAY = 24.0


def weibull_survival(hours: ArrayLike, scale_hours: float, *, shape: float) -> Array:
    """
    Share alive after some hours, exp(-(hours / scale)^shape).

    Drying kills slowly at first and then fast, which an exponential can't show; one more number,
    the shape, does.

    Parameters
    ----------
    hours : array-like
        Hours out, 0 or more.
    scale_hours : float
        Hours after which 37% are alive, above 0.
    shape : float
        1 for a constant death rate, above 1 when it rises, above about 20 nearly a step.

    Returns
    -------
    alive : array
        Share alive, 0 to 1, of the shape of `hours`.

    Raises
    ------
    ValueError
        If `scale_hours` or `shape` is not above 0.

    Examples
    --------
    >>> weibull_survival([0, 24], 34.7, shape=1.5).round(2)
    array([1.  , 0.56])
    """
    if not (scale_hours > 0 and shape > 0):
        message = f"Invalid survival 'scale {scale_hours}, shape {shape}'. Both must be above 0."
        raise ValueError(message)
    with np.errstate(over="ignore"):  # a steep step far out: infinity, and so nothing alive
        return np.exp(-((np.asarray(hours, dtype=float) / scale_hours) ** shape))


def air_survival(
    species: Species, route: str, hours: ArrayLike, *, cool_damp_share: float = 0.0
) -> Array:
    """
    Share alive in air on an attached gap.

    Most trips are in summer weather; on a share of them it is cool and damp, and the same animals
    last `cool_air_factor` times longer. Mixing the two keeps five days dry from looking safe for
    mussels, as one middling weather would.

    Parameters
    ----------
    species : Species
        The species.
    route : str
        `plants`, `animals` or `mud`.
    hours : array-like
        Hours out of water.
    cool_damp_share : float
        Share of trips in cool damp weather; 0 is summer, 1 is about 10 C and 95% humidity.

    Returns
    -------
    alive : array
        Share alive, 0 to 1.

    Notes
    -----
    Summer and cool hours from the sources in `species.csv`. For zebra mussels at 10 C and 95%
    humidity the range of `cool_air_factor` spans 73% (large) to 10% (small) alive after 10 days
    (Ricciardi, Serrouya & Whoriskey 1995).

    Examples
    --------
    >>> from spreadnet.evidence.species.species import read_species
    >>> mussel = read_species()["dreissenid_mussel"]
    >>> air_survival(mussel, "animals", 120.0).round(3)
    np.float64(0.002)
    >>> air_survival(mussel, "animals", 120.0, cool_damp_share=1.0).round(2)
    np.float64(0.74)
    """
    scale, shape = species.values[f"{route}_air_hours"], species.values["air_shape"]
    cool = scale * species.values["cool_air_factor"]
    return (1 - cool_damp_share) * weibull_survival(
        hours, scale, shape=shape
    ) + cool_damp_share * weibull_survival(hours, cool, shape=shape)


def water_survival(species: Species, hours: ArrayLike, *, water_temperature_c: float) -> Array:
    """
    Share alive in water held on board.

    Draining acts on how much water there is, never on how long what stays in it lives.

    Parameters
    ----------
    species : Species
        The species.
    hours : array-like
        Hours between the two lakes.
    water_temperature_c : float
        Temperature of the held water, degrees C.

    Returns
    -------
    alive : array
        Share alive, 0 to 1.

    Examples
    --------
    >>> from spreadnet.evidence.species.species import read_species
    >>> mussel = read_species()["dreissenid_mussel"]
    >>> water_survival(mussel, 24 * 24.0, water_temperature_c=10.0).round(2)
    np.float64(0.05)
    """
    warmer = (water_temperature_c - REFERENCE_C) / 10
    scale = species.values["water_hours"] / species.values["water_q10"] ** warmer
    return weibull_survival(hours, scale, shape=species.values["water_shape"])


def mean_survival(
    species: Species,
    routes: Sequence[str],
    days: ArrayLike,
    weight: ArrayLike,
    *,
    water_temperature_c: float,
    cool_damp_share: float,
) -> Array:
    """
    Chance of being alive at the next launch on each route, averaged over the days out.

    The average is over survival at each number of days, never survival at the mean of days: a few
    boats that move the same day carry most of what lives, and a mean hides them.

    Parameters
    ----------
    species : Species
        The species.
    routes : sequence of str
        Routes in order, e.g. `carriage.ROUTES`.
    days : array-like, shape (Q,)
        Days out of water; 0 is the same day and counts as no time.
    weight : array-like, shape (Q,)
        Share (or number) of boats with those days, not all 0.
    water_temperature_c : float
        Temperature of held water, degrees C.
    cool_damp_share : float
        Share of trips in cool damp weather.

    Returns
    -------
    survival : array, shape (R,)
        Share alive, 0 to 1: in air on plants, animals and mud, in held water on all others.

    Raises
    ------
    ValueError
        If there are no days, or the weights are negative or all 0.

    Examples
    --------
    >>> from spreadnet.evidence.species.species import read_species
    >>> flea = read_species()["spiny_waterflea"]
    >>> mean_survival(flea, ["animals", "water"], [0, 5], [0.5, 0.5],
    ...     water_temperature_c=20, cool_damp_share=0.1).round(3)
    array([0.5 , 0.51])
    """
    hours = HOURS_PER_DAY * np.asarray(days, dtype=float)
    share = np.asarray(weight, dtype=float)
    if hours.size == 0 or (share < 0).any() or not share.sum() > 0:
        message = "Invalid days out. At least one day with a weight above 0, none below 0."
        raise ValueError(message)
    share = share / share.sum()
    water = water_survival(species, hours, water_temperature_c=water_temperature_c)
    alive = [
        air_survival(species, route, hours, cool_damp_share=cool_damp_share)
        if route in ATTACHED
        else water
        for route in routes
    ]
    return np.array([one @ share for one in alive])
