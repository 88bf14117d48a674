"""Slopes of counts by a number, held to counts whose slope is known."""

import numpy as np
import pytest
from scipy.optimize import minimize

from spreadnet.evidence.statistics import poisson_slope


def test_the_slope_is_found_with_an_error_that_holds_it():
    rng = np.random.default_rng(1)
    inside = 0
    for _ in range(300):
        by, expected = rng.normal(0, 1.5, 60), rng.gamma(2, 5, 60)
        counts = rng.poisson(2 * expected * np.exp(-0.2 * by) * rng.gamma(4, 0.25, 60))
        slope, error = poisson_slope(counts, expected, by)
        inside += abs(slope + 0.2) < 1.645 * error
    assert 0.83 < inside / 300 < 0.95  # 90% intervals; few rows make them somewhat narrow


def test_it_is_the_same_as_a_regression_solved_another_way():
    rng = np.random.default_rng(2)
    by, expected = rng.normal(0, 1, 40), rng.gamma(2, 3, 40)
    counts = rng.poisson(expected * np.exp(0.3 * by))

    def loss(given):
        mean = expected * np.exp(given[0] + given[1] * by)
        return float((mean - counts * np.log(mean)).sum())

    slope, _ = poisson_slope(counts, expected, by)
    assert slope == pytest.approx(minimize(loss, [0.0, 0.0]).x[1], abs=1e-4)


@pytest.mark.parametrize("counts", [np.zeros(4), np.array([0.0, 0, 0, 5]), np.array([1.0, 2])])
def test_counts_that_bound_no_slope_give_none(counts):
    by = np.arange(len(counts), dtype=float)
    assert poisson_slope(counts, np.ones(len(counts)), by) is None


def test_numbers_all_alike_and_lists_of_different_length_are_refused():
    with pytest.raises(ValueError, match="all alike"):
        poisson_slope(np.ones(3), np.ones(3), np.ones(3))
    with pytest.raises(ValueError, match="Invalid arrays of 2, 3 and 3 rows"):
        poisson_slope(np.ones(2), np.ones(3), np.arange(3.0))
