"""Simulated spread: single futures, each lake infested in a season of its own or never."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

from spreadnet.evidence.chance import stream
from spreadnet.model.compiled import fast_available, spread_futures
from spreadnet.model.lake_rates import lake_rates

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.lake_rates import LakeRates
    from spreadnet.model.spread import Coverage, SpreadInputs

    Array = NDArray[np.floating]

NEVER = 255  # not infested within the seasons looked ahead
MOST_SEASONS = 254  # seasons are kept in one byte
CELLS = 2_000_000  # futures times lakes worked on together


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
        return came @ np.asarray(worth, float)

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
    rates: LakeRates | None = None,
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
    the same law, and futures under two policies differ only where the policies matter.
    """
    if not 1 <= seasons <= MOST_SEASONS:
        message = f"Invalid seasons '{seasons}'. It must be 1 to {MOST_SEASONS}."
        raise ValueError(message)
    rates = lake_rates(inputs, coverage) if rates is None else rates
    n_lakes = len(inputs.initial)
    first = np.full((len(futures), n_lakes), NEVER, np.uint8)
    size = max(1, CELLS // max(n_lakes, 1))
    large = rates.between.dtype == np.float32  # loading compiled code takes a second
    fill = spread_futures if large and fast_available() else _spread
    for start in range(0, len(futures), size):
        some = futures[start : start + size]
        fill(
            inputs,
            rates,
            first[start : start + size],
            limits=thresholds(seed, species, some, n_lakes=n_lakes),
            infested=_start(inputs, seed, species, some),
            seasons=seasons,
        )
    return Futures(first, seasons)


def _uniform(seed: int, purpose: str, futures: range, n_lakes: int) -> NDArray[np.float64]:
    """Uniform numbers of each future and lake, (D, L)."""
    rows = [stream(seed, purpose, future).random(n_lakes) for future in futures]
    return np.array(rows).reshape(len(futures), n_lakes)


def _start(inputs: SpreadInputs, seed: int, species: str, futures: range) -> NDArray[np.bool_]:
    """Lakes infested at the start in each future, (D, L)."""
    sure = (inputs.initial == 0) | (inputs.initial == 1)
    if sure.all():
        return np.broadcast_to(inputs.initial == 1, (len(futures), len(sure))).copy()
    drawn = _uniform(seed, f"infested at the start {species}", futures, len(sure))
    return drawn < inputs.initial


def _spread(
    inputs: SpreadInputs,
    rates: LakeRates,
    first: NDArray[np.uint8],
    *,
    limits: Array,
    infested: NDArray[np.bool_],
    seasons: int,
) -> None:
    """
    Fill in the season of each lake's infestation for some futures.

    What infested lakes send is summed up as they come, so that a season costs as much as it has
    new infestations.
    """
    first[infested] = 0
    always: NDArray[np.bool_] = np.logical_and.reduce(infested, axis=0)
    new = infested & ~always
    introductions = np.tile(
        rates.outside + _sum_of(rates.between, always[rates.lakes]), (len(first), 1)
    )
    streams = np.tile(always @ inputs.streams, (len(first), 1))
    any_stream = inputs.streams.nnz > 0
    summed = np.zeros(limits.shape)
    habitat = inputs.habitat[rates.lakes]
    for season in range(1, seasons + 1):
        introductions += _sent(new[:, rates.lakes], rates.between)
        summed[:, rates.lakes] += habitat * (
            introductions if inputs.allee_exponent == 1 else introductions**inputs.allee_exponent
        )
        if any_stream:
            streams += (sp.csr_array(new, dtype=float) @ inputs.streams).toarray()
            summed += inputs.habitat * streams
        new = (summed >= limits) & ~infested
        infested |= new
        first[new] = season


def _sum_of(between: Array, infested: NDArray[np.bool_]) -> NDArray[np.float64]:
    """What the lakes infested in every future send."""
    return between[infested].sum(axis=0, dtype=float)


def _sent(new: NDArray[np.bool_], between: Array) -> Array:
    """What newly infested lakes send, by future and lake."""
    return sp.csr_array(new, dtype=between.dtype) @ between
