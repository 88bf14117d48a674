"""How well modelled trips agree with observed ones, in the indices of the literature.

Every function takes the cells that can hold trips and no others. A cell that is 0 by design (from
a place to itself) would flatter the mean error: leave it out, see `off_diagonal`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import xlogy

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Array = NDArray[np.floating]


def off_diagonal(matrix: ArrayLike) -> Array:
    """
    Cells of a square table of trips without its diagonal, row by row.

    Parameters
    ----------
    matrix : array-like, shape (L, L)
        Trips from row to column.

    Returns
    -------
    cells : array, shape (L (L - 1),)
        The cells that can hold trips between places.

    Examples
    --------
    >>> off_diagonal([[9.0, 1.0], [2.0, 9.0]])
    array([1., 2.])
    """
    values = np.asarray(matrix, float)
    return values[~np.eye(len(values), dtype=bool)]


def common_part_of_trips(observed: ArrayLike, modelled: ArrayLike) -> float:
    """
    Share of trips that both tables have in common (CPC, Sorensen's index on trips).

    Parameters
    ----------
    observed, modelled : array-like, same shape
        Trips, 0 or more.

    Returns
    -------
    share : float
        0 nothing in common, 1 the same.

    Notes
    -----
    2 sum min / (sum of both), Lenormand et al. 2016, doi:10.1016/j.jtrangeo.2015.12.008.

    Examples
    --------
    >>> common_part_of_trips([10, 0], [5, 5])
    0.5
    """
    seen, model = _pair(observed, modelled)
    return float(2 * np.minimum(seen, model).sum() / (seen.sum() + model.sum()))


def common_part_of_links(observed: ArrayLike, modelled: ArrayLike) -> float:
    """
    Share of used cells that both tables have in common (CPL).

    Parameters
    ----------
    observed, modelled : array-like, same shape
        Trips, 0 or more.

    Returns
    -------
    share : float
        0 to 1.
    """
    seen, model = _pair(observed, modelled)
    both = ((seen > 0) & (model > 0)).sum()
    return float(2 * both / ((seen > 0).sum() + (model > 0).sum()))


def srmse(observed: ArrayLike, modelled: ArrayLike) -> float:
    """
    Root mean squared error over the mean of the observed trips.

    Parameters
    ----------
    observed, modelled : array-like, same shape
        Trips in the cells that can hold some; cells that are 0 by design must be left out.

    Returns
    -------
    error : float
        0 the same; no upper end.

    Examples
    --------
    >>> srmse([1.0, 3.0], [2.0, 2.0])
    0.5
    """
    seen, model = _pair(observed, modelled)
    return float(np.sqrt(((seen - model) ** 2).mean()) / seen.mean())


def similarity(observed: ArrayLike, modelled: ArrayLike) -> float:
    """
    Mean over cells of the part in common (SSI); cells that are 0 in both are left out.

    Parameters
    ----------
    observed, modelled : array-like, same shape
        Trips, 0 or more.

    Returns
    -------
    index : float
        0 to 1. Every cell counts the same, however few trips it holds.
    """
    seen, model = _pair(observed, modelled)
    used = seen + model > 0
    return float((2 * np.minimum(seen, model)[used] / (seen + model)[used]).mean())


def poisson_deviance(observed: ArrayLike, modelled: ArrayLike) -> float:
    """
    Deviance of counts about modelled trips.

    Parameters
    ----------
    observed, modelled : array-like, same shape
        Trips, 0 or more.

    Returns
    -------
    deviance : float
        0 the same; infinite when a cell modelled as 0 holds trips.
    """
    seen, model = _pair(observed, modelled)
    if ((model == 0) & (seen > 0)).any():
        return float("inf")
    ratio = np.divide(seen, model, out=np.ones_like(seen), where=model > 0)
    return float(2 * (xlogy(seen, ratio) - (seen - model)).sum())


def fit_indices(observed: ArrayLike, modelled: ArrayLike) -> pd.Series:
    """
    All indices of one pair of tables.

    Parameters
    ----------
    observed, modelled : array-like, same shape
        Trips in the cells that can hold some.

    Returns
    -------
    indices : Series
        `common_part_of_trips`, `common_part_of_links`, `srmse`, `similarity`, `deviance`,
        `r_squared`, `cells`.
    """
    seen, model = _pair(observed, modelled)
    varied = seen.std() > 0 and model.std() > 0
    return pd.Series(
        {
            "common_part_of_trips": common_part_of_trips(seen, model),
            "common_part_of_links": common_part_of_links(seen, model),
            "srmse": srmse(seen, model),
            "similarity": similarity(seen, model),
            "deviance": poisson_deviance(seen, model),
            "r_squared": float(np.corrcoef(seen, model)[0, 1] ** 2) if varied else np.nan,
            "cells": float(seen.size),
        }
    )


def _pair(observed: ArrayLike, modelled: ArrayLike) -> tuple[Array, Array]:
    """Both tables as flat arrays of the same cells."""
    seen, model = np.asarray(observed, float), np.asarray(modelled, float)
    if seen.shape != model.shape or not seen.sum() > 0 or not ((seen >= 0) & (model >= 0)).all():
        message = (
            f"Invalid trips. Both tables need the same shape ({seen.shape} and {model.shape} "
            f"given), numbers of 0 or more, and some observed trips."
        )
        raise ValueError(message)
    return seen.ravel(), model.ravel()
