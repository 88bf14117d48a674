"""A whole-number program put together from blocks of columns and grouped sums, for HiGHS."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Counts = NDArray[np.integer]
    Array = NDArray[np.floating]

MOST_NODES = 200  # of branch and bound: a count, since a clock would make equal runs differ
NEARLY = 1e-6  # how far from whole still counts as whole


@dataclass(slots=True, eq=False)
class Program:
    """
    Columns and rows as they are put together; all columns are 0 or more.

    Attributes
    ----------
    most, whole : list of arrays
        Upper bounds, and 1 where only whole numbers will do, a block of columns each.
    low, high : list of arrays
        Bounds of rows.
    entries : list of (rows, columns, values)
        Of the matrix.
    """

    most: list[Array] = field(default_factory=list)
    whole: list[Array] = field(default_factory=list)
    low: list[Array] = field(default_factory=list)
    high: list[Array] = field(default_factory=list)
    entries: list[tuple[Counts, Counts, Array]] = field(default_factory=list)
    columns: int = 0
    rows: int = 0

    def add(self, count: int, *, most: Any = 1.0, whole: bool = False) -> Counts:
        """New columns; their positions."""
        self.most.append(np.broadcast_to(np.asarray(most, float), count))
        self.whole.append(np.full(count, float(whole)))
        self.columns += count
        return np.arange(self.columns - count, self.columns)

    def sums(self, low: Any, high: Any, *parts: tuple[Any, Counts, Any], count: int = 1) -> None:
        """
        New rows: grouped sums of columns within bounds.

        Parameters
        ----------
        low, high : float or array, shape (count,)
            Bounds of each row.
        parts : (group, columns, value)
            Row of each column, from 0, and what it counts there; numbers stand for all.
        count : int
            Rows.
        """
        for group, columns, value in parts:
            size = len(columns)
            rows = self.rows + np.broadcast_to(np.asarray(group, int), size)
            self.entries.append((rows, columns, np.broadcast_to(np.asarray(value, float), size)))
        self.low.append(np.broadcast_to(np.asarray(low, float), count))
        self.high.append(np.broadcast_to(np.asarray(high, float), count))
        self.rows += count

    def at_most(self, keys: Any, columns: Counts, limit: Any) -> None:
        """Sums of columns with the same key, within limits: rows only where these can bind."""
        _, first, group = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        group = group.reshape(-1)
        most = np.broadcast_to(np.asarray(limit, float), len(columns))[first]
        binds = np.bincount(group, np.concatenate(self.most)[columns], len(first)) > most
        row, of = np.cumsum(binds) - 1, binds[group]
        self.sums(
            *(-np.inf, most[binds], (row[group[of]], columns[of], 1.0)), count=int(binds.sum())
        )

    def solve(
        self,
        cost: Array,
        *,
        least: Array,
        most: Array,
        gap: float = 0.0,
        nodes: int = MOST_NODES,
        loose: Counts | None = None,
    ) -> Array | None:
        """
        Columns of least cost, by HiGHS.

        Parameters
        ----------
        cost, least, most : array, shape (columns,)
            Of each column, and its bounds.
        gap : float
            How far from the least, relative to it, is near enough.
        nodes : int
            Most of branch and bound.
        loose : array of int, optional
            Columns that are likely to be whole without being asked; they are asked where they
            are not.

        Returns
        -------
        found : array or None
            None where nothing was found within the nodes.
        """
        if not self.columns:
            return np.zeros(0)
        rows, columns, values = (np.concatenate(part) for part in zip(*self.entries, strict=True))
        matrix = coo_array((values, (rows, columns)), shape=(self.rows, self.columns)).tocsr()
        limits = LinearConstraint(matrix, np.concatenate(self.low), np.concatenate(self.high))
        whole = np.concatenate(self.whole)
        asked = whole.copy()
        asked[np.zeros(0, int) if loose is None else loose] = 0.0
        answer = milp(
            cost,
            integrality=asked,
            bounds=Bounds(least, most),
            constraints=limits,
            options={"node_limit": nodes, "mip_rel_gap": gap},
        )
        if answer.x is None:
            return None
        rounded = np.where(whole > 0, np.rint(answer.x), answer.x)
        if loose is not None and np.abs(rounded - answer.x).max() > NEARLY:
            return self.solve(cost, least=least, most=most, gap=gap, nodes=nodes)
        return rounded
