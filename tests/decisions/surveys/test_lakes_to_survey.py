"""What knowing a lake's status gains: by hand where hours are few, and beside the whole model."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from spreadnet.decisions.draws.run import avoided_by, run_model
from spreadnet.decisions.hours.placing import place_ranked
from spreadnet.decisions.hours.reach import Reach
from spreadnet.decisions.surveys.lakes import _Known, _Placing, lakes_to_survey
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of

HOURS = 2000.0


def reach_of(landings, *, most_hours=4.0):
    blocks = pd.DataFrame({"day_type": ["weekend"], "block": ["a"], "hours_in_season": [400.0]})
    one = np.ones((landings, 1))
    return Reach(
        day_blocks=blocks,
        arriving=one,
        leaving=one,
        boats=one,
        passing=one,
        place=np.arange(landings),
        can_staff=np.ones(landings, bool),
        most_hours=most_hours,
        shift_hours=4.0,
    )


def column(*values):
    return np.array(values, float)[:, None]


def test_knowing_gains_what_the_better_choice_avoids_more():
    """One shift: 2 at a, or at b 6 if its lake is infested (1 in 4) and nothing if not."""
    infested, free = column(2, 6), column(2, 0)
    total = 0.25 * infested + 0.75 * free
    placing = _Placing(SimpleNamespace(reach=reach_of(2)), 4.0, total)
    assert placing.now.ravel().tolist() == [1, 0]
    assert placing.gain((0.25, infested), (0.75, free)) == pytest.approx(0.25 * 4 * (6 - 2))
    assert placing.moved(infested) == (4.0, 1)
    assert placing.moved(free) == (0.0, None)


def test_one_survey_gains_less_since_it_may_miss():
    """Found in half of the surveys: 1 in 8; else b is worth 6/7, less than 2."""
    infested, free = column(2, 6), column(2, 0)
    placing = _Placing(SimpleNamespace(reach=reach_of(2)), 4.0, 0.25 * infested + 0.75 * free)
    unseen = infested / 7 + free * 6 / 7
    assert placing.gain((1 / 8, infested), (7 / 8, unseen)) == pytest.approx(0.125 * 4 * 4)


def test_nothing_is_gained_where_all_get_hours_or_the_order_stays():
    infested, free = column(7, 6), column(7, 0)
    total = (infested + free) / 2
    alone = _Placing(SimpleNamespace(reach=reach_of(2)), 4.0, total)
    assert alone.gain((0.5, infested), (0.5, free)) == 0
    better = column(2, 6), column(2, 1)
    both = _Placing(SimpleNamespace(reach=reach_of(2)), 8.0, (better[0] + better[1]) / 2)
    assert both.gain((0.5, better[0]), (0.5, better[1])) == 0


@pytest.fixture(scope="module")
def case(demo_region, demo_result):
    evidence, movement = demo_result.evidence, demo_result.movement
    place = place_of(demo_region, evidence, movement)
    run = run_model(best_estimates(evidence, movement), movement, place=place, seasons=5)
    hours = place_ranked(HOURS, run.reach, value=run.value_after)
    lakes = lakes_to_survey(demo_region, evidence, run=run, hours=hours)
    return SimpleNamespace(region=demo_region, evidence=evidence, run=run, hours=hours, lakes=lakes)


def known(run, name, lake, status):
    """The model with the status of one lake known."""
    initial = run.inputs[name].initial.copy()
    initial[lake] = status
    one = replace(run.inputs[name], initial=initial)
    return replace(run, inputs={**run.inputs, name: one})


def test_lakes_that_are_not_sure_are_ranked_by_gain(case):
    lakes, region = case.lakes, case.region
    assert lakes["gain"].is_monotonic_decreasing
    gains = lakes["survey_rank"].notna()
    assert gains.sum() > 3
    assert (lakes["gain"] > 0).equals(gains)
    assert lakes.loc[gains, "survey_rank"].tolist() == list(range(1, gains.sum() + 1))
    assert (lakes["gain_of_one_survey"] <= lakes["gain"] * (1 + 1e-9)).all()
    assert lakes["chance_infested"].between(0, 1, inclusive="neither").all()
    for row in lakes.itertuples():
        status = case.evidence.status[row.species]
        assert not status.known[region.lakes.index.get_loc(row.lake_id)]
    moves = lakes[["hours_moved_if_infested", "hours_moved_if_free"]].sum(axis=1)
    assert (moves[gains] > 0).all()


def test_values_either_way_are_those_of_runs_with_the_status_known(case):
    for row in case.lakes.head(4).to_dict("records"):
        lake = case.region.lakes.index.get_loc(row["lake_id"])
        one = _Known.of(case.run, row["species"], case.hours)
        rest = case.run.value_after(case.hours) - one.value
        pair = one.either_way(lake)
        chance = row["chance_infested"]
        assert chance * pair[0] + (1 - chance) * pair[1] == pytest.approx(one.value, rel=1e-9)
        for value, status in zip(pair, (1.0, 0.0), strict=True):
            anew = known(case.run, row["species"], lake, status).value_after(case.hours)
            top = np.argsort(-anew.ravel())[:50]
            assert (value + rest).ravel()[top] == pytest.approx(anew.ravel()[top], rel=0.05)


def test_the_gain_is_about_that_of_placing_all_hours_anew_in_the_whole_model(case):
    listed, whole = 0.0, 0.0
    for row in case.lakes.head(3).to_dict("records"):
        lake = case.region.lakes.index.get_loc(row["lake_id"])
        for status in (1.0, 0.0):
            run = known(case.run, row["species"], lake, status)
            chance = row["chance_infested"] if status else 1 - row["chance_infested"]
            anew = place_ranked(HOURS, run.reach, value=run.value_after)
            both = avoided_by(run, {"anew": anew, "now": case.hours})
            whole += chance * max(both[0] - both[1], 0.0)
        listed += row["gain"]
    assert listed == pytest.approx(whole, rel=0.5)


def test_a_survey_that_never_misses_gains_all_there_is_to_gain(case):
    sure = {name: replace(one, detection=1.0) for name, one in case.evidence.status.items()}
    evidence = replace(case.evidence, status=sure)
    lakes = lakes_to_survey(case.region, evidence, run=case.run, hours=case.hours)
    assert lakes["gain_of_one_survey"].to_numpy() == pytest.approx(lakes["gain"].to_numpy())
    pd.testing.assert_series_equal(lakes["gain"], case.lakes["gain"])


def test_nothing_is_gained_without_hours(case):
    none = lakes_to_survey(
        case.region, case.evidence, run=case.run, hours=np.zeros_like(case.hours)
    )
    assert (none["gain"] == 0).all()
    assert none["survey_rank"].isna().all()


def test_where_every_status_is_known_there_is_no_lake_to_survey(case):
    inputs = {
        name: replace(one, initial=np.round(one.initial)) for name, one in case.run.inputs.items()
    }
    run = replace(case.run, inputs=inputs)
    lakes = lakes_to_survey(case.region, case.evidence, run=run, hours=case.hours)
    assert lakes.empty
    assert list(lakes.columns) == list(case.lakes.columns)
