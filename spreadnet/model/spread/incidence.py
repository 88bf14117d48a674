"""The matrix that sums what happens at landings over the lakes they belong to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

if TYPE_CHECKING:
    from numpy.typing import NDArray


def collapse_matrix(landing_lake: NDArray[np.integer], n_lakes: int) -> sp.csr_array:
    """
    Matrix that adds up landings by lake.

    Parameters
    ----------
    landing_lake : array of int, shape (K,)
        Position of each landing's lake, 0 to `n_lakes - 1`.
    n_lakes : int
        Number of lakes L.

    Returns
    -------
    collapse : sparse array, shape (L, K)
        1 where the landing belongs to the lake.

    Raises
    ------
    ValueError
        If a position is outside 0 to `n_lakes - 1`.

    Examples
    --------
    >>> collapse_matrix(np.array([0, 1, 0]), 2) @ np.array([1.0, 2.0, 4.0])
    array([5., 2.])
    """
    positions = np.asarray(landing_lake)
    if positions.size and (positions.min() < 0 or positions.max() >= n_lakes):
        message = f"Invalid landing_lake. Positions must lie in 0 to {n_lakes - 1}."
        raise ValueError(message)
    columns = np.arange(len(positions))
    return sp.csr_array(
        (np.ones(len(positions)), (positions, columns)), shape=(n_lakes, len(positions))
    )
