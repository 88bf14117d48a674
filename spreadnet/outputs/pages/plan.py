"""A season plan as tables, roster, calendar and a page for the wall."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from spreadnet.outputs.charts import curve_chart
from spreadnet.outputs.files.record import libraries, plain, version, write_record
from spreadnet.outputs.files.roster import write_roster
from spreadnet.outputs.files.tables import write_csv, write_meanings
from spreadnet.outputs.folders.folder import whole_folder
from spreadnet.outputs.pages.render import listed, page, table
from spreadnet.outputs.safe import for_html as safe
from spreadnet.words.cautions import CAUTIONS
from spreadnet.words.numbers import figure
from spreadnet.words.plan import bound_words, plan_finding

if TYPE_CHECKING:
    from collections.abc import Mapping

    from spreadnet.decisions.plan.plan import SeasonPlan
    from spreadnet.decisions.roster.roster import Roster

ROSTER_FILES = ("roster.csv", "roster.xlsx", "roster.ics")
PLAN_FILES = ("plan.csv", "ways.csv", "value_of_hours.csv", "rules.csv", *ROSTER_FILES, "plan.html")
MOST_DATES = 400  # shifts on the page; all are in the workbook
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
DAYS = {"weekday": "weekdays", "weekend": "weekends"}


def write_plan(
    plan: SeasonPlan,
    folder: str | Path,
    *,
    force: bool = False,
    made_on: date | None = None,
    timings: Mapping[str, float] | None = None,
) -> list[Path]:
    """
    Write a season plan into one folder.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `season_plan`.
    folder : path
        Where the files go; whole or not there.
    force : bool
        Whether an earlier result there may be replaced.
    made_on : date, optional
        Day printed on the page; today when left out.
    timings : mapping of stage to seconds, optional
        Kept in the record.

    Returns
    -------
    files : list of Path
        Those of `plan_files`, `columns.csv` and `run.json`.

    Raises
    ------
    OutputError
        If the folder exists and may not be replaced, or can't be written.
    """
    folder, made_on = Path(folder), made_on or date.today()
    with whole_folder(folder, force=force) as staged:
        files = plan_files(plan, staged, made_on=made_on)
        files.append(write_meanings(files, staged / "columns.csv"))
        record = plain(
            {
                "spreadnet": version(),
                "made_on": made_on,
                "libraries": libraries(),
                "plan": plan_record(plan),
                "inputs": [asdict(source) for source in plan.region.sources],
                "timings_s": {k: round(v, 3) for k, v in (timings or {}).items()},
            }
        )
        files.append(write_record(record, staged / "run.json", files=files))
    return [folder / file.name for file in files]


def plan_files(plan: SeasonPlan, folder: Path, *, made_on: date) -> list[Path]:
    """
    Write the files of a plan into a folder that is there.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `season_plan`.
    folder : Path
        Where to.
    made_on : date
        Day printed on the page and in the calendar.

    Returns
    -------
    files : list of Path
        Those of `PLAN_FILES`; without those of `ROSTER_FILES` where the plan has no roster.
    """
    region = plan.region
    places = region.landings.geometry.to_crs("EPSG:4326")
    landings = pd.DataFrame({"longitude": places.x, "latitude": places.y})
    files = [
        write_csv(plan.table, folder / "plan.csv", index=False),
        write_csv(plan.ways, folder / "ways.csv"),
        write_csv(plan.value, folder / "value_of_hours.csv", index=False),
        write_csv(plan.rules, folder / "rules.csv"),
    ]
    if plan.roster is not None:
        files += write_roster(
            plan.roster,
            folder,
            region_name=region.settings.name,
            time_zone=region.settings.time_zone,
            landings=landings,
            stamp=datetime(made_on.year, made_on.month, made_on.day, tzinfo=UTC),
            why=_why_by_shift(plan, plan.roster),
        )
    shown = folder / "plan.html"
    shown.write_text(plan_page(plan, made_on=made_on), encoding="utf-8")
    return [*files, shown]


def plan_record(plan: SeasonPlan) -> dict[str, object]:
    """
    What a plan rests on, for `run.json`.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `season_plan`.

    Returns
    -------
    record : dict
        Plain data and tables.
    """
    return {
        "region": plan.region.settings.name,
        "hours": plan.hours,
        "hours_worked_before": plan.hours_worked,
        "plan_from": plan.plan_from,
        "seasons": plan.seasons,
        "draws": plan.draws,
        "seed": plan.seed,
        "avoided": plan.avoided,
        "most_possible": plan.most_possible,
        "slopes_worked_out": plan.slopes,
        "ways": plan.ways,
        "value_of_hours": plan.value,
        "rules": plan.rules,
        "notes": [asdict(note) for note in plan.notes],
    }


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
    settings = plan.region.settings
    title = f"{settings.name}: educators' shifts, {plan.plan_from} to {settings.season_last_day}"
    notes = [note.text for note in plan.notes]
    parts = [
        f"<h1>{safe(title)}</h1>",
        f'<p class="lead">{safe(plan_finding(plan))}.</p>',
        f"<p>{safe(bound_words(plan))}.</p>",
        "<h2>Where and when</h2>",
        _shifts(plan),
        "<h2>Dates</h2>",
        *_roster_parts(plan.roster),
        "<h2>The same hours as people place them today</h2>",
        _ways(plan),
        "<h2>What more or fewer hours would do</h2>",
        _value(plan),
        *(["<h2>What the rules cost</h2>", _rules(plan)] if len(plan.rules) else []),
        "<h2>How to read this</h2>",
        listed((*_READING, *notes)),
        "<h2>Cautions</h2>",
        listed(CAUTIONS),
        f"<footer>spreadnet {safe(version())}, {made_on.isoformat()}, seed {plan.seed}, "
        f"{plan.draws} draws, {plan.seasons} seasons ahead. Ranges are 90% intervals.</footer>",
    ]
    return page(title, parts)


_READING = (
    "Holidays count as weekend days.",
    "Avoided: new infestations that the hours keep from happening in the seasons looked ahead, "
    "weighted by species and by the worth of lakes, if the same hours are worked in each season.",
    "Simulated: the same in single futures that meet the same luck with and without the hours. "
    "Most single futures differ by none, because an infestation avoided is rare.",
    "Hours placed as today keep to where educators may stand and to what a landing "
    "takes in a week; the plan keeps to people's days, promises and jurisdictions too.",
    "What one shift avoids counts the shifts that are there already; its hours elsewhere would "
    "avoid what stands beside it.",
)


def _shifts(plan: SeasonPlan) -> str:
    """Landings and times with shifts."""
    head = ("landing", "days", "time", "shifts", "hours", "boats met", "one shift avoids")
    rows = [
        (
            f"{row['landing']} ({row['landing_id']})",
            DAYS[row["day_type"]],
            row["block"],
            f"{row['shifts']:,}" + (f" ({row['promised']} promised)" if row["promised"] else ""),
            f"{row['hours']:,.0f}",
            figure(row["boats_met"]),
            figure(row["avoided_by_one_shift"]),
        )
        for row in plan.table.to_dict("records")
    ]
    if not rows:
        return "<p>No shift is placed.</p>"
    below = [f"{row['why']}; {row['if_dropped']}." for row in plan.table.to_dict("records")]
    caption = "Shifts by landing and time, those worth most first"
    return table(caption, head, rows, kinds=("", "word", "word", "", "more", "more"), below=below)


def _roster_parts(roster: Roster | None) -> list[str]:
    """Dates, and people where there are some."""
    if roster is None:
        return ["<p>Dates could not be worked out.</p>"]
    people = ["<h2>People</h2>", _people(roster)] if len(roster.by_person) else []
    return [_dates(roster), *people]


def _dates(roster: Roster) -> str:
    """The roster, day by day."""
    shifts = roster.shifts
    live = shifts[shifts["status"] != "cancelled"]
    rows = [
        (
            f"{WEEKDAYS[row['date'].weekday()]} {row['date'].date()}",
            f"{row['start']}\u2013{row['end']}",
            row["landing"],
            row["people"] or "nobody yet",
            row["status"],
        )
        for row in live.head(MOST_DATES).to_dict("records")
    ]
    if not rows:
        return "<p>No shift has a date.</p>"
    more = len(live) - len(rows)
    text = f"<p>{more:,} later shifts are in roster.xlsx.</p>" if more > 0 else ""
    head = ("day", "time", "landing", "who", "state")
    return table("Shifts by date", head, rows, kinds=("", "word", "word", "word", "word")) + text


def _people(roster: Roster) -> str:
    """Who works how much."""
    rows = [
        (
            str(code),
            f"{row['shifts']:.0f}",
            f"{row['hours']:,.0f}",
            figure(row["km"]) if row["km"] == row["km"] else "not known",
            f"{row['days_offered']:.0f}",
            f"{row['share_of_offer']:.0%}",
        )
        for code, row in roster.by_person.iterrows()
    ]
    head = ("code", "shifts", "hours", "km", "days offered", "share of them worked")
    return table("Shares of those who offered days", head, rows)


def _ways(plan: SeasonPlan) -> str:
    """The plan beside other ways to place the hours."""
    cost = "cost" in plan.ways
    rows = []
    for way, row in plan.ways.iterrows():
        chance = row["chance_plan_is_better"]
        cells = [
            str(way),
            f"{row['hours_a_season']:,.0f}",
            f"{row['landings']:.0f}",
            figure(row["boats_met_a_season"]),
            f"{figure(row['avoided'])} ({figure(row['avoided_low'])} to "
            f"{figure(row['avoided_high'])})",
            f"{figure(row['simulated'])} \u00b1 {figure(row['simulated_error'])}",
            "" if chance != chance else f"{chance:.0%}",
        ]
        if cost:
            cells.append(_cost(row))
        rows.append(cells)
    head = ["placed", "hours", "landings", "boats met", "avoided", "simulated", "plan better"]
    head += ["cost of one avoided"] if cost else []
    return table("The same hours, five ways", head, rows)


def _cost(row: pd.Series) -> str:
    """Cost of one infestation avoided, with its interval."""
    if pd.isna(row["cost_per_infestation_avoided"]):
        return "nothing avoided"
    high = row["cost_high"]
    upper = "no limit" if pd.isna(high) else _money(high)
    return f"{_money(row['cost_per_infestation_avoided'])} ({_money(row['cost_low'])} to {upper})"


def _money(value: float) -> str:
    """An amount to two significant digits: more would look surer than it is."""
    return f"{float(f'{value:.2g}'):,.0f}"


def _value(plan: SeasonPlan) -> str:
    """Avoided against hours, as chart and table."""
    value = plan.value
    if value.empty:
        return "<p>There is no room for shifts.</p>"
    cost = "cost" in value
    rows = []
    for row in value.to_dict("records"):
        cells = [
            f"{row['hours_a_season']:,.0f}",
            f"{figure(row['avoided'])} ({figure(row['avoided_low'])} to "
            f"{figure(row['avoided_high'])})",
            figure(row["avoided_by_next_100_hours"]),
        ]
        if cost:
            cells.append(_cost(pd.Series(row)))
        rows.append(cells)
    head = ["hours a season", "avoided", "by the next 100 hours"]
    head += ["cost of one avoided"] if cost else []
    caption = "New infestations avoided against hours a season"
    picture = curve_chart(
        value["hours_a_season"].to_numpy(float),
        value["avoided"].to_numpy(float),
        low=value["avoided_low"].to_numpy(float),
        high=value["avoided_high"].to_numpy(float),
        marked=plan.hours,
        caption=caption,
        across="educator hours a season",
        up=f"avoided in {plan.seasons} seasons",
    )
    legend = (
        "<p>Line: avoided by the best plan with so many hours. Grey band: its 90% interval. "
        "Ring: the hours of this plan.</p>"
    )
    return picture + legend + table(caption, head, rows)


def _rules(plan: SeasonPlan) -> str:
    """What would be avoided without each kind of rule."""
    rows = [
        (str(rule), figure(row["avoided_without"]), figure(row["cost"]))
        for rule, row in plan.rules.iterrows()
    ]
    head = ("without this rule", "avoided", "that is more by")
    return table("What each kind of rule costs", head, rows)


def _why_by_shift(plan: SeasonPlan, roster: Roster) -> dict[str, str]:
    """Why each dated shift is there."""
    keys = ["landing_id", "day_type", "block"]
    why = plan.table.set_index(keys)["why"].to_dict()
    return {
        row["shift_id"]: why[tuple(row[key] for key in keys)]
        for row in roster.shifts.to_dict("records")
        if tuple(row[key] for key in keys) in why
    }
