"""Infestations nobody saw: as many as surveys say, where boats brought most."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spreadnet.model.finds.unseen import unseen_by_exposure


def test_worked_by_hand():
    """Odds in the ratio 3 to 1 that sum to 0.8: p / (1 - p) = 3 q / (1 - q), p + q = 0.8."""
    exposure = np.log1p(np.array([0.3, 0.1]))
    chance = unseen_by_exposure(np.array([0.4, 0.4]), exposure, missed=np.ones(2))
    p, q = chance
    assert p + q == pytest.approx(0.8)
    assert p / (1 - p) == pytest.approx(3 * q / (1 - q))


def test_a_well_watched_lake_takes_less():
    chance = unseen_by_exposure(
        np.array([0.2, 0.2]), np.array([0.5, 0.5]), missed=np.array([0.1, 1.0])
    )
    assert chance[0] < 0.2 < chance[1]


def test_a_lake_never_exposed_is_free():
    chance = unseen_by_exposure(np.full(3, 0.1), np.array([0.0, 0.2, 0.4]), missed=np.ones(3))
    assert chance[0] == 0
    assert chance.sum() == pytest.approx(0.3)


def test_without_any_exposure_surveys_decide_alone():
    chance = np.array([0.3, 0.1])
    assert unseen_by_exposure(chance, np.zeros(2), missed=np.ones(2)) == pytest.approx(chance)


@given(
    st.lists(
        st.tuples(st.floats(0.001, 0.9), st.floats(1e-9, 50), st.floats(1e-6, 1)),
        min_size=1,
        max_size=20,
    )
)
def test_the_number_expected_stays_and_chances_stay_chances(rows):
    chance, exposure, missed = (np.array(column) for column in zip(*rows, strict=True))
    spread = unseen_by_exposure(chance, exposure, missed=missed)
    assert np.all((spread >= 0) & (spread <= 1))
    assert spread.sum() == pytest.approx(chance.sum(), rel=1e-6)


def test_arrays_of_other_lengths_are_refused():
    with pytest.raises(ValueError, match="Invalid arrays of 2, 1 and 2 lakes"):
        unseen_by_exposure(np.ones(2), np.ones(1), missed=np.ones(2))
