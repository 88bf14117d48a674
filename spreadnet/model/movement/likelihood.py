"""Conditional likelihood of which lake a boat names, and its maximum by Newton steps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import scipy.sparse as sp

from spreadnet.errors import ModelError
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.laws import DistanceLaw
    from spreadnet.model.movement.interviews import Interviews

    Array = NDArray[np.floating]

MOST_STEPS = 60
ROWS = 64  # landings worked on together, so that their numbers stay at hand
LEAST_INFORMATION = 1e-8  # of what the same interviews would tell if choices were even
RUNAWAY = (
    "The gravity fit does not settle: some coefficient runs away, as when everyone goes to the "
    "nearest lake. Give a prior."
)
MOST_NEAR_STEPS, FAR_GAIN = 5, 10.0
NEAR_GAIN = 1e-3  # after one more step, which squares it, nothing is left
LAST_GAIN = 1e-9  # gain in log-likelihood at which one more Newton step makes the error negligible


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Choices:
    """
    What the likelihood is made of, for G landings, C candidate lakes and P coefficients.

    Attributes
    ----------
    attraction : array, shape (A, C)
        Covariates of the lakes.
    distance : array, shape (M, G, C)
        Terms of the distance law; 0 where not allowed.
    allowed : array of bool, shape (G, C)
        False at the landing's own lake.
    observed : array, shape (G, A + M)
        Sum of the covariates over the lakes named at each landing.
    totals : array, shape (G,)
        Interviews at each landing.
    """

    attraction: Array
    distance: Array
    allowed: NDArray[np.bool_]
    observed: Array
    totals: Array

    def at_landings(self, chosen: NDArray[np.bool_]) -> Choices:
        """The same for some of the landings."""
        return replace(
            self,
            distance=np.ascontiguousarray(self.distance[:, chosen]),  # else copied in each sum
            allowed=self.allowed[chosen],
            observed=self.observed[chosen],
            totals=self.totals[chosen],
        )


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Likelihood:
    """
    Log-likelihood by landing with its derivatives, at given coefficients.

    `values` (G,) and `scores` (G, P) are of the likelihood alone; `information` (P, P) is minus
    its matrix of second derivatives; `probability` is (G, C).
    """

    values: Array
    scores: Array
    information: Array
    probability: Array


def build_choices(
    interviews: Interviews,
    attractions: Mapping[str, Array],
    distance_km: Array,
    *,
    law: DistanceLaw,
    free_levels: bool = False,
) -> Choices:
    """
    Arrays of the likelihood from interviews.

    Rows of one landing in both directions have the same chances, so they are added up: each
    landing is one cluster.

    Parameters
    ----------
    interviews : Interviews
        Counts of lakes named.
    attractions : mapping of str to array, shape (L,)
        Covariates of the lakes on the log scale, e.g. log area.
    distance_km : array, shape (K, L)
        Kilometres from every landing to every lake.
    law : DistanceLaw
        Which terms of the distance count.
    free_levels : bool
        Add one covariate for every candidate lake but the first named one.

    Returns
    -------
    choices : Choices
        For the landings with interviews, in their order.

    Raises
    ------
    ValueError
        If shapes disagree, a covariate isn't finite, or an interview names the landing's own
        lake or a lake that is no candidate.
    ModelError
        If no interview names another lake.
    """
    return next(
        choices_by_law(interviews, attractions, distance_km, laws=(law,), free_levels=free_levels)
    )


def choices_by_law(
    interviews: Interviews,
    attractions: Mapping[str, Array],
    distance_km: Array,
    *,
    laws: Sequence[DistanceLaw],
    free_levels: bool = False,
) -> Iterator[Choices]:
    """
    The arrays of `build_choices` for several laws in turn; what they share is made once.

    Parameters
    ----------
    interviews, attractions, distance_km, free_levels
        As for `build_choices`, with the same errors.
    laws : sequence of DistanceLaw
        One or more.

    Yields
    ------
    choices : Choices
        One a law, in their order.
    """
    n_lakes = len(interviews.candidates)
    _check_inputs(interviews, attractions, distance_km)
    if interviews.total == 0:
        message = "No interview names another lake of the region, so nothing can be learned from "
        raise ModelError(f"{message}them about distance. Use assumed_gravity.")
    counts, landing, own_lake = _by_landing(interviews)
    candidates = _candidates(interviews.candidates, counts, free_levels)
    allowed = np.arange(n_lakes) != own_lake[:, None]
    if (counts * ~(allowed & candidates)).any():
        message = "Invalid interviews. A lake named must have a landing and not be the own lake."
        raise ValueError(message)

    # Columns picked out lie one behind the other in memory; sums want rows.
    allowed, counts, distance = (
        np.ascontiguousarray(part[:, candidates])
        for part in (allowed, counts, distance_km[landing])
    )
    distance = np.where(allowed, distance.astype(float), 1.0)
    covariates = [np.asarray(values, float)[candidates] for values in attractions.values()]
    attraction = np.array(covariates).reshape(len(covariates), int(candidates.sum()))
    if free_levels:
        attraction = np.vstack([attraction, np.eye(attraction.shape[1])[1:]])
    named, totals = counts @ attraction.T, counts.sum(axis=1)
    row, own = np.nonzero(~allowed)
    for law in laws:
        terms = law.features(distance)
        terms[:, row, own] = 0.0
        observed = np.hstack([named, np.einsum("gc,mgc->gm", counts, terms)])
        yield Choices(attraction, terms, allowed, observed, totals)


def likelihood(choices: Choices, coefficients: Array) -> Likelihood:
    """
    Log-likelihood of the lakes named, its scores and its information.

    Parameters
    ----------
    choices : Choices
        The data.
    coefficients : array, shape (A + M,)
        Of the covariates of lakes, then of the terms of distance.

    Returns
    -------
    likelihood : Likelihood
        Values and derivatives.

    Notes
    -----
    Conditional (multinomial) logit, McFadden (1974). The greatest utility of each row is taken
    off before the exponential: 12,000 km away every bare exponential is 0 and the shares would be
    0/0.
    """
    attraction, distance, totals = choices.attraction, choices.distance, choices.totals
    by_lake = coefficients[: len(attraction)] @ attraction
    by_term = coefficients[len(attraction) :]
    probability = np.empty(choices.allowed.shape)
    log_total = np.empty(len(totals))
    means = np.empty((len(totals), len(coefficients)))
    chosen = np.zeros(len(by_lake))  # interviews expected to name each lake
    weighted = np.zeros((len(distance), len(by_lake)))
    within = np.zeros((len(distance), len(distance)))
    for first in range(0, len(totals), ROWS):
        rows = slice(first, first + ROWS)
        utility = np.where(choices.allowed[rows], by_lake, -np.inf)
        for coefficient, term in zip(by_term, distance[:, rows], strict=True):
            utility += coefficient * term
        top = utility.max(axis=1, keepdims=True)
        utility -= np.where(np.isfinite(top), top, 0.0)
        share = np.exp(utility, out=utility)
        total = share.sum(axis=1, keepdims=True)
        share /= total
        log_total[rows] = (top + np.log(total))[:, 0]
        probability[rows] = share
        means[rows, : len(attraction)] = share @ attraction.T
        means[rows, len(attraction) :] = np.einsum("gc,mgc->gm", share, distance[:, rows])
        expected = totals[rows, None] * share
        products = expected * distance[:, rows]
        chosen += expected.sum(axis=0)
        weighted += products.sum(axis=1)
        flat = (len(distance), -1)
        within += products.reshape(flat) @ distance[:, rows].reshape(flat).T
    among = (attraction * chosen) @ attraction.T
    across = attraction @ weighted.T
    second = np.block([[among, across], [across.T, within]])
    return Likelihood(
        values=choices.observed @ coefficients - totals * log_total,
        scores=choices.observed - totals[:, None] * means,
        information=second - means.T @ (totals[:, None] * means),
        probability=probability,
    )


def maximise(
    choices: Choices, precision: Array, *, start: Array | None = None
) -> tuple[Array, Likelihood]:
    """
    Coefficients with the greatest likelihood times prior, by Newton steps.

    Parameters
    ----------
    choices : Choices
        The data.
    precision : array, shape (P,)
        1 / variance of each coefficient's normal prior around 0; 0 for none.
    start : array, shape (P,), optional
        Where to begin, e.g. at the maximum of nearly the same data. Zero when left out.

    Returns
    -------
    coefficients, likelihood : array, shape (P,), and Likelihood
        The maximum, and the likelihood there.

    Raises
    ------
    ModelError
        If the data don't determine the coefficients, or steps don't settle.

    Notes
    -----
    The log-likelihood is concave, so a step that loses is halved until it gains and the maximum
    found is the only one.
    """
    coefficients: Array = np.zeros(len(precision))
    now = likelihood(choices, coefficients)
    blind = np.diag(now.information) + precision
    if start is not None:
        coefficients, now = start, likelihood(choices, start)
    for _ in range(MOST_STEPS):
        gradient = now.scores.sum(axis=0) - precision * coefficients
        step = _solve(now.information + np.diag(precision), gradient)
        gain = float(gradient @ step) / 2
        target = _objective(now, coefficients, precision)
        for _ in range(MOST_STEPS):
            after = likelihood(choices, coefficients + step)
            reached = _objective(after, coefficients + step, precision)
            if reached >= target - 1e-12 * abs(target):
                break
            step = step / 2
        coefficients, now = coefficients + step, after
        if gain < LAST_GAIN:
            _refuse_runaway(now.information + np.diag(precision), blind)
            return coefficients, now
    raise ModelError(RUNAWAY)


def maximise_near(choices: Choices, precision: Array, *, start: Array) -> Array:
    """
    The same coefficients from a start that is nearly there, with as few looks as will do.

    Parameters
    ----------
    choices : Choices
        The data.
    precision : array, shape (P,)
        As for `maximise`.
    start : array, shape (P,)
        The maximum of nearly the same data.

    Returns
    -------
    coefficients : array, shape (P,)
        To within `NEAR_GAIN` of the greatest log-likelihood; as `maximise` gives them where the
        start was not near after all.
    """
    coefficients = start
    for _ in range(MOST_NEAR_STEPS):
        now = likelihood(choices, coefficients)
        gradient = now.scores.sum(axis=0) - precision * coefficients
        step = _solve(now.information + np.diag(precision), gradient)
        gain = float(gradient @ step) / 2
        if gain > FAR_GAIN:
            break
        coefficients = coefficients + step
        if gain < NEAR_GAIN:
            return coefficients
    return maximise(choices, precision, start=start)[0]


def inverse(information: Array) -> Array:
    """Covariance from an information matrix, refused where that is not positive definite."""
    covariance = _solve(information, np.eye(len(information)))
    return (covariance + covariance.T) / 2


def _objective(at: Likelihood, coefficients: Array, precision: Array) -> float:
    """Log-likelihood and log prior."""
    return float(at.values.sum() - 0.5 * (precision * coefficients**2).sum())


def _solve(information: Array, right: Array) -> Array:
    """Solution with a positive definite matrix, scaled first so that units don't matter."""
    if (np.diag(information) > 0).all():
        scale = np.sqrt(np.diag(information))
        scaled = information / np.outer(scale, scale)
        values, vectors = np.linalg.eigh(scaled)
        if values[0] > 1e-11 * values[-1]:
            columns = right.T / scale
            turned = (columns @ vectors) / values
            return ((turned @ vectors.T) / scale).T
    message = (
        "The interviews don't determine the gravity coefficients: a covariate never varies, two "
        "vary together, or everyone makes the same choice. Leave one out or give a prior."
    )
    raise ModelError(message)


def _refuse_runaway(information: Array, blind: Array) -> None:
    """Refuse a maximum at infinity: there the data say nothing more about a coefficient."""
    scale = np.sqrt(np.where(blind > 0, blind, 1.0))
    if np.linalg.eigvalsh(information / np.outer(scale, scale))[0] < LEAST_INFORMATION:
        raise ModelError(RUNAWAY)


def _by_landing(interviews: Interviews) -> tuple[Array, NDArray[np.integer], NDArray[np.integer]]:
    """Counts (G, L), landing and own lake of the landings with interviews."""
    rows = np.asarray(interviews.counts.sum(axis=1)).ravel() > 0
    landing, group = np.unique(interviews.landing[rows], return_inverse=True)
    adder = sp.csr_array(
        (np.ones(len(group)), (group, np.flatnonzero(rows))),
        shape=(len(landing), len(interviews.landing)),
    )
    own_lake = np.empty(len(landing), int)
    own_lake[group] = interviews.own_lake[rows]
    return (adder @ interviews.counts).toarray(), landing, own_lake


def _candidates(candidates: NDArray[np.bool_], counts: Array, free: bool) -> NDArray[np.bool_]:
    """Lakes that can be chosen; a free level can't be learned for a lake nobody named."""
    return candidates & (counts.sum(axis=0) > 0) if free else candidates


def _check_inputs(
    interviews: Interviews, attractions: Mapping[str, Array], distance_km: Any
) -> None:
    """Refuse arrays whose shapes or values don't fit together."""
    n_lakes = len(interviews.candidates)
    for name, values in attractions.items():
        if np.shape(values) != (n_lakes,):
            message = f"Invalid attraction '{name}'. Its shape {np.shape(values)} must be "
            raise ValueError(f"{message}({n_lakes},), one value a lake.")
        if not np.isfinite(np.asarray(values)[interviews.candidates]).all():
            message = f"Invalid attraction '{name}'. Every lake with a landing needs a finite value"
            raise ValueError(f"{message}: the log of 0 is not one.")
    if np.ndim(distance_km) != 2 or np.shape(distance_km)[1] != n_lakes:
        message = f"Invalid distance_km. Its shape {np.shape(distance_km)} must be (K, {n_lakes})."
        raise ValueError(message)
