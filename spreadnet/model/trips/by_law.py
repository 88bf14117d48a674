"""Trips by a law, worked out from coordinates only where they are asked for (extra `fast`)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.fast.bridge import kernels
from spreadnet.model.trips.dense import Trips

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.model.laws import DistanceLaw

    Array = NDArray[np.floating]

LANES = 64  # rows are filled up to a multiple of this, so that none ends in single steps
FAR_KM = 1e15  # where the places that fill a row lie
LN2 = np.log(2.0)


@dataclass(frozen=True, slots=True, eq=False)
class LawTrips:
    """
    Trips between landings as a law gives them, worked out only where they are asked for.

    What `Trips` holds as a matrix is here a few numbers a landing, so that thousands of sets of
    parameters cost little memory.

    Attributes
    ----------
    landing_km : array, shape (K, 2)
        Easting and northing of landings.
    lake_km : array, shape (A, 2)
        Where trips to each lake with a landing end, see `distance.lake_points`.
    group : array of int, shape (K,)
        Place of each landing's lake among these.
    split : array, shape (K,)
        Share of its lake's boats that leave from each landing.
    arriving : array, shape (K,)
        Trips a season that arrive at each landing.
    pull : array, shape (A,)
        Logarithm of how much each lake attracts; -inf where nobody goes.
    law : DistanceLaw
        How the pull falls with distance.
    coefficients : array, shape (M,)
        One a term of the law.
    """

    landing_km: Array
    lake_km: Array
    group: NDArray[np.integer]
    split: Array
    arriving: Array
    pull: Array
    law: DistanceLaw
    coefficients: Array

    def __post_init__(self) -> None:
        sizes = (len(self.landing_km), len(self.lake_km))
        by_landing = (self.group, self.split, self.arriving)
        if any(len(each) != sizes[0] for each in by_landing) or len(self.pull) != sizes[1]:
            message = f"Invalid trips. {sizes[0]} landings and {sizes[1]} lakes need as many values"
            raise ValueError(f"{message} each.")
        if not all(np.isfinite(points).all() for points in (self.landing_km, self.lake_km)):
            message = "Invalid points. Every place needs a finite easting and northing."
            raise ValueError(message)
        if np.isnan(self.pull).any():
            message = "Invalid pull. Every lake with a landing needs a number."
            raise ValueError(message)

    def stored(self) -> Trips:
        """
        All trips in one matrix, `float32`.

        Returns
        -------
        trips : Trips
            As `movement.destination_shares` and `movement.lake_trips` give them, to seven digits.

        Raises
        ------
        ValueError
            If two places coincide under a law that is infinite there.
        """
        by_origin = np.zeros((len(self.group), len(self.pull)), np.float32)
        if by_origin.size and len(self.pull) > 1:
            landings, lakes = centred_places(self)
            kernels().trips_by_origin(
                landings,
                lakes,
                np.ascontiguousarray(self.group, np.int64),
                masses([self])[0],
                law_numbers(self),
                self.arriving.astype(np.float32),
                by_origin,
            )
        return Trips(by_origin, self.group, self.split)


def centred_places(trips: LawTrips) -> tuple[Array, Array]:
    """
    Eastings and northings around the middle, where single precision is finest.

    Parameters
    ----------
    trips : LawTrips
        Places and law.

    Returns
    -------
    landings, lakes : arrays, shapes (2, K) and (2, A or more)
        Kilometres, `float32`; lakes are filled up to whole lanes with places far away.

    Raises
    ------
    ValueError
        If two places coincide under a law that is infinite there.
    """
    if trips.law.softening_km == 0 and trips.law.terms != ("distance",):
        _refuse_coinciding(trips)
    centre = trips.landing_km.mean(axis=0)
    n_lakes = len(trips.lake_km)
    lakes = np.full((2, _whole_lanes(n_lakes)), FAR_KM, np.float32)
    lakes[:, :n_lakes] = (trips.lake_km - centre).T
    return np.ascontiguousarray((trips.landing_km - centre).T.astype(np.float32)), lakes


def masses(trips: Sequence[LawTrips]) -> Array:
    """
    How much lakes attract, to the base 2 and less the greatest.

    Parameters
    ----------
    trips : sequence of LawTrips, length D
        Between the same places.

    Returns
    -------
    masses : array, shape (D, A or more)
        `float32`, filled up to whole lanes with -inf.
    """
    n_lakes = len(trips[0].pull)
    filled = np.full((len(trips), _whole_lanes(n_lakes)), -np.inf, np.float32)
    for row, one in zip(filled, trips, strict=True):
        top = one.pull.max(initial=-np.inf)
        row[:n_lakes] = (one.pull - (top if np.isfinite(top) else 0.0)) / LN2
    return filled


def law_numbers(trips: LawTrips) -> Array:
    """
    Any of the laws in four numbers, to the base 2.

    Parameters
    ----------
    trips : LawTrips
        Law and coefficients.

    Returns
    -------
    numbers : array, shape (4,)
        Coefficients of the logarithm, the distance and the squared logarithm; softening in km.
    """
    given = dict(zip(trips.law.terms, np.asarray(trips.coefficients, float), strict=True))
    terms = [
        given.get("log_distance", 0.0),
        given.get("distance", 0.0) / LN2,
        given.get("log_distance_squared", 0.0) * LN2,
        trips.law.softening_km,
    ]
    return np.array(terms, np.float32)


def _whole_lanes(n: int) -> int:
    """The next multiple of `LANES`."""
    return -(-n // LANES) * LANES


def _refuse_coinciding(trips: LawTrips) -> None:
    """Without softening a place on top of another would have an infinite pull."""
    for landing, own in zip(trips.landing_km, trips.group, strict=True):
        at = (trips.lake_km.astype(np.float32) == landing.astype(np.float32)).all(axis=1)
        if np.delete(at, own).any():
            message = "Invalid distance_km '0.0'. It must be 0 or more, and above 0 when "
            raise ValueError(f"{message}softening_km is 0.")
