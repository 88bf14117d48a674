"""From educator hours to the share of boats they reach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread import Coverage
from spreadnet.words import short_repr

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from spreadnet.model.estimates import Estimates
    from spreadnet.model.inputs import Place
    from spreadnet.model.spread import Gradient

    Array = NDArray[np.floating]


DIGITS = 12  # decimals kept when values are put in order: last bits differ between machines


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Reach:
    """
    What one educator hour reaches, for K landings and D day blocks.

    Attributes
    ----------
    day_blocks : DataFrame, D rows
        `day_type`, `block`, `hours_in_season`.
    arriving, leaving : arrays, shape (K, D)
        Share of the season's boats arriving (leaving) that one hour reaches.
    boats : array, shape (K, D)
        Boats spoken with in one hour, both directions.
    passing : array, shape (K, D)
        Boats launched and retrieved in one hour, spoken with or not.
    place : array of int, shape (K,)
        Place of each landing in the order of ids, by which ties are broken.
    can_staff : array of bool, shape (K,)
        Whether educators may work there.
    most_hours : float
        Most hours one landing can take in the season.
    shift_hours : float
        Length of a shift.
    """

    day_blocks: pd.DataFrame
    arriving: Array
    leaving: Array
    boats: Array
    passing: Array
    place: NDArray[np.integer]
    can_staff: NDArray[np.bool_]
    most_hours: float
    shift_hours: float

    @property
    def hours_in_season(self) -> Array:
        """Hours of the season in each day block, shape (D,)."""
        return self.day_blocks["hours_in_season"].to_numpy(float)

    def best_first(self, values: Array) -> NDArray[np.integer]:
        """
        Cells of (K, D) `values` from the best to the worst, as positions in the flat array.

        Ties go to where more boats pass, then to the smaller id and the earlier block, so that
        the order of rows never decides.
        """
        place = np.broadcast_to(self.place[:, None], values.shape)
        block = np.broadcast_to(np.arange(values.shape[1]), values.shape)
        keys = (block, place, -self.passing, -steady(values))
        return np.lexsort([key.ravel() for key in keys])


def steady(values: Array) -> Array:
    """
    Values as shares of the largest without their last bits, so that equals are equal.

    Examples
    --------
    >>> steady(np.array([0.1 + 0.2, 0.3, 0.0]))
    array([1., 1., 0.])
    """
    largest = float(np.max(np.abs(values), initial=0.0))
    return np.asarray(values, float) if largest == 0 else np.round(values / largest, DIGITS)


def hour_reach(estimates: Estimates, place: Place) -> Reach:
    """
    Share of each landing's boats that one hour of a crew reaches.

    A crew has hands for only so many boats an hour, in both directions together, and some parties
    do not want to talk. Boats come in no even stream: in some hours there are more than a crew
    can speak with, in others fewer, so the mean of what is met lies below both.

    Parameters
    ----------
    estimates : Estimates
        Launches and retrievals an hour by landing and day block, by month, their spread between
        hours, the share that refuses and the boats that a crew has hands for.
    place : Place
        Day blocks, landings, settings.

    Returns
    -------
    reach : Reach
        Shares reached by one hour, in the order of the landings.

    Notes
    -----
    Boats met in an hour = `met_in_an_hour` of those passing in each month, times (1 - refusal),
    mean over the hours of the season; those launching and retrieving by their share of the boats
    passing, over the landing's boats in the season.
    """
    traffic, settings = estimates.traffic, place.settings
    hours = place.day_blocks["hours_in_season"].to_numpy(float)
    passing = traffic.launch_rate + traffic.retrieval_rate
    monthly = np.stack(
        [
            met_in_an_hour(
                passing * factor, estimates.contacts_per_hour, spread=traffic.visit_spread
            )
            for factor in traffic.by_month.T
        ],
        axis=-1,
    ) * (1 - traffic.refusal)
    share = place.month_hours / np.maximum(place.month_hours.sum(axis=1, keepdims=True), 1e-12)
    boats = np.einsum("kdm,dm->kd", monthly, share)
    met = boats / np.maximum(passing, 1e-12)
    launched = np.maximum(traffic.launch_rate @ hours, 1e-12)[:, None]
    retrieved = np.maximum(traffic.retrieval_rate @ hours, 1e-12)[:, None]
    return Reach(
        day_blocks=place.day_blocks,
        arriving=met * traffic.launch_rate / launched,
        leaving=met * traffic.retrieval_rate / retrieved,
        boats=boats,
        passing=passing,
        place=np.argsort(np.argsort(np.asarray(place.landing_ids, dtype=object), kind="stable")),
        can_staff=np.asarray(place.can_staff, bool),
        most_hours=settings.most_hours_per_landing_week * settings.season_days / 7,
        shift_hours=settings.shift_hours,
    )


def met_in_an_hour(passing: Array, contacts_per_hour: float, *, spread: float) -> Array:
    """
    Boats that a crew is expected to speak with in an hour, hands full or not.

    Parameters
    ----------
    passing : array
        Boats expected to pass in an hour, 0 or more.
    contacts_per_hour : float
        Boats that the crew has hands for; a part of one counts as that part.
    spread : float
        Standard deviation of the hours' own means over `passing`: gamma, with Poisson on top.

    Returns
    -------
    met : array
        Expected minimum of the boats that come and those that there are hands for: of the shape
        of `passing`, never more than either; rises with both, ever less.

    Notes
    -----
    E min(B, c) is the sum of P(B > n) over n below c, the last one in part. P(B = n + 1) follows
    from P(B = n) of the negative binomial, and of the Poisson where `spread` is 0.

    Examples
    --------
    >>> met_in_an_hour(np.array([0.5, 5.0, 50.0]), 5.0, spread=0.4).round(2)
    array([0.5 , 3.83, 5.  ])
    """
    mean, square = np.asarray(passing, float), spread**2
    wider = 1 + square * mean
    log_none = -np.log1p(square * mean) / square if square > 1e-12 else -mean
    chance, more = np.exp(log_none), -np.expm1(log_none)  # of n boats, and of more than n
    met = np.zeros_like(mean)
    for n in range(int(np.ceil(contacts_per_hour))):
        met += more * min(contacts_per_hour - n, 1.0)
        chance = chance * (mean / wider * ((1 + n * square) / (n + 1)))
        more = np.maximum(more - chance, 0.0)
    return np.minimum(met, mean)  # a stream too strong for exp() has all hands full


def coverage_of(hours: Array, reach: Reach) -> Coverage:
    """
    Coverage that hours by landing and day block give.

    Parameters
    ----------
    hours : array, shape (K, D)
        Educator hours in the season, 0 or more, at most the hours of the season in that block.
    reach : Reach
        What one hour reaches.

    Returns
    -------
    coverage : Coverage
        Shares of boats reached, 0 to 1.

    Raises
    ------
    ValueError
        If hours are negative or more than the season has.
    """
    if np.any(hours < 0) or np.any(hours > reach.hours_in_season * (1 + 1e-9)):
        message = "Invalid hours. They must lie between 0 and the hours of the season in a block."
        raise ValueError(message)
    return Coverage(
        leaving=np.minimum((hours * reach.leaving).sum(axis=1), 1.0),
        arriving=np.minimum((hours * reach.arriving).sum(axis=1), 1.0),
    )


def value_of_an_hour(slope: Gradient, reach: Reach) -> tuple[Array, Array]:
    """
    New infestations avoided by one hour a season in each landing and day block.

    Parameters
    ----------
    slope : Gradient
        Avoided per unit of coverage.
    reach : Reach
        What one hour reaches.

    Returns
    -------
    leaving, arriving : arrays, shape (K, D)
        Avoided through boats leaving and through boats arriving; their sum is the whole.
    """
    return slope.leaving[:, None] * reach.leaving, slope.arriving[:, None] * reach.arriving
