"""What draws a species to a lake, learned from dated finds: likeliest values and spread."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.optimize import minimize

from spreadnet.model.finds.hazard import (
    DISTANCE,
    NAMES,
    SHAPED,
    Finds,
    hazard_by_boat,
    log_likelihood,
)
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Array = NDArray[np.floating]

# Middle and standard deviation before any find is seen: choices of ours, by made regions.
PRIORS = {
    "level": (-11.0, 4.0),
    "area": (0.6, 0.3),
    "depth": (0.3, 0.3),
    "access": (0.6, 0.35),
    "distance": (2.2, 0.6),
    "source_area": (0.1, 0.3),
    "outside": (-2.0, 1.5),
}
WANDER = (0.05, 0.1, 0.2, 0.35, 0.6)  # sd a year of the log of the level that are tried
WANDER_MIDDLE, WANDER_LOG_SD = 0.2, 0.7
HELD = 0.01  # precision that keeps the wandering about 0
STEPS = 5  # of Fisher's scoring before BFGS
HALVINGS = 8
MOST_STEPS = 12  # of BFGS
DISTANCES = (0.3, 4.6)  # outside these the kernel is flat or blind
NEAR = 0.01  # of a standard deviation: where the search ends; single precision allows no less
APART = 1e-4  # of a standard deviation, on each side, for the curvature
FEWEST_FINDS = 3  # below this the finds say too little


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class FindsFit:
    """
    Likeliest values of what draws a species, and how sure they are.

    Attributes
    ----------
    finds : Finds
        The data.
    best : array, shape (1 + Y + 6,)
        Level, its wandering by year, and the parameters of `NAMES`.
    covariance : array, shape (1 + Y + 6, 1 + Y + 6)
        Inverse of the curvature.
    wander : float
        Standard deviation a year of the log of the level.
    prior : mapping of name to (float, float)
        Middle and standard deviation that it started from.
    evaluations : int
        Of the likelihood until the end was reached.
    """

    finds: Finds
    best: Array
    covariance: Array
    wander: float
    prior: Mapping[str, tuple[float, float]]
    evaluations: int

    @property
    def values(self) -> dict[str, float]:
        """Parameters of `NAMES` at their likeliest."""
        return dict(zip(NAMES, self.best[-SHAPED:].tolist(), strict=True))

    @property
    def sd(self) -> dict[str, float]:
        """Their standard deviations."""
        spread = np.sqrt(np.diag(self.covariance)[-SHAPED:])
        return dict(zip(NAMES, spread.tolist(), strict=True))

    def draw(self, rng: np.random.Generator) -> Array:
        """One set of values, as uncertain as the finds leave them, shape (1 + Y + 6,)."""
        root = np.linalg.cholesky(self.covariance)
        drawn = self.best + root @ rng.standard_normal(len(self.best))
        at = len(drawn) - SHAPED + DISTANCE
        drawn[at] = np.clip(drawn[at], *DISTANCES)
        return np.asarray(drawn)


def fit_finds(finds: Finds, *, prior: Mapping[str, tuple[float, float]] | None = None) -> FindsFit:
    """
    Fit what draws a species to the dated finds.

    Parameters
    ----------
    finds : Finds
        As `finds_of` gives them.
    prior : mapping of name to (float, float), optional
        Middle and standard deviation of any of `PRIORS` that is known better.

    Returns
    -------
    fit : FindsFit
        The mode of the posterior, with Laplace's approximation about it.

    Notes
    -----
    Five steps of Fisher's scoring with a line search, then BFGS in units of the information. How
    much the level wanders is chosen by Laplace's evidence on a few values after the first steps.
    """
    used = {**PRIORS, **(prior or {})}
    search = _Search(finds, used)
    search.score(STEPS)
    search.choose_wander()
    search.score(1)
    search.finish()
    return FindsFit(
        finds=finds,
        best=search.at,
        covariance=search.covariance(),
        wander=search.wander,
        prior=used,
        evaluations=search.evaluations,
    )


class _Search:
    """A climb to the mode; holds where it stands."""

    def __init__(self, finds: Finds, prior: Mapping[str, tuple[float, float]]) -> None:
        self.finds, self.years = finds, len(finds.years)
        middle, spread = np.array([prior[name] for name in ("level", *NAMES)]).T
        self.middle = np.concatenate([middle[:1], np.zeros(self.years), middle[1:]])
        self.precision = 1 / np.concatenate([spread[:1], np.ones(self.years), spread[1:]]) ** 2
        self.wander, self.evaluations = WANDER_MIDDLE, 0
        self.at = self.middle.copy()
        self.at[1 + self.years + DISTANCE] = np.clip(self.at[1 + self.years + DISTANCE], *DISTANCES)
        self.at[0] = self._level()
        self.value, self.gradient, self.info = self.evaluate(self.at)

    def _level(self) -> float:
        """Level at which as many finds are expected as there were, the rest at its middle."""
        _, gradient, _ = log_likelihood(self.finds, self.at)
        self.evaluations += 1
        # With small hazards the slope by the level is finds less expected finds.
        expected = max(self.finds.count - float(gradient[0]), 1e-9)
        score = np.log(max(self.finds.count, 0.5) / expected)
        return float(self.middle[0] + np.clip(score, -12, 12))

    def penalty(self, wander: float | None = None) -> Array:
        """Precision of the prior, (P, P)."""
        wander = self.wander if wander is None else wander
        inner = np.diff(np.eye(self.years), axis=0)
        matrix = np.diag(self.precision)
        span = slice(1, 1 + self.years)
        matrix[span, span] = inner.T @ inner / wander**2 + HELD * np.eye(self.years)
        return matrix

    def evaluate(self, values: Array) -> tuple[float, Array, Array]:
        """Log posterior, gradient and information without the prior."""
        low, high = DISTANCES
        if not low <= values[1 + self.years + DISTANCE] <= high:
            return -np.inf, np.zeros(len(values)), self.info
        self.evaluations += 1
        with np.errstate(over="ignore", invalid="ignore"):
            value, gradient, info = log_likelihood(self.finds, values)
        away = values - self.middle
        pull = self.penalty() @ away
        total = float(value - 0.5 * away @ pull)
        return (total if np.isfinite(total) else -np.inf), gradient - pull, info

    def score(self, steps: int) -> None:
        """Steps of Fisher's scoring, halved until the posterior rises."""
        for _ in range(steps):
            whole = self.info + self.penalty()
            step = cho_solve(cho_factor(whole), self.gradient)
            if step @ self.gradient < NEAR**2:
                return
            for halving in range(HALVINGS):
                found = self.evaluate(self.at + step / 2**halving)
                if found[0] > self.value:
                    self.at = self.at + step / 2**halving
                    self.value, self.gradient, self.info = found
                    break
            else:
                return

    def choose_wander(self) -> None:
        """How much the level wanders, by the evidence about where the search stands."""
        if self.years < 2:
            return
        span = slice(1, 1 + self.years)
        scores = []
        for wander in WANDER:
            prior = self.penalty(wander)
            whole = self.info + prior
            away = self.at - self.middle
            slope = self.gradient + (self.penalty() - prior) @ away
            step = cho_solve(cho_factor(whole), slope)
            gain = -0.5 * away @ prior @ away + 0.5 * slope @ step
            halves = np.linalg.slogdet(prior[span, span])[1] - np.linalg.slogdet(whole)[1]
            middle = np.log(wander / WANDER_MIDDLE) / WANDER_LOG_SD
            scores.append(gain + 0.5 * halves - 0.5 * middle**2)
        self.wander = _peak(np.log(WANDER), np.array(scores))
        self.value, self.gradient, self.info = self.evaluate(self.at)

    def finish(self) -> None:
        """BFGS in units of the information."""
        root = np.linalg.cholesky(self.info + self.penalty())
        start = self.at

        def loss(u: Array) -> tuple[float, Array]:
            at = start + solve_triangular(root.T, u)
            value, gradient, _ = self.evaluate(at)
            return -value, -solve_triangular(root, gradient, lower=True)

        if np.abs(solve_triangular(root, self.gradient, lower=True)).max() < NEAR:
            return
        found = minimize(
            loss,
            np.zeros(len(start)),
            jac=True,
            method="BFGS",
            options={"gtol": NEAR, "maxiter": MOST_STEPS},
        )
        if -found.fun >= self.value:
            self.at = start + solve_triangular(root.T, found.x)
            self.value = -found.fun

    def covariance(self) -> Array:
        """Inverse of the curvature at the mode; of the information where that is not a hill."""
        whole = log_likelihood(self.finds, self.at)[2] + self.penalty()
        first, spread = 1 + self.years, np.sqrt(np.diag(np.linalg.inv(whole)))
        exact = whole.copy()
        for k in range(first, len(self.at)):
            apart = np.zeros(len(self.at))
            apart[k] = max(APART * spread[k], 1e-6) * 100
            up, down = (log_likelihood(self.finds, self.at + s * apart)[1] for s in (1, -1))
            row = -(up - down) / (2 * apart[k])
            exact[k, :] = exact[:, k] = row + self.penalty()[k]
        corner = np.ix_(range(first, len(self.at)), range(first, len(self.at)))
        exact[corner] = 0.5 * (exact[corner] + exact[corner].T)
        exact[:first, :first] = self._level_curvature() + self.penalty()[:first, :first]
        for matrix in (exact, whole):
            try:
                factor = np.linalg.cholesky(matrix)
            except np.linalg.LinAlgError:
                continue
            half = solve_triangular(factor, np.eye(len(matrix)), lower=True)
            return np.asarray(half.T @ half)
        message = "the curvature of the finds is not a number"
        raise FloatingPointError(message)

    def _level_curvature(self) -> Array:
        """Minus the second slopes by the level and its wandering, (1 + Y, 1 + Y)."""
        by_boat, _ = hazard_by_boat(self.finds, self.at)
        hazard = by_boat + self.finds.streams
        when = np.arange(self.years)
        found = when == self.finds.found_at[:, None]
        bend = np.where(when < self.finds.found_at[:, None], by_boat, 0.0)
        at_find, boats = hazard[found], by_boat[found]
        grown = np.expm1(at_find)
        bend[found] = boats**2 * (grown + 1) / grown**2 - boats / grown
        by_year = bend.sum(axis=0)
        matrix = np.diag(np.concatenate([[by_year.sum()], by_year]))
        matrix[0, 1:] = matrix[1:, 0] = by_year
        return matrix


def _peak(at: Array, score: Array) -> float:
    """Exponential of where a parabola through the best of the scores and its neighbours peaks."""
    k = int(np.clip(score.argmax(), 1, len(at) - 2))
    bend, slope, _ = np.polyfit(at[k - 1 : k + 2], score[k - 1 : k + 2], 2)
    if bend >= 0:
        return float(np.exp(at[score.argmax()]))
    return float(np.exp(np.clip(-slope / (2 * bend), at[0], at[-1])))
