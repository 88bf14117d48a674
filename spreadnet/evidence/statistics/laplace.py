"""The most likely values of a few numbers at once, and how sure they are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize

from spreadnet.errors import ModelError
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]
    Objective = Callable[[NDArray[np.floating]], tuple[float, NDArray[np.floating]]]

STEP = 1e-4  # of the central difference of the gradient: error about STEP**2 and 1e-16 / STEP
FEW = 200  # draws with which intervals are worked out: quantiles good to a few percent
FIXED_SEED = 90  # intervals use the same scores each time, so that they don't depend on a seed


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Mode:
    """
    Most likely values `best`, shape (P,), and their `covariance`, shape (P, P).

    The covariance is the inverse of the curvature there (Laplace's approximation), which the
    draws take as that of a normal distribution.
    """

    best: Array
    covariance: Array

    def draw(self, rng: np.random.Generator) -> Array:
        """One set of values, shape (P,)."""
        return self.best + np.linalg.cholesky(self.covariance) @ rng.standard_normal(len(self.best))

    def spread(self, count: int = FEW) -> Array:
        """The same `count` sets every time, mirrored about the mode, shape (count, P)."""
        half = np.random.default_rng(FIXED_SEED).standard_normal((count // 2, len(self.best)))
        scores = np.concatenate([half, -half])
        return self.best + scores @ np.linalg.cholesky(self.covariance).T

    @property
    def sd(self) -> Array:
        """Standard deviations, shape (P,)."""
        return np.sqrt(np.diag(self.covariance))


def find_mode(objective: Objective, start: Array) -> Mode:
    """
    Most likely values and their covariance.

    Parameters
    ----------
    objective : callable
        Takes values, shape (P,), and returns minus the log posterior density and its gradient.
    start : array, shape (P,)
        Where the search begins.

    Returns
    -------
    mode : Mode
        With a positive definite covariance.

    Raises
    ------
    ModelError
        If no minimum with curvature in every direction is found: the priors and the counts leave
        some of the numbers open.

    Examples
    --------
    >>> mode = find_mode(lambda v: (2 * (v[0] - 3) ** 2, 4 * (v - 3)), np.array([0.0]))
    >>> mode.best.round(6), mode.covariance.round(6)
    (array([3.]), array([[0.25]]))
    """
    found = minimize(
        objective,
        np.asarray(start, dtype=float),
        jac=True,
        hess=lambda values: curvature_at(objective, values),
        method="trust-exact",
        options={"gtol": 1e-4, "maxiter": 200},
    )
    at, curvature = found.x, curvature_at(objective, found.x)
    if not np.all(np.isfinite(curvature)) or np.linalg.eigvalsh(curvature).min() <= 0:
        message = "The counts leave the numbers of the model open: no most likely values found."
        raise ModelError(message)
    covariance = np.linalg.inv(curvature)
    covariance = (covariance + covariance.T) / 2
    step = covariance @ objective(at)[1]
    if float(step @ curvature @ step) > 1e-4:  # squared distance to the minimum, in sds
        message = "The search for the most likely values of the model did not end."
        raise ModelError(message)
    return Mode(at - step, covariance)


def without_bias(objective: Objective, mode: Mode) -> Mode:
    """
    Mode with its last number, a log precision, moved to where the others' uncertainty counts.

    Fitting many numbers along with a precision makes what is left look more alike than it is, as
    dividing by n does for a variance. The others are integrated out in place of maximised over.

    Parameters
    ----------
    objective : callable
        As for `find_mode`.
    mode : Mode
        What `find_mode` gave for it.

    Returns
    -------
    mode : Mode
        One Newton step from the given one; the same covariance.

    Notes
    -----
    The adjusted profile likelihood of Cox & Reid (1987, J R Stat Soc B 49:1), from memory.
    """
    step = np.zeros(len(mode.best))
    step[-1] = 0.1
    ahead, behind = (
        np.linalg.slogdet(curvature_at(objective, mode.best + sign * step)[:-1, :-1])[1]
        for sign in (1, -1)
    )
    slope = (ahead - behind) / (2 * step[-1])
    return Mode(mode.best - 0.5 * slope * mode.covariance[:, -1], mode.covariance)


def curvature_at(objective: Objective, values: Array) -> Array:
    """Second derivatives by central differences of the gradient, shape (P, P)."""
    steps = STEP * np.eye(len(values))
    ahead = np.array([objective(values + step)[1] for step in steps])
    behind = np.array([objective(values - step)[1] for step in steps])
    curvature = (ahead - behind) / (2 * STEP)
    return (curvature + curvature.T) / 2
