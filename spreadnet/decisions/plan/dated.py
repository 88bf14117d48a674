"""The best plan with its dates: as people can come, and near an earlier one where that serves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.plan.counting import Counting, rules_beside
from spreadnet.decisions.plan.notes import easier_notes
from spreadnet.decisions.roster import RosterRules, make_roster
from spreadnet.decisions.shifts import (
    Found,
    best_plan,
    clash_words,
    easier_of_equals,
    effort_of,
    last_ends,
    straight_line,
    unasked,
)
from spreadnet.errors import ModelError
from spreadnet.evidence.region import Note
from spreadnet.words import COUNTING, PERMISSION, odds_text, short_repr

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.decisions.plan.counting import Counter
    from spreadnet.decisions.roster import Roster
    from spreadnet.decisions.shifts import MeanAvoided, PlanRules
    from spreadnet.evidence.region import Region

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

FILLINGS = 12  # times that shifts nobody can come to are placed anew


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Sought:
    """
    A plan with the rules it keeps to, those of the roster among them, and its roster.

    `found` holds the shifts for education, and `rules` what is left for them beside `counting`.
    """

    rules: PlanRules
    room: Counts
    found: Found
    counting: Counting
    roster: Roster | None
    notes: Sequence[Note]
    failed: Exception | None


def sought_plan(
    region: Region,
    objective: MeanAvoided,
    rules: PlanRules,
    *,
    counter: Counter,
    starts: Sequence[Counts],
    plan_from: date,
    previous: pd.DataFrame | None,
) -> Sought:
    """The best plan, or the one before where the best is not worth the change, with its roster."""
    found = best_plan(objective, rules, starts=starts)
    if found is None:
        message = f"no plan keeps to all rules\n{clash_words(rules)}"
        raise ModelError(f"{message}\n\nhint: change one of these in region.toml or the tables")
    effort = effort_of(region)
    easier = easier_of_equals(objective, rules, found, effort=effort)
    told = easier_notes(effort.of(found.shifts), effort.of(easier.shifts))
    objective, found = objective.near(easier), easier
    found, kept = _with_previous(region, objective, rules, found, previous, plan_from)
    kept = [*told, *kept]
    dated = partial(_roster, region, objective.run, plan_from=plan_from, previous=previous)
    room = rules.most
    try:
        rules, found, roster = _filled(
            region, objective, rules, found, plan_from=plan_from, previous=previous
        )
        before = None
        if previous is not None:
            before = _counts_of(region, objective.run, previous, plan_from)
        count = partial(counter.given, rules, found.shifts, before=before)
        counting, roster = _counted(region, count, roster, dated=dated)
        counting = counting or Counting.none(found.shifts)
        failed = None
    except Exception as error:  # whatever it is: where and when to stand is known without dates
        counting, roster, failed = Counting.none(found.shifts), None, error
    if counting.shifts.any():
        rules = rules_beside(rules, counting.shifts)
        found = _valued(objective, rules, counting.educating, slopes=found.slopes)
        room = np.maximum(room - counting.shifts, rules.least)
    return Sought(rules, room, found, counting, roster, notes=kept, failed=failed)


def _valued(objective: MeanAvoided, rules: PlanRules, shifts: Counts, *, slopes: int) -> Found:
    """A plan with what it avoids and what one more shift of each cell would."""
    avoided, values = float(objective.avoided([shifts])[0]), objective.slope(shifts)
    line = straight_line(shifts, avoided, values=values, rules=rules)
    return Found(shifts, avoided, line, values, slopes + 1)


def _counted(
    region: Region,
    count: Callable[..., Counting],
    roster: Roster,
    *,
    dated: Callable[..., Roster],
) -> tuple[Counting | None, Roster]:
    """Shifts given to counting where that gains more and somebody can come, with their dates."""
    beside: set[int] = set()
    for _ in range(FILLINGS):
        counting = count(beside=beside)
        if not counting.shifts.any():
            break
        other = dated(counting.educating + counting.shifts, counting=counting.shifts)
        lacking = other.shifts[other.shifts["status"] == "open"]
        lost = len(lacking) - int((roster.shifts["status"] == "open").sum())
        empty = region.landings.index.get_indexer(
            lacking.loc[lacking["kind"] == COUNTING, "landing_id"]
        )
        if not len(region.hours) or (not len(empty) and lost <= 0):
            return counting, other
        every = np.nonzero(counting.shifts)[0]  # counting takes people from educating
        beside |= set((empty if len(empty) else every).tolist())
    return None, roster


def whole_shifts(hours: Array, rules: PlanRules) -> Counts:
    """
    Hours in whole shifts, within the room there is.

    Parameters
    ----------
    hours : array, shape (K, D)
        Hours by landing and day block.
    rules : PlanRules
        Shift length and room.

    Returns
    -------
    shifts : array of int, shape (K, D)
        Rounded down; promised shifts are in it.
    """
    shifts = np.floor(np.maximum(hours, 0) / rules.shift_hours + 1e-9).astype(np.int64)
    return np.clip(shifts, rules.least, rules.most)


def _with_previous(
    region: Region,
    objective: MeanAvoided,
    rules: PlanRules,
    found: Found,
    previous: pd.DataFrame | None,
    plan_from: date,
) -> tuple[Found, list[Note]]:
    """The plan before with as little changed as must be, unless the new one is worth the change."""
    if previous is None:
        return found, []
    before = _counts_of(region, objective.run, previous, plan_from)
    held = np.clip(before, rules.least, rules.most)
    kept = best_plan(objective, replace(rules, least=held))  # only further shifts are placed
    if kept is None:  # there is no room for all of it: the fewest shifts are dropped
        kept = best_plan(objective, replace(rules, most=held))
        if kept is not None and rules.shifts > kept.shifts.sum():  # room for others
            kept = best_plan(objective, replace(rules, least=kept.shifts)) or kept
    if kept is None:
        text = "the plan before can't be kept under the rules as they are now: made anew"
        return found, [Note("made-anew", text)]
    gain = found.avoided - kept.avoided
    least = region.settings.replan_gain * kept.avoided
    if gain >= max(least, 1e-12) and len(region.hours):  # what nobody can come to avoids nothing
        new, same = (
            _filled(region, objective, rules, one, plan_from=plan_from, previous=previous)[2]
            for one in (found, kept)
        )
        crewed = [
            _counts_of(region, objective.run, one.shifts[one.shifts["status"] != "open"], plan_from)
            for one in (new, same)
        ]
        gain = float(np.subtract(*objective.avoided(crewed)))
    moved = int(np.maximum(before - kept.shifts, 0).sum())
    if gain < max(least, 1e-12):
        values = objective.slope(kept.shifts)
        line = straight_line(kept.shifts, kept.avoided, values=values, rules=rules)
        text = (
            f"the plan before is kept, with {moved} of its shifts dropped and "
            f"{int(np.maximum(kept.shifts - before, 0).sum())} added: a new one would avoid "
            f"{odds_text(max(gain, 0.0))} more, less than replan_gain asks for "
            f"({odds_text(least)})"
        )
        return replace(kept, straight_line=line, values=values), [Note("plan-kept", text)]
    text = (
        f"{int(np.maximum(before - found.shifts, 0).sum())} shifts of the plan before are moved: "
        f"that avoids {odds_text(gain)} more, and replan_gain asks for {odds_text(least)}"
    )
    return found, [Note("plan-changed", text)]


def _counts_of(region: Region, run: Run, roster: pd.DataFrame, plan_from: date) -> Counts:
    """Shifts of an earlier roster from a day on, those for counting not among them, (K, D)."""
    counts: Counts = np.zeros(run.reach.boats.shape, np.int64)
    blocks = run.reach.day_blocks
    column = {p: d for d, p in enumerate(zip(blocks["day_type"], blocks["block"], strict=True))}
    row = {landing_id: k for k, landing_id in enumerate(region.landings.index)}
    live = roster[(roster["status"] != "cancelled") & (roster["date"] >= pd.Timestamp(plan_from))]
    live = live[live["kind"] != COUNTING]
    for one in live.to_dict("records"):
        cell = (one["day_type"], one["block"])
        if one["landing_id"] in row and cell in column:
            counts[row[one["landing_id"]], column[cell]] += 1
    return counts


def _filled(
    region: Region,
    objective: MeanAvoided,
    rules: PlanRules,
    found: Found,
    *,
    plan_from: date,
    previous: pd.DataFrame | None,
) -> tuple[PlanRules, Found, Roster]:
    """
    The plan with shifts that nobody can come to placed elsewhere, as far as that helps.

    Whether people's days fit shows only in the roster. Where shifts stay open for want of people,
    the plan is made anew with no more of them than were filled, and taken if its filled shifts
    avoid more. Meanwhile only which shifts stay open is asked for.
    """
    dated = partial(_roster, region, objective.run, plan_from=plan_from, previous=previous)
    best, worth = (rules, found), -np.inf
    for turn in range(FILLINGS + 1 if len(region.hours) else 0):
        tried = dated(found.shifts, fill_only=True).shifts
        lacking = _counts_of(region, objective.run, tried[tried["status"] == "open"], plan_from)
        filled = np.maximum(found.shifts - lacking, rules.least)
        now = float(objective.avoided([filled])[0])
        if turn == 0 or now > worth * (1 + 1e-9):
            best, worth = (rules, found), now
        if turn == FILLINGS or not lacking.any():
            break
        rules = replace(rules, most=np.where(lacking > 0, filled, rules.most))
        other = best_plan(objective, rules, starts=[filled], passes=1)
        if other is None:
            break
        found = other
    rules, found = best
    return rules, found, dated(found.shifts)


def _needs(region: Region, run: Run, shifts: Counts, counting: Counts) -> pd.DataFrame:
    """Landings and day blocks with shifts, for the roster."""
    blocks, (k, d) = run.reach.day_blocks, np.nonzero(shifts)
    return pd.DataFrame(
        {
            "landing_id": region.landings.index[k],
            "day_type": blocks["day_type"].to_numpy()[d],
            "block": blocks["block"].to_numpy()[d],
            "shifts": shifts[k, d],
            "counting": counting[k, d],
        }
    )


def _roster(
    region: Region,
    run: Run,
    shifts: Counts,
    *,
    plan_from: date,
    previous: pd.DataFrame | None,
    counting: Counts | None = None,
    fill_only: bool = False,
) -> Roster:
    """Dated shifts of the plan, those for counting among them."""
    settings = region.settings
    counting = np.zeros_like(shifts) if counting is None else counting
    points = region.landings.geometry.get_coordinates()
    landings = pd.DataFrame(
        {
            "name": region.landings["name"].to_numpy(),
            "easting_m": points["x"].to_numpy(),
            "northing_m": points["y"].to_numpy(),
            "permission": np.where(unasked(region), PERMISSION, ""),
        },
        index=region.landings.index,
    )
    first, last = pd.Timestamp(plan_from), pd.Timestamp(settings.season_last_day)
    promised = region.promised
    visits = region.visits
    worked = visits[
        (visits["date"] >= pd.Timestamp(settings.season_first_day)) & (visits["date"] < first)
    ]
    return make_roster(
        _needs(region, run, shifts, counting),
        rules=RosterRules(
            season_first_day=settings.season_first_day,
            season_last_day=settings.season_last_day,
            plan_from=plan_from,
            holidays=settings.holidays,
            blocks=settings.blocks,
            shift_hours=settings.shift_hours,
            crew=settings.crew,
            most_shifts_per_landing_week=max(
                int(settings.most_hours_per_landing_week / settings.shift_hours + 1e-9), 1
            ),
            rest_hours=settings.rest_hours,
            most_shifts_per_person_week=settings.most_shifts_per_person_week,
            cost_per_km=settings.cost_per_km,
            last_ends=last_ends(region, plan_from),
            region=settings.name,
        ),
        landings=landings,
        people=region.hours if len(region.hours) else None,
        promised=promised[(promised["date"] >= first) & (promised["date"] <= last)],
        previous=previous,
        worked=worked[["date", "landing_id"]].reset_index(drop=True),
        fill_only=fill_only,
    )
