"""What more or fewer hours would avoid, and what each rule costs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.plan.best_linear import best_for
from spreadnet.decisions.plan.search import search
from spreadnet.decisions.plan.ways import cost_of_one
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from spreadnet.decisions.plan.rules import PlanRules
    from spreadnet.decisions.plan.search import Found, Objective

    Array = NDArray[np.floating]

PARTS = (0.125, 0.25, 0.375, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
FEWEST = 10  # budgets that are compared, where there is room for as many
KINDS = {
    "landing": "most hours a landing takes in a week",
    "share": "most share of the hours at one landing",
    "landings": "least number of landings",
    "people": "when people can come",
    "jurisdiction": "least hours of jurisdictions",
}


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Budget:
    """A plan with other hours: its shifts, what they avoid, what the next shift would."""

    found: Found
    next_shift: float


def budgets(objective: Objective, rules: PlanRules, found: Found) -> dict[int, Budget]:
    """
    Plans with fewer and with more hours.

    Parameters
    ----------
    objective : Objective
        What the plan is for.
    rules : PlanRules
        What it keeps to.
    found : Found
        The plan with the hours there are.

    Returns
    -------
    plans : dict of shifts to Budget
        In ascending order; each starts from the one before, so that more hours never avoid less.
        Budgets that the rules do not allow are left out.
    """
    plans: dict[int, Budget] = {}
    before: list[NDArray[np.int64]] = []
    for shifts in _shifts(rules):
        some = rules.with_shifts(shifts)
        if shifts == rules.shifts:
            one: Found | None = found
            if before and plans and max(p.found.avoided for p in plans.values()) > found.avoided:
                one = search(objective, some, starts=[found.shifts, *before], swaps=0, grow=False)
        else:
            starts = [*before, *([found.shifts] if shifts > rules.shifts else [])]
            grow = not starts
            one = search(objective, some, starts=starts, swaps=0, grow=grow)
        if one is not None:
            plans[shifts] = Budget(one, next_shift(one, some))
            before = [one.shifts]
    return plans


def _shifts(rules: PlanRules) -> list[int]:
    """Numbers of shifts to compare: around the hours there are, up to the room there is."""
    room = best_for(np.ones(rules.most.shape), rules.with_shifts(int(rules.most.sum())))
    most = int(room.sum()) if room is not None else rules.shifts
    least = int(rules.least.sum())
    given = max(rules.shifts, 1)
    chosen = {round(part * given) for part in PARTS} | {rules.shifts}
    chosen = {shifts for shifts in chosen if max(least, 1) <= shifts <= most}
    asked = least + sum(int(limit.least) for limit in rules.limits)  # a plan needs no more
    lowest = min(max(asked, rules.spread.least, 1), rules.shifts)
    chosen = {shifts for shifts in chosen if shifts >= lowest}
    for shifts in np.linspace(lowest, most, 4 * FEWEST).round().astype(int).tolist():
        if len(chosen) >= FEWEST:  # few hours, or little room above
            break
        nearest = min((abs(shifts - other) for other in chosen), default=most)
        if nearest > (most - lowest) / (3 * FEWEST):
            chosen.add(shifts)
    return sorted(chosen)


def next_shift(found: Found, rules: PlanRules) -> float:
    """
    What one more shift would avoid, by the slope at a plan.

    Parameters
    ----------
    found : Found
        The plan.
    rules : PlanRules
        What it keeps to.

    Returns
    -------
    value : float
        0 where there is no room for one.
    """
    more = rules.with_shifts(int(found.shifts.sum()) + 1)
    flat, values = found.shifts.ravel(), found.values.ravel()
    for cell in np.lexsort((np.arange(len(flat)), -values)):
        changed = flat.copy()
        changed[cell] += 1
        if more.keeps(changed.reshape(found.shifts.shape)):
            return max(float(values[cell]), 0.0)
        if values[cell] <= 0:
            break
    return 0.0


def budget_table(
    plans: Mapping[int, Budget],
    drawn: Mapping[str, Array],
    *,
    rules: PlanRules,
    seasons: int,
    cost_per_hour: float | None,
) -> pd.DataFrame:
    """
    Avoided against hours, with what the next hour is worth and the cost of one avoided.

    Parameters
    ----------
    plans : mapping of shifts to Budget
        Result of `budgets`.
    drawn : mapping of str to array, shape (N,)
        Avoided in each draw, by `budget_name`.
    rules : PlanRules
        Hours worked already count too.
    seasons : int
        Seasons looked ahead: hours are worked in each.
    cost_per_hour : float or None
        For the cost.

    Returns
    -------
    table : DataFrame
        One row a budget.
    """
    rows = []
    for shifts, one in plans.items():
        avoided = one.found.avoided
        low, high = np.quantile(drawn[budget_name(shifts)], [0.05, 0.95])
        hours = float(rules.hours(one.found.shifts).sum())
        row = {
            "hours_a_season": hours,
            "shifts": int(one.found.shifts.sum()),
            "avoided": avoided,
            "avoided_low": min(float(low), avoided),
            "avoided_high": max(float(high), avoided),
            "avoided_by_next_100_hours": 100 * one.next_shift / rules.shift_hours / seasons,
            "straight_line": one.found.straight_line,
        }
        if cost_per_hour is not None:
            cost = hours * seasons * cost_per_hour
            row |= cost_of_one(cost, avoided, drawn[budget_name(shifts)])
        rows.append(row)
    return pd.DataFrame(rows)


def budget_name(shifts: int) -> str:
    """Name of a budget among the ways that are compared."""
    return f"{shifts} shifts"


def rule_costs(
    objective: Objective, rules: PlanRules, found: Found, *, room: NDArray[np.int64]
) -> pd.DataFrame:
    """
    What would be avoided without each kind of rule.

    Parameters
    ----------
    objective : Objective
        What the plan is for.
    rules : PlanRules
        What it keeps to.
    found : Found
        The plan.
    room : array of int, shape (K, D)
        Shifts of each cell that there would be room for if people could come at any time.

    Returns
    -------
    table : DataFrame, index rule
        `avoided_without`, and `cost`: how much more that is. Rules that do not bind cost 0.
    """
    kinds = {limit.kind for limit in rules.limits} | ({"landings"} if rules.spread.least else set())
    cases = {words: rules.without(kind) for kind, words in KINDS.items() if kind in kinds}
    if "people" in kinds:
        cases[KINDS["people"]] = replace(rules.without("people"), most=room)
    if rules.least.any():
        none = np.zeros_like(rules.least)
        cases["shifts already promised"] = replace(rules, least=none)
    rows = {}
    for words, some in cases.items():
        free = search(objective, some, starts=[found.shifts], swaps=0, grow=False)
        without = max(free.avoided if free is not None else 0.0, found.avoided)
        rows[words] = {"avoided_without": without, "cost": without - found.avoided}
    table = pd.DataFrame.from_dict(rows, orient="index", columns=["avoided_without", "cost"])
    return table.rename_axis("rule")
