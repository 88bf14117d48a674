"""The one way from the model to compiled loops: arrays in, arrays out, the same answers."""

from __future__ import annotations

import os
from dataclasses import dataclass
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import numpy as np

from spreadnet.words import short_repr

if TYPE_CHECKING:
    import scipy.sparse as sp
    from numpy.typing import NDArray

    Array = NDArray[np.floating]

SWITCH = "SPREADNET_FAST"  # set to 0 to do without compiled code
LANES = 64  # rows are filled up to a multiple of this, so that none ends in single steps
FAR_KM = 1e15  # where the places that fill a row lie


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


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Seasons:
    """
    What single futures need, for the A lakes with a landing among L.

    Attributes
    ----------
    between : array of float32, shape (A, A), or None
        Introductions a season from the lake of the row, if it is infested, to that of the column;
        None where no matrix is held.
    place : array of int, shape (L,)
        Place of each lake among the A lakes, -1 without a landing.
    at_risk : array of int
        Lakes that something can reach, and live in.
    introductions : array, shape (A,)
        A season's introductions from outside and from lakes infested in every future.
    downstream : array, shape (L,), or (0,) without streams
        Hazard down the streams of lakes infested in every future.
    habitat : array, shape (L,)
        Suitability.
    allee_exponent : float
        Power of the introductions.
    streams : sparse array, shape (L, L)
        Hazard from the lake of the row to the lake of the column.
    """

    between: NDArray[np.floating] | None
    place: NDArray[np.int64]
    at_risk: NDArray[np.int64]
    introductions: Array
    downstream: Array
    habitat: Array
    allee_exponent: float
    streams: sp.sparray


def spread_futures(
    of: Seasons,
    first: NDArray[np.uint8],
    *,
    infested: NDArray[np.bool_],
    limits: Array,
    seasons: int,
) -> None:
    """
    Fill in the season of each lake's infestation for some futures.

    Parameters
    ----------
    of : Seasons
        What the futures share.
    first : array of uint8, shape (D, L)
        Filled in: season from 1; what is not infested is left as it is.
    infested : array of bool, shape (D, L)
        Lakes infested at the start beyond those infested in every future.
    limits : array, shape (D, L)
        Hazard that each lake withstands.
    seasons : int
        Seasons looked ahead, 1 to 254.

    Notes
    -----
    Sums are taken in the order and precision of `spread.futures`, so that both give the same.
    """
    rows = of.streams.tocsr()
    downhill = (
        rows.indptr.astype(np.int32),
        rows.indices.astype(np.int32),
        rows.data.astype(np.float64),
    )
    _spread_kernels().spread_futures(
        np.ascontiguousarray(of.between),
        (of.place, of.at_risk, np.ascontiguousarray(of.habitat, float)),
        (of.introductions, of.downstream),
        float(of.allee_exponent),
        downhill,
        (np.ascontiguousarray(infested), np.ascontiguousarray(limits, float)),
        seasons,
        first,
    )


def rates_between(
    by_origin: NDArray[np.float32], leaving: Array, arriving: Array, place: NDArray[np.integer]
) -> NDArray[np.float32]:
    """
    Introductions between lakes, as `spread.lake_rates` works them out.

    Parameters
    ----------
    by_origin : array of float32, shape (K, A)
        Trips from the lake of the column to the landing of the row.
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
    """
    loops = _spread_kernels()
    used = np.flatnonzero((arriving != 0).any(axis=0))  # the other routes carry nothing
    n_routes = -(-len(used) // loops.ROUTES) * loops.ROUTES
    left = np.zeros((n_routes, leaving.shape[1]), np.float32)
    into = np.zeros((len(place), n_routes), np.float32)
    left[: len(used)] = leaving[used]
    into[:, : len(used)] = arriving[:, used]
    order = np.argsort(place, kind="stable")
    starts = np.searchsorted(place[order], np.arange(left.shape[1] + 1))
    between = np.empty((left.shape[1], left.shape[1]), np.float32)
    loops.rates_between(by_origin, left, into, starts, order, between)
    return between


def trips_by_origin(
    places_km: tuple[Array, Array],
    group: NDArray[np.integer],
    pull: Array,
    law: Array,
    arriving: Array,
) -> NDArray[np.float32]:
    """
    Trips from lakes to landings as a law gives them.

    Parameters
    ----------
    places_km : two arrays, shapes (K, 2) and (A, 2)
        Easting and northing of landings, and of where trips to each lake end.
    group : array of int, shape (K,)
        Place of each landing's lake among the A lakes.
    pull : array, shape (A,)
        Logarithm of how much each lake attracts; -inf where nobody goes.
    law : array, shape (4,)
        Coefficients of the logarithm of the distance, the distance, and the squared logarithm;
        softening in km. All to the base 2.
    arriving : array, shape (K,)
        Trips a season that arrive at each landing.

    Returns
    -------
    by_origin : array of float32, shape (K, A)
        Trips a season; 0 from a landing's own lake.
    """
    from spreadnet.model.fast import trip_kernels as loops

    by_origin = np.zeros((len(group), len(pull)), np.float32)
    if by_origin.size and len(pull) > 1:
        landings, lakes = _centred(*places_km)
        loops.trips_by_origin(
            landings,
            lakes,
            np.ascontiguousarray(group, np.int64),
            _masses(pull),
            np.asarray(law, np.float32),
            arriving.astype(np.float32),
            by_origin,
        )
    return by_origin


def _centred(landing_km: Array, lake_km: Array) -> tuple[Array, Array]:
    """Places around the middle, where single precision is finest; lakes in whole lanes."""
    centre = landing_km.mean(axis=0)
    lakes = np.full((2, _whole_lanes(len(lake_km))), FAR_KM, np.float32)
    lakes[:, : len(lake_km)] = (lake_km - centre).T
    return np.ascontiguousarray((landing_km - centre).T.astype(np.float32)), lakes


def _masses(pull: Array) -> Array:
    """How much lakes attract, to the base 2 and less the greatest, in whole lanes."""
    filled = np.full(_whole_lanes(len(pull)), -np.inf, np.float32)
    top = pull.max(initial=-np.inf)
    filled[: len(pull)] = (pull - (top if np.isfinite(top) else 0.0)) / np.log(2.0)
    return filled


def _whole_lanes(n: int) -> int:
    """The next multiple of `LANES`."""
    return -(-n // LANES) * LANES


def _spread_kernels() -> Any:
    """Loops of the spread, loaded when first needed: numba takes half a second."""
    from spreadnet.model.fast import spread_kernels as module

    return module
