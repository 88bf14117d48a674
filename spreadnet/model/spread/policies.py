"""Many coverages at once: what each would leave of the new infestations, without the slope."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread.incidence import collapse_matrix

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.spread.expected import SpreadInputs

    Array = NDArray[np.floating]

AT_ONCE = 48  # coverages worked on together: trips are read once for all of them


def totals_under(
    inputs: SpreadInputs, leaving: Array, arriving: Array, *, seasons: int
) -> NDArray[np.float64]:
    """
    New infestations under each of several coverages, weighted by worth.

    The same recursion as `expected_spread`, with the trips read once a season for many coverages.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    leaving, arriving : arrays, shape (P, K)
        Share of boats reached at each landing under each of P coverages, 0 to 1.
    seasons : int
        Seasons to look ahead, 1 or more.

    Returns
    -------
    totals : array, shape (P,)
        As `total` of each path.

    Raises
    ------
    ValueError
        If the shapes disagree or `seasons` is below 1.
    """
    if leaving.shape != arriving.shape or leaving.shape[1:] != inputs.landing_lake.shape:
        message = f"Invalid coverages of shapes {leaving.shape} and {arriving.shape}. Both must "
        raise ValueError(f"{message}have {len(inputs.landing_lake)} columns.")
    if seasons < 1:
        message = f"Invalid seasons '{seasons}'. It must be 1 or more."
        raise ValueError(message)
    parts = [
        _totals(inputs, leaving[i : i + AT_ONCE], arriving[i : i + AT_ONCE], seasons)
        for i in range(0, len(leaving), AT_ONCE)
    ]
    return np.concatenate([np.zeros(0), *parts])


def _totals(inputs: SpreadInputs, leaving: Array, arriving: Array, seasons: int) -> Array:
    """Totals of one batch of coverages."""
    open_routes = np.flatnonzero(inputs.weights > 0)
    effect = inputs.education_effect[open_routes, None]
    collapse = collapse_matrix(inputs.landing_lake, len(inputs.initial))
    downstream = inputs.streams.T.tocsr()
    # Landings, routes, coverages: the order in which sums over routes are contiguous.
    left = inputs.leaving[open_routes].T[:, :, None] * (1 - effect * leaving.T[:, None, :])
    into = (inputs.arriving * inputs.weights[:, None])[open_routes].T[:, :, None] * (
        1 - effect * arriving.T[:, None, :]
    )
    outside = inputs.outside_boats[:, None] * inputs.outside_leaving[open_routes]
    from_outside = np.einsum("kr,krp->kp", outside, into)
    free = (1 - inputs.initial)[:, None]
    hazards = np.zeros((len(inputs.initial), len(leaving)))
    infested = np.broadcast_to(inputs.initial[:, None], hazards.shape)
    n_landings = len(inputs.landing_lake)
    for _ in range(seasons):
        at_origin = left * infested[inputs.landing_lake][:, None, :]
        carried = inputs.trips.into(at_origin.reshape(n_landings, -1)).reshape(left.shape)
        by_landing = np.einsum("krp,krp->kp", carried, into) + from_outside
        introductions = inputs.establish * (collapse @ by_landing)
        hazards = hazards + inputs.habitat[:, None] * (
            introductions**inputs.allee_exponent + downstream @ infested
        )
        infested = inputs.initial[:, None] - free * np.expm1(-hazards)
    return -(inputs.worth * (1 - inputs.initial)) @ np.expm1(-hazards)
