"""From educator hours to the share of boats they reach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread import Coverage

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from spreadnet.evidence.region import Settings
    from spreadnet.evidence.traffic import Traffic
    from spreadnet.model.spread import Gradient

    Array = NDArray[np.floating]


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
    can_staff: NDArray[np.bool_]
    most_hours: float
    shift_hours: float

    @property
    def hours_in_season(self) -> Array:
        """Hours of the season in each day block, shape (D,)."""
        return self.day_blocks["hours_in_season"].to_numpy(float)


def hour_reach(
    traffic: Traffic,
    settings: Settings,
    *,
    can_staff: NDArray[np.bool_],
    launches: Array | None = None,
    refusal: float | None = None,
) -> Reach:
    """
    Share of each landing's boats that one hour of an educator crew reaches.

    A crew can speak with only so many boats an hour, in both directions together, and some
    parties do not want to talk.

    Parameters
    ----------
    traffic : Traffic
        Launches and retrievals an hour by landing and day block, and the share that refuses.
    settings : Settings
        Shift length, contacts an hour, most hours a week.
    can_staff : array of bool, shape (K,)
        Whether educators may work at each landing.
    launches : array, shape (K,), optional
        Boats launched in the season, where they differ from the estimate of `traffic`: its rates
        are scaled to them.
    refusal : float, optional
        Share of parties that do not want to talk, in place of that of `traffic`.

    Returns
    -------
    reach : Reach
        Shares reached by one hour, in the order of `traffic`.

    Notes
    -----
    Boats met in an hour = min(1, capacity / (launches + retrievals)) of each, times
    (1 - refusal), over the landing's boats in the season.
    """
    hours = traffic.day_blocks["hours_in_season"].to_numpy(float)
    expected = np.maximum(traffic.launch_rate @ hours, 1e-12)
    scale = (1.0 if launches is None else launches / expected) * np.ones_like(expected)
    launch_rate = traffic.launch_rate * scale[:, None]
    retrieval_rate = traffic.retrieval_rate * scale[:, None]
    both = launch_rate + retrieval_rate
    spoken = np.minimum(1, settings.contacts_per_hour / np.maximum(both, 1e-12))
    spoken = spoken * (1 - (traffic.refusal if refusal is None else refusal))
    launched = np.maximum(launch_rate @ hours, 1e-12)[:, None]
    retrieved = np.maximum(retrieval_rate @ hours, 1e-12)[:, None]
    return Reach(
        day_blocks=traffic.day_blocks,
        arriving=spoken * launch_rate / launched,
        leaving=spoken * retrieval_rate / retrieved,
        boats=spoken * both,
        can_staff=np.asarray(can_staff, bool),
        most_hours=settings.most_hours_per_landing_week * settings.season_days / 7,
        shift_hours=settings.shift_hours,
    )


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
