"""Places sorted into square cells, each of which can be taken as one lump."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]
    Places = NDArray[np.integer]


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """
    Places in the order of the square cells that they lie in, and each cell's lump.

    Attributes
    ----------
    order : array of int, shape (N,)
        Positions of the places; all that follows is in this order.
    cell : array of int, shape (N,)
        Cell of each place.
    starts : array of int, shape (cells + 1,)
        Where each cell begins.
    at : array of int, shape (2, cells)
        Column and row of each cell in the grid.
    places_km : array, shape (N, 2)
        Easting and northing.
    log_weight : array, shape (N,)
        Logarithm of the weight of each place.
    share : array, shape (N,)
        Share of each place in the weight of its cell; even where the cell has none.
    middle_km : array, shape (cells, 2)
        Mean place of each cell by weight.
    aside_km : array, shape (N, 2)
        From the middle of its cell to each place.
    reach_km : array, shape (cells,)
        From the middle of each cell to its farthest place.
    log_sum : array, shape (cells,)
        Logarithm of the sum of weights, -inf where there is none.
    """

    order: Places
    cell: Places
    starts: Places
    at: Places
    places_km: Array
    log_weight: Array
    share: Array
    middle_km: Array
    aside_km: Array
    reach_km: Array
    log_sum: Array

    def __len__(self) -> int:
        return len(self.log_sum)


def in_cells(places_km: Array, log_weight: Array, *, corner_km: Array, cell_km: float) -> Cells:
    """
    Sort places by the cell that they lie in, and lump each cell by weight.

    Parameters
    ----------
    places_km : array, shape (N, 2)
        Easting and northing.
    log_weight : array, shape (N,)
        Logarithm of the weight of each place; -inf for none.
    corner_km : array, shape (2,)
        Where the grid begins.
    cell_km : float
        Side of its cells.

    Returns
    -------
    cells : Cells
        Only those with a place in them.

    Examples
    --------
    >>> places_km = np.array([[11.0, 1], [1, 1], [3, 1]])
    >>> cells = in_cells(places_km, np.log([5.0, 1, 3]), corner_km=np.zeros(2), cell_km=10)
    >>> cells.order, cells.cell, cells.share
    (array([1, 2, 0]), array([0, 0, 1]), array([0.25, 0.75, 1.  ]))
    >>> cells.middle_km, np.exp(cells.log_sum).round(9)
    (array([[ 2.5,  1. ],
           [11. ,  1. ]]), array([4., 5.]))
    """
    at = np.floor((places_km - corner_km) / cell_km).astype(np.int64)
    cells, cell = np.unique(at, axis=0, return_inverse=True)
    order = np.argsort(cell, kind="stable")
    places_km, log_weight, cell = places_km[order], np.asarray(log_weight)[order], cell[order]
    starts = np.searchsorted(cell, np.arange(len(cells) + 1))
    top = np.maximum.reduceat(log_weight, starts[:-1]) if len(cells) else np.zeros(0)
    nothing = np.isneginf(top)
    base = np.where(nothing, 0.0, top)
    weight = np.where(nothing[cell], 1.0, np.exp(log_weight - base[cell]))
    total = np.bincount(cell, weight, minlength=len(cells))
    share = weight / total[cell]
    middle = [np.bincount(cell, share * x, minlength=len(cells)) for x in places_km.T]
    aside = places_km - np.column_stack(middle)[cell]
    reach = np.zeros(len(cells))
    np.maximum.at(reach, cell, np.hypot(*aside.T))
    return Cells(
        order=order,
        cell=cell,
        starts=starts,
        at=np.ascontiguousarray(cells.T),
        places_km=places_km,
        log_weight=log_weight,
        share=share,
        middle_km=np.column_stack(middle),
        aside_km=aside,
        reach_km=reach,
        log_sum=np.where(nothing, -np.inf, base + np.log(total)),
    )


def near_cells(
    landings: Cells, lakes: Cells, cell: int, *, own: Places, rings: int, fewest: int
) -> NDArray[np.bool_]:
    """
    Mark the cells whose lakes are taken one by one for the landings of a cell.

    Parameters
    ----------
    landings, lakes : Cells
        On one grid.
    cell : int
        Cell of landings.
    own : array of int
        Lakes of these landings, in the order of cells: always near.
    rings : int
        Rings of cells around it that are near.
    fewest : int
        Lakes that are near at least, where there are as many.

    Returns
    -------
    near : array of bool, shape (cells of lakes,)
        True for cells that are near.
    """
    here = landings.at[:, cell]
    near = (np.abs(lakes.at[0] - here[0]) <= rings) & (np.abs(lakes.at[1] - here[1]) <= rings)
    near[lakes.cell[own]] = True
    sizes = np.diff(lakes.starts)
    if sizes[near].sum() < fewest:
        away = np.hypot(*(lakes.middle_km - landings.middle_km[cell]).T)
        nearest = np.argsort(away, kind="stable")
        before = np.cumsum(sizes[nearest]) - sizes[nearest]
        near[nearest[before < fewest]] = True
    return near
