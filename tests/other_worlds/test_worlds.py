"""
Worlds that differ from the model, a small part: two of each of a few kinds.

All 110, and the bars that hold for their means, are in `python tests/benchmarks worlds`.
"""

import numpy as np
import pytest

from other_worlds.judge import LEARNED, behind, by_kind, covered, judged
from other_worlds.made import KINDS, PAST, Law, make
from other_worlds.rules import auc, fitted_rule, hits, nearest_km, scored, simple_orders

BY_NAME = {kind.name: kind for kind in KINDS}
SOME = ("model", "exponential", "radiation", "Allee 1.9")


@pytest.fixture(scope="module")
def some_worlds():
    return judged((101, 102), kinds=[BY_NAME[name] for name in SOME], draws=60)


@pytest.mark.slow
def test_the_fit_is_near_the_true_law_and_not_behind_simple_rules(some_worlds):
    means = by_kind(some_worlds).loc["mean of all"]
    assert means["fit"] > means["oracle"] - 0.02
    assert means["fit"] > means["area and distance"]
    rules = ["area and distance", "area", "distance"]
    assert behind(some_worlds, rules) == 0


@pytest.mark.slow
def test_totals_lie_inside_their_intervals(some_worlds):
    inside = (some_worlds["low"] <= some_worlds["found"]) & (
        some_worlds["found"] <= some_worlds["high"]
    )
    assert inside.sum() >= 6  # of eight: fewer once in 23 at 85%
    assert 0.7 <= some_worlds["median"].sum() / some_worlds["found"].sum() <= 1.4


@pytest.mark.slow
def test_intervals_of_exponents_hold_the_truth_as_often_as_they_say():
    table = covered(range(200, 220))
    # 80 answers; neighbours in one world are not quite independent.
    assert 0.8 <= table[list(LEARNED)].to_numpy().mean() <= 0.98


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_who_knows_the_law_orders_at_least_as_well_as_area_and_distance(kind):
    """The worlds hold what they say: no rule of thumb is the law, and hidden pulls tell."""
    rows = []
    for seed in range(4):
        world = make(kind, seed)
        rule = fitted_rule(world)
        rows.append([scored(world, s)[0] for s in (world.expected, rule, world.expected_with_pull)])
    law, rule, with_pull = np.mean(rows, axis=0)
    assert law > rule - 0.01
    assert with_pull > law - (0.01 if kind.pull_sd else 1e-12)
    assert 0.6 < law < 0.97


def test_a_world_is_the_same_from_the_same_seed_and_has_about_the_finds_asked_for():
    one, two = (make(BY_NAME["hubs"], 3, lakes=300, past=60, later=20) for _ in range(2))
    np.testing.assert_array_equal(one.found_year, two.found_year)
    known = (one.found_year <= one.through).sum()
    assert 0.6 * 60 <= known <= 1.7 * 60
    assert one.later.any()
    assert np.nanmax(one.found_year) <= one.last
    assert not np.array_equal(
        one.found_year, make(BY_NAME["hubs"], 4, lakes=300, past=60, later=20).found_year
    )


def test_lakes_that_are_never_seen_lower_what_the_law_can_foretell():
    """Unfound lakes send boats and stay on the list of those at risk."""
    all_seen = [scored(w, w.expected_with_pull)[0] for w in worlds_of("with hidden pull")]
    some_not = [scored(w, w.expected_with_pull)[0] for w in worlds_of("40% never seen")]
    assert np.mean(some_not) < np.mean(all_seen)


def worlds_of(name):
    return [make(BY_NAME[name], seed, lakes=500, past=80, later=40) for seed in range(6)]


def test_a_law_without_distance_leaves_nothing_to_the_nearest_find():
    flat = Law(area=0.0, depth=0.0, distance=0.0, access=1.0, source_area=0.0)
    scores = []
    for seed in range(8):
        world = make(KINDS[0], seed, lakes=400, past=60, later=60, law=flat)
        scores.append(scored(world, -nearest_km(world, world.through + 1))[0])
    assert abs(np.mean(scores) - 0.5) < 0.06  # three standard errors: 60 finds a world


def test_scores_of_a_small_order_are_those_counted_by_hand():
    score, found = np.array([4.0, 3, 2, 2, 1]), np.array([1, 0, 1, 0, 0], bool)
    # Pairs: 4 beats three; 2 beats one, ties one, loses one.
    assert auc(score, found) == pytest.approx((3 + 1.5) / 6)
    assert hits(score, found, 2) == 1


def test_the_rule_is_the_regression_that_statsmodels_fits():
    import statsmodels.api as sm

    from other_worlds.rules import WINDOW, features

    world = make(BY_NAME["model"], 5, lakes=400, past=80, later=20)
    rows, found = [], []
    for year in range(world.through - WINDOW + 1, world.through + 1):
        free = ~(world.found_year < year)
        rows.append(features(world, year, depth=True)[free])
        found.append(world.found_year[free] == year)
    family = sm.families.Binomial(link=sm.families.links.CLogLog())
    fit = sm.GLM(np.concatenate(found).astype(float), np.vstack(rows), family=family).fit()
    expected = features(world, world.through + 1, depth=True) @ fit.params
    got = simple_orders(world)["area, distance, depth"]
    np.testing.assert_allclose(got - got.mean(), expected - expected.mean(), atol=2e-3)


def test_fewer_finds_are_early_where_the_second_phase_is_quicker():
    def early(name):
        return sum((w.found_year < w.through - PAST // 2).sum() for w in worlds_of(name))

    assert early("two phases") < 0.8 * early("with hidden pull")
