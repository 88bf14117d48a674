from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.special import gammaln

from spreadnet.assumptions import DEFAULT
from spreadnet.evidence.estimating.launch_rates import Counts, fit_rates, minus_log_posterior
from spreadnet.evidence.estimating.strata import is_weekend, make_strata, visit_hours
from spreadnet.evidence.estimating.traffic import fit_traffic
from spreadnet.evidence.region import Block, Settings
from spreadnet.evidence.statistics.laplace import find_mode

# 2027-05-15 is a Saturday.
SETTINGS = Settings(
    "invented", date(2027, 5, 15), date(2027, 9, 30), {}, holidays=(date(2027, 7, 5),)
)
ONE_WEEK = Settings(
    "invented", date(2027, 7, 12), date(2027, 7, 18), {}, blocks=(Block(6, 10), Block(14, 18))
)


def tables(landings=3):
    lakes = pd.DataFrame(
        {"area_ha": np.linspace(20, 300, landings)}, index=[f"L{i}" for i in range(landings)]
    )
    places = pd.DataFrame(
        {
            "lake_id": lakes.index,
            "ramp_lanes": pd.array([1 + i % 2 for i in range(landings)], dtype="Int64"),
            "trailer_stalls": pd.array([5 * i for i in range(landings)], dtype="Int64"),
        },
        index=pd.Index([f"A{i}" for i in range(landings)], name="landing_id"),
    )
    return places, lakes


def visit_table(rows):
    """Rows of landing, date, start, end, launches, retrievals, refused (None: not counted)."""
    names = ["landing_id", "date", "start", "end", "launches", "retrievals", "refused"]
    table = pd.DataFrame([dict(zip(names, row, strict=True)) for row in rows], columns=names)
    table["date"] = pd.to_datetime(table["date"])
    for name in names[4:]:
        table[name] = pd.array(list(table[name]), dtype="Int64")
    table[["start", "end"]] = table[["start", "end"]].astype(float)
    table.index = pd.Index([f"V{i}" for i in range(len(table))], name="visit_id", dtype=str)
    return table


def fit(rows, landings=3, settings=ONE_WEEK, assumptions=DEFAULT, **more):
    places, lakes = tables(landings)
    return fit_traffic(visit_table(rows), places, lakes, settings, assumptions=assumptions, **more)


def world(seed, landings=40, visits=120, kappa=2.0, spread=0.6, keen=0.0):
    """
    An invented season with visits that scatter more than chance; 16 landings never visited.

    `keen` above 0 sends people to busy landings: it is the power of the traffic in where they go.
    """
    rng = np.random.default_rng(seed)
    places, lakes = tables(landings)
    lakes["area_ha"] = np.exp(rng.normal(4.5, 1.2, landings))
    places["trailer_stalls"] = rng.integers(2, 60, landings)
    columns = np.column_stack(
        [
            np.log(places["ramp_lanes"].astype(float)),
            np.log1p(places["trailer_stalls"].astype(float)),
            np.log(lakes["area_ha"]),
        ]
    )
    level = np.log(2.0) + (columns - columns.mean(axis=0)) @ [0.5, 0.3, 0.2]
    rate = np.exp(level) * rng.gamma(kappa, 1 / kappa, landings)
    chosen = np.arange(int(landings * 0.6))
    if keen:  # the least of exponential times: a choice without repeats, likelier where busier
        chosen = np.argsort(rng.exponential(size=landings) / rate**keen)[: len(chosen)]
    days = pd.date_range(SETTINGS.season_first_day, SETTINGS.season_last_day)
    start = rng.choice([6, 7.5, 9, 12, 14.5, 17], visits)
    position = chosen[rng.integers(0, len(chosen), visits)]
    table = visit_table(
        [(places.index[p], "2027-07-01", 8, 9, 0, None, None) for p in position]
    ).assign(date=rng.choice(days, visits), start=start, end=start + rng.choice([2, 3, 4], visits))
    strata = make_strata(SETTINGS, table["date"])
    ratio = np.exp(strata.design @ rng.normal(0, 0.35, strata.design.shape[1]))
    stratum, hours = visit_hours(table, SETTINGS, strata)
    means = rate[position] * (hours * ratio[stratum]).sum(axis=1)
    gamma = rng.gamma(1 / spread**2, spread**2, visits)
    table["launches"] = pd.array(rng.poisson(means * gamma), dtype="Int64")
    return table, places, lakes, rate * (strata.season_hours @ ratio)


def single_stratum(counts):
    """One visit of 1-6 hours at each of 60 landings, one covariate, and no other difference."""
    rng = np.random.default_rng(8)
    hours = rng.uniform(1, 6, 60)
    covariates = np.column_stack([np.ones(60), rng.normal(0, 1, 60)])
    means = hours * np.exp(covariates @ [0.7, 0.4])
    boats = rng.poisson(means * (rng.gamma(1.5, 1 / 1.5, 60) if counts == "nb2" else 1.0))
    seen = Counts(boats.astype(float), np.arange(60), np.zeros((60, 1), dtype=int), hours[:, None])
    return seen, covariates, np.zeros((1, 0))


def test_one_visit_a_landing_is_negative_binomial_regression():
    """Against statsmodels' NB2 with an offset of log hours, priors all but off."""
    counts, covariates, strata = single_stratum("nb2")
    objective = minus_log_posterior(
        counts,
        covariates,
        strata,
        weights=np.ones(60),
        centre=np.zeros(3),
        width=np.full(3, 1e6),
    )
    mode = find_mode(objective, np.zeros(3))
    offset = np.log(counts.hours[:, 0])
    reference = sm.NegativeBinomial(counts.boats, covariates, offset=offset).fit(
        method="newton", disp=0, start_params=[0.7, 0.4, 0.6]
    )
    assert mode.best[:2] == pytest.approx(reference.params[:2], rel=1e-5)
    assert np.exp(-mode.best[2]) == pytest.approx(reference.params[2], rel=1e-5)
    assert mode.sd[:2] == pytest.approx(reference.bse[:2], rel=1e-3)
    # Ours leaves out log y!
    log_likelihood = -objective(mode.best)[0] - gammaln(counts.boats + 1).sum()
    assert log_likelihood == pytest.approx(reference.llf, rel=1e-7)


def test_landings_all_alike_are_poisson_regression():
    """Against statsmodels' Poisson: shape fixed near infinity, coefficients' priors off."""
    counts, covariates, strata = single_stratum("poisson")
    mode = find_mode(
        minus_log_posterior(
            counts,
            covariates,
            strata,
            weights=np.ones(60),
            centre=np.array([0, 0, np.log(1e8)]),
            width=np.array([1e6, 1e6, 0.01]),
        ),
        np.array([0.0, 0.0, np.log(1e8)]),
    )
    offset = np.log(counts.hours[:, 0])
    reference = sm.Poisson(counts.boats, covariates, offset=offset).fit(disp=0)
    assert mode.best[:2] == pytest.approx(reference.params, rel=1e-5)
    assert mode.sd[:2] == pytest.approx(reference.bse, rel=1e-4)


def test_gradient_agrees_with_differences():
    table, places, lakes, _ = world(3)
    traffic = fit_traffic(table, places, lakes, SETTINGS, assumptions=DEFAULT)
    strata = make_strata(SETTINGS, table["date"])
    stratum, hours = visit_hours(table, SETTINGS, strata)
    counts = Counts(
        table["launches"].to_numpy(float),
        places.index.get_indexer(pd.Index(table["landing_id"])),
        stratum,
        hours,
    )
    at = traffic.rates.mode.best + 0.1
    objective = minus_log_posterior(
        counts,
        traffic.rates.covariates,
        strata.design,
        weights=np.linspace(0.2, 1, len(table)),
        centre=np.zeros(len(at)),
        width=np.ones(len(at)),
    )
    steps = 1e-5 * np.eye(len(at))
    numeric = [(objective(at + s)[0] - objective(at - s)[0]) / 2e-5 for s in steps]
    assert objective(at)[1] == pytest.approx(np.array(numeric), rel=1e-5, abs=1e-4)


def test_gamma_update_worked_by_hand():
    """Shape 2, expectation 4 boats, 10 counted, no visit spread: 4 x (2 + 10) / (2 + 4) = 8."""
    counts = Counts(np.array([10.0]), np.array([0]), np.zeros((1, 1), dtype=int), np.array([[4.0]]))
    rates = fit_rates(
        counts,
        np.ones((2, 1)),
        np.zeros((1, 0)),
        centre=np.array([0.0, np.log(2.0)]),
        width=np.full(2, 1e-3),
        visit_spread=0.0,
        spread_weight=1e6,
    )
    assert rates.mean(np.array([4.0])) == pytest.approx([8.0, 4.0], rel=1e-4)
    assert rates.own_weight() == pytest.approx([4 / 6, 0.0], abs=1e-4)
    assert rates.phi == 1.0


def test_parts_of_a_visit_go_to_their_blocks_and_the_rest_to_the_nearest():
    """Blocks 06-10 and 14-18; the nearest changes at 12. Visits 05-09, 09-15, 11-13, 17-20."""
    rows = [("A0", "2027-07-12", s, e, 1, None, None) for s, e in ((5, 9), (9, 15), (11, 13))]
    table = visit_table([*rows, ("A0", "2027-07-17", 17, 20, 1, None, None)])
    strata = make_strata(ONE_WEEK, table["date"])
    stratum, hours = visit_hours(table, ONE_WEEK, strata)
    assert hours.tolist() == [[4, 0], [3, 3], [1, 1], [0, 3]]
    assert (stratum // len(strata.months)).tolist() == [[0, 1], [0, 1], [0, 1], [2, 3]]


def test_blocks_may_come_in_any_order():
    turned = replace(ONE_WEEK, blocks=ONE_WEEK.blocks[::-1])
    table = visit_table([("A0", "2027-07-12", 9, 15, 1, None, None)])
    assert visit_hours(table, turned, make_strata(turned, table["date"]))[1].tolist() == [[3, 3]]


def test_season_hours_are_those_of_the_calendar():
    """139 days: 40 on weekends, one holiday on a Monday; 4 hours in each of four blocks."""
    blocks = make_strata(SETTINGS, pd.Series([], dtype="datetime64[s]")).day_blocks()
    assert blocks["hours_in_season"].tolist() == [98 * 4.0] * 4 + [41 * 4.0] * 4
    assert blocks["day_type"].tolist() == ["weekday"] * 4 + ["weekend"] * 4
    assert list(blocks["block"][:2]) == ["06:00-10:00", "10:00-14:00"]
    assert is_weekend(pd.Series(pd.to_datetime(["2027-07-05"])), SETTINGS.holidays).all()


def test_no_visits_at_all_gives_the_assumed_traffic_with_a_wide_interval():
    traffic = fit([], landings=1)
    row = traffic.table.iloc[0]
    # 7 days of 8 hours; the weekend ratio acts about the season's mean, on the log scale.
    mean = 5 / 7 * 2.5 ** (-2 / 7) + 2 / 7 * 2.5 ** (5 / 7)
    assert row["launches"] == pytest.approx(1.6 * 56 * mean, rel=1e-6)
    assert row["launches_high"] / row["launches_low"] > 15
    assert not row["visited"]
    assert row["own_weight"] == 0
    assert traffic.refusal == pytest.approx(0.03, rel=1e-6)
    assert np.isfinite(traffic.draw(np.random.default_rng(0)).launches).all()
    assert not traffic.timed


def test_a_landing_never_visited_is_marked_and_wider():
    rows = [
        (f"A{i}", f"2027-07-{12 + d}", 6, 10, 4 + 2 * i + d % 3, None, None)
        for i in (0, 1)
        for d in range(7)
    ]
    table = fit(rows).table
    width = np.log(table["launches_high"] / table["launches_low"])
    assert table["visited"].tolist() == [True, True, False]
    assert table["own_weight"].iloc[2] == 0
    # People go where boats are, so a landing nobody counted at has 0.7 of what its size says.
    assert table["launches"].iloc[2] == pytest.approx(0.7 * table["expected"].iloc[2])
    assert width.iloc[2] > 2 * width.iloc[0]
    assert (table["launches_low"] < table["launches"]).all()
    assert (table["launches"] < table["launches_high"]).all()


def test_not_counted_is_never_zero():
    rows = [("A0", "2027-07-12", 6, 10, 8, None, None), ("A1", "2027-07-13", 6, 10, 5, None, None)]
    blank = ("A2", "2027-07-14", 6, 10, None, None, None)
    zero = ("A2", "2027-07-14", 6, 10, 0, None, None)
    without, with_blank, with_zero = fit(rows), fit([*rows, blank]), fit([*rows, zero])
    launches = [t.table["launches"].to_numpy() for t in (without, with_blank, with_zero)]
    assert launches[1] == pytest.approx(launches[0], rel=1e-9)
    assert launches[2][2] < 0.8 * without.table.loc["A2", "expected"]
    assert with_blank.table.loc["A2", ["visits", "hours", "counted"]].tolist() == [1, 0, 0]
    assert with_blank.table["visited"].tolist() == [True, True, False]
    assert with_zero.table["visited"].all()


def test_visits_that_count_nothing_give_a_small_number_above_zero():
    rows = [("A0", f"2027-07-{12 + d}", 6, 10, 0, 0, 0) for d in range(7)]
    traffic = fit(rows)
    assert 0 < traffic.table["launches"].iloc[0] < 0.2 * 1.6 * 56
    assert np.isfinite(traffic.table.to_numpy(float)).all()
    assert np.isfinite(traffic.retrieval_rate).all()
    assert not traffic.timed
    # Somebody counted at A0, so the others count as places that people pass by.
    assert traffic.unvisited.tolist() == [False, True, True]


def counted_by_block(early, late):
    """Launches counted in each of five mornings and evenings."""
    return [
        ("A0", f"2027-07-{12 + d}", start, start + 4, boats, boats, None)
        for d in range(5)
        for start, boats in ((6, early), (14, late))
        if boats is not None
    ]


def test_a_best_time_is_named_only_where_counts_in_two_blocks_tell_it():
    assert fit(counted_by_block(4, 30)).timed
    assert fit(counted_by_block(30, 4)).timed
    assert not fit(counted_by_block(30, None)).timed  # one block says nothing of the other
    assert not fit(counted_by_block(9, 9)).timed
    assert not fit(counted_by_block(0, 0)).timed
    assert not fit([("A0", "2027-07-12", 6, 10, None, None, None)]).timed
    assert not fit([("A0", "2027-07-12", 6, 10, None, None, None)]).unvisited.any()


def test_rates_add_up_to_the_season():
    table, places, lakes, _ = world(1)
    table["retrievals"] = table["launches"] + 3
    traffic = fit_traffic(table, places, lakes, SETTINGS, assumptions=DEFAULT)
    hours = traffic.day_blocks["hours_in_season"].to_numpy()
    season = traffic.table["launches"].to_numpy()
    assert traffic.launch_rate.shape == (40, 8)
    assert traffic.launch_rate @ hours == pytest.approx(season)
    assert traffic.retrieval_rate @ hours == pytest.approx(season)
    assert traffic.phi > 1


def test_retrievals_follow_their_own_hours():
    rows = []
    for d in range(5):
        rows += [("A0", f"2027-07-{12 + d}", 6, 10, 40, 4, None)]
        rows += [("A0", f"2027-07-{12 + d}", 14, 18, 20, 60, None)]
    traffic = fit(rows, landings=1)
    launching, retrieving = traffic.launch_rate[0], traffic.retrieval_rate[0]
    assert launching[0] > 1.5 * launching[1]
    assert retrieving[1] > 5 * retrieving[0]
    # No visit on a weekend: retrievals over launches are taken as on the other days.
    assert retrieving[2:] / launching[2:] == pytest.approx(retrieving[:2] / launching[:2])


def test_retrieval_profile_worked_by_hand():
    """
    Prior shape a with 1 / a + 1 / (2 a^2) = s^2; counts over expected launches, no visit spread.

    One landing, 30 boats taken out in each of five visits to the first block, none seen later.
    """
    fixed = DEFAULT.with_changes({"visit_spread": 1e-6, "block_spread": 0.5})
    rows = [("A0", f"2027-07-{12 + d}", 6, 10, 20, 30, None) for d in range(5)]
    traffic = fit(rows, landings=1, assumptions=fixed)
    shape, rate = traffic.profile
    prior = (1 + np.sqrt(1 + 2 * 0.25)) / (2 * 0.25)
    assert 1 / prior + 1 / (2 * prior**2) == pytest.approx(0.25)
    assert shape == pytest.approx([prior + 150, prior], rel=1e-6)
    launches = traffic.launch_rate[0, 0] * 4 * 5
    assert rate == pytest.approx(
        np.array([1, 1]) * prior * (launches + 0.5) / 150.5 + [launches, 0]
    )


def test_no_retrievals_counted_leave_an_even_profile_that_is_unsure():
    traffic = fit([("A0", "2027-07-12", 6, 10, 20, None, None)])
    assert traffic.retrieval_rate == pytest.approx(traffic.launch_rate)
    rng = np.random.default_rng(0)
    draws = [traffic.draw(rng) for _ in range(400)]
    ratio = np.log([d.retrieval_rate[0, 0] / d.launch_rate[0, 0] for d in draws])
    assert ratio.std() > 0.3


def test_refusals_are_set_against_parties_approached():
    rows = [("A0", "2027-07-12", 6, 10, 50, None, 20), ("A1", "2027-07-13", 6, 10, 50, None, None)]
    contacts = pd.DataFrame({"visit_id": ["V0"] * 80 + ["V1"] * 500})
    traffic = fit(rows, contacts=contacts)
    # 20 of 100 over a design effect of (10 x 1.2 + 0) / (0 + 10) for one visit.
    alpha, beta = fit(rows).refusal_beta
    assert traffic.refusal_beta == pytest.approx((alpha + 20 / 1.2, beta + 80 / 1.2))
    assert fit(rows).refusal == pytest.approx(0.03, rel=1e-6)


def test_order_and_names_of_landings_and_visits_do_not_matter():
    table, places, lakes, _ = world(5)
    table.loc[table.index[:5], "launches"] = pd.NA
    first = fit_traffic(table, places, lakes, SETTINGS, assumptions=DEFAULT)
    rng = np.random.default_rng(0)
    again = fit_traffic(
        table.iloc[rng.permutation(len(table))],
        places.iloc[rng.permutation(len(places))],
        lakes.iloc[rng.permutation(len(lakes))],
        SETTINGS,
        assumptions=DEFAULT,
    )
    pd.testing.assert_frame_equal(again.table.loc[places.index], first.table, rtol=1e-5)
    renamed = fit_traffic(
        table.assign(landing_id="x" + table["landing_id"]),
        places.rename(index=lambda name: "x" + name),
        lakes,
        SETTINGS,
        assumptions=DEFAULT,
    )
    assert renamed.table.to_numpy(float) == pytest.approx(first.table.to_numpy(float))


def test_inputs_stay_as_they_are():
    table, places, lakes, _ = world(2)
    before = table.copy(), places.copy(), lakes.copy()
    fit_traffic(table, places, lakes, SETTINGS, assumptions=DEFAULT)
    for was, now in zip(before, (table, places, lakes), strict=True):
        pd.testing.assert_frame_equal(was, now)


def test_missing_lanes_and_stalls_take_the_documented_defaults():
    rows = [(f"A{i}", "2027-07-12", 6, 10, 5, None, None) for i in range(3)]
    places, lakes = tables(3)
    blank = places.assign(
        ramp_lanes=pd.array([1, 2, None], dtype="Int64"),
        trailer_stalls=pd.array([0, 10, None], dtype="Int64"),
    )
    filled = places.assign(ramp_lanes=[1, 2, 1], trailer_stalls=[0, 10, 5])
    args = lakes, ONE_WEEK
    one = fit_traffic(visit_table(rows), blank, *args, assumptions=DEFAULT)
    two = fit_traffic(visit_table(rows), filled, *args, assumptions=DEFAULT)
    pd.testing.assert_frame_equal(one.table, two.table)


def test_unknown_landing_is_refused():
    with pytest.raises(ValueError, match="Invalid landing 'A9'"):
        fit([("A9", "2027-07-12", 6, 10, 5, None, None)])


def test_draws_agree_with_the_table():
    table, places, lakes, _ = world(4)
    traffic = fit_traffic(table, places, lakes, SETTINGS, assumptions=DEFAULT)
    rng = np.random.default_rng(9)
    draws = np.array([traffic.draw(rng).launches for _ in range(2000)])
    low, high = np.quantile(draws, [0.05, 0.95], axis=0)
    frame = traffic.table
    assert np.median(low / frame["launches_low"]) == pytest.approx(1, abs=0.1)
    assert np.median(high / frame["launches_high"]) == pytest.approx(1, abs=0.1)
    never = ~frame["visited"].to_numpy()
    assert np.median(low[never] / frame["launches_low"][never]) == pytest.approx(1, abs=0.1)
    assert np.median(high[never] / frame["launches_high"][never]) == pytest.approx(1, abs=0.1)


def test_one_draw_belongs_together():
    """Both directions give the launches of the season; one pattern in time for all landings."""
    table, places, lakes, _ = world(4)
    table["retrievals"] = table["launches"] + 3
    traffic = fit_traffic(table, places, lakes, SETTINGS, assumptions=DEFAULT)
    hours = traffic.day_blocks["hours_in_season"].to_numpy()
    drawn = [traffic.draw(np.random.default_rng(seed)) for seed in (3, 3, 4)]
    for one in drawn:
        assert one.launch_rate.shape == one.retrieval_rate.shape == (40, 8)
        assert one.launch_rate @ hours == pytest.approx(one.launches)
        assert one.retrieval_rate @ hours == pytest.approx(one.launches)
        assert (one.retrieval_rate > 0).all()
        assert 0 < one.refusal < 1
    assert np.array_equal(drawn[0].retrieval_rate, drawn[1].retrieval_rate)
    patterns = [one.launch_rate[0] / one.launches[0] for one in drawn]
    assert np.abs(np.log(patterns[0] / patterns[2])).max() > 0.01
    assert drawn[0].launch_rate[7] / drawn[0].launches[7] == pytest.approx(patterns[0])


def test_the_pattern_in_time_is_the_less_sure_the_fewer_visits():
    width = []
    for visits in (8, 40, 300):
        table, places, lakes, _ = world(6, visits=visits)
        traffic = fit_traffic(table, places, lakes, SETTINGS, assumptions=DEFAULT)
        rng = np.random.default_rng(0)
        draws = [traffic.draw(rng) for _ in range(300)]
        width.append(np.std([np.log(d.launch_rate[0, 0] / d.launches[0]) for d in draws]))
    assert width[0] > 1.3 * width[1] > 1.3 * width[2]


@pytest.mark.slow
def test_ranges_of_the_assumed_spreads_widen_the_draws():
    """With few visits; a spread given without a range leaves less room than one with a range."""
    rows = [(f"A{i}", "2027-07-12", 6, 10, 5, None, None) for i in range(3)]
    names = "block_spread", "unvisited_ratio", "visit_spread"
    for name in names:
        entry = DEFAULT.entries[name]
        wide = {"value": entry.value, "low": entry.low / 2, "high": entry.high * 2}
        width = []
        for change in (entry.value, wide):
            traffic = fit(rows, landings=5, assumptions=DEFAULT.with_changes({name: change}))
            rng = np.random.default_rng(1)
            draws = [traffic.draw(rng) for _ in range(3000)]
            landing = 4 if name == "unvisited_ratio" else 0
            width.append(np.std([np.log(d.launch_rate[landing, 1]) for d in draws]))
        assert width[1] > 1.02 * width[0], name


def test_more_visits_at_a_landing_weigh_more():
    rows = [("A0", f"2027-07-{12 + d}", 6, 10, 9, None, None) for d in range(6)]
    rows += [("A1", "2027-07-12", 6, 10, 9, None, None)]
    weight = fit(rows).table["own_weight"]
    assert weight.iloc[0] > weight.iloc[1] > weight.iloc[2] == 0


def share_held(worlds, assumptions=DEFAULT, **more):
    """Share of intervals that hold the truth, at landings visited and never visited."""
    seen, unseen, ratio = [], [], []
    for seed in range(worlds):
        table, places, lakes, truth = world(seed, **more)
        frame = fit_traffic(table, places, lakes, SETTINGS, assumptions=assumptions).table
        held = (frame["launches_low"] < truth) & (truth < frame["launches_high"])
        size, there = truth / frame["expected"], frame["visited"]
        seen.append(held[there].mean())
        unseen.append(held[~there].mean())
        ratio.append(size[~there].mean() / size[there].mean())
    return np.mean(seen), np.mean(unseen), np.mean(ratio)


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.3, 0.9])
def test_90_percent_intervals_of_traffic_cover_the_truth(spread):
    """Landings visited at random and said to be so: 82% to 97% of landings."""
    known = DEFAULT.with_changes({"unvisited_ratio": 1.0})
    seen, unseen, _ = share_held(100, known, spread=spread)
    assert 0.82 <= seen <= 0.97
    assert 0.82 <= unseen <= 0.97


@pytest.mark.slow
@pytest.mark.parametrize("keen", [0.3, 0.6])
def test_intervals_hold_at_landings_never_visited_when_people_go_where_boats_are(keen):
    """A true ratio inside the assumed range, near its middle and near its end: 85% to 95%."""
    seen, unseen, ratio = share_held(100, keen=keen)
    assert 0.4 < ratio < 1.0
    assert 0.82 <= seen <= 0.97
    assert 0.85 <= unseen <= 0.95
