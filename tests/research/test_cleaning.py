"""Published figures on cleaning boats."""

import math

import pytest

from spreadnet.assumptions import DEFAULT
from spreadnet.research.cleaning import METHODS, heat_kill_seconds, removal, residual_ratio


@pytest.mark.parametrize(
    ("method", "target", "share", "standard_error"),
    [
        ("hand", "plants", 0.88, 0.05),
        ("high-pressure", "plants", 0.83, 0.04),
        ("low-pressure", "plants", 0.62, 0.03),
        ("hand", "small-bodied", 0.65, 0.04),
        ("high-pressure", "small-bodied", 0.91, 0.02),
        ("low-pressure", "small-bodied", 0.74, 0.06),
    ],
)
def test_removal_shares_are_those_measured(method, target, share, standard_error):
    # Rothlisberger et al. 2010, Fisheries 35:121
    found = removal(method, target)
    assert (found.share, found.standard_error) == (share, standard_error)


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


@pytest.mark.parametrize(
    ("temperature_c", "seconds"), [(60, 5), (54, 10), (50, 20), (40, 40), (80, 5), (59.9, 10)]
)
def test_hot_spray_kills_quagga_mussels_as_tried(temperature_c, seconds):
    # Comeau et al. 2011, Biofouling 27:267
    assert heat_kill_seconds(temperature_c) == seconds


def test_water_at_60_c_kills_mussels_within_10_seconds():
    # common practice: 60 C (140 F) for 5 to 10 s
    assert 5 <= heat_kill_seconds(60) <= 10
    assert 5 <= heat_kill_seconds((140 - 32) / 1.8) <= 10


def test_no_kill_is_promised_below_the_temperatures_tried():
    assert math.isinf(heat_kill_seconds(39.9))


def test_hotter_never_takes_longer():
    times = [heat_kill_seconds(temperature) for temperature in range(30, 81)]
    assert times == sorted(times, reverse=True)


def test_education_default_is_the_inspector_over_the_boater_alone():
    # Angell et al. 2024: 56.4% removed alone, 79.2% by a trained inspector
    ratio = residual_ratio(0.564, 0.792)
    assert ratio == pytest.approx(0.477, abs=5e-4)
    assert DEFAULT["education_check_together"] == pytest.approx(ratio, abs=0.005)


def test_a_hot_water_crew_leaves_36_percent_of_what_the_boater_leaves():
    # Angell et al. 2024: 84.4%, so 64.2% less is left
    assert 1 - residual_ratio(0.564, 0.844) == pytest.approx(0.642, abs=5e-4)


@pytest.mark.parametrize(("alone", "helped"), [(1.0, 1.0), (-0.1, 0.5), (0.5, 1.1)])
def test_impossible_shares_are_refused(alone, helped):
    with pytest.raises(ValueError, match="Invalid shares"):
        residual_ratio(alone, helped)
