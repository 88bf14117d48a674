"""Trips by a law, worked out from coordinates only where they are asked for (extra `fast`)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.fast import trips_by_origin
from spreadnet.model.trips.dense import Trips
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.laws import DistanceLaw

    Array = NDArray[np.floating]

# Terms that the compiled loops know, each with what takes its coefficient to the base 2.
TO_BASE_2 = {"log_distance": 1.0, "distance": 1 / np.log(2.0), "log_distance_squared": np.log(2.0)}


@short_repr
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
            If two places coincide under a law that is infinite there, or the law has a term that
            the compiled loops don't know.
        """
        if self.law.softening_km == 0 and self.law.terms != ("distance",):
            _refuse_coinciding(self)
        by_origin = trips_by_origin(
            (self.landing_km, self.lake_km),
            self.group,
            self.pull,
            law_numbers(self.law, self.coefficients),
            self.arriving,
        )
        return Trips(by_origin, self.group, self.split, law=self)


def law_numbers(law: DistanceLaw, coefficients: Array) -> Array:
    """
    A law in the four numbers that the compiled loops take, to the base 2.

    Parameters
    ----------
    law : DistanceLaw
        How the pull falls with distance.
    coefficients : array, shape (M,)
        One a term of the law.

    Returns
    -------
    numbers : array, shape (4,)
        Coefficients of the logarithm, the distance and the squared logarithm; softening in km.

    Raises
    ------
    ValueError
        If the law has a term that the loops don't know; it would be left out without a word.

    Examples
    --------
    >>> from spreadnet.model.laws import POWER
    >>> law_numbers(POWER, np.array([-1.5]))
    array([-1.5,  0. ,  0. ,  1. ], dtype=float32)
    """
    unknown = [term for term in law.terms if term not in TO_BASE_2]
    if unknown:
        message = f"Invalid law '{law.name}'. The compiled loops know no term {unknown[0]}; set "
        raise ValueError(f"{message}SPREADNET_FAST=0 to work without them.")
    given = dict(zip(law.terms, np.asarray(coefficients, float), strict=True))
    terms = [given.get(term, 0.0) * factor for term, factor in TO_BASE_2.items()]
    return np.array([*terms, law.softening_km], np.float32)


def _refuse_coinciding(trips: LawTrips) -> None:
    """Without softening a place on top of another would have an infinite pull."""
    for landing, own in zip(trips.landing_km, trips.group, strict=True):
        at = (trips.lake_km.astype(np.float32) == landing.astype(np.float32)).all(axis=1)
        if np.delete(at, own).any():
            message = "Invalid distance_km '0.0'. It must be 0 or more, and above 0 when "
            raise ValueError(f"{message}softening_km is 0.")
