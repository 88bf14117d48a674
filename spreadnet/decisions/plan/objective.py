"""What a plan is for: new infestations avoided in the mean of draws of everything uncertain."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from spreadnet.decisions.draws import run_model, totals_of
from spreadnet.decisions.hours import coverage_of, steady
from spreadnet.decisions.plan.search import SURE, SWAPS, Found, search, straight_line
from spreadnet.model.estimates import drawn_estimates
from spreadnet.model.spread import Coverage
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.decisions.plan.rules import PlanRules
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.inputs import Place
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

Result = TypeVar("Result")

SEARCHED = 20  # draws over which a plan is sought
APART = 500_000_000  # their numbers start here: a plan is judged on others than it was made on
PASSES = 4  # times that a plan is sought anew with slopes of all draws at the one before
EXACT = 400  # landings up to which the last shifts are swapped on all draws
EASINGS = 12  # moves of shifts to landings that are easier to work
TRIED, FEW_TRIED = 24, 6  # such moves compared at once, in small and in large regions
SAME_KM = 0.1  # driving that differs by less is the same


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Avoided:
    """New infestations avoided by plans on one set of estimates, weighted by species and worth."""

    run: Run
    rules: PlanRules
    without: float

    @classmethod
    def of(cls, run: Run, rules: PlanRules) -> Avoided:
        """With the total without education worked out once."""
        nobody = Coverage.none(len(run.reach.boats))
        return cls(run, rules, float(totals_of(run, [nobody])[0]))

    def avoided(self, plans: Sequence[Counts]) -> Array:
        """Avoided by each plan with the hours worked already, (P,)."""
        hours = [self.rules.hours(plan) for plan in plans]
        covered = [coverage_of(each, self.run.reach) for each in hours]
        return self.without - totals_of(self.run, covered)

    def slope(self, plan: Counts) -> Array:
        """Avoided by one more shift a season of each cell, (K, D)."""
        return self.rules.shift_hours * self.run.value_after(self.rules.hours(plan))


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Guide:
    """
    A stand-in for the mean of the draws that is as quick as one run.

    The best estimates say how returns fall as hours grow, and a term for each shift makes the slope
    at one plan that of the draws: what is best near that plan is best for both.

    Attributes
    ----------
    best : Avoided
        At the best estimates.
    more : array, shape (K, D)
        Added for each shift of a cell.
    """

    best: Avoided
    more: Array

    def avoided(self, plans: Sequence[Counts]) -> Array:
        """Avoided by each plan, but for what is the same for all, (P,)."""
        return self.best.avoided(plans) + np.array([(self.more * plan).sum() for plan in plans])

    def slope(self, plan: Counts) -> Array:
        """Avoided by one more shift a season of each cell, (K, D)."""
        return self.best.slope(plan) + self.more

    def at(self, plan: Counts, slope: Array) -> Guide:
        """The stand-in that has the slope of the draws at a plan."""
        return replace(self, more=slope - self.best.slope(plan))


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class MeanAvoided:
    """
    New infestations avoided in the mean of draws.

    Attributes
    ----------
    guide : Guide
        Stand-in for it, at the best estimates until it is set to a plan.
    each : tuple of Avoided
        One a draw.
    workers : int
        Threads.
    """

    guide: Guide
    each: tuple[Avoided, ...]
    workers: int = 1

    @property
    def run(self) -> Run:
        """The model at the best estimates."""
        return self.guide.best.run

    def near(self, found: Found) -> MeanAvoided:
        """The same with a stand-in that has the slope of the draws at a plan."""
        return replace(self, guide=self.guide.at(found.shifts, found.values))

    def guided(self, found: Found) -> Found:
        """A plan as the stand-in sees it, to be compared with what that finds."""
        return replace(found, avoided=float(self.guide.avoided([found.shifts])[0]))

    def by_draw(self, plans: Sequence[Counts]) -> Array:
        """Avoided by each plan in each draw, (N, P)."""
        return np.array(self._all(lambda one: one.avoided(plans)))

    def avoided(self, plans: Sequence[Counts]) -> Array:
        """Avoided by each of some plans, (P,)."""
        return np.asarray(self.by_draw(plans).mean(axis=0))

    def slope(self, plan: Counts) -> Array:
        """Avoided by one more shift of each cell, (K, D)."""
        return np.asarray(np.mean(self._all(lambda one: one.slope(plan)), axis=0))

    def _all(self, work: Callable[[Avoided], Result]) -> list[Result]:
        """What each draw gives, in their order."""
        if self.workers == 1:
            return [work(one) for one in self.each]
        with ThreadPoolExecutor(self.workers) as pool:
            return list(pool.map(work, self.each))


def mean_avoided(
    best: Avoided,
    evidence: Evidence,
    movement: Movement,
    *,
    place: Place,
    seed: int,
    workers: int | None,
) -> MeanAvoided:
    """
    What a plan is for, over draws of everything uncertain.

    Parameters
    ----------
    best : Avoided
        At the best estimates.
    evidence, movement
        Steps one and two.
    place : Place
        Fixed facts of the region.
    seed : int
        Seed of the run.
    workers : int or None
        Threads at most, where nearly all the time is spent in compiled code.

    Returns
    -------
    objective : MeanAvoided
        Over `SEARCHED` draws, other ones than those by which a plan is told: a plan looks better
        than it is on the draws for which it was chosen.
    """

    def run(draw: int) -> Avoided:
        estimates = drawn_estimates(evidence, movement, seed=seed, draw=APART + draw)
        seasons = best.run.seasons
        return Avoided.of(run_model(estimates, movement, place=place, seasons=seasons), best.rules)

    threads = workers or 1 if movement.compiled else 1
    guide = Guide(best, np.zeros(best.rules.most.shape))
    with ThreadPoolExecutor(threads) as pool:
        each = tuple(pool.map(run, range(SEARCHED)))
    return MeanAvoided(guide, each, threads)


def best_plan(
    objective: MeanAvoided,
    rules: PlanRules,
    *,
    starts: Sequence[Counts] = (),
    grow: bool = True,
    passes: int = PASSES,
) -> Found | None:
    """
    Plan that avoids most in the mean of the draws.

    Parameters
    ----------
    objective : MeanAvoided
        What the plan is for.
    rules : PlanRules
        What it keeps to.
    starts : sequence of arrays of int, shape (K, D)
        Plans to start from as well.
    grow : bool
        Whether a plan that grows in rounds is a start too.
    passes : int
        Times that it is sought anew at most.

    Returns
    -------
    found : Found or None
        None when nothing keeps to the rules.

    Notes
    -----
    Sought by the stand-in, then anew by the stand-in that has the slope of all draws at what was
    found, as long as that avoids more in the mean of the draws (first-order model management,
    Alexandrov et al. 2001, Journal of Aircraft 38:1093, from memory). In small regions the last
    shifts are swapped on all draws.
    """
    found = search(objective.guide, rules, starts=starts, grow=grow)
    if found is None:
        return None
    guide, plan, slopes = objective.guide, found.shifts, found.slopes
    avoided, values = float(objective.avoided([plan])[0]), objective.slope(plan)
    for _ in range(passes):
        guide = guide.at(plan, values)
        other = search(guide, rules, starts=[plan], grow=False)
        if other is None or np.array_equal(other.shifts, plan):
            break
        slopes += other.slopes
        now = float(objective.avoided([other.shifts])[0])
        if now <= avoided * (1 + SURE):
            break
        plan, avoided, values = other.shifts, now, objective.slope(other.shifts)
    if passes and len(rules.most) <= EXACT:
        last = search(objective, rules, starts=[plan], grow=False, swaps=SWAPS)
        if last is not None and last.avoided > avoided * (1 + SURE):
            return replace(last, slopes=slopes + last.slopes)
    line = straight_line(plan, avoided, values=values, rules=rules)
    return Found(plan, avoided, line, values, slopes)


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
