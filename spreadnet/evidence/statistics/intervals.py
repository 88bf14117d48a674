"""Beta distributions: from a stated range, and the intervals they give."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import betaincinv, ndtri

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from spreadnet.assumptions import Assumption

    Array = NDArray[np.floating]

MOST = 1e6  # boats that a number given without a range counts for
SCORES = 200  # evenly spread draws from a stated range, where a mean over it is wanted


def beta_interval(alpha: ArrayLike, beta: ArrayLike, *, level: float = 0.9) -> tuple[Array, Array]:
    """
    Middle interval of beta distributions.

    Parameters
    ----------
    alpha, beta : array_like
        Both above 0, of the same shape.
    level : float
        Chance that the interval holds, 0 to 1.

    Returns
    -------
    low, high : arrays
        Equal tails, (1 - level) / 2 each.

    Raises
    ------
    ValueError
        If `level` is not between 0 and 1.

    Notes
    -----
    With 0.5 added to found and not found it is the Jeffreys interval (Brown, Cai & DasGupta
    2001, Stat Sci 16:101).

    Examples
    --------
    >>> [round(float(end), 4) for end in beta_interval(438, 544, level=0.95)]
    [0.4151, 0.4772]
    """
    if not 0 < level < 1:
        message = f"Invalid level '{level}'. It must lie between 0 and 1."
        raise ValueError(message)
    tail = (1 - level) / 2
    return betaincinv(alpha, beta, tail), betaincinv(alpha, beta, 1 - tail)


def beta_from_moments(mean: Array, variance: Array) -> tuple[Array, Array]:
    """
    Beta distributions with the means and variances given.

    Examples
    --------
    >>> alpha, beta = beta_from_moments(np.array([0.25]), np.array([0.0375]))
    >>> alpha.round(6), beta.round(6)
    (array([1.]), array([3.]))
    """
    inside = np.clip(mean, 1e-9, 1 - 1e-9)
    most = inside * (1 - inside)
    weight = most / np.clip(variance, most / MOST, most * (1 - 1e-9)) - 1
    return inside * weight, (1 - inside) * weight


def beta_from_range(assumption: Assumption) -> tuple[float, float]:
    """
    Beta distribution of an assumed share: its mean, and a 90% interval as wide as its range.

    Parameters
    ----------
    assumption : Assumption
        A share, 0 to 1. A range of no width counts as a million boats.

    Returns
    -------
    alpha, beta : float
        Their sum is how many boats the assumption counts for.

    Raises
    ------
    ValueError
        If the value is not between 0 and 1.

    Examples
    --------
    >>> from spreadnet.assumptions import DEFAULT
    >>> alpha, beta = beta_from_range(DEFAULT.entries["education_check_together"])
    >>> round(alpha / (alpha + beta), 2), round(alpha + beta)
    (0.6, 6)
    """
    if not 0 <= assumption.value <= 1:
        message = f"Invalid '{assumption.name}' '{assumption.value}'. A share lies in 0 to 1."
        raise ValueError(message)
    mean = float(np.clip(assumption.value, 1e-6, 1 - 1e-6))
    weights = np.geomspace(MOST, 1.0, 4000)
    low, high = beta_interval(mean * weights, (1 - mean) * weights)
    wide = np.flatnonzero(high - low >= assumption.high - assumption.low)
    weight = weights[wide[0]] if wide.size else weights[np.argmax(high - low)]
    return float(mean * weight), float((1 - mean) * weight)


def even_draws(assumption: Assumption, count: int = SCORES) -> Array:
    """
    Values of an assumed number at evenly spread scores of its range, ascending, shape (count,).

    Examples
    --------
    >>> from spreadnet.assumptions import DEFAULT
    >>> even_draws(DEFAULT.entries["unvisited_ratio"], 3).round(2)
    array([0.5 , 0.7 , 0.86])
    """
    scores = ndtri((np.arange(count) + 0.5) / count)
    return np.array([assumption.at(float(z)) for z in scores])


def spread_over_range(assumption: Assumption) -> float:
    """
    Standard deviation with its own range counted in: the root of the mean square over the range.

    A spread that may be anything from small to large leaves more room than its middle value does.

    Examples
    --------
    >>> from spreadnet.assumptions import DEFAULT
    >>> round(spread_over_range(DEFAULT.entries["block_spread"]), 2)
    0.83
    """
    return float(np.sqrt(np.mean(even_draws(assumption) ** 2)))
