"""The quick way, with the extra `fast`: the same answers from compiled code."""

from __future__ import annotations

import os
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import scipy.sparse as sp
    from numpy.typing import NDArray

    from spreadnet.model.spread.between_lakes import LakeRates
    from spreadnet.model.spread.expected import SpreadInputs
    from spreadnet.model.trips.dense import Trips

    Array = NDArray[np.floating]

SWITCH = "SPREADNET_FAST"  # set to 0 to do without compiled code
NEVER = 255  # as in `simulation`


def fast_available() -> bool:
    """
    Whether compiled code is there and wanted.

    Returns
    -------
    available : bool
        False without numba, or where the environment variable `SPREADNET_FAST` is 0.

    Examples
    --------
    >>> fast_available() in (True, False)
    True
    """
    return os.environ.get(SWITCH, "1") != "0" and find_spec("numba") is not None


def spread_futures(
    inputs: SpreadInputs,
    rates: LakeRates,
    first: NDArray[np.uint8],
    *,
    limits: Array,
    infested: NDArray[np.bool_],
    seasons: int,
) -> None:
    """
    Fill in the season of each lake's infestation for some futures.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    rates : LakeRates
        Rates between lakes.
    first : array of uint8, shape (D, L)
        Filled in: season from 1, 0 at the start; left as `NEVER` elsewhere.
    limits : array, shape (D, L)
        Hazard that each lake withstands.
    infested : array of bool, shape (D, L)
        Lakes infested at the start.
    seasons : int
        Seasons looked ahead, 1 to 254.

    Notes
    -----
    Sums are taken in the order and precision of `simulation`, so that both give the same.
    """
    first[infested] = 0
    # By what is known of the lake, not by these futures: sums must not depend on the pieces.
    always = inputs.initial == 1
    sent = rates.between[always[rates.lakes]].sum(axis=0, dtype=float)
    place = np.full(len(always), -1, np.int64)
    place[rates.lakes] = np.arange(len(rates.lakes))
    streams = stream_lists(inputs.streams)
    loops = spread_kernels()
    single = rates.between.dtype == np.float32
    spread = loops.spread_futures_single if single else loops.spread_futures_double
    spread(
        np.ascontiguousarray(rates.between),
        place,
        at_risk(inputs, place, ~always),
        rates.outside + sent,
        down_streams(inputs, always),
        np.ascontiguousarray(inputs.habitat, float),
        float(inputs.allee_exponent),
        *streams,
        np.ascontiguousarray(infested & ~always),
        np.ascontiguousarray(limits, float),
        seasons,
        first,
    )


def rates_between(
    trips: Trips, leaving: Array, arriving: Array, place: NDArray[np.integer]
) -> NDArray[np.float32]:
    """
    Introductions between lakes, as `lake_rates` works them out.

    Parameters
    ----------
    trips : Trips
        In `float32`, its groups in the order of the lakes.
    leaving : array, shape (R, A)
        Rates on leaving, the mean over each lake's boats.
    arriving : array, shape (K, R)
        Rates on arriving times the weight of the route.
    place : array of int, shape (K,)
        Place of each landing's lake among the A lakes.

    Returns
    -------
    between : array, shape (A, A)
        From the lake of the row to the lake of the column.

    Raises
    ------
    ValueError
        If the groups of `trips` are not the places.
    """
    if not np.array_equal(trips.group, place):
        message = "Invalid trips. Their groups must be in the order of the lakes."
        raise ValueError(message)
    loops = spread_kernels()
    used = np.flatnonzero((arriving != 0).any(axis=0))  # the other routes carry nothing
    n_routes = -(-len(used) // loops.ROUTES) * loops.ROUTES
    left = np.zeros((n_routes, leaving.shape[1]), np.float32)
    into = np.zeros((len(place), n_routes), np.float32)
    left[: len(used)] = leaving[used]
    into[:, : len(used)] = arriving[:, used]
    order = np.argsort(place, kind="stable")
    starts = np.searchsorted(place[order], np.arange(left.shape[1] + 1))
    between = np.empty((left.shape[1], left.shape[1]), np.float32)
    loops.rates_between(trips.by_origin, left, into, starts, order, between)
    return between


def stream_lists(
    streams: sp.sparray,
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.float64]]:
    """
    Streams as lists that compiled code can read.

    Parameters
    ----------
    streams : sparse array, shape (L, L)
        Hazard from the lake of the row to the lake of the column.

    Returns
    -------
    start, downstream, hazard : arrays
        Where each lake's streams start in the lists (L + 1,), to which lake each runs, and what
        it brings.
    """
    rows = streams.tocsr()
    return (
        rows.indptr.astype(np.int32),
        rows.indices.astype(np.int32),
        rows.data.astype(np.float64),
    )


def down_streams(inputs: SpreadInputs, infested: NDArray[np.bool_]) -> NDArray[np.float64]:
    """
    Hazard down the streams of infested lakes.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    infested : array of bool, shape (L,)
        Lakes that are infested.

    Returns
    -------
    hazard : array, shape (L,), or (0,) in a region without streams
        Before suitability.
    """
    if inputs.streams.nnz == 0:
        return np.zeros(0)
    return np.asarray(infested @ inputs.streams, float)


def at_risk(
    inputs: SpreadInputs, place: NDArray[np.integer], free: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """
    Lakes that a boat or a stream can bring something to, and where it can live.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    place : array of int, shape (L,)
        Place among the lakes with a landing, -1 without one.
    free : array of bool, shape (L,)
        Lakes that are not infested.

    Returns
    -------
    lakes : array of int
        Positions in ascending order.
    """
    reached = place >= 0
    if inputs.streams.nnz:
        reached = reached | (np.bincount(inputs.streams.tocoo().col, minlength=len(place)) > 0)
    return np.flatnonzero(reached & free & (inputs.habitat > 0)).astype(np.int64)


def kernels() -> Any:
    """
    Compiled loops of the law of movement, loaded when first needed: numba takes half a second.

    Returns
    -------
    kernels : module
        `spreadnet.model.fast.trip_kernels`.
    """
    from spreadnet.model.fast import trip_kernels as module

    return module


def spread_kernels() -> Any:
    """
    Compiled loops of the spread, loaded when first needed.

    Returns
    -------
    spread_kernels : module
        `spreadnet.model.fast.spread_kernels`.
    """
    from spreadnet.model.fast import spread_kernels as module

    return module
