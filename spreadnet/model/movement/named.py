"""What interviews say of launches where nobody counted: lakes named more often than expected."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]

STEPS = 60  # of Newton's method, far more than needed
LONGEST = 1.0  # step on the log scale


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class NamedLakes:
    """
    How far the pull of each lake without counts lies from that of its size, as boaters name it.

    Attributes
    ----------
    lakes : array of bool, shape (A,)
        Lakes with a landing at none of which anybody counted.
    seen : array, shape (A,)
        Log of the lake's pull as named, over that at the estimated launches.
    variance : array, shape (A,)
        Of `seen`; infinite where nobody could have named the lake.
    own_variance : array, shape (A,)
        Of the log of the lake's launches before anybody is asked.
    """

    lakes: NDArray[np.bool_]
    seen: Array
    variance: Array
    own_variance: Array

    def log_factor(self, away: Array, *, exponent: float, noise: Array) -> Array:
        """
        Log of launches given the interviews over launches drawn, shape (A,).

        Parameters
        ----------
        away : array, shape (A,)
            Log of the lake's launches drawn, over the estimate that `seen` starts from.
        exponent : float
            How pull grows with launches, in the same draw.
        noise : array, shape (A,)
            Standard normal, independent of `away`; 0 for the middle.

        Notes
        -----
        What is drawn beforehand becomes a draw of the posterior when it is moved by the gain times
        what is seen, with its error drawn, less what was drawn (Matheron's rule: Doucet 2010, note
        on conditional simulation of Gaussian vectors, from memory).
        """
        gain = self.own_variance * exponent / (self.own_variance * exponent**2 + self.variance)
        told = np.where(self.lakes, self.seen, 0.0)
        error = noise * np.sqrt(np.where(np.isfinite(self.variance), self.variance, 0.0))
        return np.where(self.lakes, gain * (told + error - exponent * away), 0.0)

    def log_mean_factor(self, away: Array, *, exponent: float) -> Array:
        """As `log_factor` for means in place of draws: of launches given the interviews, (A,)."""
        middle = away - self.own_variance / 2
        moved = self.log_factor(middle, exponent=exponent, noise=np.zeros(len(away)))
        left = self.own_variance / (1 + self.own_variance * exponent**2 / self.variance)
        return np.where(self.lakes, moved + (left - self.own_variance) / 2, 0.0)


def named_lakes(
    named: Array,
    expected: Array,
    *,
    counted: NDArray[np.bool_],
    own_variance: Array,
    exponent: float,
    alike: float,
) -> NamedLakes:
    """
    Hold how often each lake is named against how often it should be, by the law of movement.

    Parameters
    ----------
    named, expected : array, shape (A,)
        Interviews that name each lake, and to be expected at estimated launches.
    counted : array of bool, shape (A,)
        Lakes with a landing where somebody counted.
    own_variance : array, shape (A,)
        Of the log of each lake's launches, as far as lakes do not share it.
    exponent : float
        How pull grows with launches.
    alike : float
        Design effect of the interviews, 1 or more: boaters at one landing answer alike.

    Returns
    -------
    lakes : NamedLakes
        Log pulls with their error.

    Raises
    ------
    ValueError
        If arrays are of different length.

    Notes
    -----
    Named ~ negative binomial with mean expected x exp(pull) and variance `alike` x mean + v mean^2.
    v is how far pulls differ for other reasons than launches, by moments over the lakes where
    somebody counted, so that a region where boaters have other favourites than crowded lakes
    learns little from them. Normal about the mode given the prior of launches.
    """
    if not len(named) == len(expected) == len(counted) == len(own_variance):
        message = (
            f"Invalid arrays of {len(named)}, {len(expected)}, {len(counted)} and "
            f"{len(own_variance)} lakes."
        )
        raise ValueError(message)
    favour = favourites(named[counted], expected[counted], alike=alike)
    seen, mean = named / alike, expected / alike
    variance = np.maximum(own_variance, 1e-12) * exponent**2 + 1e-12
    middle = -exponent * own_variance / 2
    pull = middle.copy()
    for _ in range(STEPS):
        slope, bend = _slopes(pull, seen, mean, favour)
        step = (slope - (pull - middle) / variance) / (bend + 1 / variance)
        pull = pull + np.clip(step, -LONGEST, LONGEST)
    slope, bend = _slopes(pull, seen, mean, favour)
    known = bend > 0
    return NamedLakes(
        lakes=~counted & known,
        seen=np.where(known, pull + slope / np.where(known, bend, 1.0), 0.0),
        variance=np.where(known, 1 / np.where(known, bend, 1.0), np.inf),
        own_variance=np.asarray(own_variance, float),
    )


def favourites(named: Array, expected: Array, *, alike: float) -> float:
    """
    Variance of lakes' pulls that neither their size nor their launches explain, 0 or more.

    Examples
    --------
    >>> favourites(np.array([20.0, 0.0]), np.array([10.0, 10.0]), alike=1.0)
    0.9
    """
    squares = float(expected @ expected)
    if not squares > 0:
        return 0.0
    return max(
        float((named - expected) @ (named - expected) - alike * expected.sum()) / squares, 0.0
    )


def _slopes(pull: Array, seen: Array, mean: Array, favour: float) -> tuple[Array, Array]:
    """First and minus the second slope of the log likelihood by the log of the pull."""
    at = mean * np.exp(pull)
    wide = 1 + favour * at
    return (seen - at) / wide, at * (1 + favour * seen) / wide**2
