"""What a plan is for: new infestations avoided in the mean of draws of everything uncertain."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from spreadnet.decisions.draws import run_model, totals_of
from spreadnet.decisions.hours import coverage_of
from spreadnet.decisions.shifts.search import SURE, SWAPS, Found, search, straight_line
from spreadnet.model.estimates import drawn_estimates
from spreadnet.model.spread import Coverage
from spreadnet.model.trips import Trips
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.decisions.shifts.rules import PlanRules
    from spreadnet.evidence.gather import Evidence
    from spreadnet.model.inputs import Place
    from spreadnet.model.movement import Movement
    from spreadnet.model.spread import Rates

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

Result = TypeVar("Result")

SEARCHED = 20  # draws over which a plan is sought
APART = 500_000_000  # their numbers start here: a plan is judged on others than it was made on
PASSES = 4  # times that a plan is sought anew with slopes of all draws at the one before
EXACT = 400  # landings up to which the last shifts are swapped on all draws


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Avoided:
    """
    New infestations avoided by plans on one set of estimates, weighted by species and worth.

    `rates` by species are kept where many plans are tried on the same estimates. Without them, and
    where trips come from a law, the matrices are let go and worked out again when asked for.
    """

    run: Run
    rules: PlanRules
    without: float
    rates: Mapping[str, Rates] | None = None

    @classmethod
    def of(cls, run: Run, rules: PlanRules, rates: Mapping[str, Rates] | None = None) -> Avoided:
        """With the total without education worked out once."""
        nobody = Coverage.none(len(run.reach.boats))
        without = float(totals_of(run, [nobody], rates=rates)[0])
        return cls(run if rates is not None else _let_go(run), rules, without, rates)

    def avoided(self, plans: Sequence[Counts]) -> Array:
        """Avoided by each plan with the hours worked already, (P,)."""
        hours = [self.rules.hours(plan) for plan in plans]
        covered = [coverage_of(each, self.run.reach) for each in hours]
        return self.without - totals_of(_at_hand(self.run), covered, rates=self.rates)

    def slope(self, plan: Counts) -> Array:
        """Avoided by one more shift a season of each cell, (K, D)."""
        return self.rules.shift_hours * _at_hand(self.run).value_after(self.rules.hours(plan))


def _let_go(run: Run) -> Run:
    """A run without what slopes and totals are not worked out from."""
    return _with_trips(replace(run, paths={}, slopes={}, calibration={}), Trips.let_go)


def _at_hand(run: Run) -> Run:
    """The run with its trips as a matrix again."""
    return _with_trips(run, Trips.at_hand)


def _with_trips(run: Run, change: Callable[[Trips], Trips]) -> Run:
    """A run with its trips, which all species share, held otherwise."""
    trips = next(iter(run.inputs.values())).trips
    if not isinstance(trips, Trips):
        return run
    held = change(trips)
    inputs = {name: replace(one, trips=held) for name, one in run.inputs.items()}
    return replace(run, inputs=inputs)


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
