"""A season plan: which landings, which times, what it buys, and why."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.draws import run_model
from spreadnet.decisions.hours import Met
from spreadnet.decisions.plan.clash import clash_words
from spreadnet.decisions.plan.objective import (
    Avoided,
    MeanAvoided,
    best_plan,
    easier_of_equals,
    effort_of,
    mean_avoided,
)
from spreadnet.decisions.plan.rules import last_ends, plan_rules, unasked
from spreadnet.decisions.plan.search import straight_line
from spreadnet.decisions.plan.value import budget_table, compare, rule_costs, spreading_table
from spreadnet.decisions.plan.ways import PLAN, WaySetting, draw_ways, way_table, ways_today
from spreadnet.decisions.plan.why import drop_losses, stand_in, why_lines
from spreadnet.decisions.roster import RosterRules, make_roster
from spreadnet.errors import ModelError
from spreadnet.evidence.region import Note
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.words import (
    ALONE,
    CAUTIONS,
    PERMISSION,
    card,
    count_text,
    dropped_words,
    odds_text,
    plan_compared,
    plan_finding,
    share_text,
    short_repr,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.decisions.plan.rules import PlanRules
    from spreadnet.decisions.plan.search import Found
    from spreadnet.decisions.roster import Roster
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.movement import Movement
    from spreadnet.options import Settled

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

FILLINGS = 12  # times that shifts nobody can come to are placed anew
FIRST_SHOWN = 10  # rows of the plan shown in a notebook
ENOUGH = 0.02  # share of the straight line that is missed before a word is said


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class SeasonPlan:
    """
    A plan with its roster and what speaks for it.

    Attributes
    ----------
    region : Region
        The input.
    table : DataFrame
        One row a landing and day block with shifts: how many, boats met, what one avoids, why,
        and what would change without it.
    ways : DataFrame, index way
        The plan beside what people do today, with the same hours.
    value : DataFrame
        Avoided against hours.
    rules : DataFrame, index rule
        What each kind of rule costs.
    spreading : DataFrame, index landings
        What the same hours would avoid on so many landings at most, and spread over so many or
        more: the price of spreading.
    roster : Roster or None
        Dated shifts; None where they could not be worked out.
    avoided, straight_line : float
        By the plan, and by hours placed anew where one more shift is worth most here, were all
        shifts worth that much: how far from the best the plan may be, but no bound.
    hours, hours_worked : float
        Of the season, and of it worked before `plan_from`.
    plan_from : date
        First day on which shifts are placed.
    seasons, draws, seed : int
        As for `assess`.
    slopes : int
        Slopes of the spread that the search took.
    notes : tuple of Note
        What could not be done, and what to keep in mind.
    failed : Exception or None
        Why there is no roster, if there is none.
    """

    region: Region
    table: pd.DataFrame
    ways: pd.DataFrame
    value: pd.DataFrame
    rules: pd.DataFrame
    spreading: pd.DataFrame
    roster: Roster | None
    avoided: float
    straight_line: float
    hours: float
    hours_worked: float
    plan_from: date
    seasons: int
    draws: int
    seed: int
    slopes: int
    notes: tuple[Note, ...]
    failed: Exception | None = None

    def __repr__(self) -> str:
        return (
            f"<SeasonPlan of {self.region.settings.name}: {int(self.table['shifts'].sum())} shifts "
            f"at {self.table['landing_id'].nunique()} landings, {self.seasons} seasons, seed "
            f"{self.seed}>"
        )

    def _repr_html_(self) -> str:
        named = {"day_type": "days", "avoided_by_one_shift": "avoided by one shift"}
        table = self.table[["shifts", "landing", "day_type", "block", "avoided_by_one_shift"]]
        words = table["avoided_by_one_shift"].map(odds_text)
        return card(
            f"Season plan of {self.region.settings.name}",
            lines=[f"{text}." for text in (plan_finding(self), plan_compared(self)) if text],
            table=table.assign(avoided_by_one_shift=words).head(FIRST_SHOWN).rename(columns=named),
            cautions=CAUTIONS[:3],
        )


def make_plan(
    region: Region,
    evidence: Evidence,
    movement: Movement,
    *,
    hours: float,
    plan_from: date,
    options: Settled,
    previous: pd.DataFrame | None = None,
) -> SeasonPlan:
    """
    Place the hours of a season where they avoid most, within all rules, and date the shifts.

    Parameters
    ----------
    region : Region
        The input.
    evidence : Evidence
        Step one.
    movement : Movement
        Step two.
    hours : float
        Educator hours in the season, those worked already among them.
    plan_from : date
        First day on which a shift may be placed.
    options : Settled
        As for `decide`; the plan is taken to be worked in each season.
    previous : DataFrame, optional
        Roster of an earlier plan, which is changed only if that avoids `replan_gain` more.

    Returns
    -------
    plan : SeasonPlan
        The same for the same seed; ties go to the smaller id and earlier block.

    Raises
    ------
    ModelError
        If no plan keeps to the rules: says which clash, and by how much.
    """
    place, seasons, seed = place_of(region, evidence, movement), options.seasons, options.seed
    run = run_model(best_estimates(evidence, movement), movement, place=place, seasons=seasons)
    rules = plan_rules(region, run.reach, hours=hours, plan_from=plan_from)
    best, threads = Avoided.of(run, rules), options.workers
    objective = mean_avoided(best, evidence, movement, place=place, seed=seed, workers=threads)
    reach = replace(run.reach, most_hours=min(run.reach.most_hours, rules.most_hours))
    met = Met.of(reach, evidence, next(iter(run.inputs.values())))
    today = ways_today(region, met, hours=hours)
    starts = [whole_shifts(placed - rules.worked, rules) for placed in today.values()]
    sought = _sought(
        region, objective, rules, starts=starts, plan_from=plan_from, previous=previous
    )
    rules, found, roster = sought.rules, sought.found, sought.roster
    objective = objective.near(found)
    compared = compare(objective, rules, found, room=sought.room)
    mine = rules.hours(found.shifts)
    same = float(mine.sum())  # as many as the plan places, which may be fewer than there are
    placed = {PLAN: mine, **ways_today(region, met, hours=same)}
    others = {name: rules.hours(shifts) for name, shifts in compared.shifts().items()}
    setting = WaySetting(evidence, movement.packed(), place, seasons, seed, {**placed, **others})
    drawn = draw_ways(setting, options.draws, workers=options.workers, step=options.progress.step)
    cost = region.settings.cost_per_hour
    ways = way_table(placed, drawn, met=met, seasons=seasons, cost_per_hour=cost)
    value = budget_table(compared, drawn, rules=rules, seasons=seasons, cost_per_hour=cost)
    avoided = float(drawn[PLAN].mean())
    return SeasonPlan(
        region=region,
        table=_plan_table(region, evidence, met, found, rules=rules, objective=objective),
        ways=ways,
        value=value,
        rules=rule_costs(compared, drawn),
        spreading=spreading_table(compared, drawn, rules=rules),
        roster=roster,
        avoided=avoided,
        straight_line=avoided / (1 - found.gap),
        hours=same,
        hours_worked=float(rules.worked.sum()),
        plan_from=plan_from,
        seasons=seasons,
        draws=options.draws,
        seed=seed,
        slopes=found.slopes,
        notes=(
            *sought.notes,
            *_notes(region, found, rules, hours),
            *_cost_notes(ways, value),
            *_roster_notes(roster, sought.failed),
        ),
        failed=sought.failed,
    )


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Sought:
    """A plan with the rules it keeps to, those of the roster among them, and its roster."""

    rules: PlanRules
    room: Counts
    found: Found
    roster: Roster | None
    notes: Sequence[Note]
    failed: Exception | None


def _sought(
    region: Region,
    objective: MeanAvoided,
    rules: PlanRules,
    *,
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
    told = _easier_notes(effort.of(found.shifts), effort.of(easier.shifts))
    objective, found = objective.near(easier), easier
    found, kept = _with_previous(region, objective, rules, found, previous, plan_from)
    kept = [*told, *kept]
    try:
        filled = _filled(region, objective, rules, found, plan_from=plan_from, previous=previous)
        return Sought(filled[0], rules.most, *filled[1:], notes=kept, failed=None)
    except Exception as error:  # whatever it is: where and when to stand is known without dates
        return Sought(rules, rules.most, found, None, kept, error)


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
    """Shifts of an earlier roster from a day on, (K, D)."""
    counts: Counts = np.zeros(run.reach.boats.shape, np.int64)
    blocks = run.reach.day_blocks
    column = {p: d for d, p in enumerate(zip(blocks["day_type"], blocks["block"], strict=True))}
    row = {landing_id: k for k, landing_id in enumerate(region.landings.index)}
    live = roster[(roster["status"] != "cancelled") & (roster["date"] >= pd.Timestamp(plan_from))]
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


def _plan_table(
    region: Region,
    evidence: Evidence,
    met: Met,
    found: Found,
    *,
    rules: PlanRules,
    objective: MeanAvoided,
) -> pd.DataFrame:
    """One row a landing and day block with shifts, those worth most first."""
    run, losses = objective.run, drop_losses(objective, found)
    lines = why_lines(region, evidence, run, found, promised=rules.least)
    blocks, n_blocks = run.reach.day_blocks, found.shifts.shape[1]
    names, ids = list(region.landings["name"]), list(region.landings.index)

    def time(d: int) -> str:
        return f"{blocks['day_type'].iloc[d]} {blocks['block'].iloc[d]}"

    rows, cells, asks = [], np.nonzero(found.shifts), unasked(region)
    for why, k, d in zip(lines, *cells, strict=True):
        other = stand_in(found, rules, int(k * n_blocks + d))
        shown = None
        if other is not None:
            to, at = divmod(other, n_blocks)
            shown = (names[to], time(at), float(found.values[to, at]))
        shifts = int(found.shifts[k, d])
        rows.append(
            {
                "landing_id": ids[k],
                "landing": names[k],
                "jurisdiction": region.landings["jurisdiction"].iloc[k],
                "day_type": blocks["day_type"].iloc[d],
                "block": blocks["block"].iloc[d],
                "shifts": shifts,
                "promised": int(rules.least[k, d]),
                "permission": PERMISSION if asks[k] else "",
                "hours": shifts * rules.shift_hours,
                "boats_met": shifts * rules.shift_hours * run.reach.boats[k, d],
                "boats_with_a_gap": shifts * rules.shift_hours * met.with_gap[k, d],
                "avoided_by_one_shift": losses[k, d],
                "why": why,
                "if_dropped": dropped_words(float(losses[k, d]), shown, seasons=run.seasons),
            }
        )
    columns = (
        *("landing_id", "landing", "jurisdiction", "day_type", "block", "shifts", "promised"),
        "permission",
        *("hours", "boats_met", "boats_with_a_gap", "avoided_by_one_shift", "why", "if_dropped"),
    )
    table = pd.DataFrame(rows, columns=list(columns))
    bridging = pd.DataFrame(met.bridging_per_100_hours(*cells))
    at = table.columns.get_loc("avoided_by_one_shift")
    table = pd.concat([table.iloc[:, :at], bridging, table.iloc[:, at:]], axis=1)
    return table.sort_values(
        ["avoided_by_one_shift", "landing_id", "day_type", "block"],
        ascending=[False, True, True, True],
        ignore_index=True,
    )


def _needs(region: Region, run: Run, shifts: Counts) -> pd.DataFrame:
    """Landings and day blocks with shifts, for the roster."""
    blocks, (k, d) = run.reach.day_blocks, np.nonzero(shifts)
    return pd.DataFrame(
        {
            "landing_id": region.landings.index[k],
            "day_type": blocks["day_type"].to_numpy()[d],
            "block": blocks["block"].to_numpy()[d],
            "shifts": shifts[k, d],
        }
    )


def _roster(
    region: Region,
    run: Run,
    shifts: Counts,
    *,
    plan_from: date,
    previous: pd.DataFrame | None,
    fill_only: bool = False,
) -> Roster:
    """Dated shifts of the plan."""
    settings = region.settings
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
        _needs(region, run, shifts),
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


def _cost_notes(*tables: pd.DataFrame) -> list[Note]:
    """One note where a way of placing hours avoids nothing, so that one avoided has no cost."""
    column = "cost_per_infestation_avoided"
    if not any(column in table and table[column].isna().any() for table in tables):
        return []
    text = "where nothing is avoided, one infestation avoided has no cost: such cells are empty"
    return [Note("no-cost", text)]


def _roster_notes(roster: Roster | None, error: Exception | None) -> Sequence[Note]:
    """What the roster could not meet, or that there is none."""
    if roster is not None:
        return roster.notes
    text = (
        f"dates and people could not be worked out ({type(error).__name__}: {error}): the plan "
        "says at which landings and times to stand, without dates"
    )
    return [Note("no-roster", text)]


def _notes(region: Region, found: Found, rules: PlanRules, hours: float) -> list[Note]:
    """Hours that could not be placed, and how sure the plan is to be the best."""
    notes = []
    left = hours - float(rules.hours(found.shifts).sum())
    if left >= rules.shift_hours - 1e-9:
        text = (
            f"{left:g} of {hours:g} hours are not placed: the rules leave no room for them, or "
            "nothing more would be avoided"
        )
        notes.append(Note("hours-left", text))
    if rules.worked.sum() > hours + 1e-9:
        text = f"{rules.worked.sum():g} hours are worked already, more than the {hours:g} there are"
        notes.append(Note("hours-over", text))
    if found.gap > ENOUGH:
        text = (
            f"judged by what one more shift at each landing and time would avoid, another plan "
            f"could avoid about {share_text(found.gap / (1 - found.gap))} more; a further shift is "
            "mostly worth less than the one before, so the truth is mostly less"
        )
        notes.append(Note("plan-gap", text))
    notes += _people_notes(region, found)
    if region.settings.crew != 1 and region.hours.empty:
        text = f"a shift needs {region.settings.crew} people; no table `hours` says who can come"
        notes.append(Note("nobody-known", text))
    return notes


def _people_notes(region: Region, found: Found) -> list[Note]:
    """What people have to know or to ask before they stand there."""
    settings, notes = region.settings, []
    if settings.crew == 1:
        notes.append(Note("works-alone", ALONE))
    asks = int((found.shifts.sum(axis=1) > 0)[unasked(region)].sum())
    if asks:
        text = (
            f"at {asks} of the landings with shifts nobody has said that educators may work "
            f"(can_staff is empty): {PERMISSION}, or leave such landings out with "
            "unasked_landings = false"
        )
        notes.append(Note("permission", text))
    if not settings.after_dusk and settings.time_zone is None:
        text = (
            "no shift ends after sunset, by the whole hours nearest to the landings' longitude "
            "without summer time, since region.toml names no time_zone: with one, shifts may end "
            "later"
        )
        notes.append(Note("dusk-by-longitude", text))
    return notes


def _easier_notes(before: tuple[float, int], now: tuple[float, int]) -> list[Note]:
    """That of plans which can't be told apart an easier one was taken."""
    gains = []
    if now[0] < before[0]:
        gains.append(f"about {count_text(before[0] - now[0])} km less driving a season")
    if now[1] > before[1]:
        gains.append(f"{now[1]} jurisdictions in place of {before[1]}")
    if not gains:
        return []
    text = (
        f"of plans that can't be told apart this one was taken: {' and '.join(gains)}; what it "
        "avoids less, if anything, is within the error of the comparison"
    )
    return [Note("easier-of-equals", text)]
