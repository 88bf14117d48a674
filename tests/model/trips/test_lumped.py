"""Trips with far lakes lumped, beside the whole matrix that `movement` makes."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import scipy.sparse as sp

from spreadnet.model.distance import lake_points, planar_km
from spreadnet.model.laws import EXPONENTIAL, LAWS, LOGNORMAL, POWER, POWER_EXPONENTIAL
from spreadnet.model.movement.fit import AREA, GravityFit
from spreadnet.model.movement.shares import destination_shares, lake_trips, within_lake_split
from spreadnet.model.spread.expected import expected_spread, gradient, total
from spreadnet.model.spread.types import Coverage, SpreadInputs
from spreadnet.model.trips.by_law import LawTrips
from spreadnet.model.trips.lumped import lumped_trips

COEFFICIENTS = {
    POWER: (-2.0,),
    EXPONENTIAL: (-0.03,),
    POWER_EXPONENTIAL: (-1.0, -0.005),
    LOGNORMAL: (0.8, -0.35),
}
SHARE = 0.4


def region(n_landings=500, n_lakes=400, width_km=600.0, seed=1):
    """Lakes in clumps, at northings of 5,000 km, some with several landings."""
    rng = np.random.default_rng(seed)
    middles = rng.uniform(0, width_km, (25, 2))
    at = middles[rng.integers(0, 25, n_lakes)] + rng.normal(0, 25, (n_lakes, 2))
    group = np.concatenate([np.arange(n_lakes), rng.integers(0, n_lakes, n_landings - n_lakes)])
    group = rng.permutation(group)
    landings = (at[group] + rng.normal(0, 0.5, (n_landings, 2))) * 1000 + [400_000.0, 5_000_000.0]
    log_area = rng.normal(4, 1.5, n_lakes)
    return landings, group, log_area, rng.gamma(2.0, 200.0, n_landings)


def law_trips(given, law=POWER, coefficients=None):
    landings, group, log_area, launches = given
    lakes = lake_points(landings, group, np.zeros((len(log_area), 2)))
    return LawTrips(
        landing_km=landings / 1000,
        lake_km=lakes / 1000,
        group=group,
        split=within_lake_split(launches, group),
        arriving=launches * SHARE,
        pull=0.5 * log_area,
        law=law,
        coefficients=np.array(COEFFICIENTS[law] if coefficients is None else coefficients),
    )


def whole(given, law=POWER, coefficients=None):
    """The trips as a run below 10,000 landings makes them."""
    landings, group, log_area, launches = given
    lakes = lake_points(landings, group, np.zeros((len(log_area), 2)))
    values = np.append(0.5, COEFFICIENTS[law] if coefficients is None else coefficients)
    nothing = np.zeros((len(values), len(values)))
    fit = GravityFit(law, (AREA,), values, nothing, nothing, 0.0, 0.0, 0)
    shares = destination_shares(
        fit, {AREA: log_area}, planar_km(landings, lakes), group, coefficients=values
    )
    return lake_trips(launches, np.full(len(group), SHARE), shares, group)


def apart(first, second):
    return np.linalg.norm(first - second) / np.linalg.norm(second)


def species(trips, group, n_lakes, seed=2):
    rng = np.random.default_rng(seed)
    n_landings = len(group)
    return SpreadInputs(
        trips=trips,
        landing_lake=group,
        leaving=rng.beta(1.5, 10, (3, n_landings)),
        arriving=rng.gamma(4, 0.25, (3, n_landings)),
        weights=np.array([0.02, 0.01, 0.03]),
        outside_boats=rng.gamma(1.0, 1.0, n_landings),
        outside_leaving=np.array([0.1, 0.2, 0.1]),
        education_effect=np.array([0.5, 0.6, 0.0]),
        establish=0.3,
        allee_exponent=1.0,
        habitat=rng.beta(4, 2, n_lakes),
        streams=sp.csr_array((n_lakes, n_lakes)),
        initial=(rng.random(n_lakes) < 0.04).astype(float),
        worth=np.ones(n_lakes),
    )


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_with_all_lakes_near_the_trips_are_those_of_the_whole_matrix(law):
    given = region()
    lumped = lumped_trips(law_trips(given, law), cell_km=40, rings=1000)
    exact = whole(given, law)
    assert not lumped.far.any()
    np.testing.assert_allclose(lumped.stored().by_origin, exact.by_origin, rtol=1e-4)
    assert apart(lumped.stored().by_origin, exact.by_origin) < 2e-6


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
@pytest.mark.parametrize("rings", [0, 1, 3])
def test_as_many_boats_arrive_as_in_the_whole_matrix(law, rings):
    given = region()
    lumped = lumped_trips(law_trips(given, law), cell_km=40, rings=rings)
    arriving = given[3] * SHARE
    assert lumped.far.any()
    assert lumped.arriving() == pytest.approx(arriving, rel=1e-12)
    assert lumped.into(np.ones((500, 1)))[:, 0] == pytest.approx(arriving, rel=2e-6)
    assert lumped.leaving().sum() == pytest.approx(arriving.sum(), rel=2e-6)
    assert lumped.total() == pytest.approx(arriving.sum())


def test_no_trips_stay_within_a_lake():
    given = region()
    for rings in (0, 2):
        stored = lumped_trips(law_trips(given), cell_km=30, rings=rings).stored()
        assert not stored.by_origin[np.arange(500), given[1]].any()
        assert (stored.by_origin >= 0).all()


def test_sums_into_and_out_of_landings_are_adjoint():
    rng = np.random.default_rng(3)
    lumped = lumped_trips(law_trips(region()), cell_km=40, rings=1)
    origin, destination = rng.random((500, 4)), rng.random((500, 4))
    forward = (lumped.into(origin) * destination).sum()
    assert forward == pytest.approx((origin * lumped.out_of(destination)).sum(), rel=1e-6)


def test_all_sums_agree_with_the_same_trips_written_out():
    rng = np.random.default_rng(4)
    lumped = lumped_trips(law_trips(region()), cell_km=40, rings=1)
    stored, values = lumped.stored(), rng.random((500, 3))
    assert lumped.into(values).dtype == lumped.out_of(values).dtype == float
    assert lumped.into(values) == pytest.approx(stored.into(values), rel=1e-5)
    assert lumped.out_of(values) == pytest.approx(stored.out_of(values), rel=1e-5)
    assert lumped.leaving() == pytest.approx(stored.leaving(), rel=1e-5)
    assert lumped.leaving_mean(values) == pytest.approx(stored.leaving_mean(values), rel=1e-6)
    some = slice(7, 19)
    assert lumped.rows(some) == pytest.approx(stored.rows(some), rel=1e-5, abs=1e-9)
    assert lumped.columns(some) == pytest.approx(stored.columns(some), rel=1e-5, abs=1e-9)


def test_a_complex_step_goes_through():
    lumped = lumped_trips(law_trips(region()), cell_km=40, rings=1)
    step, ones = np.full((500, 1), 1e-20j), np.ones((500, 1))
    assert lumped.into(1 + step).imag == pytest.approx(1e-20 * lumped.into(ones), rel=1e-5)
    assert lumped.out_of(1 + step).imag == pytest.approx(1e-20 * lumped.out_of(ones), rel=1e-5)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_more_rings_bring_the_trips_closer_to_the_whole_matrix(law):
    given = region()
    trips, exact = law_trips(given, law), whole(given, law).by_origin
    errors = [
        apart(lumped_trips(trips, cell_km=25, rings=r, fewest_lakes=0).stored().by_origin, exact)
        for r in (0, 1, 2, 4, 8)
    ]
    assert all(after < before for before, after in pairwise(errors))
    assert errors[-1] < 0.003


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_the_gradient_is_within_1_percent_and_ranks_the_same_first_twenty(law):
    """The bar of the national case, on cells so small that near and far both matter."""
    given = region()
    group = given[1]
    near = lumped_trips(law_trips(given, law), cell_km=25, rings=3, fewest_lakes=0)
    nearby = sum(part.trips.sum(dtype=float) for part in near.near) / near.total()
    assert 0.2 < nearby < 0.98
    nobody = Coverage.none(500)
    slopes, totals = [], []
    for trips in (near, whole(given, law)):
        inputs = species(trips, group, 400)
        path = expected_spread(inputs, nobody, seasons=10)
        slope = gradient(inputs, nobody, path)
        slopes.append(slope.leaving + slope.arriving)
        totals.append(total(inputs, path))
    assert 20 < totals[1] < 250
    assert totals[0] == pytest.approx(totals[1], rel=2e-3)
    assert apart(slopes[0], slopes[1]) < 0.01
    first = [set(np.argsort(-slope)[:20]) for slope in slopes]
    assert len(first[0] & first[1]) >= 19


def test_gradient_and_forward_pass_belong_together():
    """Finite difference through the lumped trips themselves: no other bar tells a wrong adjoint."""
    given = region()
    inputs = species(lumped_trips(law_trips(given), cell_km=40, rings=1), given[1], 400)
    nobody = Coverage.none(500)
    slope = gradient(inputs, nobody, expected_spread(inputs, nobody, seasons=5))
    way = np.random.default_rng(5).random(500)
    some = Coverage(1e-3 * way, 1e-3 * way)
    lost = total(inputs, expected_spread(inputs, nobody, seasons=5)) - total(
        inputs, expected_spread(inputs, some, seasons=5)
    )
    assert lost == pytest.approx(1e-3 * way @ (slope.leaving + slope.arriving), rel=2e-3)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_a_landing_12000_km_away_still_prefers_the_nearer_lakes(law):
    """Without the row maximum such a landing gets uniform shares, or 0 / 0 in single precision."""
    landings, group, log_area, launches = region()
    at = np.append(landings, [landings.mean(axis=0) + np.array([12_000_000.0, 0])], axis=0)
    given = at, np.append(group, 400), np.append(log_area, 4.0), np.append(launches, 500.0)
    lumped = lumped_trips(law_trips(given, law), cell_km=40, rings=2).stored().by_origin[500]
    exact = whole(given, law).by_origin[500]
    assert lumped.sum() == pytest.approx(500 * SHARE, rel=1e-5)
    assert lumped[400] == 0
    assert apart(lumped, exact) < (0.01 if law != EXPONENTIAL else 0.1)
    lakes = lake_points(landings, group, np.zeros((400, 2)))
    east = lakes[:, 0] > np.median(lakes[:, 0])
    assert lumped[:400][east].sum() > lumped[:400][~east].sum()


def test_a_lonely_landing_takes_its_nearest_lakes_one_by_one():
    """Whatever the rings: the lakes that matter most to it are never lumped."""
    landings, group, log_area, launches = region()
    at = np.append(landings, [landings.mean(axis=0) + np.array([1_500_000.0, 0])], axis=0)
    given = at, np.append(group, 400), np.append(log_area, 4.0), np.append(launches, 500.0)
    lumped = lumped_trips(law_trips(given, EXPONENTIAL), cell_km=40, rings=2)
    (part,) = (p for p in lumped.near if 500 in lumped.order[p.landings])
    lakes = lake_points(at, given[1], np.zeros((401, 2)))
    nearest = np.argsort(np.hypot(*(lakes - at[500]).T))[:40]
    assert len(part.lakes) >= 64
    assert np.isin(nearest, lumped.lakes[part.lakes]).mean() > 0.9


def test_a_landing_far_from_the_middle_of_its_own_lake_still_leaves_it_out():
    """Landings 400 km apart on one lake: its mean place is many cells away from both."""
    landings, group, log_area, launches = region()
    ends = landings.mean(axis=0) + np.array([[-200_000.0, 0], [200_000.0, 0]])
    given = (
        np.append(landings, ends, axis=0),
        np.append(group, [400, 400]),
        np.append(log_area, 9.0),
        np.append(launches, [500.0, 700.0]),
    )
    lumped = lumped_trips(law_trips(given), cell_km=20, rings=1)
    by_origin = lumped.stored().by_origin
    assert not by_origin[500:, 400].any()
    assert lumped.into(np.ones((502, 1)))[500:, 0] == pytest.approx([200, 280], rel=1e-5)
    assert apart(by_origin, whole(given).by_origin) < 0.05


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_landings_that_all_coincide_choose_by_pull(law):
    rng = np.random.default_rng(6)
    group = np.arange(300)
    given = (
        np.full((300, 2), [400_000.0, 5_000_000.0]),
        group,
        rng.normal(4, 1, 300),
        rng.gamma(2.0, 200.0, 300),
    )
    lumped = lumped_trips(law_trips(given, law)).stored()
    assert apart(lumped.by_origin, whole(given, law).by_origin) < 1e-6


def test_coinciding_places_are_refused_under_a_law_without_softening():
    landings, group, log_area, launches = region()
    landings[group == 3] = landings[group == 4][0]
    given = landings, group, log_area, launches
    with pytest.raises(ValueError, match=r"Invalid distance_km '0\.0'"):
        lumped_trips(law_trips(given, POWER.softened(0.0), coefficients=(-2.0,)))


def test_metres_are_not_lost_at_continental_coordinates():
    """At 5,000 km from the origin single precision has steps of half a metre."""
    landings, group, log_area, launches = region(width_km=0.01)
    landings += (np.random.default_rng(7).random(landings.shape) - 0.5) * 5.0
    given = landings, group, log_area, launches
    sharp = POWER.softened(0.001)
    lumped = lumped_trips(law_trips(given, sharp, (-2.0,))).stored()
    assert apart(lumped.by_origin, whole(given, sharp, (-2.0,)).by_origin) < 1e-5


def test_without_another_lake_nobody_arrives():
    launches = np.array([10.0, 20.0])
    given = np.array([[0.0, 0.0], [5000.0, 0.0]]), np.zeros(2, int), np.array([4.0]), launches
    lumped = lumped_trips(law_trips(given))
    assert not lumped.arriving().any()
    assert not lumped.into(np.ones((2, 1))).any()
    assert not lumped.out_of(np.ones((2, 1))).any()


def test_lakes_where_nobody_goes_send_nobody():
    trips = law_trips(region())
    pull = trips.pull.copy()
    pull[::2] = -np.inf
    stored = lumped_trips(replace(trips, pull=pull), cell_km=30, rings=1).stored()
    assert not stored.by_origin[:, ::2].any()
    assert stored.arriving() == pytest.approx(trips.arriving, rel=1e-5)
    nowhere = lumped_trips(replace(trips, pull=np.full(400, -np.inf)), cell_km=30, rings=1)
    assert not nowhere.arriving().any()
    assert not nowhere.into(np.ones((500, 1))).any()


def test_landings_where_nobody_launches_are_served_too():
    trips = law_trips(region())
    arriving = np.where(np.arange(500) % 3 == 0, 0.0, trips.arriving)
    lumped = lumped_trips(replace(trips, arriving=arriving), cell_km=40, rings=1)
    assert lumped.into(np.ones((500, 1)))[:, 0] == pytest.approx(arriving, rel=1e-5)


def test_the_matrix_of_pairs_is_never_held():
    trips = law_trips(region(width_km=3000.0))
    lumped = lumped_trips(trips, cell_km=80, rings=2)
    held = sum(part.trips.size for part in lumped.near)
    assert held < 0.6 * 500 * 400
    assert all(part.trips.dtype == np.float32 for part in lumped.near)
    assert lumped.far.dtype == lumped.lump.dtype == lumped.leave.dtype == np.float32


@pytest.mark.parametrize(
    "wrong", [{"cell_km": 0.0}, {"cell_km": np.nan}, {"cell_km": np.inf}, {"rings": -1}]
)
def test_cells_that_are_no_cells_are_refused(wrong):
    (name,) = wrong
    with pytest.raises(ValueError, match=rf"Invalid {name} '"):
        lumped_trips(law_trips(region(60, 40)), **wrong)


def test_no_landing_at_all_is_no_failure():
    nothing = LawTrips(
        landing_km=np.zeros((0, 2)),
        lake_km=np.zeros((0, 2)),
        group=np.zeros(0, int),
        split=np.zeros(0),
        arriving=np.zeros(0),
        pull=np.zeros(0),
        law=POWER,
        coefficients=np.array([-2.0]),
    )
    lumped = lumped_trips(nothing)
    assert lumped.total() == 0
    assert lumped.into(np.zeros((0, 2))).shape == (0, 2)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_trips_are_never_negative_however_steep_the_law(law):
    """The straight line by which cells are followed falls below 0 where it is too steep."""
    steep = tuple(4 * coefficient for coefficient in COEFFICIENTS[law])
    trips = law_trips(region(width_km=2000.0), law, steep)
    stored = lumped_trips(trips, cell_km=100, rings=0, fewest_lakes=0).stored()
    assert (stored.by_origin >= 0).all()
    assert stored.arriving() == pytest.approx(trips.arriving, rel=1e-5)


def test_trips_that_are_let_go_come_back_the_same_and_say_so_where_they_are_not():
    trips = law_trips(region()).stored()
    gone = trips.let_go()
    assert gone.by_origin.base.nbytes < 100
    assert np.isnan(gone.into(np.ones((len(gone.group), 1)))).all()
    assert np.array_equal(gone.at_hand().by_origin, trips.by_origin)
    assert trips.at_hand() is trips
    held = replace(trips, law=None)
    assert held.let_go() is held
