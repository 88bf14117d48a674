"""Simulated spread: single futures, each lake infested in a season of its own or never."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

from spreadnet.chance import stream
from spreadnet.model.fast import Seasons, fast_available, spread_futures
from spreadnet.model.spread.between_lakes import LakeRates, lake_rates
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.spread.between_lakes import Rates
    from spreadnet.model.spread.types import Coverage, SpreadInputs

    Array = NDArray[np.floating]

NEVER = 255  # not infested within the seasons looked ahead
MOST_SEASONS = 254  # seasons are kept in one byte
CELLS = 2_000_000  # futures times lakes worked on together
FEW = 200  # lakes with a landing up to which building a sparse matrix takes longer than adding
CACHED = 60_000  # of these, as many as a processor keeps at hand


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Futures:
    """
    Single futures of one species, D of them, for L lakes.

    Attributes
    ----------
    first_season : array of uint8, shape (D, L)
        Season in which the lake is infested, from 1; 0 where it is at the start, `NEVER` where it
        is not within the seasons looked ahead.
    seasons : int
        Seasons looked ahead.
    """

    first_season: NDArray[np.uint8]
    seasons: int

    def new(self, worth: Array | None = None) -> NDArray[np.float64]:
        """New infestations in each future, each counted 1 or by its worth, shape (D,)."""
        came = (self.first_season > 0) & (self.first_season != NEVER)
        if worth is None:
            return came.sum(axis=1).astype(float)
        # Lake by lake: a dense product may round a future by how many others there are.
        return sp.csr_array(came) @ np.asarray(worth, float)

    def counts_by_season(self) -> NDArray[np.int64]:
        """Futures in which each lake is newly infested by the end of each season, (T, L)."""
        counts = [
            ((self.first_season > 0) & (self.first_season <= season)).sum(axis=0)
            for season in range(1, self.seasons + 1)
        ]
        return np.array(counts, dtype=np.int64).reshape(self.seasons, -1)


def thresholds(seed: int, species: str, futures: range, *, n_lakes: int) -> NDArray[np.float64]:
    """
    Hazard that each lake withstands in each future, exponential with mean 1.

    Keyed by seed, species, future and lake, so that policies meet the same luck and nothing
    depends on how the work is cut up.

    Parameters
    ----------
    seed : int
        Seed of the run.
    species : str
        Name of the species.
    futures : range
        Numbers of the futures.
    n_lakes : int
        Number of lakes L.

    Returns
    -------
    thresholds : array, shape (D, L)
        A lake is infested once its summed hazard reaches its threshold.

    Notes
    -----
    `-log1p(-u)` of uniforms with 53 bits: tiny hazards are met as often as they should be.
    """
    return -np.log1p(-_uniform(seed, f"thresholds {species}", futures, n_lakes))


def simulate(
    inputs: SpreadInputs,
    *,
    seasons: int,
    seed: int,
    species: str,
    futures: range,
    coverage: Coverage | None = None,
    rates: Rates | None = None,
) -> Futures:
    """
    Let the species spread in single futures, lake by lake and season by season.

    `expected_spread` works with chances; here every lake is infested or not. The mean over many
    futures tells whether the expected course can be trusted, and their spread how differently
    things may go with the same numbers.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region. Lakes with a chance of being infested at the start are drawn anew
        in each future.
    seasons : int
        Seasons to look ahead, 1 to 254.
    seed, species, futures
        As for `thresholds`.
    coverage : Coverage, optional
        Shares of boats reached, the same in every season; nobody when left out. More coverage
        never infests a lake earlier in any future.
    rates : LakeRates, optional
        `lake_rates(inputs, coverage)` where that is there already.

    Returns
    -------
    futures : Futures
        The same for the same seed, in any pieces.

    Raises
    ------
    ValueError
        If `seasons` is out of range.

    Notes
    -----
    One exponential threshold a lake in place of a coin a season (Sellke 1983, J. Appl. Prob. 20):
    the same law, and futures under two policies differ only where the policies matter. Sums of
    rates are taken in double precision in the order in which lakes fall, so two policies that add
    the same rates in another order agree to the sixteenth digit.
    """
    if not 1 <= seasons <= MOST_SEASONS:
        message = f"Invalid seasons '{seasons}'. It must be 1 to {MOST_SEASONS}."
        raise ValueError(message)
    if rates is None:
        rates = lake_rates(inputs, coverage)
    n_lakes = len(inputs.initial)
    first = np.full((len(futures), n_lakes), NEVER, np.uint8)
    size = max(1, CELLS // max(n_lakes, 1))
    lakes = at_risk(inputs, _place(rates, n_lakes))
    always = inputs.initial == 1  # by what is known, not by these futures: sums must not depend
    first[:, always] = 0  # on the pieces
    spread = _way(inputs, rates, lakes)
    for start in range(0, len(futures), size):
        some = futures[start : start + size]
        infested = _start(inputs, seed, species, some) & ~always
        first[start : start + size][infested] = 0
        spread(
            first[start : start + size],
            infested=infested,
            limits=_limits(seed, species, some, n_lakes=n_lakes, lakes=lakes),
            seasons=seasons,
        )
    return Futures(first, seasons)


def _uniform(seed: int, purpose: str, futures: range, n_lakes: int) -> NDArray[np.float64]:
    """Uniform numbers of each future and lake, (D, L)."""
    rows = np.empty((len(futures), n_lakes))
    for row, future in zip(rows, futures, strict=True):
        stream(seed, purpose, future).random(out=row)
    return rows


def _limits(
    seed: int, species: str, futures: range, *, n_lakes: int, lakes: NDArray[np.integer]
) -> NDArray[np.float64]:
    """Thresholds of the lakes that something can reach; endless for the others."""
    uniform = _uniform(seed, f"thresholds {species}", futures, n_lakes)
    limits = np.full_like(uniform, np.inf)
    limits[:, lakes] = -np.log1p(-uniform[:, lakes])
    return limits


def _start(inputs: SpreadInputs, seed: int, species: str, futures: range) -> NDArray[np.bool_]:
    """Lakes infested at the start in each future, (D, L)."""
    sure = (inputs.initial == 0) | (inputs.initial == 1)
    if sure.all():
        return np.broadcast_to(inputs.initial == 1, (len(futures), len(sure))).copy()
    drawn = _uniform(seed, f"infested at the start {species}", futures, len(sure))
    return drawn < inputs.initial


def _place(rates: Rates, n_lakes: int) -> NDArray[np.int64]:
    """Place of each lake among those with a landing, -1 without one."""
    place = np.full(n_lakes, -1, np.int64)
    place[rates.lakes] = np.arange(len(rates.lakes))
    return place


def at_risk(inputs: SpreadInputs, place: NDArray[np.integer]) -> NDArray[np.int64]:
    """
    Lakes that a boat or a stream can bring something to, and where it can live.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    place : array of int, shape (L,)
        Place among the lakes with a landing, -1 without one.

    Returns
    -------
    lakes : array of int
        Positions in ascending order, without those that are infested for sure.
    """
    reached = place >= 0
    if inputs.streams.nnz:
        reached = reached | (np.bincount(inputs.streams.tocoo().col, minlength=len(place)) > 0)
    return np.flatnonzero(reached & (inputs.initial < 1) & (inputs.habitat > 0)).astype(np.int64)


def _way(inputs: SpreadInputs, rates: Rates, lakes: NDArray[np.int64]) -> Callable[..., None]:
    """Compiled loops where they serve, else NumPy: both take sums in the same order."""
    always = inputs.initial == 1
    between = rates.between if isinstance(rates, LakeRates) else None
    if between is None:
        sent = rates.sent(always[rates.lakes].astype(float))
    else:
        sent = between[always[rates.lakes]].sum(axis=0, dtype=float)
    downstream = np.asarray(always @ inputs.streams, float) if inputs.streams.nnz else np.zeros(0)
    common = Seasons(
        between=between,
        place=_place(rates, len(always)),
        at_risk=lakes,
        introductions=rates.outside + sent,
        downstream=downstream,
        habitat=inputs.habitat,
        allee_exponent=inputs.allee_exponent,
        streams=inputs.streams,
    )
    if between is not None and between.dtype == np.float32 and fast_available():
        return partial(spread_futures, common)
    return partial(_spread_all, _work(common, rates))


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    """What single futures need without compiled loops: the C lakes at risk, B with boats first."""

    lakes: NDArray[np.integer]  # (C,)
    place: NDArray[np.integer]  # (L,) row among the lakes with a landing, -1 without one
    send: Callable[[NDArray[np.integer], NDArray[np.integer], int], Array]
    streams: sp.csr_array | None  # (L, C)
    habitat: Array  # (C,)
    introductions: Array  # (B,) of lakes infested in every future, and from outside
    downstream: Array  # (C,) of lakes infested in every future
    exponent: float


def _work(common: Seasons, rates: Rates) -> _Work:
    """Only the lakes that anything can reach."""
    lakes, place = common.at_risk, common.place
    with_landing = place[lakes] >= 0
    lakes = np.concatenate([lakes[with_landing], lakes[~with_landing]])
    boats = place[lakes[: with_landing.sum()]]
    any_stream = common.streams.nnz > 0
    return _Work(
        lakes=lakes,
        place=place,
        send=_sender(rates, boats),
        streams=common.streams.tocsr()[:, lakes] if any_stream else None,
        habitat=np.asarray(common.habitat[lakes], float),
        introductions=common.introductions[boats],
        downstream=common.downstream[lakes] if any_stream else np.zeros(0),
        exponent=common.allee_exponent,
    )


def _sender(
    rates: Rates, boats: NDArray[np.integer]
) -> Callable[[NDArray[np.integer], NDArray[np.integer], int], Array]:
    """
    What newly infested lakes send, by future and lake that boats reach, (D, B).

    Given the future and the place of each new one. Sums are in double, in the order of the new
    ones, so that the order of adding shows in the sixteenth digit at most; where there is no
    matrix each future is summed over all trips by itself.
    """
    if not isinstance(rates, LakeRates):

        def flowing(future: NDArray[np.integer], origin: NDArray[np.integer], n: int) -> Array:
            sent = np.zeros((n, len(boats)))
            for one in np.unique(future):
                new = np.zeros(len(rates.lakes))
                new[origin[future == one]] = 1.0
                sent[one] = rates.sent(new)[boats]
            return sent

        return flowing
    between = np.take(rates.between, boats, axis=1).astype(float)
    if len(between) <= FEW:

        def added(future: NDArray[np.integer], origin: NDArray[np.integer], n: int) -> Array:
            sent = np.zeros((n, len(boats)))  # a season's new ones first, as with a matrix
            np.add.at(sent, future, between[origin])
            return sent

        return added

    def multiplied(future: NDArray[np.integer], origin: NDArray[np.integer], n: int) -> Array:
        starts = np.searchsorted(future, np.arange(n + 1))
        new = sp.csr_array((np.ones(len(origin)), origin, starts), shape=(n, len(between)))
        return new @ between

    return multiplied


def _spread_all(
    work: _Work,
    first: NDArray[np.uint8],
    *,
    infested: NDArray[np.bool_],
    limits: Array,
    seasons: int,
) -> None:
    """
    Fill in the season of each lake's infestation, a few futures at a time.

    What infested lakes send is summed up as they come, so that a season costs as much as it has
    new infestations.
    """
    size = max(1, CACHED // max(len(work.lakes), 1))
    for start in range(0, len(first), size):
        some = slice(start, start + size)
        free = np.where(first[some, work.lakes] == 0, np.inf, limits[some, work.lakes])
        _spread_some(work, first[some], infested[some], free, seasons=seasons)


def _spread_some(
    work: _Work,
    first: NDArray[np.uint8],
    new_at_start: NDArray[np.bool_],
    limits: Array,
    *,
    seasons: int,
) -> None:
    """As many futures as stay in the cache; `limits` (D, C) are endless once a lake is infested."""
    introductions = np.tile(work.introductions, (len(first), 1))
    streams = np.tile(work.downstream, (len(first), 1))
    summed = np.zeros(limits.shape)
    by_boat, habitat = summed[:, : introductions.shape[1]], work.habitat[: introductions.shape[1]]
    future: NDArray[np.integer]
    lake: NDArray[np.integer]
    future, lake = np.nonzero(new_at_start)
    for season in range(1, seasons + 1):
        origin = work.place[lake]
        if (origin >= 0).any():
            introductions += work.send(future[origin >= 0], origin[origin >= 0], len(first))
        brought = introductions if work.exponent == 1 else introductions**work.exponent
        by_boat += habitat * brought
        if work.streams is not None:
            if len(lake):
                new = sp.csr_array((np.ones(len(lake)), (future, lake)), shape=first.shape)
                streams += (new @ work.streams).toarray()
            summed += work.habitat * streams
        future, column = np.nonzero(summed >= limits)
        limits[future, column] = np.inf
        lake = work.lakes[column]
        first[future, lake] = season
