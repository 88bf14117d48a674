"""
Boats on bridging trips, and the published program that meets most of them.

The rule: Haight, Kinsley, Kao, Yemshanov and Phelps (2021), "Optimizing the location of watercraft
inspection stations to slow the spread of aquatic invasive species", Biological Invasions
23:3907-3919 (abstract read: an integer program chooses places so that most boats are met that
move from infested to uninfested lakes, by each species' status and trips between
lakes); places together with times as in Fischer, Beck, Herborg and Lewis (2021), "Managing aquatic
invasions: optimal locations and operating times for watercraft inspection stations", Journal of
Environmental Management 283:111923 (abstract read). No numbers of theirs are used here: cases are
small enough to be gone through one by one, or written down anew as the plain program.
"""

import itertools

import numpy as np
import pandas as pd
import pytest
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

from spreadnet.decisions.hours import Reach, bridging_trips, coverage_of, place_bridging
from spreadnet.model.spread import Coverage
from spreadnet.model.trips import Trips


def trips_of(rng, lakes_of):
    """Random trips between landings, none within a lake, boats split among a lake's landings."""
    n_lakes, n = lakes_of.max() + 1, len(lakes_of)
    by_origin = rng.gamma(0.6, 20.0, (n, n_lakes))
    by_origin[np.arange(n), lakes_of] = 0.0
    split = rng.uniform(0.2, 1.0, n)
    split /= np.bincount(lakes_of, split)[lakes_of]
    return Trips(by_origin, lakes_of, split)


def reach_of(leaving, arriving, *, hours, shift=1.0, most=np.inf, can_staff=None):
    """Shares of each landing's boats met by an hour, written down."""
    leaving, arriving = np.asarray(leaving, float), np.asarray(arriving, float)
    blocks = pd.DataFrame(
        {"day_type": "weekday", "block": "all", "hours_in_season": np.atleast_1d(hours)}
    )
    able = np.ones(len(leaving), bool) if can_staff is None else np.asarray(can_staff)
    order = np.arange(len(leaving))
    boats = leaving + arriving
    return Reach(blocks, arriving, leaving, boats, boats, order, able, most, shift)


def met_by_hand(matrix, lake, known, leaving, arriving):
    """Boats met, one trip after the other: any species, then each."""
    totals = np.zeros(1 + len(known))
    for k, to in itertools.product(range(len(lake)), repeat=2):
        bridges = [bool(has[lake[k]] and not has[lake[to]]) for has in known.values()]
        boats = matrix[k, to] * min(leaving[k] + arriving[to], 1.0)
        totals += boats * np.array([any(bridges), *bridges], float)
    return totals


LAKES = np.array([0, 0, 1, 2, 3, 4, 4])
KNOWN = {
    "weed": np.array([True, False, True, False, False]),
    "shell": np.array([False, False, True, True, False]),
}


@pytest.mark.parametrize("seed", range(5))
def test_bridging_trips_are_counted_one_by_one(seed):
    """Leaving and arriving sums, and boats met, against a loop over pairs of landings."""
    rng = np.random.default_rng(seed)
    trips = trips_of(rng, LAKES)
    bridging = bridging_trips(trips, LAKES, known=KNOWN)
    none, everyone = np.zeros(7), np.ones(7)
    matrix = trips.matrix()
    for k in range(7):
        one = np.eye(7)[k]
        gone = met_by_hand(matrix, LAKES, KNOWN, one, none)
        came = met_by_hand(matrix, LAKES, KNOWN, none, one)
        assert bridging.leaving[:, k] == pytest.approx(gone)
        assert bridging.arriving[:, k] == pytest.approx(came)
    for most in (0.4, 1.0):  # pairs that meet all boats between them only in the second
        leaving, arriving = rng.uniform(0, most, (2, 7))
        by_hand = met_by_hand(matrix, LAKES, KNOWN, leaving, arriving)
        assert bridging.met(Coverage(leaving, arriving)) == pytest.approx(by_hand)
    whole = met_by_hand(matrix, LAKES, KNOWN, everyone, none)
    assert bridging.met(Coverage(everyone, everyone)) == pytest.approx(whole)
    assert whole[0] < whole[1:].sum()  # a boat that bridges for two species is one boat


@pytest.mark.parametrize("seed", range(12))
def test_no_other_whole_shifts_meet_more_than_those_found(seed):
    """Every plan there is, where two staffed ends often come to more than all boats of a trip."""
    rng = np.random.default_rng(seed)
    lakes = np.array([0, 1, 2, 3])
    known = {"weed": rng.random(4) < 0.5, "shell": rng.random(4) < 0.5}
    trips = trips_of(rng, lakes)
    bridging = bridging_trips(trips, lakes, known=known)
    hours = np.array([2.0, 3.0])
    shares = rng.dirichlet(np.ones(2), (2, 4)) * rng.uniform(0.6, 1.0, (2, 4, 1)) / hours
    staffed = rng.random(4) < 0.8
    reach = reach_of(*shares, hours=hours, most=4.0, can_staff=staffed)
    best = 0.0
    for plan in itertools.product(range(3), range(4), repeat=4):
        shifts = np.reshape(plan, (4, 2)).astype(float)
        if shifts.sum() > 6 or (shifts.sum(axis=1) > 4).any() or shifts[~staffed].any():
            continue
        best = max(best, bridging.met(coverage_of(shifts, reach))[0])
    found = place_bridging(6.9, reach, bridging=bridging)
    assert np.array_equal(found, np.rint(found))
    assert found.sum() <= 6
    assert found.sum(axis=1).max() <= 4
    assert not found[~staffed].any()
    assert bridging.met(coverage_of(found, reach))[0] == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_places_staffed_wholly_are_those_of_the_published_program(seed):
    """Met <= staffed origin + staffed destination, written down pair by pair, 6 of 25."""
    rng = np.random.default_rng(seed)
    n, places = 25, 6
    lakes = np.arange(n)
    known = {"weed": rng.random(n) < 0.4}
    trips = trips_of(rng, lakes)
    bridging = bridging_trips(trips, lakes, known=known)
    reach = reach_of(np.ones((n, 1)), np.ones((n, 1)), hours=1.0)
    found = place_bridging(float(places), reach, bridging=bridging)

    risky = trips.matrix() * (known["weed"][:, None] & ~known["weed"][None, :])
    origin, destination = np.nonzero(risky)
    pair = np.arange(len(origin))
    ends = sp.csr_array((np.ones(len(pair)), (pair, origin)), shape=(len(pair), n))
    ends = ends + sp.csr_array((np.ones(len(pair)), (pair, destination)), shape=(len(pair), n))
    budget = sp.csr_array(np.concatenate([np.zeros(len(pair)), np.ones(n)])[None])
    plain = milp(
        -np.concatenate([risky[origin, destination], np.zeros(n)]),
        integrality=np.concatenate([np.zeros(len(pair)), np.ones(n)]),
        bounds=Bounds(0, 1),
        constraints=[
            LinearConstraint(sp.hstack([sp.eye_array(len(pair)), -ends]), -np.inf, 0),
            LinearConstraint(budget, -np.inf, places),
        ],
        options={"mip_rel_gap": 0.0},
    )
    assert found.sum() == places
    assert bridging.met(coverage_of(found, reach))[0] == pytest.approx(-plain.fun, rel=1e-9)
    by_sums = np.argsort(-(bridging.leaving[0] + bridging.arriving[0]))[:places]
    alone = np.zeros((n, 1))
    alone[by_sums] = 1.0  # whoever counts a trip twice where both its ends are staffed
    assert bridging.met(coverage_of(alone, reach))[0] <= -plain.fun + 1e-9


def test_a_trip_counts_once_although_both_ends_are_staffed():
    """Two lakes that share all their boats, and a third with fewer: the third is worth more."""
    by_origin = np.array([[0.0, 0, 0, 0], [100, 0, 0, 0], [0, 0, 0, 0], [0, 0, 30, 0]])
    lakes = np.arange(4)
    trips = Trips(by_origin, lakes, np.ones(4))
    known = {"weed": np.array([True, False, True, False])}
    bridging = bridging_trips(trips, lakes, known=known)
    reach = reach_of(np.ones((4, 1)), np.ones((4, 1)), hours=1.0)
    found = place_bridging(2.0, reach, bridging=bridging)
    assert found.sum(axis=1)[:2].sum() == 1
    assert found.sum(axis=1)[2:].sum() == 1
    assert bridging.met(coverage_of(found, reach))[0] == pytest.approx(130)


def test_nothing_is_placed_where_no_trip_bridges():
    """All lakes have it, or none: no boat goes from one with it to one without."""
    trips = trips_of(np.random.default_rng(1), LAKES)
    reach = reach_of(np.full((7, 1), 0.1), np.full((7, 1), 0.1), hours=5.0)
    for everywhere in (True, False):
        bridging = bridging_trips(trips, LAKES, known={"weed": np.full(5, everywhere)})
        assert not bridging.leaving.any()
        assert not bridging.arriving.any()
        assert not place_bridging(10.0, reach, bridging=bridging).any()
