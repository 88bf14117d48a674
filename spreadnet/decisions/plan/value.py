"""What more or fewer hours, other rules, or hours spread otherwise would avoid."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.plan.ways import PLAN, cost_of_one, mean_range, share_of
from spreadnet.decisions.shifts import Spread, best_for, search
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from spreadnet.decisions.shifts import Found, MeanAvoided, Objective, PlanRules

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

PARTS = (0.125, 0.25, 0.375, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
FEWEST = 10  # budgets that are compared, where there is room for as many
LANDINGS = (1, 2, 5, 10, 20)  # over which hours are spread
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
    """A plan with other hours, what one more shift would avoid, and its gap to the line."""

    shifts: Counts
    next_shift: float
    gap: float


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """
    Other plans that the plan is held against; all are sought by the stand-in for the draws.

    Attributes
    ----------
    budgets : dict of shifts to Budget
        Fewer and more hours, in ascending order.
    without : dict of rule to array of int, shape (K, D)
        The same hours without one kind of rule.
    on_most, spread : dict of landings to array of int, shape (K, D)
        The same hours on so many landings at most, and with no landing having more than its part
        of so many.
    """

    budgets: Mapping[int, Budget]
    without: Mapping[str, Counts]
    on_most: Mapping[int, Counts]
    spread: Mapping[int, Counts]

    def shifts(self) -> dict[str, Counts]:
        """All of them by name."""
        return {
            **{budget_name(n): one.shifts for n, one in self.budgets.items()},
            **{without_name(rule): shifts for rule, shifts in self.without.items()},
            **{most_name(n): shifts for n, shifts in self.on_most.items()},
            **{spread_name(n): shifts for n, shifts in self.spread.items()},
        }


def compare(
    objective: MeanAvoided, rules: PlanRules, found: Found, *, room: NDArray[np.int64]
) -> Compared:
    """
    Plans with other hours, without each kind of rule, and spread over more or fewer landings.

    Parameters
    ----------
    objective : MeanAvoided
        What the plan is for, its stand-in set to the plan.
    rules : PlanRules
        What it keeps to.
    found : Found
        The plan with the hours there are.
    room : array of int, shape (K, D)
        Shifts of each cell that there would be room for if people could come at any time.

    Returns
    -------
    compared : Compared
        Budgets that the rules do not allow are left out.
    """
    guide, found = objective.guide, objective.guided(found)
    return Compared(
        budgets(guide, rules, found),
        _without_rules(guide, rules, found, room=room),
        *_spreads(guide, rules, found),
    )


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
    before: list[Counts] = []
    for shifts in _shifts(rules):
        some = rules.with_shifts(shifts)
        one: Found | None = found
        if shifts != rules.shifts:
            starts = [*before, *([found.shifts] if shifts > rules.shifts else [])]
            grow = not starts
            one = search(objective, some, starts=starts, swaps=0, grow=grow)
        if one is not None:
            plans[shifts] = Budget(one.shifts, next_shift(one, some), one.gap)
            before = [one.shifts]
    return plans


def _without_rules(
    objective: Objective, rules: PlanRules, found: Found, *, room: NDArray[np.int64]
) -> dict[str, Counts]:
    """The same hours without each kind of rule."""
    kinds = {limit.kind for limit in rules.limits} | ({"landings"} if rules.spread.least else set())
    cases = {words: rules.without(kind) for kind, words in KINDS.items() if kind in kinds}
    if "people" in kinds:
        cases[KINDS["people"]] = replace(rules.without("people"), most=room)
    if rules.least.any():
        cases["shifts already promised"] = replace(rules, least=np.zeros_like(rules.least))
    plans = {}
    for words, some in cases.items():
        free = search(objective, some, starts=[found.shifts], swaps=0, grow=False)
        better = free is not None and free.avoided > found.avoided
        plans[words] = free.shifts if free is not None and better else found.shifts
    return plans


def _spreads(
    objective: Objective, rules: PlanRules, found: Found
) -> tuple[dict[int, Counts], dict[int, Counts]]:
    """
    The same hours on so many landings at most, and spread over so many or more.

    What jurisdictions ask for, promises, and the limits on spreading themselves are set aside.
    """
    none = np.zeros_like(rules.least)
    free = replace(rules.without("share", "landings", "jurisdiction"), least=none)
    hours = free.with_shifts(int(found.shifts.sum()))
    able = min(int((hours.most > 0).any(axis=1).sum()), hours.shifts)
    whole = search(objective, hours, starts=[found.shifts], swaps=0, grow=False)
    on_most: dict[int, Counts] = {}
    spread: dict[int, Counts] = {}
    if whole is None:
        return on_most, spread
    used = int((whole.shifts > 0).any(axis=1).sum())
    few: list[Counts] = []
    even = whole.shifts
    for number in LANDINGS:
        if number > able:
            break
        some, equal = hours.shared(Spread(most=number)), hours.shared(Spread(1 / number))
        first = (
            whole if number >= used else search(objective, some, starts=few, swaps=0, grow=False)
        )
        second = whole if equal.keeps(whole.shifts) else None
        second = second or search(objective, equal, starts=[even], swaps=0, grow=False)
        if first is None or second is None:
            continue
        on_most[number], spread[number] = first.shifts, second.shifts
        few, even = [first.shifts], second.shifts
    return on_most, spread


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
    compared: Compared,
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
    compared : Compared
        Result of `compare`.
    drawn : mapping of str to array, shape (N,)
        Avoided in each draw, by name of the plan.
    rules : PlanRules
        Hours worked already count too.
    seasons : int
        Seasons looked ahead: hours are worked in each.
    cost_per_hour : float or None
        For the cost.

    Returns
    -------
    table : DataFrame
        One row a budget. Left out are those that avoid no more than one with fewer hours, in the
        draws by which all are judged, beside the plan itself.
    """
    means = {shifts: float(drawn[budget_name(shifts)].mean()) for shifts in compared.budgets}
    rows = []
    for shifts in _rising(means, rules.shifts):
        one = compared.budgets[shifts]
        mean = mean_range("avoided", drawn[budget_name(shifts)])
        hours = float(rules.hours(one.shifts).sum())
        row = {
            "hours_a_season": hours,
            "shifts": int(one.shifts.sum()),
            **mean,
            "avoided_by_next_100_hours": 100 * one.next_shift / rules.shift_hours / seasons,
            "straight_line": mean["avoided"] / (1 - one.gap),
        }
        if cost_per_hour is not None:
            row |= cost_of_one(hours * seasons * cost_per_hour, drawn[budget_name(shifts)])
        rows.append(row)
    return pd.DataFrame(rows)


def _rising(means: Mapping[int, float], plan: int) -> list[int]:
    """Budgets that avoid no less than those with fewer hours; the plan's own is always there."""
    kept: list[int] = []
    for shifts, mean in means.items():
        below = shifts >= plan or mean <= means.get(plan, np.inf)
        above = not kept or mean >= means[kept[-1]]
        if shifts == plan or (below and above):
            kept.append(shifts)
    return kept


def budget_name(shifts: int) -> str:
    """Name of a budget among the plans that are compared."""
    return f"{shifts} shifts"


def without_name(rule: str) -> str:
    """Name of a plan without a rule."""
    return f"without {rule}"


def most_name(landings: int) -> str:
    """Name of a plan on few landings."""
    return f"on {landings} landings at most"


def spread_name(landings: int) -> str:
    """Name of a plan over many landings."""
    return f"over {landings} landings or more"


def rule_costs(compared: Compared, drawn: Mapping[str, Array]) -> pd.DataFrame:
    """
    What would be avoided without each kind of rule.

    Parameters
    ----------
    compared : Compared
        Result of `compare`.
    drawn : mapping of str to array, shape (N,)
        Avoided in each draw, by name of the plan.

    Returns
    -------
    table : DataFrame, index rule
        `avoided_without`, and `cost`: how much more that is. Rules that do not bind cost 0.
    """
    plan = float(drawn[PLAN].mean())
    rows = {}
    for rule in compared.without:
        without = max(float(drawn[without_name(rule)].mean()), plan)
        rows[rule] = {"avoided_without": without, "cost": without - plan}
    table = pd.DataFrame.from_dict(rows, orient="index", columns=["avoided_without", "cost"])
    return table.rename_axis("rule")


def spreading_table(
    compared: Compared, drawn: Mapping[str, Array], *, rules: PlanRules
) -> pd.DataFrame:
    """
    What the same hours avoid on few landings, and what it costs to spread them over many.

    Parameters
    ----------
    compared : Compared
        Result of `compare`.
    drawn : mapping of str to array, shape (N,)
        Avoided in each draw, by name of the plan.
    rules : PlanRules
        Hours worked already count too.

    Returns
    -------
    table : DataFrame, index landings
        Under `on_most`, no more landings than that have hours. Under `spread`, no landing has more
        than its part of that number, as a half for 2, so that there are as many or more;
        `share_kept` is what that avoids over what the hours avoid spread as is best.
    """
    rows = {}
    for number, shifts in compared.spread.items():
        few = compared.on_most[number]
        name, first = spread_name(number), spread_name(next(iter(compared.spread)))
        kept, error = share_of(drawn[name], drawn[first])
        rows[number] = {
            "hours_on_most": float(rules.hours(few).sum()),
            **mean_range("avoided_on_most", drawn[most_name(number)]),
            "hours_spread": float(rules.hours(shifts).sum()),
            "landings_spread": int((rules.hours(shifts) > 0).any(axis=1).sum()),
            **mean_range("avoided_spread", drawn[name]),
            "share_kept": kept,
            "share_kept_error": error,
        }
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("landings")
