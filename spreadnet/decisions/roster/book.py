"""Who offered what, the shifts, and the book in which those that have a date are entered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    Flags = NDArray[np.bool_]
    Counts = NDArray[np.integer]
    Array = NDArray[np.floating]
    Need = tuple[int, bool, int]

EVEN = 1e-9  # hours or shares that differ by less are the same


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """
    Days and starts of shifts as positions: D days, S starts a day.

    Attributes
    ----------
    first : int
        Proleptic ordinal of the first day.
    week : array, shape (D,)
        ISO week, counted from the first on the axis.
    weekend, usable : arrays, shape (D,)
        Saturday, Sunday or holiday; days on which new shifts may be placed.
    block, number : arrays, shape (S,)
        Block of each start, and its place within the block.
    start : array, shape (S,)
        Hours after midnight.
    light : array, shape (D, S)
        Whether a shift that starts then ends early enough for the day.
    """

    first: int
    week: Counts
    weekend: Flags
    usable: Flags
    block: Counts
    number: Counts
    start: Array
    light: Flags


@dataclass(frozen=True, slots=True, eq=False)
class Offers:
    """
    What P people offer for L landings, and the limits of all.

    Attributes
    ----------
    axis : Axis
        Days and starts.
    crew, landing_cap, person_cap : int
        People a shift; most shifts a week of a landing, of a person.
    span : float
        Least hours from the start of a person's shift to the start of the next.
    offered : array, shape (P, D, S)
        Whether the person can come then.
    most : array, shape (P, D)
        Most shifts on that day.
    near : array, shape (P, L)
        Whether the landing is within the distance the person goes.
    km : array, shape (P, L)
        There and back; NaN where the home is not known.
    days : array, shape (P,)
        Days offered.
    """

    axis: Axis
    crew: int
    landing_cap: int
    person_cap: int
    span: float
    offered: Flags
    most: Counts
    near: Flags
    km: Array
    days: Counts


@dataclass(frozen=True, slots=True, eq=False)
class Shift:
    """One shift; positions, -1 where there is no date yet."""

    landing: int
    weekend: bool
    block: int
    day: int = -1
    slot: int = -1
    people: tuple[int, ...] = ()
    unnamed: int = 0  # places promised to people of whom no code is known
    fixed: bool = False  # stays on its date with its people
    promised: bool = False
    was: dict[Any, Any] | None = None  # its row in the earlier plan
    wish: tuple[int, int, tuple[int, ...]] | None = None  # day, start, people it had there

    @property
    def need(self) -> Need:
        """What it is one of: landing, day type, block."""
        return self.landing, self.weekend, self.block


@dataclass(frozen=True, slots=True, eq=False)
class Book:
    """
    What is taken by the shifts entered so far; `enter` writes on the arrays.

    Attributes
    ----------
    offers : Offers
        What there is to take.
    taken : array, shape (L, D, S)
        Shifts there.
    on_day : array, shape (D,)
        Shifts of all landings on a day.
    landing_week : array, shape (L, W)
        Shifts of a landing in a week.
    barred : array, shape (P, D, S)
        Shifts of a person that start too near to then.
    person_week, person_day, load : arrays, shapes (P, W), (P, D), (P,)
        Shifts of a person in a week, on a day, in all.
    """

    offers: Offers
    taken: Counts
    on_day: Counts
    landing_week: Counts
    barred: Counts
    person_week: Counts
    person_day: Counts
    load: Counts

    @classmethod
    def empty(cls, offers: Offers) -> Book:
        """Nothing entered."""
        people, days, starts = offers.offered.shape
        landings, weeks = offers.near.shape[1], int(offers.axis.week[-1]) + 1
        shapes = (
            *((landings, days, starts), days, (landings, weeks), (people, days, starts)),
            *((people, weeks), (people, days), people),
        )
        return cls(offers, *(np.zeros(shape, int) for shape in shapes))

    def enter(self, shift: Shift, step: int = 1) -> None:
        """Count a shift with its people; with -1, count it no more."""
        day, slot, axis = shift.day, shift.slot, self.offers.axis
        if day < 0:
            return
        self.taken[shift.landing, day, slot] += step
        self.on_day[day] += step
        self.landing_week[shift.landing, axis.week[day]] += step
        people = list(shift.people)
        reach = int(self.offers.span // 24) + 1
        first, last = max(day - reach, 0), min(day + reach + 1, len(axis.week))
        apart = 24.0 * (np.arange(first, last) - day)[:, None] + axis.start - axis.start[slot]
        self.barred[people, first:last] += step * (np.abs(apart) < self.offers.span - EVEN)
        self.person_week[people, axis.week[day]] += step
        self.person_day[people, day] += step
        self.load[people] += step

    def free(self, landing: Any, days: Any, slots: Any) -> Flags:
        """Who could come at each of C places and times, (P, C): near, rested, below each most."""
        offers = self.offers
        some, at = np.unique(days, return_inverse=True)
        able = (self.person_week < offers.person_cap)[:, offers.axis.week[some]]
        able &= self.person_day[:, some] < offers.most[:, some]
        rested = offers.offered[:, some] & (self.barred[:, some] == 0) & able[:, :, None]
        return rested[:, at, slots] & offers.near[:, landing]

    def cells(self, need: Need) -> tuple[Counts, Counts]:
        """Usable days and starts of a need at which its landing has no shift."""
        landing, weekend, block = need
        axis = self.offers.axis
        days = np.flatnonzero(axis.usable & (axis.weekend == weekend))
        slots = np.flatnonzero(axis.block == block)
        cells = days[:, None], slots
        day, slot = np.nonzero((self.taken[landing][cells] == 0) & axis.light[cells])
        return days[day], slots[slot]

    def shares_after(self) -> Array:
        """Share of the days each person offered that one shift more would take, (P,)."""
        return (self.load + 1) / np.where(self.offers.days > 0, self.offers.days, EVEN)

    def crew_for(self, shift: Shift) -> tuple[int, ...]:
        """People it lacks, of those free: least share first, then nearest, then by id."""
        fits = self.free([shift.landing], [shift.day], [shift.slot])[:, 0]
        fits[list(shift.people)] = False
        who = np.flatnonzero(fits)
        km = np.nan_to_num(self.offers.km[who, shift.landing], nan=np.inf)
        order = who[np.lexsort((who, km, self.shares_after()[who]))]
        return tuple(order[: lacks(self.offers, shift)].tolist())


def lacks(offers: Offers, shift: Shift) -> int:
    """People that a shift still needs."""
    return max(offers.crew - shift.unnamed - len(shift.people), 0)


def codes_in(cells: Iterable[Any]) -> list[str]:
    """Single codes out of cells such as `P1; P2`, each once, in order."""
    found = [
        code.strip()
        for cell in cells
        if isinstance(cell, str)
        for code in cell.split(";")
        if code.strip()
    ]
    return list(dict.fromkeys(found))
