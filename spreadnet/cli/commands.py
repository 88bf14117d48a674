"""The commands: each reads, makes one library call, writes."""

from __future__ import annotations

import argparse
import os
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from spreadnet.cli.partial import OK, USER_INPUT, Planned, Written, incomplete, written_with
from spreadnet.cli.screen import Progress, say, tell
from spreadnet.options import RunOptions

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.decisions.ranking import Assessment
    from spreadnet.errors import Problem
    from spreadnet.evidence.region import Region

RUN_PLAN_DRAWS = 40
WARNINGS = "PYTHONWARNINGS"
TRACKER = "ignore::UserWarning:joblib.externals.loky.backend.resource_tracker"
MOST_PLANNED = 10_000  # landings; above, a plan takes longer than the ranking
SHOWN = 10  # landings printed after a run
SHOWN_ALIKE = 20  # problems alike in one column that are listed; the rest are counted


def put_folders_in_order(given: argparse.Namespace) -> None:
    """
    Finish or undo what a killed command left in the folders that are named now, and say so.

    Parameters
    ----------
    given : Namespace
        Words of the command line.
    """
    named = [getattr(given, name, None) for name in ("folder", "region", "previous", "out")]
    if not any(named):
        return
    from spreadnet.outputs.folders import recover, undisturbed

    for folder in filter(None, named):
        with undisturbed():
            told = recover(Path(folder))
            if told is not None:
                say(f"note: {told}")


def command_new(given: argparse.Namespace) -> int:
    """Write a folder of empty tables."""
    from spreadnet.outputs.files import write_templates

    write_templates(Path(given.folder))
    tell(f"Wrote `{given.folder}`: read README.md there, fill in the tables, then")
    tell(f"  spreadnet check {_quoted(given.folder)}")
    return OK


def command_check(given: argparse.Namespace) -> int:
    """Tell every problem of a region folder."""
    from spreadnet.evidence.read import check_region

    problems, region = check_region(Path(given.region))
    if region is not None:
        tell(_counts(region))
        for note in region.notes:
            tell(f"note: {note.text}")
    for line in _listed(problems, most=len(problems) if given.all else SHOWN_ALIKE):
        tell(line)
    if problems:
        say(f"error: {_problems(problems)} in `{given.region}`; nothing was changed")
        return USER_INPUT
    tell("OK: no problems, ready to run")
    return OK


def _listed(problems: Sequence[Problem], *, most: int) -> Iterator[str]:
    """Problems in order, and of those alike in one column only the first, with how many more."""
    alike: dict[tuple, int] = {}
    for problem in problems:
        kind = (problem.code, problem.file, problem.column)
        alike[kind] = alike.get(kind, 0) + 1
        if alike[kind] <= most:
            yield f"problem: {problem}"
    for (code, file, column), count in alike.items():
        if count > most:
            place = file if column is None else f"{file}, column {column}"
            yield f"... and {count - most:,} more like it in {place} ({code}); `--all` lists them"


def command_run(given: argparse.Namespace) -> int:
    """Rank the landings, plan the season, write the results."""
    _free_folder(given)
    out = Path(given.out)
    timings: dict[str, float] = {}
    progress = Progress(timings)
    region = _region(given, progress)
    from spreadnet.chain import assess
    from spreadnet.outputs.write import refuse_unmappable, write_results

    refuse_unmappable(region)
    with _workers(given) as workers:
        options = _options(given, workers, progress)
        assessment = assess(region, species=given.species, options=options)
        fewer = min(given.draws, RUN_PLAN_DRAWS)
        plan = _planned(assessment, replace(options, draws=fewer))
    with progress.stage("writing the results"):
        written = written_with(
            lambda some: write_results(
                assessment, out, force=given.force, timings=timings, plan=some
            ),
            plan.made,
        )
    for note in (*assessment.notes, *(() if plan.made is None else plan.made.notes)):
        say(f"note: {note.text}")
    tell(_first_landings(assessment, plan.made))
    tell(f"\nSeed {assessment.seed}, {assessment.draws} draws. Results in `{out}`:")
    tell("  " + ", ".join(file.name for file in written.files))
    return incomplete(plan.failed or written.failed, written.files, debug=given.debug)


def _free_folder(given: argparse.Namespace) -> Path | None:
    """Folder for the result, refused before the work where nothing could be put there."""
    from spreadnet.outputs.folders import refuse_if_taken

    if given.out is None:
        return None
    refuse_if_taken(Path(given.out), force=given.force)
    return Path(given.out)


def _region(given: argparse.Namespace, progress: Progress) -> Region:
    """The region that was named."""
    with progress.stage("reading the tables"):
        from spreadnet.evidence.read import read_region

        return read_region(Path(given.region))


def _options(given: argparse.Namespace, workers: int | None, progress: Progress) -> RunOptions:
    """Options of the run, as they were typed."""
    return RunOptions(
        seasons=getattr(given, "seasons", None),
        draws=given.draws,
        seed=given.seed,
        workers=workers,
        progress=progress,
    )


def _planned(assessment: Assessment, options: RunOptions) -> Planned:
    """The season plan of a run; whatever keeps it from being made, the ranking is worth having."""
    from spreadnet.chain import season_plan
    from spreadnet.decisions.plan import first_free_day

    region = assessment.region
    if len(region.landings) > MOST_PLANNED:
        say(f"note: no plan is made with more than {MOST_PLANNED:,} landings; use `spreadnet plan`")
        return Planned()
    if first_free_day(region) > region.settings.season_last_day:
        say("note: no plan is made, since there are visits on the last day of the season")
        return Planned()
    try:
        made = season_plan(assessment, options=options)
    except Exception as error:
        return Planned(failed=error)
    return Planned(made, made.failed)


@contextmanager
def _workers(given: argparse.Namespace) -> Iterator[int | None]:
    """
    Number of processes, or None while a cluster is at work.

    The process in which joblib tracks semaphores ends last and would tell of one that was being
    made when all were interrupted; it is told beforehand to say nothing.
    """
    if given.scheduler is not None:
        from spreadnet.decisions.draws import on_scheduler

        with on_scheduler(given.scheduler):
            yield None
        return
    from joblib import cpu_count

    before = os.environ.get(WARNINGS)
    os.environ[WARNINGS] = ",".join(filter(None, (before, TRACKER)))
    try:
        yield cpu_count() if given.workers is None else given.workers
    finally:
        os.environ.pop(WARNINGS)
        if before is not None:
            os.environ[WARNINGS] = before


def command_plan(given: argparse.Namespace) -> int:
    """Plan the season."""
    out = _free_folder(given)
    timings: dict[str, float] = {}
    progress = Progress(timings)
    region = _region(given, progress)
    from spreadnet.chain import season_plan
    from spreadnet.evidence.files import read_roster
    from spreadnet.words import plan_words

    previous = None if given.previous is None else read_roster(Path(given.previous))
    with _workers(given) as workers:
        plan = season_plan(
            region,
            hours=given.hours,
            plan_from=given.plan_from,
            previous=previous,
            species=given.species,
            options=_options(given, workers, progress),
        )
    for note in plan.notes:
        say(f"note: {note.text}")
    written = Written([], plan.failed)
    if out is not None:
        from spreadnet.outputs.write import write_plan

        def write(some: SeasonPlan | None) -> list[Path]:
            return write_plan(some or plan, out, force=given.force, timings=timings)

        with progress.stage("writing the plan"):
            written = written_with(write, plan, alone=True)
    tell(plan_words(plan, shown=SHOWN))
    if out is not None:
        tell(f"\nSeed {plan.seed}, {plan.draws} draws. Plan in `{out}`:")
        tell("  " + ", ".join(file.name for file in written.files))
    return incomplete(written.failed, None if out is None else written.files, debug=given.debug)


def command_survey(given: argparse.Namespace) -> int:
    """List where one more survey shift would tell most."""
    out = _free_folder(given)
    progress = Progress({})
    region = _region(given, progress)
    from spreadnet.chain import survey_next
    from spreadnet.words import survey_words

    survey = survey_next(
        region,
        species=given.species,
        seed=given.seed,
        seasons=given.seasons,
        progress=progress,
    )
    files = []
    if out is not None:
        from spreadnet.outputs.write import write_survey

        files = write_survey(survey, region, out, force=given.force)
    tell(survey_words(survey, region, shown=given.shown))
    if out is not None:
        tell(f"\nResults in `{out}`: " + ", ".join(file.name for file in files))
    return OK


def command_hindcast(given: argparse.Namespace) -> int:
    """Foretell finds since a year and score that."""
    out = _free_folder(given)
    progress = Progress({})
    region = _region(given, progress)
    from spreadnet.chain import hindcast
    from spreadnet.words import hindcast_words

    with _workers(given) as workers:
        result = hindcast(
            region,
            from_year=given.from_year,
            drop_later_visits=given.drop_later_visits,
            species=given.species,
            options=_options(given, workers, progress),
        )
    for note in result.notes:
        say(f"note: {note.text}")
    files = []
    if out is not None:
        from spreadnet.outputs.write import write_hindcast

        files = write_hindcast(result, out, force=given.force)
    tell(hindcast_words(result))
    if out is not None:
        tell(f"\nSeed {result.seed}, {result.draws} draws. Results in `{out}`:")
        tell("  " + ", ".join(file.name for file in files))
    return OK


def command_species(_: argparse.Namespace) -> int:
    """List the species."""
    from spreadnet.evidence.species import species_table

    tell(species_table().to_csv(lineterminator="\n").rstrip("\n"))
    return OK


def command_assumptions(_: argparse.Namespace) -> int:
    """List what the model assumes."""
    from spreadnet.assumptions import DEFAULT

    tell(DEFAULT.table().to_csv(lineterminator="\n").rstrip("\n"))
    return OK


def _first_landings(assessment: Assessment, plan: SeasonPlan | None = None) -> str:
    """The first ten landings with what they avoid and why; the plan gives the headline."""
    from spreadnet.words import first_landings, plan_compared, plan_finding

    if plan is None:
        return first_landings(assessment, shown=SHOWN)
    told = first_landings(assessment, shown=SHOWN, head=plan_finding(plan))
    return f"{told}\n\nThe plan: {plan_compared(plan) or 'nothing is avoided'}."


def _counts(region: Region) -> str:
    """What was read, in one line."""
    counts = {
        "lakes": region.lakes,
        "landings": region.landings,
        "status rows": region.status,
        "streams": region.streams,
        "visits": region.visits,
        "contacts": region.contacts,
    }
    return f"{region.settings.name}: " + ", ".join(
        f"{len(table):,} {name}" for name, table in counts.items()
    )


def _problems(problems: Sequence[Problem]) -> str:
    """Number of problems in words."""
    return f"{len(problems)} problem{'' if len(problems) == 1 else 's'}"


def _quoted(path: str) -> str:
    """Path as it must be typed into this system's shell."""
    typed = f"./{path}" if path.startswith("-") else path
    if os.name == "nt":
        from subprocess import list2cmdline

        return list2cmdline([typed])
    from shlex import quote

    return quote(typed)
