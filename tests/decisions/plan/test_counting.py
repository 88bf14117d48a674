"""Counting shifts stand in a plan exactly where they gain more than the shifts they replace."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import spreadnet
from spreadnet.decisions.plan import counting as module
from spreadnet.decisions.plan.counting import Counter, rules_beside
from spreadnet.decisions.shifts.rules import Limit, PlanRules
from spreadnet.words import kinds_words

FIRST = date(2027, 5, 15)
HOURS, SEASONS = 4.0, 5
EDUCATING = np.array([[6, 1], [3, 0], [0, 0], [0, 0], [0, 0]])
WORTH = np.array([[0.10, 0.02], [0.05, 0.0], [0.01, 0.0], [0.01, 0.0], [0.01, 0.0]])


def rules_of(*, least=None, most=None, limits=()):
    cells = np.arange(EDUCATING.size)
    hours = Limit("hours", "hours", cells, 0, HOURS * EDUCATING.sum(), np.full(len(cells), HOURS))
    none = np.zeros_like(EDUCATING)
    return PlanRules(
        HOURS,
        none if least is None else least,
        none + 9 if most is None else most,
        (hours, *limits),
        none * 0.0,
        cells,
    )


@pytest.fixture
def given(monkeypatch):
    """What counting gains by landing and when, and what educating avoids, all by hand."""

    def counter(gain, *, when=(0, 0, 0, 0, 0), share=0.5, seasons=SEASONS):
        asked = []

        def compared(*_, **told):
            asked.append(told)
            table = pd.DataFrame({"gain": np.asarray(gain, float)}, index=list("abcde"))
            return SimpleNamespace(table=table, when=np.array(when))

        monkeypatch.setattr(module, "survey_next", compared)
        run = SimpleNamespace(
            seasons=seasons,
            reach=SimpleNamespace(shift_hours=HOURS),
            value_after=lambda _: WORTH * seasons / HOURS,  # worth is of a shift in one season
        )
        region = SimpleNamespace(settings=SimpleNamespace(most_counting_share=share))
        return Counter(region, None, None, run), asked

    return counter


def test_counting_takes_the_place_of_the_shift_that_avoids_least_while_it_gains_more(given):
    """In 4 of 5 seasons: 0.08 beats 0.02, then 0.048 beats no 0.05 of the next shift."""
    counter, _ = given([0, 0, 0.1, 0.06, 0.0])
    made = counter.given(rules_of(), EDUCATING)
    assert made.shifts.tolist() == [[0, 0], [0, 0], [1, 0], [0, 0], [0, 0]]
    assert made.educating.tolist() == [[6, 0], [3, 0], [0, 0], [0, 0], [0, 0]]
    assert made.gain == pytest.approx([0, 0, 0.08, 0.048, 0])
    assert made.instead == pytest.approx([0, 0, 0.02, 0, 0])
    counter, _ = given([0, 0, 0.1, 0.07, 0.0])  # 0.056 does beat it
    made = counter.given(rules_of(), EDUCATING)
    assert made.shifts[:, 0].tolist() == [0, 0, 1, 1, 0]
    assert made.educating.tolist() == [[6, 0], [2, 0], [0, 0], [0, 0], [0, 0]]
    assert made.instead == pytest.approx([0, 0, 0.02, 0.05, 0])


def test_a_counting_shift_gains_less_than_a_shift_that_avoids_more(given):
    counter, _ = given([0, 0, 0.0249, 0, 0])
    assert not counter.given(rules_of(), EDUCATING).shifts.any()
    counter, _ = given([0, 0, 0.0251, 0, 0])
    assert counter.given(rules_of(), EDUCATING).shifts.sum() == 1


def test_nobody_only_counts_where_educators_stand_or_stood(given):
    counter, asked = given([9, 9, 0, 0, 0])
    assert not counter.given(rules_of(), EDUCATING).shifts.any()
    stood = np.zeros(EDUCATING.shape)
    stood[2, 1] = 4.0
    counter, asked = given([0, 0, 9, 0.1, 0])
    made = counter.given(replace(rules_of(), worked=stood), EDUCATING)
    assert made.shifts[:, 0].tolist() == [0, 0, 0, 1, 0]
    assert asked[0]["hours"] == pytest.approx(EDUCATING * HOURS + stood)


def test_the_last_season_and_a_share_of_nothing_leave_nothing_to_count_for(given):
    for told in ({"seasons": 1}, {"share": 0.0}, {"share": 0.09}):  # 0.9 of a shift
        counter, asked = given([0, 0, 9, 9, 9], **told)
        assert not counter.given(rules_of(), EDUCATING).shifts.any()
        assert not asked
    counter, _ = given([0, 0, 9, 9.1, 9], share=0.1)
    made = counter.given(rules_of(), EDUCATING)
    assert made.shifts[:, 0].tolist() == [0, 0, 0, 1, 0]  # the one that gains most


def test_counting_keeps_to_room_and_to_what_is_asked_of_education(given):
    room = np.full(EDUCATING.shape, 9)
    room[2] = 0
    room[3, 0] = 0
    counter, _ = given([0, 0, 9, 8, 7], when=(0, 0, 0, 0, 1))
    made = counter.given(rules_of(most=room), EDUCATING)
    assert made.shifts.tolist() == [[0, 0], [0, 0], [0, 0], [0, 0], [0, 1]]
    promised = np.zeros_like(EDUCATING)
    promised[0, 1] = 1
    made = counter.given(rules_of(least=promised, most=room), EDUCATING)
    assert made.educating.tolist() == [[6, 1], [2, 0], [0, 0], [0, 0], [0, 0]]
    ward = Limit("ward", "jurisdiction", np.array([2, 3, 8, 9]), 3, np.inf)  # b and e
    made = counter.given(rules_of(least=promised, most=room, limits=(ward,)), EDUCATING)
    assert made.educating.tolist() == [[5, 1], [3, 0], [0, 0], [0, 0], [0, 0]]
    made = counter.given(rules_of(most=room), EDUCATING, beside=[4])
    assert not made.shifts.any()


def test_shifts_of_an_earlier_plan_are_given_up_last(given):
    counter, _ = given([0, 0, 9, 0, 0])
    had = np.array([[5, 1], [3, 0], [0, 0], [0, 0], [0, 0]])
    made = counter.given(rules_of(), EDUCATING, before=had)
    assert made.educating.tolist() == had.tolist()  # though the one at another time avoids less
    counter, _ = given([0, 0, 0.06, 0, 0])  # 0.048 is less than the new one avoids
    made = counter.given(rules_of(), EDUCATING, before=had)
    assert made.educating.tolist() == [[6, 0], [3, 0], [0, 0], [0, 0], [0, 0]]


def test_hours_left_over_go_to_counting_at_no_cost(given):
    counter, _ = given([0, 0, 0.001, 0, 0])
    fewer = EDUCATING.copy()
    fewer[0, 0] -= 1
    made = counter.given(rules_of(), fewer)
    assert made.shifts.sum() == 1
    assert made.educating.tolist() == fewer.tolist()
    assert not made.instead.any()


def test_what_is_left_of_the_rules_beside_counting():
    people = Limit("people", "people", np.array([0, 4]), 0, 7.0)
    ward = Limit("ward", "jurisdiction", np.array([4, 5]), 0, np.inf)
    rules, counting = rules_of(limits=(people, ward)), np.zeros_like(EDUCATING)
    counting[2, 0] = 1
    left = rules_beside(rules, counting)
    assert left.shifts == rules.shifts - 1
    assert [one.most for one in left.limits] == [36.0, 6.0, np.inf]
    assert left.most[2].tolist() == [8, 9]
    assert rules_beside(rules, counting * 0) is rules


@pytest.fixture(scope="module")
def plans(demo_region):
    def made(**settings):
        region = replace(demo_region, settings=replace(demo_region.settings, **settings))
        return spreadnet.season_plan(region, draws=3, plan_from=FIRST)

    return made(), made(most_counting_share=0.0)


def test_the_demo_counts_where_that_gains_more_and_says_so(plans):
    plan, never = plans
    kinds = plan.kinds
    assert 0 < kinds.loc["counting", "shifts"] <= 0.1 * plan.table["shifts"].sum()
    assert kinds["hours"].sum() == plan.hours == never.hours == 320
    assert plan.ways["hours_a_season"].iloc[0] == kinds.loc["education", "hours"]
    counting = plan.table[plan.table["kind"] == "counting"]
    assert (counting["gain_by_counting"] > 0).all()
    assert (counting["avoided_by_one_shift"] == 0).all()
    taught = plan.table[plan.table["kind"] == "education"]
    assert taught["gain_by_counting"].isna().all()
    assert not set(counting["landing_id"]) & set(taught["landing_id"])
    assert counting["why"].str.startswith("to count: about ").all()
    told = kinds_words(plan)
    assert f"and {kinds.loc['counting', 'shifts']} (" in told
    assert kinds_words(never) == ""
    assert never.kinds.loc["counting", "shifts"] == 0
    assert never.avoided >= plan.avoided  # by education


def test_the_roster_of_the_demo_marks_the_same_shifts_as_the_plan(plans):
    plan = plans[0]
    keys = ["landing_id", "day_type", "block", "kind"]
    dated = plan.roster.shifts.groupby(keys).size().sort_index()
    wanted = plan.table.set_index(keys)["shifts"].sort_index()
    assert dated.to_dict() == wanted.to_dict()
    count = plan.roster.shifts["kind"] == "counting"
    assert (plan.roster.shifts.loc[count, "status"] == "planned").all()  # somebody can come
    assert set(plans[1].roster.shifts["kind"]) == {"education"}


def test_a_plan_made_again_takes_no_counting_shift_for_an_educating_one(demo_region, plans):
    plan = plans[0]
    again = spreadnet.season_plan(
        demo_region, draws=3, plan_from=FIRST, previous=plan.roster.shifts
    )
    assert again.kinds["shifts"].to_dict() == plan.kinds["shifts"].to_dict()
    assert again.roster.shifts["uid"].isin(plan.roster.shifts["uid"]).mean() > 0.9


def test_where_nobody_can_come_to_count_the_shift_stays_with_education(demo_region, plans):
    """Everybody offers only days on which, and ways within which, they already educate."""
    roster = plans[1].roster.shifts
    roster = roster[roster["people"] != ""]  # one is promised to nobody by name
    rows = [
        (code, day, block, 4.0, landing, 0.5)
        for code, day, block, landing in zip(
            roster["people"], roster["date"], roster["block"], roster["landing_id"], strict=True
        )
    ]
    columns = ["code", "date", "block", "hours", "home_landing_id", "most_km"]
    offered = pd.DataFrame(rows, columns=columns)
    region = replace(demo_region, hours=offered)
    plan = spreadnet.season_plan(region, draws=2, plan_from=FIRST)
    shifts = plan.roster.shifts
    assert not ((shifts["kind"] == "counting") & (shifts["status"] == "open")).any()
