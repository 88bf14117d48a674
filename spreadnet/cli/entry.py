"""The command line: what a command's end, a signal or an error comes to."""

from __future__ import annotations

import argparse
import signal
import sys
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from spreadnet.cli.commands import OK, USER_INPUT, put_folders_in_order
from spreadnet.cli.options import command_line
from spreadnet.cli.screen import Unprinted, mute, printing, say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import FrameType


UNASKED = object()  # in place of a stamp, until there is one
STOPS = ("SIGTERM", "SIGHUP", "SIGBREAK")  # those that the system at hand has end a run cleanly


class _Stopped(KeyboardInterrupt):
    """The process was asked to end by a signal."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number


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
    before: object = UNASKED
    try:
        with _stops_as_exceptions():
            given = command_line().parse_args(arguments, given)
            put_folders_in_order(given)
            before = _stamp(given)
            code: int = given.command(given)
            with printing():
                if sys.stdout is not None:
                    sys.stdout.flush()
            return code
    except KeyboardInterrupt as stop:
        say(f"\ninterrupted: {_outcome(given, before)}")
        return 128 + getattr(stop, "number", signal.SIGINT)
    except BrokenPipeError:
        mute(sys.stdout)
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
    after = None if before is UNASKED else _stamp(given)
    if after is not None and after != before:
        return f"all was written, in `{_written(given)}`"
    return "nothing was written"


def _explain(error: Exception, *, outcome: str) -> int:
    """Say what went wrong without a traceback."""
    from spreadnet.errors import SpreadnetError, WorkerError

    if isinstance(error, WorkerError):
        say(f"error: {error}\n\n{outcome}")
    elif isinstance(error, SpreadnetError):
        say(f"error: {error}")
    elif isinstance(error, Unprinted):
        mute(sys.stdout)
        say(f"error: can't print the answer ({error}); {outcome}")
    else:
        say(
            "error: something unexpected went wrong in spreadnet "
            f"({type(error).__name__}: {error})\n\n"
            f"hint: {outcome}; run again with `--debug` and report what it prints"
        )
    return USER_INPUT
