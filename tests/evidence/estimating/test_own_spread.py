"""How unsure a landing's own numbers are, against draws with the region's own numbers held."""

import numpy as np
import pytest
from scipy import stats


@pytest.fixture(scope="module")
def evidence(demo_result):
    return demo_result.evidence


def test_own_spread_of_gap_rates_is_that_of_draws_given_the_region(evidence):
    """Law of total variance: draws vary by it and by the region's own numbers."""
    one = evidence.gaps.rates[1][1]
    own, each = one.own_spread()
    rng = np.random.default_rng(1)
    drawn = np.array([one.draw(rng) for _ in range(2000)])
    alpha, beta = one._posterior(one.mode.spread().T[:, :, None])
    region = (alpha / (alpha + beta)).var(axis=0)
    assert own + region == pytest.approx(drawn.var(axis=0), rel=0.25)
    assert np.median((own + region) / drawn.var(axis=0)) == pytest.approx(1, abs=0.03)
    mean = one.mean()
    assert own + each == pytest.approx(mean * (1 - mean), rel=0.1)


def test_landings_checked_more_are_less_unsure(evidence):
    one = evidence.gaps.rates[1][1]
    own, _ = one.own_spread()
    most, never = np.argmax(one.checked), np.flatnonzero(one.checked == 0)
    assert own[most] < own[never].min()


def test_own_spread_of_one_water_is_that_of_its_beta(evidence):
    shares = evidence.shares
    worth = np.zeros((len(shares.counts), 4))
    worth[:, 1] = 1.0
    own, each = shares.own_spread(worth)
    alpha = shares.concentration
    beta = stats.beta(alpha[:, 1], alpha.sum(axis=1) - alpha[:, 1])
    assert own == pytest.approx(beta.var(), rel=0.15)  # the concentration is unsure too
    assert own + each == pytest.approx(beta.mean() * (1 - beta.mean()), rel=0.15)


def test_waters_that_count_alike_leave_nothing_unsure(evidence):
    own, each = evidence.shares.own_spread(np.full((len(evidence.shares.counts), 4), 7.0))
    assert own == pytest.approx(0, abs=1e-12)
    assert each == pytest.approx(0, abs=1e-12)


def test_own_spread_of_traffic_is_most_of_what_draws_show(evidence):
    rng = np.random.default_rng(2)
    drawn = np.array([evidence.traffic.draw(rng).launches for _ in range(600)])
    shown = drawn.std(axis=0) / drawn.mean(axis=0)
    own = np.sqrt(evidence.traffic.own_spread())
    assert own == pytest.approx(shown, rel=0.3)
    assert own[evidence.traffic.unvisited].min() > np.median(own[~evidence.traffic.unvisited])
