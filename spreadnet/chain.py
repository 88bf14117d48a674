"""The chain in order: evidence, movement, decision."""

from __future__ import annotations

from dataclasses import replace
from numbers import Real
from typing import TYPE_CHECKING, Unpack

from spreadnet.decisions.draws import one_thread, run_model
from spreadnet.decisions.hindcast import hindcast as foretell
from spreadnet.decisions.hours import place_ranked
from spreadnet.decisions.plan import first_free_day, make_plan
from spreadnet.decisions.ranking import Assessment, decide
from spreadnet.decisions.surveys import lakes_to_survey
from spreadnet.decisions.surveys import survey_next as surveys_compared
from spreadnet.errors import InputError, ModelError, Problem
from spreadnet.evidence.gather import gather_evidence
from spreadnet.evidence.read import as_region
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.model.movement import Movement, fit_movement
from spreadnet.options import DRAWS, HINDCAST_DRAWS, MOST_HOURS, PLAN_DRAWS, SEED, settle

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from pathlib import Path

    import pandas as pd

    from spreadnet.assumptions import Assumptions
    from spreadnet.decisions.hindcast import Hindcast
    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.decisions.surveys import SurveyList
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.movement import TripLaw
    from spreadnet.options import Progress, RunKeywords, RunOptions


@one_thread
def assess(
    region: Region | str | Path,
    *,
    species: Sequence[str] | None = None,
    assumptions: Assumptions | None = None,
    law: TripLaw | None = None,
    options: RunOptions | None = None,
    **run: Unpack[RunKeywords],
) -> Assessment:
    """
    Rank the landings of a region by what education there avoids.

    Parameters
    ----------
    region : Region or path
        As `read_region` gives it, or its folder.
    species : sequence of str, optional
        Only these of the species in `region.toml`.
    assumptions : Assumptions, optional
        Numbers used where the tables say nothing, as
        `DEFAULT_ASSUMPTIONS.with_changes({"refusal": 0.1})`. What is changed here wins over
        `region.toml`, which says the rest.
    law : callable, optional
        A law of movement of your own: `(mass, distance_km) -> weight`. Left out, the law that
        predicts interviews at other landings best is chosen.
    options : RunOptions, optional
        How it is worked out, where several calls share it.
    **run
        The same for this call, one by one; they win over `options`: `draws` (200 when left out;
        as many or more for a result to act on), `seed` (1), `seasons` to look ahead (as in
        `region.toml`), `workers` (processes), `progress` (True shows bars). See `RunOptions`.

    Returns
    -------
    assessment : Assessment
        Tables in the order of the region's ids.

    Raises
    ------
    InputError
        If `species` names one that is not in `region.toml`, or the folder has to be mended first.
    TypeError
        If an argument is unknown.
    ValueError
        If a number is out of its range.
    """
    region = _narrowed(as_region(region), species)
    settled = settle(options, run, seasons=region.settings.seasons, draws=DRAWS)
    stage = settled.progress.stage
    with stage("weighing the evidence"):
        evidence = gather_evidence(region, assumptions=assumptions)
    with stage("fitting movement"):
        movement = fit_movement(region, evidence, seed=settled.seed, law=law)
    with stage("ranking"):
        return decide(region, evidence, movement, options=settled)


@one_thread
def build_model(
    region: Region | str | Path,
    evidence: Evidence,
    *,
    seed: int = SEED,
    law: TripLaw | None = None,
) -> Movement:
    """
    Step two alone: how boats move between the region's lakes.

    Parameters
    ----------
    region : Region or path
        The input.
    evidence : Evidence
        Result of `gather_evidence`.
    seed : int
        Seed of the folds by which laws are compared.
    law : callable, optional
        A law of movement of your own.

    Returns
    -------
    movement : Movement
        The law with its fit, ready to give trips.
    """
    return fit_movement(as_region(region), evidence, seed=seed, law=law)


@one_thread
def rank_landings(
    region: Region | str | Path,
    evidence: Evidence,
    *,
    movement: Movement,
    options: RunOptions | None = None,
    **run: Unpack[RunKeywords],
) -> Assessment:
    """
    Step three alone: spread, ranking and comparison.

    Parameters
    ----------
    region : Region or path
        The input.
    evidence : Evidence
        Result of `gather_evidence`.
    movement : Movement
        Result of `build_model`.
    options, **run
        As for `assess`.

    Returns
    -------
    assessment : Assessment
        As `assess` returns it.

    Raises
    ------
    ValueError
        If a number is out of its range, or the evidence or the movement is of another region.
    """
    region = as_region(region)
    settled = settle(options, run, seasons=region.settings.seasons, draws=DRAWS)
    with settled.progress.stage("ranking"):
        return decide(region, evidence, movement, options=settled)


@one_thread
def survey_next(
    region: Region | Assessment | str | Path,
    *,
    species: Sequence[str] | None = None,
    assumptions: Assumptions | None = None,
    survey_hours: float | None = None,
    options: RunOptions | None = None,
    **run: Unpack[RunKeywords],
) -> SurveyList:
    """
    Landings that more visits, and lakes that surveys, would tell most about for where hours go.

    Parameters
    ----------
    region : Region, Assessment or path
        As for `season_plan`.
    species, assumptions, options, **run
        As for `assess`; nothing is drawn, so `draws` and `workers` can't be given.
    survey_hours : float, optional
        Length of the survey shift; the shift length of `region.toml` when left out.

    Returns
    -------
    survey : SurveyList
        Expected gain of one more survey shift at each landing.

    Raises
    ------
    InputError
        If `species` names one that is not in `region.toml`, or the folder has to be mended first.
    """
    source = _source(region, species, assumptions)
    seasons, seed = _usual(source)
    unused = ("draws", "workers")
    settled = settle(options, run, seasons=seasons, draws=1, seed=seed, unused=unused)
    region, evidence, movement = _moving(source, assumptions, settled.seed, settled.progress)
    with settled.progress.stage("comparing surveys"):
        model = run_model(
            best_estimates(evidence, movement),
            movement,
            place=place_of(region, evidence, movement),
            seasons=settled.seasons,
        )
        hours = place_ranked(region.settings.hours, model.reach, value=model.value_after)
        landings = surveys_compared(
            region, evidence, movement, run=model, hours=hours, survey_hours=survey_hours
        )
        lakes = lakes_to_survey(region, evidence, run=model, hours=hours)
        return replace(landings, lakes=lakes)


@one_thread
def season_plan(
    region: Region | Assessment | str | Path,
    *,
    hours: float | None = None,
    plan_from: date | None = None,
    previous: pd.DataFrame | None = None,
    species: Sequence[str] | None = None,
    assumptions: Assumptions | None = None,
    options: RunOptions | None = None,
    **run: Unpack[RunKeywords],
) -> SeasonPlan:
    """
    Place a season's hours where they avoid most, within all rules, and date the shifts.

    Parameters
    ----------
    region : Region, Assessment or path
        As `read_region` gives it, or its folder. The result of `assess` gives a plan by the same
        evidence, law of movement, species, assumptions, seasons and seed.
    hours : float, optional
        Educator hours in the season; those of `region.toml` when left out.
    plan_from : date, optional
        First day on which a shift may be placed; the day after the last visit of this season when
        left out, or its first day.
    previous : DataFrame, optional
        Roster of an earlier plan, from which as little is changed as is worth it.
    species, assumptions, options, **run
        As for `assess`, with 100 draws when left out. `species` and `assumptions` can't be given
        with the result of `assess`, which rests on its own.

    Returns
    -------
    plan : SeasonPlan
        Shifts, roster, comparison, value of hours.

    Raises
    ------
    InputError
        If `species` names one that is not in `region.toml`, or the folder has to be mended first.
    ModelError
        If no plan keeps to the rules.
    ValueError
        If a number is out of its range.
    """
    source = _source(region, species, assumptions)
    seasons, seed = _usual(source)
    settled = settle(options, run, seasons=seasons, draws=PLAN_DRAWS, seed=seed)
    region = source.region if isinstance(source, Assessment) else source
    hours = region.settings.hours if hours is None else hours
    plan_from = first_free_day(region) if plan_from is None else plan_from
    _check_season(region, hours, plan_from)
    region, evidence, movement = _moving(source, assumptions, settled.seed, settled.progress)
    with settled.progress.stage("planning"):
        return make_plan(
            region,
            evidence,
            movement,
            hours=hours,
            plan_from=plan_from,
            options=settled,
            previous=previous,
        )


@one_thread
def hindcast(
    region: Region | str | Path,
    *,
    from_year: int,
    drop_later_visits: bool = False,
    species: Sequence[str] | None = None,
    assumptions: Assumptions | None = None,
    options: RunOptions | None = None,
    **run: Unpack[RunKeywords],
) -> Hindcast:
    """
    Foretell the finds since a year from what was known before it, and score that.

    Parameters
    ----------
    region : Region or path
        As `read_region` gives it, or its folder.
    from_year : int
        First year foretold.
    drop_later_visits : bool
        Leave out visits and contacts from `from_year` on too.
    species, assumptions, options, **run
        As for `assess`, with 50 draws when left out; the years say how far ahead it looks, so
        `seasons` can't be given.

    Returns
    -------
    hindcast : Hindcast
        Scores beside those of simpler rules fitted to the same earlier finds.

    Raises
    ------
    InputError
        If `species` names one that is not in `region.toml`, or the folder has to be mended first.
    ModelError
        If no find is dated before the year, or the year lies beyond what is known.
    """
    settled = settle(options, run, seasons=1, draws=HINDCAST_DRAWS, unused=("seasons",))
    region = _narrowed(as_region(region), species)
    with settled.progress.stage("foretelling"):
        return foretell(
            region,
            from_year=from_year,
            options=settled,
            assumptions=assumptions,
            drop_later_visits=drop_later_visits,
        )


def _source(
    region: Region | Assessment | str | Path,
    species: Sequence[str] | None,
    assumptions: Assumptions | None,
) -> Region | Assessment:
    """The region with only the species asked for, or a result as it is."""
    if not isinstance(region, Assessment):
        return _narrowed(as_region(region), species)
    if species is not None or assumptions is not None:
        message = (
            "Invalid species or assumptions beside the result of `assess`, which rests on its own. "
            "Give them to `assess`, or give the region here."
        )
        raise ValueError(message)
    return region


def _usual(source: Region | Assessment) -> tuple[int, int]:
    """Seasons and seed where the call says nothing."""
    if isinstance(source, Assessment):
        return source.seasons, source.seed
    return source.settings.seasons, SEED


def _moving(
    source: Region | Assessment,
    assumptions: Assumptions | None,
    seed: int,
    progress: Progress,
) -> tuple[Region, Evidence, Movement]:
    """The region with steps one and two, where a result does not hold them already."""
    if isinstance(source, Assessment):
        return source.region, source.evidence, source.movement
    with progress.stage("weighing the evidence"):
        evidence = gather_evidence(source, assumptions=assumptions)
    with progress.stage("fitting movement"):
        return source, evidence, fit_movement(source, evidence, seed=seed)


def _check_season(region: Region, hours: float, plan_from: date) -> None:
    """Refuse hours that can't be, and a first day outside the season."""
    settings = region.settings
    number = isinstance(hours, Real) and not isinstance(hours, bool)
    if not (number and 0 <= hours <= MOST_HOURS):
        message = f"Invalid hours '{hours}'. They must lie between 0 and {MOST_HOURS:,}."
        raise ValueError(message)
    if not settings.season_first_day <= plan_from <= settings.season_last_day:
        message = f"the plan would begin on {plan_from}, outside the season\n\nhint: the season is "
        message += (
            f"from {settings.season_first_day} to {settings.season_last_day}; give a day in it"
        )
        raise ModelError(message)


def _narrowed(region: Region, species: Sequence[str] | None) -> Region:
    """Region with only the species asked for."""
    if species is None:
        return region
    known = region.settings.species
    species = species if isinstance(species, str) else list(species)
    if isinstance(species, str) or not species:
        message = f"Invalid species '{species}'. Give a list of one or more of {', '.join(known)}."
        raise ValueError(message)
    problems = [
        Problem(
            code="unknown-species",
            file="--species",
            what=f"'{name}' is not in scope in region.toml",
            why="Only species with a weight in region.toml can be run.",
            mend=f"Use one of {', '.join(known)}, or add it to `species` in region.toml.",
        )
        for name in species
        if name not in known
    ]
    if problems:
        raise InputError(problems)
    kept = {name: known[name] for name in known if name in species}
    return replace(region, settings=replace(region.settings, species=kept))
