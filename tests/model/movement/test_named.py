"""Launches of lakes where nobody counted, by how often boaters name them."""

import numpy as np
import pytest

from spreadnet.model.movement.named import favourites, named_lakes

LAKES, COUNTED, OWN_SD, EXPONENT = 400, 200, 0.6, 0.7


def world(seed, *, hidden=0.0, a_lake=10.0, exponent=EXPONENT):
    """Launches that differ from their estimates, pulls with favourites of their own, and names."""
    rng = np.random.default_rng(seed)
    counted = np.arange(LAKES) < COUNTED
    own = np.where(counted, 0.0, OWN_SD**2)
    away = np.sqrt(own) * rng.standard_normal(LAKES) - own / 2
    expected = rng.gamma(1.0, a_lake, LAKES)
    pull = exponent * away + hidden * rng.standard_normal(LAKES)
    return counted, own, away, expected, rng.poisson(expected * np.exp(pull)).astype(float)


def told(seed, *, alike=1.0, **options):
    counted, own, away, expected, named = world(seed, **options)
    lakes = named_lakes(
        named, expected, counted=counted, own_variance=own, exponent=EXPONENT, alike=alike
    )
    return lakes, counted, own, away


def error(found, true, of):
    return np.sqrt(np.mean((found - true)[of] ** 2))


def test_lakes_named_often_have_more_launches_than_their_size_says():
    """As well as can be: what is left is the variance of launches known by so many names."""
    left, best = [], []
    for seed in range(10):
        counted, own, away, expected, _ = world(seed)
        lakes = told(seed)[0]
        moved = lakes.log_factor(-own / 2, exponent=EXPONENT, noise=np.zeros(LAKES))
        assert (moved[counted] == 0).all()
        left.append(error(-own / 2 + moved, away, ~counted) ** 2)
        best.append((own / (1 + own * EXPONENT**2 * expected))[~counted].mean())
    assert np.mean(left) < 1.15 * np.mean(best) < 0.7 * OWN_SD**2


def test_the_mean_of_launches_stays_right():
    ratios = []
    for seed in range(20):
        lakes, counted, _, away = told(seed)
        factor = np.exp(lakes.log_mean_factor(np.zeros(LAKES), exponent=EXPONENT))
        ratios.append(factor[~counted].sum() / np.exp(away)[~counted].sum())
    assert np.mean(ratios) == pytest.approx(1, abs=0.05)  # normal on the log scale: 3% off


def test_draws_hold_the_truth_as_often_as_they_say():
    inside = []
    for seed in range(10):
        lakes, counted, own, away = told(seed)
        rng = np.random.default_rng([seed, 1])
        draws = []
        for _ in range(200):
            before = np.sqrt(own) * rng.standard_normal(LAKES) - own / 2
            noise = rng.standard_normal(LAKES)
            draws.append(before + lakes.log_factor(before, exponent=EXPONENT, noise=noise))
        low, high = np.quantile(draws, [0.05, 0.95], axis=0)
        inside.append(((low <= away) & (away <= high))[~counted].mean())
    assert 0.86 < np.mean(inside) < 0.94  # 2,000 lakes: three standard errors are 0.02


def test_where_boaters_have_favourites_of_their_own_little_is_learned():
    plain, _, own, _ = told(3)
    lakes, counted, _, away = told(3, hidden=1.0)
    assert np.median(lakes.variance[~counted]) > 3 * np.median(plain.variance[~counted])
    middle = -own / 2
    moved = lakes.log_factor(middle, exponent=EXPONENT, noise=np.zeros(LAKES))
    assert error(middle + moved, away, ~counted) < error(middle, away, ~counted)  # still no worse


def test_nothing_is_learned_where_pull_does_not_go_with_launches():
    lakes, _, own, _ = told(4)
    assert (lakes.log_factor(-own / 2, exponent=0.0, noise=np.ones(LAKES)) == 0).all()


def test_a_lake_that_nobody_could_have_named_keeps_its_estimate():
    lakes = named_lakes(
        np.array([3.0, 0.0]),
        np.array([3.0, 0.0]),
        counted=np.array([True, False]),
        own_variance=np.array([0.0, 0.4]),
        exponent=0.7,
        alike=1.0,
    )
    away = np.array([0.0, 0.3])
    assert lakes.log_mean_factor(away, exponent=0.7) == pytest.approx([0, 0])


def test_boaters_who_answer_alike_tell_less():
    one, counted, *_ = told(5)
    other, *_ = told(5, alike=3.0)
    assert (other.variance[~counted] > 2 * one.variance[~counted]).all()


def test_favourites_are_what_chance_does_not_explain():
    rng = np.random.default_rng(6)
    expected = np.full(20_000, 8.0)
    assert favourites(rng.poisson(expected), expected, alike=1.0) == pytest.approx(0, abs=0.005)
    pulled = expected * rng.gamma(4.0, 0.25, len(expected))
    assert favourites(rng.poisson(pulled), expected, alike=1.0) == pytest.approx(0.25, abs=0.02)


def test_lists_of_different_length_are_refused():
    with pytest.raises(ValueError, match="Invalid arrays of 1, 2, 1 and 1 lakes"):
        named_lakes(
            np.ones(1),
            np.ones(2),
            counted=np.ones(1, bool),
            own_variance=np.ones(1),
            exponent=1.0,
            alike=1.0,
        )
