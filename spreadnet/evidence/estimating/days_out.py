"""How long boats that change waters are out of the water in between."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.evidence.estimating.contacts import contact_landings
from spreadnet.words import short_repr

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumption, Assumptions

    Array = NDArray[np.floating]

ENOUGH = 20  # answers above which the assumed distribution plays no part; no source
QUICK_DAYS = 5.0  # the span that the published share is about
PARTS = 20  # equally likely parts into which the assumed tail is cut


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class DaysOut:
    """
    Days out of water of boats that come from another water.

    Attributes
    ----------
    days : array, shape (Q,)
        Ascending, each value once.
    weight : array, shape (Q,)
        Share of boats, summing to 1.
    contacts : int
        Answers behind it; below 20 the assumed distribution makes up the rest.
    answers, times : arrays
        Days answered, each value once, and how often.
    """

    days: Array
    weight: Array
    contacts: int
    answers: Array
    times: Array
    quick: Assumption
    mean: Assumption

    def draw(self, rng: np.random.Generator) -> DaysOut:
        """
        One set of days and weights.

        Answers are weighted by the Bayesian bootstrap; the assumed distribution that makes up for
        too few is that of a share and a mean drawn from their ranges.
        """
        scores = rng.standard_normal(2)
        quick, mean = (e.at(z) for e, z in zip((self.quick, self.mean), scores, strict=True))
        missing = max(ENOUGH - self.contacts, 0)
        gamma = rng.standard_gamma(np.append(self.times, missing))
        days, weight = _mixed(self.answers, gamma[:-1], _assumed(quick, mean), gamma[-1])
        return replace(self, days=days, weight=weight)


def days_out(
    contacts: pd.DataFrame,
    visits: pd.DataFrame,
    landings: pd.DataFrame,
    *,
    assumptions: Assumptions,
) -> DaysOut:
    """
    Days out of water, from boats launched that were last in another water.

    What is carried dies on the way, so the days decide what arrives alive.

    Parameters
    ----------
    contacts, visits, landings : DataFrame
        As in `Region`. Contacts may have no rows.
    assumptions : Assumptions
        `days_out_quick`, `days_out_mean`.

    Returns
    -------
    days_out : DaysOut
        With fewer than 20 answers, the assumed distribution counts for the answers missing.

    Raises
    ------
    ValueError
        If a contact's visit or landing does not exist.

    Notes
    -----
    Assumed: `days_out_quick` of boats within five days, evenly; the others five days and then an
    exponential time with mean `days_out_mean`; draws take both from their ranges. Weights of
    answers are drawn by the Bayesian bootstrap (Rubin 1981, Ann Stat 9:130, from memory).

    Examples
    --------
    >>> import pandas as pd
    >>> from spreadnet.assumptions import DEFAULT
    >>> visits = pd.DataFrame({"landing_id": ["A"]}, index=["V1"])
    >>> landings = pd.DataFrame({"lake_id": ["L1"]}, index=["A"])
    >>> contacts = pd.DataFrame(
    ...     {
    ...         "visit_id": ["V1"] * 30,
    ...         "direction": ["launching"] * 30,
    ...         "last_water": ["L2"] * 20 + ["L1"] * 10,
    ...         "days_out": [3.0] * 15 + [8.0] * 15,
    ...     }
    ... )
    >>> seen = days_out(contacts, visits, landings, assumptions=DEFAULT)
    >>> seen.days, seen.weight, seen.contacts
    (array([3., 8.]), array([0.75, 0.25]), 20)
    """
    own = landings["lake_id"].to_numpy()[contact_landings(contacts, visits, landings)]
    water = contacts["last_water"]
    moved = water.notna() & (water != "none") & (water.astype(object) != own)
    used = (moved & (contacts["direction"] == "launching")).fillna(False).to_numpy(dtype=bool)
    answers = contacts["days_out"].to_numpy(dtype=float, na_value=np.nan)[used]
    answers = answers[np.isfinite(answers)]
    quick, mean = (assumptions.entries[f"days_out_{name}"] for name in ("quick", "mean"))
    missing = float(max(ENOUGH - len(answers), 0))
    assumed = _assumed(quick.value, mean.value)
    named, counts = np.unique(answers, return_counts=True)
    times = counts.astype(float)
    days, weight = _mixed(named, times, assumed, missing)
    return DaysOut(days, weight, len(answers), named, times, quick, mean)


def _mixed(
    answers: Array, times: Array, assumed: tuple[Array, Array], missing: float
) -> tuple[Array, Array]:
    """Distinct days and their shares, of answers and of the assumed part that makes up for them."""
    days, counts = answers, times
    if missing > 0:
        days = np.concatenate([answers, assumed[0]])
        counts = np.concatenate([times, missing * assumed[1]])
    days, place = np.unique(days, return_inverse=True)
    weight = np.bincount(place, counts)
    return days, weight / weight.sum()


def _assumed(quick: float, mean: float) -> tuple[Array, Array]:
    """Days and weights of the assumed distribution, each part by its middle."""
    within = np.arange(QUICK_DAYS) + 0.5
    after = QUICK_DAYS - mean * np.log1p(-(np.arange(PARTS) + 0.5) / PARTS)
    weight = [np.full(len(within), quick / len(within)), np.full(PARTS, (1 - quick) / PARTS)]
    return np.concatenate([within, after]), np.concatenate(weight)
