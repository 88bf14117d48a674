"""Coverage at one landing alone: what it avoids, exactly, for many landings at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread.between_lakes import Changes, lake_rates
from spreadnet.model.spread.expected import expected_spread
from spreadnet.model.spread.incidence import collapse_matrix

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.spread.between_lakes import Rates
    from spreadnet.model.spread.types import Path, SpreadInputs

    Array = NDArray[np.floating]

AT_ONCE = 256  # coverages worked on together


def avoided_at_one(
    inputs: SpreadInputs,
    landings: NDArray[np.integer],
    leaving: Array,
    arriving: Array,
    *,
    seasons: int,
) -> NDArray[np.float64]:
    """
    New infestations avoided by coverage at one landing and nowhere else, for P of them.

    Not the slope but the difference of two runs, worked out as a difference from the start: what
    one landing avoids is so small a part of the total that two totals would not tell it.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    landings : array of int, shape (P,)
        Position of the landing; may come up more than once.
    leaving, arriving : arrays, shape (P,)
        Share of its boats reached in every season, 0 to 1.
    seasons : int
        Seasons to look ahead, 1 or more.

    Returns
    -------
    avoided : array, shape (P,)
        Weighted by worth.

    Raises
    ------
    ValueError
        If the shapes disagree or `seasons` is below 1.
    """
    if not len(landings) == len(leaving) == len(arriving):
        message = f"Invalid coverage of {len(leaving)} and {len(arriving)} shares. One a landing "
        raise ValueError(f"{message}is needed, {len(landings)}.")
    rates = lake_rates(inputs, establish=1.0)
    base = expected_spread(inputs, seasons=seasons, rates=rates)
    gone = inputs.worth * (1 - inputs.initial) * np.exp(-base.cumulative_hazard[-1])
    parts = [np.zeros(0)]
    for first in range(0, len(landings), AT_ONCE):
        some = slice(first, first + AT_ONCE)
        changes = _changes(inputs, (rates, base), landings[some], leaving[some], arriving[some])
        beyond = expected_spread(inputs, seasons=seasons, changes=changes)
        parts.append(np.expm1(-beyond.cumulative_hazard[-1]) @ gone)
    return np.concatenate(parts)


def _changes(
    inputs: SpreadInputs,
    base: tuple[Rates, Path],
    landings: NDArray[np.integer],
    leaving: Array,
    arriving: Array,
) -> Changes:
    """Changes by each of some landings; every introduction counted once."""
    rates, path = base
    rows, columns, from_outside = unit_changes(inputs, rates, landings)
    outside = np.zeros((len(landings), len(rates.lakes)))
    turn, own = np.arange(len(landings)), np.searchsorted(rates.lakes, inputs.landing_lake)
    outside[turn, own[landings]] = arriving * from_outside
    changes = (rows * leaving[:, None], columns * arriving[:, None])
    return Changes(rates, path, own[landings], *changes, outside)


def unit_changes(
    inputs: SpreadInputs, rates: Rates, landings: NDArray[np.integer]
) -> tuple[Array, Array, Array]:
    """
    What reaching all boats of a landing changes of the rates between lakes, for U landings.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    rates : Rates
        `lake_rates(inputs, establish=1.0)`.
    landings : array of int, shape (U,)
        Positions of the landings.

    Returns
    -------
    rows, columns : arrays, shape (U, A)
        Of the landing's own lake, by boats leaving and by boats arriving.
    outside : array, shape (U,)
        Of what comes from outside, at its own lake.
    """
    lost = inputs.weights * inputs.education_effect
    place = np.searchsorted(rates.lakes, inputs.landing_lake)
    summed = collapse_matrix(place, len(rates.lakes)).T
    out = -inputs.leaving[:, landings].T * lost
    rows = ((out @ inputs.arriving) * inputs.trips.rows(landings)) @ summed
    into = -inputs.arriving[:, landings].T * lost
    columns = ((into @ inputs.leaving) * inputs.trips.columns(landings).T) @ summed
    outside = (into @ inputs.outside_leaving) * inputs.outside_boats[landings]
    return rows, columns, outside
