"""What finds so far say of the next ones: hazard of every lake, and numbers to expect."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.finds.hazard import (
    ACCESS,
    AREA,
    DEPTH,
    DISTANCE,
    LEAST_HABITAT,
    OUTSIDE,
    SHAPED,
    SOURCE,
    log_spaced,
    pressure,
)
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.finds.fit import FindsFit
    from spreadnet.model.finds.waters import Waters

    Array = NDArray[np.floating]


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """
    Lakes free and infested now, L lakes.

    Attributes
    ----------
    waters : Waters
        All L lakes.
    free, infested : array of int, shape (R,), (F,)
        Lakes at risk, and those known to be infested, with or without a date.
    log_far : array, shape (R, F)
        See `log_spaced`.
    offset : array, shape (R,)
        Log of habitat.
    """

    waters: Waters
    free: NDArray[np.intp]
    infested: NDArray[np.intp]
    log_far: Array
    offset: Array


def ahead_of(waters: Waters, *, infested: NDArray[np.bool_], habitat: Array | None = None) -> Ahead:
    """
    Lakes at risk next season.

    Parameters
    ----------
    waters : Waters
        All L lakes.
    infested : array of bool, shape (L,)
        Known to be, now.
    habitat : array, shape (L,), optional
        Share of introductions that meet water to live in; lakes with none are not at risk.

    Returns
    -------
    ahead : Ahead
        In the order of the lakes.
    """
    habitable = np.ones(len(infested)) if habitat is None else np.asarray(habitat, float)
    free = np.flatnonzero(~infested & (habitable > 0))
    sources = np.flatnonzero(infested)
    return Ahead(
        waters=waters,
        free=free,
        infested=sources,
        log_far=log_spaced(waters, free, sources),
        offset=np.log(np.maximum(habitable[free], LEAST_HABITAT)),
    )


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class NextSeason:
    """
    What one set of values foretells.

    `hazard` (L,), finds to expect next season, 0 at lakes infested or unfit; `outside_share`, of
    all of it by boats from waters outside the region.
    """

    hazard: Array
    outside_share: float


def next_season(fit: FindsFit, values: Array, *, ahead: Ahead, level: float = 0.0) -> NextSeason:
    """
    Hazard of finds next season at every lake.

    Parameters
    ----------
    fit : FindsFit
        Says how many years its values speak of.
    values : array, shape (1 + Y + 6,)
        `fit.best`, or as `fit.draw` gives them.
    ahead : Ahead
        Lakes free and infested now.
    level : float
        Added to the log of the level: how it has wandered since the last year known.

    Returns
    -------
    season : NextSeason
        In the order of the lakes.
    """
    shape = values[-SHAPED:]
    base = _steady(fit, values, ahead) + level
    sent, _, _ = pressure(
        ahead.log_far,
        ahead.waters.log_area[ahead.infested],
        np.ones((len(ahead.infested), 1)),
        distance=shape[DISTANCE],
        source_area=shape[SOURCE],
    )
    outside = np.exp(shape[OUTSIDE])
    by_lakes, by_outside = np.exp(base) * sent[:, 0], np.exp(base) * outside
    hazard = np.zeros(len(ahead.waters.log_area))
    hazard[ahead.free] = by_lakes + by_outside
    every = max(float(hazard.sum()), 1e-300)
    return NextSeason(hazard, float(by_outside.sum()) / every)


def _steady(fit: FindsFit, values: Array, ahead: Ahead) -> Array:
    """Log of all but the pressure, at the level of the last year known, (R,)."""
    shape, waters = values[-SHAPED:], ahead.waters
    return np.asarray(
        ahead.offset
        + values[0]
        + values[len(fit.finds.years)]
        + shape[AREA] * waters.log_area[ahead.free]
        + shape[DEPTH] * waters.log_depth[ahead.free]
        + (shape[ACCESS] - 1) * waters.access[ahead.free]
    )


def wandered(fit: FindsFit, rng: np.random.Generator, *, seasons: int, gap: int = 0) -> Array:
    """
    How the log of the level may wander over the seasons ahead.

    Parameters
    ----------
    fit : FindsFit
        Says how much it wanders in a year.
    rng : Generator
        Source of chance.
    seasons : int
        To look ahead.
    gap : int
        Years between the last one known and the first season, of which nothing is known.

    Returns
    -------
    level : array, shape (seasons,)
        0 on the mean.
    """
    steps = rng.standard_normal(gap + seasons) * fit.wander
    return np.asarray(np.cumsum(steps)[gap:])


def foretold_finds(
    fit: FindsFit, values: Array, rng: np.random.Generator, *, ahead: Ahead, seasons: int
) -> Array:
    """
    One course of finds over the seasons ahead, each new one sending boats from then on.

    Parameters
    ----------
    fit, values, ahead
        As for `next_season`.
    rng : Generator
        Source of chance, also of how the level wanders.
    seasons : int
        To look ahead.

    Returns
    -------
    found : array of int, shape (L,)
        Season of the find, from 0; `seasons` where none.
    """
    shape, waters = values[-SHAPED:], ahead.waters
    wander = wandered(fit, rng, seasons=seasons)
    base = np.exp(_steady(fit, values, ahead))
    kernel = {"distance": shape[DISTANCE], "source_area": shape[SOURCE]}
    ones = np.ones((len(ahead.infested), 1))
    sent = pressure(ahead.log_far, waters.log_area[ahead.infested], ones, **kernel)[0][:, 0]
    sent = sent + np.exp(shape[OUTSIDE])
    threshold = rng.exponential(size=len(ahead.free))
    found = np.full(len(waters.log_area), seasons)
    met = np.zeros(len(ahead.free))
    for season in range(seasons):
        met += np.exp(wander[season]) * base * sent
        new = (met > threshold) & (found[ahead.free] == seasons)
        at = ahead.free[new]
        found[at] = season
        if len(at) and season + 1 < seasons:
            far = log_spaced(waters, ahead.free, at)
            sent += pressure(far, waters.log_area[at], np.ones((len(at), 1)), **kernel)[0][:, 0]
    return found
