"""Which lakes the good done at a landing comes from and goes to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread import collapse_matrix
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.model.spread import Gradient, Path, SpreadInputs

    Array = NDArray[np.floating]

ROWS = 512  # landings a block: memory stays that of one block, not of all pairs


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Attribution:
    """
    The lakes that matter most to each landing, N of them.

    Attributes
    ----------
    to_lake, from_lake : arrays of int, shape (K, N)
        Positions of the lakes where boats leaving the landing would bring most new infestations,
        and of those that boats arriving would bring most from; largest first.
    to_value, from_value : arrays, shape (K, N)
        New infestations avoided on those boats by reaching all of them.
    to_total, from_total, from_outside : arrays, shape (K,)
        The same over all lakes, and for boats from outside the region.
    """

    to_lake: NDArray[np.integer]
    to_value: Array
    to_total: Array
    from_lake: NDArray[np.integer]
    from_value: Array
    from_total: Array
    from_outside: Array


def attribute(
    runs: Sequence[tuple[float, SpreadInputs, Path, Gradient]], *, first: int = 3
) -> Attribution:
    """
    Split what each landing avoids by the lake at the other end of the trip.

    Parameters
    ----------
    runs : sequence of (weight, inputs, path, gradient)
        One entry a species, made at no coverage; the weight is what one infestation counts.
    first : int
        Lakes named for each landing, 1 or more.

    Returns
    -------
    attribution : Attribution
        In the order of the landings; the totals equal the gradients' leaving and arriving.

    Raises
    ------
    ValueError
        If there is no species or `first` is below 1.
    """
    if not runs or first < 1:
        message = f"Invalid runs. {len(runs)} species and first {first}; both must be 1 or more."
        raise ValueError(message)
    inputs = runs[0][1]
    n_landings = len(inputs.landing_lake)
    lakes, of_landing = np.unique(inputs.landing_lake, return_inverse=True)  # no boat at others
    first = min(first, len(lakes))
    collapse = collapse_matrix(of_landing, len(lakes))
    tops: dict[str, list] = {"to": [], "from": []}
    for start in range(0, n_landings, ROWS):
        rows = slice(start, min(start + ROWS, n_landings))
        leaving = sum(w * _by_pair(i, p, g, rows, axis=0) for w, i, p, g in runs)
        arriving = sum(w * _by_pair(i, p, g, rows, axis=1) for w, i, p, g in runs)
        tops["to"].append(_top(leaving @ collapse.T, first))
        tops["from"].append(_top(arriving @ collapse.T, first))
    to_lake, to_value, to_total = (np.concatenate(part) for part in zip(*tops["to"], strict=True))
    from_lake, from_value, from_lakes = (
        np.concatenate(part) for part in zip(*tops["from"], strict=True)
    )
    from_total = np.sum([weight * slope.arriving for weight, _, _, slope in runs], axis=0)
    return Attribution(
        lakes[to_lake],
        to_value,
        to_total,
        lakes[from_lake],
        from_value,
        from_total,
        np.maximum(from_total - from_lakes, 0.0),
    )


def _by_pair(inputs: SpreadInputs, path: Path, slope: Gradient, rows: slice, *, axis: int) -> Array:
    """Avoided by landing of `rows` and landing at the other end: trips out of or into it."""
    gain = inputs.establish * slope.lake_value
    out = inputs.leaving * (inputs.education_effect * inputs.weights)[:, None]
    lake = inputs.landing_lake
    if axis == 0:
        trips = inputs.trips.rows(rows)
        routes = out[:, rows].T @ inputs.arriving
        seasons = path.infested[:-1, lake[rows]].T @ gain[:, lake]
    else:
        trips = inputs.trips.columns(rows).T
        routes = inputs.arriving[:, rows].T @ out
        seasons = gain[:, lake[rows]].T @ path.infested[:-1][:, lake]
    return trips * routes * seasons


def _top(by_lake: Array, first: int) -> tuple[NDArray[np.integer], Array, Array]:
    """Positions and values of the largest lakes of each row, and the row's sum."""
    left = np.array(by_lake)
    row = np.arange(len(left))
    order = np.empty((len(left), min(first, left.shape[1])), np.intp)
    for place in range(order.shape[1]):  # a few times the largest is quicker than to sort
        order[:, place] = left.argmax(axis=1)
        left[row, order[:, place]] = -np.inf
    return order, np.take_along_axis(by_lake, order, axis=1), by_lake.sum(axis=1)
