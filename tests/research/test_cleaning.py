"""Published figures on cleaning boats."""

import math

import numpy as np
import pytest
from scipy.stats import linregress

from spreadnet.assumptions import DEFAULT
from spreadnet.research.cleaning import (
    METHODS,
    TARGETS,
    heat_kill_seconds,
    removal,
    residual_ratio,
)

# The shares themselves are the published ones (Rothlisberger et al. 2010); to compare them with
# themselves would check nothing. They are set against what other studies found.


@pytest.mark.parametrize("target", TARGETS)
def test_another_pressure_wash_agrees_within_two_standard_errors(target):
    # Mohit, Johnson & Arnott 2023: 900-1200 psi took off 90% of all material on the surface
    found = removal("high-pressure", target)
    assert abs(found.share - 0.90) <= 2 * found.standard_error


def test_trained_hands_bracket_the_inspector_and_beat_the_boater_alone():
    # Angell et al. 2024, boats staged with plants, mussels, waterfleas and water: 79.2% by a
    # trained inspector, 56.4% by boaters alone
    plants, small = removal("hand", "plants").share, removal("hand", "small-bodied").share
    assert small < 0.792 < plants
    assert small > 0.564


def test_hands_are_best_on_plants_and_worst_on_small_bodies():
    # Rothlisberger et al. 2010: the order within each target
    def order(target):
        return sorted(METHODS, key=lambda method: -removal(method, target).share)

    assert order("plants") == ["hand", "high-pressure", "low-pressure"]
    assert order("small-bodied") == ["high-pressure", "low-pressure", "hand"]


@pytest.mark.parametrize(
    ("method", "target", "message"),
    [("sponge", "plants", "Invalid method"), ("hand", "fish", "Invalid target")],
)
def test_what_was_not_measured_is_refused(method, target, message):
    with pytest.raises(ValueError, match=message):
        removal(method, target)


def test_heat_kills_as_heat_does_tenfold_faster_for_some_20_degrees():
    # Thermal death is a straight line of log time on temperature. Comeau et al. 2011 timed 1 to
    # 160 s in doublings, so a time may be off by two; a figure mistyped would leave the line.
    tried = [40, 50, 54, 60]
    logs = np.log10([heat_kill_seconds(temperature) for temperature in tried])
    line = linregress(tried, logs)
    assert 15 < -1 / line.slope < 30
    assert np.abs(logs - line.intercept - line.slope * np.array(tried)).max() < np.log10(2)


def test_between_two_temperatures_tried_the_longer_time_is_given():
    for cooler, hotter in ((40, 50), (50, 54), (54, 60)):
        assert heat_kill_seconds(hotter - 0.1) == heat_kill_seconds(cooler)
        assert heat_kill_seconds(hotter) < heat_kill_seconds(cooler)


def test_water_at_60_c_kills_within_10_seconds():
    # Mohit, Johnson & Arnott 2023: nearly all of six species in under 10 s at 60 C and hotter;
    # common practice: 140 F for 5 to 10 s
    assert heat_kill_seconds(60) < 10
    assert 5 <= heat_kill_seconds((140 - 32) / 1.8) <= 10


def test_no_kill_is_promised_below_the_temperatures_tried():
    assert math.isinf(heat_kill_seconds(39.9))


def test_hotter_never_takes_longer():
    times = [heat_kill_seconds(temperature) for temperature in range(30, 81)]
    assert times == sorted(times, reverse=True)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (1 - 0.564, 1 - 0.792),  # Angell et al. 2024: boaters alone, with a trained inspector
        (1 - 0.564, 1 - 0.844),  # the same boats, a hot-water crew
        (0.18, 0.09),  # NACo award page 2013: plugs left in before and after changes at one ramp
    ],
)
def test_what_was_left_after_help_lies_in_the_range_of_the_education_effect(before, after):
    # hands did this; words of an educator, who doesn't touch boats, do no more than a trained crew
    entry = DEFAULT.entries["education_check_together"]
    assert entry.value > residual_ratio(0.564, 0.792)
    assert entry.low <= residual_ratio(1 - before, 1 - after) <= entry.high


def test_what_is_left_is_what_was_not_removed():
    # of 1,000 pieces boaters leave 436, and a crew that removes 844 leaves 156 of them
    assert residual_ratio(0.564, 0.844) == pytest.approx(156 / 436)
    assert residual_ratio(0.3, 0.3) == pytest.approx(1)
    assert residual_ratio(0.3, 1.0) == 0


@pytest.mark.parametrize(("alone", "helped"), [(1.0, 1.0), (-0.1, 0.5), (0.5, 1.1)])
def test_impossible_shares_are_refused(alone, helped):
    with pytest.raises(ValueError, match="Invalid shares"):
        residual_ratio(alone, helped)
