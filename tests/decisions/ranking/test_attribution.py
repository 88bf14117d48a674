"""The parts of what a landing avoids add up to the adjoint."""

import numpy as np
import pytest
import scipy.sparse as sp
from made_trips import dense_trips

from spreadnet.decisions.ranking.attribution import attribute
from spreadnet.model.spread.expected import expected_spread, gradient
from spreadnet.model.spread.types import Coverage, SpreadInputs


def run(seed, weight):
    rng = np.random.default_rng(seed)
    lake = np.array([0, 1, 2, 3, 0, 2, 1])
    trips = np.random.default_rng(5).gamma(1.0, 20.0, (7, 7))
    trips[lake[:, None] == lake] = 0
    inputs = SpreadInputs(
        trips=dense_trips(trips),
        landing_lake=lake,
        leaving=rng.uniform(0, 0.4, (2, 7)),
        arriving=rng.uniform(0.5, 2, (2, 7)),
        weights=np.array([0.3, 0.05]),
        outside_boats=rng.gamma(1, 5, 7),
        outside_leaving=np.array([0.2, 0.1]),
        education_effect=np.array([0.5, 0.3]),
        establish=0.01,
        allee_exponent=1.0,
        habitat=rng.uniform(0.2, 1, 4),
        streams=sp.csr_array((4, 4)),
        initial=np.array([1.0, 0, 0.1, 0]),
        worth=np.ones(4),
    )
    path = expected_spread(inputs, Coverage.none(7), seasons=4)
    return weight, inputs, path, gradient(inputs, Coverage.none(7), path)


def test_parts_add_up_to_the_gradient():
    runs = [run(1, 1.0), run(2, 0.5)]
    parts = attribute(runs, first=4)
    leaving = sum(weight * slope.leaving for weight, _, _, slope in runs)
    arriving = sum(weight * slope.arriving for weight, _, _, slope in runs)
    assert parts.to_value.sum(axis=1) == pytest.approx(leaving, rel=1e-12)
    assert parts.to_total == pytest.approx(leaving, rel=1e-12)
    assert parts.from_value.sum(axis=1) + parts.from_outside == pytest.approx(arriving, rel=1e-12)
    infested = np.isin(runs[0][1].landing_lake, [0])  # nothing new can come to lake 0
    assert np.all(parts.from_outside[~infested] > 0)
    assert np.all(np.diff(parts.to_value, axis=1) <= 0)


def test_no_runs_are_refused():
    with pytest.raises(ValueError, match="Invalid runs"):
        attribute([])
