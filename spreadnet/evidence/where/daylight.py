"""When the sun rises and sets, by the clock of a place."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Array = NDArray[np.floating]

ZENITH = 90.833  # degrees of the middle of the sun when its rim is on the horizon, with refraction
NOON = 12.0
PER_HOUR = 15.0  # degrees of longitude
# Coefficients of cos and sin of once, twice and three times the turn of the year.
CLOCK_MINUTES = (0.001868, -0.032077, -0.014615, -0.040849)
DECLINATION = (-0.399912, 0.070257, -0.006758, 0.000907, -0.002697, 0.00148)


def sun_times(longitude: Array, latitude: Array, day: date) -> tuple[Array, Array]:
    """
    Sunrise and sunset in hours of universal time after the day's midnight.

    Parameters
    ----------
    longitude, latitude : array, shape (n,)
        In degrees, east and north positive.
    day : date
        By the clock of the place.

    Returns
    -------
    rise, set : arrays, shape (n,)
        May be below 0 or above 24, where that is on another day in universal time. Where the sun
        does not set, half a day before and after noon; where it does not rise, both are noon.

    Notes
    -----
    General solar position calculations of the NOAA Global Monitoring Division (from memory), which
    rest on the series of Spencer (1971, Search 2:172): within about a minute below 60 degrees.
    Hills and trees are not seen.

    Examples
    --------
    >>> rise, dusk = sun_times(np.array([0.0]), np.array([0.0]), date(2027, 3, 20))
    >>> (dusk - rise).round(2)
    array([12.11])
    """
    turn = 2 * np.pi / 365 * (day.timetuple().tm_yday - 1)
    waves = [trig(k * turn) for k in (1, 2, 3) for trig in (np.cos, np.sin)]
    ahead = 229.18 * (0.000075 + np.dot(CLOCK_MINUTES, waves[:4])) / 60
    tilt = 0.006918 + np.dot(DECLINATION, waves)
    north = np.radians(latitude)
    height = np.cos(np.radians(ZENITH)) / (np.cos(north) * np.cos(tilt)) - np.tan(north) * np.tan(
        tilt
    )
    half = np.degrees(np.arccos(np.clip(height, -1.0, 1.0))) / PER_HOUR
    noon = NOON - np.asarray(longitude, float) / PER_HOUR - ahead
    return noon - half, noon + half


def sunsets(
    longitude: Array, latitude: Array, days: Sequence[date], *, time_zone: str | None
) -> Array:
    """
    When the sun has set at the first of some places, day by day, by the clock.

    Parameters
    ----------
    longitude, latitude : array, shape (n,)
        In degrees; one place or more.
    days : sequence of date
        Days.
    time_zone : str or None
        IANA name of the clock's zone. With None the clock is that of the nearest whole hours by
        longitude without summer time, so that shifts end rather too early.

    Returns
    -------
    hours : array, one a day
        After midnight.
    """
    longitude, latitude = np.asarray(longitude, float), np.asarray(latitude, float)
    ends = []
    for day in days:
        shift = np.round(longitude.mean() / PER_HOUR)
        if time_zone is not None:
            moment = datetime.combine(day, time(12), ZoneInfo(time_zone)).utcoffset()
            shift = moment.total_seconds() / 3600 if moment is not None else shift
        ends.append(float(sun_times(longitude, latitude, day)[1].min() + shift))
    return np.array(ends)
