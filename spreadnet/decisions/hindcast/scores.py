"""How good a foretelling was: hits, order and chances."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.stats import beta, rankdata

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]

FIRSTS = (5, 10, 20)
EDGES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)  # of the groups in which chances are checked
Z90 = 1.6448536269514722


def auc(chance: Array, found: NDArray[np.bool_]) -> tuple[float, float, float]:
    """
    Chance that a lake with a find was given a higher chance than one without, with 90% interval.

    Parameters
    ----------
    chance : array, shape (N,)
        What was foretold.
    found : array of bool, shape (N,)
        What came.

    Returns
    -------
    area, low, high : float
        0.5 is no better than chance; all missing where all or none were found.

    Notes
    -----
    Area under the ROC curve as a Mann-Whitney statistic; standard error of Hanley & McNeil 1982,
    Radiology 143:29, doi:10.1148/radiology.143.1.7063747.

    Examples
    --------
    >>> auc(np.array([0.9, 0.2, 0.5, 0.1]), np.array([True, False, False, True]))[0]
    0.5
    """
    yes, no = int(found.sum()), int((~found).sum())
    if not yes or not no:
        return np.nan, np.nan, np.nan
    area = float((rankdata(chance)[found].sum() - yes * (yes + 1) / 2) / (yes * no))
    once, twice = area / (2 - area), 2 * area**2 / (1 + area)
    variance = area * (1 - area) + (yes - 1) * (once - area**2) + (no - 1) * (twice - area**2)
    reach = Z90 * np.sqrt(max(variance, 0.0) / (yes * no))
    return area, max(area - reach, 0.0), min(area + reach, 1.0)


def hits(chance: Array, found: NDArray[np.bool_]) -> dict[int, float]:
    """
    Finds among the first lakes of the ranked list; of lakes that tie, as many as by chance.

    Examples
    --------
    >>> round(hits(np.array([0.1, 0.9] + [0.1] * 8), np.array([True, True] + [False] * 8))[5], 3)
    1.444
    """
    level = np.round(chance, 12)
    counted = {}
    for first in FIRSTS:
        last = np.sort(level)[::-1][min(first, len(level)) - 1] if len(level) else 0.0
        above, tied = level > last, level == last
        room = min(first, len(level)) - above.sum()
        counted[first] = float(found[above].sum() + found[tied].sum() * room / max(tied.sum(), 1))
    return counted


def brier(chance: Array, found: NDArray[np.bool_]) -> float:
    """
    Mean squared difference between chance and outcome; 0 is perfect (Brier 1950).

    Examples
    --------
    >>> round(brier(np.array([0.8, 0.1]), np.array([True, False])), 3)
    0.025
    """
    return float(np.mean((chance - found) ** 2)) if len(chance) else np.nan


def groups(chance: Array, found: NDArray[np.bool_]) -> pd.DataFrame:
    """
    Lakes grouped by what was foretold of them, with what came.

    Parameters
    ----------
    chance, found
        As for `auc`.

    Returns
    -------
    groups : DataFrame
        `from`, `to`, `lakes`, `foretold` (mean chance), `expected` finds, `found`, `share` found
        and the 90% interval `low` to `high` of that share (Clopper & Pearson 1934). Groups
        without a lake are left out.
    """
    place = np.clip(np.searchsorted(EDGES, chance, side="right") - 1, 0, len(EDGES) - 2)
    rows = []
    for g in np.unique(place):
        here = place == g
        n, k = int(here.sum()), int(found[here].sum())
        rows.append(
            {
                "from": EDGES[g],
                "to": EDGES[g + 1],
                "lakes": n,
                "foretold": float(chance[here].mean()),
                "expected": float(chance[here].sum()),
                "found": k,
                "share": k / n,
                "low": float(beta.ppf(0.05, k, n - k + 1)) if k else 0.0,
                "high": float(beta.ppf(0.95, k + 1, n - k)) if k < n else 1.0,
            }
        )
    columns = ["from", "to", "lakes", "foretold", "expected", "found", "share", "low", "high"]
    return pd.DataFrame(rows, columns=columns)
