"""Trips between landings, held as trips from lakes to landings so that they take little room."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import scipy.sparse as sp

from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]


class Law(Protocol):
    """What gives the same trips whenever they are asked for."""

    def stored(self) -> Trips:
        """All of them in one matrix."""


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Trips:
    """
    Trips a season between K landings, held by the A lakes that they leave.

    Boats of a lake are split among its landings in fixed shares, so a landing's trips are a share
    of its lake's: one row a landing and one column a lake hold all there is to know.

    Attributes
    ----------
    by_origin : array, shape (K, A)
        From the lake of the column (last water) to the landing of the row (launched next); 0 for
        the landing's own lake. `float32` where there are many.
    group : array of int, shape (K,)
        Column of each landing's lake.
    split : array, shape (K,)
        Share of its lake's boats that leave from each landing.
    law : Law or None
        What the matrix was worked out from, and can be again.

    Examples
    --------
    >>> by_origin = np.array([[0.0, 8], [6, 0], [2, 0]])
    >>> trips = Trips(by_origin, np.array([0, 1, 1]), np.array([1, 0.75, 0.25]))
    >>> trips.matrix()
    array([[0., 6., 2.],
           [6., 0., 0.],
           [2., 0., 0.]])
    >>> trips.into(np.ones((3, 1))).ravel(), trips.out_of(np.ones((3, 1))).ravel()
    (array([8., 6., 2.]), array([8., 6., 2.]))
    """

    by_origin: Array
    group: NDArray[np.integer]
    split: Array
    law: Law | None = None
    _leave: sp.csr_array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        n_landings, n_groups = self.by_origin.shape
        if len(self.group) != n_landings or len(self.split) != n_landings:
            message = (
                f"Invalid trips. {n_landings} rows need as many groups and splits, not "
                f"{len(self.group)} and {len(self.split)}."
            )
            raise ValueError(message)
        cells = (np.asarray(self.group), np.arange(n_landings))
        leave = sp.csr_array(
            (np.asarray(self.split, self.by_origin.dtype), cells), shape=(n_groups, n_landings)
        )
        object.__setattr__(self, "_leave", leave)

    def let_go(self) -> Trips:
        """The same without its matrix, NaN in its place, where its law gives that again."""
        if self.law is None:
            return self
        gone = np.broadcast_to(self.by_origin.dtype.type(np.nan), self.by_origin.shape)
        return replace(self, by_origin=gone)

    def at_hand(self) -> Trips:
        """The same with its matrix, worked out again where it was let go."""
        gone = self.law is not None and self.by_origin.strides == (0, 0)
        return self.law.stored() if self.law is not None and gone else self

    def into(self, at_origin: Array) -> Array:
        """Sum over origins, see `TripFlow`; in the precision that the trips are stored in."""
        return self._whole(self.by_origin @ (self._leave @ self._stored(at_origin)))

    def out_of(self, at_destination: Array) -> Array:
        """Sum over destinations, see `TripFlow`."""
        # With the few columns as rows the trips are read in the order in which they lie.
        rows = np.ascontiguousarray(self._stored(at_destination).T)
        by_group = self._whole((rows @ self.by_origin).T)
        return by_group[self.group] * np.asarray(self.split)[:, None]

    def leaving_mean(self, at_origin: Array) -> Array:
        """Mean over a lake's departing boats of a value at the landing, (K, C) to (A, C)."""
        return np.asarray(self._leave @ np.asarray(at_origin, float))

    def arriving(self) -> Array:
        """Trips a season that arrive at each landing, shape (K,)."""
        return self.by_origin.sum(axis=1, dtype=float)

    def leaving(self) -> Array:
        """Trips a season that leave each landing, shape (K,)."""
        return self.by_origin.sum(axis=0, dtype=float)[self.group] * self.split

    def total(self) -> float:
        """Trips a season in all."""
        return float(self.by_origin.sum(dtype=float))

    def rows(self, landings: slice | NDArray[np.integer]) -> Array:
        """Trips out of some landings to every landing, shape (len, K)."""
        share = np.asarray(self.split[landings], self.by_origin.dtype)
        return self.by_origin[:, self.group[landings]].T * share[:, None]

    def columns(self, landings: slice | NDArray[np.integer]) -> Array:
        """Trips from every landing into some landings, shape (K, len)."""
        share = np.asarray(self.split, self.by_origin.dtype)
        return self.by_origin[landings][:, self.group].T * share[:, None]

    def matrix(self) -> Array:
        """All trips, origin in rows, shape (K, K): for small regions."""
        return self.rows(slice(None))

    def _stored(self, values: Array) -> Array:
        """Values in the precision of the trips, except in complex-step tests."""
        if np.iscomplexobj(values):
            return values
        return values.astype(self.by_origin.dtype, copy=False)

    @staticmethod
    def _whole(values: Any) -> Array:
        """Sums in double precision again."""
        return values if np.iscomplexobj(values) else np.asarray(values, float)
