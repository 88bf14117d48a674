"""From estimates to spread inputs, worked by hand on two landings; and draws that really differ."""

from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import spearmanr

import spreadnet.model.inputs as inputs_module
from spreadnet.evidence.estimating.status import StatusDraw
from spreadnet.evidence.estimating.where_from import WATERS
from spreadnet.evidence.region import DIRECTIONS, GAPS
from spreadnet.model.carriage.carriage import ROUTES
from spreadnet.model.estimates import best_estimates, drawn_estimates
from spreadnet.model.finds.establishment import past_introductions
from spreadnet.model.inputs import place_of, spread_inputs
from spreadnet.model.spread.between_lakes import lake_rates


@pytest.fixture(scope="module")
def pieces(demo_result):
    place = place_of(demo_result.region, demo_result.evidence, demo_result.movement)
    return demo_result, place, best_estimates(demo_result.evidence, demo_result.movement)


def with_rates(estimates, out, into):
    """Estimates whose gap rates are the same at every landing, lopsided by direction."""
    gaps = np.array(estimates.gaps)
    gaps[DIRECTIONS.index("retrieving")] = out
    gaps[DIRECTIONS.index("launching")] = into
    return replace(estimates, gaps=gaps)


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
    made, _ = spread_inputs(replace(estimates, infested=infested), result.movement, place=known)
    p = estimates.assumptions["outside_infested"]
    ratio = made["dreissenid_mussel"].outside_boats / made["eurasian_watermilfoil"].outside_boats
    assert ratio == pytest.approx((6 * p + 4) / (6 * p))


def test_finds_are_read_up_to_the_year_before_the_season(pieces, monkeypatch):
    result, place, estimates = pieces
    seen = []
    monkeypatch.setattr(inputs_module, "history", lambda *a, **k: seen.append(k["through"]))
    spread_inputs(estimates, result.movement, place=place)
    assert set(seen) == {result.region.settings.season_first_day.year - 1}


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


def test_unseen_infestations_lie_where_boats_brought_most(pieces):
    """Known lakes stay as they are, the number expected stays, and exposure decides which."""
    result, place, estimates = pieces
    made, _ = spread_inputs(estimates, result.movement, place=place)
    for name, one in made.items():
        status = result.evidence.status[name]
        unknown = ~status.known
        assert np.all(one.initial[status.known] == 1)
        assert one.initial.sum() == pytest.approx(status.probability.sum())
        past = inputs_module._past(name, estimates, place=place)
        rates = lake_rates(one, establish=1.0)
        exposed = inputs_module.past_hazard(
            one, past_introductions(one, past, rates=rates), rates=rates
        )
        alike = unknown & (status.surveys == 0)
        # Exposure was worked out from chances one pass earlier, so the order is nearly that.
        assert spearmanr(exposed[alike], one.initial[alike]).statistic > 0.95
        order = np.argsort(exposed[alike])
        ordered = one.initial[alike][order]
        assert ordered[-1] > 2 * ordered[0]
