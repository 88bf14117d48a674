"""Counting shifts in a plan: where knowing more gains more than educating."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.shifts import SMALL
from spreadnet.decisions.surveys import survey_next
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.decisions.shifts import PlanRules
    from spreadnet.decisions.surveys import SurveyList
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Counting:
    """
    A plan with some of its shifts given to counting.

    Attributes
    ----------
    educating, shifts : arrays of int, shape (K, D)
        Shifts for education that are left, and those for counting.
    gain : array, shape (K,)
        New infestations expected to be avoided besides in the seasons after this one, because
        hours are then better placed, by one counting shift at each landing.
    instead : array, shape (K,)
        What the educating shift that a landing's counting shift takes the place of would have
        avoided in this season; 0 where it takes none's.
    survey : SurveyList or None
        What counting shifts would tell; None where none can gain.
    """

    educating: Counts
    shifts: Counts
    gain: Array
    instead: Array
    survey: SurveyList | None

    @classmethod
    def none(cls, educating: Counts, survey: SurveyList | None = None) -> Counting:
        """A plan in which nobody only counts."""
        nothing = np.zeros(len(educating))
        return cls(educating, np.zeros_like(educating), nothing, nothing, survey)


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Counter:
    """
    What says where counting gains more than educating.

    `run` is the model at the best estimates, its reach within what the plan may give a landing.
    """

    region: Region
    evidence: Evidence
    movement: Movement
    run: Run

    def given(
        self,
        rules: PlanRules,
        educating: Counts,
        *,
        beside: Iterable[int] = (),
        before: Counts | None = None,
    ) -> Counting:
        """
        The plan with shifts given to counting where that gains more.

        Parameters
        ----------
        rules : PlanRules
            What all shifts together keep to.
        educating : array of int, shape (K, D)
            The plan, all of it for education.
        beside : iterable of int
            Landings at which nobody can count.
        before : array of int, shape (K, D), optional
            Shifts for education of an earlier plan, which are given up last.

        Returns
        -------
        counting : Counting
            At most one counting shift at a landing and `most_counting_share` of all shifts, none
            where educators stand or stood this season: they note what they find as well.

        Notes
        -----
        A counting shift costs what the educating shift that avoids least would have avoided in one
        season. It gains what `survey_next` says, in all seasons but this one: hours are placed
        better once it is over. Gains are those of each landing alone, which is why their number is
        limited. Both are at the best estimates.
        """
        seasons, reach = self.run.seasons, self.run.reach
        share = self.region.settings.most_counting_share
        most = int(share * int(educating.sum()) + SMALL)
        if seasons < 2 or most < 1:
            return Counting.none(educating)
        hours, room = rules.hours(educating), rules.most > 0
        survey = survey_next(
            self.region,
            self.evidence,
            self.movement,
            run=self.run,
            hours=hours,
            survey_hours=reach.shift_hours,
            room=room,
        )
        gain = survey.table["gain"].to_numpy(float) * (seasons - 1) / seasons
        free = (hours.sum(axis=1) <= SMALL) & room[np.arange(len(gain)), survey.when]
        free[list(beside)] = False
        worth = rules.shift_hours * self.run.value_after(hours) / seasons
        before = np.zeros_like(educating) if before is None else before
        made = replace(Counting.none(educating, survey), gain=gain)
        for k in np.argsort(-gain, kind="stable"):
            if gain[k] <= 0 or int(made.shifts.sum()) == most:
                break
            if free[k]:
                cell = (int(k), int(survey.when[k]))
                made = _with_one(made, rules, worth, cell=cell, before=before)
        return made


def _with_one(
    made: Counting, rules: PlanRules, worth: Array, *, cell: tuple[int, int], before: Counts
) -> Counting:
    """With one counting shift more, where it gains more than the shift whose place it takes."""
    counting = made.shifts.copy()
    counting[cell] += 1
    if _keeps(rules, made.educating, counting):
        return replace(made, shifts=counting)
    held = np.flatnonzero((made.educating > rules.least).ravel())
    had = (made.educating <= before).ravel()[held]
    for other in held[np.lexsort((worth.ravel()[held], had))]:
        lost = float(worth.ravel()[other])
        if lost >= made.gain[cell[0]]:
            continue
        fewer = made.educating.copy()
        fewer.ravel()[other] -= 1
        if _keeps(rules, fewer, counting):
            instead = made.instead.copy()
            instead[cell[0]] = max(lost, 0.0)
            return replace(made, educating=fewer, shifts=counting, instead=instead)
    return made


def _keeps(rules: PlanRules, educating: Counts, counting: Counts) -> bool:
    """Whether all shifts together keep the rules, and education alone what is asked of it."""
    asked = rules.sums @ educating.ravel() >= rules.lower - SMALL
    return rules.keeps(educating + counting) and bool(asked.all()) and rules.spreads(educating)


def rules_beside(rules: PlanRules, counting: Counts) -> PlanRules:
    """
    What is left of the rules for education beside counting shifts.

    Parameters
    ----------
    rules : PlanRules
        What all shifts together keep to.
    counting : array of int, shape (K, D)
        Shifts for counting.

    Returns
    -------
    left : PlanRules
        With fewer hours, and less room in every cell and limit.
    """
    if not counting.any():
        return rules
    used = rules.sums @ counting.ravel()
    limits = zip(rules.limits, used, strict=True)
    kept = tuple(replace(one, most=one.most - float(taken)) for one, taken in limits)
    return replace(rules, most=np.maximum(rules.most - counting, rules.least), limits=kept)
