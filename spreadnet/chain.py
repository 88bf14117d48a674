"""The chain in order: evidence, movement, decision."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from typing import TYPE_CHECKING

from spreadnet.assumptions import DEFAULT
from spreadnet.decisions.draws.asked import check_asked
from spreadnet.decisions.draws.parallel import one_thread, quiet
from spreadnet.decisions.draws.run import run_model
from spreadnet.decisions.hindcast.foretell import hindcast as foretell
from spreadnet.decisions.hours.placing import place_ranked
from spreadnet.decisions.plan.plan import make_plan
from spreadnet.decisions.plan.rules import first_free_day
from spreadnet.decisions.ranking.rank import decide
from spreadnet.decisions.surveys.next import survey_next as surveys_compared
from spreadnet.errors import InputError, ModelError, Problem
from spreadnet.evidence.gather import gather_evidence
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.model.movement.movement import Movement, fit_movement

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    import pandas as pd

    from spreadnet.assumptions import Assumptions
    from spreadnet.decisions.hindcast.foretell import Hindcast
    from spreadnet.decisions.plan.plan import SeasonPlan
    from spreadnet.decisions.ranking.result import Assessment
    from spreadnet.decisions.surveys.next import SurveyList
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.movement.movement import TripLaw

DRAWS, SEED = 200, 1
HINDCAST_DRAWS = 50


def silent(_name: str) -> AbstractContextManager[None]:
    """Stage that says nothing."""
    return nullcontext()


@one_thread
def assess(
    region: Region,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    seasons: int | None = None,
    species: Sequence[str] | None = None,
    assumptions: Assumptions = DEFAULT,
    law: TripLaw | None = None,
    workers: int | None = None,
    stage: Callable[[str], AbstractContextManager[None]] = silent,
    step: Callable[[int, int, str], None] = quiet,
) -> Assessment:
    """
    Rank the landings of a region by what education there avoids.

    Parameters
    ----------
    region : Region
        As `read_region` gives it.
    draws : int
        Draws for the intervals, 1 or more; 200 or more for a result to act on.
    seed : int
        Seed of the random numbers; the same seed gives the same answer.
    seasons : int, optional
        Seasons to look ahead; as in `region.toml` when left out.
    species : sequence of str, optional
        Only these of the species in `region.toml`.
    assumptions : Assumptions
        Numbers used where the tables say nothing; `region.toml` overrides them.
    law : callable, optional
        A law of movement of your own: `(mass, distance_km) -> weight`. Left out, the law that
        predicts interviews at other landings best is chosen.
    workers : int, optional
        Processes that work out draws, 1 to 1024; the same answer on any number. Left out, what
        `joblib.parallel_config` says, such as a Dask cluster, else 1.
    stage, step : callables
        Told what goes on, for progress.

    Returns
    -------
    assessment : Assessment
        Tables in the order of the region's ids.

    Raises
    ------
    InputError
        If `species` names one that is not in `region.toml`.
    ValueError
        If a number is out of its range.
    """
    check_asked(draws=draws, seed=seed, seasons=seasons, workers=workers)
    region = _narrowed(region, species)
    with stage("weighing the evidence"):
        evidence = gather_evidence(region, assumptions=assumptions)
    with stage("fitting movement"):
        movement = build_model(region, evidence, seed=seed, law=law)
    with stage("ranking"):
        return rank_landings(
            region,
            evidence,
            movement=movement,
            draws=draws,
            seed=seed,
            seasons=seasons,
            workers=workers,
            step=step,
        )


@one_thread
def build_model(
    region: Region, evidence: Evidence, *, seed: int = SEED, law: TripLaw | None = None
) -> Movement:
    """
    Step two alone: how boats move between the region's lakes.

    Parameters
    ----------
    region : Region
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
    return fit_movement(region, evidence, seed=seed, law=law)


@one_thread
def rank_landings(
    region: Region,
    evidence: Evidence,
    *,
    movement: Movement,
    draws: int = DRAWS,
    seed: int = SEED,
    seasons: int | None = None,
    workers: int | None = None,
    step: Callable[[int, int, str], None] = quiet,
) -> Assessment:
    """
    Step three alone: spread, ranking and comparison.

    Parameters
    ----------
    region : Region
        The input.
    evidence : Evidence
        Result of `gather_evidence`.
    movement : Movement
        Result of `build_model`.
    draws, seed, seasons, workers, step
        As for `assess`.

    Returns
    -------
    assessment : Assessment
        As `assess` returns it.
    """
    return decide(
        region,
        evidence,
        movement,
        seasons=region.settings.seasons if seasons is None else seasons,
        draws=draws,
        seed=seed,
        workers=workers,
        step=step,
    )


@one_thread
def survey_next(
    region: Region,
    *,
    seed: int = SEED,
    seasons: int | None = None,
    species: Sequence[str] | None = None,
    assumptions: Assumptions = DEFAULT,
    survey_hours: float | None = None,
    stage: Callable[[str], AbstractContextManager[None]] = silent,
) -> SurveyList:
    """
    Which landings more visits would tell most about, for the decision where hours go.

    Parameters
    ----------
    region : Region
        As `read_region` gives it.
    seed, seasons, species, assumptions, stage
        As for `assess`.
    survey_hours : float, optional
        Length of the survey shift; the shift length of `region.toml` when left out.

    Returns
    -------
    survey : SurveyList
        Expected gain of one more survey shift at each landing.

    Raises
    ------
    InputError
        If `species` names one that is not in `region.toml`.
    """
    check_asked(seed=seed, seasons=seasons, hours=survey_hours)
    region = _narrowed(region, species)
    with stage("weighing the evidence"):
        evidence = gather_evidence(region, assumptions=assumptions)
    with stage("fitting movement"):
        movement = build_model(region, evidence, seed=seed)
    with stage("comparing surveys"):
        run = run_model(
            best_estimates(evidence, movement),
            movement,
            place=place_of(region, evidence),
            seasons=region.settings.seasons if seasons is None else seasons,
        )
        hours = place_ranked(region.settings.hours, run.reach, value=run.value_after)
        return surveys_compared(
            region, evidence, movement, run=run, hours=hours, survey_hours=survey_hours
        )


@one_thread
def season_plan(
    region: Region,
    *,
    hours: float | None = None,
    plan_from: date | None = None,
    previous: pd.DataFrame | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
    seasons: int | None = None,
    species: Sequence[str] | None = None,
    assumptions: Assumptions = DEFAULT,
    workers: int | None = None,
    evidence: Evidence | None = None,
    movement: Movement | None = None,
    stage: Callable[[str], AbstractContextManager[None]] = silent,
    step: Callable[[int, int, str], None] = quiet,
) -> SeasonPlan:
    """
    Place a season's hours where they avoid most, within all rules, and date the shifts.

    Parameters
    ----------
    region : Region
        As `read_region` gives it.
    hours : float, optional
        Educator hours in the season; those of `region.toml` when left out.
    plan_from : date, optional
        First day on which a shift may be placed; the day after the last visit of this season when
        left out, or its first day.
    previous : DataFrame, optional
        Roster of an earlier plan, from which as little is changed as is worth it.
    draws, seed, seasons, species, assumptions, workers, stage, step
        As for `assess`.
    evidence, movement : optional
        Where they are there already.

    Returns
    -------
    plan : SeasonPlan
        Shifts, roster, comparison, value of hours.

    Raises
    ------
    InputError
        If `species` names one that is not in `region.toml`.
    ModelError
        If no plan keeps to the rules.
    ValueError
        If a number is out of its range.
    """
    check_asked(draws=draws, seed=seed, seasons=seasons, hours=hours, workers=workers)
    region = _narrowed(region, species)
    settings = region.settings
    hours = settings.hours if hours is None else hours
    plan_from = first_free_day(region) if plan_from is None else plan_from
    if not settings.season_first_day <= plan_from <= settings.season_last_day:
        message = f"the plan would begin on {plan_from}, outside the season\n\nhint: the season is "
        message += (
            f"from {settings.season_first_day} to {settings.season_last_day}; give a day in it"
        )
        raise ModelError(message)
    if evidence is None:
        with stage("weighing the evidence"):
            evidence = gather_evidence(region, assumptions=assumptions)
    if movement is None:
        with stage("fitting movement"):
            movement = build_model(region, evidence, seed=seed)
    with stage("planning"):
        return make_plan(
            region,
            evidence,
            movement,
            hours=hours,
            plan_from=plan_from,
            seasons=settings.seasons if seasons is None else seasons,
            draws=draws,
            seed=seed,
            previous=previous,
            workers=workers,
            step=step,
        )


@one_thread
def hindcast(
    region: Region,
    *,
    from_year: int,
    draws: int = HINDCAST_DRAWS,
    seed: int = SEED,
    species: Sequence[str] | None = None,
    assumptions: Assumptions = DEFAULT,
    drop_later_visits: bool = False,
    workers: int | None = None,
    step: Callable[[int, int, str], None] = quiet,
) -> Hindcast:
    """
    Foretell the finds since a year from what was known before it, and score that.

    Parameters
    ----------
    region : Region
        As `read_region` gives it.
    from_year : int
        First year foretold.
    draws, seed, species, assumptions, workers, step
        As for `assess`.
    drop_later_visits : bool
        Leave out visits and contacts from `from_year` on too.

    Returns
    -------
    hindcast : Hindcast
        Scores beside those of simpler rules fitted to the same earlier finds.

    Raises
    ------
    InputError
        If `species` names one that is not in `region.toml`.
    ModelError
        If no find is dated before the year, or the year lies beyond what is known.
    """
    return foretell(
        _narrowed(region, species),
        from_year=from_year,
        draws=draws,
        seed=seed,
        assumptions=assumptions,
        drop_later_visits=drop_later_visits,
        workers=workers,
        step=step,
    )


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
