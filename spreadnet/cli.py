"""The command line: each command reads, makes one library call, writes."""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from spreadnet.decisions.assessment import Assessment
    from spreadnet.errors import Problem
    from spreadnet.evidence.region import Region

OK, USER_INPUT, WRONG_USAGE, INTERRUPTED = 0, 1, 2, 130
DRAWS, SEED = 200, 1
SHOWN = 10  # landings printed after a run


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
        0 fine, 1 something in the user's files or folders, 2 wrong usage, 130 interrupted.
    """
    for flow in (sys.stdout, sys.stderr):
        if hasattr(flow, "reconfigure"):
            flow.reconfigure(errors="replace")  # old Windows consoles lack letters
    given = _parser().parse_args(arguments)
    try:
        return given.command(given)
    except KeyboardInterrupt:
        _say("\ninterrupted: nothing was written")
        return INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except Exception as error:
        return _explain(error, debug=given.debug)


def _explain(error: Exception, *, debug: bool) -> int:
    """Say what went wrong without a traceback, unless one is asked for."""
    from spreadnet.errors import SpreadnetError

    if debug:
        raise error
    if isinstance(error, SpreadnetError):
        _say(f"error: {error}")
        return USER_INPUT
    _say(
        f"error: something unexpected went wrong in spreadnet ({type(error).__name__}: {error})\n\n"
        "hint: nothing was written; run again with `--debug` and report what it prints"
    )
    return USER_INPUT


def _parser() -> argparse.ArgumentParser:
    """All commands with their options."""
    parser = argparse.ArgumentParser(
        prog="spreadnet",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description="Rank boat landings by how much education there slows aquatic invaders.\n\n"
        "examples:\n"
        "  spreadnet new my_county                    empty tables to fill in\n"
        "  spreadnet check my_county                  every problem in the tables, in one pass\n"
        "  spreadnet run my_county --out results      ranked landings, map and tables",
    )
    parser.add_argument("--version", action="version", version=_version())
    commands = parser.add_subparsers(dest="name", required=True, metavar="COMMAND")

    new = _command(commands, "new", _new, "write a folder of empty tables to fill in")
    new.add_argument("folder", metavar="FOLDER", help="folder to make")

    check = _command(commands, "check", _check, "find every problem in a region folder")
    check.add_argument("region", metavar="REGION", help="region folder")

    run = _command(commands, "run", _run, "rank the landings of a region folder")
    run.add_argument("region", metavar="REGION", help="region folder")
    run.add_argument("--out", metavar="DIR", required=True, help="folder for the results")
    run.add_argument(
        "--draws",
        type=_at_least(1),
        default=DRAWS,
        metavar="N",
        help=f"draws for the intervals (default {DRAWS})",
    )
    run.add_argument(
        "--seed",
        type=_at_least(0),
        default=SEED,
        metavar="S",
        help=f"seed of the random numbers (default {SEED})",
    )
    run.add_argument(
        "--species",
        nargs="+",
        metavar="NAME",
        help="only these of the species in region.toml (default all)",
    )
    run.add_argument(
        "--seasons",
        type=_at_least(1),
        metavar="T",
        help="seasons to look ahead (default as in region.toml, else 5)",
    )
    run.add_argument("--force", action="store_true", help="replace an earlier result in the folder")

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


def _at_least(least: int) -> Callable[[str], int]:
    """Reader of a whole number with a lowest value."""

    def whole(text: str) -> int:
        if not text.lstrip("-").isdigit() or int(text) < least:
            message = f"'{text}' is not a whole number of {least} or more"
            raise argparse.ArgumentTypeError(message)
        return int(text)

    return whole


def _version() -> str:
    """Version read without loading the package's parts."""
    from importlib.metadata import version

    return f"spreadnet {version('spreadnet')}"


def _new(given: argparse.Namespace) -> int:
    from spreadnet.outputs.templates import write_templates

    folder = Path(given.folder)
    write_templates(folder)
    print(f"Wrote `{folder}`: read README.md there, fill in the tables, then")
    print(f"  spreadnet check {folder}")
    return OK


def _check(given: argparse.Namespace) -> int:
    from spreadnet.evidence.read import check_region

    problems, region = check_region(Path(given.region))
    if region is not None:
        print(_counts(region))
        for note in region.notes:
            print(f"note: {note.text}")
    for problem in problems:
        print(f"problem: {problem}")
    if problems:
        _say(f"error: {_problems(problems)} in `{given.region}`; nothing was changed")
        return USER_INPUT
    print("OK: no problems, ready to run")
    return OK


def _run(given: argparse.Namespace) -> int:
    from spreadnet.outputs.folder import refuse_if_taken
    from spreadnet.outputs.results import FILES, write_results

    out = Path(given.out)
    refuse_if_taken(out, force=given.force, ours=FILES)
    timings: dict[str, float] = {}
    progress = _Progress(timings)
    with progress.stage("reading the tables"):
        from spreadnet.evidence.read import read_region

        region = read_region(Path(given.region))
    from spreadnet.assess import assess

    assessment = assess(
        region,
        draws=given.draws,
        seed=given.seed,
        seasons=given.seasons,
        species=given.species,
        stage=progress.stage,
        step=progress.step,
    )
    with progress.stage("writing the results"):
        files = write_results(assessment, out, force=given.force, timings=timings)
    for note in assessment.notes:
        _say(f"note: {note.text}")
    print(_first_landings(assessment))
    print(f"\nSeed {assessment.seed}, {assessment.draws} draws. Results in `{out}`:")
    print("  " + ", ".join(file.name for file in files))
    return OK


def _species(_: argparse.Namespace) -> int:
    from spreadnet.evidence.species import species_table

    table = species_table()
    print(table.to_csv(lineterminator="\n"), end="")
    return OK


def _assumptions(_: argparse.Namespace) -> int:
    from spreadnet.assumptions import DEFAULT

    print(DEFAULT.table().to_csv(lineterminator="\n"), end="")
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


def _say(text: str) -> None:
    """Print on stderr, where messages go."""
    print(text, file=sys.stderr)


class _Progress:
    """Stages with their times on stderr; on a terminal the current one counts up in place."""

    def __init__(self, timings: dict[str, float]) -> None:
        self.timings = timings
        self.live = sys.stderr.isatty()
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
            sys.stderr.write(f"\r{name}: {done} of {total}, about {left:.0f} s left   ")
            sys.stderr.flush()


class _Stage:
    """One timed stage of a run."""

    def __init__(self, progress: _Progress, name: str) -> None:
        self.progress, self.name = progress, name

    def __enter__(self) -> None:
        self.progress.began = time.perf_counter()
        if self.progress.live:
            sys.stderr.write(f"{self.name} ...")
            sys.stderr.flush()

    def __exit__(self, kind: type | None, *_: object) -> None:
        seconds = time.perf_counter() - self.progress.began
        self.progress.timings[self.name] = seconds
        if self.progress.live:
            sys.stderr.write("\r" + " " * 70 + "\r")
        if kind is None:
            _say(f"{self.name}: {seconds:.1f} s")


if __name__ == "__main__":
    sys.exit(main())
