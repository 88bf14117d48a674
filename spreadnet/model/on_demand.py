"""One future for each set of parameters, without a matrix for any (extra `fast`)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from spreadnet.model.fast.bridge import (
    NEVER,
    at_risk,
    down_streams,
    kernels,
    spread_kernels,
    stream_lists,
)
from spreadnet.model.spread.expected import Coverage, covered
from spreadnet.model.trips.by_law import LawTrips, centred_places, law_numbers, masses

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.model.spread.expected import SpreadInputs

    Array = NDArray[np.floating]

AT_ONCE = 32  # laws for which one pass over distances serves
ROUTES = 6  # as in `spread_kernels`


def simulate_on_demand(
    inputs: Sequence[SpreadInputs],
    *,
    limits: Array,
    infested: NDArray[np.bool_],
    seasons: int,
    coverage: Coverage | None = None,
) -> NDArray[np.uint8]:
    """
    One future for each of several sets of parameters, without a matrix for any.

    A landing's boats are shared among lakes by weights over their sum. The sums are worked out for
    every landing, the weights themselves only for lakes that become infested.

    Parameters
    ----------
    inputs : sequence of SpreadInputs, length D
        One species and region with different numbers; their trips must be `LawTrips` between the
        same places by the same law.
    limits : array, shape (D, L)
        Hazard that each lake withstands, see `simulation.thresholds`.
    infested : array of bool, shape (D, L)
        Lakes infested at the start.
    seasons : int
        Seasons to look ahead, 1 to 254.
    coverage : Coverage, optional
        Shares of boats reached; nobody when left out.

    Returns
    -------
    first_season : array of uint8, shape (D, L)
        Season from 1 in which a lake is infested, 0 at the start, `NEVER` not within `seasons`.

    Raises
    ------
    ValueError
        If the trips are not `LawTrips` between the same places by the same law.
    """
    first = np.full(limits.shape, NEVER, np.uint8)
    for start in range(0, len(inputs), AT_ONCE):
        some = slice(start, start + AT_ONCE)
        _on_demand(
            inputs[some], first[some], limits[some], infested[some], seasons, coverage=coverage
        )
    return first


def _on_demand(
    inputs: Sequence[SpreadInputs],
    first: NDArray[np.uint8],
    limits: Array,
    infested: NDArray[np.bool_],
    seasons: int,
    *,
    coverage: Coverage | None,
) -> None:
    """Futures of as many sets of parameters as one pass over distances serves."""
    trips = _same_places([one.trips for one in inputs])
    base = trips[0]
    lakes, group = np.unique(inputs[0].landing_lake, return_inverse=True)
    if not np.array_equal(group, base.group):
        message = "Invalid trips. Lakes must be in the order of their positions in the region."
        raise ValueError(message)
    place = np.full(len(first[0]), -1, np.int64)
    place[lakes] = np.arange(len(lakes))
    first[infested] = 0
    suitable = np.any([one.habitat > 0 for one in inputs], axis=0)
    kept = np.flatnonzero((suitable & (first > 0).any(axis=0))[inputs[0].landing_lake])
    landings, ends = centred_places(base)
    landings, group = np.ascontiguousarray(landings[:, kept]), group[kept].astype(np.int64)
    mass, laws = masses(trips), np.array([law_numbers(one) for one in trips])
    nearest = np.empty(len(kept), np.float32)
    totals, shifts = (np.empty((len(trips), len(kept)), np.float32) for _ in range(2))
    kernels().normalisers(landings, ends, group, mass, laws, nearest, totals, shifts)
    log_nearest = np.log2(nearest + np.float32(base.law.softening_km))
    own = np.argsort(group, kind="stable")
    own_start = np.searchsorted(group[own], np.arange(len(lakes) + 1))
    for draw, one in enumerate(inputs):
        leaving, arriving, outside = _carriage(one, trips[draw], coverage, kept, totals[draw])
        spread_kernels().spread_on_demand(
            landings,
            ends,
            group,
            own_start,
            own,
            mass[draw],
            laws[draw],
            np.array([nearest, log_nearest, shifts[draw]]),
            leaving,
            arriving,
            place,
            at_risk(one, place, first[draw] > 0),
            outside,
            down_streams(one, np.zeros(len(place), bool)),
            np.ascontiguousarray(one.habitat, float),
            float(one.allee_exponent),
            *stream_lists(one.streams),
            np.flatnonzero(infested[draw]),
            np.ascontiguousarray(limits[draw], float),
            seasons,
            first[draw],
        )


def _carriage(
    inputs: SpreadInputs,
    trips: LawTrips,
    coverage: Coverage | None,
    kept: NDArray[np.integer],
    totals: Array,
) -> tuple[Array, Array, Array]:
    """Rates on leaving by lake, rates on arriving by landing and weight, and from outside."""
    nobody = Coverage.none(len(trips.group))
    left, into = covered(inputs, nobody if coverage is None else coverage)
    used = np.flatnonzero(inputs.weights > 0)  # the rest carries nothing
    into = into[used] * (inputs.establish * inputs.weights[used])[:, None]
    n_lakes = len(trips.pull)
    n_columns = -(-max(len(used), 1) // ROUTES) * ROUTES
    leaving = np.zeros((n_lakes, n_columns), np.float32)
    for column, route in enumerate(used):
        leaving[:, column] = np.bincount(trips.group, left[route] * trips.split, n_lakes)
    by_landing = (inputs.outside_leaving[used] @ into) * inputs.outside_boats
    scale = np.divide(trips.arriving[kept], totals, out=np.zeros(len(kept)), where=totals > 0)
    arriving = np.zeros((n_columns, len(kept)), np.float32)
    arriving[: len(used)] = into[:, kept] * scale
    return leaving, arriving, np.bincount(trips.group, by_landing, n_lakes).astype(float)


def _same_places(trips: Sequence[Any]) -> list[LawTrips]:
    """The trips, refused where they don't share places and law."""
    same = all(
        isinstance(one, LawTrips)
        and one.law == trips[0].law
        and all(
            getattr(one, name) is getattr(trips[0], name)
            or np.array_equal(getattr(one, name), getattr(trips[0], name))
            for name in ("landing_km", "lake_km", "group")
        )
        for one in trips
    )
    if not same:
        message = "Invalid trips. All must be LawTrips between the same places by the same law."
        raise ValueError(message)
    return list(trips)
