"""Numbers asked for are looked at before the work."""

import numpy as np
import pytest

import spreadnet
from spreadnet.decisions.draws.asked import check_asked

NO_NUMBERS = (0, -1, 1.5, "2", "two", True, float("nan"), np.float64(2), [1])


@pytest.mark.parametrize("value", NO_NUMBERS, ids=str)
@pytest.mark.parametrize("name", ["workers", "draws", "seasons"])
@pytest.mark.parametrize("make", [spreadnet.assess, spreadnet.season_plan])
def test_what_is_no_whole_number_of_one_or_more_is_refused_at_once(make, name, value, demo_region):
    def stage(words):
        raise AssertionError(words)  # no work was begun

    with pytest.raises(ValueError, match=rf"^Invalid {name} '.*'\. It must be a whole number of 1"):
        make(demo_region, **{name: value}, stage=stage)


@pytest.mark.parametrize("value", [0, -1, 1.5, "2"], ids=str)
def test_a_hindcast_looks_at_its_workers_too(value, demo_region):
    with pytest.raises(ValueError, match="Invalid workers"):
        spreadnet.hindcast(demo_region, from_year=2020, workers=value)


@pytest.mark.parametrize("value", [-1, 1.5, "1", None.__class__], ids=str)
def test_a_seed_is_a_whole_number_of_zero_or_more(value, demo_region):
    with pytest.raises(ValueError, match=r"Invalid seed .* 0 or more"):
        spreadnet.assess(demo_region, seed=value)


@pytest.mark.parametrize("value", [-1, 1e7, float("nan"), float("inf"), "8", True], ids=str)
def test_hours_are_a_number_in_their_range(value, demo_region):
    with pytest.raises(ValueError, match="Invalid hours"):
        spreadnet.season_plan(demo_region, hours=value)


def test_numbers_of_numpy_and_what_is_left_out_pass():
    check_asked(draws=np.int64(3), seed=0, seasons=50, hours=np.float64(2.5), workers=1024)
    check_asked()
    with pytest.raises(ValueError, match="at most 1024"):
        check_asked(workers=1025)
