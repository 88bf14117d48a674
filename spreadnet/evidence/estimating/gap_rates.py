"""How often boats have each gap at each landing, and what talking changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import logit

from spreadnet.evidence.estimating.contacts import landing_positions, visit_positions
from spreadnet.evidence.region import DIRECTIONS, GAPS
from spreadnet.evidence.statistics import (
    Pooled,
    beta_binomial_mle,
    beta_from_range,
    design_effect,
    fit_pooled,
    poisson_slope,
)
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions

    Array = NDArray[np.floating]
    Positions = NDArray[np.integer]

__all__ = ["Gaps", "beta_binomial_mle", "fit_gaps"]

ENOUGH = 30  # boats of a kind checked for a gap before that kind has a rate of its own
FEWEST_CHECKED = 5  # landings before gaps are held against lake area
MIX_WEIGHT = 10.0  # boats that the region's mix of kinds counts for at each landing; no source
EDUCATION = {
    "check together": "education_check_together",
    "talk only": "education_talk_only",
}
CONTACTS = {  # what educators do to how many boats an hour they have hands for
    "check together": "contacts_check_together",
    "talk only": "contacts_talk_only",
}


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Gaps:
    """
    Gap rates of K landings, in the order of `DIRECTIONS` and `GAPS`.

    Attributes
    ----------
    table : DataFrame
        Index `landing_id, direction, gap`. `checked`, `found`: boats; `rate`, `low`, `high`:
        expected rate and 90% interval; `pooled`: the rate to which the landing is pulled.
    education : tuple of float
        Alpha and beta of the share of boats whose gap stays after the talk.
    education_counts : tuple of int
        Boats with a gap found of which it is noted that it stayed, and that it was put right.
    ballast : array, shape (K,)
        Expected share of boats that take on water as ballast.
    """

    table: pd.DataFrame
    education: tuple[float, float]
    education_counts: tuple[int, int]
    ballast: Array
    rates: tuple[tuple[Pooled, ...], ...]
    ballast_rate: Pooled

    @property
    def education_ratio(self) -> float:
        """Expected share of boats whose gap stays after the talk."""
        return self.education[0] / sum(self.education)

    @property
    def checked(self) -> NDArray[np.bool_]:
        """Landings where boats taken out were checked for anything, (K,)."""
        boats = self.table["checked"].xs("retrieving", level="direction")
        return boats.groupby(level="landing_id", sort=False).max().to_numpy() > 0

    def leaving_slope(self, log_area: Array) -> tuple[float, float] | None:
        """
        How the log of gaps found on boats taken out goes with lake area, and its standard error.

        Parameters
        ----------
        log_area : array, shape (K,)
            Of the lake of each landing.

        Returns
        -------
        slope, standard_error : float
            None below five landings with checks, or where no gap was found.

        Notes
        -----
        Poisson regression of gaps found by landing on those to expect at the region's rate of each
        gap; the error by the scatter between landings (sandwich).
        """
        boats = self.table.xs("retrieving", level="direction")[["checked", "found"]]
        sums = boats.groupby(level="gap", sort=False).transform("sum")
        expected = boats["checked"] * sums["found"] / sums["checked"].clip(lower=1)
        by = pd.DataFrame({"found": boats["found"], "expected": expected})
        by = by.groupby(level="landing_id", sort=False).sum()
        some = by["expected"].to_numpy() > 0
        if some.sum() < FEWEST_CHECKED or np.ptp(log_area[some]) <= 0:
            return None
        found, at_rate = by.to_numpy(float)[some].T
        return poisson_slope(found, at_rate, log_area[some])

    def mean(self) -> Array:
        """Expected gap rates, shape (2, G, K)."""
        return np.stack([np.stack([one.mean() for one in row]) for row in self.rates])

    def draw(self, rng: np.random.Generator) -> Array:
        """One set of gap rates, the region's own numbers drawn first, shape (2, G, K)."""
        return np.stack([np.stack([one.draw(rng) for one in row]) for row in self.rates])

    def draw_education(self, rng: np.random.Generator) -> float:
        """One share of boats whose gap stays after the talk."""
        return float(rng.beta(*self.education))

    def draw_ballast(self, rng: np.random.Generator) -> Array:
        """One set of ballast shares, shape (K,)."""
        return self.ballast_rate.draw(rng)


def fit_gaps(
    contacts: pd.DataFrame,
    visits: pd.DataFrame,
    landings: pd.DataFrame,
    *,
    assumptions: Assumptions,
    education: str = "check together",
) -> Gaps:
    """
    Gap rates of every landing, pulled towards the region's.

    Parameters
    ----------
    contacts, visits, landings : DataFrame
        As in `Region`. Contacts may have no rows.
    assumptions : Assumptions
        `gap_plug` and so on for each gap, `gap_precision`, `ballast_share`, and the education
        ratio of the kind of `education`.
    education : str
        `check together` or `talk only`, as in `region.toml`.

    Returns
    -------
    gaps : Gaps
        Ordered by `landings.index`.

    Raises
    ------
    ValueError
        If `education` is neither, or a contact's visit or landing does not exist.

    Notes
    -----
    Beta-binomial for each direction and gap (see `pooling.fit_pooled`). Not checked is never no:
    it is left out of `checked`. Where two kinds of boat or more have 30 boats checked each, the
    rate to which a landing is pulled follows its own mix of kinds. Counts are divided by their
    design effect. `education` starts from the assumption and is updated by `corrected` of boats
    with a gap found, clustered by landing.

    Examples
    --------
    >>> from spreadnet.assumptions import DEFAULT
    >>> visits = pd.DataFrame({"landing_id": ["A"]}, index=["V1"])
    >>> contacts = pd.DataFrame(
    ...     {
    ...         "visit_id": ["V1"] * 3,
    ...         "direction": ["retrieving"] * 3,
    ...         "craft": ["motor"] * 3,
    ...         "plug": pd.array([True, False, None], dtype="boolean"),
    ...         "corrected": pd.array([True, None, None], dtype="boolean"),
    ...     }
    ... )
    >>> for gap in GAPS[1:]:
    ...     contacts[gap] = pd.array([None] * 3, dtype="boolean")
    >>> gaps = fit_gaps(contacts, visits, pd.DataFrame(index=["A"]), assumptions=DEFAULT)
    >>> gaps.table.loc[("A", "retrieving", "plug"), ["checked", "found"]].tolist()
    [2, 1]
    """
    if education not in EDUCATION:
        message = f"Invalid education '{education}'. One of {tuple(EDUCATION)}."
        raise ValueError(message)
    visit = visit_positions(contacts, visits)
    visited = landing_positions(visits["landing_id"], landings)
    precision = assumptions.entries["gap_precision"]
    craft = contacts["craft"].astype(object).fillna("unknown").to_numpy()
    rates, counts = [], []
    for direction in DIRECTIONS:
        here = (contacts["direction"] == direction).to_numpy(dtype=bool)
        for gap in GAPS:
            answer = _yes_no(contacts[gap])
            used = here & np.isfinite(answer)
            found, checked, effect = _by_landing(answer, used, visit, visited, len(landings))
            offset = _craft_offset(answer, used, here, craft, visited[visit], len(landings))
            share = assumptions.entries[f"gap_{gap}"]
            fit = fit_pooled(
                found / effect, checked / effect, share=share, precision=precision, offset=offset
            )
            rates.append(fit)
            counts.append((checked, found))
    known = craft != "unknown"
    ballast = np.where(known, craft == "ballast", np.nan).astype(float)
    found, checked, effect = _by_landing(ballast, known, visit, visited, len(landings))
    share = assumptions.entries["ballast_share"]
    ballast_rate = fit_pooled(found / effect, checked / effect, share=share, precision=precision)
    alpha_beta, noted = _education(contacts, visited[visit], assumptions, EDUCATION[education])
    return Gaps(
        table=_table(rates, counts, landings),
        education=alpha_beta,
        education_counts=noted,
        ballast=ballast_rate.mean(),
        rates=(tuple(rates[: len(GAPS)]), tuple(rates[len(GAPS) :])),
        ballast_rate=ballast_rate,
    )


def _yes_no(column: pd.Series) -> Array:
    """A yes/no column as 1, 0 and NaN."""
    return np.asarray(column.astype("boolean").to_numpy(dtype=float, na_value=np.nan), float)


def _by_landing(
    answer: Array, used: NDArray[np.bool_], visit: Positions, visited: Positions, landings: int
) -> tuple[Array, Array, float]:
    """Yes answers and all answers at each landing, and their design effect."""
    yes = np.bincount(visit[used], answer[used], minlength=len(visited))
    every = np.bincount(visit[used], minlength=len(visited)).astype(float)
    effect = design_effect(np.column_stack([yes, every - yes]), visited)
    found, checked = (
        np.bincount(visited, n, minlength=landings).astype(float) for n in (yes, every)
    )
    return found, checked, effect


def _craft_offset(
    answer: Array,
    used: NDArray[np.bool_],
    here: NDArray[np.bool_],
    craft: NDArray[np.object_],
    landing: Positions,
    landings: int,
) -> Array:
    """
    What a landing's own mix of kinds of boat adds to the log odds of the region's rate, (K,).

    Kinds with few boats checked share one rate; zero everywhere if fewer than two have enough.
    """
    kinds, checked = np.unique(craft[used & (craft != "unknown")], return_counts=True)
    enough = kinds[checked >= ENOUGH]
    if len(enough) < 2:
        return np.zeros(landings)
    group = np.full(len(craft), len(enough))
    for number, kind in enumerate(enough):
        group[craft == kind] = number
    n = np.bincount(group[used], minlength=len(enough) + 1)
    overall = float(answer[used].mean())
    yes = np.bincount(group[used], answer[used], minlength=len(enough) + 1)
    rate = (yes + MIX_WEIGHT * overall) / (n + MIX_WEIGHT)
    mix = np.zeros((landings, len(rate)))
    np.add.at(mix, (landing[here], group[here]), 1)
    region = mix.sum(axis=0) / mix.sum()
    mix = (mix + MIX_WEIGHT * region) / (mix.sum(axis=1, keepdims=True) + MIX_WEIGHT)
    expected = np.clip(mix @ rate, 1e-6, 1 - 1e-6)
    return logit(expected) - logit(np.clip(region @ rate, 1e-6, 1 - 1e-6))


def _education(
    contacts: pd.DataFrame, landing: Positions, assumptions: Assumptions, name: str
) -> tuple[tuple[float, float], tuple[int, int]]:
    """Beta posterior of the share of boats whose gap stays, and the counts behind it."""
    alpha, beta = beta_from_range(assumptions.entries[name])
    corrected = _yes_no(contacts["corrected"])
    missed = np.any([_yes_no(contacts[gap]) == 1 for gap in GAPS], axis=0)
    used = missed & np.isfinite(corrected)
    size = int(landing.max()) + 1 if len(landing) else 0
    yes = np.bincount(landing[used], corrected[used], minlength=size)
    stayed = np.bincount(landing[used], minlength=size) - yes
    # Educators and boaters differ between landings, so landings are clusters of one group.
    effect = design_effect(np.column_stack([stayed, yes]), np.zeros(size, dtype=int))
    counts = int(stayed.sum()), int(yes.sum())
    return (alpha + counts[0] / effect, beta + counts[1] / effect), counts


def _table(
    rates: list[Pooled], counts: list[tuple[Array, Array]], landings: pd.DataFrame
) -> pd.DataFrame:
    """What a reader is told of each landing, direction and gap."""
    index = pd.MultiIndex.from_product(
        [landings.index, DIRECTIONS, GAPS], names=["landing_id", "direction", "gap"]
    )
    intervals = [one.interval() for one in rates]
    columns = {
        "checked": [checked.astype(int) for checked, _ in counts],
        "found": [found.astype(int) for _, found in counts],
        "rate": [one.mean() for one in rates],
        "low": [low for low, _ in intervals],
        "high": [high for _, high in intervals],
        "pooled": [one.pooled() for one in rates],
    }
    return pd.DataFrame({n: np.stack(v).T.ravel() for n, v in columns.items()}, index=index)
