"""Many coverages at once give what each gives alone."""

import numpy as np
import pytest
import scipy.sparse as sp
from made_trips import dense_trips

from spreadnet.model.spread.between_lakes import lake_rates
from spreadnet.model.spread.coverages import AT_ONCE, few_rates, totals_under
from spreadnet.model.spread.expected import expected_spread, total
from spreadnet.model.spread.types import Coverage, SpreadInputs


def made(rng, dtype=float):
    n_landings, n_lakes = 8, 6
    lake = np.array([0, 0, 1, 2, 3, 3, 3, 5])
    streams = sp.csr_array(([0.05], ([1], [4])), shape=(n_lakes, n_lakes))
    return SpreadInputs(
        trips=dense_trips(
            np.where(lake[:, None] == lake, 0, rng.gamma(1.0, 30.0, (8, 8))).astype(dtype)
        ),
        landing_lake=lake,
        leaving=rng.random((3, n_landings)) * 0.3,
        arriving=rng.random((3, n_landings)) + 0.5,
        weights=np.array([0.02, 0.0, 0.05]),
        outside_boats=rng.gamma(1.0, 5.0, n_landings),
        outside_leaving=rng.random(3) * 0.3,
        education_effect=np.array([0.5, 0.7, 0.0]),
        establish=0.05,
        allee_exponent=1.2,
        habitat=rng.random(n_lakes),
        streams=streams,
        initial=np.array([1.0, 0.1, 0, 0, 0.3, 0]),
        worth=rng.random(n_lakes),
    )


@pytest.mark.parametrize(("dtype", "rel"), [(float, 1e-12), (np.float32, 1e-5)])
def test_each_total_is_that_of_its_own_path(dtype, rel):
    rng = np.random.default_rng(1)
    inputs = made(rng, dtype)
    n = AT_ONCE + 3
    leaving, arriving = rng.random((n, 8)), rng.random((n, 8))
    found = totals_under(inputs, Coverage(leaving, arriving), seasons=4)
    alone = [
        total(inputs, expected_spread(inputs, Coverage(out, into), seasons=4))
        for out, into in zip(leaving, arriving, strict=True)
    ]
    assert found == pytest.approx(alone, rel=rel)


@pytest.mark.parametrize(("dtype", "rel"), [(float, 1e-12), (np.float32, 1e-5)])
@pytest.mark.parametrize("reached", [[], [6], [1, 2], [0, 1, 2, 3, 4, 5, 6, 7]])
def test_thin_products_give_the_rates_of_each_coverage(dtype, rel, reached):
    """Two landings of one lake, both ends of a trip, all of them: as worked out from the start."""
    rng = np.random.default_rng(4)
    inputs = made(rng, dtype)
    leaving, arriving = np.zeros((2, 3, 8))
    leaving[:, reached], arriving[:, reached] = rng.random((2, 3, len(reached)))
    infested = rng.random((3, 5))
    few = few_rates(inputs, Coverage(leaving, arriving), lake_rates(inputs, establish=1.0))
    for p in range(3):
        rates = lake_rates(inputs, Coverage(leaving[p], arriving[p]), establish=1.0)
        assert few.sent(infested)[p] == pytest.approx(rates.sent(infested[p]), rel=rel)
        assert few.outside[p] == pytest.approx(rates.outside, rel=1e-12)


def test_totals_are_the_same_where_few_landings_are_reached_and_where_many_are():
    rng = np.random.default_rng(5)
    inputs = made(rng)
    leaving = np.vstack([np.zeros((1, 8)), np.eye(8) * 0.7, np.ones((2, 8)) * 0.3])
    coverage = Coverage(leaving, leaving / 2)
    alone = [total(inputs, expected_spread(inputs, coverage[p], seasons=4)) for p in range(11)]
    assert totals_under(inputs, coverage, seasons=4) == pytest.approx(alone, rel=1e-12)
    rates = lake_rates(inputs, establish=1.0)
    assert totals_under(inputs, coverage, seasons=4, rates=rates) == pytest.approx(alone, rel=1e-12)


def test_no_coverage_to_work_out_is_an_empty_answer():
    inputs = made(np.random.default_rng(2))
    assert totals_under(inputs, Coverage(np.zeros((0, 8)), np.zeros((0, 8))), seasons=2).shape == (
        0,
    )


def test_wrong_shapes_and_seasons_are_refused():
    inputs = made(np.random.default_rng(3))
    with pytest.raises(ValueError, match=r"Both must have 8 columns"):
        totals_under(inputs, Coverage(np.zeros((1, 7)), np.zeros((1, 7))), seasons=2)
    with pytest.raises(ValueError, match=r"Invalid seasons '0'"):
        totals_under(inputs, Coverage(np.zeros((1, 8)), np.zeros((1, 8))), seasons=0)
