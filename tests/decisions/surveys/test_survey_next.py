"""Where a survey shift gains most: what it may find, put through the whole model."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from spreadnet.decisions.draws.run import avoided_by, run_model
from spreadnet.decisions.hours.placing import place_ranked
from spreadnet.decisions.surveys import next as module
from spreadnet.decisions.surveys.answers import (
    OTHER,
    OUTSIDE,
    SHARPENS,
    Told,
    Unsure,
    habits_of,
    response_of,
    told_by_a_shift,
    unsure_of,
    worth_of,
)
from spreadnet.decisions.surveys.next import survey_next
from spreadnet.decisions.surveys.value import learned
from spreadnet.evidence.gather import gather_evidence
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.model.movement.movement import fit_movement
from spreadnet.words.survey import survey_words

HOURS = 2000.0  # enough that many landings of the demo are near the border


class Case:
    def __init__(self, region, evidence, movement, budget=HOURS):
        self.region, self.evidence, self.movement = region, evidence, movement
        self.place = place_of(region, evidence, movement)
        self.estimates = best_estimates(evidence, movement)
        self.run = self.model(self.estimates)
        self.hours = self.placed(self.run, budget)

    def model(self, estimates):
        return run_model(estimates, self.movement, place=self.place, seasons=5)

    def placed(self, run, budget=HOURS):
        return place_ranked(budget, run.reach, value=run.value_after)

    def survey(self, **changes):
        given = {"run": self.run, "hours": self.hours, **changes}
        return survey_next(self.region, self.evidence, self.movement, **given)

    def changed(self, k, *, traffic=1.0, arriving=1.0, leaving=1.0):
        """Best estimates with one landing's own numbers times factors."""
        best = self.estimates
        shares, gaps = best.shares.copy(), best.gaps.copy()
        shares[k, [OTHER, OUTSIDE]] *= arriving
        gaps[1, :, k] *= leaving
        factor = np.ones(len(shares))
        factor[k] = traffic
        old = best.traffic
        boats = replace(
            old,
            launches=old.launches * factor,
            launch_rate=old.launch_rate * factor[:, None],
            retrieval_rate=old.retrieval_rate * factor[:, None],
        )
        return replace(best, shares=shares, gaps=gaps, traffic=boats)


@pytest.fixture(scope="module")
def case(demo_region, demo_result):
    return Case(demo_region, demo_result.evidence, demo_result.movement)


@pytest.fixture(scope="module")
def survey(case):
    return case.survey()


def test_every_landing_has_a_row_in_the_regions_order(case, survey):
    table = survey.table
    assert table.index.equals(case.region.landings.index)
    assert (table["gain"] >= 0).all()
    assert table["chance_of_change"].between(0, 1).all()
    assert (table["width_after"] <= table["width_now"]).all()
    assert set(table["sharpens"]) <= set(SHARPENS)
    assert table["survey_rank"].notna().equals(table["gain"] > 0)
    first = table.sort_values("survey_rank")["gain"].to_numpy()
    assert (np.diff(first[: (first > 0).sum()]) <= 0).all()
    assert table["hours_ranked"].sum() == pytest.approx(HOURS)
    assert survey.shift_avoids > 0


def test_the_same_answer_twice_and_nothing_changed(case, survey):
    before = case.hours.copy(), case.estimates.gaps.copy()
    pd.testing.assert_frame_equal(case.survey().table, survey.table)
    assert np.array_equal(case.hours, before[0])
    assert np.array_equal(case.estimates.gaps, before[1])


def test_landings_nobody_counted_at_and_near_the_border_gain_most(case, survey):
    first = survey.table.nsmallest(10, "survey_rank")
    unvisited = ~case.evidence.traffic.table.loc[first.index, "visited"].astype(bool)
    # Of all landings 0.41; interviews tell something of lakes that nobody counted at, too.
    assert unvisited.mean() >= 0.6
    order = case.run.value_after(case.hours).max(axis=1)
    margin = survey.shift_avoids / survey.shift_hours * survey.seasons
    near = pd.Series(order, index=survey.table.index)[first.index]
    assert near.between(0.4 * margin, 2.5 * margin).all()


def test_longer_surveys_gain_more(case, survey):
    long, short = case.survey(survey_hours=16.0).table, case.survey(survey_hours=1.0).table
    listed = survey.table["gain"] > survey.table["gain"].max() / 20
    # Where a crew soon has its hands full, much more traffic is worth little, and a survey that
    # may find it gains a few percent less than one that tells less; elsewhere more is more.
    assert (long["gain"] > 0.95 * survey.table["gain"])[listed].all()
    assert (survey.table["gain"] > 0.99 * short["gain"])[listed].all()
    assert long["gain"].sum() > 1.2 * survey.table["gain"].sum() > 1.5 * short["gain"].sum()


def test_nothing_is_gained_where_educators_cannot_be_placed(case, survey):
    best = survey.table["gain"].to_numpy().argmax()
    can = case.run.reach.can_staff.copy()
    can[best] = False
    run = replace(case.run, reach=replace(case.run.reach, can_staff=can))
    table = case.survey(run=run, hours=case.placed(run)).table
    assert table["gain"].iloc[best] == 0
    assert table["chance_of_change"].iloc[best] == 0
    assert (table["gain"] > 0).any()


def test_nothing_is_gained_where_nothing_is_unsure(case, monkeypatch):
    def sure(*given):
        old = unsure_of(*given)
        return Unsure(
            *((0 * pair[0], pair[1]) for pair in (old.leaving, old.arriving, old.waters)),
            0 * old.traffic,
        )

    monkeypatch.setattr(module, "unsure_of", sure)
    found = case.survey()
    assert (found.table["gain"] == 0).all()
    assert found.table["survey_rank"].isna().all()
    assert "no survey shift would move hours" in survey_words(found, case.region)


def test_nothing_is_gained_without_hours(case):
    found = case.survey(hours=np.zeros_like(case.hours))
    assert (found.table["gain"] == 0).all()
    assert found.shift_avoids == 0


def test_enough_hours_for_everyone_leave_nothing_to_decide(case):
    hours = case.placed(case.run, 1e6)
    assert (case.survey(hours=hours).table["gain"] == 0).all()


@pytest.mark.parametrize("factor", [0.5, 1.5])
def test_an_hours_value_responds_as_the_whole_model_says(case, survey, factor):
    """The first landings' own numbers by half more or less, in a new run of the model."""
    worth = worth_of(case.run, case.hours)
    now = case.run.value_after(case.hours)
    assert worth.of_an_hour(case.run.reach) == pytest.approx(now, rel=1e-12)
    response = response_of(worth, case.evidence, case.movement, reach=case.run.reach)
    chosen = survey.table["survey_rank"].nsmallest(8).index
    wrong = []
    for k in survey.table.index.get_indexer(chosen):
        for number, name in enumerate(("leaving", "arriving", "traffic")):
            given = np.ones((3, 1, 1))
            given[number] = factor
            told = response.at(np.array([k])).values(*given)[0, :, 0]
            anew = case.model(case.changed(k, **{name: factor})).value_after(case.hours)
            cell = now[k].argmax()
            # What moves all landings alike, as a new calibration does, moves no hours.
            alike = np.median(np.delete(anew[:, cell] / np.maximum(now[:, cell], 1e-300), k))
            wrong.append(told[cell] / now[k, cell] - anew[k, cell] / now[k, cell] / alike)
    assert np.sqrt(np.mean(np.square(wrong))) < 0.06
    assert np.abs(wrong).max() < 0.2


@pytest.mark.slow
def test_gain_agrees_with_placing_the_hours_anew_in_the_whole_model(case, survey):
    """Nested Monte Carlo: what a survey may find, a new run, hours placed by it and by the old."""
    rng = np.random.default_rng(3)
    worth = worth_of(case.run, case.hours)
    habits = habits_of(case.region.contacts, case.evidence)
    unsure = unsure_of(worth, habits, case.evidence, case.movement)
    told = told_by_a_shift(unsure, case.evidence, reach=case.run.reach, hours=survey.shift_hours)
    blocks = case.run.reach.day_blocks
    when = list(blocks["day_type"] + " " + blocks["block"])
    brute, listed = [], []
    for landing in survey.table["survey_rank"].nsmallest(3).index:
        k = survey.table.index.get_loc(landing)
        at = told.at(np.array([k]), np.array([when.index(survey.table["survey_when"][landing])]))
        gains = []
        for _ in range(60):
            leaving, arriving, traffic = (
                rng.gamma(1 / v[0], v[0]) for v in (at.leaving, at.arriving + at.waters, at.traffic)
            )
            given = case.changed(k, leaving=leaving, arriving=arriving, traffic=traffic)
            anew = case.model(given)
            both = avoided_by(anew, {"new": case.placed(anew), "old": case.hours})
            gains.append(max(both[0] - both[1], 0))
        brute.append(np.mean(gains))
        listed.append(survey.table["gain"][landing])
    assert np.sum(listed) == pytest.approx(np.sum(brute), rel=0.3)


def test_gaps_and_waters_count_only_as_often_as_they_are_asked(case):
    habits = habits_of(case.region.contacts, case.evidence)
    assert habits.checked.shape == (2, 5)
    assert ((habits.checked > 0.3) & (habits.checked <= 1)).all()
    worth = worth_of(case.run, case.hours)
    never = replace(habits, checked=np.zeros((2, 5)), named=0.0)
    told = told_by_a_shift(
        unsure_of(worth, never, case.evidence, case.movement),
        case.evidence,
        reach=case.run.reach,
        hours=4.0,
    )
    assert isinstance(told, Told)
    assert not told.leaving.any() and not told.arriving.any() and not told.waters.any()
    assert told.traffic.any()


def test_a_shift_tells_what_its_answers_do(case):
    """One gap and direction by hand: boats met, checked and alike, in a beta's formula."""
    worth = worth_of(case.run, case.hours)
    habits = habits_of(case.region.contacts, case.evidence)
    only = replace(habits, checked=np.where(np.arange(5) == 1, habits.checked, 0.0))
    unsure = unsure_of(worth, only, case.evidence, case.movement)
    told = told_by_a_shift(unsure, case.evidence, reach=case.run.reach, hours=4.0).leaving
    reach, rate = case.run.reach, case.evidence.gaps.rates[1][1]
    met = 4 * reach.boats / reach.passing * case.evidence.traffic.retrieval_rate
    raw = case.evidence.gaps.table["checked"].xs(("retrieving", "plants"), level=(1, 2)).sum()
    answers = met * habits.checked[1, 1] / (raw / rate.checked.sum())
    variance, each = rate.own_spread()
    share = worth.leaving[1] / worth.leaving.sum(axis=0) / rate.mean()
    by_hand = share[:, None] ** 2 * learned(variance[:, None], each[:, None], answers)
    assert told == pytest.approx(by_hand, rel=1e-9)


def test_a_region_without_visits_can_be_asked(demo_region):
    bare = replace(demo_region, visits=demo_region.visits[:0], contacts=demo_region.contacts[:0])
    evidence = gather_evidence(bare)
    case = Case(bare, evidence, fit_movement(bare, evidence, seed=1))
    found = case.survey()
    assert np.isfinite(found.table["gain"]).all()
    assert (found.table["gain"] > 0).any()
    assert (found.table["survey_when"] == "any time, in daylight").all()
    assert "any time, in daylight" in survey_words(found, bare)


def test_trips_from_a_table_do_not_follow_what_boats_say(demo_region, case):
    lakes = demo_region.landings["lake_id"].unique()[:20]
    pairs = [(a, b) for a in lakes for b in lakes if a != b]
    table = pd.DataFrame(pairs, columns=["from_lake_id", "to_lake_id"]).assign(trips=25.0)
    region = replace(demo_region, movements=table)
    given = Case(region, case.evidence, fit_movement(region, case.evidence, seed=1), budget=600.0)
    worth = worth_of(given.run, given.hours)
    response = response_of(worth, given.evidence, given.movement, reach=given.run.reach)
    k = np.array([int(np.argmax(worth.of_an_hour(given.run.reach).max(axis=1)))])
    one, less = np.ones((1, 1)), np.full((1, 1), 0.9)
    assert response.at(k).values(one, one, less) == pytest.approx(
        response.at(k).values(one, one, one), rel=0.1
    )
    assert np.isfinite(given.survey().table["gain"]).all()


def test_words_name_landings_and_set_the_gain_beside_a_shift_of_education(case, survey):
    text = survey_words(survey, case.region, shown=3)
    first = survey.table["survey_rank"].idxmin()
    assert f"[{first}]" in text
    assert text.count("hours move with chance") == 3
    assert "At all other landings" not in text
    assert "At all other landings" in survey_words(survey, case.region, shown=104)
    assert "more than any survey shift gains" not in text
    assert max(len(line) for line in text.splitlines()) < 130
    poor = replace(survey, shift_avoids=1.0)
    assert "survey where educators are anyway" in survey_words(poor, case.region)


def test_draws_widen_the_interval_that_is_shown(case, survey):
    rng = np.random.default_rng(1)
    mean = survey.table["avoided_per_100_hours"].to_numpy()
    scores = mean * rng.lognormal(0, 1, (200, len(mean)))
    table = case.survey(scores=scores).table
    low, high = np.quantile(scores, [0.05, 0.95], axis=0)
    assert table["width_now"].to_numpy() == pytest.approx(high - low)
    assert (table["width_after"] > 0.5 * table["width_now"]).all()
    pd.testing.assert_series_equal(table["gain"], survey.table["gain"])
