"""Which lakes are likeliest to hold a species unseen: those that boats have brought most to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]

REACH = 60.0  # log odds between which the common level is sought: certain either way


def unseen_by_exposure(chance: Array, exposure: Array, *, missed: Array) -> Array:
    """
    Chance that each lake is infested unseen, spread by how much the lake was exposed.

    Surveys alone say how many lakes hold a species unseen, not which: without them a pond that
    no boat visits would count as likely infested as the busiest lake next to an infested one. The
    number expected stays; the lakes that the past spread put at risk take more of it.

    Parameters
    ----------
    chance : array, shape (U,)
        Chance of each lake that is not known to be infested, from surveys alone, 0 to 1.
    exposure : array, shape (U,)
        Hazard that each of these lakes met in the past, 0 or more.
    missed : array, shape (U,)
        Chance that an infestation of the lake would not be known by now, 0 to 1.

    Returns
    -------
    chance : array, shape (U,)
        The same sum; unchanged where no lake was exposed.

    Raises
    ------
    ValueError
        If shapes disagree.

    Notes
    -----
    With H the exposure, a lake is infested with odds exp(H) - 1 and missed with chance m: odds
    c m (exp(H) - 1), with c such that the expected number is that of the surveys.

    Examples
    --------
    >>> unseen_by_exposure(np.array([0.2, 0.2]), np.array([0.9, 0.1]), missed=np.ones(2)).round(3)
    array([0.361, 0.039])
    """
    if not len(chance) == len(exposure) == len(missed):
        message = f"Invalid arrays of {len(chance)}, {len(exposure)} and {len(missed)} lakes."
        raise ValueError(message)
    with np.errstate(divide="ignore"):
        odds = np.log(np.expm1(np.minimum(exposure, REACH))) + np.log(missed)
    wanted = float(chance.sum())
    possible = np.isfinite(odds)
    if not 0 < wanted < possible.sum() * (1 - 1e-9):
        return np.asarray(chance, float)
    middle = -float(odds[possible].mean())

    def surplus(level: float) -> float:
        return float(expit(odds[possible] + level).sum() - wanted)

    level = brentq(
        surplus,
        middle - 2 * REACH - np.ptp(odds[possible]),
        middle + 2 * REACH + np.ptp(odds[possible]),
    )
    return np.where(possible, expit(odds + level), 0.0)
