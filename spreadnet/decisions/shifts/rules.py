"""What a season plan must keep to: hours, landings, people, promises."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

SMALL = 1e-6  # by which sums of hours may differ in their last digits


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Limit:
    """
    What the shifts of some cells together must come to, or may come to at most.

    Attributes
    ----------
    name : str
        What asks for it, as a planner would say it.
    kind : str
        `hours`, `landing`, `share`, `people` or `jurisdiction`.
    cells : array of int
        Positions in the flat (K, D) table.
    least, most : float
        `inf` where there is no upper limit.
    weights : array, one a cell, or None
        What one shift of each cell counts, such as its hours; 1 when left out.
    """

    name: str
    kind: str
    cells: NDArray[np.integer]
    least: float
    most: float
    weights: Array | None = None

    @property
    def each(self) -> Array:
        """What one shift of each cell counts."""
        return np.ones(len(self.cells)) if self.weights is None else self.weights


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """
    How far hours are spread over landings.

    Attributes
    ----------
    most_share : float
        Of the hours of the season, those worked among them, that one landing may have; a landing
        may always have one shift, and what is promised there.
    evenly : int
        Landings among which hours that would find no room are shared evenly whatever `most_share`
        says; 0 where it was stated and holds as it is.
    least : int
        Landings that must have hours, those worked at already among them.
    most : int or None
        Landings that may have shifts.
    """

    most_share: float = 1.0
    evenly: int = 0
    least: int = 0
    most: int | None = None

    def most_shifts(self, shifts: int) -> int:
        """Most shifts of one landing, of so many a season."""
        even = -(-shifts // self.evenly) if self.evenly else 0
        return max(int(self.most_share * shifts + SMALL), even, 1)


ANYHOW = Spread()


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class PlanRules:
    """
    All that a plan keeps to, in whole shifts, for K landings and D day blocks.

    Attributes
    ----------
    shift_hours : float
        Length of a shift.
    least, most : arrays of int, shape (K, D)
        Shifts of each landing and day block: those promised, and the most there is room for.
    limits : tuple of Limit
        On sums of them; the first is the hours that there are.
    worked : array, shape (K, D)
        Hours of this season that are worked already.
    order : array of int, shape (K * D,)
        Cells by id of landing and by block: ties go to the first.
    spread : Spread
        How far the hours are spread over landings.
    sums : sparse array, shape (number of limits, K * D)
        What a shift of each cell counts in each limit.
    lower, upper : arrays, one a limit
        Least and most of each.
    """

    shift_hours: float
    least: Counts
    most: Counts
    limits: tuple[Limit, ...]
    worked: Array
    order: NDArray[np.integer]
    spread: Spread = ANYHOW
    sums: sp.csr_array = field(init=False, repr=False)
    lower: Array = field(init=False, repr=False)
    upper: Array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        cells = [limit.cells for limit in self.limits]
        starts = np.concatenate([[0], np.cumsum([len(each) for each in cells])]).astype(np.int64)
        columns = np.concatenate([np.zeros(0, np.int64), *cells])
        shape = (len(cells), self.most.size)
        weights = np.concatenate([np.zeros(0), *(limit.each for limit in self.limits)])
        sums = sp.csr_array((weights, columns, starts), shape=shape)
        object.__setattr__(self, "sums", sums)
        object.__setattr__(self, "lower", np.array([limit.least for limit in self.limits]))
        object.__setattr__(self, "upper", np.array([limit.most for limit in self.limits]))

    @property
    def shifts(self) -> int:
        """Shifts that the hours allow, those promised among them."""
        return int(self.limits[0].most / self.longest + 1e-9)

    @property
    def longest(self) -> float:
        """What the longest shift takes of the hours."""
        return float(self.limits[0].each.max(initial=0.0)) or 1.0

    @property
    def most_hours(self) -> float:
        """Most hours of the season at one landing, by its share of them."""
        if self.spread.most_share >= 1:
            return np.inf
        hours = self.limits[0].most + float(self.worked.sum())
        return self.shift_hours * self.spread.most_shifts(int(hours / self.shift_hours + SMALL))

    def without(self, *kinds: str) -> PlanRules:
        """The same without the limits of some kinds; `landings` is the least number of them."""
        spread = self.spread
        if "share" in kinds:
            spread = replace(spread, most_share=1.0, evenly=0)
        if "landings" in kinds:
            spread = replace(spread, least=0)
        kept = tuple(one for one in self.limits if one.kind not in kinds)
        return replace(self, limits=kept, spread=spread)

    def dropping(self, limit: Limit) -> PlanRules:
        """The same without one limit."""
        return replace(self, limits=tuple(one for one in self.limits if one is not limit))

    def with_shifts(self, shifts: int) -> PlanRules:
        """The same with other hours, of which a landing may have the same share."""
        return self._within(shifts * self.longest)

    def shared(self, spread: Spread) -> PlanRules:
        """The same hours spread otherwise."""
        return replace(self, spread=spread)._within(self.limits[0].most)

    def _within(self, hours: float) -> PlanRules:
        """The same with so many hours from now on."""
        first = replace(self.limits[0], most=hours)
        kept = [one for one in self.limits[1:] if one.kind != "share"]
        return replace(self, limits=(first, *kept, *self._shares(hours)))

    def _shares(self, hours: float) -> Iterator[Limit]:
        """The most shifts of each landing by its share of so many hours and those worked."""
        if self.spread.most_share >= 1:
            return
        whole = int((hours + self.worked.sum()) / self.shift_hours + SMALL)
        each = self.spread.most_shifts(whole)
        room = np.floor(each - self.worked.sum(axis=1) / self.shift_hours + SMALL)
        most = np.maximum(room, self.least.sum(axis=1))
        cells = np.arange(self.most.size).reshape(self.most.shape)
        for k in np.flatnonzero(self.most.sum(axis=1) > most):
            name = f"most_share_per_landing, {each * self.shift_hours:g} hours a landing"
            yield Limit(name, "share", cells[k], 0, float(most[k]))

    def keeps(self, shifts: Counts) -> bool:
        """Whether a plan keeps to all of it."""
        if (shifts < self.least).any() or (shifts > self.most).any():
            return False
        given = self.sums @ shifts.ravel()
        if (given < self.lower - SMALL).any() or (given > self.upper + SMALL).any():
            return False
        return self.spreads(shifts)

    def spreads(self, shifts: Array | Counts) -> bool:
        """Whether a plan has the number of landings that is asked for."""
        placed = shifts.sum(axis=1) > SMALL
        if self.spread.most is not None and placed.sum() > self.spread.most:
            return False
        if not self.spread.least:
            return True
        return int((placed | (self.worked.sum(axis=1) > 0)).sum()) >= self.spread.least

    def hours(self, shifts: Counts) -> Array:
        """Hours of the whole season by landing and day block, worked ones among them, (K, D)."""
        return self.worked + self.shift_hours * shifts
