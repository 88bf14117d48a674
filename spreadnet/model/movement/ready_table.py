"""A ready table of trips between lakes, split among landings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import scipy.sparse as sp

from spreadnet.model.movement.shares import within_lake_split
from spreadnet.model.trips import Trips

if TYPE_CHECKING:
    from numpy.typing import DTypeLike, NDArray

    Array = NDArray[np.floating]


def movements_trips(
    movements: pd.DataFrame,
    launches: Array,
    landing_lake: NDArray[np.integer],
    *,
    lake_id: pd.Index,
    dtype: DTypeLike = np.float64,
) -> Trips:
    """
    Trips between landings from a ready table of trips between lakes.

    Trips are split by traffic among the landings of the lake they leave and of the lake they
    reach.

    Parameters
    ----------
    movements : DataFrame
        `from_lake_id`, `to_lake_id`, `trips`.
    launches : array, shape (K,)
        Boats launched in a season at each landing.
    landing_lake : array of int, shape (K,)
        Position of each landing's lake in `lake_id`.
    lake_id : Index
        All lakes.
    dtype : dtype
        `float64` or `float32`.

    Returns
    -------
    trips : Trips
        Between landings; none within a lake. Trips of lakes without a landing have no place here:
        `unplaced_trips` counts them.

    Raises
    ------
    ValueError
        If a lake is unknown or a number of trips is negative or missing.

    Examples
    --------
    >>> movements = pd.DataFrame(
    ...     {"from_lake_id": ["a"], "to_lake_id": ["b"], "trips": [8.0]}
    ... )
    >>> movements_trips(
    ...     movements, np.array([5.0, 10, 30]), np.array([0, 1, 1]), lake_id=pd.Index(["a", "b"])
    ... ).matrix()
    array([[0., 2., 6.],
           [0., 0., 0.],
           [0., 0., 0.]])
    """
    origin, destination, number = table_positions(movements, lake_id)
    n_lakes, n_landings = len(lake_id), len(landing_lake)
    apart = origin != destination
    between = sp.coo_array(
        (number[apart], (origin[apart], destination[apart])), shape=(n_lakes, n_lakes)
    ).tocsr()
    split = within_lake_split(np.asarray(launches, float), landing_lake)
    lakes, group = np.unique(landing_lake, return_inverse=True)
    place = sp.csr_array(
        (split, (landing_lake, np.arange(n_landings))), shape=(n_lakes, n_landings)
    )
    by_origin = (place.T @ between[lakes].T).toarray().astype(dtype)
    return Trips(by_origin, group, split)


def unplaced_trips(
    movements: pd.DataFrame, landing_lake: NDArray[np.integer], *, lake_id: pd.Index
) -> float:
    """
    Trips of a table that leave or reach a lake without a landing.

    Parameters
    ----------
    movements : DataFrame
        `from_lake_id`, `to_lake_id`, `trips`.
    landing_lake : array of int, shape (K,)
        Position of each landing's lake in `lake_id`.
    lake_id : Index
        All lakes.

    Returns
    -------
    trips : float
        Trips a season that `movements_trips` can't place.

    Raises
    ------
    ValueError
        If a lake is unknown or a number of trips is negative or missing.
    """
    origin, destination, number = table_positions(movements, lake_id)
    placed = np.isin(origin, landing_lake) & np.isin(destination, landing_lake)
    return float(number[~placed & (origin != destination)].sum())


def table_positions(
    movements: pd.DataFrame, lake_id: pd.Index
) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """
    Origin, destination and number of trips of every row, checked.

    Parameters
    ----------
    movements : DataFrame
        `from_lake_id`, `to_lake_id`, `trips`.
    lake_id : Index
        All lakes, L of them.

    Returns
    -------
    origin, destination, trips : arrays
        Positions in `lake_id`, and trips, one a row.

    Raises
    ------
    ValueError
        If a lake is unknown or a number of trips is negative or missing.
    """
    ends = []
    for column in ("from_lake_id", "to_lake_id"):
        positions = lake_id.get_indexer(pd.Index(movements[column]))
        if (positions < 0).any():
            unknown = movements[column].iloc[int(np.flatnonzero(positions < 0)[0])]
            message = f"Invalid {column} '{unknown}'. It must be one of the lakes."
            raise ValueError(message)
        ends.append(positions)
    trips = movements["trips"].to_numpy(float)
    if not ((trips >= 0) & np.isfinite(trips)).all():
        message = "Invalid trips. Every row needs a finite number of 0 or more."
        raise ValueError(message)
    return ends[0], ends[1], trips
