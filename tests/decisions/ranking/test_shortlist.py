"""The shortlist is worked out with real hours, one landing at a time."""

import numpy as np
import pytest

from spreadnet.decisions.draws.run import run_model
from spreadnet.decisions.hours.reach import coverage_of
from spreadnet.decisions.ranking.real_hours import HOURS, exact_effects
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of


@pytest.fixture(scope="module")
def run(demo_result):
    return run_model(
        best_estimates(demo_result.evidence, demo_result.movement),
        demo_result.movement,
        place=place_of(demo_result.region, demo_result.evidence, demo_result.movement),
        seasons=5,
    )


@pytest.fixture(scope="module")
def exact(run):
    return exact_effects(run)


def test_each_effect_is_that_of_a_run_with_the_hours_in_place(run, exact):
    nobody = run.total(coverage_of(np.zeros_like(run.reach.boats), run.reach))
    block, by_slope = run.best_block(), np.sum(run.per_100_hours(run.best_block()), axis=0)
    for k in (3, 20, 70):
        hours = np.zeros_like(run.reach.boats)
        hours[k, block[k]] = HOURS / run.seasons
        avoided = nobody - run.total(coverage_of(hours, run.reach))
        assert exact.factor[k] * by_slope[k] == pytest.approx(avoided, rel=1e-6)


def test_real_hours_part_from_the_slope_the_more_of_them_there_are(run, exact):
    assert exact.factor == pytest.approx(1, abs=0.01)
    assert np.ptp(exact.factor) > 1e-4
    full = exact.avoided_at_most
    by_slope = np.sum(run.per_100_hours(run.best_block()), axis=0) * exact.most_hours / 20
    staffed = run.reach.can_staff & (by_slope > 0)
    assert full[staffed] == pytest.approx(by_slope[staffed], rel=0.3)
    apart = np.abs(full[staffed] / by_slope[staffed] - 1)
    assert np.median(apart) > 3 * np.median(np.abs(exact.factor[staffed] - 1))
    assert (full[~run.reach.can_staff] == 0).all()
    assert exact.most_hours.max() == pytest.approx(run.reach.most_hours)


def test_landings_beyond_the_list_keep_their_slope_corrected_as_at_its_border(run, exact):
    short = exact_effects(run, shortlist=30)
    assert short.listed.sum() == 30
    assert short.factor[short.listed] == pytest.approx(exact.factor[short.listed])
    assert len(set(short.factor[~short.listed])) == 1
    assert np.isnan(short.avoided_at_most[~short.listed]).all()
    scores = np.sum(run.per_100_hours(run.best_block()), axis=0)
    assert scores[short.listed].min() >= scores[~short.listed].max()
