"""The same hours placed in three ways: by the ranking, busiest first, and equally."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.hours.reach import steady

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from spreadnet.decisions.hours.reach import Reach

    Array = NDArray[np.floating]

WAYS = ("ranked", "busiest first", "equal hours")
ROUNDS = 8  # times the ranking is taken afresh while hours are placed


def place_ranked(budget: float, reach: Reach, *, value: Callable[[Array], Array]) -> Array:
    """
    Hours by landing and day block, always where the next hour avoids most.

    The value of an hour falls as a landing fills up, so the hours are placed in rounds and the
    values are taken afresh before each.

    Parameters
    ----------
    budget : float
        Hours in the season.
    reach : Reach
        Shift length, who can be staffed, most hours a landing.
    value : callable
        Hours so far, shape (K, D), to the value of one more hour, shape (K, D).

    Returns
    -------
    hours : array, shape (K, D)
        Hours placed; their sum is the budget, or less where no landing can take more.
    """
    hours = np.zeros_like(reach.boats)
    for remaining in range(ROUNDS, 0, -1):
        left = budget - hours.sum()
        share = _whole_shifts(left / remaining, reach.shift_hours) if remaining > 1 else left
        hours = _fill(hours, value(hours), budget=min(share, left), reach=reach)
    return hours


def place_busiest(budget: float, reach: Reach) -> Array:
    """
    Hours by landing and day block, where most boats are met in an hour.

    Where a crew has its hands full at several landings, the one where most boats pass goes first.

    Parameters
    ----------
    budget : float
        Hours in the season.
    reach : Reach
        Shift length, boats met, who can be staffed, most hours a landing.

    Returns
    -------
    hours : array, shape (K, D)
        Hours placed, by the same limits as the ranking.
    """
    return _fill(np.zeros_like(reach.boats), reach.boats, budget=budget, reach=reach)


def place_equally(budget: float, reach: Reach) -> Array:
    """
    The same hours at every landing that can be staffed, in its own busiest day blocks.

    Parameters
    ----------
    budget : float
        Hours in the season.
    reach : Reach
        Boats met, who can be staffed, most hours a landing.

    Returns
    -------
    hours : array, shape (K, D)
        Hours placed; parts of shifts, where there are fewer shifts than landings.
    """
    hours = np.zeros_like(reach.boats)
    staffed = np.flatnonzero(reach.can_staff)
    if not staffed.size:
        return hours
    most = _whole_shifts(reach.most_hours, reach.shift_hours, up=False)
    each = min(budget / staffed.size, most)
    keys = (-reach.passing[staffed], -steady(reach.boats)[staffed])
    order = np.lexsort(keys, axis=1)
    room = reach.hours_in_season[order]
    before = np.cumsum(room, axis=1) - room
    hours[staffed[:, None], order] = np.clip(each - before, 0, room)
    return hours


def _fill(hours: Array, values: Array, *, budget: float, reach: Reach) -> Array:
    """Place whole shifts on the best cells in order, within each landing's and cell's room."""
    hours = hours.copy()
    n_blocks = hours.shape[1]
    for cell in reach.best_first(values):
        landing, block = divmod(int(cell), n_blocks)
        if budget <= 1e-9 or values[landing, block] <= 0:
            break
        if not reach.can_staff[landing]:
            continue
        room = min(
            reach.most_hours - hours[landing].sum(),
            reach.hours_in_season[block] - hours[landing, block],
        )
        whole = _whole_shifts(room, reach.shift_hours, up=False)
        placed = min(budget, whole)
        if placed > 0:
            hours[landing, block] += placed
            budget -= placed
    return hours


def _whole_shifts(hours: float, shift_hours: float, *, up: bool = True) -> float:
    """Hours rounded to whole shifts."""
    shifts = hours / shift_hours
    return float(np.ceil(shifts - 1e-9) if up else np.floor(shifts + 1e-9)) * shift_hours
