"""The plan that avoids most: shifts placed by fresh slopes, moved while it helps, then swapped."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from spreadnet.decisions.hours import steady
from spreadnet.decisions.shifts.best_linear import best_for
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.shifts.rules import PlanRules

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

MOST_SLOPES = 28  # in one search; each costs two runs of the spread
SWAPS = 12  # shifts worth least, and cells worth most, that are tried against each other exactly
GROWTH = 8  # rounds in which a plan to start from grows
ROUNDS = 6  # of swaps
FEW = 64  # cells with shifts, up to which all are tried for ties
MOST_TIES = 20  # shifts moved to an earlier cell that serves as well
FORETOLD = 0.5  # of the gain that the slope foretells, below which fewer shifts are moved
WELL = 0.9  # above which more are moved
SURE = 1e-9  # share by which a plan must be better to be taken


class Objective(Protocol):
    """What a plan is for."""

    def avoided(self, plans: Sequence[Counts]) -> Array:
        """Avoided by each of some plans, (P,)."""

    def slope(self, plan: Counts) -> Array:
        """Avoided by one more shift of each cell, (K, D)."""


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """
    A plan with how sure it is to be the best.

    Attributes
    ----------
    shifts : array of int, shape (K, D)
        Shifts by landing and day block.
    avoided : float
        What they avoid.
    straight_line : float
        What hours placed anew would avoid, parts of shifts allowed, if each further shift were
        worth what the next one is at this plan. Shifts can help each other, so it bounds nothing.
    values : array, shape (K, D)
        Avoided by one more shift of each cell.
    slopes : int
        Slopes that were worked out.
    """

    shifts: Counts
    avoided: float
    straight_line: float
    values: Array
    slopes: int

    @property
    def gap(self) -> float:
        """Share of the straight line that the plan misses."""
        return max(1 - self.avoided / self.straight_line, 0.0) if self.straight_line > 0 else 0.0


def search(
    objective: Objective,
    rules: PlanRules,
    *,
    starts: Sequence[Counts] = (),
    swaps: int = SWAPS,
    most_slopes: int = MOST_SLOPES,
    grow: bool = True,
) -> Found | None:
    """
    Plan that avoids most, as far as slopes and swaps can tell.

    The slope says what the next shift of every cell is worth at the price of two runs, but only
    near the plan at which it was taken. So as many shifts are moved at once as still helps, half
    as many where it did not, and the last ones are swapped one by one with full runs.

    Parameters
    ----------
    objective : Objective
        What the plan is for.
    rules : PlanRules
        What it keeps to.
    starts : sequence of arrays of int, shape (K, D)
        Plans to start from as well, such as that of a rule; those that break a rule are left out.
    swaps : int
        Shifts and cells tried against each other; 0 for none.
    most_slopes : int
        Slopes worked out at most.
    grow : bool
        Whether a plan that grows in rounds is a start too.

    Returns
    -------
    found : Found or None
        None when nothing keeps to the rules.

    Notes
    -----
    The objective is not concave in general: infested lakes feed each other. Tests compare the
    result with every plan there is, on small regions.
    """
    slopes = 1
    values = objective.slope(rules.least)
    linear = best_for(values, rules)
    if linear is None:
        return None
    first = _integer(linear)
    slopes += 1
    halfway = (values + objective.slope(first)) / 2  # the slope falls on the way
    plans = [first, _integer(best_for(halfway, rules))]
    plans += [start for start in starts if rules.keeps(start)]
    if grow:
        step_by_step, taken = _in_rounds(objective, rules, values)
        plans += step_by_step
        slopes += taken
    worth = objective.avoided(plans)
    few = rules.most.size <= FEW  # small enough to climb from every start
    tried = np.argsort(-worth, kind="stable") if few else [int(np.argmax(worth))]
    found: Found | None = None
    for number in tried:
        one = _climbed(
            objective,
            rules,
            plans[number],
            float(worth[number]),
            swaps=swaps,
            most=most_slopes - slopes,
        )
        slopes += one.slopes
        if found is None or one.avoided > found.avoided * (1 + SURE):
            found = one
    return None if found is None else replace(found, slopes=slopes)


def _climbed(
    objective: Objective, rules: PlanRules, plan: Counts, avoided: float, *, swaps: int, most: int
) -> Found:
    """The plan that a start leads to: shifts moved while that helps, then swapped."""
    moves = max(int(plan.sum()) // 4, 1)
    values, slopes = objective.slope(plan), 1
    while moves >= 1 and slopes < most:
        other = best_for(values, rules, start=plan, moves=moves)
        worse = other is None or np.array_equal(other, plan)
        if not worse:
            now = float(objective.avoided([_integer(other)])[0])
            worse = now <= avoided * (1 + SURE)
        if worse:
            moves //= 2
            continue
        foretold = float((values * (_integer(other) - plan)).sum())
        if now - avoided < FORETOLD * foretold:  # too far: the slope has fallen on the way
            moves = max(moves // 2, 1)
        elif now - avoided > WELL * foretold:
            moves *= 2
        plan, avoided = _integer(other), now
        values = objective.slope(plan)
        slopes += 1
    climbed = plan
    if swaps:
        plan, avoided = _swapped(objective, rules, plan, avoided, values, swaps=swaps)
    plan = _first_of_equals(objective, plan, avoided, values=values, rules=rules)
    if not np.array_equal(plan, climbed):
        values = objective.slope(plan)
        slopes += 1
    line = straight_line(plan, avoided, values=values, rules=rules)
    return Found(plan, avoided, line, values, slopes)


def straight_line(plan: Counts, avoided: float, *, values: Array, rules: PlanRules) -> float:
    """
    What hours placed anew would avoid if every shift were worth what one more is at a plan.

    Parameters
    ----------
    plan : array of int, shape (K, D)
        The plan.
    avoided : float
        What it avoids.
    values : array, shape (K, D)
        Avoided by one more shift of each cell.
    rules : PlanRules
        What plans keep to.

    Returns
    -------
    value : float
        Parts of shifts allowed; at least what the plan avoids. Shifts can help each other, so it
        bounds nothing.
    """
    best = best_for(values, rules, whole=False)
    gain = float((values * (best - plan)).sum()) if best is not None else 0.0
    return avoided + max(gain, 0.0)


def _in_rounds(objective: Objective, rules: PlanRules, values: Array) -> tuple[list[Counts], int]:
    """The plan that grows in rounds, each where the slope of the round before is highest."""
    least, whole = int(rules.least.sum()), rules.shifts
    rounds = min(GROWTH, whole - least)
    plan, slopes = rules.least, 0
    for number in range(1, rounds + 1):
        some = replace(rules.with_shifts(least + (whole - least) * number // rounds), least=plan)
        grown = best_for(values, some)
        if grown is None:  # a lower limit needs more shifts than there are as yet
            return [], slopes
        plan = _integer(grown)
        if number < rounds:
            values = objective.slope(plan)
            slopes += 1
    return [plan], slopes


def _integer(plan: Array | None) -> Counts:
    """A plan that is known to be there, in whole shifts."""
    return np.asarray(plan, np.int64)


def _swapped(
    objective: Objective,
    rules: PlanRules,
    plan: Counts,
    avoided: float,
    values: Array,
    *,
    swaps: int,
) -> tuple[Counts, float]:
    """The plan after exchanges of single shifts that full runs show to help."""
    flat_values = steady(values).ravel()
    for _ in range(ROUNDS):
        flat = plan.ravel()
        held = np.flatnonzero(flat > rules.least.ravel())
        room = np.flatnonzero(flat < rules.most.ravel())
        out, into = held, room
        if len(held) * len(room) > swaps**2:
            out = held[np.argsort(flat_values[held], kind="stable")[:swaps]]
            into = room[np.argsort(-flat_values[room], kind="stable")[:swaps]]
        tried = []
        for cell in (*out, None):
            for other in into:
                if cell == other:
                    continue
                changed = flat.copy()
                changed[other] += 1
                if cell is not None:
                    changed[cell] -= 1
                if rules.keeps(changed.reshape(plan.shape)):
                    tried.append(changed.reshape(plan.shape))
        if not tried:
            break
        worth = objective.avoided(tried)
        best = int(np.argmax(worth))
        if worth[best] <= avoided * (1 + SURE) + 1e-300:
            break
        plan, avoided = tried[best], float(worth[best])
    return plan, avoided


def _first_of_equals(
    objective: Objective, plan: Counts, avoided: float, *, values: Array, rules: PlanRules
) -> Counts:
    """The plan with shifts moved to earlier cells, by id and block, where that loses nothing."""
    equal, rank = steady(values).ravel(), np.empty(plan.size, np.intp)
    rank[rules.order] = np.arange(plan.size)
    for _ in range(MOST_TIES):
        flat = plan.ravel()
        tried, room = [], flat < rules.most.ravel()
        held = np.flatnonzero(flat > rules.least.ravel())
        for cell in held:
            # Many shifts: only cells whose next shift is worth the same are worth a run.
            alike = room & (equal == equal[cell]) if len(held) > FEW else room
            earlier = np.flatnonzero(alike & (rank < rank[cell]))
            if len(earlier):
                changed = flat.copy()
                changed[cell] -= 1
                changed[earlier[np.lexsort((rank[earlier], -equal[earlier]))[0]]] += 1
                if rules.keeps(changed.reshape(plan.shape)):
                    tried.append(changed.reshape(plan.shape))
        if not tried:
            break
        same = np.flatnonzero(objective.avoided(tried) >= avoided * (1 - SURE))
        if not len(same):
            break
        plan = tried[int(same[-1])]
    return plan
