"""How readily introductions found populations here, learned from dated finds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize_scalar

from spreadnet.model.spread import LakeRates, expected_spread
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from spreadnet.model.spread import Rates, SpreadInputs

    Array = NDArray[np.floating]

NEAR = 0.01  # on the log scale, to which the maximum is searched before the last step
FEWEST_FINDS = 3  # below this the finds say too little: the stated range is used as it is


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class History:
    """
    What is known of the past of one species, for L lakes.

    Attributes
    ----------
    found_in : array, shape (L,)
        Year of the first find; -inf where it is present without a date or was found before
        `first_year`, inf where not known to be.
    watched : array, shape (L,)
        Chance that an infestation of the lake gets known sooner or later, 0 to 1.
    first_year, last_year : int
        First and last year in which finds count; earlier ones are where it started from.
    found_in_year : float
        Chance in a year that an infestation gets known, of those that do; 1 for no delay.
    """

    found_in: Array
    watched: Array
    first_year: int
    last_year: int
    found_in_year: float

    @property
    def years(self) -> NDArray[np.int64]:
        """Years in which finds count, in order."""
        return np.arange(self.first_year, self.last_year + 1)

    @property
    def finds(self) -> int:
        """Number of dated finds that count."""
        return int(self.dated.sum())

    @property
    def dated(self) -> NDArray[np.bool_]:
        """Lakes whose find counts, shape (L,)."""
        return (self.found_in >= self.first_year) & (self.found_in <= self.last_year)

    def infested(self, unseen: Array, *, in_year: Array | None = None) -> Array:
        """
        Chance that each lake held the species before each year, shape (Y, L).

        A find tells that it has been there for some time: how long follows from the chance in a
        year of being found, and from when the lake was at risk.

        Parameters
        ----------
        unseen : array, shape (L,)
            Chance that the lake holds it today, for lakes where nobody found it.
        in_year : array, shape (Y, L), optional
            Chance of being infested in each year and not before. Left out: any year is as likely,
            and lakes not found came up as the found ones did.

        Returns
        -------
        chance : array, shape (Y, L)
            1 for lakes where the spread started from.
        """
        years, missed = self.years[:, None], 1 - self.found_in_year
        dated = np.flatnonzero(self.dated)
        lag = self.found_in[dated] - years
        weight = np.where(lag >= 0, missed ** np.maximum(lag, 0), 0.0)
        if in_year is not None:
            likely = weight * in_year[:, dated]
            weight = np.where(likely.sum(axis=0) > 0, likely, weight)
        chance = np.zeros((len(years), len(unseen)))
        chance[:, np.isneginf(self.found_in)] = 1.0
        chance[:, dated] = _before(weight)
        known = self.found_in < np.inf
        if in_year is None:
            chance[:, ~known] = chance[:, known].mean(axis=1)[:, None] * unseen[~known]
        else:
            never = np.flatnonzero(~known & (in_year[-1] > 0))  # the others met no boat
            by_now = self.watched[never] * (1 - missed ** (self.last_year - years + 1))
            chance[:, never] = _before(in_year[:, never] * (1 - by_now)) * unseen[never]
        return chance


def _before(weight: Array) -> Array:
    """Share of the weights of all years that lies before each year, (Y, L); 0 without any."""
    total = weight.sum(axis=0)
    return (np.cumsum(weight, axis=0) - weight) / np.where(total > 0, total, 1.0)


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
    first_found: Array,
    present: NDArray[np.bool_],
    *,
    watched: Array,
    through: int,
    found_in_year: float = 1.0,
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
    found_in_year : float
        Chance in a year that an infestation gets known, of those that do, above 0 and up to 1.

    Returns
    -------
    history : History or None
        None when no find has a date, or no year has passed since the first.
    """
    dated = present & np.isfinite(first_found)
    if not dated.any():
        return None
    found_in = np.where(dated, first_found, np.where(present, -np.inf, np.inf))
    years = first_found[dated]
    first_year = int(years.min()) + (0 if np.isneginf(found_in).any() else 1)
    last_year = max(through, int(years.max()))
    if first_year > last_year:  # all came in the last year: nothing has followed yet
        return None
    found_in = np.where(found_in < first_year, -np.inf, found_in)
    return History(found_in, np.asarray(watched, float), first_year, last_year, found_in_year)


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Exposure:
    """
    What each lake met in each year of the past, shape (Y, L).

    `introductions` of living organisms (not yet multiplied by `establish`), `streams` the hazard
    from upstream lakes.
    """

    introductions: Array
    streams: Array


def past_introductions(
    inputs: SpreadInputs,
    past: History,
    *,
    rates: Rates,
    earlier: Exposure | None = None,
) -> Exposure:
    """
    Introductions and stream hazard that each lake met in each year of the past.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region; trips, rates and weights are taken as they are now. Lakes that may
        be infested unseen (`initial`) sent boats too, since leaving them out would make each
        introduction look more fruitful.
    past : History
        Which lakes were found infested when.
    rates : LakeRates
        Of `inputs`, with `establish` 1.
    earlier : Exposure, optional
        A first result, from which it follows when each lake was likely infested; the `establish`
        of `inputs` is used with it.

    Returns
    -------
    exposure : Exposure
        By year and lake.
    """
    in_year = None
    if earlier is not None:
        scale = inputs.establish**inputs.allee_exponent
        by_boat, by_stream = _hazards(inputs, earlier)
        met = (by_boat[-1] > 0) | (by_stream[-1] > 0)  # what is infested stays so: the last is most
        in_year = np.zeros_like(by_boat)
        in_year[:, met] = _infested_in(scale, by_boat[:, met], by_stream[:, met])
    infested = past.infested(inputs.initial, in_year=in_year)
    introductions = np.zeros_like(infested)
    at = infested[:, rates.lakes]
    if earlier is None and isinstance(rates, LakeRates):  # the same course in all lakes not found
        known = past.found_in[rates.lakes] < np.inf
        mean = infested[:, past.found_in < np.inf].mean(axis=1)
        unseen = np.where(known, 0.0, inputs.initial[rates.lakes])
        sent = at[:, known].astype(rates.between.dtype) @ rates.between[known]
        sent = sent + np.outer(mean, rates.sent(unseen[None])[0])
    else:
        sent = rates.sent(at)
    introductions[:, rates.lakes] = sent + rates.outside
    return Exposure(introductions, infested @ inputs.streams)


def past_hazard(inputs: SpreadInputs, exposure: Exposure | None, *, rates: Rates) -> Array:
    """
    Hazard that each lake met in the years of the past.

    Parameters
    ----------
    inputs : SpreadInputs
        With its establishment chance.
    exposure : Exposure or None
        Of the past; None takes one season with the lakes as they are now.
    rates : Rates
        Of `inputs`, with `establish` 1.

    Returns
    -------
    hazard : array, shape (L,)
        Sum of hazards, whether or not the lake was found infested.
    """
    if exposure is None:
        now = expected_spread(inputs, seasons=1, rates=rates)
        return now.cumulative_hazard[-1]
    by_boat = (inputs.establish * exposure.introductions) ** inputs.allee_exponent
    return (inputs.habitat * (by_boat + exposure.streams)).sum(axis=0)


def calibrate(
    inputs: SpreadInputs,
    past: History | None,
    exposure: Exposure | None,
    *,
    prior: float,
    prior_log_sd: float,
) -> Calibration:
    """
    Chance that one living introduction founds a population, from the dated finds.

    Maximum of the likelihood of when each lake was found, times the stated range as a prior.
    Finds lag behind infestations, and a lake without a find may hold it unseen: each lake counts
    with all years in which it may have been infested.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region; its own `establish` is not used.
    past : History or None
        Dated finds, None when there are none.
    exposure : Exposure or None
        Result of `past_introductions`, None when there is no history.
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
    With S the chance of surviving the years before, q the chance in a year of being found and w
    that of ever being so: a find in year t has the likelihood sum over years s up to t of
    S_s (1 - exp(-hazard_s)) q (1 - q)^(t - s), a lake without a find 1 - sum over years s of
    S_s (1 - exp(-hazard_s)) w (1 - (1 - q)^(last - s + 1)). The spread comes from the curvature
    at the maximum. The geometric delay is a choice of ours; with q = 1 the year of the find is
    that of the infestation.
    """
    finds = 0 if past is None else past.finds
    if past is None or exposure is None or finds < FEWEST_FINDS or prior_log_sd == 0:
        basis = "given" if prior_log_sd == 0 else "range"
        return Calibration(prior, prior_log_sd, finds, None, None, basis)
    loss = _loss(inputs, past, exposure, prior=prior, prior_log_sd=prior_log_sd)
    middle, reach = np.log(prior), 6 * prior_log_sd
    near = minimize_scalar(
        loss, bounds=(middle - reach, middle + reach), method="bounded", options={"xatol": NEAR}
    )
    # A parabola through three points finds the rest of the way, and the curvature with it.
    above, below = loss(near.x + NEAR), loss(near.x - NEAR)
    curvature = (above - 2 * near.fun + below) / NEAR**2
    best, log_sd = near.x, prior_log_sd
    if curvature > 0:
        best = near.x - np.clip((above - below) / (2 * NEAR * curvature), -NEAR, NEAR)
        log_sd = 1 / np.sqrt(curvature)
    return Calibration(
        float(np.exp(best)),
        float(min(log_sd, prior_log_sd)),
        finds,
        past.first_year,
        past.last_year,
        basis="finds",
    )


def _loss(
    inputs: SpreadInputs,
    past: History,
    exposure: Exposure,
    *,
    prior: float,
    prior_log_sd: float,
) -> Callable[[float], float]:
    """Minus the log of likelihood times prior, as a function of the log of `establish`."""
    exponent = inputs.allee_exponent
    at_risk = (exposure.introductions.max(axis=0) > 0) | (exposure.streams.max(axis=0) > 0)
    found, never = past.dated, np.isposinf(past.found_in) & at_risk
    by_boat, by_stream = _hazards(inputs, exposure)
    missed, years = 1 - past.found_in_year, past.years
    lag = past.found_in[found] - years[:, None]
    delay = np.where(lag >= 0, past.found_in_year * missed ** np.maximum(lag, 0), 0.0)
    of_found = (by_boat[:, found], by_stream[:, found])
    # Of those not found, the chance of still being free is all that is asked: sum over s of
    # (S_s - S_(s+1)) known_s, turned into a sum over S.
    known = np.append(1 - missed ** (past.last_year - years + 1), 0.0)
    fewer, watched = np.diff(known), past.watched[never]
    boats, streams = (np.cumsum(part[:, never], axis=0) for part in (by_boat, by_stream))

    def loss(log_establish: float) -> float:
        scale = np.exp(exponent * log_establish)
        at_find = (_infested_in(scale, *of_found) * delay).sum(axis=0)
        unseen = 1 - watched * (known[0] + fewer @ np.exp(-(scale * boats + streams)))
        likelihood = np.log(np.maximum(at_find, 1e-300)).sum()
        likelihood += np.log(np.maximum(unseen, 1e-300)).sum()
        score = (log_establish - np.log(prior)) / prior_log_sd
        return float(0.5 * score**2 - likelihood)

    return loss


def _hazards(inputs: SpreadInputs, exposure: Exposure) -> tuple[Array, Array]:
    """Hazard by boats for an establishment chance of 1, and by streams, (Y, L) each."""
    return (
        inputs.habitat * exposure.introductions**inputs.allee_exponent,
        inputs.habitat * exposure.streams,
    )


def _infested_in(scale: float, by_boat: Array, by_stream: Array) -> Array:
    """Chance of being infested in each year and not before, (Y, lakes)."""
    hazard = scale * by_boat + by_stream
    before = np.cumsum(hazard, axis=0) - hazard
    return np.exp(-before) * -np.expm1(-hazard)
