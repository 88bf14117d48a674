"""How a run is worked out: how far ahead, how many draws, on what, and who is told how it goes."""

from __future__ import annotations

import difflib
import warnings
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, fields
from numbers import Integral
from typing import TYPE_CHECKING, Any, Protocol, TypedDict

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

# The defaults of Python and of the command line alike.
DRAWS, PLAN_DRAWS, HINDCAST_DRAWS = 200, 100, 50
SEED = 1
BAR = "{desc}: {percentage:3.0f}%|{bar}| {n_fmt}/{total_fmt} [{elapsed}, {remaining} left]"
MOST_SEASONS, MOST_HOURS = 50, 1_000_000  # as in tables.csv
MOST_WORKERS = 1024


class Progress(Protocol):
    """Who is told how a run goes on."""

    def stage(self, name: str) -> AbstractContextManager[None]:
        """Context that lasts as long as one stage."""

    def step(self, done: int, total: int, name: str) -> None:
        """How far the stage is."""


class RunKeywords(TypedDict, total=False):
    """The fields of `RunOptions`, each of which a call may give by itself."""

    seasons: int | None
    draws: int
    seed: int
    workers: int | None
    progress: Progress | bool | None


@dataclass(frozen=True, slots=True)
class RunOptions:
    """
    How a run is worked out; what is None is left to the function that is called.

    Attributes
    ----------
    seasons : int, optional
        Seasons to look ahead, 1 to 50; as in `region.toml` when left out.
    draws : int, optional
        Draws of everything uncertain, for the intervals, 1 or more; 200 or more for a ranking to
        act on. Left out: 200 for a ranking, 100 for a plan, 50 for a hindcast.
    seed : int, optional
        Seed of the random numbers, 0 or more; 1 when left out. The same seed gives the same answer.
    workers : int, optional
        Processes that work out draws; the same answer on any number. Left out, what
        `joblib.parallel_config` says, such as a Dask cluster, else 1.
    progress : bool or Progress, optional
        True shows bars, in a notebook or a terminal; an object of your own is told of stages and
        steps. Nothing is shown when left out.

    Examples
    --------
    >>> RunOptions(draws=50, workers=2)
    RunOptions(draws=50, workers=2)
    """

    seasons: int | None = None
    draws: int | None = None
    seed: int | None = None
    workers: int | None = None
    progress: Progress | bool | None = None

    def __post_init__(self) -> None:
        ranges = (("seasons", 1, MOST_SEASONS), ("draws", 1, None), ("seed", 0, None))
        for name, least, most in (*ranges, ("workers", 1, MOST_WORKERS)):
            if getattr(self, name) is not None:
                _check_whole(name, getattr(self, name), least, most)
        told = all(callable(getattr(self.progress, part, None)) for part in ("stage", "step"))
        if not (self.progress is None or isinstance(self.progress, bool) or told):
            message = (
                f"Invalid progress '{self.progress}'. Give True for bars, or an object with "
                "`stage(name)` and `step(done, total, name)`."
            )
            raise ValueError(message)

    def __repr__(self) -> str:
        given = {f.name: getattr(self, f.name) for f in fields(self)}
        parts = (f"{name}={value!r}" for name, value in given.items() if value is not None)
        return f"RunOptions({', '.join(parts)})"


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """Options of a run with nothing left open, as the steps of the chain take them."""

    seasons: int
    draws: int
    seed: int
    workers: int | None
    progress: Progress


def settle(
    options: RunOptions | None,
    given: Mapping[str, Any],
    *,
    seasons: int,
    draws: int,
    seed: int = SEED,
    unused: tuple[str, ...] = (),
) -> Settled:
    """
    Options of one call: what it gives by name, then what `options` gives, then the defaults.

    Parameters
    ----------
    options : RunOptions or None
        Given as a whole.
    given : mapping
        Those given by name in the call.
    seasons, draws, seed : int
        Where neither says anything.
    unused : tuple of str
        Those that mean nothing to the function and can't be given by name.

    Returns
    -------
    settled : Settled
        Nothing is None but `workers`.

    Raises
    ------
    TypeError
        If a name is unknown; the nearest known one is named.
    ValueError
        If a number is out of its range.

    Examples
    --------
    >>> settled = settle(RunOptions(draws=50), {"seed": 7}, seasons=5, draws=200)
    >>> settled.draws, settled.seed, settled.seasons
    (50, 7, 5)
    """
    known = [f.name for f in fields(RunOptions) if f.name not in unused]
    for name in given:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = (
                f" Did you mean '{near[0]}'?" if near else f" Those of a run: {', '.join(known)}."
            )
            message = f"got an unexpected keyword argument '{name}'.{hint}"
            raise TypeError(message)
    for name in ("draws", "seed"):
        if name in given:  # no seed could be meant for another result at each call
            _check_whole(name, given[name], 1 if name == "draws" else 0, None)
    whole = {} if options is None else {f: getattr(options, f) for f in known}
    named = {name: value for name, value in given.items() if value is not None}
    asked = RunOptions(**{**whole, **named})
    return Settled(
        seasons=seasons if asked.seasons is None else int(asked.seasons),
        draws=draws if asked.draws is None else int(asked.draws),
        seed=seed if asked.seed is None else int(asked.seed),
        workers=asked.workers,
        progress=_told(asked.progress),
    )


def _check_whole(name: str, value: Any, least: int, most: int | None) -> None:
    """Refuse what is not a whole number in its range."""
    whole = isinstance(value, Integral) and not isinstance(value, bool)
    if whole and least <= value <= (value if most is None else most):
        return
    upper = "" if most is None else f" and at most {most}"
    message = f"Invalid {name} '{value}'. It must be a whole number of {least} or more{upper}."
    raise ValueError(message)


def _told(progress: Progress | bool | None) -> Progress:
    """Who is told."""
    if progress is None or progress is False:
        return Silent()
    return Bars() if progress is True else progress


class Silent:
    """Progress that nobody is told of."""

    def stage(self, _name: str) -> AbstractContextManager[None]:
        """Say nothing."""
        return nullcontext()

    def step(self, _done: int, _total: int, _name: str) -> None:
        """Say nothing."""


class Bars:
    """A bar a stage, in a notebook or a terminal."""

    def __init__(self) -> None:
        with warnings.catch_warnings():  # tqdm tells where a notebook can't show its own bars
            warnings.simplefilter("ignore")
            from tqdm.auto import tqdm
        self.make = tqdm
        self.bar: Any = None

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Show a bar; one whose steps are not told jumps to its end."""
        self.bar = self.make(total=1, desc=name, bar_format=BAR)
        try:
            yield
            self.bar.update(self.bar.total - self.bar.n)
        finally:
            self.bar.close()
            self.bar = None

    def step(self, done: int, total: int, _name: str) -> None:
        """Move the bar of the stage."""
        if self.bar is not None:
            self.bar.total = total
            self.bar.update(done - self.bar.n)
