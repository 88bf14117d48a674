"""
Value of knowing a landing better, against closed forms, exact sums and brute force.

Preposterior analysis of Raiffa & Schlaifer (1961), Applied Statistical Decision Theory; the unit
normal loss integral is tabled there as 0.3989 at 0, 0.1978 at 0.5 and 0.08332 at 1 (from memory).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spreadnet.decisions.surveys.value import (
    even_scores,
    gain_of_knowing,
    learned,
    moved_means,
    shifts_in_doubt,
)


def test_answers_move_a_share_as_the_beta_binomial_says():
    a, b, n = 3.0, 11.0, 9
    x = np.arange(n + 1)
    chance = stats.betabinom(n, a, b).pmf(x)
    means = (a + x) / (a + b + n)
    exact = chance @ means**2 - (chance @ means) ** 2
    variance = a * b / ((a + b) ** 2 * (a + b + 1))
    assert learned(variance, variance * (a + b), n) == pytest.approx(exact, rel=1e-12)
    # Variance falls by the factor n / (n + a + b).
    assert learned(variance, variance * (a + b), n) / variance == pytest.approx(n / (n + a + b))


def test_boats_counted_move_a_rate_as_the_gamma_poisson_says():
    shape, boats = 2.5, 6.0  # gamma with mean 1, and boats expected
    y = np.arange(400)
    chance = stats.nbinom(shape, shape / (shape + boats)).pmf(y)
    means = (shape + y) / (shape + boats)
    exact = chance @ means**2 - (chance @ means) ** 2
    assert learned(1 / shape, 1.0, boats) == pytest.approx(exact, rel=1e-9)


def test_answers_move_a_mean_of_waters_as_the_dirichlet_says():
    """All ways in which three boats can answer, by their chances."""
    alpha, worth, n = np.array([2.0, 1.0, 0.5, 4.0]), np.array([0.0, 3.0, 5.0, 0.0]), 3
    ways = np.array(list(np.ndindex(4, 4, 4, 4)))
    ways = ways[ways.sum(axis=1) == n]
    chance = stats.dirichlet_multinomial(alpha, n).pmf(ways)
    means = (alpha + ways) @ worth / (alpha.sum() + n)
    exact = chance @ means**2 - (chance @ means) ** 2
    total = alpha.sum()
    mean = alpha @ worth / total
    variance = (alpha @ (worth - mean) ** 2) / (total * (total + 1))
    assert learned(variance, variance * total, n) == pytest.approx(exact, rel=1e-12)


@given(st.floats(1e-6, 10), st.floats(1e-6, 10), st.floats(0, 1e4), st.floats(0, 1e4))
@settings(max_examples=100, deadline=None)
def test_more_answers_never_tell_less_and_never_more_than_all(variance, noise, some, more):
    few, many = learned(variance, noise, min(some, more)), learned(variance, noise, max(some, more))
    assert 0 <= few <= many * (1 + 1e-12)
    assert many <= variance * (1 + 1e-12)


@pytest.mark.parametrize(("distance", "tabled"), [(0.0, 0.3989), (0.5, 0.1978), (1.0, 0.08332)])
def test_two_normal_landings_gain_the_unit_normal_loss(distance, tabled):
    sd, against = 0.3, 2.0
    scores = even_scores(1).T
    for side in (-1, 1):
        value = np.array([against + side * distance * sd])
        gain, chance = gain_of_knowing(value, np.array([against]), value[:, None] + sd * scores)
        assert gain / sd == pytest.approx(tabled, abs=0.002)
        assert chance == pytest.approx(stats.norm.cdf(-distance), abs=0.002)


def test_moved_means_have_the_mean_and_variance_asked_for():
    variance = np.array([0.0, 0.01, 0.1, 0.5, 1.0])
    means = moved_means(variance, even_scores(1)[:, 0])
    assert means.mean(axis=1) == pytest.approx(1, abs=0.005)
    assert means.var(axis=1) == pytest.approx(variance, rel=0.03)
    gamma = stats.gamma(2.0, scale=0.5).ppf([0.05, 0.5, 0.95])
    found = np.quantile(moved_means(np.array([0.5]), even_scores(1)[:, 0]), [0.05, 0.5, 0.95])
    assert found == pytest.approx(gamma, abs=0.03)


@given(st.floats(0.2, 5), st.floats(0.001, 1), st.floats(0.001, 1))
@settings(max_examples=60, deadline=None)
def test_what_tells_more_never_gains_less(against, one, other):
    scores = even_scores(1)[:, 0]
    less, more = (
        gain_of_knowing(
            np.array([1.0]), np.array([against]), moved_means(np.array([variance]), scores)
        )[0]
        for variance in sorted((one, other))
    )
    assert 0 <= less <= more + 1e-3


def test_nothing_is_gained_where_nothing_can_turn_out_otherwise():
    value, against = np.array([1.0, 3.0]), np.array([2.0, 2.0])
    assert gain_of_knowing(value, against, np.tile(value[:, None], 8)) == (0.0, 0.0)


def best_total(values, shifts, placed):
    """Value of the shifts placed best, by sorting every one of them."""
    every = np.repeat(values.ravel(), shifts.ravel())
    return np.sort(every)[::-1][:placed].sum()


@given(st.integers(0, 10_000))
@settings(max_examples=60, deadline=None)
def test_gain_is_that_of_placing_all_shifts_anew(seed):
    """A landing turns out better or worse; all hours are placed again, and compared with before."""
    rng = np.random.default_rng(seed)
    n_landings, n_blocks = rng.integers(2, 6), rng.integers(1, 4)
    values = rng.gamma(2, 1, (n_landings, n_blocks))
    shifts = rng.integers(0, 4, (n_landings, n_blocks))
    placed = int(rng.integers(0, shifts.sum() + 1))
    block, value, against = shifts_in_doubt(values, shifts, placed=placed)
    factors = rng.gamma(3, 1 / 3, 7)
    for k in range(n_landings):
        used = (value[k] > 0) & (against[k] > 0)
        seen = values[k][block[k, used]][:, None] * factors
        gain, _ = gain_of_knowing(value[k, used], against[k, used], seen)
        before = best_total(values, shifts, placed)
        own = value[k][value[k] > against[k]].sum()
        brute = 0.0
        for factor in factors:
            anew = values.copy()
            anew[k] *= factor
            brute += best_total(anew, shifts, placed) - (before - own + factor * own)
        assert gain == pytest.approx(brute / len(factors), abs=1e-9)


def test_brute_force_with_real_answers_agrees():
    """
    Nested Monte Carlo: true rates, a survey, estimates from it, hours placed by them.

    Three landings, one shift to place, each worth what its gap rate is times a number. Landing by
    landing a survey of 100 boats; what is then gained is worth what the true rates say.
    """
    rng = np.random.default_rng(7)
    a, b = np.array([6.0, 2.0, 3.0]), np.array([24.0, 12.0, 30.0])
    worth, boats = np.array([1.0, 1.3, 1.5]), 100
    mean = a / (a + b)
    values = (worth * mean)[:, None]
    _, value, against = shifts_in_doubt(values, np.ones((3, 1), int), placed=1)
    variance = a * b / ((a + b) ** 2 * (a + b + 1)) / mean**2
    told = learned(variance, variance * (a + b), boats)
    for k in range(3):
        seen = value[k][:, None] * moved_means(told, even_scores(1)[:, 0])[[k]]
        gain, _ = gain_of_knowing(value[k], against[k], seen)
        truth = rng.beta(a, b, (400_000, 3))
        found = rng.binomial(boats, truth[:, k])
        estimate = np.tile(mean, (len(truth), 1))
        estimate[:, k] = (a[k] + found) / (a[k] + b[k] + boats)
        chosen = np.argmax(estimate * worth, axis=1)
        had = int(np.argmax(mean * worth))
        brute = (truth * worth)[np.arange(len(truth)), chosen] - (truth * worth)[:, had]
        error = brute.std() / np.sqrt(len(brute))
        assert gain == pytest.approx(brute.mean(), rel=0.08, abs=4 * error)
