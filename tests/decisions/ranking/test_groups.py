"""Where nothing is counted the order goes no further than groups."""

from dataclasses import replace

import numpy as np
import pytest

import spreadnet
from spreadnet.decisions.ranking.order import rank_groups, ranks
from spreadnet.words import GROUPS_ONLY, first_landings


def bare(region, *, finds):
    """The region with lakes, landings and the first dated finds alone."""
    status = region.status.copy()
    dated = status.index[status["first_found"].notna()]
    status.loc[dated[finds:], "first_found"] = None
    return replace(
        region, visits=region.visits.iloc[:0], contacts=region.contacts.iloc[:0], status=status
    )


@pytest.fixture(scope="module")
def nothing_counted(demo_region):
    return spreadnet.assess(bare(demo_region, finds=0), draws=40, seed=3)


def test_the_first_line_says_that_there_is_no_order_beyond_groups(nothing_counted):
    text = " ".join(first_landings(nothing_counted, shown=3).split())
    start = f"{nothing_counted.region.settings.name}: Not enough evidence to rank beyond groups"
    assert text.startswith(start)
    assert "group 1 " in text


def test_counts_or_three_dated_finds_make_an_order(demo_region, demo_result):
    found = spreadnet.assess(bare(demo_region, finds=12), draws=4, seed=3)
    for result in (found, demo_result):
        assert GROUPS_ONLY not in {note.code for note in result.notes}
        assert "beyond groups" not in first_landings(result, shown=3)


def test_groups_follow_the_order_and_begin_with_one_told_apart(nothing_counted):
    table = nothing_counted.landings.sort_values("rank")
    groups = table["rank_group"].to_numpy(int)
    assert groups[0] == 1
    assert set(np.diff(groups)) <= {0, 1}


def test_landings_that_score_alike_are_one_group_and_far_ones_are_not():
    rng = np.random.default_rng(4)
    level = np.array([10.0, 9.9, 9.8, 1.0, 0.99])
    draws = level * np.exp(0.3 * rng.standard_normal((400, 5)))
    rank = ranks(level, list("abcde"))
    assert rank_groups(rank, draws).tolist() == [1, 1, 1, 2, 2]
    assert rank_groups(rank, draws[:, ::-1]).tolist() == [1] * 5  # none is beaten by the first
    assert rank_groups(rank, np.tile(level, (9, 1))).tolist() == [1, 2, 3, 4, 5]
