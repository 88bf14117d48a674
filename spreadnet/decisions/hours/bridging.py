"""Boats on bridging trips, from a lake with a species to one without, and hours to meet them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

from spreadnet.decisions.hours.reach import coverage_of, steady
from spreadnet.errors import ModelError
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from spreadnet.decisions.hours.reach import Reach
    from spreadnet.model.spread import Coverage
    from spreadnet.model.trips import TripFlow

    Array = NDArray[np.floating]
    Places = NDArray[np.integer]

AT_ONCE = 64  # landings whose trips to all others are looked at together
LEAST = 1e-9  # share of boats that is no share


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Bridging:
    """
    Boats a season that go from a lake known to have a species to one not known to have it.

    Only what is known counts, as in the published rule: a lake without a find is taken to be free.
    Boats from outside the region are in none of it, since the lake they left is not known.

    Attributes
    ----------
    species : tuple of str, length S
        Names. Arrays hold first any of them (a boat counts once), then one after the other.
    trips : TripFlow
        Trips a season between landings.
    kind : array of int, shape (K,)
        Which of the species the landing's lake is known to have, as a number.
    joins : array of bool, shape (S + 1, P, P)
        Whether a trip from a lake of the one kind to one of the other is a bridging trip.
    leaving, arriving : arrays, shape (S + 1, K)
        Bridging trips that leave each landing, and that arrive there.
    infested : array of bool, shape (K,)
        Whether the landing's lake is known to have any of them.
    """

    species: tuple[str, ...]
    trips: TripFlow
    kind: Places
    joins: NDArray[np.bool_]
    leaving: Array
    arriving: Array
    infested: NDArray[np.bool_]

    def by_hour(self, reach: Reach) -> Array:
        """Boats on bridging trips met in one hour, (S + 1, K, D)."""
        return self.leaving[:, :, None] * reach.leaving + self.arriving[:, :, None] * reach.arriving

    def met(self, coverage: Coverage) -> Array:
        """
        Boats on bridging trips met in a season, (S + 1,).

        A trip counts once although both its ends are staffed: of each trip the share met where it
        begins and the share met where it ends, together no more than all.
        """
        sums = self.leaving @ coverage.leaving + self.arriving @ coverage.arriving
        origin, destination, trips = self.both_ends(coverage)
        over = trips * (coverage.leaving[origin] + coverage.arriving[destination] - 1)
        joined = self.joins[:, self.kind[origin], self.kind[destination]]
        return np.asarray(sums - joined @ over)

    def both_ends(self, coverage: Coverage) -> tuple[Places, Places, Array]:
        """Origins, destinations and trips of pairs whose two shares come to more than all boats."""
        origins = np.flatnonzero(coverage.leaving > 1 - coverage.arriving.max(initial=0.0) + LEAST)
        ends = np.flatnonzero(coverage.arriving > 1 - coverage.leaving.max(initial=0.0) + LEAST)
        found = [(np.zeros(0, np.intp), np.zeros(0, np.intp), np.zeros(0))]
        for start in range(0, len(origins) if len(ends) else 0, AT_ONCE):
            some = origins[start : start + AT_ONCE]
            over = coverage.leaving[some, None] + coverage.arriving[ends] > 1 + LEAST
            rows = np.where(over, np.asarray(self.trips.rows(some), float)[:, ends], 0.0)
            rows *= self.joins[0][np.ix_(self.kind[some], self.kind[ends])]
            row, column = np.nonzero(rows)
            found.append((some[row], ends[column], rows[row, column]))
        origin, destination, trips = (np.concatenate(part) for part in zip(*found, strict=True))
        return origin, destination, trips


def bridging_trips(
    trips: TripFlow, landing_lake: Places, *, known: Mapping[str, NDArray[np.bool_]]
) -> Bridging:
    """
    Bridging trips at every landing.

    Parameters
    ----------
    trips : TripFlow
        Trips a season between K landings.
    landing_lake : array of int, shape (K,)
        Position of each landing's lake.
    known : mapping of species to array of bool, shape (L,)
        Lakes known to have it.

    Returns
    -------
    bridging : Bridging
        In the order of the landings. Lakes are summed by which species they have, so nothing
        of size K x K is made, however the trips are held.
    """
    kinds, kind = np.unique(
        np.array(list(known.values()))[:, landing_lake].T, axis=0, return_inverse=True
    )
    has: NDArray[np.bool_] = np.asarray(kinds.T, bool)  # (S, P)
    by_species = np.logical_and(has[:, :, None], ~has[:, None, :])
    joins = np.concatenate([np.any(by_species, axis=0, keepdims=True), by_species])
    place = kind.ravel()
    of_kind = np.eye(len(kinds))[place]
    to, source = trips.out_of(of_kind), trips.into(of_kind)  # trips by kind of the other end
    leaving = np.einsum("skp,kp->sk", joins[:, place, :], np.asarray(to, float))
    arriving = np.einsum("spk,kp->sk", joins[:, :, place], np.asarray(source, float))
    infested = np.any(has, axis=0, keepdims=True)[0, place]
    return Bridging(tuple(known), trips, place, joins, leaving, arriving, infested)


def place_bridging(budget: float, reach: Reach, *, bridging: Bridging) -> Array:
    """
    Hours where most boats on bridging trips are met: the published rule, solved exactly.

    Parameters
    ----------
    budget : float
        Hours in the season.
    reach : Reach
        Shift length, shares of boats met, who can be staffed, most hours a landing.
    bridging : Bridging
        The trips.

    Returns
    -------
    hours : array, shape (K, D)
        Whole shifts; no more than there is room for, or than meet any such boat.

    Raises
    ------
    ModelError
        If the solver gives up.

    Notes
    -----
    Haight, Kinsley, Kao, Yemshanov and Phelps (2021), "Optimizing the location of watercraft
    inspection stations to slow the spread of aquatic invasive species", Biological Invasions
    23:3907-3919: choose places so that most boats are met that go from an infested to an
    uninfested lake, within what can be staffed. Their boat counts once, wherever it is met: met
    <= sum of staffed ends, met <= 1. Here a place is staffed for some shifts of the season, so an
    end counts with the share of its boats met there; with shares of 0 and 1 it is their program.
    Times are chosen along with places, as in Fischer, Beck, Herborg and Lewis (2021), "Managing
    aquatic invasions: optimal locations and operating times for watercraft inspection stations",
    Journal of Environmental Management 283:111923.

    Only pairs of landings whose shares come to more than 1 need a row of their own. They are added
    as solutions show them: a program without some of these rows counts no plan for less than it
    is worth, so one that needs no further rows is solved.
    """
    hour = bridging.by_hour(reach)[0]
    shift = reach.shift_hours
    room = np.floor(reach.hours_in_season / shift + 1e-9)
    cells = np.flatnonzero(((hour > 0) & (room > 0) & reach.can_staff[:, None]).ravel())
    n_blocks = hour.shape[1]
    cells = cells[np.lexsort((cells % n_blocks, reach.place[cells // n_blocks]))]
    shifts = np.floor(budget / shift + 1e-9)
    each = np.floor(reach.most_hours / shift + 1e-9)
    hours: Array = np.zeros(hour.shape)
    if not len(cells) or shifts < 1 or each < 1:
        return hours
    largest = float(hour.max())
    values = steady(hour).ravel()[cells]
    pairs = _Pairs.none()
    while True:
        placed = _solved(values, cells, reach, pairs=pairs, room=room, most=(shifts, each))
        hours = np.zeros(hour.size)
        hours[cells] = shift * placed
        hours = hours.reshape(hour.shape)
        coverage = coverage_of(hours, reach)
        further = pairs.with_further(*bridging.both_ends(coverage), scale=shift * largest)
        if further is pairs:
            return hours
        pairs = further


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """Pairs of landings whose shares may come to more than all boats, and what each counts."""

    origin: Places
    destination: Places
    worth: Array

    @classmethod
    def none(cls) -> _Pairs:
        """No pair."""
        return cls(np.zeros(0, np.intp), np.zeros(0, np.intp), np.zeros(0))

    def with_further(
        self, origin: Places, destination: Places, trips: Array, *, scale: float
    ) -> _Pairs:
        """With pairs that are not in it yet; itself where there are none."""
        there = set(zip(self.origin.tolist(), self.destination.tolist(), strict=True))
        new = np.array(
            [pair not in there for pair in zip(origin.tolist(), destination.tolist(), strict=True)],
            bool,
        )
        if not new.any():
            return self
        return _Pairs(
            np.concatenate([self.origin, origin[new]]),
            np.concatenate([self.destination, destination[new]]),
            np.concatenate([self.worth, trips[new] / scale]),
        )


def _solved(
    values: Array,
    cells: Places,
    reach: Reach,
    *,
    pairs: _Pairs,
    room: Array,
    most: tuple[float, float],
) -> Array:
    """Whole shifts of each cell that meet most boats, trips of the pairs counted once at most."""
    n_blocks, n_cells, n_pairs = len(room), len(cells), len(pairs.origin)
    landing, block = np.divmod(cells, n_blocks)
    column = np.arange(n_cells)
    ones = np.ones(n_cells)
    _, at = np.unique(landing, return_inverse=True)
    inside = sp.csr_array((ones, (at, column)), shape=(int(at.max()) + 1, n_cells))
    shift = reach.shift_hours
    leaves = sp.csr_array(
        (shift * reach.leaving[landing, block], (landing, column)),
        shape=(len(reach.boats), n_cells),
    )
    arrives = sp.csr_array(
        (shift * reach.arriving[landing, block], (landing, column)), shape=leaves.shape
    )
    over = leaves[pairs.origin] + arrives[pairs.destination]
    blank = sp.csr_array((inside.shape[0] + 1, n_pairs))
    table = sp.vstack(
        [
            sp.hstack([sp.vstack([ones[None, :], inside]), blank]),
            sp.hstack([over, -sp.eye_array(n_pairs)]),
        ],
        format="csr",
    )
    upper = np.concatenate([[most[0]], np.full(inside.shape[0], most[1]), np.ones(n_pairs)])
    solution = milp(
        np.concatenate([-values, pairs.worth]),
        integrality=np.concatenate([ones, np.zeros(n_pairs)]),
        bounds=Bounds(np.zeros(n_cells + n_pairs), np.concatenate([room[block], np.ones(n_pairs)])),
        constraints=LinearConstraint(table, -np.inf, upper),
        options={"mip_rel_gap": 0.0},
    )
    if solution.x is None:
        message = f"hours for boats on bridging trips could not be worked out ({solution.message})"
        raise ModelError(message)
    return np.rint(solution.x[:n_cells])
