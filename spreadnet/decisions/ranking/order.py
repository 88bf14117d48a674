"""Landings in order of the new infestations that the next educator hours would avoid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.hours import steady
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Array = NDArray[np.floating]

FIRSTS = (5, 10, 20)
SURE = 0.9  # share of draws in which one landing beats another that can be told from it


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class RankDraws:
    """
    What draws over evidence and assumptions say of the order, for K landings.

    Attributes
    ----------
    rank : array of int, shape (K,)
        Rank by the plug-in score, 1 first.
    rank_low, rank_high : arrays of int, shape (K,)
        Ends of the 90% interval of the rank over draws.
    chance_first : mapping of int to array, shape (K,)
        Chance of being among the first 5, 10 and 20.
    low, high : arrays, shape (K,)
        Ends of the 90% interval of the score over draws.
    """

    rank: NDArray[np.int64]
    rank_low: NDArray[np.int64]
    rank_high: NDArray[np.int64]
    chance_first: dict[int, Array]
    low: Array
    high: Array


def ranks(scores: Array, ids: Sequence[str]) -> NDArray[np.int64]:
    """
    Rank of each landing, 1 for the highest score, ties by id.

    Parameters
    ----------
    scores : array, shape (K,)
        Higher is better; compared to 12 significant digits.
    ids : sequence of str, length K
        Landing ids, used to break ties the same way every time.

    Returns
    -------
    rank : array of int, shape (K,)
        1 to K, each once.

    Examples
    --------
    >>> ranks(np.array([0.2, 0.9, 0.2]), ["b", "c", "a"])
    array([3, 1, 2])
    """
    by_id = np.argsort(np.asarray(ids, dtype=object), kind="stable")
    order = by_id[np.argsort(-steady(scores)[by_id], kind="stable")]
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(1, len(order) + 1)
    return rank


def rank_draws(scores: Array, draws: Array, *, ids: Sequence[str]) -> RankDraws:
    """
    Rank with its interval over draws.

    Parameters
    ----------
    scores : array, shape (K,)
        Score at the best estimate of everything.
    draws : array, shape (N, K)
        Scores in N draws; at least one.
    ids : sequence of str, length K
        Landing ids, to break ties.

    Returns
    -------
    result : RankDraws
        In the order given.

    Raises
    ------
    ValueError
        If `draws` is empty or has another number of landings.
    """
    if draws.ndim != 2 or not len(draws) or draws.shape[1] != len(scores):
        message = f"Invalid draws, shape {draws.shape}. Rows of {len(scores)} scores are needed."
        raise ValueError(message)
    rank = ranks(scores, ids)
    drawn = np.stack([ranks(row, ids) for row in draws])
    low, high = np.quantile(draws, [0.05, 0.95], axis=0)
    ends = np.quantile(drawn, [0.05, 0.95], axis=0, method="inverted_cdf").astype(np.int64)
    return RankDraws(
        rank=rank,
        rank_low=np.minimum(ends[0], rank),
        rank_high=np.maximum(ends[1], rank),
        chance_first={first: (drawn <= first).mean(axis=0) for first in FIRSTS},
        low=np.minimum(low, scores),
        high=np.maximum(high, scores),
    )


def rank_groups(rank: NDArray[np.int64], draws: Array) -> NDArray[np.int64]:
    """
    Groups of landings that can't be told apart from the first of their group.

    Parameters
    ----------
    rank : array of int, shape (K,)
        Order of the landings, 1 first.
    draws : array, shape (N, K)
        Scores in N draws.

    Returns
    -------
    group : array of int, shape (K,)
        1 for the first; a landing begins a new one where the first of the group before it scores
        higher in nine draws of ten or more.

    Examples
    --------
    >>> draws = np.array([[3.0, 2.9, 1.0], [3.0, 3.1, 1.5]])
    >>> rank_groups(np.array([1, 2, 3]), draws)
    array([1, 1, 2])
    """
    group = np.empty(len(rank), np.int64)
    number, first = 1, None
    for k in np.argsort(rank, kind="stable"):
        if first is None:
            first = k
        elif np.mean(draws[:, first] > draws[:, k]) >= SURE:
            number, first = number + 1, k
        group[k] = number
    return group
