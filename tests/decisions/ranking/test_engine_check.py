"""Every run says how its expected course compares with simulated futures."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
from made_trips import dense_trips

from spreadnet.decisions.draws.run import FUTURES, Run, run_draws, run_model, setting_of
from spreadnet.decisions.ranking.engine_check import EngineCheck, check_engine, why_apart
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.model.spread.expected import expected_spread
from spreadnet.model.spread.types import Coverage, SpreadInputs

AGREED = EngineCheck(
    expected=5.1,
    simulated=5.0,
    error=0.05,
    futures=1000,
    initial=20.0,
    unsure=0.1,
    lake=0,
    lake_apart=0.01,
)
NAMES = ["Ama Deep", "Blue Pan"]


def chain(initial, rate, n_lakes=3):
    """Lakes in a row: each feeds only the next."""
    return SpreadInputs(
        trips=dense_trips(np.diag(np.full(n_lakes - 1, rate), 1)),
        landing_lake=np.arange(n_lakes),
        leaving=np.ones((1, n_lakes)),
        arriving=np.ones((1, n_lakes)),
        weights=np.ones(1),
        outside_boats=np.zeros(n_lakes),
        outside_leaving=np.ones(1),
        education_effect=np.ones(1),
        establish=1.0,
        allee_exponent=1.0,
        habitat=np.ones(n_lakes),
        streams=sp.csr_array((n_lakes, n_lakes)),
        initial=np.asarray(initial, float),
        worth=np.ones(n_lakes),
    )


def checked(inputs, seasons=8):
    path = expected_spread(inputs, Coverage.none(len(inputs.landing_lake)), seasons=seasons)
    run = Run({"weed": 1.0}, {"weed": inputs}, {"weed": path}, {}, {}, None, seasons)
    return check_engine(run, seed=1)["weed"]


def test_nothing_is_said_where_the_two_agree():
    assert not AGREED.apart
    assert why_apart(AGREED, NAMES) == ""
    assert AGREED.ratio == pytest.approx(1.02)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"initial": 2.0}, "few lakes hold it"),
        ({"expected": 30.0}, "it spreads fast"),
        ({"unsure": 0.6}, "which lakes hold it is unsure"),
        ({"lake": 1, "lake_apart": 0.2}, "Blue Pan is fed mostly by a neighbour"),
        ({}, "chances of neighbouring lakes hang together"),
        ({"expected": 4.0}, "it should never be"),
    ],
)
def test_where_they_part_it_is_said_why(changes, words):
    assert words in why_apart(replace(AGREED, **{"expected": 6.0, **changes}), NAMES)


def test_a_gap_within_chance_is_not_one():
    assert not replace(AGREED, expected=6.0, error=0.5).apart
    assert replace(AGREED, expected=6.0, error=0.5).errors_above == pytest.approx(2)


def test_the_lower_expected_needs_more_than_bad_luck():
    """It asks the user to report a fault, so one run in a thousand is too often."""
    below = replace(AGREED, expected=4.0, error=0.25)
    assert below.errors_above == pytest.approx(-4)
    assert not below.apart
    assert replace(below, error=0.2).apart


@pytest.mark.parametrize("rate", [1e-12, 1e-7, 1e-5, 1e-4, 1e-3])
def test_futures_in_which_little_happens_are_no_gap(rate):
    """Nothing in 1,000 futures is what 0.0008 expected looks like, not a fault of the engine."""
    check = checked(chain([1, 0, 0], rate))
    falls = -np.expm1(-8 * rate)  # lake 1, exactly; lake 2 needs two such chances
    alone = (falls * (1 - falls) / 1000) ** 0.5
    found = check.simulated  # hardly ever two in one future, so a share of futures
    counted = (found * (1 - found) / 999) ** 0.5
    assert check.expected == pytest.approx(falls, rel=0.01)
    assert check.error == pytest.approx(max(alone, counted), rel=0.02)
    assert not check.apart
    assert why_apart(check, ["a", "b", "c"]) == ""


def test_where_few_boats_together_fail_the_expected_may_be_lower():
    """Half a chance of an infested lake is not half the boats, once boats count by their square."""
    check = checked(replace(chain([0.5, 0, 0], 0.3), allee_exponent=2.0))
    assert check.expected < check.simulated
    assert check.apart
    assert "few boats together rarely found" in why_apart(check, ["a", "b", "c"])
    assert "report" not in why_apart(check, ["a", "b", "c"])


def test_no_lake_is_named_for_its_luck():
    """The worst of 3,000 lakes at even odds is 0.07 off in 666 futures by chance alone."""
    n = 3000
    inputs = replace(
        chain(np.zeros(2), 0.0, n_lakes=2),
        landing_lake=np.arange(2),
        habitat=np.ones(n),
        initial=np.append(1.0, np.zeros(n - 1)),
        worth=np.ones(n),
        streams=sp.csr_array(
            (np.full(n - 1, np.log(2) / 8), (np.zeros(n - 1, int), np.arange(1, n))), shape=(n, n)
        ),
    )
    check = checked(inputs)
    assert check.futures == 666
    assert check.lake_apart == 0
    assert not check.apart


def test_a_lake_fed_by_one_uncertain_neighbour_is_found():
    """Numerics B: one strong in-edge from a lake that is often free makes the expected too high."""
    check = checked(chain([1, 0, 0], 0.25))
    assert check.lake == 2
    assert check.apart
    assert "few lakes hold it" in why_apart(check, ["a", "b", "c"])
    assert check.simulated == pytest.approx(
        # Exact: lake 1 falls in season s, lake 2 only after that.
        (1 - np.exp(-2.0))
        + sum(
            np.exp(-0.25 * (s - 1)) * (1 - np.exp(-0.25)) * (1 - np.exp(-0.25 * (8 - s)))
            for s in range(1, 9)
        ),
        abs=4 * check.error,
    )


def test_nothing_happening_is_agreement():
    check = checked(chain([1, 0, 0], 0.0))
    assert (check.simulated, check.expected, check.ratio, check.apart) == (0, 0, 1, False)


def test_all_draws_are_simulated_too(demo_result):
    evidence, movement = demo_result.evidence, demo_result.movement
    place = place_of(demo_result.region, evidence, movement)
    best = run_model(best_estimates(evidence, movement), movement, place=place, seasons=4)
    setting = setting_of(evidence, movement, place=place, best=best, hours={}, seed=2)
    draws = run_draws(setting, range(40), workers=1, step=lambda *_: None)
    for name, totals in draws.totals.items():
        simulated = draws.simulated[name]
        assert simulated.shape == (40, FUTURES)
        assert draws.counts[name].shape == (4, len(demo_result.region.lakes))
        assert draws.counts[name][-1].sum() == simulated.sum()
        assert (np.diff(draws.counts[name], axis=0) >= 0).all()
        apart = totals - simulated.mean(axis=1)
        assert abs(apart.mean()) < 4 * apart.std() / 40**0.5 + 0.1 * totals.mean()


def test_the_run_tells_both_and_the_table_by_season_agrees(demo_result):
    told = [n for n in demo_result.notes if n.code.startswith("engines-")]
    assert len(told) == len(demo_result.totals)
    assert "1,000 simulated courses give" in told[0].text
    table = demo_result.totals
    assert table["simulated"].to_numpy() == pytest.approx(
        table["new_infestations"].to_numpy(), rel=0.15
    )
    assert (table["one_future_low"] <= table["simulated"]).all()
    assert (table["one_future_high"] >= table["simulated"]).all()
    last = demo_result.by_season[demo_result.by_season["season"] == demo_result.seasons]
    for name, row in table.iterrows():
        mine = last[last["species"] == name]
        assert mine["expected"].sum() == pytest.approx(row["new_infestations"], rel=0.02)
        assert mine["simulated"].sum() == pytest.approx(row["simulated"], rel=0.4)
    by_lake = demo_result.by_season.groupby(["species", "lake_id"])["expected"]
    assert by_lake.apply(lambda one: one.is_monotonic_increasing).all()
