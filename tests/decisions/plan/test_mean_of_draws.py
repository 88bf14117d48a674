"""A plan is the best in the mean of draws, by enumeration, and not the best at best estimates."""

import itertools
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import spreadnet
from spreadnet.decisions.draws import avoided_by
from spreadnet.decisions.draws.run import run_model
from spreadnet.decisions.plan.value import compare, most_name, spread_name, spreading_table
from spreadnet.decisions.shifts.easier import Effort, easier_of_equals, effort_of
from spreadnet.decisions.shifts.objective import (
    APART,
    SEARCHED,
    Avoided,
    Guide,
    MeanAvoided,
    best_plan,
    mean_avoided,
)
from spreadnet.decisions.shifts.region_rules import plan_rules
from spreadnet.decisions.shifts.rules import Limit, PlanRules, Spread
from spreadnet.decisions.shifts.search import search
from spreadnet.model.estimates import best_estimates, drawn_estimates
from spreadnet.model.inputs import place_of

FIRST = date(2027, 5, 15)
LANDINGS, BLOCKS, SHIFTS = 4, 2, 4


class Made:
    """Returns that fall at each landing as its times fill up."""

    def __init__(self, worth):
        self.worth = np.asarray(worth, float).reshape(LANDINGS, BLOCKS)

    def avoided(self, plans):
        return np.array([-np.expm1(-0.3 * (self.worth * p).sum(axis=1)).sum() for p in plans])

    def slope(self, plan):
        return 0.3 * self.worth * np.exp(-0.3 * (self.worth * plan).sum(axis=1))[:, None]


def made_rules(spread):
    cells = np.arange(LANDINGS * BLOCKS)
    most = np.full((LANDINGS, BLOCKS), 2)
    hours = Limit("hours", "hours", cells, 0, float(SHIFTS))
    rules = PlanRules(1.0, np.zeros_like(most), most, (hours,), np.zeros(most.shape), cells)
    return rules.shared(spread)


def every_plan(rules):
    ranges = [range(n + 1) for n in rules.most.ravel()]
    plans = (np.array(p).reshape(rules.most.shape) for p in itertools.product(*ranges))
    return [p for p in plans if p.sum() <= SHIFTS and rules.keeps(p)]


WORTHS = st.lists(st.floats(0.01, 2), min_size=LANDINGS * BLOCKS, max_size=LANDINGS * BLOCKS)
SPREADS = st.sampled_from([Spread(), Spread(0.5), Spread(0.25), Spread(least=3)])


@given(WORTHS, st.lists(WORTHS, min_size=2, max_size=5), SPREADS)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_the_plan_is_the_best_of_all_in_the_mean_of_the_draws(best, draws, spread):
    rules = made_rules(spread)
    guide = Guide(Made(best), np.zeros(rules.most.shape))
    objective = MeanAvoided(guide, tuple(Made(one) for one in draws))
    plans = every_plan(rules)
    mean = np.mean([Made(one).avoided(plans) for one in draws], axis=0)
    found = best_plan(objective, rules)
    assert rules.keeps(found.shifts)
    assert found.avoided == pytest.approx(mean.max(), rel=1e-9)
    assert found.avoided == pytest.approx(objective.avoided([found.shifts])[0])
    assert found.values == pytest.approx(
        np.mean([Made(d).slope(found.shifts) for d in draws], axis=0)
    )


@given(WORTHS, st.lists(WORTHS, min_size=2, max_size=5))
@settings(max_examples=30, deadline=None, derandomize=True)
def test_on_two_landings_at_most_it_is_near_the_best_of_all(best, draws):
    """Two landings may have to be given up for two others at once, which no swap of shifts does."""
    rules = made_rules(Spread(most=2))
    guide = Guide(Made(best), np.zeros(rules.most.shape))
    objective = MeanAvoided(guide, tuple(Made(one) for one in draws))
    found = best_plan(objective, rules)
    assert rules.keeps(found.shifts)
    assert found.avoided >= 0.9 * objective.avoided(every_plan(rules)).max()


def test_where_draws_disagree_with_the_best_estimates_the_draws_win():
    rules = made_rules(Spread())
    worth = [[1.0, 0.1], [0.5, 0.1], [0.2, 0.1], [0.1, 0.1]]
    drawn = (
        [[0.1, 0.1], [0.5, 0.1], [0.2, 0.1], [2.0, 0.1]],
        [[0.3, 0.1], [0.5, 0.1], [0.2, 0.1], [1.0, 0.1]],
    )
    objective = MeanAvoided(
        Guide(Made(worth), np.zeros(rules.most.shape)), tuple(Made(one) for one in drawn)
    )
    assert best_plan(replace(objective, each=(Made(worth),)), rules).shifts[0, 0] == 2
    found = best_plan(objective, rules).shifts
    assert found[3, 0] == 2
    assert found[0, 0] == 0


@pytest.fixture(scope="module")
def demo(demo_region):
    region = replace(
        demo_region,
        settings=replace(demo_region.settings, jurisdiction_hours={}, most_share_per_landing=1.0),
        hours=demo_region.hours.iloc[:0],
        promised=demo_region.promised.iloc[:0],
    )
    evidence = spreadnet.gather_evidence(region)
    movement = spreadnet.build_model(region, evidence)
    place = place_of(region, evidence, movement)
    run = run_model(best_estimates(evidence, movement), movement, place=place, seasons=5)
    rules = plan_rules(region, run.reach, hours=320, plan_from=FIRST)
    objective = mean_avoided(
        Avoided.of(run, rules), evidence, movement, place=place, seed=7, workers=2
    )
    drawn = [
        run_model(
            drawn_estimates(evidence, movement, seed=7, draw=APART + draw),
            movement,
            place=place,
            seasons=5,
        )
        for draw in range(SEARCHED)
    ]
    return rules, objective, drawn


def test_what_a_plan_avoids_is_the_mean_of_one_run_a_draw(demo):
    rules, objective, drawn = demo
    plans = np.random.default_rng(4).integers(0, 3, (3, *rules.most.shape))
    by_hand = np.mean(
        [list(avoided_by(run, {str(n): 4.0 * p for n, p in enumerate(plans)})) for run in drawn],
        axis=0,
    )
    assert objective.avoided(list(plans)) == pytest.approx(by_hand, rel=1e-9)
    assert np.ptp([run.reach.boats[0, 0] for run in drawn]) > 0  # boats met are drawn too


def test_its_slope_is_the_finite_difference(demo):
    rules, objective, _ = demo
    plan = np.zeros(rules.most.shape)
    plan[3, 1] = 4
    slope = objective.slope(plan)
    for cell in ((3, 1), (10, 2), (60, 5)):
        more, less = plan.copy(), plan.copy()
        more[cell] += 1e-3
        less[cell] = max(less[cell] - 1e-3, 0)
        step = more[cell] - less[cell]
        moved = np.subtract(*objective.avoided([more, less])) / step
        assert slope[cell] == pytest.approx(moved, rel=1e-4)


def test_on_the_demo_it_is_the_best_of_every_plan_on_some_landings_and_times(demo):
    rules, objective, _ = demo
    values = objective.slope(np.zeros_like(rules.most)).ravel()
    rng = np.random.default_rng(3)
    for spread in (Spread(), Spread(0.25), Spread(least=3)):
        cells = np.sort(rng.choice(np.argsort(-values)[:60], 6, replace=False))
        room = np.zeros_like(rules.most).ravel()
        room[cells] = 2
        some = replace(rules, most=room.reshape(rules.most.shape)).with_shifts(4).shared(spread)
        every = []
        for counts in itertools.product(range(3), repeat=6):
            plan = np.zeros(rules.most.size, np.int64)
            plan[cells] = counts
            if sum(counts) <= 4 and some.keeps(plan.reshape(rules.most.shape)):
                every.append(plan.reshape(rules.most.shape))
        found = best_plan(objective, some)
        assert found.avoided == pytest.approx(objective.avoided(every).max(), rel=1e-9)


def test_threads_change_no_bit(demo):
    rules, objective, _ = demo
    plan = np.zeros_like(rules.most)
    plan[3, 1] = 4
    alone, many = (replace(objective, workers=n).slope(plan) for n in (1, 3))
    assert np.array_equal(alone, many)


def test_the_price_of_spreading_is_told_for_few_and_for_many_landings(demo):
    rules, objective, _ = demo
    ward = rules.most.shape[1] * np.arange(3)  # set aside in this comparison, as are shares
    asked = Limit("ward", "jurisdiction", ward, 4, np.inf)
    rules = replace(rules, limits=(*rules.limits, asked)).shared(Spread(0.25, least=5))
    found = best_plan(objective, rules)
    objective = objective.near(found)
    compared = compare(objective, rules, found, room=rules.most)
    shifts = int(found.shifts.sum())
    names = compared.shifts()
    worth = dict(zip(names, objective.avoided(list(names.values())), strict=True))
    for number in (1, 2, 5, 10, 20):
        few, many = compared.on_most[number], compared.spread[number]
        assert (few.sum(axis=1) > 0).sum() <= number
        assert many.sum(axis=1).max() <= shifts / number
        assert many.sum() == shifts
        assert (many.sum(axis=1) > 0).sum() >= number
    on_most = [worth[most_name(n)] for n in compared.on_most]
    over = [worth[spread_name(n)] for n in compared.spread]
    assert (np.diff(on_most) >= -1e-12).all()
    assert (np.diff(over) <= 1e-12).all()
    assert over[0] >= found.avoided  # no limit on spreading
    drawn = {name: np.array([value, 1.2 * value]) for name, value in worth.items()}
    table = spreading_table(compared, drawn, rules=rules)
    assert list(table.index) == [1, 2, 5, 10, 20]
    assert table["share_kept"].to_numpy() == pytest.approx(np.array(over) / over[0])
    assert table["hours_on_most"].iloc[0] == 236  # 12 hours a week at one landing
    assert (table["hours_spread"] == 320).all()


def test_one_landing_at_most_is_the_landing_that_avoids_most_alone(demo):
    rules, objective, _ = demo
    found = best_plan(objective, rules)
    objective = objective.near(found)
    one = compare(objective, rules, found, room=rules.most).on_most[1]
    most = []
    for k in range(len(rules.most)):
        only = np.zeros_like(rules.most)
        only[k] = rules.most[k]
        alone = search(objective.guide, replace(rules, most=only), swaps=0)
        most.append(alone.avoided)
    assert np.flatnonzero(one.any(axis=1)) == [np.argmax(most)]


def equal_pair(second, *, shifts=1, km=(40.0, 4.0), ward=(0, 0)):
    """Landings of which the first is as good as the second but for what draws of that say."""
    third = 1.0 if shifts > 1 else 0.2
    draws = [[[1.0, 0.1], [worth, 0.1], [third, 0.1], [0.1, 0.1]] for worth in second]
    rules = made_rules(Spread()).with_shifts(shifts)
    objective = MeanAvoided(
        Guide(Made(draws[0]), np.zeros(rules.most.shape)), tuple(Made(one) for one in draws)
    )
    found = best_plan(objective, rules)
    effort = Effort(np.array([*km, 4.0, 4.0]), np.array([*ward, 0, 0]))
    return found, easier_of_equals(objective, rules, found, effort=effort)


def test_of_landings_that_cannot_be_told_apart_the_nearer_one_is_taken():
    """In the mean of the draws the second is worth 0.98, 0.2 more or less: that tells nothing."""
    found, easier = equal_pair([0.78, 1.18, 0.78, 1.18])
    assert found.shifts[0, 0] == 1
    assert easier.shifts[1, 0] == easier.shifts.sum() == 1
    assert found.avoided > easier.avoided > 0.9 * found.avoided


def test_a_landing_that_is_surely_better_stays_however_far_it_is():
    """It is worth a tenth less in every draw: the difference has no error to hide in."""
    found, easier = equal_pair([0.9, 0.9, 0.9, 0.9])
    assert np.array_equal(found.shifts, easier.shifts)
    assert easier is found


def test_at_equal_ways_a_further_jurisdiction_is_reached():
    found, easier = equal_pair([0.78, 1.18, 0.78, 1.18], shifts=2, km=(4.0, 4.0), ward=(0, 1))
    assert np.nonzero(found.shifts.sum(axis=1))[0].tolist() == [0, 2]
    assert easier.shifts[1].sum() == 1
    assert easier.shifts.sum() == 2


def test_driving_is_that_of_the_nearest_crew_there_and_back(demo_region):
    two = replace(demo_region, settings=replace(demo_region.settings, crew=2))
    effort = effort_of(two)
    points = two.landings.geometry
    homes = two.hours.drop_duplicates("code")["home_landing_id"]
    for k in (0, 17, 80):
        away = sorted(points.iloc[k].distance(points.loc[home]) / 1000 for home in homes)
        assert effort.km[k] == pytest.approx(2 * (away[0] + away[1]))
    assert len(np.unique(effort.ward)) == two.landings["jurisdiction"].nunique()
    assert (effort_of(replace(two, hours=two.hours.iloc[:0])).km == 0).all()
