"""Where boats come from and go next: this lake, another, outside the region, no water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import digamma, gammaln, softmax

from spreadnet.assumptions import Z90
from spreadnet.evidence.contacts import (
    WATERS,
    landing_positions,
    named_waters,
    visit_positions,
)
from spreadnet.evidence.intervals import beta_from_moments, beta_interval
from spreadnet.evidence.laplace import Mode, find_mode
from spreadnet.evidence.pooling import LEAST, design_effect
from spreadnet.evidence.region import DIRECTIONS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions

    Array = NDArray[np.floating]

__all__ = ["WATERS", "Shares", "fit_shares"]

REGION_BOATS = 4.0  # boats that the region's shares assumed count for, before answers; no source
MOST_LOG = np.log(1e4)  # of the concentration in draws: landings are never taken as all alike


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """
    Shares of `WATERS` at K landings, for boats going in (last water) and coming out (next).

    Attributes
    ----------
    counts : array, shape (2, K, 4)
        Answers, first axis in the order of `DIRECTIONS`.
    concentration : array, shape (2, K, 4)
        Of the Dirichlet posterior of each landing.
    table : DataFrame
        Index `landing_id, direction, water`. `n` (answers at the landing in that direction),
        `count`, `share`, `low`, `high` (90%), `pooled` (the region's share, to which it is
        pulled).
    no_landing : int
        Answers naming a lake of the region without a landing, counted as `outside`.
    """

    counts: Array
    concentration: Array
    table: pd.DataFrame
    no_landing: int
    answers: Array
    modes: tuple[Mode, Mode]

    def mean(self) -> Array:
        """Expected shares, shape (2, K, 4), each landing's summing to 1."""
        return self.concentration / self.concentration.sum(axis=2, keepdims=True)

    def draw(self, rng: np.random.Generator) -> Array:
        """One set of shares, the region's own numbers drawn first, shape (2, K, 4)."""
        drawn = np.stack([_prior(mode.draw(rng)) for mode in self.modes])[:, None, :]
        gamma = rng.standard_gamma(self.answers + drawn) + LEAST
        return gamma / gamma.sum(axis=2, keepdims=True)


def fit_shares(
    contacts: pd.DataFrame,
    visits: pd.DataFrame,
    landings: pd.DataFrame,
    lakes: pd.DataFrame,
    *,
    assumptions: Assumptions,
) -> Shares:
    """
    Shares of last and next waters at every landing, pulled towards the region's.

    Only boats that come from another lake, or go to one, can spread anything in the region, so
    the share matters as much as the traffic.

    Parameters
    ----------
    contacts, visits, landings, lakes : DataFrame
        As in `Region`. Contacts may have no rows.
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
    Dirichlet-multinomial, shares of the region and concentration by marginal likelihood with weak
    priors. No answer is not "none": it is left out. Answers are divided by their design effect
    (see `pooling.design_effect`).
    """
    visit = visit_positions(contacts, visits)
    visited = landing_positions(visits["landing_id"], landings)
    kind, no_landing = named_waters(contacts, visited[visit], landings, lakes)
    shape = (len(DIRECTIONS), len(visits), len(WATERS))
    direction = (contacts["direction"] == DIRECTIONS[1]).to_numpy(dtype=int)
    answered = kind >= 0
    by_visit = np.zeros(shape)
    np.add.at(by_visit, (direction[answered], visit[answered], kind[answered]), 1)
    counts = np.zeros((len(landings), shape[0], shape[2]))
    np.add.at(counts, visited, by_visit.swapaxes(0, 1))
    counts = counts.swapaxes(0, 1)
    effects = np.array([design_effect(one, visited) for one in by_visit])
    answers = counts / effects[:, None, None]
    modes = _fit(answers[0], assumptions), _fit(answers[1], assumptions)
    prior = np.stack([_prior(mode.best) for mode in modes])[:, None, :]
    return Shares(
        counts=counts,
        concentration=answers + prior,
        table=_table(counts, answers, modes, landings),
        no_landing=no_landing,
        answers=answers,
        modes=modes,
    )


def _prior(values: Array) -> Array:
    """Dirichlet numbers shared by all landings, (..., 5) to (..., 4)."""
    concentration = np.exp(np.clip(values[..., -1:], -MOST_LOG, MOST_LOG))
    return np.maximum(softmax(values[..., :-1], axis=-1) * concentration, LEAST)


def _fit(answers: Array, assumptions: Assumptions) -> Mode:
    """Most likely log shares of the region and log concentration, for one direction."""
    stated = np.array([max(assumptions[f"share_{water}"], 1e-6) for water in WATERS])
    stated = stated / stated.sum()
    size = assumptions.entries["share_concentration"]
    # On the log scale a share worth n boats has a variance of about 1 / (n share).
    width = np.append(
        1 / np.sqrt(REGION_BOATS * stated), np.log(size.high / size.low) / (2 * Z90)
    ).clip(0.01, 2.0)
    centre = np.append(np.log(stated), np.log(size.value))
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


def _table(
    counts: Array, answers: Array, modes: tuple[Mode, Mode], landings: pd.DataFrame
) -> pd.DataFrame:
    """Counts, shares and 90% intervals, in rows of landing, direction and water."""
    share, low, high, pooled = (np.empty(counts.shape) for _ in range(4))
    for d, mode in enumerate(modes):
        alpha = _prior(mode.spread())[:, None, :] + answers[d]
        total = alpha.sum(axis=2, keepdims=True)
        mean = alpha / total
        within = mean * (1 - mean) / (total + 1)
        matched = beta_from_moments(mean.mean(axis=0), within.mean(axis=0) + mean.var(axis=0))
        low[d], high[d] = beta_interval(*matched)
        best = _prior(mode.best)
        share[d] = (best + answers[d]) / (best + answers[d]).sum(axis=1, keepdims=True)
        pooled[d] = best / best.sum()
    index = pd.MultiIndex.from_product(
        [landings.index, DIRECTIONS, WATERS], names=["landing_id", "direction", "water"]
    )
    columns = {
        "n": np.broadcast_to(counts.sum(axis=2, keepdims=True), counts.shape).astype(int),
        "count": counts.astype(int),
        "share": share,
        "low": low,
        "high": high,
        "pooled": pooled,
    }
    return pd.DataFrame(
        {name: np.swapaxes(values, 0, 1).ravel() for name, values in columns.items()}, index=index
    )
