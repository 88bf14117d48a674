"""Coverage at one landing alone: the difference of two whole runs."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
from made_trips import dense_trips

from spreadnet.model.spread.between_lakes import FlowRates, lake_rates
from spreadnet.model.spread.expected import expected_spread, gradient, total
from spreadnet.model.spread.futures import simulate
from spreadnet.model.spread.one_landing import AT_ONCE, avoided_at_one
from spreadnet.model.spread.types import Coverage, SpreadInputs
from spreadnet.model.trips.dense import Trips


def made(rng, *, allee=1.0, dtype=float, dense=False):
    """Lake 4 has no landing; lakes 0 and 3 have several; streams join 1 to 4 to 5."""
    lake = np.array([3, 0, 0, 1, 2, 3, 3, 5])
    groups = np.array([0, 1, 2, 3, 5])
    group = np.searchsorted(groups, lake)
    by_origin = rng.gamma(1.0, 60.0, (8, 5)).astype(dtype)
    by_origin[np.arange(8), group] = 0
    weight = rng.random(8) + 0.1
    trips = Trips(by_origin, group, weight / np.bincount(group, weight)[group])
    return SpreadInputs(
        trips=dense_trips(trips.matrix()) if dense else trips,
        landing_lake=lake,
        leaving=rng.random((3, 8)) * 0.3,
        arriving=rng.random((3, 8)) + 0.5,
        weights=np.array([0.02, 0.0, 0.05]),
        outside_boats=rng.gamma(1.0, 5.0, 8),
        outside_leaving=rng.random(3) * 0.3,
        education_effect=np.array([0.5, 0.7, 0.2]),
        establish=0.2,
        allee_exponent=allee,
        habitat=rng.random(6),
        streams=sp.csr_array(([0.05, 0.2], ([1, 4], [4, 5])), shape=(6, 6)),
        initial=np.array([1.0, 0.1, 0, 0, 0.3, 0]),
        worth=rng.random(6),
    )


class Flowing:
    """Trips of which only sums can be asked, as those of a nation."""

    def __init__(self, trips):
        self.into, self.out_of = trips.into, trips.out_of
        self.rows, self.columns = trips.rows, trips.columns
        self.leaving, self.arriving = trips.leaving, trips.arriving


@pytest.mark.parametrize("dense", [False, True])
@pytest.mark.parametrize("allee", [1.0, 1.4])
def test_it_is_the_difference_of_two_runs(allee, dense):
    rng = np.random.default_rng(1)
    inputs = made(rng, allee=allee, dense=dense)
    landings = np.tile(np.arange(8), AT_ONCE // 8 + 1)
    leaving, arriving = rng.random(len(landings)), rng.random(len(landings))
    found = avoided_at_one(inputs, landings, leaving, arriving, seasons=6)
    without = total(inputs, expected_spread(inputs, Coverage.none(8), seasons=6))
    for p in (*range(8), len(landings) - 1):
        reached = Coverage(np.zeros(8), np.zeros(8))
        reached.leaving[landings[p]] = leaving[p]
        reached.arriving[landings[p]] = arriving[p]
        with_it = total(inputs, expected_spread(inputs, reached, seasons=6))
        assert found[p] == pytest.approx(without - with_it, rel=1e-9)
        assert found[p] > 0


def test_a_millionth_of_the_total_is_still_told_in_half_the_memory():
    inputs, small = (made(np.random.default_rng(3), dtype=dtype) for dtype in (float, np.float32))
    share = np.full(8, 1e-6)
    exact = avoided_at_one(inputs, np.arange(8), share, share, seasons=6)
    found = avoided_at_one(small, np.arange(8), share, share, seasons=6)
    assert found == pytest.approx(exact, rel=1e-5)


def test_nobody_reached_avoids_nothing_at_all():
    inputs = made(np.random.default_rng(4))
    nothing = avoided_at_one(inputs, np.arange(8), np.zeros(8), np.zeros(8), seasons=3)
    assert (nothing == 0).all()
    none = np.zeros(0)
    assert len(avoided_at_one(inputs, none.astype(int), none, none, seasons=3)) == 0


def test_shares_that_do_not_fit_are_refused():
    inputs = made(np.random.default_rng(5))
    with pytest.raises(ValueError, match="One a landing is needed, 8"):
        avoided_at_one(inputs, np.arange(8), np.zeros(7), np.zeros(8), seasons=3)


@pytest.mark.parametrize("allee", [1.0, 1.4])
def test_nothing_changes_where_no_matrix_of_rates_is_held(allee):
    inputs = made(np.random.default_rng(7), allee=allee)
    flowing = replace(inputs, trips=Flowing(inputs.trips))
    held, rates = lake_rates(inputs, establish=1.0), lake_rates(flowing, establish=1.0)
    assert isinstance(rates, FlowRates)
    infested, value = np.random.default_rng(8).random((2, 40, len(rates.lakes)))
    assert rates.sent(infested) == pytest.approx(held.sent(infested), rel=1e-12)
    assert rates.back(value[0]) == pytest.approx(held.back(value[0]), rel=1e-12)
    paths = [
        expected_spread(one, rates=r, seasons=5) for one, r in ((inputs, held), (flowing, rates))
    ]
    assert paths[1].infested == pytest.approx(paths[0].infested, rel=1e-12)
    slopes = [
        gradient(one, None, path, rates=r)
        for one, path, r in zip((inputs, flowing), paths, (held, rates), strict=True)
    ]
    for name in ("leaving_routes", "arriving_routes", "initial"):
        assert getattr(slopes[1], name) == pytest.approx(getattr(slopes[0], name), rel=1e-11)
    share = np.full(8, 0.3)
    held_so, found = (
        avoided_at_one(one, np.arange(8), share, share, seasons=5) for one in (inputs, flowing)
    )
    assert found == pytest.approx(held_so, rel=1e-10)
    futures = [
        simulate(one, seasons=5, seed=3, species="weed", futures=range(60))
        for one in (inputs, flowing)
    ]
    assert np.array_equal(futures[0].first_season, futures[1].first_season)
    assert 0 < (futures[0].first_season == 2).mean() < 1
