"""Which distance law to use: the one that best foretells landings it has not seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.model.laws import LAWS, DistanceLaw
from spreadnet.model.movement.fit import PRIOR_SD, prior_precision
from spreadnet.model.movement.likelihood import (
    Choices,
    choices_by_law,
    likelihood,
    maximise,
    maximise_near,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.movement.interviews import Interviews

    Array = NDArray[np.floating]

FOLDS = 5


def compare_laws(
    interviews: Interviews,
    attractions: Mapping[str, Array],
    distance_km: Array,
    *,
    rng: np.random.Generator,
    laws: Sequence[DistanceLaw] = LAWS,
    folds: int = FOLDS,
    prior: float | None = PRIOR_SD,
) -> pd.DataFrame:
    """
    Compare distance laws on landings that were held out of the fit.

    Interviews of one landing are alike, so holding out single interviews would favour the law
    with the most terms; whole landings are held out instead.

    Parameters
    ----------
    interviews : Interviews
        Counts of lakes named.
    attractions : mapping of str to array, shape (L,)
        Covariates of the lakes on the log scale.
    distance_km : array, shape (K, L)
        Kilometres from every landing to every lake.
    rng : numpy.random.Generator
        Deals the landings into folds; all laws get the same ones.
    laws : sequence of DistanceLaw
        The laws, in order of preference where nothing else tells them apart.
    folds : int
        Number of folds, 2 or more; as many as landings where there are fewer landings.
    prior : float or None
        As in `fit_gravity`.

    Returns
    -------
    comparison : DataFrame
        Index `law` in the given order. `parameters`; `in_sample` and `held_out`, log-likelihood
        an interview; `behind`, how far `held_out` lies under the best; `standard_error` of
        `behind`, clustered by landing; `chosen`, true in one row. With interviews at one landing
        only there is nothing to hold out: `held_out` is missing and the first law with the
        fewest parameters is chosen.

    Raises
    ------
    ValueError
        If there are no laws, two share a name, or `folds` is below 2.
    ModelError
        If there are no interviews or a fit fails.

    Notes
    -----
    Chosen is the law with the best held-out figure, unless others are behind by no more than one
    standard error of the difference: then the one of these with the fewest parameters, then the
    first listed (the one-standard-error rule of Breiman et al. 1984, on paired differences).
    """
    names = [law.name for law in laws]
    if not names or len(set(names)) < len(names) or folds < 2:
        message = f"Invalid laws '{names}' or folds '{folds}'. Laws need names of their own, and at"
        raise ValueError(f"{message} least two folds.")
    rows, held_out = [], []
    fold: NDArray[np.integer] | None = None
    for choices in choices_by_law(interviews, attractions, distance_km, laws=laws):
        if fold is None:
            fold = rng.permutation(len(choices.totals)) % folds
        precision = prior_precision(choices, prior)
        coefficients, at_best = maximise(choices, precision)
        in_sample = at_best.values.sum() / choices.totals.sum()
        rows.append((len(coefficients), in_sample))
        held_out.append(_held_out(choices, fold, precision, coefficients))
    table = pd.DataFrame(
        rows, index=pd.Index(names, name="law"), columns=["parameters", "in_sample"]
    )
    scores = np.array(held_out) / choices.totals.sum()
    table["held_out"] = scores.sum(axis=1)
    table["behind"], table["standard_error"] = _behind(scores, choices.totals)
    table["chosen"] = np.arange(len(table)) == _choice(table)
    return table


def chosen_law(comparison: pd.DataFrame, laws: Sequence[DistanceLaw] = LAWS) -> DistanceLaw:
    """The law marked as chosen by `compare_laws`."""
    return laws[int(np.flatnonzero(comparison["chosen"])[0])]


def _held_out(choices: Choices, fold: NDArray[np.integer], precision: Array, start: Array) -> Array:
    """Log-likelihood of each landing under a fit to the other folds; NaN with one landing."""
    values = np.full(len(fold), np.nan)
    if len(fold) < 2:
        return values
    for number in np.unique(fold):
        seen = choices.at_landings(fold != number)
        coefficients = maximise_near(seen, precision, start=start)
        unseen = choices.at_landings(fold == number)
        values[fold == number] = likelihood(unseen, coefficients).values
    return values


def _behind(scores: Array, totals: Array) -> tuple[Array, Array]:
    """How far each law lies behind the best, and the standard error of that."""
    sums = scores.sum(axis=1)
    if np.isnan(sums).any():
        return np.full(len(sums), np.nan), np.full(len(sums), np.nan)
    best = int(np.argmax(sums))
    differences = scores[best] - scores
    behind = differences.sum(axis=1)
    expected = behind[:, None] * totals / totals.sum()
    n_landings = len(totals)
    variance = ((differences - expected) ** 2).sum(axis=1) * n_landings / (n_landings - 1)
    return behind, np.sqrt(variance)


def _choice(table: pd.DataFrame) -> int:
    """Position of the law to use."""
    close = (table["behind"] <= table["standard_error"]) | table["behind"].isna()
    parameters = table["parameters"].where(close, np.inf)
    return int(np.argmin(parameters.to_numpy(float)))
