"""Trips of a few landings, written out as a matrix."""

import numpy as np

from spreadnet.model.trips.dense import Trips


def dense_trips(matrix):
    """Trips from any matrix with the origin landing in rows, shape (K, K)."""
    n_landings = len(matrix)
    return Trips(np.ascontiguousarray(matrix.T), np.arange(n_landings), np.ones(n_landings))
