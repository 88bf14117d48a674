"""Of plans that can't be told apart, the one that is easier to work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.hours import steady
from spreadnet.decisions.shifts.objective import EXACT
from spreadnet.decisions.shifts.search import Found, straight_line
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.decisions.shifts.objective import MeanAvoided
    from spreadnet.decisions.shifts.rules import PlanRules
    from spreadnet.evidence.region import Region

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

EASINGS = 12  # moves of shifts to landings that are easier to work
TRIED, FEW_TRIED = 24, 6  # such moves compared at once, in small and in large regions
SAME_KM = 0.1  # driving that differs by less is the same


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Effort:
    """
    What shifts ask of people and bring to those who run landings, beside what they avoid.

    Attributes
    ----------
    km : array, shape (K,)
        Driven for one shift, there and back by its crew; 0 where no home is known.
    ward : array of int, shape (K,)
        Number of the landing's jurisdiction; -1 for none.
    """

    km: Array
    ward: NDArray[np.integer]

    def of(self, plan: Counts) -> tuple[float, int]:
        """Kilometres that a plan asks for, and jurisdictions that it reaches."""
        shifts = plan.sum(axis=1)
        reached = np.unique(self.ward[(shifts > 0) & (self.ward >= 0)])
        return float(shifts @ self.km), len(reached)


def effort_of(region: Region) -> Effort:
    """
    Driving and jurisdictions of each landing.

    Parameters
    ----------
    region : Region
        Landings, and the homes of those who offered days.

    Returns
    -------
    effort : Effort
        Driving is that of the nearest people who make up a crew, in straight lines: who goes is
        known only to the roster.
    """
    points = region.landings.geometry.get_coordinates().to_numpy()
    homes = region.hours.drop_duplicates("code")["home_landing_id"].dropna()
    at = points[region.landings.index.get_indexer(homes)]
    km = np.zeros(len(points))
    if len(at):
        away = np.hypot(*(points[:, None] - at).transpose(2, 0, 1)) / 1000
        crew = min(region.settings.crew, len(at))
        km = 2 * np.sort(away, axis=1)[:, :crew].sum(axis=1)
    ward = region.landings["jurisdiction"].astype("category").cat.codes.to_numpy(int)
    return Effort(km, ward)


def easier_of_equals(
    objective: MeanAvoided, rules: PlanRules, found: Found, *, effort: Effort
) -> Found:
    """
    Of plans that can't be told from the best, one with less driving and more jurisdictions.

    Parameters
    ----------
    objective : MeanAvoided
        What the plan is for.
    rules : PlanRules
        What it keeps to.
    found : Found
        The best plan.
    effort : Effort
        What landings ask for and bring.

    Returns
    -------
    found : Found
        A plan that asks for no more driving, reaches no fewer jurisdictions, and avoids less than
        the best by no more than the standard error of that difference over the draws.
    """
    best, plan = objective.by_draw([found.shifts])[:, 0], found.shifts
    tried_at_once = TRIED if len(plan) <= EXACT else FEW_TRIED
    for _ in range(EASINGS):
        tried = _easier(plan, rules, found.values, effort=effort)[:tried_at_once]
        if not tried:
            break
        lost = best[:, None] - objective.by_draw(tried)
        error = lost.std(axis=0, ddof=1) / len(best) ** 0.5
        alike = [
            other for other, same in zip(tried, lost.mean(axis=0) <= error, strict=True) if same
        ]
        if not alike:
            break
        plan = min(alike, key=lambda other: (effort.of(other)[0], -effort.of(other)[1]))
    if np.array_equal(plan, found.shifts):
        return found
    avoided, values = float(objective.avoided([plan])[0]), objective.slope(plan)
    line = straight_line(plan, avoided, values=values, rules=rules)
    return Found(plan, avoided, line, values, found.slopes + 1)


def _easier(plan: Counts, rules: PlanRules, values: Array, *, effort: Effort) -> list[Counts]:
    """Plans with shifts of one cell moved to another that is easier, least loss by slope first."""
    flat, worth, n_blocks = plan.ravel(), steady(values).ravel(), plan.shape[1]
    held = np.flatnonzero(flat > rules.least.ravel())
    room = np.flatnonzero((flat < rules.most.ravel()) & (worth > 0))
    if not len(held) or not len(room):
        return []
    km, reached = effort.of(plan)
    nearer = effort.km[room // n_blocks] - effort.km[held // n_blocks][:, None]
    new = ~np.isin(effort.ward, effort.ward[plan.sum(axis=1) > 0]) & (effort.ward >= 0)
    good = (nearer < -SAME_KM) | ((nearer < SAME_KM) & new[room // n_blocks])
    loss = np.where(good, worth[held][:, None] - worth[room], np.inf)
    found: list[Counts] = []
    for pair in np.argsort(loss, axis=None, kind="stable")[: 4 * TRIED]:
        start, to = held[pair // len(room)], room[pair % len(room)]
        if not good.ravel()[pair]:
            break
        most = min(flat[start] - rules.least.ravel()[start], rules.most.ravel()[to] - flat[to])
        for moved in sorted({1, int(most)}):
            other = flat.copy()
            other[start] -= moved
            other[to] += moved
            changed = other.reshape(plan.shape)
            now = effort.of(changed)
            easier = now[0] <= km + SAME_KM and now[1] >= reached
            if easier and (now[0] < km - SAME_KM or now[1] > reached) and rules.keeps(changed):
                found.append(changed)
    return found
