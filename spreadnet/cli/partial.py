"""When a part of a result fails: the rest is written, and what is missing is said."""

from __future__ import annotations

import traceback
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from spreadnet.cli.screen import say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from spreadnet.decisions.plan import SeasonPlan

OK, USER_INPUT = 0, 1  # what a command ends with; wrong usage ends with 2


@dataclass(frozen=True, slots=True)
class Planned:
    """The season plan of a run, or why there is none; neither where none is due."""

    made: SeasonPlan | None = None
    failed: Exception | None = None


@dataclass(frozen=True, slots=True)
class Written:
    """Files written, and what kept others from being written."""

    files: list[Path]
    failed: Exception | None = None


def written_with(
    write: Callable[[SeasonPlan | None], list[Path]],
    plan: SeasonPlan | None,
    *,
    alone: bool = False,
) -> Written:
    """
    Write a result with its plan; where that fails, without the roster, then without the plan.

    Parameters
    ----------
    write : callable
        Writes the result with the plan it is given, wholly or not at all.
    plan : SeasonPlan or None
        With all there is.
    alone : bool
        Whether the plan is the whole result, so that nothing is left without it.

    Returns
    -------
    written : Written
        The first error, if there was one.

    Raises
    ------
    OSError
        As `write` raises it: a full disk or a folder that is taken would stop less too.
    Exception
        Of the last try.
    """
    choices = [plan]
    if plan is not None and plan.roster is not None:
        choices.append(replace(plan, roster=None))
    if plan is not None and not alone:
        choices.append(None)
    first = None if plan is None else plan.failed
    for choice in choices[:-1]:
        try:
            return Written(write(choice), first)
        except OSError:
            raise
        except Exception as error:
            first = first or error
    return Written(write(choices[-1]), first)


def incomplete(
    error: Exception | None, files: Sequence[Path] | None, *, debug: bool = False
) -> int:
    """
    Say what of a plan is missing, and why; what is done was written.

    Parameters
    ----------
    error : Exception or None
        What kept it from being made or written; None where nothing is missing.
    files : sequence of Path or None
        Files written; None where none were to be.
    debug : bool
        Whether the place of the error in the code is shown.

    Returns
    -------
    code : int
        What the command ends with.
    """
    if error is None:
        return OK
    from spreadnet.errors import SpreadnetError
    from spreadnet.outputs.write import PLAN_FILES

    there = {file.name for file in files or ()}
    missing = ", ".join(name for name in PLAN_FILES if name not in there)
    what = "the plan has no dates" if files is None else f"all else is written, but not {missing}"
    why = str(error)
    if not isinstance(error, SpreadnetError):
        why = f"something unexpected went wrong in spreadnet ({type(error).__name__}: {error})"
        why += "\n\nhint: run again with `--debug` and report what it prints"
    say(f"error: {what}: {why}")
    if debug:
        say("".join(traceback.format_exception(error)))
    return USER_INPUT
