"""What knowing more of one landing is worth: hours that would be placed elsewhere, and better."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.decisions.hours import Reach

    Array = NDArray[np.floating]
    Positions = NDArray[np.integer]

POWER = 10  # of 2: ways in which a survey may turn out; chances below 1 in 1,024 are not seen
FIXED_SEED = 91


def learned(variance: Array, noise: Array, answers: Array) -> Array:
    """
    Variance that the estimate of a number is expected to move by once more answers are in.

    What is known now is the mean of a distribution with `variance`; after the answers the mean
    will be another, and how far it may move is all that a decision can gain from.

    Parameters
    ----------
    variance : array
        Of the number now.
    noise : array
        Variance of one answer about the number, above 0. Broadcast against `variance`.
    answers : array
        Further answers, 0 or more; need not be whole.

    Returns
    -------
    learned : array
        0 without answers, `variance` with very many.

    Notes
    -----
    Exact for a share with a beta, a mean of shares with a Dirichlet and a rate with a gamma
    distribution, and the best linear rule for any other (Raiffa & Schlaifer 1961, Applied
    Statistical Decision Theory, from memory).

    Examples
    --------
    A share with the distribution Beta(1, 1), and one answer: the mean becomes 1/3 or 2/3.

    >>> float(learned(np.array(1 / 12), np.array(1 / 6), np.array(1.0)) * 36)
    1.0
    """
    return variance**2 * answers / (variance * answers + noise)


def even_scores(numbers: int) -> Array:
    """
    Standard normal scores spread evenly over several numbers at once, shape (Q, numbers).

    The same every time: the order of landings does not depend on a seed.

    Examples
    --------
    >>> scores = even_scores(3)
    >>> scores.shape, abs(scores.mean(axis=0)).round(2), scores.std(axis=0).round(2)
    ((1024, 3), array([0., 0., 0.]), array([1., 1., 1.]))
    """
    points = qmc.Sobol(numbers, scramble=True, rng=FIXED_SEED).random_base2(POWER)
    return np.asarray(ndtri(points))


def moved_means(variance: Array, scores: Array) -> Array:
    """
    Where the mean of a number thought to be 1 may be once more answers are in, (K, Q).

    Parameters
    ----------
    variance : array, shape (K,)
        By which the mean is expected to move, see `learned`.
    scores : array, shape (Q,)
        Standard normal scores.

    Returns
    -------
    means : array, shape (K, Q)
        0 or more, of gamma distributions with mean 1, since rates are never negative.

    Notes
    -----
    Wilson & Hilferty (1931, PNAS 17:684, from memory): the cube root of a gamma is nearly normal.

    Examples
    --------
    >>> moved_means(np.array([0.0, 0.25]), np.array([-1.0, 0, 1])).round(3)
    array([[1.   , 1.   , 1.   ],
           [0.523, 0.919, 1.477]])
    """
    ninth = variance[:, None] / 9
    return np.maximum(1 - ninth + np.sqrt(ninth) * scores, 0.0) ** 3


def gain_of_knowing(value: Array, against: Array, seen: Array) -> tuple[float, float]:
    """
    Gain from being told the value of shifts before they are placed, and chance that any moves.

    Parameters
    ----------
    value : array, shape (J,)
        Value of each shift as known now.
    against : array, shape (J,)
        Value of the shift that it would replace.
    seen : array, shape (J, Q)
        Q values, all as likely, that each may turn out to have.

    Returns
    -------
    gain, chance : float
        Mean value of the better choices less that of the choices that look better now; 0 or more.

    Notes
    -----
    Expected value of sample information. Where a value is normal this is the unit normal loss
    integral of Raiffa & Schlaifer (1961), Applied Statistical Decision Theory (from memory).

    Examples
    --------
    >>> gain_of_knowing(np.array([1.0]), np.array([2.0]), np.array([[0.5, 1.0, 3.0]]))
    (0.3333333333333333, 0.3333333333333333)
    """
    better = seen - against[:, None]
    missed = np.maximum(np.where(value > against, -1, 1)[:, None] * better, 0.0)
    return float(missed.mean(axis=1).sum()), float((missed > 0).any(axis=0).mean())


def whole_shifts(values: Array, reach: Reach) -> NDArray[np.integer]:
    """
    Shifts that each landing can take in each day block, its best blocks first, shape (K, D).

    Parameters
    ----------
    values : array, shape (K, D)
        Avoided by one more hour a season.
    reach : Reach
        Shift length, who can be staffed, most hours a landing.

    Returns
    -------
    shifts : array of int, shape (K, D)
        By the limits by which hours are placed; 0 where an hour avoids nothing.
    """
    order = np.argsort(-values, axis=1, kind="stable")
    rows = np.arange(len(values))
    left = np.full(len(values), reach.most_hours / reach.shift_hours)
    shifts = np.zeros(values.shape, int)
    room = reach.hours_in_season / reach.shift_hours
    for block in order.T:
        fits = np.floor(np.minimum(left, room[block]) + 1e-9)
        shifts[rows, block] = fits
        left = left - fits
    return np.where(reach.can_staff[:, None] & (values > 0), shifts, 0)


def best_placed(values: Array, shifts: NDArray[np.integer], *, placed: int) -> Positions:
    """
    Shifts placed where they avoid most, shape (K, D).

    Parameters
    ----------
    values : array, shape (K, D)
        Avoided by one more hour a season.
    shifts : array of int, shape (K, D)
        Shifts that fit, see `whole_shifts`.
    placed : int
        Shifts in all.

    Returns
    -------
    given : array of int, shape (K, D)
        Fewer than `placed` in all where no more fit.

    Examples
    --------
    >>> best_placed(np.array([[3.0], [1.0], [2.0]]), np.full((3, 1), 2), placed=3).ravel()
    array([2, 0, 1])
    """
    order = np.argsort(-values.ravel(), kind="stable")
    fits = shifts.ravel()[order]
    before = np.cumsum(fits) - fits
    given = np.zeros(values.size, int)
    given[order] = np.clip(placed - before, 0, fits)
    return given.reshape(values.shape)


def shifts_in_doubt(
    values: Array, shifts: NDArray[np.integer], *, placed: int
) -> tuple[Positions, Array, Array]:
    """
    Each shift that a landing could take, beside the one elsewhere that it would replace.

    With all shifts placed where they avoid most, the j-th at a landing takes the place of the
    worst of those that the others would have if this landing had one less.

    Parameters
    ----------
    values : array, shape (K, D)
        Avoided by one more hour a season.
    shifts : array of int, shape (K, D)
        Shifts that fit, see `whole_shifts`.
    placed : int
        Shifts in all.

    Returns
    -------
    block : array of int, shape (K, J)
        Day block of the j-th shift at each landing.
    value : array, shape (K, J)
        Its value; 0 where the landing has no room for it, or there are not so many in all.
    against : array, shape (K, J)
        Value of the shift that it would replace; 0 where nobody else has a use for it.

    Examples
    --------
    Three landings, two shifts each, three to place: the third goes to the second landing.

    >>> values = np.array([[3.0], [2.0], [1.0]])
    >>> block, value, against = shifts_in_doubt(values, np.full((3, 1), 2), placed=3)
    >>> value, against
    (array([[3., 3.],
           [2., 2.],
           [1., 1.]]), array([[1., 2.],
           [1., 3.],
           [2., 3.]]))
    """
    own = int(shifts.sum(axis=1).max(initial=0))
    most = min(own, placed)
    block, nth, fits = _own_shifts(values, shifts, own)
    value = np.where(fits, np.take_along_axis(values, block, axis=1), 0.0)[:, :most]
    cells = np.argsort(-values.ravel(), kind="stable")
    number = shifts.ravel()[cells]
    every = np.append(np.repeat(values.ravel()[cells], number), 0.0)  # all shifts, best first
    first = np.empty(values.size, int)
    first[cells] = np.cumsum(number) - number
    cell = np.arange(len(values))[:, None] * values.shape[1] + block
    place = np.where(fits, first[cell] + nth, len(every) + placed)  # of its shifts among all
    wanted = placed - 1 - np.arange(most)  # among the shifts of the others
    at = np.tile(wanted, (len(values), 1))
    for k in np.flatnonzero((place < placed + own).any(axis=1)):
        at[k] += np.searchsorted(place[k] - np.arange(own), wanted, side="right")
    against = every[np.minimum(at, len(every) - 1)]
    return block[:, :most], value, np.where(fits[:, :most], against, 0.0)


def _own_shifts(
    values: Array, shifts: NDArray[np.integer], most: int
) -> tuple[Positions, Positions, NDArray[np.bool_]]:
    """Day block of each landing's j-th shift, which one of the block it is, and if any, (K, J)."""
    order = np.argsort(-values, axis=1, kind="stable")
    number = np.take_along_axis(shifts, order, axis=1)
    ends = np.cumsum(number, axis=1)
    nth = np.arange(most)
    slot = (nth[None, :, None] >= ends[:, None, :]).sum(axis=2)
    fits = slot < values.shape[1]
    slot = np.minimum(slot, values.shape[1] - 1)
    before = np.take_along_axis(ends - number, slot, axis=1)
    return np.take_along_axis(order, slot, axis=1), nth - before, fits
