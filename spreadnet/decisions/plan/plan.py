"""A season plan: which landings, which times, what it buys, and why."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from spreadnet.decisions.draws import run_model
from spreadnet.decisions.hours import Met
from spreadnet.decisions.plan.dated import sought_plan, whole_shifts
from spreadnet.decisions.plan.notes import cost_notes, plan_notes, roster_notes
from spreadnet.decisions.plan.table import plan_table
from spreadnet.decisions.plan.value import budget_table, compare, rule_costs, spreading_table
from spreadnet.decisions.plan.ways import PLAN, WaySetting, draw_ways, way_table, ways_today
from spreadnet.decisions.shifts import Avoided, mean_avoided, plan_rules
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.words import CAUTIONS, card, odds_text, plan_compared, plan_finding

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd

    from spreadnet.decisions.roster import Roster
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Note, Region
    from spreadnet.model.movement import Movement
    from spreadnet.model.spread import Rates
    from spreadnet.options import Settled


FIRST_SHOWN = 10  # rows of the plan shown in a notebook


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
    between: dict[str, Rates] = {}
    run = run_model(
        best_estimates(evidence, movement),
        movement,
        place=place,
        seasons=seasons,
        tell=lambda name, _, rates: between.update({name: rates}),
    )
    rules = plan_rules(region, run.reach, hours=hours, plan_from=plan_from)
    best, threads = Avoided.of(run, rules, between), options.workers
    objective = mean_avoided(best, evidence, movement, place=place, seed=seed, workers=threads)
    reach = replace(run.reach, most_hours=min(run.reach.most_hours, rules.most_hours))
    met = Met.of(reach, evidence, next(iter(run.inputs.values())))
    today = ways_today(region, met, hours=hours)
    starts = [whole_shifts(placed - rules.worked, rules) for placed in today.values()]
    sought = sought_plan(
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
        table=plan_table(region, evidence, met, found, rules=rules, objective=objective),
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
            *plan_notes(region, found, rules, hours),
            *cost_notes(ways, value),
            *roster_notes(roster, sought.failed),
        ),
        failed=sought.failed,
    )
