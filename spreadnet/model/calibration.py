"""How readily introductions found populations here, learned from dated finds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize_scalar

from spreadnet.model.incidence import collapse_matrix
from spreadnet.model.spread import Coverage, expected_spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.spread import SpreadInputs

    Array = NDArray[np.floating]

FEWEST_FINDS = 3  # below this the finds say too little: the stated range is used as it is


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """
    What is known of the past of one species, for L lakes.

    Attributes
    ----------
    infested_from : array, shape (L,)
        Year of the first find; -inf where it is present without a date, inf where not known to be.
    watched : array, shape (L,)
        Chance that an infestation of the lake would be known by now, 0 to 1.
    first_year, last_year : int
        First and last year in which finds count; earlier ones are where it started from.
    """

    infested_from: Array
    watched: Array
    first_year: int
    last_year: int

    @property
    def years(self) -> NDArray[np.int64]:
        """Years in which finds count, in order."""
        return np.arange(self.first_year, self.last_year + 1)

    @property
    def finds(self) -> int:
        """Number of dated finds that count."""
        dated = (self.infested_from >= self.first_year) & (self.infested_from <= self.last_year)
        return int(dated.sum())


@dataclass(frozen=True, slots=True)
class Calibration:
    """
    Establishment chance, its spread on the log scale, and what it rests on.

    `basis` is `finds` (learned from dated finds), `range` (too few finds: the stated range) or
    `given` (a number given without a range, kept as it is).
    """

    establish: float
    log_sd: float
    finds: int
    first_year: int | None
    last_year: int | None
    basis: str

    def at(self, z: float) -> float:
        """Value at a standard normal score, on the log scale."""
        return self.establish * float(np.exp(self.log_sd * z))


def history(
    first_found: Array, present: NDArray[np.bool_], *, watched: Array, through: int
) -> History | None:
    """
    Past of a species from its dated finds.

    The lakes of the earliest year, and those present without a date, are taken as where the
    spread started; finds of later years are what it did since.

    Parameters
    ----------
    first_found : array, shape (L,)
        Year of the first find, NaN where there is none or no date.
    present : array of bool, shape (L,)
        Whether the species is known to be there.
    watched : array, shape (L,)
        Chance that an infestation of the lake would be known, 0 to 1.
    through : int
        Last year of which it is known what was found; later finds push it on. Ending at the last
        find instead would make spread look faster than it is.

    Returns
    -------
    history : History or None
        None when no find has a date, or no year has passed since the first.
    """
    dated = present & np.isfinite(first_found)
    if not dated.any():
        return None
    infested_from = np.where(dated, first_found, np.where(present, -np.inf, np.inf))
    years = first_found[dated]
    first_year = int(years.min()) + (0 if np.isneginf(infested_from).any() else 1)
    last_year = max(through, int(years.max()))
    if first_year > last_year:  # all came in the last year: nothing has followed yet
        return None
    return History(infested_from, np.asarray(watched, float), first_year, last_year)


def introductions_by_year(inputs: SpreadInputs, past: History) -> tuple[Array, Array]:
    """
    Introductions and stream hazard that each lake met in each year of the past.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region; trips, rates and weights are taken as they are now. Lakes that may
        be infested unseen (`initial`) sent boats too: they are taken to have come up as the known
        ones did, since leaving them out would make each introduction look more fruitful.
    past : History
        Which lakes were infested when.

    Returns
    -------
    introductions, streams : arrays, shape (Y, L)
        Living introductions (not yet multiplied by `establish`) and stream hazard by year.
    """
    infested = (past.infested_from[None, :] < past.years[:, None]).astype(float)
    known = np.isfinite(past.infested_from) | np.isneginf(past.infested_from)
    so_far = infested[:, known].mean(axis=1)
    infested[:, ~known] = so_far[:, None] * inputs.initial[~known]
    at_origin = infested[:, inputs.landing_lake]
    n_years, n_routes = len(past.years), len(inputs.weights)
    columns = (at_origin[:, None, :] * inputs.leaving).reshape(n_years * n_routes, -1).T
    carried = inputs.trips.into(columns).reshape(-1, n_years, n_routes)
    carried = carried + (inputs.outside_boats[:, None] * inputs.outside_leaving)[:, None, :]
    by_landing = np.einsum("kyr,rk,r->ky", carried, inputs.arriving, inputs.weights)
    collapse = collapse_matrix(inputs.landing_lake, len(inputs.initial))
    return (collapse @ by_landing).T, infested @ inputs.streams


def past_exposure(inputs: SpreadInputs, past: History | None) -> Array:
    """
    Hazard that each lake met in the years of the past.

    Parameters
    ----------
    inputs : SpreadInputs
        With its establishment chance.
    past : History or None
        Dated finds; None takes one season with the lakes as they are now.

    Returns
    -------
    exposure : array, shape (L,)
        Sum of hazards, whether or not the lake was found infested.
    """
    if past is None:
        now = expected_spread(inputs, Coverage.none(len(inputs.landing_lake)), seasons=1)
        return now.cumulative_hazard[-1]
    introductions, streams = introductions_by_year(inputs, past)
    by_boat = (inputs.establish * introductions) ** inputs.allee_exponent
    return (inputs.habitat * (by_boat + streams)).sum(axis=0)


def calibrate(
    inputs: SpreadInputs, past: History | None, *, prior: float, prior_log_sd: float
) -> Calibration:
    """
    Chance that one living introduction founds a population, from the dated finds.

    Maximum of the likelihood of when each lake was found, times the stated range as a prior. A
    lake without a find counts only as far as an infestation of it would be known, so that lakes
    nobody looked at are not taken for free.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region; its own `establish` is not used.
    past : History or None
        Dated finds, None when there are none.
    prior : float
        Middle of the stated range, above 0.
    prior_log_sd : float
        Spread of the stated range on the log scale, 0 or more. 0 keeps the stated value.

    Returns
    -------
    calibration : Calibration
        Value and its standard deviation on the log scale.

    Notes
    -----
    A find in year t has probability 1 - exp(-hazard_t) times surviving the years before; a lake
    without a find has 1 - watched (1 - exp(-sum of hazards)). The spread comes from the curvature
    at the maximum. The year of the find is taken as the year of the infestation: finds that lag
    behind make the value somewhat low.
    """
    finds = 0 if past is None else past.finds
    if past is None or finds < FEWEST_FINDS or prior_log_sd == 0:
        basis = "given" if prior_log_sd == 0 else "range"
        return Calibration(prior, prior_log_sd, finds, None, None, basis)
    introductions, streams = introductions_by_year(inputs, past)
    exponent = inputs.allee_exponent
    by_boat = inputs.habitat * introductions**exponent
    by_stream = inputs.habitat * streams
    found_now = past.infested_from[None, :] == past.years[:, None]
    before = past.years[:, None] < past.infested_from[None, :]
    never = np.isposinf(past.infested_from)
    with np.errstate(divide="ignore"):  # a chance of 0 or 1 has a log of -inf, as it should
        log_watched = np.log(past.watched[never])
        log_unwatched = np.log1p(-past.watched[never])

    def loss(log_establish: float) -> float:
        hazard = np.exp(exponent * log_establish) * by_boat + by_stream
        at_find = np.log(np.maximum(-np.expm1(-hazard[found_now]), 1e-300)).sum()
        free = (hazard * (before & ~never)).sum()
        unseen = np.logaddexp(log_unwatched, log_watched - hazard[:, never].sum(axis=0)).sum()
        score = (log_establish - np.log(prior)) / prior_log_sd
        return -(at_find - free + unseen - 0.5 * score**2)

    middle, reach = np.log(prior), 6 * prior_log_sd
    best = minimize_scalar(
        loss, bounds=(middle - reach, middle + reach), method="bounded", options={"xatol": 1e-8}
    ).x
    step = 1e-3
    curvature = (loss(best + step) - 2 * loss(best) + loss(best - step)) / step**2
    log_sd = 1 / np.sqrt(curvature) if curvature > 0 else prior_log_sd
    return Calibration(
        float(np.exp(best)),
        float(min(log_sd, prior_log_sd)),
        finds,
        past.first_year,
        past.last_year,
        basis="finds",
    )
