"""Distance laws, and the laws of the literature on a four-node toy."""

from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from spreadnet.model.laws import EXPONENTIAL, LAWS, LOGNORMAL, POWER, POWER_EXPONENTIAL, DistanceLaw
from spreadnet.model.movement.shares import law_shares
from spreadnet.research import laws as reference_laws

# Sources: tests/data/movement/README.md. Equal to PyTDLM 0.2.2 to 1e-14 but for DCM.
EXPECTED = pd.read_csv(Path(__file__).parents[1] / "data/movement/laws_4node_expected.csv")
NODES = np.array([[0.0, 0], [3, 4], [10, 0], [6, 8]])
DISTANCE = np.hypot(*(NODES[:, None] - NODES).transpose(2, 0, 1))
MASS = np.array([100.0, 50, 200, 80])
LEAVING, ARRIVING = np.array([40.0, 30, 60, 20]), np.array([45.0, 25, 50, 30])
CASES = {
    "GravExp": partial(reference_laws.exponential, rate=0.1),
    "GravPow": partial(reference_laws.power, exponent=2.0),
    "Tanner": partial(reference_laws.power_exponential, exponent=1.0, rate=0.05),
    "Schneider": partial(reference_laws.intervening_opportunities, rate=0.005),
    "Rad": reference_laws.radiation,
    "RadExt": partial(reference_laws.extended_radiation, exponent=0.5),
}
SYMMETRIC = ("GravExp", "GravPow", "Tanner")


def expected(law, model):
    rows = EXPECTED[(EXPECTED["law"] == law) & (EXPECTED["model"] == model)]
    return rows.pivot_table(index="i", columns="j", values="value").to_numpy()


def shares_of_all(law):
    """Share of all trips that each pair has."""
    if law in SYMMETRIC:
        with np.errstate(divide="ignore"):
            weights = MASS[:, None] * CASES[law](MASS, DISTANCE)
        weights[np.eye(4, dtype=bool)] = 0
        return weights / weights.sum()
    return law_shares(CASES[law], MASS, DISTANCE, np.arange(4)) * (MASS / MASS.sum())[:, None]


def balanced(seed, rows, columns):
    """Furness: scale rows and columns in turn until both margins are met."""
    trips = seed.copy()
    for _ in range(500):
        trips *= (rows / trips.sum(axis=1))[:, None]
        trips *= columns / trips.sum(axis=0)
    return trips


@pytest.mark.parametrize("law", CASES)
def test_four_node_shares(law):
    np.testing.assert_allclose(shares_of_all(law), expected(law, "law_share"), rtol=0, atol=1e-9)


@pytest.mark.parametrize("law", CASES)
def test_four_node_production_constrained_trips(law):
    trips = LEAVING[:, None] * law_shares(CASES[law], MASS, DISTANCE, np.arange(4))
    np.testing.assert_allclose(trips, expected(law, "PCM"), rtol=1e-9)


@pytest.mark.parametrize("law", [law for law in CASES if law != "Tanner"])
def test_four_node_other_constraints(law):
    shares = shares_of_all(law)
    attraction = ARRIVING * shares / shares.sum(axis=0)
    np.testing.assert_allclose(LEAVING.sum() * shares, expected(law, "UM"), rtol=1e-9)
    np.testing.assert_allclose(attraction, expected(law, "ACM"), rtol=1e-9)
    both = balanced(shares, LEAVING, ARRIVING)
    np.testing.assert_allclose(both, expected(law, "DCM"), rtol=1e-9)


def test_opportunities_count_ties():
    """d13 = d14 and d21 = d24: the tied place counts as nearer."""
    nearer = reference_laws.nearer_mass(MASS, DISTANCE)
    hand = np.array([[0, 0, 130, 250], [80, 0, 180, 100], [130, 0, 0, 50], [250, 0, 50, 0]], float)
    apart = ~np.eye(4, dtype=bool)
    np.testing.assert_array_equal(nearer[apart], hand[apart])


def test_raw_radiation_weights_of_a_row_without_ties_sum_to_one_less_its_share():
    weights = reference_laws.radiation(MASS, DISTANCE).sum(axis=1)
    np.testing.assert_allclose(weights[2:], [0.53488372, 0.81395349], atol=1e-8)
    np.testing.assert_allclose(weights[2:], 1 - MASS[2:] / MASS.sum(), rtol=1e-12)
    np.testing.assert_allclose(weights[:2], [0.58871395, 0.38427834], atol=1e-8)  # ties


def test_rows_may_start_at_any_place():
    origin = np.array([2, 0, 2])
    for law in ("Rad", "RadExt", "Schneider"):
        square = law_shares(CASES[law], MASS, DISTANCE, np.arange(4))
        by_landing = law_shares(
            partial(CASES[law], origin=origin),
            MASS,
            DISTANCE[origin],
            origin,
            candidates=np.ones(4, bool),
        )
        np.testing.assert_allclose(by_landing, square[origin], rtol=1e-14)
    with pytest.raises(ValueError, match="origin"):
        reference_laws.radiation(MASS, DISTANCE[:2])


def test_a_law_with_bad_weights_is_refused():
    with pytest.raises(ValueError, match="0 or more"):
        law_shares(lambda mass, km: mass - 60 + 0 * km, MASS, DISTANCE, np.arange(4))
    with pytest.raises(ValueError, match="shape"):
        law_shares(lambda mass, km: mass, MASS, DISTANCE, np.arange(4))


def test_features_are_the_terms_in_order():
    km = np.array([[0.0, 9.0]])
    assert POWER.features(km).shape == (1, 1, 2)
    logs = np.log([[1.0, 10.0]])
    np.testing.assert_allclose(POWER_EXPONENTIAL.features(km), [logs, km])
    np.testing.assert_allclose(LOGNORMAL.features(km), [logs, logs**2])
    np.testing.assert_allclose(EXPONENTIAL.features(km), [km])
    np.testing.assert_allclose(POWER.softened(0).features(km + 1), [np.log(km + 1)])


def test_features_keep_float32():
    for law in LAWS:
        assert law.features(np.ones(3, np.float32)).dtype == np.float32


def test_zero_distance_without_softening_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        POWER.softened(0).features(np.array([0.0]))
    with pytest.raises(ValueError, match="0 or more"):
        POWER.features(np.array([np.nan]))
    assert EXPONENTIAL.softened(0).features(np.array([0.0])) == 0


@pytest.mark.parametrize("law", LAWS)
def test_bounded_laws_never_pull_more_far_away(law):
    rng = np.random.default_rng(3)
    far = law.features(np.array([1e200, 1e201]))
    for _ in range(200):
        drawn = rng.normal(0, 2, len(law.terms))
        bounded = law.bounded(drawn)
        near_end, far_end = bounded @ far  # a lognormal law may have its peak at any distance
        assert far_end <= near_end
        if drawn @ far[:, 1] < drawn @ far[:, 0]:  # fell already: nothing to clip
            np.testing.assert_array_equal(bounded, drawn)


def test_unknown_terms_are_refused():
    with pytest.raises(ValueError, match="terms"):
        DistanceLaw("cubic", ("distance_cubed",))
