"""Numbers asked for are looked at before the work."""

import numpy as np
import pytest

import spreadnet


class Told:
    """Progress that nothing may be told to: no work is begun."""

    def stage(self, name):
        raise AssertionError(name)

    step = stage


NO_NUMBERS = (0, -1, 1.5, "2", "two", True, float("nan"), np.float64(2), [1])


@pytest.mark.parametrize("value", NO_NUMBERS, ids=str)
@pytest.mark.parametrize("name", ["workers", "draws", "seasons"])
@pytest.mark.parametrize("make", [spreadnet.assess, spreadnet.season_plan])
def test_what_is_no_whole_number_of_one_or_more_is_refused_at_once(make, name, value, demo_region):
    with pytest.raises(ValueError, match=rf"^Invalid {name} '.*'\. It must be a whole number of 1"):
        make(demo_region, **{name: value}, progress=Told())


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
    spreadnet.RunOptions(draws=np.int64(3), seed=0, seasons=50, workers=1024)
    spreadnet.RunOptions()
    with pytest.raises(ValueError, match="at most 1024"):
        spreadnet.RunOptions(workers=1025)
