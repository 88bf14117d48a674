"""What is told: answers on stdout, messages and progress on stderr."""

from __future__ import annotations

import os
import sys
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import TextIO


# What a terminal takes for a command, and marks that turn the reading direction.
UNSEEN = {*range(32), *range(127, 160), *range(0x202A, 0x202F), *range(0x2066, 0x206A)} - {10}
SEEN = dict.fromkeys([*UNSEEN, 0x200E, 0x200F, 0x061C, *range(0xD800, 0xE000)], "\ufffd")


class Unprinted(Exception):
    """What was to be told could not be printed, as on a full disk."""


@contextmanager
def printing() -> Iterator[None]:
    """Tell an answer that can't be printed from other errors of the system."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        raise Unprinted(error.strerror or str(error)) from error


def mute(flow: TextIO) -> None:
    """Send what is left to print nowhere, so that Python does not complain at its end."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), flow.fileno())


def seen(text: str) -> str:
    """Text without what a terminal would act on: names come from files of anybody."""
    return text.translate(SEEN)


def tell(text: str) -> None:
    """Print on stdout, where answers go."""
    with printing():
        print(seen(text))


def say(text: str) -> None:
    """Print on stderr, where messages go; a run does not end because nobody reads them."""
    if sys.stderr is not None:
        with suppress(OSError):
            print(seen(text), file=sys.stderr, flush=True)


def _back(text: str) -> None:
    """Write over the current line of the terminal."""
    with suppress(OSError):
        sys.stderr.write(f"\r{text}")
        sys.stderr.flush()


class Progress:
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

    def __init__(self, progress: Progress, name: str) -> None:
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
            say(f"{self.name}: {seconds:.1f} s")
