"""The first landings worked out anew with real hours: an hour's slope is not what 100 hours do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.hours import steady
from spreadnet.model.spread import avoided_at_one
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run

    Array = NDArray[np.floating]

SHORTLIST = 200  # the exact first 20 lay within the first 30 by slope, so this has room to spare
HOURS = 100.0  # worked in all seasons together, as the ranking counts
AT_BORDER = 20  # last landings of the list whose correction the landings beyond it get


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Exact:
    """
    What hours at one landing alone avoid, worked out exactly for the shortlist.

    Attributes
    ----------
    factor : array, shape (K,)
        Avoided by 100 hours over what the slope says of them; beyond the shortlist that of its
        last landings.
    listed : array of bool, shape (K,)
        Landings on the shortlist.
    most_hours : array, shape (K,)
        Hours a season when a landing is staffed as much as it may be; 0 where it can't be.
    avoided_at_most : array, shape (K,)
        Avoided by those hours in every season, all seasons together; NaN beyond the shortlist.
    """

    factor: Array
    listed: NDArray[np.bool_]
    most_hours: Array
    avoided_at_most: Array


def exact_effects(run: Run, *, shortlist: int = SHORTLIST) -> Exact:
    """
    Work out anew what real hours at each landing of the shortlist avoid.

    The slope at no coverage ranks all landings at the price of two runs. Covering a landing for
    good is more than a small step along it: what is kept out in one season is not sent on in the
    next, and a lake kept free can still be lost another way. So the order among the first is
    settled by running the spread with the hours in place, one landing at a time.

    Parameters
    ----------
    run : Run
        The model at the best estimates.
    shortlist : int
        Landings worked out, those with the highest slope; 1 or more.

    Returns
    -------
    exact : Exact
        In the order of the landings.
    """
    leaving, arriving = run.hour_values()
    values = leaving + arriving
    best = values.max(axis=1, initial=0.0)
    order = np.lexsort((run.reach.place, -steady(best)))
    chosen = order[:shortlist]
    chosen = chosen[best[chosen] > 0]
    most = np.where(run.reach.can_staff, run.reach.most_hours, 0.0)
    some = _placed(values, np.full(len(best), HOURS / run.seasons), run)
    full = _placed(values, most, run)
    by_slope = (some * values).sum(axis=1)  # over all seasons, as an hour's value is
    avoided = _avoided(run, [some, full], chosen)
    factor = np.ones(len(best))
    factor[chosen] = avoided[0] / by_slope[chosen]
    if len(chosen):
        factor[~np.isin(np.arange(len(best)), chosen)] = np.median(factor[chosen[-AT_BORDER:]])
    at_most = np.full(len(best), np.nan)
    at_most[chosen] = avoided[1]
    return Exact(factor, np.isin(np.arange(len(best)), chosen), full.sum(axis=1), at_most)


def _placed(values: Array, hours: Array, run: Run) -> Array:
    """Hours of each landing in its best day blocks, as far as the season has them, (K, D)."""
    order = np.lexsort((-run.reach.passing, -steady(values)), axis=1)
    room = run.reach.hours_in_season[order]
    before = np.cumsum(room, axis=1) - room
    placed = np.zeros_like(values)
    rows = np.arange(len(values))[:, None]
    placed[rows, order] = np.clip(hours[:, None] - before, 0, room)
    return placed


def _avoided(run: Run, hours: list[Array], chosen: NDArray[np.intp]) -> list[Array]:
    """Weighted infestations avoided by each way's hours at each chosen landing alone."""
    leaving, arriving = (
        np.concatenate([np.minimum((h * one).sum(axis=1), 1.0)[chosen] for h in hours])
        for one in (run.reach.leaving, run.reach.arriving)
    )
    landings = np.tile(chosen, len(hours))
    avoided = np.zeros(len(landings))
    for name, inputs in run.inputs.items():
        avoided += run.weights[name] * avoided_at_one(
            inputs, landings, leaving, arriving, seasons=run.seasons
        )
    return np.split(avoided, len(hours))
