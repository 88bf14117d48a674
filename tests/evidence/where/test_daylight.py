"""
Sunrise and sunset against printed tables.

Sources: Strous, AstronomyAnswers, "The Position of the Sun: Tables", table 1, times of sunrise by
latitude at local mean time (1 January); sunset by latitude of the Nautical Almanac (21 June, from
memory).
"""

from datetime import date, timedelta

import numpy as np
import pytest

from spreadnet.evidence.where import sun_times, sunsets

SUNRISE_1_JANUARY = {
    **{-50: "3:55", -40: "4:35", -30: "5:02", -20: "5:24", -10: "5:43", 0: "6:00"},
    **{10: "6:17", 20: "6:35", 30: "6:56", 40: "7:22", 46: "7:42", 50: "7:59"},
}
SUNSET_21_JUNE = {0: "18:05", 40: "19:33", 50: "20:13"}
MINUTES = 1.6 / 60  # printed to the minute, and leap years shift the sun by as much


def hours(text):
    hour, minute = text.split(":")
    return int(hour) + int(minute) / 60


def test_sunrise_is_that_of_the_table():
    latitude = np.array(list(SUNRISE_1_JANUARY), float)
    rise, _ = sun_times(np.zeros(len(latitude)), latitude, date(2002, 1, 1))
    told = [hours(text) for text in SUNRISE_1_JANUARY.values()]
    assert rise == pytest.approx(told, abs=MINUTES)


def test_sunset_is_that_of_the_almanac():
    latitude = np.array(list(SUNSET_21_JUNE), float)
    _, dusk = sun_times(np.zeros(len(latitude)), latitude, date(2002, 6, 21))
    told = [hours(text) for text in SUNSET_21_JUNE.values()]
    assert dusk == pytest.approx(told, abs=MINUTES)


def test_days_are_as_long_in_the_south_half_a_year_on():
    north, south = (
        np.ptp(sun_times(np.zeros(1), np.array([lat]), day), axis=0)
        for lat, day in ((45.0, date(2027, 6, 21)), (-45.0, date(2027, 12, 21)))
    )
    assert north == pytest.approx(south, abs=0.05)


def test_where_the_sun_does_not_set_the_day_has_24_hours_and_in_winter_none():
    summer, winter = (
        np.subtract(*sun_times(np.zeros(1), np.array([75.0]), day)[::-1])
        for day in (date(2027, 6, 21), date(2027, 12, 21))
    )
    assert (summer, winter) == (pytest.approx(24), pytest.approx(0))


def test_the_clock_of_the_zone_counts_with_its_summer_time():
    """Berlin's clock is an hour on from 28 March 2027; the earliest of two places counts."""
    days = [date(2027, 3, 27), date(2027, 3, 28)]
    here = sunsets([13.4], [52.5], days, time_zone="Europe/Berlin")
    assert np.diff(here) == pytest.approx(1 + 1.8 / 60, abs=0.6 / 60)
    both = sunsets([13.4, 20.0], [52.5, 52.5], days, time_zone="Europe/Berlin")
    assert here - both == pytest.approx(6.6 / 15, abs=1e-9)


def test_without_a_zone_the_clock_goes_by_longitude():
    days = [date(2027, 7, 1) + timedelta(days=n) for n in range(3)]
    free = sunsets([-127.0], [-41.0], days, time_zone=None)
    assert free == pytest.approx(sunsets([-127.0], [-41.0], days, time_zone="Etc/GMT+8"))
