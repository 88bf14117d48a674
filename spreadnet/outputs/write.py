"""Step four of the chain: everything a run leaves behind, in one folder."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

from spreadnet.errors import OutputError
from spreadnet.outputs.files.record import plain, run_number, run_record, version, write_record
from spreadnet.outputs.files.tables import write_meanings, write_tables
from spreadnet.outputs.folders.folder import whole_folder
from spreadnet.outputs.map.region_map import Caption, map_html, region_map
from spreadnet.outputs.map.shapes import off_the_map
from spreadnet.outputs.pages.plan import plan_files, plan_record
from spreadnet.words.cautions import CAUTIONS
from spreadnet.words.finding import finding, outlook, unit

if TYPE_CHECKING:
    from collections.abc import Mapping

    import folium

    from spreadnet.decisions.plan.plan import SeasonPlan
    from spreadnet.decisions.ranking.result import Assessment
    from spreadnet.evidence.region import Region


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
    folder, made_on = Path(folder), made_on or date.today()
    began = perf_counter()
    with whole_folder(folder, force=force) as staged:
        files = write_tables(assessment, staged, made_on=made_on)
        page = staged / "map.html"
        page.write_text(map_html(assessment_map(assessment, made_on=made_on)), encoding="utf-8")
        files.append(page)
        if plan is not None:
            files += plan_files(plan, staged, made_on=made_on)
        files.append(write_meanings(files, staged / "columns.csv"))
        spent = {**(timings or {}), "writing the results": perf_counter() - began}
        record = run_record(assessment, timings=spent, made_on=made_on)
        if plan is not None:
            record |= {"plan": plain(plan_record(plan))}
        files.append(write_record(record, staged / "run.json", files=files))
    return [folder / file.name for file in files]


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


def assessment_map(assessment: Assessment, *, made_on: date | None = None) -> folium.Map:
    """
    Map of an assessment, for a notebook or a page.

    Parameters
    ----------
    assessment : Assessment
        Result of `assess`.
    made_on : date, optional
        Day printed on the map; today when left out.

    Returns
    -------
    map : folium.Map
        Layers can be added to it; `map_html` makes the page.
    """
    settings = assessment.region.settings
    caption = Caption(
        region=settings.name,
        title=finding(assessment),
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
            "Ranges are 90% intervals over the draws.",
            *(n.text for n in assessment.notes),
        ),
        status_through=_status_through(assessment),
        run=run_number(assessment),
        unit=unit(assessment),
    )
    return region_map(assessment.lakes, assessment.landings, assessment.trips, caption=caption)


def _status_through(assessment: Assessment) -> str | None:
    """Day of the last survey or find, None where no date is given."""
    dates = assessment.region.status[["first_found", "last_survey"]].stack().dropna()
    return None if dates.empty else str(dates.max().date())
