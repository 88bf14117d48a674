"""From estimates to spread inputs, worked by hand on two landings; and draws that really differ."""

from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import logit
from scipy.stats import spearmanr

from spreadnet.evidence.estimating.status import StatusDraw
from spreadnet.evidence.estimating.where_from import WATERS
from spreadnet.evidence.region import DIRECTIONS, GAPS
from spreadnet.model.carriage.carriage import ROUTES
from spreadnet.model.estimates import best_estimates, drawn_estimates
from spreadnet.model.inputs import place_of, spread_inputs
from spreadnet.model.spread import expected_spread, lake_rates


@pytest.fixture(scope="module")
def pieces(demo_result):
    place = place_of(demo_result.region, demo_result.evidence, demo_result.movement)
    return demo_result, place, best_estimates(demo_result.evidence, demo_result.movement)


def with_rates(estimates, out, into):
    """Estimates whose gap rates are the same at every landing, lopsided by direction."""
    gaps = np.array(estimates.gaps)
    gaps[DIRECTIONS.index("retrieving")] = out
    gaps[DIRECTIONS.index("launching")] = into
    return replace(estimates, gaps=gaps, told=None)


def test_leaving_takes_rates_of_retrieving_boats(pieces):
    result, place, estimates = pieces
    made, _ = spread_inputs(with_rates(estimates, 0.3, 0.1), result.movement, place=place)
    one = made["dreissenid_mussel"]
    gaps = slice(0, len(GAPS))
    assert one.leaving[gaps] == pytest.approx(0.3)
    assert one.arriving[gaps] == pytest.approx(1.0)  # the same everywhere: relative rate 1
    assert one.leaving[ROUTES.index("residual")] == pytest.approx(estimates.ballast)


def test_arriving_is_relative_to_the_regions_traffic_weighted_mean(pieces):
    result, place, estimates = pieces
    launches = estimates.traffic.launches
    into = np.full(len(launches), 0.1)
    into[0] = 0.2
    mean = (launches @ into) / launches.sum()
    made, _ = spread_inputs(with_rates(estimates, 0.3, into), result.movement, place=place)
    assert made["dreissenid_mussel"].arriving[0, :2] == pytest.approx([0.2 / mean, 0.1 / mean])


def test_education_closes_gaps_but_not_ballast(pieces):
    result, place, estimates = pieces
    made, _ = spread_inputs(replace(estimates, education_ratio=0.4), result.movement, place=place)
    effect = made["dreissenid_mussel"].education_effect
    assert effect[: len(GAPS)] == pytest.approx(0.6)
    assert effect[ROUTES.index("residual")] == 0


def test_outside_boats_are_launches_times_share_times_infested(pieces):
    result, place, estimates = pieces
    estimates = replace(estimates, told=None)  # finds change how many come infested
    bare = replace(place, outside_answers=0.0)
    made, _ = spread_inputs(estimates, result.movement, place=bare)
    expected = (
        estimates.traffic.launches
        * estimates.shares[:, WATERS.index("outside")]
        * estimates.assumptions["outside_infested"]
    )
    assert made["dreissenid_mussel"].outside_boats == pytest.approx(expected)


def test_lakes_without_a_landing_count_by_their_own_status(pieces):
    """10 answers from outside, 4 of them naming lake 0, infested for sure: (6 p + 4) / 10."""
    result, place, estimates = pieces
    n_lakes = len(result.region.lakes)
    named = np.zeros(n_lakes)
    named[0] = 4
    infested = {name: StatusDraw(np.zeros(n_lakes), None) for name in estimates.infested}
    infested["dreissenid_mussel"].chance[0] = 1
    known = replace(place, outside_answers=10.0, named_without_landing=named)
    alone = replace(estimates, infested=infested, told=None)
    made, _ = spread_inputs(alone, result.movement, place=known)
    p = estimates.assumptions["outside_infested"]
    ratio = made["dreissenid_mussel"].outside_boats / made["eurasian_watermilfoil"].outside_boats
    assert ratio == pytest.approx((6 * p + 4) / (6 * p))


def different(one, two):
    """Whether two values differ anywhere."""
    if isinstance(one, dict):
        return any(different(one[key], two[key]) for key in one)
    if isinstance(one, pd.DataFrame):
        return not one.equals(two)
    if hasattr(one, "__dataclass_fields__"):
        return any(different(getattr(one, f.name), getattr(two, f.name)) for f in fields(one))
    return not np.array_equal(np.asarray(one, dtype=object), np.asarray(two, dtype=object))


@pytest.mark.parametrize(
    "part",
    [
        "traffic",
        "shares",
        "gaps",
        "ballast",
        "education_ratio",
        "days_out",
        "coefficients",
        "species",
        "infested",
        "establish_score",
        "told",
        "assumptions",
    ],
)
def test_every_part_is_drawn(pieces, part):
    """Each part differs between draws and is the same for the same draw."""
    result, _, _ = pieces

    def drawn(number):
        estimates = drawn_estimates(result.evidence, result.movement, seed=3, draw=number)
        return getattr(estimates, part)

    if part in ("species", "infested", "establish_score"):
        assert all(different(drawn(0)[name], drawn(1)[name]) for name in drawn(0))
    assert different(drawn(0), drawn(1))
    assert not different(drawn(0), drawn(0))


@pytest.mark.parametrize("part", ["launches", "launch_rate", "retrieval_rate", "refusal"])
def test_every_part_of_traffic_is_drawn(pieces, part):
    result, _, _ = pieces
    one, two = (
        getattr(drawn_estimates(result.evidence, result.movement, seed=3, draw=n).traffic, part)
        for n in (0, 1)
    )
    assert not np.allclose(one, two)


def test_worth_of_lakes_reaches_the_model(pieces):
    result, place, estimates = pieces
    made, _ = spread_inputs(estimates, result.movement, place=place)
    worth = result.region.lakes["worth"].to_numpy(float)
    assert len(set(worth)) > 1
    assert made["dreissenid_mussel"].worth == pytest.approx(worth)


def test_unseen_infestations_stay_as_many_and_lie_where_boats_come(pieces):
    """Known lakes stay as they are; which others: `test_handover` works their chances out."""
    result, place, estimates = pieces
    made, _ = spread_inputs(estimates, result.movement, place=place)
    for name, one in made.items():
        status = result.evidence.status[name]
        unknown = ~status.known
        assert np.all(one.initial[status.known] == 1)
        assert one.initial.sum() == pytest.approx(status.probability.sum())
        alike = unknown & (status.surveys == 0)
        rates = lake_rates(one)
        come = np.zeros(len(one.initial))
        come[rates.lakes] = rates.sent(status.known[rates.lakes].astype(float)[None])[0]
        assert spearmanr((come * one.habitat)[alike], one.initial[alike]).statistic > 0.9
        assert one.initial[alike].max() > 2 * np.median(one.initial[alike])


def test_finds_to_come_are_those_foretold(pieces):
    """Over lakes with landings, what boats and streams bring is what the finds say, not noticed."""
    result, place, estimates = pieces
    made, _ = spread_inputs(estimates, result.movement, place=place)
    for name, one in made.items():
        told = estimates.told.species[name]
        q = estimates.species[name].values["found_in_year"]
        late = q / (1 - (1 - q) * np.exp(-told.growth))
        noticed = place.status[name].watched(
            detection=estimates.species[name].values["detection"],
            found_anyway=estimates.assumptions["found_anyway"],
        )
        reached = np.unique(result.movement.landing_lake)
        free = (1 - one.initial)[reached]
        hazard = expected_spread(one, seasons=1).cumulative_hazard[-1]
        # `expected_spread` counts only what comes to a lake, free or not.
        foretold = (told.season.hazard / (noticed * late))[reached]
        assert free @ hazard[reached] == pytest.approx(free @ foretold, rel=0.02)


def test_boats_from_outside_have_the_share_of_hazard_that_finds_leave_them(pieces):
    result, place, estimates = pieces
    made, _ = spread_inputs(estimates, result.movement, place=place)
    for name, one in made.items():
        rates = lake_rates(one, establish=1.0)
        risk = ((1 - one.initial) * one.habitat)[rates.lakes]
        outside = risk @ rates.outside
        inside = risk @ rates.sent(one.initial[rates.lakes])
        share = estimates.told.species[name].season.outside_share
        assert outside / (inside + outside) == pytest.approx(share, rel=1e-6)


def test_answers_and_counts_win_over_what_finds_say(pieces):
    result, _, estimates = pieces
    evidence = result.evidence
    visited = evidence.traffic.table["visited"].to_numpy(bool)
    launches = evidence.traffic.table["launches"].to_numpy(float)
    np.testing.assert_array_equal(estimates.traffic.launches[visited], launches[visited])
    assert np.any(estimates.traffic.launches[~visited] != launches[~visited])
    both = (evidence.shares.mean(), estimates.shares)
    before, now = (logit(s[:, WATERS.index("other")]) for s in both)
    own = evidence.shares.answers.sum(axis=1) / evidence.shares.concentration.sum(axis=1)
    much, little = own > 0.8, own < 0.2
    if much.any():
        assert np.abs(now - before)[much].max() < 0.5 * np.abs(now - before)[little].max()
    np.testing.assert_allclose(estimates.shares.sum(axis=1), 1.0)
