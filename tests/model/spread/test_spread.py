"""The expected recursion and its adjoint: by hand, by complex step, and by properties."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from made_trips import dense_trips

from spreadnet.model.spread.expected import expected_spread, gradient, new_infestations, total
from spreadnet.model.spread.types import Coverage, SpreadInputs


def make_inputs(seed=0, n_landings=9, n_lakes=6, allee=1.0, **changes):
    """A lopsided random region: more landings than lakes, streams, two routes."""
    rng = np.random.default_rng(seed)
    lake = np.concatenate([np.arange(n_lakes), rng.integers(0, n_lakes, n_landings - n_lakes)])
    trips = rng.gamma(0.7, 40.0, (n_landings, n_landings))
    trips[lake[:, None] == lake] = 0
    links = (np.array([0.3, 0.05]), ([0, 2], [1, 3])) if n_lakes > 3 else (np.ones(0), ([], []))
    streams = sp.csr_array(
        (links[0], np.array(links[1], dtype=int).reshape(2, -1)), shape=(n_lakes, n_lakes)
    )
    inputs = SpreadInputs(
        trips=dense_trips(trips),
        landing_lake=lake,
        leaving=rng.uniform(0, 0.4, (3, n_landings)),
        arriving=rng.uniform(0.3, 2, (3, n_landings)),
        weights=np.array([0.2, 0.05, 0.01]),
        outside_boats=rng.gamma(1, 5, n_landings),
        outside_leaving=np.array([0.2, 0.1, 0.05]),
        education_effect=np.array([0.5, 0.3, 0.0]),
        establish=0.01,
        allee_exponent=allee,
        habitat=rng.uniform(0.2, 1, n_lakes),
        streams=streams,
        initial=np.array([1.0, 0, 0.1, 0, 0.4, 0])[:n_lakes],
        worth=rng.uniform(0.5, 2, n_lakes),
    )
    return replace(inputs, **changes)


class Flowing:
    """Trips of which only sums can be asked, as those of a nation; complex numbers pass."""

    def __init__(self, trips):
        self.into, self.out_of = trips.into, trips.out_of
        self.rows, self.columns = trips.rows, trips.columns
        self.leaving, self.arriving = trips.leaving, trips.arriving


def some_coverage(n=9, seed=1):
    rng = np.random.default_rng(seed)
    return Coverage(rng.uniform(0, 0.6, n), rng.uniform(0, 0.6, n))


def test_two_lakes_worked_by_hand():
    """One infested lake, one free; every number below is worked out on paper.

    Season 1: 100 trips x 0.5 leaving with it x 2 on arriving x weight 0.1 = 10 introductions,
    x 0.01 establish = 0.1, x habitat 0.5 = hazard 0.05. Lake 2 can't infest lake 1 (it has it).
    """
    inputs = SpreadInputs(
        trips=dense_trips(np.array([[0.0, 100.0], [40.0, 0.0]])),
        landing_lake=np.array([0, 1]),
        leaving=np.array([[0.5, 0.2]]),
        arriving=np.array([[1.0, 2.0]]),
        weights=np.array([0.1]),
        outside_boats=np.zeros(2),
        outside_leaving=np.zeros(1),
        education_effect=np.array([0.6]),
        establish=0.01,
        allee_exponent=1.0,
        habitat=np.array([1.0, 0.5]),
        streams=sp.csr_array((2, 2)),
        initial=np.array([1.0, 0.0]),
        worth=np.ones(2),
    )
    nobody = Coverage.none(2)
    one = expected_spread(inputs, nobody, seasons=1)
    assert one.introductions[0] == pytest.approx([0.0, 0.1])
    assert total(inputs, one) == pytest.approx(1 - np.exp(-0.05))
    three = expected_spread(inputs, nobody, seasons=3)
    assert total(inputs, three) == pytest.approx(1 - np.exp(-0.15))
    # Reaching half the boats leaving lake 1: the hazard falls by 0.6 x 0.5 = 30%.
    half = Coverage(np.array([0.5, 0.0]), np.zeros(2))
    assert total(inputs, expected_spread(inputs, half, seasons=3)) == pytest.approx(
        1 - np.exp(-0.15 * 0.7)
    )
    # dJ/dcoverage at 0 = 0.6 x 0.15 x exp(-0.15), equal for leaving lake 1 and arriving at 2.
    slope = gradient(inputs, nobody, three)
    assert slope.leaving == pytest.approx([0.6 * 0.15 * np.exp(-0.15), 0])
    assert slope.arriving == pytest.approx([0, 0.6 * 0.15 * np.exp(-0.15)])


def test_three_lakes_in_a_chain_worked_by_hand():
    """A -> B by boats, B -> C by a stream of 0.2 a season; C can't be reached in one season.

    Season 1: hazard of B 0.1. Season 2: B again 0.1, C 0.2 x (1 - exp(-0.1)).
    """
    inputs = SpreadInputs(
        trips=dense_trips(np.array([[0.0, 50.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]])),
        landing_lake=np.array([0, 1, 2]),
        leaving=np.full((1, 3), 0.2),
        arriving=np.ones((1, 3)),
        weights=np.array([1.0]),
        outside_boats=np.zeros(3),
        outside_leaving=np.zeros(1),
        education_effect=np.array([1.0]),
        establish=0.01,
        allee_exponent=1.0,
        habitat=np.ones(3),
        streams=sp.csr_array((np.array([0.2]), ([1], [2])), shape=(3, 3)),
        initial=np.array([1.0, 0.0, 0.0]),
        worth=np.ones(3),
    )
    path = expected_spread(inputs, Coverage.none(3), seasons=2)
    b, c = 1 - np.exp(-0.2), 1 - np.exp(-0.2 * (1 - np.exp(-0.1)))
    assert new_infestations(inputs, path) == pytest.approx([0, b, c])
    # d/dcoverage at A: B falls by 0.2 exp(-0.2), C by exp(-hazard C) x 0.2 exp(-0.1) x 0.1.
    hazard_c = 0.2 * (1 - np.exp(-0.1))
    expected = 0.2 * np.exp(-0.2) + np.exp(-hazard_c) * 0.2 * np.exp(-0.1) * 0.1
    assert gradient(inputs, Coverage.none(3), path).leaving[0] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("introductions", "allee", "chance"),
    [(1.0, c, 0.63212) for c in (1.0, 1.5, 1.86, 2.5)]
    + [(0.1, 1.0, 0.09516), (0.1, 1.86, 0.01371), (0.5, 1.0, 0.3935), (0.5, 1.86, 0.2408)],
)
def test_establishment_follows_the_published_form(introductions, allee, chance):
    """P = 1 - exp(-(alpha N)^c), Leung et al. 2004 (from memory); values derived from it.

    At alpha N = 1 the chance is 0.63212 whatever c is.
    """
    inputs = make_inputs(
        n_landings=2,
        n_lakes=2,
        allee=allee,
        trips=dense_trips(np.array([[0.0, 1000.0 * introductions], [0.0, 0.0]])),
        landing_lake=np.array([0, 1]),
        leaving=np.full((1, 2), 0.1),
        arriving=np.ones((1, 2)),
        weights=np.ones(1),
        outside_boats=np.zeros(2),
        outside_leaving=np.zeros(1),
        education_effect=np.ones(1),
        habitat=np.ones(2),
        streams=sp.csr_array((2, 2)),
        initial=np.array([1.0, 0.0]),
        worth=np.ones(2),
    )
    path = expected_spread(inputs, Coverage.none(2), seasons=1)
    assert new_infestations(inputs, path)[1] == pytest.approx(chance, abs=5e-5)


@pytest.mark.parametrize("allee", [1.0, 1.7])
def test_adjoint_equals_complex_step_at_every_landing(allee):
    """Complex-step derivatives have no step size to choose (Squire & Trapp 1998)."""
    held, coverage, seasons = make_inputs(allee=allee), some_coverage(), 6
    exact = gradient(held, coverage, expected_spread(held, coverage, seasons=seasons))
    inputs = replace(held, trips=Flowing(held.trips))
    flowing = gradient(inputs, coverage, expected_spread(inputs, coverage, seasons=seasons))
    for name in ("leaving_routes", "arriving_routes", "initial", "lake_value"):
        assert getattr(flowing, name) == pytest.approx(getattr(exact, name), rel=1e-11)
    step = 1e-30
    for k in range(9):
        for side in ("leaving", "arriving"):
            moved = getattr(coverage, side).astype(complex)
            moved[k] += 1j * step
            there = replace(coverage, **{side: moved})
            slope = total(inputs, expected_spread(inputs, there, seasons=seasons)).imag / step
            assert getattr(exact, side)[k] == pytest.approx(-slope, rel=1e-11)
    for j in range(6):
        moved = inputs.initial.astype(complex)
        moved[j] += 1j * step
        there = replace(inputs, initial=moved)
        slope = total(there, expected_spread(there, coverage, seasons=seasons)).imag / step
        assert exact.initial[j] == pytest.approx(slope, rel=1e-11)


def test_adjoint_equals_finite_differences():
    inputs, coverage = make_inputs(3), some_coverage()
    exact = gradient(inputs, coverage, expected_spread(inputs, coverage, seasons=5))
    step = 1e-5
    for k in range(9):
        ends = []
        for sign in (1, -1):
            moved = coverage.leaving.copy()
            moved[k] += sign * step
            there = replace(coverage, leaving=moved)
            ends.append(total(inputs, expected_spread(inputs, there, seasons=5)))
        assert exact.leaving[k] == pytest.approx(-(ends[0] - ends[1]) / (2 * step), rel=1e-6)


def test_recursion_equals_the_plain_form():
    """x + (1 - x)(1 - exp(-hazard)) season by season, the textbook form."""
    inputs = make_inputs(5)
    path = expected_spread(inputs, Coverage.none(9), seasons=8)
    chance = inputs.initial
    for season in range(8):
        hazard = path.cumulative_hazard[season + 1] - path.cumulative_hazard[season]
        chance = chance + (1 - chance) * (1 - np.exp(-hazard))
        assert path.infested[season + 1] == pytest.approx(chance, abs=1e-13)


@hypothesis_settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 10_000), landing=st.integers(0, 8), more=st.floats(0, 0.4))
def test_more_coverage_never_raises_risk(seed, landing, more):
    inputs, coverage = make_inputs(seed), some_coverage(seed=seed)
    added = coverage.leaving.copy()
    added[landing] += more
    before = expected_spread(inputs, coverage, seasons=4).infested
    after = expected_spread(inputs, replace(coverage, leaving=added), seasons=4).infested
    assert np.all(after <= before + 1e-15)
    assert np.all((before >= 0) & (before <= 1))


def test_relabelling_lakes_only_permutes():
    inputs, coverage = make_inputs(2), some_coverage()
    order = np.array([3, 0, 5, 1, 4, 2])  # new position -> old position
    new_of_old = np.argsort(order)
    relabelled = replace(
        inputs,
        landing_lake=new_of_old[inputs.landing_lake],
        habitat=inputs.habitat[order],
        streams=inputs.streams[order][:, order],
        initial=inputs.initial[order],
        worth=inputs.worth[order],
    )
    one = expected_spread(inputs, coverage, seasons=4)
    two = expected_spread(relabelled, coverage, seasons=4)
    assert two.infested == pytest.approx(one.infested[:, order], abs=1e-14)
    assert gradient(relabelled, coverage, two).leaving == pytest.approx(
        gradient(inputs, coverage, one).leaving, rel=1e-12
    )


def test_no_trips_no_streams_no_outside_means_no_spread():
    quiet = make_inputs(
        trips=dense_trips(np.zeros((9, 9))), outside_boats=np.zeros(9), streams=sp.csr_array((6, 6))
    )
    path = expected_spread(quiet, Coverage.none(9), seasons=20)
    assert np.all(new_infestations(quiet, path) == 0)
    assert np.all(gradient(quiet, Coverage.none(9), path).leaving == 0)


def test_all_infested_means_nothing_avoided():
    full = make_inputs(initial=np.ones(6))
    path = expected_spread(full, Coverage.none(9), seasons=5)
    slope = gradient(full, Coverage.none(9), path)
    assert total(full, path) == 0
    assert np.all(slope.leaving == 0)
    assert np.all(slope.arriving == 0)


def test_tiny_hazards_are_not_lost():
    tiny = make_inputs(establish=1e-14, streams=sp.csr_array((6, 6)))
    path = expected_spread(tiny, Coverage.none(9), seasons=3)
    at_risk = tiny.initial < 1
    ratio = (
        new_infestations(tiny, path)[at_risk]
        / ((1 - tiny.initial) * tiny.habitat * path.introductions.sum(axis=0))[at_risk]
    )
    assert ratio == pytest.approx(1, rel=1e-9)


def test_single_precision_trips_give_the_same_order():
    inputs, coverage = make_inputs(8), some_coverage()
    small = replace(inputs, trips=dense_trips(inputs.trips.matrix().astype(np.float32)))
    exact = gradient(inputs, coverage, expected_spread(inputs, coverage, seasons=5))
    close = gradient(small, coverage, expected_spread(small, coverage, seasons=5))
    assert close.leaving == pytest.approx(exact.leaving, rel=1e-5)
    assert np.array_equal(np.argsort(close.leaving), np.argsort(exact.leaving))


def test_inputs_are_not_changed():
    inputs, coverage = make_inputs(4), some_coverage()
    copies = {n: np.array(getattr(inputs, n)) for n in ("trips", "leaving", "initial", "worth")}
    path = expected_spread(inputs, coverage, seasons=3)
    gradient(inputs, coverage, path)
    for name, copy in copies.items():
        assert np.array_equal(getattr(inputs, name), copy)


def test_seasons_below_one_are_refused():
    with pytest.raises(ValueError, match="Invalid seasons '0'"):
        expected_spread(make_inputs(), Coverage.none(9), seasons=0)
