"""Simulated spread: single futures, each lake infested in a season of its own or never."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

from spreadnet.chance import stream
from spreadnet.model.fast.bridge import at_risk, fast_available, spread_futures
from spreadnet.model.spread.between_lakes import FlowRates, lake_rates

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from spreadnet.model.spread.between_lakes import LakeRates
    from spreadnet.model.spread.expected import Coverage, SpreadInputs

    Array = NDArray[np.floating]

NEVER = 255  # not infested within the seasons looked ahead
MOST_SEASONS = 254  # seasons are kept in one byte
CELLS = 2_000_000  # futures times lakes worked on together
FEW = 200  # lakes with a landing up to which building a sparse matrix takes longer than adding
CACHED = 60_000  # of these, as many as a processor keeps at hand


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
    rates: LakeRates | FlowRates | None = None,
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
    fill: Callable[..., None]
    if isinstance(rates, FlowRates):
        fill = partial(_spread_flowing, inputs, rates)
    elif rates.between.dtype == np.float32 and fast_available():  # loading it takes a second
        fill = partial(spread_futures, inputs, rates)
    else:
        fill = partial(_spread_all, _work(inputs, rates))
    lakes = at_risk(inputs, _place(rates, n_lakes), inputs.initial < 1)
    for start in range(0, len(futures), size):
        some = futures[start : start + size]
        fill(
            first[start : start + size],
            limits=_limits(seed, species, some, n_lakes=n_lakes, lakes=lakes),
            infested=_start(inputs, seed, species, some),
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


def _place(rates: LakeRates | FlowRates, n_lakes: int) -> NDArray[np.int64]:
    """Place of each lake among those with a landing, -1 without one."""
    place = np.full(n_lakes, -1, np.int64)
    place[rates.lakes] = np.arange(len(rates.lakes))
    return place


def _spread(
    inputs: SpreadInputs,
    rates: LakeRates,
    first: NDArray[np.uint8],
    *,
    limits: Array,
    infested: NDArray[np.bool_],
    seasons: int,
) -> None:
    """Fill in the season of each lake's infestation for some futures."""
    work = _work(inputs, rates)
    _spread_all(work, first, limits=limits, infested=infested, seasons=seasons)


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    """What single futures need: the C lakes at risk, the B with a landing first."""

    always: NDArray[np.bool_]  # (L,) infested in every future
    lakes: NDArray[np.integer]  # (C,)
    place: NDArray[np.integer]  # (L,) row in `between`, -1 without a landing
    between: NDArray[np.float64]  # (A, B)
    streams: sp.csr_array | None  # (L, C)
    habitat: Array  # (C,)
    introductions: Array  # (B,) of lakes infested in every future, and from outside
    downstream: Array  # (C,) of lakes infested in every future
    exponent: float


def _work(inputs: SpreadInputs, rates: LakeRates) -> _Work:
    """Only the lakes that anything can reach."""
    # By what is known of the lake, not by the futures at hand: sums must not depend on the pieces.
    always = inputs.initial == 1
    introductions = rates.outside + rates.between[always[rates.lakes]].sum(axis=0, dtype=float)
    place = _place(rates, len(always))
    lakes = at_risk(inputs, place, ~always)
    with_landing = place[lakes] >= 0
    lakes = np.concatenate([lakes[with_landing], lakes[~with_landing]])
    boats = place[lakes[: with_landing.sum()]]
    any_stream = inputs.streams.nnz > 0
    return _Work(
        always=always,
        lakes=lakes,
        place=place,
        # Summed in double, so that the order of adding shows in the sixteenth digit at most.
        between=np.take(rates.between, boats, axis=1).astype(float),
        streams=inputs.streams.tocsr()[:, lakes] if any_stream else None,
        habitat=np.asarray(inputs.habitat[lakes], float),
        introductions=introductions[boats],
        downstream=(always @ inputs.streams)[lakes] if any_stream else np.zeros(0),
        exponent=inputs.allee_exponent,
    )


def _spread_all(
    work: _Work,
    first: NDArray[np.uint8],
    *,
    limits: Array,
    infested: NDArray[np.bool_],
    seasons: int,
) -> None:
    """
    Fill in the season of each lake's infestation, a few futures at a time.

    What infested lakes send is summed up as they come, so that a season costs as much as it has
    new infestations.
    """
    first[infested] = 0
    size = max(1, CACHED // max(len(work.lakes), 1))
    for start in range(0, len(first), size):
        some = slice(start, start + size)
        free = np.where(first[some, work.lakes] == 0, np.inf, limits[some, work.lakes])
        _spread_some(work, first[some], infested[some] & ~work.always, free, seasons=seasons)


def _spread_flowing(
    inputs: SpreadInputs,
    rates: FlowRates,
    first: NDArray[np.uint8],
    *,
    limits: Array,
    infested: NDArray[np.bool_],
    seasons: int,
) -> None:
    """
    The same without a matrix of rates: what new ones send is summed over all trips each season.

    Each future by itself, so that its sums do not depend on the others worked on with it.
    """
    at = rates.lakes
    for row, limit, held in zip(first, limits, infested, strict=True):
        row[held] = 0
        introductions = np.zeros(len(held))
        introductions[at] = rates.outside
        downstream, hazard, new = np.zeros(len(held)), np.zeros(len(held)), held
        for season in range(1, seasons + 1):
            introductions[at] += rates.sent(new[None, at].astype(float))[0]
            downstream += new @ inputs.streams
            hazard += inputs.habitat * (introductions**inputs.allee_exponent + downstream)
            new = (hazard >= limit) & (row == NEVER)
            row[new] = season


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
        if len(future) and len(work.between) <= FEW:
            place = work.place[lake]
            here = place >= 0
            added = np.zeros_like(introductions)  # a season's new ones first, as with a matrix
            np.add.at(added, future[here], work.between[place[here]])
            introductions += added
        elif len(future):
            introductions += _sent(work, future, lake, n_futures=len(first))
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


def _sent(
    work: _Work, future: NDArray[np.integer], lake: NDArray[np.integer], *, n_futures: int
) -> Array:
    """What newly infested lakes send, by future and lake at risk."""
    with_landing = work.place[lake] >= 0
    origin = work.place[lake[with_landing]]
    starts = np.searchsorted(future[with_landing], np.arange(n_futures + 1))
    shape = (n_futures, len(work.between))
    return sp.csr_array((np.ones(len(origin)), origin, starts), shape=shape) @ work.between
