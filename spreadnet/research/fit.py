"""A gravity law fitted to any table of trips between lakes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import scipy.sparse as sp

from spreadnet.model.laws import POWER, DistanceLaw
from spreadnet.model.movement import (
    GravityFit,
    Interviews,
    destination_shares,
    fit_gravity,
    table_positions,
)
from spreadnet.research.indices import fit_indices
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class MovementFit:
    """
    A gravity law fitted to a table of trips.

    Attributes
    ----------
    gravity : GravityFit
        The fit, conditional on the trips that leave each lake.
    cells : DataFrame
        `from_lake_id`, `to_lake_id`, `trips`, `fitted`: every pair of different lakes, also
        those without a trip.
    indices : Series
        How well the two agree, see `fit_indices`; trips within a lake are left out.
    """

    gravity: GravityFit
    cells: pd.DataFrame
    indices: pd.Series


def fit_movements(
    movements: pd.DataFrame,
    distance_km: Array,
    *,
    lake_id: pd.Index,
    law: DistanceLaw = POWER,
    attractions: Mapping[str, Array] | None = None,
    free_levels: bool = False,
    prior: float | None = None,
) -> MovementFit:
    """
    Fit a gravity law to a table of trips between lakes.

    With `attractions` this is the production-constrained model (trips that leave each lake are
    taken as given), with `free_levels` the doubly constrained one.

    Parameters
    ----------
    movements : DataFrame
        `from_lake_id`, `to_lake_id`, `trips`. Pairs not listed have none; pairs listed twice are
        added up; rows within one lake are left out.
    distance_km : array, shape (L, L)
        Kilometres from the lake of the row to the lake of the column, in the order of `lake_id`.
    lake_id : Index
        All lakes, L of them.
    law : DistanceLaw
        The distance law; `law.softened(0)` to compare with published coefficients.
    attractions : mapping of str to array, shape (L,), optional
        Covariates of the lakes where trips end, on the log scale.
    free_levels : bool
        Give every lake where trips end a level of its own in place of `attractions`.
    prior : float or None
        As in `fit_gravity`; none by default, as complete tables need none.

    Returns
    -------
    fit : MovementFit
        Coefficients, fitted trips and indices.

    Raises
    ------
    ValueError
        If a lake is unknown, a number of trips is negative or missing, or shapes disagree.
    ModelError
        If the table doesn't determine the coefficients.

    Notes
    -----
    Conditional on the origin the multinomial likelihood gives the same coefficients as a Poisson
    regression with a free level for every origin (and destination), and standard errors as well.

    Examples
    --------
    >>> lake_id = pd.Index(["1", "2", "3"])
    >>> distance_km = np.array([[0.0, 1, 2], [1, 0, 1], [2, 1, 0]])
    >>> movements = pd.DataFrame(
    ...     {"from_lake_id": ["1", "1", "3", "3"], "to_lake_id": ["2", "3", "1", "2"],
    ...      "trips": [8.0, 2.0, 2.0, 8.0]}
    ... )
    >>> fit = fit_movements(movements, distance_km, lake_id=lake_id, law=POWER.softened(0))
    >>> fit.gravity.coefficients  # 4 times the trips at half the distance
    array([-2.])
    """
    origin, destination, trips = table_positions(movements, lake_id)
    n_lakes = len(lake_id)
    apart = origin != destination
    counts = sp.coo_array(
        (trips[apart], (origin[apart], destination[apart])), shape=(n_lakes, n_lakes)
    ).tocsr()
    everywhere = np.arange(n_lakes)
    interviews = Interviews(
        counts=counts,
        landing=everywhere,
        direction=np.ones(n_lakes, int),
        own_lake=everywhere,
        candidates=np.ones(n_lakes, bool),
        left_out={},
    )
    covariates = {} if attractions is None else attractions
    gravity = fit_gravity(
        interviews, covariates, distance_km, law=law, prior=prior, free_levels=free_levels
    )
    shares = destination_shares(
        gravity, covariates, distance_km, everywhere, coefficients=gravity.coefficients
    )
    observed = counts.toarray()
    cells = _cells(lake_id, observed, observed.sum(axis=1, keepdims=True) * shares)
    return MovementFit(gravity, cells, fit_indices(cells["trips"], cells["fitted"]))


def _cells(lake_id: pd.Index, observed: Array, fitted: Array) -> pd.DataFrame:
    """Every pair of different lakes with its trips, row by row."""
    origin, destination = np.nonzero(~np.eye(len(lake_id), dtype=bool))
    return pd.DataFrame(
        {
            "from_lake_id": lake_id[origin],
            "to_lake_id": lake_id[destination],
            "trips": observed[origin, destination],
            "fitted": fitted[origin, destination],
        }
    )
