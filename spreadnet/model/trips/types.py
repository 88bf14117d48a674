"""What the spread asks of trips, however they are held."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]


class TripFlow(Protocol):
    """What the spread needs of trips: sums over origins and over destinations."""

    def into(self, at_origin: Array) -> Array:
        """
        Sum over origins of trips times a value at the origin.

        Parameters
        ----------
        at_origin : array, shape (K, C)
            A value for each landing that boats leave.

        Returns
        -------
        sums : array, shape (K, C)
            For each landing where boats arrive.
        """

    def out_of(self, at_destination: Array) -> Array:
        """
        Sum over destinations of trips times a value at the destination.

        Parameters
        ----------
        at_destination : array, shape (K, C)
            A value for each landing where boats arrive.

        Returns
        -------
        sums : array, shape (K, C)
            For each landing that boats leave.
        """

    def arriving(self) -> Array:
        """Trips a season that arrive at each landing, (K,)."""

    def leaving(self) -> Array:
        """Trips a season that leave each landing, (K,)."""

    def rows(self, landings: slice | NDArray[np.integer]) -> Array:
        """Trips out of some landings to every landing, (len, K)."""

    def columns(self, landings: slice | NDArray[np.integer]) -> Array:
        """Trips from every landing into some landings, (K, len)."""
