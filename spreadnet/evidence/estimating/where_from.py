"""Which waters boats come from: this lake, another, outside the region, no water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.optimize import nnls
from scipy.special import digamma, gammaln, logit, softmax

from spreadnet.assumptions import Z90
from spreadnet.evidence.estimating.contacts import (
    WATERS,
    landing_positions,
    named_waters,
    visit_positions,
)
from spreadnet.evidence.statistics import (
    LEAST,
    Mode,
    beta_from_moments,
    beta_interval,
    design_effect,
    find_mode,
)
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions

    Array = NDArray[np.floating]

__all__ = ["WATERS", "Shares", "fit_shares"]

MOST_LOG = np.log(1e4)  # of the concentration in draws: landings are never taken as all alike
LEAST_SHARE = 1e-6  # of an assumed share or the ends of its range


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """
    Shares of `WATERS` among the last waters of boats launched at K landings.

    Attributes
    ----------
    counts : array, shape (K, 4)
        Answers.
    concentration : array, shape (K, 4)
        Of the Dirichlet posterior of each landing.
    table : DataFrame
        Index `landing_id`. `n`: answers at the landing; for each water, e.g. `same`:
        `same_share`, and the 90% interval `same_low`, `same_high`.
    named_without_landing : array of int, shape (L,)
        Answers naming each lake of the region that has no landing, counted as `outside`.
    region : array, shape (4,)
        Shares to which landings are pulled.
    """

    counts: Array
    concentration: Array
    table: pd.DataFrame
    named_without_landing: NDArray[np.integer]
    region: Array
    answers: Array
    mode: Mode

    def mean(self) -> Array:
        """Expected shares, shape (K, 4), each landing's summing to 1."""
        return self.concentration / self.concentration.sum(axis=1, keepdims=True)

    def draw(self, rng: np.random.Generator) -> Array:
        """One set of shares, the region's own numbers drawn first, shape (K, 4)."""
        drawn = _prior(self.mode.draw(rng))
        gamma = rng.standard_gamma(self.answers + drawn) + LEAST
        return gamma / gamma.sum(axis=1, keepdims=True)

    def own_spread(self, worth: Array) -> Array:
        """
        Variance of `worth` (K, 4) averaged over a landing's own shares, and of one boat's, (2, K).

        As `pooling.Pooled.own_spread`, for a sum of shares that each count `worth`.
        """
        alpha = _prior(self.mode.spread())[:, None, :] + self.answers
        total = alpha.sum(axis=2)
        mean = (alpha * worth).sum(axis=2) / total
        away = (worth - mean[:, :, None]) ** 2
        within = (alpha * away).sum(axis=2) / (total * (total + 1))
        return np.stack([within.mean(axis=0), (total * within).mean(axis=0)])


def fit_shares(
    contacts: pd.DataFrame,
    visits: pd.DataFrame,
    landings: pd.DataFrame,
    lakes: pd.DataFrame,
    *,
    assumptions: Assumptions,
) -> Shares:
    """
    Shares of last waters at every landing, pulled towards the region's.

    Only boats that come from another water can bring anything, so the share matters as much as
    the traffic.

    Parameters
    ----------
    contacts, visits, landings, lakes : DataFrame
        As in `Region`. Contacts may have no rows; those retrieving are left out.
    assumptions : Assumptions
        `share_same`, `share_other`, `share_outside`, `share_none`, `share_concentration`.

    Returns
    -------
    shares : Shares
        Ordered by `landings.index`.

    Raises
    ------
    ValueError
        If a contact names a visit or water, or a visit a landing, that does not exist.

    Notes
    -----
    Dirichlet-multinomial, shares of the region and concentration by marginal likelihood, with
    priors as wide as the assumptions' ranges. No answer is not "none": it is left out. Answers are
    divided by their design effect (see `pooling.design_effect`).
    """
    contacts = contacts[(contacts["direction"] == "launching").to_numpy(dtype=bool)]
    visit = visit_positions(contacts, visits)
    visited = landing_positions(visits["landing_id"], landings)
    kind, dry = named_waters(contacts["last_water"], visited[visit], landings, lakes)
    answered = kind >= 0
    by_visit = np.zeros((len(visits), len(WATERS)))
    np.add.at(by_visit, (visit[answered], kind[answered]), 1)
    counts = np.zeros((len(landings), len(WATERS)))
    np.add.at(counts, visited, by_visit)
    answers = counts / design_effect(by_visit, visited)
    mode = _fit(answers, assumptions)
    prior = _prior(mode.best)
    concentration = answers + prior
    return Shares(
        counts=counts,
        concentration=concentration,
        table=_table(counts, answers, mode, landings),
        named_without_landing=dry,
        region=prior / prior.sum(),
        answers=answers,
        mode=mode,
    )


def _prior(values: Array) -> Array:
    """Dirichlet numbers shared by all landings, (..., 5) to (..., 4)."""
    concentration = np.exp(np.clip(values[..., -1:], -MOST_LOG, MOST_LOG))
    return np.maximum(softmax(values[..., :-1], axis=-1) * concentration, LEAST)


def _stated(assumptions: Assumptions) -> tuple[Array, Array]:
    """
    Log shares assumed, summing to 1 as shares, and their standard deviations: (4,), (4,).

    Each log share moves the log odds of all four. The deviations are those, 0 or more, with which
    the log odds of every share come nearest to spreading as its range does.
    """
    entries = [assumptions.entries[f"share_{water}"] for water in WATERS]
    ends = np.array([[e.low, e.value, e.high] for e in entries])
    ends = ends.clip(LEAST_SHARE, 1 - LEAST_SHARE)
    spread = (logit(ends[:, 2]) - logit(ends[:, 0])) / (2 * Z90)
    share = ends[:, 1] / ends[:, 1].sum()
    moves = np.tile(share, (len(share), 1)) / (1 - share[:, None])
    np.fill_diagonal(moves, 1.0)
    return np.log(share), np.sqrt(nnls(moves**2, spread**2)[0])


def _fit(answers: Array, assumptions: Assumptions) -> Mode:
    """Most likely log shares of the region and log concentration."""
    log_share, spread = _stated(assumptions)
    size = assumptions.entries["share_concentration"]
    width = np.append(spread, np.log(size.high / size.low) / (2 * Z90))
    width = np.maximum(width, 0.01)  # a number given without a range is all but fixed
    centre = np.append(log_share, np.log(size.value))
    seen = answers[answers.sum(axis=1) > 0]
    n = seen.sum(axis=1)

    def objective(values: Array) -> tuple[float, Array]:
        share, c = softmax(values[:-1]), float(np.exp(values[-1]))
        value = float((gammaln(c) - gammaln(c + n)).sum())
        value += float((gammaln(c * share + seen) - gammaln(c * share)).sum())
        by_alpha = (digamma(c * share + seen) - digamma(c * share)).sum(axis=0)
        by_c = float((digamma(c) - digamma(c + n)).sum() + share @ by_alpha)
        by_log = c * share * (by_alpha - share @ by_alpha)
        score = (values - centre) / width
        gradient = score / width - np.append(by_log, c * by_c)
        return 0.5 * float(score @ score) - value, gradient

    return find_mode(objective, centre)


def _table(counts: Array, answers: Array, mode: Mode, landings: pd.DataFrame) -> pd.DataFrame:
    """Answers, shares and 90% intervals of each landing."""
    alpha = _prior(mode.spread())[:, None, :] + answers
    total = alpha.sum(axis=2, keepdims=True)
    mean = alpha / total
    within = mean * (1 - mean) / (total + 1)
    matched = beta_from_moments(mean.mean(axis=0), within.mean(axis=0) + mean.var(axis=0))
    best = _prior(mode.best) + answers
    ends = beta_interval(*matched)
    parts = dict(
        zip(("share", "low", "high"), (best / best.sum(axis=1)[:, None], *ends), strict=True)
    )
    columns = {
        f"{water}_{name}": values[:, k]
        for k, water in enumerate(WATERS)
        for name, values in parts.items()
    }
    return pd.DataFrame({"n": counts.sum(axis=1).astype(int), **columns}, index=landings.index)
