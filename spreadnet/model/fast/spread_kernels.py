"""Compiled inner loops of the spread: the same statuses as with NumPy, in less time."""

from __future__ import annotations

from typing import Any

import numpy as np

from spreadnet.model.fast.trip_kernels import FUSED, compiled_for, f4

NEVER = 255  # as in `simulation`
ROUTES = 6  # on which boats are counted together
TILE = 64  # lakes whose rows are turned into columns together


_LAKES = "Tuple((i8[::1], i8[::1], f8[::1]))"  # place, at risk, habitat
_SUMS = "UniTuple(f8[::1], 2)"  # introductions, hazard down streams


@compiled_for(f"i8({_LAKES}, {_SUMS}, f8, f8[::1], f8[::1], u1[::1], i8, i8[::1])")
def _season(
    lakes: Any,
    sums: Any,
    exponent: Any,
    summed: Any,
    limits: Any,
    first: Any,
    season: Any,
    new: Any,
) -> Any:
    """Add a season's hazard where a lake is free; list the lakes that are infested by it."""
    place, at_risk, habitat = lakes
    introductions, streams = sums
    n_new = 0
    for lake in at_risk:
        if first[lake] != NEVER:
            continue
        if place[lake] >= 0:
            brought = introductions[place[lake]]
            summed[lake] += habitat[lake] * (brought if exponent == 1.0 else brought**exponent)
        if streams.size > 0:
            summed[lake] += habitat[lake] * streams[lake]
        if summed[lake] >= limits[lake]:
            first[lake] = season
            new[n_new] = lake
            n_new += 1
    return n_new


@compiled_for("void(i8[::1], i4[::1], i4[::1], f8[::1], f8[::1], f8[::1])")
def _add_streams(new: Any, start: Any, downstream: Any, hazard: Any, sums: Any, part: Any) -> None:
    """Add what newly infested lakes send down their streams, summed among themselves first."""
    for lake in new:
        for cell in range(start[lake], start[lake + 1]):
            part[downstream[cell]] += hazard[cell]
    for lake in new:
        for cell in range(start[lake], start[lake + 1]):
            sums[downstream[cell]] += part[downstream[cell]]
            part[downstream[cell]] = 0.0


@compiled_for(
    f"void(f4[:, ::1], {_LAKES}, {_SUMS}, f8, Tuple((i4[::1], i4[::1], f8[::1])), "
    "Tuple((b1[:, ::1], f8[:, ::1])), i8, u1[:, ::1])"
)
def spread_futures(
    between: Any,
    lakes: Any,
    always: Any,
    exponent: Any,
    downhill: Any,
    draws: Any,
    seasons: Any,
    first: Any,
) -> None:
    """Seasons in which lakes are infested when the rates between them are at hand."""
    place, (start, downstream, hazard) = lakes[0], downhill
    new_at_start, limits = draws
    n_lakes = limits.shape[1]
    # Summed in double, so that the order of adding shows in the sixteenth digit at most.
    sent, part = np.empty(between.shape[1]), np.zeros(always[1].size)
    new = np.empty(n_lakes, np.int64)
    summed = np.empty(n_lakes)
    for future in range(len(first)):
        introductions, streams = always[0].copy(), always[1].copy()
        summed[:] = 0.0
        n_new = 0
        for lake in range(n_lakes):
            if new_at_start[future, lake]:
                new[n_new] = lake
                n_new += 1
        for season in range(1, seasons + 1):
            sent[:] = 0
            for lake in new[:n_new]:
                if place[lake] >= 0:
                    row = between[place[lake]]
                    for i in range(sent.size):
                        sent[i] += row[i]
            for i in range(sent.size):
                introductions[i] += sent[i]
            if streams.size > 0:
                _add_streams(new[:n_new], start, downstream, hazard, streams, part)
            sums = (introductions, streams)
            limit, status = limits[future], first[future]
            n_new = _season(lakes, sums, exponent, summed, limit, status, season, new)


@compiled_for("void(f4[::1], f4[:, ::1], f4[::1], f4[::1])", **FUSED)
def _add_product(trips: Any, leaving: Any, arriving: Any, sums: Any) -> None:
    """Add trips times rates on six routes."""
    u0, u1, u2 = leaving[0], leaving[1], leaving[2]
    u3, u4, u5 = leaving[3], leaving[4], leaving[5]
    v0, v1, v2 = arriving[0], arriving[1], arriving[2]
    v3, v4, v5 = arriving[3], arriving[4], arriving[5]
    for i in range(sums.size):
        rate = v0 * u0[i] + v1 * u1[i] + v2 * u2[i] + v3 * u3[i] + v4 * u4[i] + v5 * u5[i]
        sums[i] += trips[i] * rate


@compiled_for("void(f4[:, ::1], f4[:, ::1], f4[:, ::1], i8[::1], i8[::1], f4[:, ::1])", **FUSED)
def rates_between(
    by_origin: Any, leaving: Any, arriving: Any, own_start: Any, own: Any, between: Any
) -> None:
    """Introductions from lake to lake, origin in rows; worked out and turned over tile by tile."""
    n_lakes = len(between)
    tile = np.empty((TILE, n_lakes), f4)
    for first in range(0, n_lakes, TILE):
        count = min(TILE, n_lakes - first)
        tile[:] = f4(0.0)
        for j in range(count):
            for k in own[own_start[first + j] : own_start[first + j + 1]]:
                for some in range(0, len(leaving), ROUTES):
                    out, into = leaving[some : some + ROUTES], arriving[k, some : some + ROUTES]
                    _add_product(by_origin[k], out, into, tile[j])
        for start in range(0, n_lakes, TILE):
            for i in range(start, min(start + TILE, n_lakes)):
                for j in range(count):
                    between[i, first + j] = tile[j, i]
