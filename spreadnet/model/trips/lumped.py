"""Trips over a nation: lakes nearby one by one, those far away lumped cell by cell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import scipy.sparse as sp

from spreadnet.model.trips.cells import Cells, in_cells, near_cells
from spreadnet.model.trips.dense import Trips
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.trips.by_law import LawTrips

    Array = NDArray[np.floating]
    Places = NDArray[np.integer]

CELL_KM = 80.0
RINGS = 3
FEWEST_LAKES = 64
LOWEST = -69.0  # logarithm of a share of 1e-30: nothing


@short_repr
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


@short_repr
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
    far : array, shape (3, D, C)
        Weight of each cell of lakes on boats of each cell of landings, and by how much it grows
        with each km that a landing lies farther east and north; 0 for cells nearby. `float32`.
    to_landings : sparse array, shape (K, 3 D)
        From weights to trips a season, landings in the order of their cells: a factor for each
        landing, and the same times its km east and north of the middle of its cell.
    leave : sparse array, shape (A, K)
        Share of its lake's boats that leave from each landing, lakes in the order of their cells.
    lump : sparse array, shape (3 C, A)
        Share of each lake in the pull of its cell, and the same times its km west and south of
        the middle of the cell.
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
        """Sum over origins, see `TripFlow`; in the precision that the trips are stored in."""
        sums = self._from_lakes(self.leave @ _single(at_origin))
        whole = np.empty(sums.shape, np.result_type(sums, float))
        whole[self.order] = sums
        return whole

    def out_of(self, at_destination: Array) -> Array:
        """Sum over destinations, see `TripFlow`."""
        given = _single(at_destination)[self.order]
        # With the few columns as rows the trips are read in the order in which they lie.
        rows = np.ascontiguousarray(given.T)
        by_lake = _far_sums(given, self.to_landings.T, self.far, self.lump.T)
        for part in self.near:
            here = rows[:, part.landings]
            some = np.flatnonzero(here.any(axis=1))  # few where single landings are asked for
            if len(some):
                by_lake[np.ix_(some, part.lakes)] += here[some] @ part.trips
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

    def rows(self, landings: slice | NDArray[np.integer]) -> Array:
        """Trips out of some landings to every landing, shape (len, K)."""
        return self.into(self._one_each(landings)).T

    def columns(self, landings: slice | NDArray[np.integer]) -> Array:
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
        sums = _far_sums(by_lake, self.lump, self.far.transpose(0, 2, 1), self.to_landings)
        for part in self.near:
            here = rows.take(part.lakes, axis=1)
            some = np.flatnonzero(here.any(axis=1))
            if len(some):
                sums[some, part.landings] += here[some] @ part.trips.T
        return sums.T

    def _one_each(self, landings: slice | NDArray[np.integer]) -> Array:
        """A column for each of some landings, 1 there and 0 elsewhere."""
        chosen = np.arange(len(self.group))[landings]
        columns = np.zeros((len(self.group), len(chosen)), np.float32)
        columns[chosen, np.arange(len(chosen))] = 1.0
        return columns


def lumped_trips(
    trips: LawTrips,
    *,
    cell_km: float = CELL_KM,
    rings: int = RINGS,
    fewest_lakes: int = FEWEST_LAKES,
) -> LumpedTrips:
    """
    Trips by a law, those from far away lumped.

    A matrix of 30,000 landings by 27,000 lakes takes 3 GB. Few trips begin at any one lake far
    away, and all lakes of a cell lie at much the same distance: three numbers serve them all.

    Parameters
    ----------
    trips : LawTrips
        Places, pull, and the law with its coefficients.
    cell_km : float
        Side of the square cells, above 0.
    rings : int
        Rings of cells around a landing's own whose lakes are taken one by one, 0 or more.
    fewest_lakes : int
        Where these hold fewer lakes than this, the next nearest cells are taken singly too, so
        that landings far from all others are served as well as those among many.

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
    boats). From there the law is followed in a straight line to each landing and lake, less
    steeply where the line would fall below 0. A landing's own lake is always taken singly, to
    leave it out. The greatest pull on each landing is taken off before the exponential, as in
    `movement.destination_shares`. `tests/benchmarks/national.py` measures time and error.
    """
    _check(cell_km, rings)
    landings, lakes = _both(trips, cell_km)
    rank = np.empty(len(trips.pull), np.intp)
    rank[lakes.order] = np.arange(len(rank))
    own = rank[trips.group[landings.order]]
    boats = np.asarray(trips.arriving, float)[landings.order]
    near, far, scale = _weigh_cells(
        trips, landings, lakes, own, boats, rings=rings, fewest=fewest_lakes
    )
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
        to_landings=_with_sides(scale, landings.aside_km, landings),
        leave=_sparse(trips.split, rank[trips.group], len(rank)).T.tocsr(),
        lump=_with_sides(lakes.share, -lakes.aside_km, lakes).T.tocsr(),
    )


def _check(cell_km: float, rings: int) -> None:
    """Refuse cells that are no cells."""
    if not (np.isfinite(cell_km) and cell_km > 0):
        message = f"Invalid cell_km '{cell_km}'. It must be a number above 0."
        raise ValueError(message)
    if not rings >= 0:
        message = f"Invalid rings '{rings}'. It must be 0 or more."
        raise ValueError(message)


def _both(trips: LawTrips, cell_km: float) -> tuple[Cells, Cells]:
    """Landings by boats and lakes by pull, on one grid."""
    top = trips.pull.max(initial=-np.inf)
    pull = trips.pull - (top if np.isfinite(top) else 0.0)
    with np.errstate(divide="ignore"):
        boats = np.log(np.asarray(trips.arriving, float))
    corner = np.concatenate([trips.landing_km, trips.lake_km]).min(axis=0, initial=np.inf)
    return (
        in_cells(trips.landing_km, boats, corner_km=corner, cell_km=cell_km),
        in_cells(trips.lake_km, pull, corner_km=corner, cell_km=cell_km),
    )


def _weigh_cells(
    trips: LawTrips,
    landings: Cells,
    lakes: Cells,
    own: Places,
    boats: Array,
    *,
    rings: int,
    fewest: int,
) -> tuple[tuple[NearTrips, ...], Array, Array]:
    """Trips from lakes nearby, weights of cells far away, and what turns these into trips."""
    parts = []
    far = np.zeros((3, len(landings), len(lakes)), np.float32)
    scale = np.zeros(len(boats))
    for cell in range(len(landings)):
        some = slice(landings.starts[cell], landings.starts[cell + 1])
        near = near_cells(landings, lakes, cell, own=own[some], rings=rings, fewest=fewest)
        around, beyond = np.flatnonzero(near.take(lakes.cell)), np.flatnonzero(~near)
        far[:, cell, beyond], top = _far_weights(trips, landings, lakes, cell, beyond)
        sums = far[:, cell].sum(axis=1, dtype=float)
        utility = _utility(
            trips,
            landings.places_km[some],
            lakes.places_km[around],
            lakes.log_weight[around],
            own=np.searchsorted(around, own[some]),
        )
        weight, times = _shares(utility, top, sums[0] + landings.aside_km[some] @ sums[1:])
        weight *= boats[some, None].astype(np.float32)
        parts.append(NearTrips(some, around, weight))
        scale[some] = times * boats[some]
    return tuple(parts), far, scale


def _far_weights(
    trips: LawTrips, landings: Cells, lakes: Cells, cell: int, beyond: Places
) -> tuple[Array, float]:
    """Weights over the greatest one and their slopes, (3, n), and the logarithm of that one."""
    middle = landings.middle_km[cell : cell + 1]
    utility = _utility(trips, middle, lakes.middle_km[beyond], lakes.log_sum[beyond])[0]
    top = float(utility.max(initial=-np.inf))
    weight = _exp(utility - np.float32(top if np.isfinite(top) else 0.0))
    away = _single((middle - lakes.middle_km[beyond]).T)
    distance_km = np.maximum(np.sqrt(away[0] ** 2 + away[1] ** 2), np.float32(1e-3))
    ahead, behind = distance_km + 1, np.maximum(distance_km - 1, distance_km / 2)
    coefficients = _single(trips.coefficients)
    slope = trips.law.log_pull(ahead, coefficients) - trips.law.log_pull(behind, coefficients)
    slope /= ahead - behind
    reach = _single(lakes.reach_km[beyond] + landings.reach_km[cell])
    slope /= np.maximum(1, np.abs(slope) * reach * np.float32(1.001))  # so that none is below 0
    return np.stack([weight, *(weight * slope / distance_km * away)]), top


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


def _shares(utility: Array, far_top: float, far_sum: Array) -> tuple[Array, Array]:
    """Shares of lakes nearby, and what weights of cells far away are times to become shares."""
    top = np.maximum(utility.max(axis=1, initial=-np.inf), far_top)
    top = np.where(np.isfinite(top), top, np.float32(0))
    utility = _exp(utility - top[:, None])
    times = _exp(far_top - top)
    total = utility.sum(axis=1) + times * far_sum
    total = np.where(total > 0, total, 1.0)
    utility /= total[:, None].astype(np.float32)
    return utility, times / total


def _exp(utility: Array) -> Array:
    """Exponentials, 0 where single precision would hold few digits and slow down all sums."""
    utility[utility < LOWEST] = -np.inf
    return np.exp(utility, out=utility)


def _far_sums(values: Array, lump: Any, far: Array, spread: Any) -> Array:
    """Values lumped, carried over to other cells, and spread from there; columns become rows."""
    n_from, n_columns = far.shape[1], values.shape[1]
    lumped = lump @ values
    value, east, north = (
        np.ascontiguousarray(lumped[part * n_from : (part + 1) * n_from].T) for part in range(3)
    )
    by_east = np.concatenate([value, east]) @ far[1]
    by_north = np.concatenate([value, north]) @ far[2]
    carried = value @ far[0] + by_east[n_columns:] + by_north[n_columns:]
    there = np.concatenate([carried, by_east[:n_columns], by_north[:n_columns]], axis=1)
    return np.ascontiguousarray((spread @ there.T).T)


def _with_sides(values: Array, aside_km: Array, cells: Cells) -> sp.csr_array:
    """Values of places, and the same times their km east and north, in three columns a cell."""
    sides = (values, values * aside_km[:, 0], values * aside_km[:, 1])
    return sp.hstack([_sparse(each, cells.cell, len(cells)) for each in sides], format="csr")


def _sparse(values: Array, columns: Places, n_columns: int) -> sp.csr_array:
    """One value a row, `float32`."""
    rows = np.arange(len(values))
    return sp.csr_array((_single(values), (rows, columns)), shape=(len(values), n_columns))


def _single(values: Any) -> Array:
    """Values in the precision of the trips, except in complex-step tests."""
    values = np.asarray(values)
    return values if np.iscomplexobj(values) else values.astype(np.float32, copy=False)
