"""Shares at many landings, each pulled towards the region's by as much as landings are alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import betaln, digamma, expit, logit

from spreadnet.assumptions import Z90
from spreadnet.evidence.statistics.intervals import beta_from_moments, beta_interval
from spreadnet.evidence.statistics.laplace import Mode, find_mode
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from spreadnet.assumptions import Assumption

    Array = NDArray[np.floating]

LEAST, MOST = 1e-9, 1 - 1e-9  # draws stay off 0 and 1, so that odds and logs stay finite
START_EFFECT, START_WEIGHT = 1.2, 10.0  # design effect before any, worth ten visits: no source


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """
    One share at K landings: what was seen, and the beta distribution that landings share.

    `found` and `checked` are after the design effect. `mode` holds the log odds of the region's
    share and the log precision; `offset` what each landing's kinds of boat add to the log odds.
    """

    found: Array
    checked: Array
    offset: Array
    mode: Mode

    def pooled(self) -> Array:
        """Share to which each landing is pulled, shape (K,)."""
        return expit(self.mode.best[0] + self.offset)

    def mean(self) -> Array:
        """Expected share at each landing, shape (K,)."""
        alpha, beta = self._posterior(self.mode.best)
        return alpha / (alpha + beta)

    def draw(self, rng: np.random.Generator) -> Array:
        """One set of shares, the region's own numbers drawn first, shape (K,)."""
        alpha, beta = self._posterior(self.mode.draw(rng))
        return np.clip(rng.beta(alpha, beta), LEAST, MOST)

    def interval(self) -> tuple[Array, Array]:
        """90% intervals of the shares, that of the region's own numbers counted in."""
        values = self.mode.spread()
        alpha, beta = self._posterior(values.T[:, :, None])
        mean = alpha / (alpha + beta)
        within = mean * (1 - mean) / (alpha + beta + 1)
        matched = beta_from_moments(mean.mean(axis=0), within.mean(axis=0) + mean.var(axis=0))
        return beta_interval(*matched)

    def own_spread(self) -> Array:
        """
        Variance of each landing's own share, and of what one boat says of it, (2, K).

        Means over the region's own numbers, what is unsure in those left out: that moves all
        landings alike, and does not tell one from another.
        """
        alpha, beta = self._posterior(self.mode.spread().T[:, :, None])
        total = alpha + beta
        within = alpha * beta / (total**2 * (total + 1))
        return np.stack([within.mean(axis=0), (total * within).mean(axis=0)])

    def _posterior(self, values: Array) -> tuple[Array, Array]:
        """Alpha and beta at each landing for a log odds and a log precision."""
        share, precision = expit(values[0] + self.offset), np.exp(values[1])
        alpha = np.maximum(share * precision, LEAST) + self.found
        return alpha, np.maximum((1 - share) * precision, LEAST) + self.checked - self.found


def fit_pooled(
    found: ArrayLike,
    checked: ArrayLike,
    *,
    share: Assumption,
    precision: Assumption,
    offset: Array | None = None,
) -> Pooled:
    """
    Shares at K landings by partial pooling.

    A landing with few boats checked takes the region's share, one with many keeps its own; how
    many is "many" is learned from how much landings differ.

    Parameters
    ----------
    found, checked : array_like, shape (K,)
        Boats with it, and boats looked at. Need not be whole numbers (see `design_effect`).
    share, precision : Assumption
        The region's share, and the number of boats it counts for, before any are seen.
    offset : array, shape (K,), optional
        Added to the log odds of the region's share at each landing.

    Returns
    -------
    pooled : Pooled
        With means, intervals and draws.

    Raises
    ------
    ValueError
        If more were found than checked somewhere.

    Notes
    -----
    Beta-binomial, the two shared numbers by marginal likelihood with weak priors that keep the
    precision off 0 and infinity (Gelman et al., Bayesian Data Analysis, 3rd ed., chapter 5).

    Examples
    --------
    >>> from spreadnet.assumptions import DEFAULT
    >>> prior = {"share": DEFAULT.entries["gap_plants"], "precision": DEFAULT.entries["gap_precision"]}
    >>> fit_pooled([0, 20, 0], [20, 200, 0], **prior).mean().round(2)
    array([0.04, 0.1 , 0.12])
    """  # noqa: E501
    x, n = np.asarray(found, dtype=float), np.asarray(checked, dtype=float)
    if np.any(x > n) or np.any(x < 0):
        message = "Invalid found. It must lie between 0 and checked at every landing."
        raise ValueError(message)
    shift = np.zeros(len(n)) if offset is None else offset
    centre = np.array([_log_odds(share.value), np.log(precision.value)])
    width = np.array(
        [
            (_log_odds(share.high) - _log_odds(share.low)) / (2 * Z90),
            np.log(precision.high / precision.low) / (2 * Z90),
        ]
    )
    width = np.maximum(width, 0.01)  # a number given without a range is all but fixed
    seen = n > 0

    def objective(values: Array) -> tuple[float, Array]:
        value, gradient = _log_likelihood(values, x[seen], n[seen], shift[seen])
        score = (values - centre) / width
        return 0.5 * float(score @ score) - value, score / width - gradient

    return Pooled(x, n, shift, find_mode(objective, centre))


def beta_binomial_mle(found: ArrayLike, checked: ArrayLike) -> tuple[float, float, float]:
    """
    Beta distribution that makes counts at many landings most likely, no prior added.

    Parameters
    ----------
    found, checked : array_like, shape (K,)
        Boats with it, and boats looked at.

    Returns
    -------
    alpha, beta, log_likelihood : float
        The log-likelihood leaves out the binomial constants.

    Raises
    ------
    ModelError
        If landings differ by no more than chance: the precision has no most likely value.

    Examples
    --------
    >>> [round(v, 2) for v in beta_binomial_mle([0, 5, 9, 2], [10, 10, 10, 10])]
    [0.56, 0.88, -20.88]
    """
    x, n = np.asarray(found, dtype=float), np.asarray(checked, dtype=float)

    def objective(values: Array) -> tuple[float, Array]:
        value, gradient = _log_likelihood(values, x, n, np.zeros(len(n)))
        return -value, -gradient

    start = np.array([_log_odds((x.sum() + 0.5) / (n.sum() + 1)), np.log(10.0)])
    mode = find_mode(objective, start)
    share, precision = expit(mode.best[0]), np.exp(mode.best[1])
    return float(share * precision), float((1 - share) * precision), -objective(mode.best)[0]


def design_effect(
    counts: Array,
    landing: NDArray[np.integer],
    *,
    start: float = START_EFFECT,
    start_weight: float = START_WEIGHT,
) -> float:
    """
    How many times more the answers of one landing vary between visits than chance makes them.

    Boats met on the same day are alike (weather, an event, who writes down), so 100 answers
    count for fewer. Counts are divided by this before they are pooled.

    Parameters
    ----------
    counts : array, shape (V, C)
        Answers of each kind at each visit.
    landing : array of int, shape (V,)
        Landing of each visit.
    start, start_weight : float
        Value before any visits, and the number of visits that it counts for.

    Returns
    -------
    effect : float
        1 or more.

    Notes
    -----
    Pearson's statistic over its degrees of freedom, of visits within landings.

    Examples
    --------
    >>> alike = np.array([[5.0, 5.0]] * 40)
    >>> design_effect(alike, np.zeros(40, dtype=int))
    1.0
    """
    used = counts.sum(axis=1) > 0
    counts, landing = counts[used], landing[used]
    if not len(counts):
        return max(start, 1.0)
    totals = np.zeros((landing.max() + 1, counts.shape[1]))
    np.add.at(totals, landing, counts)
    size = np.maximum(totals.sum(axis=1, keepdims=True), 1e-300)
    expected = counts.sum(axis=1, keepdims=True) * (totals / size)[landing]
    seen = expected > 0
    pearson = float(((counts - expected)[seen] ** 2 / expected[seen]).sum())
    visits = np.bincount(landing, minlength=len(totals))
    freedom = float(((visits - 1) * ((totals > 0).sum(axis=1) - 1))[visits > 0].sum())
    kinds = counts.shape[1] - 1
    weight = start_weight * kinds
    return max((pearson + weight * start) / (freedom + weight), 1.0)


def _log_odds(share: float) -> float:
    """Log odds of a share, kept finite at 0 and 1."""
    return float(logit(np.clip(share, 1e-6, 1 - 1e-6)))


def _log_likelihood(values: Array, x: Array, n: Array, offset: Array) -> tuple[float, Array]:
    """Beta-binomial log-likelihood and its gradient by log odds and log precision."""
    share, s = expit(values[0] + offset), float(np.exp(values[1]))
    a, b = share * s, (1 - share) * s
    value = float((betaln(a + x, b + n - x) - betaln(a, b)).sum())
    by_a, by_b = digamma(a + x) - digamma(a), digamma(b + n - x) - digamma(b)
    by_share = s * (by_a - by_b)
    by_s = share * by_a + (1 - share) * by_b + digamma(s) - digamma(s + n)
    return value, np.array([float((by_share * share * (1 - share)).sum()), s * float(by_s.sum())])
