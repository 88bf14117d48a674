"""Step four of the chain: everything a command leaves behind, in one folder."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, date, datetime
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

import pandas as pd

from spreadnet.errors import OutputError
from spreadnet.evidence.read import as_region
from spreadnet.outputs.files import (
    hindcast_record,
    hindcast_tables,
    libraries,
    plain,
    plan_record,
    plan_tables,
    run_number,
    run_record,
    survey_record,
    survey_tables,
    version,
    write_meanings,
    write_record,
    write_roster,
    write_tables,
)
from spreadnet.outputs.folders import whole_folder
from spreadnet.outputs.map import Caption, map_html, off_the_map, region_map
from spreadnet.outputs.pages import hindcast_page, plan_page, survey_page
from spreadnet.words import (
    CAUTIONS,
    compared,
    finding,
    in_groups,
    outlook,
    plan_compared,
    plan_finding,
    read_first,
    unit,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from typing import Any

    import folium

    from spreadnet.decisions.hindcast import Hindcast
    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.decisions.ranking import Assessment
    from spreadnet.decisions.roster import Roster
    from spreadnet.decisions.surveys import SurveyList
    from spreadnet.evidence.region import Region

    Part = Callable[[Path], Sequence[Path]]  # writes files into a folder that is there

READ_FIRST = "READ_FIRST.txt"  # beside every result's tables
ROSTER_FILES = ("roster.csv", "roster.xlsx", "roster.ics")
PLAN_FILES = (
    *("plan.csv", "ways.csv", "value_of_hours.csv", "rules.csv", "spreading.csv"),
    *(*ROSTER_FILES, "plan.html"),
)


def write_results(
    assessment: Assessment,
    folder: str | Path,
    *,
    force: bool = False,
    made_on: date | None = None,
    timings: Mapping[str, float] | None = None,
    plan: SeasonPlan | None = None,
) -> list[Path]:
    """
    Write tables, network, map and run record into one folder, and a season plan if there is one.

    Everything is written beside the folder first and moved into place when all is done, so that
    an error or an interruption never leaves half a result.

    Parameters
    ----------
    assessment : Assessment
        Result of `assess`.
    folder : path
        Where the results go.
    force : bool
        Whether an earlier result there may be replaced; files changed since never are.
    made_on : date, optional
        Day printed on the map and in the record; today when left out.
    timings : mapping of stage to seconds, optional
        Kept in the record.
    plan : SeasonPlan, optional
        Its files are written beside the others.

    Returns
    -------
    files : list of Path
        The files, in their final place.

    Raises
    ------
    OutputError
        If the folder exists and may not be replaced, or can't be written.
    """
    day, began = made_on or date.today(), perf_counter()

    def record() -> dict[str, Any]:
        spent = {**(timings or {}), "writing the results": perf_counter() - began}
        whole = run_record(assessment, timings=spent, made_on=day)
        return whole if plan is None else whole | {"plan": plan_record(plan)}

    parts: list[Part] = [
        lambda staged: write_tables(assessment, staged, made_on=day),
        _page("map.html", lambda: map_html(assessment_map(assessment, made_on=day, plan=plan))),
        *(() if plan is None else _plan_parts(plan, day)),
    ]
    of = (assessment.region.settings.name, day)
    return _write("run", folder, parts, of=of, record=record, force=force)


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
        Day printed on the page and in the calendar; today when left out.
    timings : mapping of stage to seconds, optional
        Kept in the record.

    Returns
    -------
    files : list of Path
        Those of `PLAN_FILES`, without those of `ROSTER_FILES` where the plan has no roster;
        `READ_FIRST.txt`, `columns.csv` and `run.json`.

    Raises
    ------
    OutputError
        If the folder exists and may not be replaced, or can't be written.
    """
    day = made_on or date.today()

    def record() -> dict[str, Any]:
        return _made(day) | {
            "libraries": libraries(),
            "plan": plan_record(plan),
            "inputs": plain([asdict(source) for source in plan.region.sources]),
            "timings_s": {k: round(v, 3) for k, v in (timings or {}).items()},
        }

    of = (plan.region.settings.name, day)
    return _write("plan", folder, _plan_parts(plan, day), of=of, record=record, force=force)


def write_hindcast(
    result: Hindcast, folder: str | Path, *, force: bool = False, made_on: date | None = None
) -> list[Path]:
    """
    Write the scores, the lakes and the page of a hindcast into one folder.

    Parameters
    ----------
    result : Hindcast
        Result of `hindcast`.
    folder : path
        Where the files go; whole or not there.
    force : bool
        Whether an earlier result there may be replaced.
    made_on : date, optional
        Day printed on the page; today when left out.

    Returns
    -------
    files : list of Path
        `READ_FIRST.txt`, `scores.csv`, `lakes.csv`, `groups.csv`, `hindcast.html`, `columns.csv`
        and `run.json`.

    Raises
    ------
    OutputError
        If the folder exists and may not be replaced, or can't be written.
    """
    day = made_on or date.today()
    parts: list[Part] = [
        lambda staged: hindcast_tables(result, staged),
        _page("hindcast.html", lambda: hindcast_page(result, made_on=day)),
    ]
    return _write(
        "hindcast",
        folder,
        parts,
        of=(result.region, day),
        record=lambda: _made(day) | hindcast_record(result),
        force=force,
    )


def write_survey(
    survey: SurveyList,
    region: Region | str | Path,
    folder: str | Path,
    *,
    force: bool = False,
    made_on: date | None = None,
) -> list[Path]:
    """
    Write what one more survey shift at each landing, and the status of lakes, would gain.

    Parameters
    ----------
    survey : SurveyList
        Result of `survey_next`.
    region : Region or path
        Names of landings.
    folder : path
        Where the files go; whole or not there.
    force : bool
        Whether an earlier result there may be replaced.
    made_on : date, optional
        Day in the record; today when left out.

    Returns
    -------
    files : list of Path
        `READ_FIRST.txt`, `survey.csv` and `lakes_to_survey.csv`, most gain first, both in
        `survey.xlsx` and on `survey.html`, `columns.csv` and `run.json`.

    Raises
    ------
    OutputError
        If the folder exists and may not be replaced, or can't be written.
    """
    day, region = made_on or date.today(), as_region(region)
    return _write(
        "survey",
        folder,
        [
            lambda staged: survey_tables(survey, region, staged, stamp=_stamp(day)),
            _page("survey.html", lambda: survey_page(survey, region, made_on=day)),
        ],
        of=(region.settings.name, day),
        record=lambda: _made(day) | {"survey_next": survey_record(survey, region)},
        force=force,
    )


def _write(
    result: str,
    folder: str | Path,
    parts: Sequence[Part],
    *,
    of: tuple[str, date],
    record: Callable[[], dict[str, Any]],
    force: bool,
) -> list[Path]:
    """Cautions, parts, meaning of every column, and record of all: whole or not there."""
    region, day = of
    first = _page(READ_FIRST, lambda: read_first(region=region, made_on=day.isoformat()))
    with whole_folder(Path(folder), force=force) as staged:
        files = [file for part in (first, *parts) for file in part(staged)]
        files.append(write_meanings(result, files, staged / "columns.csv"))
        files.append(write_record(record(), staged / "run.json", files=files))
    return [Path(folder) / file.name for file in files]


def _stamp(day: date) -> datetime:
    """The first moment of the day that files are dated by."""
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def _made(day: date) -> dict[str, Any]:
    """What every record begins with."""
    return {"spreadnet": version(), "made_on": day.isoformat()}


def _page(name: str, text: Callable[[], str]) -> Part:
    """Part that is one page."""

    def write(staged: Path) -> list[Path]:
        (staged / name).write_text(text(), encoding="utf-8")
        return [staged / name]

    return write


def _plan_parts(plan: SeasonPlan, day: date) -> list[Part]:
    """Tables, roster and page of a plan."""
    roster = plan.roster
    return [
        lambda staged: plan_tables(plan, staged),
        *(() if roster is None else (lambda staged: _roster(plan, roster, staged, day),)),
        _page("plan.html", lambda: plan_page(plan, made_on=day)),
    ]


def _roster(plan: SeasonPlan, roster: Roster, staged: Path, day: date) -> list[Path]:
    """Roster as table, workbook and calendar, each shift with the reason for it."""
    region = plan.region
    places = region.landings.geometry.to_crs("EPSG:4326")
    keys = ["landing_id", "day_type", "block"]
    why = plan.table.set_index(keys)["why"].to_dict()
    cells = zip(*(roster.shifts[key] for key in keys), strict=True)
    reasons = {
        shift: why[cell]
        for shift, cell in zip(roster.shifts["shift_id"], cells, strict=True)
        if cell in why
    }
    return write_roster(
        roster,
        staged,
        region_name=region.settings.name,
        time_zone=region.settings.time_zone,
        landings=pd.DataFrame({"longitude": places.x, "latitude": places.y}),
        stamp=_stamp(day),
        why=reasons,
    )


def refuse_unmappable(region: Region) -> None:
    """
    Stop before the work where no map could be drawn of what was read.

    Parameters
    ----------
    region : Region
        As `read_region` gives it.

    Raises
    ------
    OutputError
        If a lake or landing has no place on the map; the message names one.
    """
    for what, table in (("lake", region.lakes), ("landing", region.landings)):
        beyond = off_the_map(table.geometry)
        if len(beyond):
            message = (
                f"{what} `{beyond[0]}` has no place on the map, which ends at 85 degrees north and "
                f"south{f' (and {len(beyond) - 1} more)' if len(beyond) > 1 else ''}; nothing was "
                "written\n\nhint: check its coordinates and `crs` in region.toml"
            )
            raise OutputError(message)


def assessment_map(
    assessment: Assessment, *, made_on: date | None = None, plan: SeasonPlan | None = None
) -> folium.Map:
    """
    Map of an assessment, for a notebook or a page.

    Parameters
    ----------
    assessment : Assessment
        Result of `assess`.
    made_on : date, optional
        Day printed on the map; today when left out.
    plan : SeasonPlan, optional
        Gives the headline, so that map and plan say the same.

    Returns
    -------
    map : folium.Map
        Layers can be added to it; `map_html` makes the page.
    """
    settings = assessment.region.settings
    lead = compared(assessment) if plan is None else plan_compared(plan)
    caption = Caption(
        region=settings.name,
        title=finding(assessment) if plan is None else plan_finding(plan),
        lead=in_groups(assessment) + (lead and f"{lead}."),
        made_on=(made_on or date.today()).isoformat(),
        version=version(),
        seed=assessment.seed,
        draws=assessment.draws,
        seasons=assessment.seasons,
        season=f"{settings.season_first_day} to {settings.season_last_day}",
        species={n: assessment.evidence.species[n].label for n in settings.species},
        cautions=CAUTIONS,
        notes=(
            outlook(assessment),
            f"Ranges are 90% intervals over {assessment.draws:,} repeats with all that is unsure "
            "taken anew.",
            "1 in 340: one infestation is avoided where that is done 340 times over.",
            *(n.text for n in assessment.notes),
        ),
        status_through=_status_through(assessment),
        run=run_number(assessment),
        unit=unit(assessment),
    )
    return region_map(assessment.lakes, assessment.landings, assessment.trips, caption=caption)


def _status_through(assessment: Assessment) -> str | None:
    """Day of the last survey or find, None where no date is given."""
    last = assessment.region.status[["first_found", "last_survey"]].max().max()
    return None if pd.isna(last) else str(last.date())
