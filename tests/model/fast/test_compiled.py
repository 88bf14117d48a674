"""
Compiled code against NumPy, number by number: speed may not change an answer.

References are NumPy in double precision and the engine's own NumPy way; nothing here knows how the
compiled code works. Hazards are those of the notes on numerics: far landings, coinciding places,
tiny areas, tiny and huge chances.
"""

import sys

import numpy as np
import pytest
import scipy.sparse as sp

from spreadnet.model import laws
from spreadnet.model.distance import planar_km
from spreadnet.model.fast import bridge
from spreadnet.model.fast.bridge import fast_available, rates_between, spread_futures
from spreadnet.model.laws import (
    EXPONENTIAL,
    LAWS,
    LOGNORMAL,
    POWER,
    POWER_EXPONENTIAL,
    DistanceLaw,
)
from spreadnet.model.movement.fit import GravityFit
from spreadnet.model.movement.shares import destination_shares, lake_trips, within_lake_split
from spreadnet.model.spread import futures as simulation
from spreadnet.model.spread.between_lakes import LakeRates, lake_rates
from spreadnet.model.spread.futures import NEVER, at_risk
from spreadnet.model.spread.types import Coverage, SpreadInputs
from spreadnet.model.trips.by_law import LawTrips, law_numbers
from spreadnet.model.trips.dense import Trips

pytest.importorskip("numba", reason="the extra `fast` is not installed")
from spreadnet.model.fast import trip_kernels as kernels

SLOPES = {
    "power": [-2.1],
    "exponential": [-0.03],
    "power_exponential": [-1.4, -0.01],
    "lognormal": [1.2, -0.6],
}


def region(rng, n_landings=120, n_lakes=90, width_km=300.0):
    group = np.concatenate([np.arange(n_lakes), rng.integers(0, n_lakes, n_landings - n_lakes)])
    landings = rng.uniform(0, width_km, (n_landings, 2)) + 5000
    lakes = np.column_stack(
        [np.bincount(group, landings[:, axis]) / np.bincount(group) for axis in (0, 1)]
    )
    launches = rng.gamma(2.0, 300.0, n_landings)
    return landings, lakes, group, launches


def law_trips(places, law=POWER, coefficients=None, **changes):
    landings, lakes, group, launches = places
    given = {
        "landing_km": landings,
        "lake_km": lakes,
        "group": group,
        "split": within_lake_split(launches, group),
        "arriving": 0.3 * launches,
        "pull": 0.5 * np.random.default_rng(5).normal(5, 2, len(lakes)),
        "law": law,
        "coefficients": np.array(SLOPES[law.name] if coefficients is None else coefficients),
    }
    return LawTrips(**{**given, **changes})


def by_numpy(trips, dtype=np.float64):
    """The way without compiled code, from the same places in single precision."""
    fit = GravityFit(
        law=trips.law,
        attractions=("pull",),
        coefficients=np.append(1.0, trips.coefficients),
        covariance=np.eye(1 + len(trips.coefficients)),
        naive_covariance=np.eye(1 + len(trips.coefficients)),
        log_likelihood=0.0,
        interviews=0.0,
        landings=0,
    )
    centre = trips.landing_km.mean(axis=0)
    landings, lakes = (
        (points - centre).astype(np.float32).astype(float)
        for points in (trips.landing_km, trips.lake_km)
    )
    distance_km = np.hypot(*(landings[:, None] - lakes).transpose(2, 0, 1)).astype(dtype)
    shares = destination_shares(
        fit,
        {"pull": trips.pull},
        distance_km,
        trips.group,
        coefficients=fit.coefficients,
        dtype=dtype,
    )
    launches, share = trips.arriving / 0.3, np.full(len(trips.group), 0.3)
    return lake_trips(launches, share, shares, trips.group)


def inputs_of(trips, group, rng, **changes):
    n_landings, n_lakes, routes = len(group), int(group.max()) + 31, 6
    place = np.sort(rng.choice(n_lakes, int(group.max()) + 1, replace=False))
    given = {
        "trips": trips,
        "landing_lake": place[group],
        "leaving": rng.beta(2, 20, (routes, n_landings)),
        "arriving": rng.gamma(2, 0.5, (routes, n_landings)),
        "weights": np.array([0.02, 0.05, 0.0, 0.01, 0.0, 0.03]),
        "outside_boats": rng.gamma(1, 0.5, n_landings),
        "outside_leaving": np.full(routes, 0.1),
        "education_effect": np.full(routes, 0.5),
        "establish": 0.2,
        "allee_exponent": 1.0,
        "habitat": np.where(rng.random(n_lakes) < 0.3, 0.0, rng.random(n_lakes)),
        "streams": sp.random_array(
            (n_lakes, n_lakes), density=0.01, rng=rng, data_sampler=rng.random
        ).tocsr(),
        "initial": (rng.random(n_lakes) < 0.05).astype(float),
        "worth": np.ones(n_lakes),
    }
    return SpreadInputs(**{**given, **changes})


def both_ways(inputs, rates, *, futures=200, seasons=8, seed=3, limits=None, infested=None):
    """Without compiled code and with it, on the same thresholds."""
    n_lakes = len(inputs.initial)
    rng = np.random.default_rng(seed)
    limits = rng.exponential(size=(futures, n_lakes)) if limits is None else limits
    always = inputs.initial == 1
    infested = rng.random(limits.shape) < inputs.initial if infested is None else infested
    place = np.full(n_lakes, -1)
    place[rates.lakes] = np.arange(len(rates.lakes))
    found = []
    for switch in ("0", "1"):
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv(bridge.SWITCH, switch)
            spread = simulation._way(inputs, rates, at_risk(inputs, place))
        assert (spread.func is spread_futures) == (switch == "1")
        first = np.full(limits.shape, NEVER, np.uint8)
        first[infested | always] = 0
        spread(first, infested=infested & ~always, limits=limits.copy(), seasons=seasons)
        found.append(first)
    return found


def single(matrix):
    return matrix.astype(np.float32)


def each(function, values):
    return np.array([function(np.float32(value)) for value in values])


# -- the two functions that everything rests on


def test_powers_of_two_are_right_to_seven_digits():
    x = np.linspace(-125.9, 126.9, 40_001).astype(np.float32)
    assert np.abs(each(kernels.exp2, x) / np.exp2(x.astype(float)) - 1).max() <= 3e-7
    assert (each(kernels.exp2, np.arange(-126, 127)) == np.exp2(np.arange(-126.0, 127))).all()


def test_powers_of_two_end_in_nothing():
    assert (each(kernels.exp2, [-127, -1000, -1e30, -np.inf]) == 0).all()
    assert 0 <= kernels.exp2(np.float32(-126.4)) <= 2e-38


def test_logarithms_are_right_to_seven_digits():
    x = np.exp(np.linspace(-80, 80, 40_001)).astype(np.float32)
    exact = np.log2(x.astype(float))
    gap = np.abs(each(kernels.log2, x) - exact) / np.maximum(1, np.abs(exact))
    assert gap.max() <= 3e-7
    assert kernels.log2(np.float32(1.0)) == 0


# -- trips by a law


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_trips_are_those_of_numpy(law):
    trips = law_trips(region(np.random.default_rng(1)), law)
    found, exact = trips.stored(), by_numpy(trips)
    assert found.by_origin.dtype == np.float32
    assert found.by_origin == pytest.approx(exact.by_origin, rel=1e-5, abs=0)
    assert found.arriving() == pytest.approx(trips.arriving, rel=1e-6)
    assert found.split == pytest.approx(exact.split)


def test_trips_are_as_near_the_truth_as_with_numpy_in_single_precision():
    trips = law_trips(region(np.random.default_rng(2), 400, 300))
    exact = by_numpy(trips).by_origin
    known = exact > 0
    errors = [
        np.abs(found[known] / exact[known] - 1).max()
        for found in (trips.stored().by_origin, by_numpy(trips, np.float32).by_origin)
    ]
    assert errors[0] <= max(2 * errors[1], 2e-6)


def test_places_are_those_of_the_distance_matrix():
    places = region(np.random.default_rng(3))
    trips = law_trips(places, EXPONENTIAL)
    distance_km = planar_km(1000 * places[0], 1000 * places[1], dtype=np.float32)
    weight = np.exp(trips.pull - 0.03 * distance_km.astype(float))
    weight[np.arange(len(weight)), trips.group] = 0
    expected = trips.arriving[:, None] * weight / weight.sum(axis=1, keepdims=True)
    assert trips.stored().by_origin == pytest.approx(expected, rel=1e-5, abs=0)


def test_nobody_comes_from_the_landing_s_own_lake():
    trips = law_trips(region(np.random.default_rng(4)))
    own = trips.stored().by_origin[np.arange(len(trips.group)), trips.group]
    assert (own == 0).all()


@pytest.mark.parametrize("law", [POWER, EXPONENTIAL, POWER_EXPONENTIAL], ids=lambda law: law.name)
def test_a_landing_far_away_from_all_still_prefers_nearer_lakes(law):
    """Without the row's maximum all lakes would be alike at 12,000 km."""
    landings, lakes, group, launches = region(np.random.default_rng(6))
    landings, lakes = landings.copy(), lakes.copy()
    landings[0] += [12_000, 0]
    lakes[0] = landings[0]
    steep = {"power": [-60.0], "exponential": [-0.1], "power_exponential": [-2.0, -0.1]}
    trips = law_trips((landings, lakes, group, launches), law, steep[law.name])
    trips = law_trips((landings, lakes, group, launches), law, steep[law.name], pull=0 * trips.pull)
    row = trips.stored().by_origin[0]
    assert row.sum() == pytest.approx(trips.arriving[0], rel=1e-6)
    near_to_far = np.argsort(np.hypot(*(lakes[1:] - landings[0]).T))
    assert (np.diff(row[1:][near_to_far]) <= 0).all()
    assert row.max() > 1.2 * row[1:].min()
    assert row == pytest.approx(by_numpy(trips).by_origin[0], rel=1e-2)  # km in 24 bits


def test_a_law_that_rises_with_distance_is_not_lost():
    """No bound holds then: the row's maximum is looked for."""
    trips = law_trips(region(np.random.default_rng(7)), EXPONENTIAL, [0.9])
    assert trips.stored().by_origin == pytest.approx(by_numpy(trips).by_origin, rel=1e-3, abs=1e-30)


def test_lakes_worlds_apart_in_attraction_are_told():
    """An area of 0.01 ha beside oceans, and a lake that nobody goes to."""
    places = region(np.random.default_rng(8))
    pull = np.linspace(0, 150, len(places[1]))
    pull[3] = -np.inf
    trips = law_trips(places, pull=pull)
    found = trips.stored().by_origin
    assert (found[:, 3] == 0).all()
    assert found == pytest.approx(by_numpy(trips).by_origin, rel=1e-5, abs=1e-30)


def test_the_only_attractive_lake_is_no_reason_to_fail():
    places = region(np.random.default_rng(9))
    pull = np.full(len(places[1]), -np.inf)
    pull[0] = 0.0
    found = law_trips(places, pull=pull).stored().by_origin
    own = places[2] == 0
    assert (found[own] == 0).all()
    assert found[~own, 0] == pytest.approx(0.3 * places[3][~own], rel=1e-6)


def test_coinciding_places_are_fine_with_softening():
    landings, lakes, group, launches = region(np.random.default_rng(10))
    places = np.zeros_like(landings), np.zeros_like(lakes), group, launches
    trips = law_trips(places)
    assert trips.stored().by_origin == pytest.approx(by_numpy(trips).by_origin, rel=1e-5)


def test_coinciding_places_are_refused_without_softening():
    landings, lakes, group, launches = region(np.random.default_rng(11))
    lakes = lakes.copy()
    lakes[5] = landings[0]
    trips = law_trips((landings, lakes, group, launches), POWER.softened(0))
    with pytest.raises(ValueError, match="above 0 when softening_km is 0"):
        trips.stored()


def test_without_softening_places_apart_are_fine():
    trips = law_trips(region(np.random.default_rng(12)), POWER.softened(0))
    assert trips.stored().by_origin == pytest.approx(by_numpy(trips).by_origin, rel=1e-5)


def test_one_lake_only_gives_no_trips():
    trips = law_trips((np.zeros((2, 2)), np.zeros((1, 2)), np.zeros(2, int), np.ones(2)))
    assert (trips.stored().by_origin == 0).all()


@pytest.mark.parametrize("n_lakes", [2, 63, 64, 65, 129])
def test_the_length_of_a_row_does_not_matter(n_lakes):
    trips = law_trips(region(np.random.default_rng(13), n_lakes + 3, n_lakes), LOGNORMAL)
    assert trips.stored().by_origin == pytest.approx(by_numpy(trips).by_origin, rel=1e-5)


def test_bad_trips_are_refused():
    places = region(np.random.default_rng(14))
    with pytest.raises(ValueError, match="Invalid trips"):
        law_trips(places, arriving=np.ones(3))
    with pytest.raises(ValueError, match="Invalid points"):
        law_trips(places, lake_km=np.full_like(places[1], np.nan))
    with pytest.raises(ValueError, match="Invalid pull"):
        law_trips(places, pull=np.full(len(places[1]), np.nan))


# -- rates between lakes


def test_rates_between_lakes_are_those_of_numpy():
    rng = np.random.default_rng(15)
    places = region(rng)
    trips = law_trips(places).stored()
    inputs = inputs_of(trips, places[2], rng)
    weighted = (inputs.establish * inputs.arriving * inputs.weights[:, None]).T
    found = rates_between(
        trips.by_origin, trips.leaving_mean(inputs.leaving.T).T, weighted, places[2]
    )
    expected = lake_rates(inputs).between
    assert found.dtype == expected.dtype == np.float32
    assert found == pytest.approx(expected, rel=2e-6, abs=0)


def test_rates_between_lakes_in_another_order_are_those_of_numpy(monkeypatch):
    """Groups in another order than the lakes are summed by the plain way."""
    rng = np.random.default_rng(16)
    places = region(rng)
    trips = law_trips(places).stored()
    inputs = inputs_of(trips, places[2], rng)
    last = trips.by_origin.shape[1] - 1
    turned = Trips(trips.by_origin[:, ::-1].copy(), last - trips.group, trips.split)
    found = lake_rates(_with(inputs, trips=turned)).between
    assert found == pytest.approx(lake_rates(inputs).between, rel=2e-6, abs=0)


def test_a_term_that_the_loops_do_not_know_is_refused(monkeypatch):
    """It would be left out without a word."""
    monkeypatch.setattr(laws, "TERMS", (*laws.TERMS, "roughness"))
    odd = DistanceLaw("odd", ("log_distance", "roughness"), POWER.softening_km)
    with pytest.raises(ValueError, match="know no term roughness"):
        law_numbers(odd, np.array([-1.0, 0.5]))


# -- futures with rates at hand


@pytest.mark.parametrize("exponent", [1.0, 1.7])
@pytest.mark.parametrize("streams", [True, False])
def test_futures_are_those_of_numpy(exponent, streams):
    rng = np.random.default_rng(17)
    places = region(rng)
    inputs = inputs_of(law_trips(places).stored(), places[2], rng, allee_exponent=exponent)
    inputs = _with(inputs, establish=0.2 if exponent == 1 else 1.0)
    if not streams:
        inputs = _with(inputs, streams=sp.csr_array(inputs.streams.shape))
    plain, quick = both_ways(inputs, lake_rates(inputs))
    assert 5 < ((plain > 0) & (plain < NEVER)).sum(axis=1).mean() < 110
    assert np.array_equal(plain, quick)


def test_futures_with_lakes_infested_by_chance_are_those_of_numpy():
    rng = np.random.default_rng(18)
    places = region(rng)
    inputs = inputs_of(law_trips(places).stored(), places[2], rng)
    initial = np.where(rng.random(len(inputs.initial)) < 0.3, rng.random(len(inputs.initial)), 0)
    inputs = _with(inputs, initial=initial)
    assert np.array_equal(*both_ways(inputs, lake_rates(inputs)))


def test_more_coverage_never_infests_a_lake_earlier():
    rng = np.random.default_rng(19)
    places = region(rng)
    inputs = inputs_of(law_trips(places).stored(), places[2], rng)
    some = Coverage(np.full(len(places[2]), 0.4), np.full(len(places[2]), 0.4))
    _, without = both_ways(inputs, lake_rates(inputs))
    _, with_it = both_ways(inputs, lake_rates(inputs, some))
    assert (with_it >= without).all() and (with_it > without).any()


def test_hazards_of_a_billionth_are_not_lost():
    """1 - exp(-h) in single precision would be 0."""
    n_lakes, futures, hazard = 4, 2000, 1e-9
    inputs = _bare(n_lakes, initial=np.zeros(n_lakes))
    rates = LakeRates(
        np.arange(n_lakes), single(np.zeros((n_lakes, n_lakes))), np.full(n_lakes, hazard)
    )
    limits = np.full((futures, n_lakes), 1.0)
    limits[7, 2] = 2.5 * hazard
    plain, quick = both_ways(inputs, rates, limits=limits, seasons=5)
    assert np.array_equal(plain, quick)
    assert quick[7, 2] == 3 and (np.delete(quick.ravel(), 7 * n_lakes + 2) == NEVER).all()


@pytest.mark.parametrize(("chance", "new"), [(0.0, 0), (1e6, 3)])
def test_no_chance_and_certainty(chance, new):
    inputs = _bare(4, initial=np.array([1.0, 0, 0, 0]))
    rates = LakeRates(np.arange(4), single(chance * (1 - np.eye(4))), np.zeros(4))
    plain, quick = both_ways(inputs, rates, seasons=3)
    assert np.array_equal(plain, quick)
    assert (((quick > 0) & (quick < NEVER)).sum(axis=1) == new).all()


def test_no_future_and_no_free_lake_are_fine():
    inputs = _bare(3, initial=np.ones(3))
    rates = LakeRates(np.arange(3), single(np.ones((3, 3))), np.zeros(3))
    _, quick = both_ways(inputs, rates, futures=2)
    assert (quick == 0).all()
    _, none = both_ways(inputs, rates, futures=0)
    assert none.shape == (0, 3)


# -- with and without


def test_large_regions_are_simulated_by_compiled_code_to_the_same_bytes(monkeypatch):
    rng = np.random.default_rng(27)
    places = region(rng)
    inputs = inputs_of(law_trips(places).stored(), places[2], rng)
    given = {"seasons": 5, "seed": 1, "species": "one", "futures": range(50)}
    calls = []

    def counted(*args, **options):
        calls.append(args)
        spread_futures(*args, **options)

    monkeypatch.setattr(simulation, "spread_futures", counted)
    quick = simulation.simulate(inputs, **given).first_season
    assert len(calls) == 1
    monkeypatch.setenv(bridge.SWITCH, "0")
    assert np.array_equal(simulation.simulate(inputs, **given).first_season, quick)
    assert len(calls) == 1


def test_it_can_be_switched_off(monkeypatch):
    assert fast_available()
    monkeypatch.setenv(bridge.SWITCH, "0")
    assert not fast_available()


def test_it_is_not_there_without_numba(monkeypatch):
    monkeypatch.setattr(bridge, "find_spec", lambda name: None)
    assert not fast_available()


def test_numba_is_loaded_only_when_it_is_needed():
    import subprocess

    code = (
        "import sys; from spreadnet.model.fast import bridge; import spreadnet.model.trips.by_law; "
        "assert bridge.fast_available(); assert 'numba' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def _with(inputs, **changes):
    names = SpreadInputs.__slots__
    return SpreadInputs(**{**{name: getattr(inputs, name) for name in names}, **changes})


def _bare(n_lakes, initial):
    """One landing a lake and nothing of note; the rates are given beside it."""
    return SpreadInputs(
        trips=None,
        landing_lake=np.arange(n_lakes),
        leaving=np.ones((1, n_lakes)),
        arriving=np.ones((1, n_lakes)),
        weights=np.ones(1),
        outside_boats=np.zeros(n_lakes),
        outside_leaving=np.ones(1),
        education_effect=np.zeros(1),
        establish=1.0,
        allee_exponent=1.0,
        habitat=np.ones(n_lakes),
        streams=sp.csr_array((n_lakes, n_lakes)),
        initial=initial,
        worth=np.ones(n_lakes),
    )
