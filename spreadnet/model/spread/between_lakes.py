"""Introductions from lake to lake: the small matrix on which spread can be simulated."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from spreadnet.model.fast import fast_available, rates_between
from spreadnet.model.spread.incidence import collapse_matrix
from spreadnet.model.spread.types import Coverage, covered
from spreadnet.model.trips import Trips
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.spread.types import Path, SpreadInputs
    from spreadnet.model.trips import TripFlow

    Array = NDArray[np.floating]

AT_ONCE = 48  # years, futures or coverages worked on together without a matrix
ROWS = 64  # landings a block, so that no second matrix as large as the trips is ever held


class Sending(Protocol):
    """
    Introductions a season to the A lakes that have a landing: what the course of spread asks for.

    `lakes` (A,) are their positions among all lakes; `outside` (A,), or (P, A) for P coverages,
    the introductions a season from outside the region.
    """

    @property
    def lakes(self) -> NDArray[np.integer]:
        """Positions of these lakes among all lakes, in order."""

    @property
    def outside(self) -> Array:
        """Introductions a season from outside the region."""

    def sent(self, infested: Array) -> Array:
        """Introductions to each lake, given how likely each is infested, (..., A) to (..., A)."""


class Rates(Sending, Protocol):
    """The same with what its adjoint and its simulation ask for."""

    def back(self, value: Array) -> Array:
        """What each lake's introductions to all lakes are worth, (A,) to (A,)."""

    def times(self, chance: float) -> Rates:
        """The same with every introduction counted so much."""


@short_repr
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
        """Introductions to each lake, given how likely each is infested, (..., A) to (..., A)."""
        return infested.astype(self.between.dtype) @ self.between

    def back(self, value: Array) -> Array:
        """What each lake's introductions to all lakes are worth, (A,) to (A,)."""
        return self.between @ value.astype(self.between.dtype)

    def times(self, chance: float) -> LakeRates:
        """The same with every introduction counted so much."""
        single = self.between.dtype.type(chance)
        return LakeRates(self.lakes, self.between * single, self.outside * chance)


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class FlowRates:
    """
    The same introductions without a number for each pair of lakes: for a nation, or P coverages.

    Attributes
    ----------
    lakes, outside
        As in `Rates`.
    trips : TripFlow
        Trips between landings.
    leaving, arriving : arrays, shape (K, R) or (P, K, R)
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
        """Introductions to each lake, given how likely each is infested, (..., A) to (..., A)."""
        if infested.ndim == 1:
            return self._sent(infested, self.leaving, self.arriving)
        many = self.leaving.ndim > 2
        parts = []
        for start in range(0, len(infested), AT_ONCE):
            some = slice(start, start + AT_ONCE)
            leaving, arriving = (
                each[some] if many else each for each in (self.leaving, self.arriving)
            )
            parts.append(self._sent(infested[some], leaving, arriving))
        return np.concatenate(parts) if parts else np.zeros((0, len(self.lakes)))

    def _sent(self, infested: Array, leaving: Array, arriving: Array) -> Array:
        """The same for as many as are worked on together; trips are read once for all of them."""
        at_origin = np.moveaxis(infested[..., self.place, None] * leaving, -2, 0)
        whole = self.trips.into(at_origin.reshape(len(at_origin), -1)).reshape(at_origin.shape)
        by_landing = (np.moveaxis(whole, 0, -2) * arriving).sum(axis=-1)
        return by_landing @ collapse_matrix(self.place, len(self.lakes)).T

    def back(self, value: Array) -> Array:
        """What each lake's introductions to all lakes are worth, (A,) to (A,)."""
        out = self.trips.out_of(value[self.place][:, None] * self.arriving)
        return collapse_matrix(self.place, len(self.lakes)) @ (out * self.leaving).sum(axis=1)

    def times(self, chance: float) -> FlowRates:
        """The same with every introduction counted so much."""
        return replace(self, arriving=self.arriving * chance, outside=self.outside * chance)


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Changes:
    """
    What coverage at P landings, each alone, changes of the introductions between lakes.

    With B the rates between lakes, coverage at a landing of lake i changes row i (boats leaving)
    and column i (boats arriving) of B, so all P go through one product a season.

    Attributes
    ----------
    rates : Rates
        B, nobody covered, every introduction counted once.
    beside : Path
        The course without coverage, which these changes are set against.
    own : array of int, shape (P,)
        Place of the landing's lake among the A lakes.
    rows, columns : arrays, shape (P, A)
        Change of the row and of the column.
    outside : array, shape (P, A)
        Change of what comes from outside, at the landing's own lake.
    """

    rates: Rates
    beside: Path
    own: NDArray[np.integer]
    rows: Array
    columns: Array
    outside: Array

    def sent(self, more: Array, season: int) -> Array:
        """
        Introductions beyond those of the course beside, from chances beyond its own, (P, A).

        With x the course beside and D what is beyond it: D B + (x_i + D_i) row + ((x + D) . column
        + outside) at i.
        """
        state, turn = self.beside.infested[season][self.rates.lakes] + more, np.arange(len(more))
        change = self.rates.sent(more).astype(float)
        change += state[turn, self.own][:, None] * self.rows
        change[turn, self.own] += (state * self.columns).sum(axis=1)
        return change + self.outside


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
        Shares of boats reached, (K,) or (P, K); nobody when left out.
    establish : float, optional
        In place of the inputs' own chance that an introduction founds a population; 1 gives
        introductions as such.

    Returns
    -------
    rates : LakeRates or FlowRates
        So that introductions that could found a population are `outside + sent(infested)`; as a
        matrix where the trips are held as one and there is one coverage.

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
    weighted = np.swapaxes(chance * arriving * inputs.weights[:, None], -1, -2)
    from_outside = weighted @ inputs.outside_leaving * inputs.outside_boats
    by_lake = from_outside @ collapse_matrix(place, len(lakes)).T
    if not isinstance(trips, Trips) or coverage.leaving.ndim > 1:
        used = np.flatnonzero(inputs.weights > 0)
        left = np.swapaxes(leaving, -1, -2)[..., used]
        return FlowRates(lakes, by_lake, trips, left, weighted[..., used], place)
    left = trips.leaving_mean(leaving.T).T
    single = trips.by_origin.dtype == np.float32
    if single and np.array_equal(trips.group, place) and fast_available():
        return LakeRates(lakes, rates_between(trips.by_origin, left, weighted, place), by_lake)
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
