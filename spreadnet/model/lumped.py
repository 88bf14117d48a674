"""Trips over a nation: lakes nearby one by one, those far away lumped cell by cell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import scipy.sparse as sp

from spreadnet.model.flows import Trips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.law_trips import LawTrips

    Array = NDArray[np.floating]
    Places = NDArray[np.integer]

CELL_KM = 80.0
RINGS = 2
FINER = 2  # cells of lakes along a side of a cell of landings: most of the error is on their side
FEWEST_LAKES = 64  # taken one by one at least, however far away a landing lies


@dataclass(frozen=True, slots=True, eq=False)
class NearTrips:
    """
    Trips to the landings of one cell from the lakes around it.

    Attributes
    ----------
    landings : slice
        Of the landings in the order of their cells.
    lakes : array of int, shape (n,)
        Of the lakes in the order of their cells.
    trips : array, shape (k, n)
        Trips a season from the lake of the column to the landing of the row, `float32`.
    """

    landings: slice
    lakes: Places
    trips: Array


@dataclass(frozen=True, slots=True, eq=False)
class LumpedTrips:
    """
    Trips a season between K landings, without a number for every pair of landing and lake.

    Serves wherever `TripFlow` does. Made by `lumped_trips`.

    Attributes
    ----------
    group : array of int, shape (K,)
        Place of each landing's lake among the A lakes.
    split : array, shape (K,)
        Share of its lake's boats that leave from each landing.
    boats : array, shape (K,)
        Trips a season that arrive at each landing; 0 where there is no other lake to come from.
    order, lakes : arrays of int, shapes (K,) and (A,)
        Landings, and lakes, in the order of their cells.
    near : tuple of NearTrips
        Trips from lakes nearby, one entry for each cell with a landing.
    far : array, shape (D, C)
        Weight of each cell of lakes on boats of each cell of landings, `float32`; 0 for cells
        nearby.
    to_landings : sparse array, shape (K, D)
        From weights to trips a season, landings in the order of their cells.
    leave : sparse array, shape (A, K)
        Share of its lake's boats that leave from each landing, lakes in the order of their cells.
    lump : sparse array, shape (C, A)
        Share of each lake in the pull of its cell.
    """

    group: Places
    split: Array
    boats: Array
    order: Places
    lakes: Places
    near: tuple[NearTrips, ...]
    far: Array
    to_landings: sp.csr_array
    leave: sp.csr_array
    lump: sp.csr_array

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
        sums = self._from_lakes(self.leave @ _single(at_origin))
        whole = np.empty(sums.shape, np.result_type(sums, float))
        whole[self.order] = sums
        return whole

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
        given = _single(at_destination)[self.order]
        # With the few columns as rows the trips are read in the order in which they lie.
        at_cells = np.ascontiguousarray((self.to_landings.T @ given).T)
        by_lake = np.ascontiguousarray((self.lump.T @ (at_cells @ self.far).T).T)
        rows = np.ascontiguousarray(given.T)
        for part in self.near:
            by_lake[:, part.lakes] += rows[:, part.landings] @ part.trips
        return np.asarray(self.leave.T @ by_lake.T.astype(np.result_type(by_lake, float)))

    def leaving_mean(self, at_origin: Array) -> Array:
        """Mean over a lake's departing boats of a value at the landing, (K, C) to (A, C)."""
        by_lake = np.empty((len(self.lakes), np.shape(at_origin)[1]))
        by_lake[self.lakes] = self.leave @ np.asarray(at_origin, float)
        return by_lake

    def arriving(self) -> Array:
        """Trips a season that arrive at each landing, shape (K,)."""
        return self.boats.copy()

    def leaving(self) -> Array:
        """Trips a season that leave each landing, shape (K,)."""
        return self.out_of(np.ones((len(self.group), 1)))[:, 0]

    def total(self) -> float:
        """Trips a season in all."""
        return float(self.boats.sum())

    def rows(self, landings: slice) -> Array:
        """Trips out of some landings to every landing, shape (len, K)."""
        return self.into(self._one_each(landings)).T

    def columns(self, landings: slice) -> Array:
        """Trips from every landing into some landings, shape (K, len)."""
        return self.out_of(self._one_each(landings))

    def stored(self) -> Trips:
        """All trips in one matrix, for regions that are small enough."""
        by_origin = np.empty((len(self.group), len(self.lakes)), np.float32)
        each = np.eye(len(self.lakes), dtype=np.float32)
        by_origin[np.ix_(self.order, self.lakes)] = self._from_lakes(each)
        return Trips(by_origin, self.group, self.split)

    def _from_lakes(self, by_lake: Array) -> Array:
        """Sums at landings of a value at lakes, both in the order of their cells."""
        rows = np.ascontiguousarray(by_lake.T)
        at_cells = np.ascontiguousarray((self.lump @ by_lake).T)
        sums = np.ascontiguousarray((self.to_landings @ (at_cells @ self.far.T).T).T)
        for part in self.near:
            sums[:, part.landings] += rows.take(part.lakes, axis=1) @ part.trips.T
        return sums.T

    def _one_each(self, landings: slice) -> Array:
        """A column for each of some landings, 1 there and 0 elsewhere."""
        chosen = np.arange(len(self.group))[landings]
        columns = np.zeros((len(self.group), len(chosen)), np.float32)
        columns[chosen, np.arange(len(chosen))] = 1.0
        return columns


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """Places in the order of the square cells that they lie in, and each cell's lump."""

    order: Places  # (N,) positions of the places
    cell: Places  # (N,) cell of each place, in this order like all that follow
    starts: Places  # (cells + 1,) where each cell begins
    at: Places  # (2, cells) column and row of each cell in the grid
    places_km: Array  # (N, 2)
    log_weight: Array  # (N,)
    share: Array  # (N,) of the weight of its cell
    middle_km: Array  # (cells, 2) mean place by weight
    log_sum: Array  # (cells,) logarithm of the sum of weights

    def __len__(self) -> int:
        return len(self.log_sum)


def lumped_trips(trips: LawTrips, *, cell_km: float = CELL_KM, rings: int = RINGS) -> LumpedTrips:
    """
    Trips by a law, those from far away lumped.

    A matrix of 30,000 landings by 27,000 lakes takes 3 GB. Few trips begin at any one lake far
    away, and all lakes of a cell lie at much the same distance: one number serves them all.

    Parameters
    ----------
    trips : LawTrips
        Places, pull, and the law with its coefficients.
    cell_km : float
        Side of the square cells of landings, above 0; cells of lakes have half of it.
    rings : int
        Rings of cells around a landing's own whose lakes are taken one by one, 0 or more.

    Returns
    -------
    lumped : LumpedTrips
        As many boats arrive at every landing as in `trips`.

    Raises
    ------
    ValueError
        If `cell_km` or `rings` is out of bounds, or two places coincide under a law that is
        infinite there.

    Notes
    -----
    A lump lies at the mean place of its lakes weighted by pull (of its landings weighted by
    boats), so that the first-order error of a sum over the cell vanishes. A landing's own lake is
    always taken singly, to leave it out, and so are the nearest lakes of a landing with few
    around it. The greatest pull on each landing is taken off before the exponential, as in
    `movement.destination_shares`.

    Measured at 30,000 landings on 27,000 lakes, power law with exponent 2, gradient of ten
    seasons against the whole matrix: see `tests/benchmarks/national.py`.
    """
    _check(cell_km, rings)
    pull = trips.pull - _greatest(trips.pull)
    with np.errstate(divide="ignore"):
        log_boats = np.log(np.asarray(trips.arriving, float))
    corner = np.concatenate([trips.landing_km, trips.lake_km]).min(axis=0, initial=np.inf)
    landings = _in_cells(trips.landing_km, log_boats, corner, cell_km)
    lakes = _in_cells(trips.lake_km, pull, corner, cell_km / FINER)
    rank = np.empty(len(pull), np.intp)
    rank[lakes.order] = np.arange(len(pull))
    own = rank[trips.group[landings.order]]
    boats = np.asarray(trips.arriving, float)[landings.order]
    near, far, scale = _weigh_cells(trips, landings, lakes, own, boats, rings=rings)
    reached = scale > 0
    for part in near:
        reached[part.landings] |= part.trips.any(axis=1)
    arriving = np.empty(len(boats))
    arriving[landings.order] = np.where(reached, boats, 0.0)
    return LumpedTrips(
        group=trips.group,
        split=trips.split,
        boats=arriving,
        order=landings.order,
        lakes=lakes.order,
        near=near,
        far=far,
        to_landings=_sparse(scale, landings.cell, len(landings)),
        leave=_sparse(trips.split, rank[trips.group], len(pull)).T.tocsr(),
        lump=_sparse(lakes.share, lakes.cell, len(lakes)).T.tocsr(),
    )


def _check(cell_km: float, rings: int) -> None:
    """Refuse cells that are no cells."""
    if not (np.isfinite(cell_km) and cell_km > 0):
        message = f"Invalid cell_km '{cell_km}'. It must be a number above 0."
        raise ValueError(message)
    if not rings >= 0:
        message = f"Invalid rings '{rings}'. It must be 0 or more."
        raise ValueError(message)


def _in_cells(places_km: Array, log_weight: Array, corner: Array, cell_km: float) -> _Cells:
    """Sort places by the cell that they lie in, and lump each cell by weight."""
    at = np.floor((places_km - corner) / cell_km).astype(np.int64)
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
    return _Cells(
        order=order,
        cell=cell,
        starts=starts,
        at=np.ascontiguousarray(cells.T),
        places_km=places_km,
        log_weight=log_weight,
        share=share,
        middle_km=np.column_stack(middle),
        log_sum=np.where(nothing, -np.inf, base + np.log(total)),
    )


def _weigh_cells(
    trips: LawTrips, landings: _Cells, lakes: _Cells, own: Places, boats: Array, *, rings: int
) -> tuple[tuple[NearTrips, ...], Array, Array]:
    """Trips from lakes nearby, weights of cells far away, and what turns these into trips."""
    parts = []
    far = np.zeros((len(landings), len(lakes)), np.float32)
    scale = np.zeros(len(boats))
    for cell in range(len(landings)):
        some = slice(landings.starts[cell], landings.starts[cell + 1])
        near = _near_cells(landings, lakes, cell, own[some], rings=rings)
        around, beyond = np.flatnonzero(near.take(lakes.cell)), np.flatnonzero(~near)
        middle = landings.middle_km[cell : cell + 1]
        lumps = _utility(trips, middle, lakes.middle_km[beyond], lakes.log_sum[beyond])
        top = lumps.max(initial=-np.inf)
        far[cell, beyond] = np.exp(lumps[0] - (top if np.isfinite(top) else 0.0))
        utility = _utility(
            trips,
            landings.places_km[some],
            lakes.places_km[around],
            lakes.log_weight[around],
            own=np.searchsorted(around, own[some]),
        )
        weight, times = _shares(utility, top, far[cell].sum(dtype=float))
        weight *= boats[some, None].astype(np.float32)
        parts.append(NearTrips(some, around, weight))
        scale[some] = times * boats[some]
    return tuple(parts), far, scale


def _near_cells(
    landings: _Cells, lakes: _Cells, cell: int, own: Places, *, rings: int
) -> NDArray[np.bool_]:
    """Mark the cells whose lakes are taken one by one for the landings of a cell."""
    aside = [
        np.abs(there // FINER - here) <= rings
        for here, there in zip(landings.at[:, cell], lakes.at, strict=True)
    ]
    near = aside[0] & aside[1]
    near[lakes.cell[own]] = True
    sizes = np.diff(lakes.starts)
    if sizes[near].sum() < FEWEST_LAKES:
        away = np.hypot(*(lakes.middle_km - landings.middle_km[cell]).T)
        nearest = np.argsort(away, kind="stable")
        before = np.cumsum(sizes[nearest]) - sizes[nearest]
        near[nearest[before < FEWEST_LAKES]] = True
    return near


def _utility(
    trips: LawTrips, start_km: Array, end_km: Array, log_weight: Array, own: Places | None = None
) -> Array:
    """Logarithm of pull and law, `float32`; -inf for the own lake of each start."""
    centre = start_km[0]  # single precision is finest around 0
    start, end = _single(start_km - centre), _single(end_km - centre)
    distance_km = np.sqrt((start[:, :1] - end[:, 0]) ** 2 + (start[:, 1:] - end[:, 1]) ** 2)
    if own is not None:
        distance_km[np.arange(len(own)), own] = 1.0  # any that is finite: it is left out below
    utility = trips.law.log_pull(distance_km, _single(trips.coefficients))
    utility += _single(log_weight)
    if own is not None:
        utility[np.arange(len(own)), own] = -np.inf
    return utility


def _shares(utility: Array, far_top: float, far_sum: float) -> tuple[Array, Array]:
    """Shares of lakes nearby, and what weights of cells far away are times to become shares."""
    top = np.maximum(utility.max(axis=1, initial=-np.inf), far_top)
    top = np.where(np.isfinite(top), top, np.float32(0))
    utility -= top[:, None]
    np.exp(utility, out=utility)
    times = np.exp(np.asarray(far_top, float) - top)
    total = utility.sum(axis=1) + times * far_sum
    total = np.where(total > 0, total, 1.0)
    utility /= total[:, None].astype(np.float32)
    return utility, times / total


def _sparse(values: Array, columns: Places, n_columns: int) -> sp.csr_array:
    """One value a row, `float32`."""
    rows = np.arange(len(values))
    return sp.csr_array((_single(values), (rows, columns)), shape=(len(values), n_columns))


def _greatest(pull: Array) -> float:
    """The greatest pull, 0 where nobody goes anywhere."""
    top = pull.max(initial=-np.inf)
    return float(top) if np.isfinite(top) else 0.0


def _single(values: Any) -> Array:
    """Values in the precision of the trips, except in complex-step tests."""
    values = np.asarray(values)
    return values if np.iscomplexobj(values) else values.astype(np.float32, copy=False)
