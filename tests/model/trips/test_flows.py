"""Trips held by lake: the same sums as the whole matrix, in any precision."""

import numpy as np
import pytest
import scipy.sparse as sp
from made_trips import dense_trips

from spreadnet.model.spread.between_lakes import lake_rates
from spreadnet.model.spread.expected import expected_spread
from spreadnet.model.spread.types import Coverage, SpreadInputs
from spreadnet.model.trips.dense import Trips


def made(rng, n_landings=9, n_lakes=5, dtype=float):
    group = rng.permutation(np.arange(n_landings) % n_lakes)
    by_origin = rng.gamma(1.0, 20.0, (n_landings, n_lakes)).astype(dtype)
    by_origin[np.arange(n_landings), group] = 0
    weight = rng.random(n_landings) + 0.1
    split = weight / np.bincount(group, weight)[group]
    return Trips(by_origin, group, split)


def test_sums_are_those_of_the_whole_matrix():
    rng = np.random.default_rng(1)
    trips = made(rng)
    whole = trips.matrix()
    values = rng.random((9, 3))
    assert trips.into(values) == pytest.approx(whole.T @ values)
    assert trips.out_of(values) == pytest.approx(whole @ values)
    assert trips.arriving() == pytest.approx(whole.sum(axis=0))
    assert trips.leaving() == pytest.approx(whole.sum(axis=1))
    assert trips.total() == pytest.approx(whole.sum())
    assert trips.rows(slice(2, 5)) == pytest.approx(whole[2:5])
    assert trips.columns(slice(2, 5)) == pytest.approx(whole[:, 2:5])


def test_a_dense_matrix_is_taken_as_it_is():
    matrix = np.random.default_rng(2).random((4, 4))
    trips = dense_trips(matrix)
    assert trips.matrix() == pytest.approx(matrix)
    assert trips.into(np.eye(4)) == pytest.approx(matrix.T)


def test_half_the_memory_costs_seven_digits():
    rng = np.random.default_rng(3)
    trips = made(rng, 40, 12)
    small = Trips(trips.by_origin.astype(np.float32), trips.group, trips.split)
    values = rng.random((40, 2))
    assert small.into(values).dtype == float
    assert small.into(values) == pytest.approx(trips.into(values), rel=1e-5)
    assert small.out_of(values) == pytest.approx(trips.out_of(values), rel=1e-5)


def test_a_complex_step_goes_through():
    trips = made(np.random.default_rng(4))
    step = np.full((9, 1), 1e-20j)
    assert trips.into(1 + step).imag == pytest.approx(1e-20 * trips.into(np.ones((9, 1))))
    assert trips.out_of(1 + step).imag == pytest.approx(1e-20 * trips.out_of(np.ones((9, 1))))


def test_rows_without_a_group_are_refused():
    with pytest.raises(ValueError, match=r"Invalid trips\. 2 rows need as many groups"):
        Trips(np.zeros((2, 2)), np.zeros(3, int), np.ones(2))


def species(rng, trips, group, **changes):
    n_landings, n_lakes, routes = len(group), 7, 3
    given = {
        "trips": trips,
        "landing_lake": group,
        "leaving": rng.random((routes, n_landings)) * 0.3,
        "arriving": rng.random((routes, n_landings)) + 0.5,
        "weights": rng.random(routes) * 0.1,
        "outside_boats": rng.gamma(1.0, 5.0, n_landings),
        "outside_leaving": rng.random(routes) * 0.3,
        "education_effect": np.array([0.5, 0.7, 0.0]),
        "establish": 0.01,
        "allee_exponent": 1.3,
        "habitat": rng.random(n_lakes),
        "streams": sp.csr_array((n_lakes, n_lakes)),
        "initial": np.append(rng.random(n_lakes - 1), 1.0),
        "worth": np.ones(n_lakes),
    }
    return SpreadInputs(**{**given, **changes})


@pytest.mark.parametrize("dense", [False, True])
def test_lake_rates_give_the_introductions_of_the_expected_spread(dense):
    """Lakes 2 and 5 have no landing; some have two with rates of their own."""
    rng = np.random.default_rng(5)
    trips = made(rng)
    lakes = np.array([0, 1, 3, 4, 6])
    given = dense_trips(trips.matrix()) if dense else trips
    inputs = species(rng, given, lakes[trips.group])
    coverage = Coverage(rng.random(9), rng.random(9))
    path = expected_spread(inputs, coverage, seasons=2)
    rates = lake_rates(inputs, coverage)
    assert list(rates.lakes) == list(lakes)
    for season in range(2):
        found = rates.outside + path.infested[season][lakes] @ rates.between
        assert found == pytest.approx(path.introductions[season][lakes])
    bare = lake_rates(inputs, coverage, establish=1.0)
    assert bare.between * 0.01 == pytest.approx(rates.between)
    assert bare.outside * 0.01 == pytest.approx(rates.outside)
