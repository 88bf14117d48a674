"""What the uncertainty of the ranks comes from: which group of inputs moves them most."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.ranking.order import ranks
from spreadnet.model.estimates import GROUPS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Array = NDArray[np.floating]

FIRST = 20  # landings over which the region's shares are taken
SHARE_REDRAWN = 10  # one draw in so many is repeated for every group
LEAST_REDRAWN, MOST_REDRAWN = 10, 40  # 40 tell shares to within 3 points


def redrawn_number(draws: int) -> int:
    """
    Draws that are repeated with each group of inputs drawn anew.

    Few, since each costs as many runs as there are groups: about as many runs again as draws.

    Examples
    --------
    >>> [redrawn_number(n) for n in (4, 60, 200, 1000)]
    [4, 10, 20, 40]
    """
    return min(draws, MOST_REDRAWN, max(LEAST_REDRAWN, draws // SHARE_REDRAWN))


def rank_moves(
    scores: Array, redrawn: Array, *, factor: Array, ids: Sequence[str]
) -> tuple[Array, Array]:
    """
    Ranks in the draws that were repeated, and in their repeats.

    Parameters
    ----------
    scores : array, shape (N, K)
        Avoided per 100 hours by slope in N draws.
    redrawn : array, shape (M, G, K)
        The same in the first M draws, with each group drawn anew.
    factor : array, shape (K,)
        What real hours avoid over what the slope says.
    ids : sequence of str, length K
        Landing ids, to break ties.

    Returns
    -------
    ranks, redrawn : arrays, shapes (M, K) and (M, G, K)
        1 for the highest score.
    """
    number, groups, n_landings = redrawn.shape
    before = [ranks(row * factor, ids) for row in scores[:number]]
    after = [ranks(row * factor, ids) for row in redrawn.reshape(-1, n_landings)]
    return (
        np.array(before, float).reshape(number, n_landings),
        np.array(after, float).reshape(number, groups, n_landings),
    )


def total_effects(values: Array, redrawn: Array) -> Array:
    """
    Part of the variance of each result that goes when all but one group is known.

    Parameters
    ----------
    values : array, shape (M, K)
        Results of M draws.
    redrawn : array, shape (M, G, K)
        Results of the same draws with one group drawn anew.

    Returns
    -------
    effects : array, shape (G, K)
        In the unit of `values` squared.

    Raises
    ------
    ValueError
        If the shapes disagree.

    Notes
    -----
    Half the mean squared difference: the total effect of Jansen (1999), Comput. Phys. Commun.
    117:35, doi:10.1016/S0010-4655(98)00154-4. What groups do together counts in each of them, so
    effects can add up to more than the variance.
    """
    if redrawn.ndim != 3 or values.shape != (redrawn.shape[0], redrawn.shape[2]):
        message = f"Invalid redrawn, shape {redrawn.shape}. One layer a draw of {values.shape}."
        raise ValueError(message)
    return ((values[:, None, :] - redrawn) ** 2).mean(axis=0) / 2


def variance_shares(values: Array, redrawn: Array) -> Array:
    """
    Total effects as shares that add up to 1.

    Parameters
    ----------
    values, redrawn
        As for `total_effects`.

    Returns
    -------
    shares : array, shape (G, K)
        NaN for results that never change.
    """
    effects = total_effects(values, redrawn)
    whole = effects.sum(axis=0)
    return np.divide(effects, whole, out=np.full(effects.shape, np.nan), where=whole > 0)


def region_shares(values: Array, redrawn: Array, first: NDArray[np.bool_]) -> pd.DataFrame:
    """
    Shares over several landings together, with a standard error.

    Parameters
    ----------
    values : array, shape (M, K)
        Ranks in M draws.
    redrawn : array, shape (M, G, K)
        Ranks in the same draws with one group drawn anew.
    first : array of bool, shape (K,)
        Landings that count.

    Returns
    -------
    shares : DataFrame, index group
        `share` of the rank variance and its `standard_error` (jackknife over draws; missing where
        all variance is of one draw), largest first.
    """
    squares = ((values[:, None, :] - redrawn) ** 2)[:, :, first].sum(axis=2)  # (M, G)
    whole = squares.sum(axis=0)
    shares = whole / whole.sum() if whole.sum() > 0 else np.full(len(whole), np.nan)
    error = np.full(len(whole), np.nan)
    left = whole - squares
    if whole.sum() > 0 and (left.sum(axis=1) > 0).all():
        apart = left / left.sum(axis=1, keepdims=True) - shares
        error = np.sqrt((len(squares) - 1) / len(squares) * (apart**2).sum(axis=0))
    table = pd.DataFrame(
        {"share": shares, "standard_error": error}, index=pd.Index(GROUPS, name="group")
    )
    return table.sort_values("share", ascending=False, kind="stable")
