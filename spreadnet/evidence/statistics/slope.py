"""How the log of a rate goes with one number, from counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import brentq
from scipy.special import softmax

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]

MOST_PULL = 0.95  # of one row on the fit
STEEPEST = 5.0  # over the whole span of the number, on the log scale


def poisson_slope(counts: Array, expected: Array, by: Array) -> tuple[float, float] | None:
    """
    Slope of the log of counts over expected counts by a number, and its standard error.

    Parameters
    ----------
    counts : array, shape (N,)
        0 or more.
    expected : array, shape (N,)
        At no slope, up to one common factor; above 0.
    by : array, shape (N,)
        The number; not all alike.

    Returns
    -------
    slope, standard_error : float
        None where the counts bound no slope, as when all fall at one end.

    Raises
    ------
    ValueError
        If arrays are of different length, or `by` does not vary.

    Notes
    -----
    Poisson regression with a free level. The error is that of the scatter seen, so that counts
    which are alike within a row don't make it too small; each row's residual is divided by one
    less its pull on the fit (the form HC3 of MacKinnon & White 1985, J Econometrics 29:305, from
    memory).

    Examples
    --------
    >>> slope, error = poisson_slope(np.array([10.0, 20, 40]), np.ones(3), np.log([1.0, 2, 4]))
    >>> round(slope, 6), round(error, 6)
    (1.0, 0.0)
    """
    if not len(counts) == len(expected) == len(by):
        message = f"Invalid arrays of {len(counts)}, {len(expected)} and {len(by)} rows."
        raise ValueError(message)
    span = float(np.ptp(by))
    if not span > 0:
        message = "Invalid numbers: all alike, so that no slope can be told."
        raise ValueError(message)
    if len(by) < 3 or not counts.sum() > 0:
        return None
    away, level = by - by.mean(), np.log(expected)

    def score(slope: float) -> float:
        return float((counts - counts.sum() * softmax(level + slope * away)) @ away)

    low, high = -STEEPEST / span, STEEPEST / span
    if score(low) <= 0 or score(high) >= 0:
        return None
    slope = float(brentq(score, low, high))
    share = softmax(level + slope * away)
    centred = away - share @ away
    mean = counts.sum() * share
    information = float(mean @ centred**2)
    pull = np.minimum(share + mean * centred**2 / information, MOST_PULL)
    scatter = (counts - mean) * centred / (1 - pull)
    return slope, float(np.sqrt(scatter @ scatter) / information)
