"""The command line: each command reads, makes one library call, writes."""

from __future__ import annotations

import argparse
import os
import signal
import sys
import time
from contextlib import contextmanager, suppress
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from types import FrameType
    from typing import TextIO

    from spreadnet.decisions.assessment import Assessment
    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.errors import Problem
    from spreadnet.evidence.region import Region

OK, USER_INPUT, WRONG_USAGE = 0, 1, 2
DRAWS, SEED = 200, 1
HINDCAST_DRAWS = 50
PLAN_DRAWS = 100
RUN_PLAN_DRAWS = 40
MOST_PLANNED = 10_000  # landings; above, a plan takes longer than the ranking
MOST_HOURS = 1_000_000
MOST_DRAWS, MOST_SEED, MOST_SEASONS, MOST_WORKERS = 1_000_000, 2**63 - 1, 50, 1024
SHOWN = 10  # landings printed after a run
SHOWN_ALIKE = 20  # problems alike in one column that are listed; the rest are counted
STOPS = ("SIGTERM", "SIGHUP", "SIGBREAK")  # those that the system at hand has end a run cleanly
# What a terminal takes for a command, and marks that turn the reading direction.
UNSEEN = {*range(32), *range(127, 160), *range(0x202A, 0x202F), *range(0x2066, 0x206A)} - {10}
SEEN = dict.fromkeys([*UNSEEN, 0x200E, 0x200F, 0x061C, *range(0xD800, 0xE000)], "\ufffd")


class _Stopped(KeyboardInterrupt):
    """The process was asked to end by a signal."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number


class _Unprinted(Exception):
    """What was to be told could not be printed, as on a full disk."""


class _Parser(argparse.ArgumentParser):
    """Parser whose complaints never hold what a terminal would act on."""

    def error(self, message: str) -> NoReturn:
        super().error(_seen(message))


def main(arguments: Sequence[str] | None = None) -> int:
    """
    Run the command line.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after `spreadnet`; those of the process when left out.

    Returns
    -------
    code : int
        0 fine, 1 something in the user's files or folders, 2 wrong usage, 130 interrupted
        (128 and the number of the signal where another one than Ctrl-C ended it).
    """
    for flow in (sys.stdout, sys.stderr):
        if hasattr(flow, "reconfigure"):
            flow.reconfigure(errors="replace")  # old Windows consoles lack letters
    given = argparse.Namespace(debug=False)
    before: object = None
    try:
        with _stops_as_exceptions():
            given = _parser().parse_args(arguments, given)
            before = _stamp(given)
            code: int = given.command(given)
            with _printing():
                if sys.stdout is not None:
                    sys.stdout.flush()
            return code
    except KeyboardInterrupt as stop:
        _say(f"\ninterrupted: {_outcome(given, before)}")
        return 128 + getattr(stop, "number", signal.SIGINT)
    except BrokenPipeError:
        _mute(sys.stdout)
        return OK
    except Exception as error:
        if given.debug:
            raise
        return _explain(error, outcome=_outcome(given, before))


@contextmanager
def _stops_as_exceptions() -> Iterator[None]:
    """Let signals that end the process run the same cleaning up as Ctrl-C does."""

    def stop(number: int, _: FrameType | None) -> None:
        for one in earlier:
            signal.signal(one, signal.SIG_IGN)  # cleaning up is not to be broken off
        raise _Stopped(number)

    earlier = {}
    for name in STOPS:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) == signal.SIG_DFL:
            with suppress(ValueError):  # not the main thread: the caller's own affair
                earlier[number] = signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in earlier.items():
            signal.signal(number, handler)


@contextmanager
def _printing() -> Iterator[None]:
    """Tell an answer that can't be printed from other errors of the system."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        raise _Unprinted(error.strerror or str(error)) from error


def _mute(flow: TextIO) -> None:
    """Send what is left to print nowhere, so that Python does not complain at its end."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), flow.fileno())


def _stamp(given: argparse.Namespace) -> object:
    """What tells one folder that a command writes from another: the file it writes last."""
    last = dict.fromkeys(("run", "plan", "hindcast", "survey-next"), "run.json") | {
        "new": "README.md"
    }
    file = last.get(getattr(given, "name", ""))
    if file is not None and _written(given) is not None:
        with suppress(OSError, ValueError):
            found = Path(str(_written(given)), file).stat()
            return found.st_ino, found.st_mtime_ns, found.st_size
    return None


def _written(given: argparse.Namespace) -> str | None:
    """Folder that the command writes, if it does."""
    folder: str | None = given.folder if given.name == "new" else given.out
    return folder


def _outcome(given: argparse.Namespace, before: object) -> str:
    """Whether a command that did not end well had written its folder by then."""
    after = _stamp(given)
    if after is not None and after != before:
        return f"all was written, in `{_written(given)}`"
    return "nothing was written"


def _explain(error: Exception, *, outcome: str) -> int:
    """Say what went wrong without a traceback."""
    from spreadnet.errors import SpreadnetError

    if isinstance(error, SpreadnetError):
        _say(f"error: {error}")
    elif isinstance(error, _Unprinted):
        _mute(sys.stdout)
        _say(f"error: can't print the answer ({error}); {outcome}")
    else:
        _say(
            "error: something unexpected went wrong in spreadnet "
            f"({type(error).__name__}: {error})\n\n"
            f"hint: {outcome}; run again with `--debug` and report what it prints"
        )
    return USER_INPUT


def _parser() -> argparse.ArgumentParser:
    """All commands with their options."""
    parser = _Parser(
        prog="spreadnet",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description="Rank boat landings by how much education there slows aquatic invaders.\n\n"
        "examples:\n"
        "  spreadnet new my_county                    empty tables to fill in\n"
        "  spreadnet check my_county                  every problem in the tables, in one pass\n"
        "  spreadnet run my_county --out results      ranked landings, map and tables\n"
        "  spreadnet plan my_county --hours 300 --out plan    shifts with dates, and a calendar\n"
        "  spreadnet survey-next my_county            where one more survey shift would tell most\n"
        "  spreadnet hindcast my_county --from 2020   how well finds since were foreseeable",
    )
    parser.add_argument("--version", action="version", version=_version())
    commands = parser.add_subparsers(dest="name", required=True, metavar="COMMAND")

    new = _command(commands, "new", _new, "write a folder of empty tables to fill in")
    new.add_argument("folder", metavar="FOLDER", type=_named, help="folder to make")

    check = _command(commands, "check", _check, "find every problem in a region folder")
    check.add_argument("region", metavar="REGION", type=_named, help="region folder")
    check.add_argument(
        "--all",
        action="store_true",
        help=f"list all problems, not only the first {SHOWN_ALIKE} alike in a column",
    )

    run = _command(commands, "run", _run, "rank the landings of a region folder")
    run.add_argument("region", metavar="REGION", type=_named, help="region folder")
    run.add_argument(
        "--out", metavar="DIR", type=_named, required=True, help="folder for the results"
    )
    _draw_options(run, draws=DRAWS)
    _seasons_option(run)
    _work_options(run)
    run.add_argument("--force", action="store_true", help="replace an earlier result in the folder")

    plan = _command(commands, "plan", _plan, "place a season's hours as shifts, with dates")
    plan.add_argument("region", metavar="REGION", type=_named, help="region folder")
    plan.add_argument(
        "--hours",
        type=_hours,
        metavar="N",
        help="educator hours in the season (default as in region.toml, else 200)",
    )
    plan.add_argument("--out", metavar="DIR", type=_named, help="folder for the plan")
    plan.add_argument(
        "--from",
        dest="plan_from",
        type=_day,
        metavar="DATE",
        help="first day for shifts (default the day after the last visit of this season)",
    )
    plan.add_argument(
        "--previous",
        metavar="DIR",
        type=_named,
        help="folder of the plan before, from which as little is changed as is worth it",
    )
    _draw_options(plan, draws=PLAN_DRAWS)
    _seasons_option(plan)
    _work_options(plan)
    plan.add_argument("--force", action="store_true", help="replace an earlier result there")

    survey = _command(
        commands, "survey-next", _survey, "list where one more survey shift would tell most"
    )
    survey.add_argument("region", metavar="REGION", type=_named, help="region folder")
    survey.add_argument("--out", metavar="DIR", type=_named, help="folder for the whole table")
    survey.add_argument(
        "--shown",
        type=_whole(1, MOST_DRAWS),
        default=SHOWN,
        metavar="N",
        help=f"landings listed (default {SHOWN})",
    )
    _seed_options(survey)
    _seasons_option(survey)
    survey.add_argument("--force", action="store_true", help="replace an earlier result there")

    past = _command(
        commands, "hindcast", _hindcast, "foretell finds since a year from what was known before"
    )
    past.add_argument("region", metavar="REGION", type=_named, help="region folder")
    past.add_argument(
        "--from",
        dest="from_year",
        type=_whole(1700, 9999),
        required=True,
        metavar="YEAR",
        help="first year foretold",
    )
    past.add_argument("--out", metavar="DIR", type=_named, help="folder for tables and a page")
    past.add_argument(
        "--drop-later-visits",
        action="store_true",
        help="leave out visits and contacts of that year and later too",
    )
    _draw_options(past, draws=HINDCAST_DRAWS)
    _work_options(past)
    past.add_argument("--force", action="store_true", help="replace an earlier result there")

    _command(commands, "species", _species, "list the species and what is assumed of each")
    _command(commands, "assumptions", _assumptions, "list what the model assumes")
    return parser


def _command(
    commands: argparse._SubParsersAction, name: str, command: Callable, purpose: str
) -> argparse.ArgumentParser:
    """Add one command."""
    parser = commands.add_parser(name, help=purpose, description=purpose.capitalize())
    parser.add_argument("--debug", action="store_true", help="show where in the code an error is")
    parser.set_defaults(command=command)
    return parser


def _draw_options(parser: argparse.ArgumentParser, *, draws: int) -> None:
    """How many draws, of what."""
    parser.add_argument(
        "--draws",
        type=_whole(1, MOST_DRAWS),
        default=draws,
        metavar="N",
        help=f"draws of everything uncertain (default {draws})",
    )
    _seed_options(parser)


def _seasons_option(parser: argparse.ArgumentParser) -> None:
    """How far ahead."""
    parser.add_argument(
        "--seasons",
        type=_whole(1, MOST_SEASONS),
        metavar="T",
        help="seasons to look ahead (default as in region.toml, else 5)",
    )


def _seed_options(parser: argparse.ArgumentParser) -> None:
    """Which random numbers, of which species."""
    parser.add_argument(
        "--seed",
        type=_whole(0, MOST_SEED),
        default=SEED,
        metavar="S",
        help=f"seed of the random numbers (default {SEED})",
    )
    parser.add_argument(
        "--species",
        nargs="+",
        metavar="NAME",
        help="only these of the species in region.toml (default all)",
    )


def _work_options(parser: argparse.ArgumentParser) -> None:
    """Where draws are worked out."""
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--workers",
        type=_whole(1, MOST_WORKERS),
        metavar="N",
        help="processes that work out draws (default one a processor); the same answer on any",
    )
    where.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="Dask scheduler whose machines work out draws (needs spreadnet[cluster])",
    )


def _whole(least: int, most: int) -> Callable[[str], int]:
    """Reader of a whole number in a range."""

    def whole(text: str) -> int:
        plain = text.strip()
        if plain.isdecimal() and len(plain) < 20 and least <= int(plain) <= most:
            return int(plain)
        message = f"'{text[:40]}' is not a whole number from {least} to {most:,}"
        raise argparse.ArgumentTypeError(message)

    return whole


def _hours(text: str) -> float:
    """Reader of a number of hours."""
    try:
        hours = float(text)
    except ValueError:
        hours = -1.0
    if 0 <= hours <= MOST_HOURS:
        return hours
    message = f"'{text[:40]}' is not a number of hours from 0 to {MOST_HOURS:,}"
    raise argparse.ArgumentTypeError(message)


def _day(text: str) -> date:
    """Reader of a date."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        message = f"'{text[:40]}' is not a date such as 2027-07-01"
        raise argparse.ArgumentTypeError(message) from None


def _named(text: str) -> str:
    """Reader of a folder's name; the empty text would silently mean the folder one is in."""
    if text.strip():
        return text
    message = "no folder is named; for the folder you are in, write `.`"
    raise argparse.ArgumentTypeError(message)


def _quoted(path: str) -> str:
    """Path as it must be typed into this system's shell."""
    typed = f"./{path}" if path.startswith("-") else path
    if os.name == "nt":
        from subprocess import list2cmdline

        return list2cmdline([typed])
    from shlex import quote

    return quote(typed)


def _version() -> str:
    """Version read without loading the package's parts."""
    from importlib.metadata import version

    return f"spreadnet {version('spreadnet')}"


def _new(given: argparse.Namespace) -> int:
    from spreadnet.outputs.templates import write_templates

    write_templates(Path(given.folder))
    _tell(f"Wrote `{given.folder}`: read README.md there, fill in the tables, then")
    _tell(f"  spreadnet check {_quoted(given.folder)}")
    return OK


def _check(given: argparse.Namespace) -> int:
    from spreadnet.evidence.read import check_region

    problems, region = check_region(Path(given.region))
    if region is not None:
        _tell(_counts(region))
        for note in region.notes:
            _tell(f"note: {note.text}")
    for line in _listed(problems, most=len(problems) if given.all else SHOWN_ALIKE):
        _tell(line)
    if problems:
        _say(f"error: {_problems(problems)} in `{given.region}`; nothing was changed")
        return USER_INPUT
    _tell("OK: no problems, ready to run")
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


def _run(given: argparse.Namespace) -> int:
    _free_folder(given)
    out = Path(given.out)
    timings: dict[str, float] = {}
    progress = _Progress(timings)
    region = _region(given, progress)
    from spreadnet.assess import assess
    from spreadnet.outputs.results import refuse_unmappable, write_results

    refuse_unmappable(region)
    with _workers(given) as workers:
        assessment = assess(
            region,
            draws=given.draws,
            seed=given.seed,
            seasons=given.seasons,
            species=given.species,
            workers=workers,
            stage=progress.stage,
            step=progress.step,
        )
        plan = _planned(
            assessment, workers=workers, draws=min(given.draws, RUN_PLAN_DRAWS), progress=progress
        )
    with progress.stage("writing the results"):
        files = write_results(assessment, out, force=given.force, timings=timings, plan=plan)
    for note in (*assessment.notes, *(() if plan is None else plan.notes)):
        _say(f"note: {note.text}")
    _tell(_first_landings(assessment))
    if plan is not None:
        from spreadnet.decisions.plan_words import plan_finding

        _tell(f"\nThe plan: {plan_finding(plan)}.")
    _tell(f"\nSeed {assessment.seed}, {assessment.draws} draws. Results in `{out}`:")
    _tell("  " + ", ".join(file.name for file in files))
    return OK


def _free_folder(given: argparse.Namespace) -> Path | None:
    """Folder for the result, refused before the work where nothing could be put there."""
    from spreadnet.outputs.folder import refuse_if_taken

    if given.out is None:
        return None
    refuse_if_taken(Path(given.out), force=given.force)
    return Path(given.out)


def _region(given: argparse.Namespace, progress: _Progress) -> Region:
    """The region that was named."""
    with progress.stage("reading the tables"):
        from spreadnet.evidence.read import read_region

        return read_region(Path(given.region))


def _planned(
    assessment: Assessment, *, workers: int | None, draws: int, progress: _Progress
) -> SeasonPlan | None:
    """The season plan of a run; a ranking is worth having where no plan keeps to the rules."""
    from spreadnet.assess import season_plan
    from spreadnet.errors import ModelError

    if len(assessment.region.landings) > MOST_PLANNED:
        _say(
            f"note: no plan is made with more than {MOST_PLANNED:,} landings; use `spreadnet plan`"
        )
        return None
    try:
        return season_plan(
            assessment.region,
            draws=draws,
            seed=assessment.seed,
            seasons=assessment.seasons,
            workers=workers,
            evidence=assessment.evidence,
            movement=assessment.movement,
            stage=progress.stage,
            step=progress.step,
        )
    except ModelError as error:
        _say(f"note: {error}")
        return None


@contextmanager
def _workers(given: argparse.Namespace) -> Iterator[int | None]:
    """Number of processes, or None while a cluster is at work."""
    if given.scheduler is not None:
        from spreadnet.decisions.parallel import on_scheduler

        with on_scheduler(given.scheduler):
            yield None
    elif given.workers is not None:
        yield given.workers
    else:
        from joblib import cpu_count

        yield cpu_count()


def _plan(given: argparse.Namespace) -> int:
    out = _free_folder(given)
    timings: dict[str, float] = {}
    progress = _Progress(timings)
    region = _region(given, progress)
    from spreadnet.assess import season_plan
    from spreadnet.decisions.plan_words import plan_words
    from spreadnet.evidence.roster_file import read_roster

    previous = None if given.previous is None else read_roster(Path(given.previous))
    with _workers(given) as workers:
        plan = season_plan(
            region,
            hours=given.hours,
            plan_from=given.plan_from,
            previous=previous,
            draws=given.draws,
            seed=given.seed,
            seasons=given.seasons,
            species=given.species,
            workers=workers,
            stage=progress.stage,
            step=progress.step,
        )
    for note in plan.notes:
        _say(f"note: {note.text}")
    files = []
    if out is not None:
        from spreadnet.outputs.plan import write_plan

        with progress.stage("writing the plan"):
            files = write_plan(plan, out, force=given.force, timings=timings)
    _tell(plan_words(plan, shown=SHOWN))
    if out is not None:
        _tell(f"\nSeed {plan.seed}, {plan.draws} draws. Plan in `{out}`:")
        _tell("  " + ", ".join(file.name for file in files))
    return OK


def _survey(given: argparse.Namespace) -> int:
    out = _free_folder(given)
    progress = _Progress({})
    region = _region(given, progress)
    from spreadnet.assess import survey_next
    from spreadnet.decisions.survey_next import survey_words

    survey = survey_next(
        region,
        seed=given.seed,
        seasons=given.seasons,
        species=given.species,
        stage=progress.stage,
    )
    files = []
    if out is not None:
        from spreadnet.outputs.survey import write_survey

        files = write_survey(survey, region, out, force=given.force)
    _tell(survey_words(survey, region, shown=given.shown))
    if out is not None:
        _tell(f"\nResults in `{out}`: " + ", ".join(file.name for file in files))
    return OK


def _hindcast(given: argparse.Namespace) -> int:
    out = _free_folder(given)
    progress = _Progress({})
    region = _region(given, progress)
    from spreadnet.assess import hindcast
    from spreadnet.decisions.hindcast import hindcast_summary

    with progress.stage("foretelling"), _workers(given) as workers:
        result = hindcast(
            region,
            from_year=given.from_year,
            draws=given.draws,
            seed=given.seed,
            species=given.species,
            drop_later_visits=given.drop_later_visits,
            workers=workers,
            step=progress.step,
        )
    for note in result.notes:
        _say(f"note: {note.text}")
    files = []
    if out is not None:
        from spreadnet.outputs.hindcast import write_hindcast

        files = write_hindcast(result, out, force=given.force)
    _tell(hindcast_summary(result))
    if out is not None:
        _tell(f"\nSeed {result.seed}, {result.draws} draws. Results in `{out}`:")
        _tell("  " + ", ".join(file.name for file in files))
    return OK


def _species(_: argparse.Namespace) -> int:
    from spreadnet.evidence.species import species_table

    _tell(species_table().to_csv(lineterminator="\n").rstrip("\n"))
    return OK


def _assumptions(_: argparse.Namespace) -> int:
    from spreadnet.assumptions import DEFAULT

    _tell(DEFAULT.table().to_csv(lineterminator="\n").rstrip("\n"))
    return OK


def _first_landings(assessment: Assessment) -> str:
    """The first ten landings with what they avoid and why."""
    from spreadnet.decisions.summary import first_landings

    return first_landings(assessment, shown=SHOWN)


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


def _seen(text: str) -> str:
    """Text without what a terminal would act on: names come from files of anybody."""
    return text.translate(SEEN)


def _tell(text: str) -> None:
    """Print on stdout, where answers go."""
    with _printing():
        print(_seen(text))


def _say(text: str) -> None:
    """Print on stderr, where messages go; a run does not end because nobody reads them."""
    if sys.stderr is not None:
        with suppress(OSError):
            print(_seen(text), file=sys.stderr, flush=True)


def _back(text: str) -> None:
    """Write over the current line of the terminal."""
    with suppress(OSError):
        sys.stderr.write(f"\r{text}")
        sys.stderr.flush()


class _Progress:
    """Stages with their times on stderr; on a terminal the current one counts up in place."""

    def __init__(self, timings: dict[str, float]) -> None:
        self.timings = timings
        self.live = sys.stderr is not None and sys.stderr.isatty()
        self.began = time.perf_counter()
        self.last = 0.0

    def stage(self, name: str) -> _Stage:
        """Context that times one stage and says so."""
        return _Stage(self, name)

    def step(self, done: int, total: int, name: str) -> None:
        """Say how far a long stage is, on a terminal only."""
        now = time.perf_counter()
        if self.live and (now - self.last > 0.1 or done == total):
            self.last = now
            left = (now - self.began) / max(done, 1) * (total - done)
            _back(f"{name}: {done} of {total}, about {left:.0f} s left   ")


class _Stage:
    """One timed stage of a run."""

    def __init__(self, progress: _Progress, name: str) -> None:
        self.progress, self.name = progress, name

    def __enter__(self) -> None:
        self.progress.began = time.perf_counter()
        if self.progress.live:
            _back(f"{self.name} ...")

    def __exit__(self, kind: type | None, *_: object) -> None:
        seconds = time.perf_counter() - self.progress.began
        self.progress.timings[self.name] = seconds
        if self.progress.live:
            _back(" " * 70)
            _back("")
        if kind is None:
            _say(f"{self.name}: {seconds:.1f} s")


if __name__ == "__main__":
    sys.exit(main())
