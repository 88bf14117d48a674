"""What knowing more of one landing is worth: hours that would be placed elsewhere, and better."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import gammaincc

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.decisions.coverage import Reach

    Array = NDArray[np.floating]
    Positions = NDArray[np.integer]

SMALLEST = 1e-6  # spread over value below which nothing is unsure


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


def expected_gain(value: Array, against: Array, spread: Array) -> Array:
    """
    Expected gain from being told a value before choosing between it and another.

    Parameters
    ----------
    value : array
        Value of what is told, as far as known now, 0 or more.
    against : array
        Value of the other choice, which is known. All arrays are broadcast.
    spread : array
        Standard deviation by which `value` is expected to move, 0 or more.

    Returns
    -------
    gain : array
        Expected value of the better choice, less the value of the choice that looks better now;
        0 or more.

    Notes
    -----
    The moved value has a gamma distribution, since avoided infestations are never below 0. Where
    `spread` is small against `value` this is the unit normal loss integral of Raiffa & Schlaifer
    (1961); the chance that a landing thought of little value turns out among the first is larger.

    Examples
    --------
    >>> expected_gain(np.array([1.0, 1.0, 1.0]), np.array([1.0, 1.2, 1.2]), np.array([0.1, 0.1, 0]))
    array([0.039861  , 0.00123155, 0.        ])
    """
    value, against, spread = np.broadcast_arrays(value, against, spread)
    gain = np.zeros(value.shape)
    unsure = (spread > SMALLEST * value) & (value > 0) & (against > 0)
    mean, other = value[unsure], against[unsure]
    shape = (mean / spread[unsure]) ** 2
    point = shape * other / mean
    above = mean * gammaincc(shape + 1, point) - other * gammaincc(shape, point)
    gain[unsure] = np.maximum(above - np.maximum(mean - other, 0), 0)
    return gain


def chance_of_change(value: Array, against: Array, spread: Array) -> Array:
    """
    Chance that the choice which looks better now will not once the value is told.

    Parameters
    ----------
    value, against, spread
        As for `expected_gain`.

    Returns
    -------
    chance : array
        0 to 1.

    Examples
    --------
    >>> chance_of_change(np.array([1.0, 1.0]), np.array([1.1, 3.0]), np.array([0.1, 0.1])).round(2)
    array([0.16, 0.  ])
    """
    value, against, spread = np.broadcast_arrays(value, against, spread)
    chance = np.zeros(value.shape)
    unsure = (spread > SMALLEST * value) & (value > 0) & (against > 0)
    mean, other = value[unsure], against[unsure]
    shape = (mean / spread[unsure]) ** 2
    above = gammaincc(shape, shape * other / mean)
    chance[unsure] = np.where(mean > other, 1 - above, above)
    return chance


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
    most = int(min(shifts.sum(axis=1).max(initial=0), placed))
    block, nth, fits = _own_shifts(values, shifts, most)
    value = np.where(fits, np.take_along_axis(values, block, axis=1), 0.0)
    cells = np.argsort(-values.ravel(), kind="stable")
    number = shifts.ravel()[cells]
    every = np.append(np.repeat(values.ravel()[cells], number), 0.0)  # all shifts, best first
    first = np.empty(values.size, int)
    first[cells] = np.cumsum(number) - number
    cell = np.arange(len(values))[:, None] * values.shape[1] + block
    place = np.where(fits, first[cell] + nth, len(every) + placed)  # of its shifts among all
    wanted = placed - 1 - np.arange(most)  # among the shifts of the others
    at = np.tile(wanted, (len(values), 1))
    for k in np.flatnonzero((place < placed + most).any(axis=1)):
        at[k] += np.searchsorted(place[k] - np.arange(most), wanted, side="right")
    against = every[np.minimum(at, len(every) - 1)]
    return block, value, np.where(fits, against, 0.0)


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
