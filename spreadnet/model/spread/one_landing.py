"""Coverage at one landing alone: what it avoids, exactly, for many landings at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread.between_lakes import lake_rates
from spreadnet.model.spread.expected import Coverage, expected_spread
from spreadnet.model.spread.incidence import collapse_matrix

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.spread.between_lakes import FlowRates, LakeRates
    from spreadnet.model.spread.expected import SpreadInputs

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

    Notes
    -----
    With B the rates between lakes, coverage at a landing of lake i changes row i (boats leaving)
    and column i (boats arriving) of B. The difference D to the run without coverage follows
    D B + (x_i + D_i) row + ((x + D) . column + outside) at i, so that all P go through one product
    a season.
    """
    if not len(landings) == len(leaving) == len(arriving):
        message = f"Invalid coverage of {len(leaving)} and {len(arriving)} shares. One a landing "
        raise ValueError(f"{message}is needed, {len(landings)}.")
    base = expected_spread(inputs, Coverage.none(len(inputs.landing_lake)), seasons=seasons)
    rates = lake_rates(inputs)
    hazards, infested = base.cumulative_hazard, base.infested
    parts = [np.zeros(0)]
    for first in range(0, len(landings), AT_ONCE):
        some = slice(first, first + AT_ONCE)
        rows, columns, outside = _changes(
            inputs, rates, landings[some], leaving[some], arriving[some]
        )
        lake = inputs.landing_lake[landings[some]]
        turn = np.arange(len(lake))
        own = np.searchsorted(rates.lakes, lake)
        further = np.zeros((len(lake), len(inputs.initial)))  # hazard summed, beyond that without
        for season in range(seasons):
            free = (1 - inputs.initial) * np.exp(-hazards[season])
            more = -free * np.expm1(-further)  # infested, beyond those without; (P, L)
            at_lakes = more[:, rates.lakes]
            state = infested[season][rates.lakes] + at_lakes
            change = rates.sent(at_lakes).astype(float)
            change += state[turn, own][:, None] * rows
            change[turn, own] += (state * columns).sum(axis=1) + outside
            introductions = base.introductions[season]
            boats = np.zeros_like(further)
            boats[:, rates.lakes] = _power_change(
                introductions[rates.lakes], change, inputs.allee_exponent
            )
            further += inputs.habitat * (boats + more @ inputs.streams)
        gone = inputs.worth * (1 - inputs.initial) * np.exp(-hazards[-1])
        parts.append(np.expm1(-further) @ gone)
    return np.concatenate(parts)


def _changes(
    inputs: SpreadInputs,
    rates: LakeRates | FlowRates,
    landings: NDArray[np.integer],
    leaving: Array,
    arriving: Array,
) -> tuple[Array, Array, Array]:
    """Changes of the row (boats leaving), column (arriving) and outside of its lake, (P, A)."""
    lost = inputs.establish * inputs.weights * inputs.education_effect
    summed = collapse_matrix(np.searchsorted(rates.lakes, inputs.landing_lake), len(rates.lakes)).T
    out = -(inputs.leaving[:, landings] * leaving).T * lost
    rows = ((out @ inputs.arriving) * inputs.trips.rows(landings)) @ summed
    into = -(inputs.arriving[:, landings] * arriving).T * lost
    columns = ((into @ inputs.leaving) * inputs.trips.columns(landings).T) @ summed
    return rows, columns, (into @ inputs.outside_leaving) * inputs.outside_boats[landings]


def _power_change(introductions: Array, change: Array, exponent: float) -> Array:
    """What a change of introductions changes of their power."""
    if exponent == 1:
        return change
    return np.maximum(introductions + change, 0.0) ** exponent - introductions**exponent
