"""A season plan: which landings, which times, what it buys, and why."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from spreadnet.decisions.draws import run_model
from spreadnet.decisions.hours import Met
from spreadnet.decisions.plan.counting import Counter
from spreadnet.decisions.plan.dated import sought_plan, whole_shifts
from spreadnet.decisions.plan.notes import cost_notes, plan_notes, roster_notes
from spreadnet.decisions.plan.table import kinds_table, plan_table
from spreadnet.decisions.plan.value import budget_table, compare, rule_costs, spreading_table
from spreadnet.decisions.plan.ways import PLAN, WaySetting, draw_ways, way_table, ways_today
from spreadnet.decisions.shifts import Avoided, mean_avoided, plan_rules
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.words import CAUTIONS, card, odds_text, plan_compared, plan_finding

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd

    from spreadnet.decisions.plan.dated import Sought
    from spreadnet.decisions.roster import Roster
    from spreadnet.decisions.shifts import MeanAvoided, PlanRules
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Note, Region
    from spreadnet.model.inputs import Place
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
        One row a landing and day block with shifts: their kind (`education` or `counting`), how
        many, boats met, what one avoids or its counting gains, why, and what would change without
        it.
    ways : DataFrame, index way
        The plan beside what people do today, with the same hours for education.
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
        By the plan's education, and by hours placed anew where one more shift is worth most here,
        were all shifts worth that much: how far from the best the plan may be, but no bound.
    hours, hours_worked : float
        Of the season, counting among them, and of it worked before `plan_from`.
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

    @property
    def kinds(self) -> pd.DataFrame:
        """Shifts, hours and gain by counting of each kind of shift, index kind."""
        return kinds_table(self.table)

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
    place, seasons = place_of(region, evidence, movement), options.seasons
    objective, rules = _begun(
        evidence, movement, place, region=region, hours=hours, plan_from=plan_from, options=options
    )
    run = objective.run
    reach = replace(run.reach, most_hours=min(run.reach.most_hours, rules.most_hours))
    met = Met.of(reach, evidence, next(iter(run.inputs.values())))
    counter = Counter(region, evidence, movement, replace(run, reach=reach))
    today = ways_today(region, met, hours=hours)
    sought = sought_plan(
        region,
        objective,
        rules,
        counter=counter,
        starts=[whole_shifts(placed - rules.worked, rules) for placed in today.values()],
        plan_from=plan_from,
        previous=previous,
    )
    rules, found, roster = sought.rules, sought.found, sought.roster
    objective = objective.near(found)
    tables = _compared(sought, objective, met, counter=counter, place=place, options=options)
    counted = rules.shift_hours * float(sought.counting.shifts.sum())
    return SeasonPlan(
        region=region,
        table=plan_table(
            region, evidence, met, found, rules=rules, objective=objective, counting=sought.counting
        ),
        roster=roster,
        hours=float(rules.hours(found.shifts).sum()) + counted,
        hours_worked=float(rules.worked.sum()),
        plan_from=plan_from,
        seasons=seasons,
        draws=options.draws,
        seed=options.seed,
        slopes=found.slopes,
        notes=(
            *sought.notes,
            *plan_notes(region, found, rules, hours, counted=counted),
            *cost_notes(tables["ways"], tables["value"]),
            *roster_notes(roster, sought.failed),
        ),
        failed=sought.failed,
        **tables,
    )


def _begun(
    evidence: Evidence,
    movement: Movement,
    place: Place,
    *,
    region: Region,
    hours: float,
    plan_from: date,
    options: Settled,
) -> tuple[MeanAvoided, PlanRules]:
    """What the plan is for, with the model at the best estimates, and what it keeps to."""
    between: dict[str, Rates] = {}
    run = run_model(
        best_estimates(evidence, movement),
        movement,
        place=place,
        seasons=options.seasons,
        tell=lambda name, _, rates: between.update({name: rates}),
    )
    rules = plan_rules(region, run.reach, hours=hours, plan_from=plan_from)
    best, threads = Avoided.of(run, rules, between), options.workers
    return (
        mean_avoided(best, evidence, movement, place=place, seed=options.seed, workers=threads),
        rules,
    )


def _compared(
    sought: Sought,
    objective: MeanAvoided,
    met: Met,
    *,
    counter: Counter,
    place: Place,
    options: Settled,
) -> dict[str, Any]:
    """What the plan avoids, beside other ways to place as many hours for education, and others."""
    rules, found, region = sought.rules, sought.found, counter.region
    compared = compare(objective, rules, found, room=sought.room)
    mine = rules.hours(found.shifts)  # may be fewer than there are
    placed = {PLAN: mine, **ways_today(region, met, hours=float(mine.sum()))}
    others = {name: rules.hours(shifts) for name, shifts in compared.shifts().items()}
    packed, seasons = counter.movement.packed(), options.seasons
    setting = WaySetting(
        counter.evidence, packed, place, seasons, options.seed, {**placed, **others}
    )
    drawn = draw_ways(setting, options.draws, workers=options.workers, step=options.progress.step)
    cost, avoided = region.settings.cost_per_hour, float(drawn[PLAN].mean())
    return {
        "ways": way_table(placed, drawn, met=met, seasons=seasons, cost_per_hour=cost),
        "value": budget_table(compared, drawn, rules=rules, seasons=seasons, cost_per_hour=cost),
        "rules": rule_costs(compared, drawn),
        "spreading": spreading_table(compared, drawn, rules=rules),
        "avoided": avoided,
        "straight_line": avoided / (1 - found.gap),
    }
