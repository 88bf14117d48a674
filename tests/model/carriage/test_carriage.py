"""Carriage: exact chance, first-order sum, and what is never zero."""

import numpy as np
import pytest

from spreadnet.evidence.region import GAPS
from spreadnet.evidence.species.species import read_species
from spreadnet.model.carriage.carriage import (
    ROUTES,
    arriving_relative,
    carriage,
    leaving_rates,
    route_weights,
)

N = len(ROUTES)


def test_routes_are_the_gaps_and_residual_water():
    assert (*GAPS, "residual") == ROUTES


def test_exact_carriage_worked_by_hand():
    # routes carry 0.5 x 1 x 0.2 = 0.1 and 0.4 x 2 x 0.25 = 0.2: 1 - 0.9 x 0.8 = 0.28
    leaving = np.array([[0.5], [0.4]])
    arriving = np.array([[1.0], [2.0]])
    assert carriage(leaving, arriving, [0.2, 0.25]) == pytest.approx(0.28)


def test_pairs_and_every_pair_agree():
    rng = np.random.default_rng(0)
    leaving, arriving = rng.uniform(0, 0.3, (N, 4)), rng.uniform(0.4, 2, (N, 3))
    weights = rng.uniform(0, 0.5, N)
    table = carriage(leaving[:, :, None], arriving[:, None, :], weights)
    assert table.shape == (4, 3)
    assert carriage(leaving[:, 2], arriving[:, 1], weights) == pytest.approx(table[2, 1])


def test_the_sum_over_routes_is_never_below_and_at_most_half_its_square_above():
    # Bonferroni: sum p - sum of pairs <= 1 - prod(1 - p) <= sum p
    rng = np.random.default_rng(1)
    leaving, arriving = rng.uniform(0, 1, (N, 500)), rng.uniform(1 / 3, 3, (N, 500))
    weights = rng.uniform(0, 1, N) ** 3
    exact = carriage(leaving, arriving, weights)
    first_order = (leaving * arriving * weights[:, None]).sum(axis=0)
    assert (first_order >= exact - 1e-15).all()
    assert (first_order - exact <= first_order**2 / 2 + 1e-15).all()


def test_the_sum_is_close_at_real_gap_rates():
    milfoil = read_species()["eurasian_watermilfoil"]
    weights = route_weights(milfoil, np.full(N, 0.5))
    leaving = leaving_rates(np.full((len(GAPS), 1), 0.1), [0.05])
    exact = carriage(leaving, np.ones((N, 1)), weights)
    first_order = (leaving * weights[:, None]).sum(axis=0)
    assert 0 < first_order[0] / exact[0] - 1 < 0.01


def test_tiny_chances_are_not_lost_and_certain_ones_do_not_warn():
    assert carriage([1e-12], [1.0], [1e-6]) == pytest.approx(1e-18)
    assert carriage([1.0, 0.2], [3.0, 1.0], [1.0, 0.1]) == 1


def test_weights_are_carry_times_survival_in_route_order():
    mussel = read_species()["dreissenid_mussel"]
    survival = np.linspace(0.1, 0.6, N)
    expected = [mussel.values[f"carry_{r}"] * s for r, s in zip(ROUTES, survival, strict=True)]
    np.testing.assert_allclose(route_weights(mussel, survival), expected)


@pytest.mark.parametrize(
    ("name", "route"),
    [
        ("dreissenid_mussel", "residual"),  # ballast tanks can't be emptied wholly
        ("dreissenid_mussel", "water"),  # overflow tube left in: the live well does not drain
        ("dreissenid_mussel", "plants"),  # plant fragments carry mussels
        ("spiny_waterflea", "residual"),
        ("eurasian_watermilfoil", "plants"),  # trailers catch plants near shore
        ("starry_stonewort", "plants"),
    ],
)
def test_boat_facts_of_common_practice_give_carriage_above_zero(name, route):
    # common practice, no source
    gaps = np.array([[0.1 if gap == route else 0.0] for gap in GAPS])
    leaving = leaving_rates(gaps, [0.1 if route == "residual" else 0.0])
    weights = route_weights(read_species()[name], np.ones(N))
    assert carriage(leaving, np.ones((N, 1)), weights)[0] > 1e-4


def test_ballast_stays_when_every_gap_is_closed():
    leaving = leaving_rates(np.zeros((len(GAPS), 2)), [0.0, 0.2])
    weights = route_weights(read_species()["dreissenid_mussel"], np.ones(N))
    first, second = carriage(leaving, np.ones((N, 2)), weights)
    assert first == 0
    assert second == pytest.approx(0.2 * weights[-1])


def test_arriving_is_relative_to_the_traffic_weighted_mean():
    rates = np.tile([0.1, 0.4], (len(GAPS), 1))
    relative = arriving_relative(rates, [3, 1])  # mean (3 x 0.1 + 0.4) / 4 = 0.175
    np.testing.assert_allclose(relative[0], [0.1 / 0.175, 0.4 / 0.175])
    assert relative.shape == (N, 2)
    assert (relative[-1] == 1).all()
    mean = (relative * [0.75, 0.25]).sum(axis=1)
    np.testing.assert_allclose(mean, 1)


def test_extreme_ratios_are_bounded():
    rates = np.tile([0.001, 0.9, 0.05], (len(GAPS), 1))
    relative = arriving_relative(rates, [1, 0.01, 10], bound=2.5)
    assert relative[0].max() == 2.5
    assert relative[0].min() == pytest.approx(0.4)


def test_a_gap_found_nowhere_and_a_region_without_traffic_give_one():
    rates = np.full((len(GAPS), 2), 0.1)
    rates[2] = 0
    assert (arriving_relative(rates, [1, 1])[2] == 1).all()
    assert (arriving_relative(rates, [0, 0]) == 1).all()


def test_a_bound_below_one_is_refused():
    with pytest.raises(ValueError, match="Invalid bound"):
        arriving_relative(np.ones((len(GAPS), 1)), [1], bound=0.5)


def test_inputs_are_left_as_they_were():
    rates = np.tile([0.1, 0.9], (len(GAPS), 1))
    before = rates.copy()
    arriving_relative(rates, [1, 1])
    leaving_rates(rates, [0.1, 0.1])
    np.testing.assert_array_equal(rates, before)
