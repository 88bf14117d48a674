"""Introductions from lake to lake: the small matrix on which spread can be simulated."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.fast.bridge import fast_available, rates_between
from spreadnet.model.spread.expected import Coverage, covered
from spreadnet.model.spread.incidence import collapse_matrix
from spreadnet.model.trips.dense import Trips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.spread.expected import SpreadInputs
    from spreadnet.model.trips.dense import TripFlow

    Array = NDArray[np.floating]

AT_ONCE = 16  # years or futures worked on together without a matrix
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

    def sent(self, infested: Array) -> Array:
        """Introductions to each lake, given how likely each is infested, (Y, A) to (Y, A)."""
        return infested.astype(self.between.dtype) @ self.between

    def back(self, value: Array) -> Array:
        """What each lake's introductions to all lakes are worth, (A,) to (A,)."""
        return self.between @ value.astype(self.between.dtype)

    def times(self, chance: float) -> LakeRates:
        """The same with every introduction counted so much."""
        single = self.between.dtype.type(chance)
        return LakeRates(self.lakes, self.between * single, self.outside * chance)


@dataclass(frozen=True, slots=True, eq=False)
class FlowRates:
    """
    The same introductions without a number for each pair of lakes, for a nation.

    Attributes
    ----------
    lakes, outside
        As in `LakeRates`.
    trips : TripFlow
        Trips between landings.
    leaving, arriving : arrays, shape (K, R)
        Rates on leaving, and on arriving times the weight of the route, on open routes.
    place : array of int, shape (K,)
        Place of each landing's lake among the A lakes.
    """

    lakes: NDArray[np.integer]
    outside: Array
    trips: TripFlow
    leaving: Array
    arriving: Array
    place: NDArray[np.integer]

    def sent(self, infested: Array) -> Array:
        """Introductions to each lake, given how likely each is infested, (Y, A) to (Y, A)."""
        summed = collapse_matrix(self.place, len(self.lakes))
        parts = []
        for start in range(0, len(infested), AT_ONCE):
            some = infested[start : start + AT_ONCE, self.place].T
            columns = some[:, :, None] * self.leaving[:, None, :]
            whole = self.trips.into(columns.reshape(len(columns), -1)).reshape(columns.shape)
            parts.append((summed @ np.einsum("kyr,kr->ky", whole, self.arriving)).T)
        return np.concatenate(parts) if parts else np.zeros((0, len(self.lakes)))

    def back(self, value: Array) -> Array:
        """What each lake's introductions to all lakes are worth, (A,) to (A,)."""
        out = self.trips.out_of(value[self.place][:, None] * self.arriving)
        return collapse_matrix(self.place, len(self.lakes)) @ (out * self.leaving).sum(axis=1)

    def times(self, chance: float) -> FlowRates:
        """The same with every introduction counted so much."""
        return replace(self, arriving=self.arriving * chance, outside=self.outside * chance)


def lake_rates(
    inputs: SpreadInputs, coverage: Coverage | None = None, *, establish: float | None = None
) -> LakeRates | FlowRates:
    """
    Introductions between lakes, once and for all seasons.

    A lake's hazard depends on which lakes are infested and on nothing smaller, so simulation, and
    what the past brought, need only this.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    coverage : Coverage, optional
        Shares of boats reached; nobody when left out.
    establish : float, optional
        In place of the inputs' own chance that an introduction founds a population; 1 gives
        introductions as such.

    Returns
    -------
    rates : LakeRates
        So that introductions that could found a population are `outside + sent(infested)`; as a
        matrix where the trips are held as one.

    Notes
    -----
    Sum over routes of weight x rate on leaving x trips x rate on arriving, to first order, as in
    `expected_spread`.
    """
    if coverage is None:
        coverage = Coverage.none(len(inputs.landing_lake))
    leaving, arriving = covered(inputs, coverage)
    trips = inputs.trips
    chance = inputs.establish if establish is None else establish
    lakes, place = np.unique(inputs.landing_lake, return_inverse=True)
    weighted = (chance * arriving * inputs.weights[:, None]).T
    from_outside = weighted @ inputs.outside_leaving * inputs.outside_boats
    by_lake = np.bincount(place, from_outside, minlength=len(lakes)).astype(float)
    if not isinstance(trips, Trips):
        used = np.flatnonzero(inputs.weights > 0)
        return FlowRates(lakes, by_lake, trips, leaving.T[:, used], weighted[:, used], place)
    left = trips.leaving_mean(leaving.T).T
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
