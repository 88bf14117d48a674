"""The words of the command line: all commands with their options."""

from __future__ import annotations

import argparse
import re
from typing import TYPE_CHECKING, NoReturn

from spreadnet.cli.commands import (
    SHOWN,
    SHOWN_ALIKE,
    command_assumptions,
    command_check,
    command_hindcast,
    command_new,
    command_plan,
    command_run,
    command_species,
    command_survey,
)
from spreadnet.cli.screen import seen
from spreadnet.options import (
    DRAWS,
    HINDCAST_DRAWS,
    MOST_HOURS,
    MOST_SEASONS,
    MOST_WORKERS,
    PLAN_DRAWS,
    SEED,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date


MOST_DRAWS, MOST_SEED = 1_000_000, 2**63 - 1


class _Parser(argparse.ArgumentParser):
    """Parser whose complaints never hold what a terminal would act on."""

    def error(self, message: str) -> NoReturn:
        super().error(seen(message))


def command_line() -> argparse.ArgumentParser:
    """All commands with their options."""
    parser = _Parser(
        prog="spreadnet",
        description="Rank boat landings by how much education there slows aquatic invaders.",
        epilog="Begin with `spreadnet new my_county`, which makes empty tables to fill in. "
        "`spreadnet COMMAND --help` tells of one command and gives an example.",
    )
    parser.add_argument("--version", action="version", version=_version())
    commands = parser.add_subparsers(
        dest="name", required=True, metavar="COMMAND", title="commands", prog="spreadnet"
    )
    for add in (_new, _check, _run, _plan, _survey, _hindcast):
        add(commands)
    _command(
        commands,
        "species",
        command_species,
        purpose="list the species and what is assumed of each",
        example="> species.csv",
    )
    _command(
        commands,
        "assumptions",
        command_assumptions,
        purpose="list what the model assumes",
        example="> assumptions.csv",
    )
    return parser


def _new(commands: argparse._SubParsersAction) -> None:
    """The command `new`."""
    new = _command(
        commands,
        "new",
        command_new,
        purpose="write a folder of empty tables to fill in",
        example="my_county",
    )
    new.add_argument("folder", metavar="FOLDER", type=_named, help="folder to make")


def _check(commands: argparse._SubParsersAction) -> None:
    """The command `check`."""
    check = _command(
        commands,
        "check",
        command_check,
        purpose="find every problem in a region folder, in one pass",
        example="my_county",
    )
    _region_option(check)
    check.add_argument(
        "--all",
        action="store_true",
        help=f"list all problems, not only the first {SHOWN_ALIKE} alike in a column",
    )


def _run(commands: argparse._SubParsersAction) -> None:
    """The command `run`."""
    run = _command(
        commands,
        "run",
        command_run,
        purpose="rank the landings of a region folder: tables, map and plan",
        example="my_county --out results",
    )
    _region_option(run)
    run.add_argument(
        "--out", metavar="DIR", type=_named, required=True, help="folder for the results"
    )
    _draw_options(run, draws=DRAWS)
    _seasons_option(run)
    _work_options(run)
    run.add_argument("--force", action="store_true", help="replace an earlier result in the folder")


def _plan(commands: argparse._SubParsersAction) -> None:
    """The command `plan`."""
    plan = _command(
        commands,
        "plan",
        command_plan,
        purpose="place a season's hours as shifts, with dates and a calendar",
        example="my_county --hours 300 --out plan",
    )
    _region_option(plan)
    plan.add_argument(
        "--hours",
        type=_hours,
        metavar="N",
        help="educator hours in the season (default as in region.toml, else 200)",
    )
    _out_options(plan, what="folder for the plan")
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


def _survey(commands: argparse._SubParsersAction) -> None:
    """The command `survey-next`."""
    survey = _command(
        commands,
        "survey-next",
        command_survey,
        purpose="list where one more survey shift would tell most",
        example="my_county",
    )
    _region_option(survey)
    _out_options(survey, what="folder for the whole table")
    survey.add_argument(
        "--shown",
        type=_whole(1, MOST_DRAWS),
        default=SHOWN,
        metavar="N",
        help=f"landings listed (default {SHOWN})",
    )
    _seed_options(survey)
    _seasons_option(survey)


def _hindcast(commands: argparse._SubParsersAction) -> None:
    """The command `hindcast`."""
    past = _command(
        commands,
        "hindcast",
        command_hindcast,
        purpose="foretell finds since a year from what was known before",
        example="my_county --from 2020",
    )
    _region_option(past)
    past.add_argument(
        "--from",
        dest="from_year",
        type=_whole(1700, 9999),
        required=True,
        metavar="YEAR",
        help="first year foretold",
    )
    _out_options(past, what="folder for tables and a page")
    past.add_argument(
        "--drop-later-visits",
        action="store_true",
        help="leave out visits and contacts of that year and later too",
    )
    _draw_options(past, draws=HINDCAST_DRAWS)
    _work_options(past)


def _command(
    commands: argparse._SubParsersAction,
    name: str,
    command: Callable,
    *,
    purpose: str,
    example: str,
) -> argparse.ArgumentParser:
    """Add one command."""
    parser = commands.add_parser(
        name,
        help=purpose,
        description=purpose[0].upper() + purpose[1:],
        epilog=f"example: spreadnet {name} {example}",
    )
    parser.add_argument("--debug", action="store_true", help="show where in the code an error is")
    parser.set_defaults(command=command)
    return parser


def _region_option(parser: argparse.ArgumentParser) -> None:
    """Which region."""
    parser.add_argument("region", metavar="REGION", type=_named, help="region folder")


def _out_options(parser: argparse.ArgumentParser, *, what: str) -> None:
    """Where the result goes, if anywhere."""
    parser.add_argument("--out", metavar="DIR", type=_named, help=what)
    parser.add_argument("--force", action="store_true", help="replace an earlier result there")


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
        help="Dask scheduler whose machines work out draws (needs spreadnet[cluster]); given up "
        "after 30 s without workers and 10 min without a result",
    )


def _whole(least: int, most: int) -> Callable[[str], int]:
    """Reader of a whole number in a range."""

    def whole(text: str) -> int:
        plain = text.strip()
        if re.fullmatch("[0-9]{1,19}", plain) and least <= int(plain) <= most:
            return int(plain)
        message = f"'{text[:40]}' is not a whole number from {least} to {most:,}"
        raise argparse.ArgumentTypeError(message)

    return whole


def _hours(text: str) -> float:
    """Reader of a number of hours."""
    plain = text.strip()
    if re.fullmatch(r"[0-9]{1,9}(\.[0-9]*)?", plain) and float(plain) <= MOST_HOURS:
        return float(plain)
    message = f"'{text[:40]}' is not a number of hours from 0 to {MOST_HOURS:,}"
    raise argparse.ArgumentTypeError(message)


def _day(text: str) -> date:
    """Reader of a date."""
    from spreadnet.evidence.cells import iso_day

    day = iso_day(text)
    if day is not None:
        return day
    message = f"'{text[:40]}' is not a date such as 2027-07-01"
    raise argparse.ArgumentTypeError(message)


def _named(text: str) -> str:
    """Reader of a folder's name; the empty text would silently mean the folder one is in."""
    if text.strip():
        return text
    message = "no folder is named; for the folder you are in, write `.`"
    raise argparse.ArgumentTypeError(message)


def _version() -> str:
    """Version read without loading the package's parts."""
    from importlib.metadata import version

    return f"spreadnet {version('spreadnet')}"
