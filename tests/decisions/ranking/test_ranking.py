"""Ranks, their intervals, and the same hours placed in three ways."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spreadnet.decisions.hours.placing import place_busiest, place_equally, place_ranked
from spreadnet.decisions.hours.reach import Reach, coverage_of
from spreadnet.decisions.ranking.order import rank_draws, ranks


def make_reach(boats, *, hours=(100.0, 60.0), most=40.0, can_staff=None):
    boats = np.asarray(boats, float)
    n = len(boats)
    return Reach(
        day_blocks=pd.DataFrame(
            {"day_type": ["weekday", "weekend"], "block": ["a", "a"], "hours_in_season": hours}
        ),
        arriving=boats / 1000,
        leaving=boats / 2000,
        boats=boats,
        passing=boats,
        place=np.arange(n),
        can_staff=np.ones(n, bool) if can_staff is None else np.array(can_staff),
        most_hours=most,
        shift_hours=4.0,
    )


def test_ties_break_by_id():
    assert list(ranks(np.array([1.0, 1.0, 2.0]), ["b", "a", "z"])) == [3, 2, 1]


def test_last_bits_do_not_change_the_order():
    scores = np.array([0.1 + 0.2, 0.3])
    assert list(ranks(scores, ["b", "a"])) == [2, 1]


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=30))
def test_every_rank_occurs_once(scores):
    ids = [f"{i:02d}" for i in range(len(scores))]
    assert sorted(ranks(np.array(scores), ids)) == list(range(1, len(scores) + 1))


def test_interval_and_chances_worked_by_hand():
    """Landing a is first in 3 of 4 draws and second in one."""
    draws = np.array([[3.0, 2, 1], [3, 2, 1], [3, 1, 2], [1, 3, 0]])
    out = rank_draws(np.array([2.5, 2, 1]), draws, ids=["a", "b", "c"])
    assert list(out.rank) == [1, 2, 3]
    assert (out.rank_low[0], out.rank_high[0]) == (1, 2)
    assert out.chance_first[5][0] == 1.0
    assert np.all(out.low <= np.array([2.5, 2, 1]))


def test_draws_of_another_length_are_refused():
    with pytest.raises(ValueError, match="Invalid draws"):
        rank_draws(np.ones(3), np.ones((4, 2)), ids=["a", "b", "c"])


def test_busiest_first_fills_the_busiest_landing_to_its_limit():
    reach = make_reach([[1, 5], [2, 8], [1, 1]])
    hours = place_busiest(60, reach)
    assert hours[1, 1] == 40  # the most one landing can take
    assert hours[0, 1] == 20
    assert hours.sum() == 60


def test_equal_hours_go_to_own_busiest_blocks():
    reach = make_reach([[1, 5], [9, 8]], hours=(100.0, 10.0))
    hours = place_equally(40, reach)
    assert hours.tolist() == [[10.0, 10.0], [20.0, 0.0]]


def test_ranked_hours_go_where_the_next_hour_is_worth_most():
    reach = make_reach([[1, 1], [1, 1], [1, 1]])
    worth = np.array([[1.0, 2.0], [5.0, 1.0], [0.0, 0.0]])
    hours = place_ranked(64, reach, value=lambda _: worth)
    assert hours[1, 0] == 40
    assert hours[0, 1] == 24
    assert hours[2].sum() == 0  # an hour that avoids nothing is not placed


def test_a_landing_that_cannot_be_staffed_gets_no_hours():
    reach = make_reach([[1, 5], [9, 8]], can_staff=[True, False])
    for hours in (
        place_busiest(30, reach),
        place_equally(30, reach),
        place_ranked(30, reach, value=lambda _: reach.boats),
    ):
        assert hours[1].sum() == 0
        assert hours[0].sum() > 0


def test_coverage_of_hours_worked_by_hand():
    reach = make_reach([[1, 5]])
    coverage = coverage_of(np.array([[10.0, 20.0]]), reach)
    assert coverage.arriving[0] == pytest.approx(0.11)
    assert coverage.leaving[0] == pytest.approx(0.055)


def test_more_hours_than_the_season_has_are_refused():
    with pytest.raises(ValueError, match="Invalid hours"):
        coverage_of(np.array([[101.0, 0.0]]), make_reach([[1, 5]]))
