"""A season plan keeps every rule, is the best where that can be told, and changes little."""

import itertools
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

import spreadnet
from spreadnet.chain import season_plan
from spreadnet.decisions.draws import avoided_by
from spreadnet.decisions.draws.run import run_model
from spreadnet.decisions.hours import Met
from spreadnet.decisions.plan.plan import make_plan
from spreadnet.decisions.plan.ways import (
    PLAN,
    last_season_hours,
    share_of,
    way_table,
    ways_today,
)
from spreadnet.decisions.shifts.best_linear import best_for
from spreadnet.decisions.shifts.clash import clash_words
from spreadnet.decisions.shifts.objective import Avoided
from spreadnet.decisions.shifts.region_rules import (
    day_type,
    days_left,
    first_free_day,
    last_ends,
    plan_rules,
)
from spreadnet.decisions.shifts.rules import PlanRules
from spreadnet.decisions.shifts.search import search
from spreadnet.errors import ModelError
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.options import RunOptions, settle
from spreadnet.words import BRIDGING

FIRST = date(2027, 5, 15)


@pytest.fixture(scope="module")
def parts(demo_region):
    evidence = spreadnet.gather_evidence(demo_region)
    movement = spreadnet.build_model(demo_region, evidence)
    run = run_model(
        best_estimates(evidence, movement),
        movement,
        place=place_of(demo_region, evidence, movement),
        seasons=5,
    )
    return demo_region, evidence, movement, run


def changed(region, **settings):
    return replace(region, settings=replace(region.settings, **settings))


def bare(region, **settings):
    """Nobody's days, no promises, no ward, no share: only what landings take."""
    settings = {"jurisdiction_hours": {}, "most_share_per_landing": 1.0, **settings}
    return changed(
        replace(region, hours=region.hours.iloc[:0], promised=region.promised.iloc[:0]), **settings
    )


def planned(parts, region=None, *, hours=320.0, draws=3, **given):
    demo, evidence, movement, _ = parts
    given = {"plan_from": FIRST, **given}
    options = settle(RunOptions(draws=draws), {}, seasons=5, draws=draws)
    return make_plan(
        demo if region is None else region,
        evidence,
        movement,
        hours=hours,
        options=options,
        **given,
    )


def taught(plan):
    """Shifts for education."""
    return plan.table[plan.table["kind"] == "education"]


@pytest.fixture(scope="module")
def demo_plan(parts):
    return planned(parts)


def test_the_demo_plan_keeps_all_rules(parts, demo_plan):
    region = parts[0]
    table, roster = demo_plan.table, demo_plan.roster.shifts
    assert table["shifts"].sum() * 4 <= 320
    assert demo_plan.hours == table["hours"].sum()
    ward = table[table["jurisdiction"] == "Velk Ward"]
    assert ward["hours"].sum() >= 24
    able = region.landings["can_staff"].fillna(True)
    assert able.loc[table["landing_id"]].all()
    for row in region.promised.itertuples():
        same = (roster["date"] == row.date) & (roster["landing_id"] == row.landing_id)
        assert (roster[same]["block"] == row.block).any()
    weeks = roster["date"].dt.isocalendar()["week"]
    assert roster.groupby(["landing_id", weeks]).size().max() <= 3  # 12 hours a week
    assert (roster["status"] != "open").all()  # people's days are thought of
    counted = roster.groupby(["landing_id", "day_type", "block"]).size()
    wanted = table.set_index(["landing_id", "day_type", "block"])["shifts"]
    assert counted.sort_index().equals(wanted.sort_index().astype(counted.dtype).rename(None))


def test_it_avoids_more_than_what_people_do_today(demo_plan):
    ways = demo_plan.ways
    assert list(ways.index) == [
        *(PLAN, BRIDGING, "busiest first", "equal hours", "infested lakes only", "as last season")
    ]
    assert ways["avoided"].idxmax() == PLAN
    educating, counting = demo_plan.kinds["hours"]
    assert educating + counting == demo_plan.hours == 320
    assert ways["hours_a_season"].to_numpy() == pytest.approx(educating, rel=1e-9)
    assert demo_plan.avoided == pytest.approx(ways["avoided"].iloc[0], rel=1e-12)
    assert (ways["avoided_low"] <= ways["avoided"]).all()
    assert (ways["avoided"] <= ways["avoided_high"]).all()
    assert np.isnan(ways["chance_plan_is_better"].iloc[0])


def test_the_published_rule_meets_most_bridging_boats_and_every_way_says_how_many(demo_plan):
    ways = demo_plan.ways
    boats = ways["bridging_boats_a_season"]
    assert boats.idxmax() == BRIDGING
    assert ways.loc[BRIDGING, "avoided"] < demo_plan.avoided
    each = [ways[f"bridging_boats_a_season_{name}"] for name in demo_plan.region.settings.species]
    assert (np.max(each, axis=0) <= boats).all()
    assert (boats <= np.sum(each, axis=0)).all()
    assert (boats < ways["boats_met_a_season"]).all()
    assert ways["boats_with_a_gap_a_season"].between(0, ways["boats_met_a_season"]).all()
    table = taught(demo_plan)
    cells = table["hours"] / 100 * table["bridging_boats_per_100_hours"]
    assert cells.sum() == pytest.approx(boats.iloc[0])  # nowhere do both ends meet all boats
    assert table["boats_with_a_gap"].sum() == pytest.approx(
        ways["boats_with_a_gap_a_season"].iloc[0]
    )


def test_the_standard_error_of_a_share_is_that_of_repeated_draws():
    """Ratio of means of 60 paired draws, a thousand times over."""
    rng = np.random.default_rng(8)
    shares, errors = [], []
    for _ in range(1000):
        plan = rng.gamma(2.0, 1.0, 60)
        share, error = share_of(plan * rng.uniform(0.2, 0.6, 60), plan)
        shares.append(share)
        errors.append(error)
    assert np.mean(shares) == pytest.approx(0.4, abs=0.005)
    assert np.mean(errors) == pytest.approx(np.std(shares), rel=0.06)
    assert np.isnan(share_of(np.ones(1), np.ones(1))).all()
    assert np.isnan(share_of(np.zeros(3), np.zeros(3))).all()


@pytest.mark.parametrize(("spread", "shown"), [(0.1, True), (0.9, False)])
def test_a_share_is_shown_only_where_its_error_is_below_a_tenth(parts, spread, shown):
    """Another way that avoids as much in the mean, within so much of it, by turns, in 20 draws."""
    _, evidence, _, run = parts
    met = Met.of(run.reach, evidence, next(iter(run.inputs.values())))
    hours = {name: np.zeros(run.reach.boats.shape) for name in (PLAN, "other")}
    turns = np.tile([1 - spread, 1 + spread], 10)
    drawn = {PLAN: np.ones(20), "other": turns}
    table = way_table(hours, drawn, met=met, seasons=5, cost_per_hour=None)
    error = np.std(turns, ddof=1) / 20**0.5
    assert (error < 0.1) == shown
    if shown:
        assert table["share_of_plan"].to_numpy() == pytest.approx([1, 1])
        assert table["share_of_plan_error"].to_numpy() == pytest.approx([0, error])
    else:
        assert table[["share_of_plan", "share_of_plan_error"]].isna().all(axis=None)


def test_boats_with_a_gap_are_those_met_with_one_gap_or_more(parts):
    """Every landing and time by hand, from rates of single gaps."""
    _, evidence, _, run = parts
    met = Met.of(run.reach, evidence, next(iter(run.inputs.values())))
    rates, launches = evidence.gaps.mean(), evidence.traffic.table["launches"].to_numpy()
    for k, d in ((0, 0), (7, 3), (50, 5)):
        none = [np.prod([1 - rate for rate in rates[side, :, k]]) for side in (0, 1)]
        arriving = run.reach.arriving[k, d] * launches[k]
        leaving = run.reach.boats[k, d] - arriving
        by_hand = arriving * (1 - none[0]) + leaving * (1 - none[1])
        assert met.with_gap[k, d] == pytest.approx(by_hand)
        assert 0 < arriving < run.reach.boats[k, d]


@pytest.mark.parametrize("hours", [0, 4, 40, 320, 1600])
def test_without_further_rules_it_is_never_below_a_baseline(parts, hours):
    region, evidence, _, run = parts
    region = bare(region)
    rules = plan_rules(region, run.reach, hours=hours, plan_from=FIRST)
    met = Met.of(run.reach, evidence, next(iter(run.inputs.values())))
    today = ways_today(region, met, hours=hours)
    objective = Avoided.of(run, rules)
    found = search(objective, rules)
    worth = avoided_by(run, {"plan": rules.shift_hours * found.shifts, **today})
    assert worth[0] == pytest.approx(found.avoided, rel=1e-12)
    assert worth[0] >= worth[1:].max() - 1e-14  # last bits of a total
    assert found.avoided <= found.straight_line * (1 + 1e-12) + 1e-14  # last bits of a total
    assert rules.keeps(found.shifts)


def few_cells(rules: PlanRules, cells, most, shifts) -> PlanRules:
    """Rules under which only some cells have room."""
    room = np.zeros_like(rules.most).ravel()
    room[cells] = most
    limits = rules.with_shifts(shifts).limits
    return replace(rules, most=room.reshape(rules.most.shape), limits=limits)


@pytest.mark.parametrize("hours_of_a_shift", [4.0, 80.0])
def test_it_is_the_best_of_every_plan_there_is(parts, hours_of_a_shift):
    """Six landings and times, four shifts, also where a shift is so long that returns fall."""
    region, _, _, run = parts
    rules = plan_rules(bare(region), run.reach, hours=1e6, plan_from=FIRST)
    rules = replace(rules, shift_hours=hours_of_a_shift)
    objective = Avoided.of(run, rules)
    values = objective.slope(np.zeros_like(rules.most)).ravel()
    rng = np.random.default_rng(3)
    for _ in range(4):
        top = np.argsort(-values)[:60]
        cells = np.sort(rng.choice(top, 6, replace=False))
        some = few_cells(rules, cells, 2, 4)
        every = []
        for counts in itertools.product(range(3), repeat=6):
            if sum(counts) == 4:
                plan = np.zeros(rules.most.size, np.int64)
                plan[cells] = counts
                every.append(plan.reshape(rules.most.shape))
        every = [plan for plan in every if some.keeps(plan)]
        worth = objective.avoided(every)
        found = search(objective, some)
        assert found.avoided >= worth.max() * (1 - 1e-12)
        assert found.straight_line >= worth.max() * (1 - 1e-9)
        # The linearised problem by itself: HiGHS against all plans.
        linear = objective.slope(found.shifts)
        best = best_for(linear, some)
        assert (linear * best).sum() == pytest.approx(
            max((linear * plan).sum() for plan in every), rel=1e-9
        )


def test_more_hours_never_avoid_less_and_each_constraint_costs_nothing_or_more(demo_plan):
    value = demo_plan.value
    assert len(value) >= 10
    assert (np.diff(value["hours_a_season"]) > 0).all()
    assert (np.diff(value["avoided"]) >= 0).all()
    assert (value["avoided_by_next_100_hours"] >= 0).all()
    assert (value["avoided"] <= value["straight_line"] * (1 + 1e-12)).all()
    here = value[value["hours_a_season"] == demo_plan.kinds.loc["education", "hours"]].iloc[0]
    assert here["avoided"] == pytest.approx(demo_plan.avoided, rel=1e-12)
    assert here["cost"] == demo_plan.kinds.loc["education", "hours"] * 5 * 28
    assert here["cost_per_infestation_avoided"] == pytest.approx(here["cost"] / here["avoided"])
    assert (demo_plan.rules["cost"] >= 0).all()
    assert demo_plan.rules.loc["most share of the hours at one landing", "cost"] > 0


def test_the_next_hour_is_worth_what_it_adds(parts):
    """
    The slope comes from the 20 draws of the search, the table from others.

    Draws of a plan lie between a half and twice their mean in nine of ten, so that means of 20 and
    of 100 differ by a tenth (standard error): a quarter is two and a half of them.
    """
    value = planned(parts, bare(parts[0]), draws=100).value
    worth = value["avoided_by_next_100_hours"].to_numpy()[:-1] * 5 / 100
    steps = np.diff(value["avoided"]) / np.diff(value["hours_a_season"])
    assert (steps <= worth * 1.25).all()  # hours fall in worth, but for a grain of mutual help
    assert steps[0] == pytest.approx(worth[0], rel=0.25)


def test_a_landing_that_cannot_be_staffed_gets_none(parts, demo_plan):
    region, evidence, movement, _ = parts
    first = demo_plan.table["landing_id"].iloc[0]
    landings = region.landings.copy()
    landings.loc[first, "can_staff"] = False
    plan = planned((region, evidence, movement, None), replace(region, landings=landings))
    assert first not in set(plan.table["landing_id"])
    assert plan.table["shifts"].sum() > 0


@pytest.mark.slow
def test_the_same_seed_gives_the_same_plan(parts, demo_plan):
    again = planned(parts)
    pd.testing.assert_frame_equal(demo_plan.table, again.table)
    pd.testing.assert_frame_equal(demo_plan.ways, again.ways)
    pd.testing.assert_frame_equal(demo_plan.roster.shifts, again.roster.shifts)


@pytest.mark.slow
def test_a_plan_that_cannot_be_says_what_clashes_and_by_how_much(parts):
    region = changed(bare(parts[0]), jurisdiction_hours={"Velk Ward": 200.0, "Pellam Ward": 180.0})
    with pytest.raises(ModelError) as caught:
        planned(parts, region, hours=320)
    text = str(caught.value)
    assert "60 hours of it can't be placed" in text
    assert "what stands against it: 320 hours in the season" in text
    small = changed(bare(parts[0]), jurisdiction_hours={"Velk Ward": 40.0})
    landings = small.landings.copy()
    ward = landings["jurisdiction"] == "Velk Ward"
    landings.loc[ward & (landings.index != "A094"), "can_staff"] = False
    with pytest.raises(ModelError, match="40 hours for Velk Ward"):
        planned(parts, replace(changed(small, most_hours_per_landing_week=1.5), landings=landings))


def test_a_share_and_a_number_of_landings_are_kept_and_clash_in_words(parts):
    region = changed(bare(parts[0]), most_share_per_landing=0.1, least_landings=14)
    plan = planned(parts, region, hours=120)
    by_landing = plan.table.groupby("landing_id")["hours"].sum()
    assert plan.hours == 120
    assert by_landing.max() <= 0.1 * 120
    assert taught(plan)["landing_id"].nunique() == 14
    with pytest.raises(ModelError) as caught:
        planned(parts, changed(region, least_landings=40), hours=120)
    assert "least_landings, 40: 10 of them can't have a shift" in str(caught.value)
    assert "what stands against it: 120 hours in the season" in str(caught.value)
    ward = changed(region, most_share_per_landing=0.2, jurisdiction_hours={"Velk Ward": 40.0})
    landings = ward.landings.copy()
    others = (landings["jurisdiction"] == "Velk Ward") & (landings.index != "A094")
    landings.loc[others, "can_staff"] = False
    with pytest.raises(ModelError, match="against it: most_share_per_landing, 24 hours a landing"):
        planned(parts, replace(ward, landings=landings), hours=120)
    with pytest.raises(ModelError, match="landings where a shift can be: 1\n"):
        only = landings.assign(can_staff=landings.index == "A094")
        free = changed(ward, jurisdiction_hours={}, least_landings=2)
        planned(parts, replace(free, landings=only), hours=120)


def test_a_few_landings_share_all_hours_where_no_share_is_stated(parts):
    landings = parts[0].landings.assign(can_staff=parts[0].landings.index.isin(["A003", "A071"]))
    region = replace(changed(bare(parts[0]), most_share_per_landing=None), landings=landings)
    assert planned(parts, region, hours=120).table.groupby("landing_id")[
        "hours"
    ].sum().to_dict() == {
        "A003": 60,
        "A071": 60,
    }


def test_promises_beyond_the_hours_clash(parts):
    region, _, _, run = parts
    rules = plan_rules(region, run.reach, hours=4, plan_from=FIRST)
    free = replace(rules, limits=tuple(x for x in rules.limits if x.kind != "jurisdiction"))
    assert search(Avoided.of(run, free), free) is None
    assert "shifts that are promised: 4 hours more" in clash_words(free)
    assert clash_words(plan_rules(bare(region), run.reach, hours=4, plan_from=FIRST)) == ""


def test_hours_worked_this_season_count_and_the_rest_is_planned_after_them(parts):
    region, evidence, movement, _ = parts
    visits = pd.DataFrame(
        {
            "landing_id": ["A071", "A071"],
            "date": pd.to_datetime(["2027-05-15", "2027-06-05"]).astype("datetime64[s]"),
            "start": [14.0, 9.0],
            "end": [18.0, 12.0],
        },
        index=pd.Index(["W1", "W2"], name="visit_id"),
    )
    worked = replace(bare(region), visits=pd.concat([region.visits, visits]))
    assert first_free_day(region) == FIRST
    assert first_free_day(worked) == date(2027, 6, 6)
    plan = planned((region, evidence, movement, None), worked, plan_from=date(2027, 6, 6))
    assert plan.hours_worked == 7
    assert plan.table["hours"].sum() == 312  # whole shifts of the 313 left
    assert plan.roster.shifts["date"].min() >= pd.Timestamp("2027-06-06")


@pytest.mark.slow
def test_a_second_plan_changes_nothing_unless_that_avoids_enough(parts, demo_plan):
    before = demo_plan.roster.shifts
    again = planned(parts, previous=before)
    assert "plan-kept" in {note.code for note in again.notes}
    keys = ["landing_id", "date", "block", "uid", "sequence", "people"]
    pd.testing.assert_frame_equal(again.roster.shifts[keys], before[keys])
    poor = before.copy()
    poor["landing_id"], poor["landing"] = "A001", "Halvern east ramp"
    poor = poor.drop_duplicates(["date", "block"])
    better = planned(parts, previous=poor)
    assert {"plan-changed", "made-anew"} & {note.code for note in better.notes}
    stubborn = planned(parts, changed(parts[0], replan_gain=1.0), previous=before)
    assert "plan-kept" in {note.code for note in stubborn.notes}


def test_fewer_hours_drop_as_few_shifts_as_must_be(parts, demo_plan):
    region = changed(parts[0], replan_gain=1.0, most_share_per_landing=0.3)  # room for those kept
    fewer = planned(parts, region, hours=300, previous=demo_plan.roster.shifts)
    shifts = fewer.roster.shifts
    live = shifts[shifts["status"] != "cancelled"]
    assert len(live) == 75
    assert (shifts["status"] == "cancelled").sum() == 5
    assert set(live["uid"]) <= set(demo_plan.roster.shifts["uid"])


def test_what_one_shift_fewer_loses_is_the_difference_of_two_runs(parts, demo_plan):
    assert (taught(demo_plan)["avoided_by_one_shift"] > 0).all()
    assert demo_plan.table["why"].str.len().min() > 40
    assert (
        taught(demo_plan)["if_dropped"]
        .str.contains(r"avoids less by 1 in [0-9,]+ in 5 seasons")
        .all()
    )


def test_days_and_holidays(parts):
    settings = parts[0].settings
    types = days_left(settings, FIRST)
    days = [FIRST + timedelta(days=i) for i in range(len(types))]
    assert days[-1] == settings.season_last_day
    assert types[days.index(date(2027, 6, 21))] == "weekend"  # a Monday that is a holiday
    assert types[days.index(date(2027, 6, 22))] == "weekday"
    assert day_type(date(2027, 6, 26), []) == "weekend"


def test_last_season_is_the_latest_year_of_visits(parts):
    region, _, _, run = parts
    hours = last_season_hours(region, run.reach)
    latest = region.visits[region.visits["date"].dt.year == 2026]
    assert hours.sum() == pytest.approx((latest["end"] - latest["start"]).sum(), rel=0.02)


def test_people_limits_count_crews_day_by_day(parts):
    region, _, _, run = parts
    two = changed(region, crew=2)
    one_limits, two_limits = (
        {x.name: x.most for x in plan_rules(r, run.reach, hours=320, plan_from=FIRST).limits}
        for r in (region, two)
    )
    name = "people who can come on weekends"
    assert 0 < two_limits[name] <= one_limits[name] / 2


def test_the_chain_takes_hours_and_days(demo_region):
    plan = season_plan(bare(demo_region), hours=40, draws=2, plan_from=date(2027, 9, 1))
    assert plan.roster.shifts["date"].min() >= pd.Timestamp("2027-09-01")
    assert plan.table["hours"].sum() == 40
    with pytest.raises(ModelError, match="outside the season"):
        season_plan(demo_region, plan_from=date(2028, 1, 1))
    with pytest.raises(ValueError, match="Invalid hours"):
        season_plan(demo_region, hours=-1)


def test_no_shift_ends_after_sunset_unless_that_is_allowed(parts):
    """The season of the demo is the dark half of the year there: mornings and noons are left."""
    dark = changed(bare(parts[0]), after_dusk=False)
    plan = planned(parts, dark, hours=160)
    ends = last_ends(dark, FIRST)
    assert len(plan.roster.shifts) == 40
    for row in plan.roster.shifts.to_dict("records"):
        hour, minute = row["end"].split(":")
        assert int(hour) + int(minute) / 60 <= ends[row["date"].date()]
    assert set(plan.table["block"]) <= {"06:00-10:00", "10:00-14:00"}
    late, reach = changed(dark, after_dusk=True), parts[3].reach
    lit, any_time = (plan_rules(one, reach, hours=160, plan_from=FIRST) for one in (dark, late))
    after_noon = reach.day_blocks["block"].isin(["14:00-18:00", "18:00-22:00"]).to_numpy()
    assert not lit.most[:, after_noon].any()
    assert (any_time.most[reach.can_staff][:, after_noon] > 0).all()


def test_where_nobody_was_asked_the_plan_says_so_or_leaves_it_out(parts):
    region = bare(parts[0])
    landings = region.landings.copy()
    first = planned(parts, region, hours=80).table["landing_id"].iloc[0]
    landings.loc[first, "can_staff"] = pd.NA
    unknown = replace(region, landings=landings)
    table = planned(parts, unknown, hours=80).table
    marks = table.set_index("landing_id")["permission"]
    assert set(marks.loc[[first]]) == {"ask permission first"}
    assert set(marks.drop(first)) <= {""}
    plan = planned(parts, unknown, hours=80)
    assert set(plan.roster.shifts.set_index("landing_id").loc[[first], "permission"]) == {
        "ask permission first"
    }
    assert "permission" in {note.code for note in plan.notes}
    without = planned(parts, changed(unknown, unasked_landings=False), hours=80)
    assert first not in set(without.table["landing_id"])
    assert "permission" not in {note.code for note in without.notes}


@pytest.mark.parametrize(("crew", "told"), [(1, True), (2, False)])
def test_a_crew_of_one_brings_a_caution(parts, crew, told):
    plan = planned(parts, changed(bare(parts[0]), crew=crew), hours=8)
    assert ("works-alone" in {note.code for note in plan.notes}) == told
    assert plan.roster.crew == crew
