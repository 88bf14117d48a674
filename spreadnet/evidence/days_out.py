"""How long boats that change waters are out of the water in between."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.evidence.contacts import contact_landings

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions

    Array = NDArray[np.floating]

ENOUGH = 20  # answers above which the assumed distribution plays no part; no source
QUICK_DAYS = 5.0  # the span that the published share is about
PARTS = 20  # equally likely parts into which the assumed tail is cut


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
    """

    days: Array
    weight: Array
    contacts: int

    def draw(self, rng: np.random.Generator) -> DaysOut:
        """The same days with one set of weights (Bayesian bootstrap)."""
        gamma = rng.standard_gamma(self.weight * max(self.contacts, ENOUGH))
        return DaysOut(self.days, gamma / gamma.sum(), self.contacts)


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
    exponential time with mean `days_out_mean`. Weights are drawn by the Bayesian bootstrap (Rubin
    1981, Ann Stat 9:130, from memory).

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
    assumed_days, assumed_weight = _assumed(assumptions)
    missing = max(ENOUGH - len(answers), 0)
    every = np.concatenate([answers, assumed_days]) if missing else answers
    counts = np.concatenate([np.ones(len(answers)), missing * assumed_weight])[: len(every)]
    days, place = np.unique(every, return_inverse=True)
    weight = np.bincount(place, counts)
    return DaysOut(days, weight / weight.sum(), len(answers))


def _assumed(assumptions: Assumptions) -> tuple[Array, Array]:
    """Days and weights of the assumed distribution, each part by its middle."""
    quick = assumptions["days_out_quick"]
    within = np.arange(QUICK_DAYS) + 0.5
    after = QUICK_DAYS - assumptions["days_out_mean"] * np.log1p(-(np.arange(PARTS) + 0.5) / PARTS)
    weight = [np.full(len(within), quick / len(within)), np.full(PARTS, (1 - quick) / PARTS)]
    return np.concatenate([within, after]), np.concatenate(weight)
