"""Introductions from lake to lake: the small matrix on which spread can be simulated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.compiled import fast_available, rates_between
from spreadnet.model.incidence import collapse_matrix
from spreadnet.model.spread import Coverage, covered

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.flows import Trips
    from spreadnet.model.spread import SpreadInputs

    Array = NDArray[np.floating]

ROWS = 64  # landings a block, so that no second matrix as large as the trips is ever held


@dataclass(frozen=True, slots=True, eq=False)
class LakeRates:
    """
    Introductions a season between the A lakes that have a landing.

    Attributes
    ----------
    lakes : array of int, shape (A,)
        Positions of these lakes among all lakes, in order.
    between : array, shape (A, A)
        Introductions a season from the lake of the row, if it is infested, to the lake of the
        column. In the precision of the trips.
    outside : array, shape (A,)
        Introductions a season from outside the region.
    """

    lakes: NDArray[np.integer]
    between: Array
    outside: Array

    def times(self, chance: float) -> LakeRates:
        """The same with every introduction counted so much."""
        single = self.between.dtype.type(chance)
        return LakeRates(self.lakes, self.between * single, self.outside * chance)


def lake_rates(
    inputs: SpreadInputs, coverage: Coverage | None = None, *, establish: float | None = None
) -> LakeRates:
    """
    Introductions between lakes, once and for all seasons.

    A lake's hazard depends on which lakes are infested and on nothing smaller, so simulation, and
    what the past brought, need only this.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region; its trips must be `Trips`.
    coverage : Coverage, optional
        Shares of boats reached; nobody when left out.
    establish : float, optional
        In place of the inputs' own chance that an introduction founds a population; 1 gives
        introductions as such.

    Returns
    -------
    rates : LakeRates
        So that introductions that could found a population are `outside + infested @ between`.

    Notes
    -----
    Sum over routes of weight x rate on leaving x trips x rate on arriving, to first order, as in
    `expected_spread`.
    """
    if coverage is None:
        coverage = Coverage.none(len(inputs.landing_lake))
    leaving, arriving = covered(inputs, coverage)
    trips: Trips = inputs.trips  # type: ignore[assignment]
    chance = inputs.establish if establish is None else establish
    lakes, place = np.unique(inputs.landing_lake, return_inverse=True)
    weighted = (chance * arriving * inputs.weights[:, None]).T
    from_outside = weighted @ inputs.outside_leaving * inputs.outside_boats
    left = trips.leaving_mean(leaving.T).T
    by_lake = np.bincount(place, from_outside, minlength=len(lakes)).astype(float)
    single = trips.by_origin.dtype == np.float32
    if single and np.array_equal(trips.group, place) and fast_available():
        return LakeRates(lakes, rates_between(trips, left, weighted, place), by_lake)
    into = _by_lake(trips, left, weighted, place)
    of_group = np.empty(trips.by_origin.shape[1], np.intp)
    of_group[trips.group] = place
    if not np.array_equal(of_group, np.arange(len(lakes))):
        into = into @ collapse_matrix(of_group, len(lakes)).T
    return LakeRates(lakes, np.ascontiguousarray(into.T), by_lake)


def _by_lake(
    trips: Trips, leaving: Array, arriving: Array, place: NDArray[np.integer]
) -> NDArray[np.floating]:
    """
    Introductions from groups of origins to lakes, (A, groups), in the precision of the trips.

    Lakes' first landings go straight to their place and further ones are added, turn by turn:
    most lakes have one, and a sparse sum would hold the whole matrix once a block.
    """
    dtype = trips.by_origin.dtype
    leaving, arriving = leaving.astype(dtype), arriving.astype(dtype)
    order = np.argsort(place, kind="stable")
    turn = np.arange(len(place)) - np.searchsorted(place[order], place[order])
    into = np.zeros((int(place.max(initial=-1)) + 1, trips.by_origin.shape[1]), dtype)
    for number in range(int(turn.max(initial=-1)) + 1):
        landings = order[turn == number]
        for first in range(0, len(landings), ROWS):
            some = landings[first : first + ROWS]
            brought = arriving[some] @ leaving
            brought *= trips.by_origin[some]
            into[place[some]] += brought
    return into
