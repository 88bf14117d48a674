"""Boats an hour as a product of landing, time and chance: the gamma-Poisson model."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import brentq
from scipy.special import digamma, gammainc, gammaincinv, gammaln, ndtri

from spreadnet.evidence.statistics import Mode, find_mode, without_bias
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]
    Positions = NDArray[np.integer]

STEPS, HOP = 30, 10  # most steps to a quantile; the first guess looks at every tenth distribution
ROUNDS = 4  # of fit and visit spread in turn; the spread is steady to 1% after three


AREA_PLACE = 3  # of log lake area among the covariates: ones, lanes, stalls, area


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Counts:
    """Boats counted in V visits: `boats` and `landing` (V,), `stratum` and `hours` (V, B)."""

    boats: Array
    landing: Positions
    stratum: Positions
    hours: Array


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Rates:
    """
    Fitted rates of K landings in C strata.

    A landing's rate is exp(covariates @ b + strata @ c) times its own factor, gamma distributed
    with mean 1 and shape kappa. `mode` holds b, c and log kappa. `boats` (K,) and `hours` (K, C)
    are what was counted, each visit weighted by 1 / (its variance over Poisson's).
    """

    covariates: Array
    strata: Array
    mode: Mode
    boats: Array
    hours: Array
    visit_spread: float
    phi: float

    @property
    def kappa(self) -> float:
        """Shape of the landings' own factors: 1 over their squared spread."""
        return float(np.exp(self.mode.best[-1]))

    def landing_level(self, values: Array) -> Array:
        """Rate by covariates alone: values (P, ...) to (K, ...)."""
        return np.exp(self.covariates @ values[: self.covariates.shape[1]])

    def stratum_ratio(self, values: Array) -> Array:
        """Rate in each stratum over the level: values (P, ...) to (C, ...)."""
        return np.exp(self.strata @ values[self.covariates.shape[1] : -1])

    def own_factor(self, values: Array) -> tuple[Array, Array]:
        """Shape and rate of the gamma posterior of each landing's own factor."""
        kappa = np.exp(values[-1])
        seen = self.hours @ self.stratum_ratio(values) * self.landing_level(values)
        boats = self.boats.reshape((-1,) + (1,) * (values.ndim - 1))
        return kappa + boats, kappa + seen

    def expected(self, hours: Array) -> Array:
        """Boats in `hours` (C,) by covariates alone: what a landing never visited gets."""
        at = self.mode.best
        return self.landing_level(at) * (hours @ self.stratum_ratio(at))

    def mean(self, hours: Array) -> Array:
        """Expected boats in `hours` (C,) at each landing, shape (K,)."""
        shape, rate = self.own_factor(self.mode.best)
        return self.expected(hours) * shape / rate

    def draw(
        self, rng: np.random.Generator, *, scale: Array | float = 1.0
    ) -> tuple[Array, Array, float]:
        """
        One set of levels (K,), own factors counted in, ratios of the strata (C,), and area slope.

        `scale` is the level of each landing over that of those counted at, 1 where it was counted
        at. Landings chosen in proportion to a power of their gamma factor have gamma factors
        again, of a shape that is greater as their mean is; the others are that much less alike.
        """
        values = self.mode.draw(rng)
        shape, rate, level = self._scaled(values, scale)
        drawn = level * rng.standard_gamma(shape) / rate
        return drawn, self.stratum_ratio(values), float(values[AREA_PLACE])

    def interval(self, hours: Array, *, scale: Array | float = 1.0) -> tuple[Array, Array]:
        """
        90% intervals of the boats in `hours` (C,), from the same sets of shared numbers each time.

        `scale` is that of `draw`, with a last axis of length `FEW`.
        """
        values = self.mode.spread().T
        shape, rate, level = self._scaled(values, scale)
        unit = rate / (level * (hours @ self.stratum_ratio(values)))
        low, high = (mixed_gamma_quantile(shape, unit, share) for share in (0.05, 0.95))
        return low, high

    def _scaled(self, values: Array, scale: Array | float) -> tuple[Array, Array, Array]:
        """Shape and rate of own factors, and levels, with `scale` as for `draw`."""
        shape, rate = self.own_factor(values)
        alike = np.minimum(scale, 1.0)
        return shape * alike, rate * alike, self.landing_level(values) * scale

    def own_weight(self) -> Array:
        """Share of each landing's answer that comes from its own counts, shape (K,)."""
        _, rate = self.own_factor(self.mode.best)
        return 1 - self.kappa / rate


def fit_rates(
    counts: Counts,
    covariates: Array,
    strata: Array,
    *,
    centre: Array,
    width: Array,
    visit_spread: float,
    spread_weight: float,
) -> Rates:
    """
    Rates by most likely shared numbers, each landing's own factor integrated out.

    Parameters
    ----------
    counts : Counts
        Visits with a count; may be none.
    covariates : array, shape (K, Px)
        A column of ones, then what landings differ in.
    strata : array, shape (C, Pz)
        What kinds of time differ in.
    centre, width : array, shape (Px + Pz + 1,)
        Normal priors of the coefficients and of log kappa (the last).
    visit_spread : float
        Coefficient of variation between like visits beyond chance, before any are seen.
    spread_weight : float
        Visits that it counts for.

    Returns
    -------
    rates : Rates
        With means, intervals and draws.

    Notes
    -----
    Gamma-Poisson in closed form (Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6).
    A visit's variance is taken as m + (spread m)^2 with mean m. The spread comes from Pearson's
    statistic of visits within landings; each visit's likelihood is then raised to the power
    m / variance, which keeps the closed form and makes the intervals as wide as the visits
    scatter. With one visit a landing, spread between visits and between landings can't be told
    apart, and the prior of the spread decides.
    """
    landings = len(covariates)
    spread, mode = visit_spread, Mode(centre, np.diag(width**2))
    if not len(counts.boats):
        none = np.zeros(landings), np.zeros((landings, len(strata)))
        return Rates(covariates, strata, mode, *none, spread, 1.0)
    length = counts.hours.sum(axis=1)
    means = length * (counts.boats.sum() + 0.5) / length.sum()
    for _ in range(ROUNDS):
        weights = 1 / (1 + spread**2 * means)
        objective = minus_log_posterior(
            counts, covariates, strata, weights=weights, centre=centre, width=width
        )
        mode = without_bias(objective, find_mode(objective, mode.best))
        rates = _collect(counts, weights, covariates, strata, mode, spread)
        level, shape_rate = rates.landing_level(mode.best), rates.own_factor(mode.best)
        base = level[counts.landing] * _by_time(counts, rates.stratum_ratio(mode.best))[0]
        means = base * (shape_rate[0] / shape_rate[1])[counts.landing]
        prior = visit_spread, spread_weight
        spread = _visit_spread(counts, base, prior=prior, used=strata.shape[1])
    return rates


def mixed_gamma_quantile(shape: Array, rate: Array, share: float) -> Array:
    """
    Quantile of equal mixtures of gamma distributions.

    Parameters
    ----------
    shape, rate : array, shape (K, N)
        Of N distributions a row.
    share : float
        Chance of lying below, 0 to 1.

    Returns
    -------
    quantile : array, shape (K,)
        By Newton's method on the log scale.

    Examples
    --------
    >>> mixed_gamma_quantile(np.ones((1, 2)), np.array([[1.0, 1.0]]), 0.5).round(6)
    array([0.693147])
    """
    constant = gammaln(shape)
    middle = np.log(gammaincinv(shape[:, ::HOP], 0.5) / rate[:, ::HOP])
    spread = np.sqrt(1 / shape + 0.5 / shape**2).mean(axis=1)
    at = middle.mean(axis=1) + ndtri(share) * np.hypot(spread, middle.std(axis=1))
    for _ in range(STEPS):
        point = np.exp(at)[:, None] * rate
        below = gammainc(shape, point).mean(axis=1)
        slope = np.exp(shape * np.log(point) - point - constant).mean(axis=1)
        step = (below - share) / np.maximum(slope, 1e-12)
        at = at - np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-4:
            break
    return np.exp(at)


def minus_log_posterior(
    counts: Counts,
    covariates: Array,
    strata: Array,
    *,
    weights: Array,
    centre: Array,
    width: Array,
) -> Callable[[Array], tuple[float, Array]]:
    """
    What the fit makes as small as it can, as a function of the shared numbers.

    Parameters
    ----------
    counts, covariates, strata, centre, width
        As for `fit_rates`.
    weights : array, shape (V,)
        Power to which each visit's likelihood is raised; ones for counts that vary by chance.

    Returns
    -------
    objective : callable
        Takes the coefficients and log kappa and returns the value and its gradient. The value
        leaves out what does not depend on them: the logs of the counts' factorials.
    """
    landings, split = len(covariates), covariates.shape[1]
    boats = _per_landing(counts, weights * counts.boats, landings)
    seen = _per_landing(counts, np.ones(len(weights)), landings) > 0

    def objective(values: Array) -> tuple[float, Array]:
        time, share = _by_time(counts, np.exp(strata @ values[split:-1]))
        log_level = covariates @ values[:split]
        means = time * np.exp(log_level)[counts.landing]
        total = _per_landing(counts, weights * means, landings)[seen]
        between, by_kappa, factor = _own_factors(np.exp(values[-1]), boats[seen], total)
        within = weights * counts.boats @ (np.log(time) + log_level[counts.landing])
        factors = np.ones(landings)
        factors[seen] = factor
        left = weights * (counts.boats - factors[counts.landing] * means)
        by_stratum = np.bincount(
            counts.stratum.ravel(), (left[:, None] * share).ravel(), minlength=len(strata)
        )
        gradient = np.concatenate(
            [
                covariates.T @ _per_landing(counts, left, landings),
                strata.T @ by_stratum,
                [by_kappa],
            ]
        )
        score = (values - centre) / width
        return 0.5 * float(score @ score) - float(within + between), score / width - gradient

    return objective


def _own_factors(kappa: float, boats: Array, total: Array) -> tuple[float, float, Array]:
    """Log density of the landings' totals, its slope by log kappa, and the mean own factors."""
    factor = (kappa + boats) / (kappa + total)
    value = kappa * np.log(kappa) - gammaln(kappa) + gammaln(kappa + boats)
    value = value - (kappa + boats) * np.log(kappa + total)
    slope = np.log(kappa) - digamma(kappa) + digamma(kappa + boats)
    slope = slope - np.log(kappa + total) + 1 - factor
    return float(value.sum()), float(kappa * slope.sum()), factor


def _per_landing(counts: Counts, values: Array, landings: int) -> Array:
    """Sums of a number of each visit by landing, (V,) to (K,)."""
    return np.bincount(counts.landing, values, minlength=landings).astype(float)


def _by_time(counts: Counts, ratio: Array) -> tuple[Array, Array]:
    """Hours of each visit weighted by the stratum's rate, (V,), and shares of each block."""
    parts = counts.hours * ratio[counts.stratum]
    time = parts.sum(axis=1)
    return time, parts / time[:, None]


def _collect(
    counts: Counts, weights: Array, covariates: Array, strata: Array, mode: Mode, spread: float
) -> Rates:
    """The fitted rates, with counts and hours summed by landing."""
    landings, kinds = len(covariates), len(strata)
    cell = counts.landing[:, None] * kinds + counts.stratum
    hours = np.bincount(
        cell.ravel(), (weights[:, None] * counts.hours).ravel(), minlength=landings * kinds
    ).astype(float)
    boats = _per_landing(counts, weights * counts.boats, landings)
    hours = hours.reshape(landings, kinds)
    phi = float((1 / weights).mean())
    return Rates(covariates, strata, mode, boats, hours, spread, phi)


def _visit_spread(counts: Counts, base: Array, *, prior: tuple[float, float], used: int) -> float:
    """
    Coefficient of variation between visits to the same landing, beyond chance.

    Each landing's own total sets its level, so the differences between landings do not count.
    `prior` is the value before any are seen, and the visits that it counts for.
    """
    assumed, weight = prior
    n = len(np.bincount(counts.landing))
    total = np.bincount(counts.landing, counts.boats, minlength=n)
    expected = np.bincount(counts.landing, base, minlength=n)
    visits = np.bincount(counts.landing, minlength=n)
    means = base * (total / np.where(expected > 0, expected, 1.0))[counts.landing]
    seen = means > 0
    squares, means = (counts.boats - means)[seen] ** 2, means[seen]
    freedom = float((visits - 1)[total > 0].sum())
    freedom = freedom**2 / (freedom + used) if freedom else 0.0  # the strata's numbers use some
    middle = float(np.median(means)) if means.size else 1.0
    pull = weight * (middle + (assumed * middle) ** 2)

    def excess(square: float) -> float:
        pearson = float((squares / (means + square * means**2)).sum())
        return pearson + pull / (middle + square * middle**2) - freedom - weight

    if excess(0.0) <= 0:
        return 0.0
    top = 1.0
    while excess(top) > 0:
        top *= 4
    return float(np.sqrt(brentq(excess, 0.0, top)))
