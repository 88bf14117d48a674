"""The values of a season plan's page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from spreadnet.outputs.charts import plain_style, svg_of, value_chart
from spreadnet.outputs.files import version
from spreadnet.outputs.render import Table, render
from spreadnet.words import (
    CAUTIONS,
    EDUCATION,
    bridging_words,
    cost_text,
    count_text,
    figure,
    kinds_words,
    near_best_words,
    odds_range,
    odds_text,
    plan_compared,
    plan_finding,
    rough_text,
    whole_percent,
)

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping
    from datetime import date
    from typing import Any

    import pandas as pd
    from markupsafe import Markup

    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.decisions.roster import Roster

MOST_DATES = 400  # shifts on the page; all are in the workbook
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
DAYS = {"weekday": "weekdays", "weekend": "weekends"}
VALUE_CAPTION = "New infestations avoided against hours a season"


def plan_page(plan: SeasonPlan, *, made_on: date) -> str:
    """
    One page to pin to the wall and to argue with.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `season_plan`.
    made_on : date
        Day printed on it.

    Returns
    -------
    page : str
        HTML that needs nothing else.
    """
    settings, roster = plan.region.settings, plan.roster
    return render(
        "pages/plan.html.j2",
        title=f"{settings.name}: educators' shifts, {plan.plan_from} to {settings.season_last_day}",
        finding=plan_finding(plan),
        compared=plan_compared(plan),
        near_best=near_best_words(plan),
        kinds=kinds_words(plan),
        most_counting=whole_percent(settings.most_counting_share),
        shifts=_shifts(plan),
        dates=None if roster is None else _dates(roster),
        later=_later(roster),
        people=None if roster is None or not len(roster.by_person) else _people(roster),
        ways=_ways(plan),
        bridging=bridging_words(plan),
        picture=_picture(plan),
        value=_value(plan),
        rules=_rules(plan),
        spreading=_spreading(plan),
        notes=[note.text for note in plan.notes],
        cautions=CAUTIONS,
        version=version(),
        made_on=made_on.isoformat(),
        seed=plan.seed,
        draws=plan.draws,
        seasons=plan.seasons,
    )


def _shifts(plan: SeasonPlan) -> Table:
    """Landings and times with shifts."""
    rows = plan.table.to_dict("records")
    return Table(
        "Shifts by landing and time, those worth most first",
        ("landing", "days", "time", "shifts", "hours", "boats met", "one shift avoids"),
        [
            (
                f"{row['landing']} ({row['landing_id']})" + _marks(row),
                DAYS[row["day_type"]],
                row["block"],
                f"{row['shifts']:,}"
                + (f" ({row['promised']} promised)" if row["promised"] else ""),
                count_text(row["hours"]),
                figure(row["boats_met"]),
                odds_text(row["avoided_by_one_shift"])
                if row["kind"] == EDUCATION
                else f"later {odds_text(row['gain_by_counting'])}",
            )
            for row in rows
        ],
        kinds=("wrap", "word", "word", "", "more", "more"),
        below=[f"{row['why']}; {row['if_dropped']}." for row in rows],
    )


def _marks(row: Mapping[Hashable, Any]) -> str:
    """The marks of a shift for counting, and of one that permission has to be asked for."""
    kind = "" if row["kind"] == EDUCATION else str(row["kind"])
    return "".join(f" ({mark})" for mark in (kind, row["permission"]) if mark)


def _dates(roster: Roster) -> Table:
    """The roster, day by day."""
    shifts = roster.shifts[roster.shifts["status"] != "cancelled"]
    rows = [
        (
            f"{WEEKDAYS[row['date'].weekday()]} {row['date'].date()}",
            f"{row['start']}\u2013{row['end']}",
            row["landing"] + _marks(row),
            row["people"] or "nobody yet",
            row["status"]
            + (", accepted" if row["accepted"] and row["status"] == "planned" else ""),
        )
        for row in shifts.head(MOST_DATES).to_dict("records")
    ]
    head = ("day", "time", "landing", "who", "state")
    return Table("Shifts by date", head, rows, kinds=("", "word", "word", "word", "word"))


def _later(roster: Roster | None) -> str:
    """Number of shifts that the page leaves out, empty for none."""
    live = 0 if roster is None else int((roster.shifts["status"] != "cancelled").sum())
    return count_text(live - MOST_DATES) if live > MOST_DATES else ""


def _people(roster: Roster) -> Table:
    """Who works how much."""
    rows = [
        (
            str(code),
            f"{row['shifts']:.0f}",
            count_text(row["hours"]),
            figure(row["km"]) if row["km"] == row["km"] else "not known",
            f"{row['days_offered']:.0f}",
            whole_percent(row["share_of_offer"]),
        )
        for code, row in roster.by_person.iterrows()
    ]
    head = ("code", "shifts", "hours", "km", "days offered", "share of them worked")
    return Table("Shares of those who offered days", head, rows)


def _ways(plan: SeasonPlan) -> Table:
    """The plan beside other ways to place the hours."""
    rows = []
    for row in plan.ways.reset_index(names="way").to_dict("records"):
        chance = row["chance_plan_is_better"]
        rows.append(
            (
                row["way"],
                count_text(row["hours_a_season"]),
                f"{row['landings']:.0f}",
                rough_text(row["boats_met_a_season"]),
                rough_text(row["bridging_boats_a_season"]),
                _avoided(row),
                *_share(row),
                "" if chance != chance else whole_percent(chance),
                *_cost(row),
            )
        )
    shares = ("share of plan",) if rows and len(_share(plan.ways.iloc[0])) else ()
    head = ("placed", "hours", "landings", "boats met", "bridging boats", "avoided", *shares)
    head = (*head, "plan better", *_cost_head(plan.ways))
    kinds = ("", "more", "more", "more", "", "wrap", *("" for _ in shares), "", "wrap more")
    return Table(f"The same hours, {len(rows)} ways", head, rows, kinds=kinds[: len(head)])


def _share(row: Mapping[Hashable, Any] | pd.Series) -> tuple[str, ...]:
    """What a way avoids over what the plan avoids; nothing where that is too unsure to be shown."""
    share, error = row["share_of_plan"], row["share_of_plan_error"]
    return () if share != share else (f"{whole_percent(share)} \u00b1 {whole_percent(error)}",)


def _picture(plan: SeasonPlan) -> Markup | None:
    """Avoided against hours, None where there is no room for shifts."""
    if plan.value.empty:
        return None
    told = "; ".join(
        f"{count_text(row['hours_a_season'])}: {odds_text(row['avoided'])}"
        for row in plan.value.to_dict("records")
    )
    with plain_style():
        return svg_of(value_chart(plan), name="value", title=VALUE_CAPTION, description=told)


def _value(plan: SeasonPlan) -> Table:
    """Avoided against hours."""
    rows = [
        (
            count_text(row["hours_a_season"]),
            _avoided(row),
            odds_text(row["avoided_by_next_100_hours"]),
            *_cost(row),
        )
        for row in plan.value.to_dict("records")
    ]
    head = ("hours a season", "avoided", "by the next 100 hours", *_cost_head(plan.value))
    return Table(VALUE_CAPTION, head, rows)


def _rules(plan: SeasonPlan) -> Table:
    """What would be avoided without each kind of rule."""
    rows = [
        (str(rule), odds_text(row["avoided_without"]), odds_text(row["cost"]))
        for rule, row in plan.rules.iterrows()
    ]
    head = ("without this rule", "avoided", "that is more by")
    return Table("What each kind of rule costs", head, rows)


def _spreading(plan: SeasonPlan) -> Table:
    """What the hours avoid on few landings and on many."""
    rows = []
    for number, row in plan.spreading.iterrows():
        hours = row["hours_on_most"]
        short = f", {count_text(hours)} hours" if hours < row["hours_spread"] - 1e-6 else ""
        rows.append(
            (
                f"{number}",
                odds_text(row["avoided_on_most"]) + short,
                odds_text(row["avoided_spread"]),
                whole_percent(row["share_kept"]),
            )
        )
    head = ("landings", "on so many at most", "spread over so many or more", "of the best kept")
    return Table("New infestations that the same hours avoid", head, rows)


def _avoided(row: Mapping[Hashable, Any]) -> str:
    """What is avoided, with its interval."""
    return odds_range(row["avoided"], row["avoided_low"], row["avoided_high"])


def _cost_head(table: pd.DataFrame) -> tuple[str, ...]:
    """Heading of the cost, where there is one."""
    return ("cost of one avoided",) if "cost" in table else ()


def _cost(row: Mapping[Hashable, Any]) -> tuple[str, ...]:
    """Cost of one infestation avoided, where hours have a cost."""
    if "cost" not in row:
        return ()
    names = ("cost_per_infestation_avoided", "cost_low", "cost_high")
    return (cost_text(*(row[name] for name in names)),)
