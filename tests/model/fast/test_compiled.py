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

from spreadnet.model import compiled, simulation
from spreadnet.model.distance import planar_km
from spreadnet.model.fast.bridge import NEVER, fast_available, rates_between, spread_futures
from spreadnet.model.laws import EXPONENTIAL, LAWS, LOGNORMAL, POWER, POWER_EXPONENTIAL
from spreadnet.model.movement.fit import GravityFit
from spreadnet.model.movement.shares import destination_shares, lake_trips, within_lake_split
from spreadnet.model.on_demand import simulate_on_demand
from spreadnet.model.spread.between_lakes import LakeRates, lake_rates
from spreadnet.model.spread.types import Coverage, SpreadInputs
from spreadnet.model.trips.by_law import LawTrips

pytest.importorskip("numba", reason="the extra `fast` is not installed")
from spreadnet.model import kernels

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
    n_lakes = len(inputs.initial)
    rng = np.random.default_rng(seed)
    limits = rng.exponential(size=(futures, n_lakes)) if limits is None else limits
    infested = rng.random(limits.shape) < inputs.initial if infested is None else infested
    found = []
    for fill in (simulation._spread, spread_futures):
        first = np.full(limits.shape, NEVER, np.uint8)
        fill(inputs, rates, first, limits=limits, infested=infested.copy(), seasons=seasons)
        found.append(first)
    return found


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
    found = rates_between(trips, trips.leaving_mean(inputs.leaving.T).T, weighted, places[2])
    expected = lake_rates(inputs).between
    assert found.dtype == expected.dtype == np.float32
    assert found == pytest.approx(expected, rel=2e-6, abs=0)


def test_rates_between_lakes_in_another_order_are_refused():
    trips = law_trips(region(np.random.default_rng(16))).stored()
    with pytest.raises(ValueError, match="order of the lakes"):
        rates_between(trips, np.ones((1, 90)), np.ones((120, 1)), trips.group[::-1])


# -- futures with rates at hand


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("exponent", [1.0, 1.7])
@pytest.mark.parametrize("streams", [True, False])
def test_futures_are_those_of_numpy(dtype, exponent, streams):
    rng = np.random.default_rng(17)
    places = region(rng)
    inputs = inputs_of(law_trips(places).stored(), places[2], rng, allee_exponent=exponent)
    inputs = _with(inputs, establish=0.2 if exponent == 1 else 1.0)
    if not streams:
        inputs = _with(inputs, streams=sp.csr_array(inputs.streams.shape))
    rates = lake_rates(inputs)
    rates = LakeRates(rates.lakes, rates.between.astype(dtype), rates.outside)
    plain, quick = both_ways(inputs, rates)
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
    rates = LakeRates(np.arange(n_lakes), np.zeros((n_lakes, n_lakes)), np.full(n_lakes, hazard))
    limits = np.full((futures, n_lakes), 1.0)
    limits[7, 2] = 2.5 * hazard
    plain, quick = both_ways(inputs, rates, limits=limits, seasons=5)
    assert np.array_equal(plain, quick)
    assert quick[7, 2] == 3 and (np.delete(quick.ravel(), 7 * n_lakes + 2) == NEVER).all()


@pytest.mark.parametrize(("chance", "new"), [(0.0, 0), (1e6, 3)])
def test_no_chance_and_certainty(chance, new):
    inputs = _bare(4, initial=np.array([1.0, 0, 0, 0]))
    rates = LakeRates(np.arange(4), chance * (1 - np.eye(4)), np.zeros(4))
    plain, quick = both_ways(inputs, rates, seasons=3)
    assert np.array_equal(plain, quick)
    assert (((quick > 0) & (quick < NEVER)).sum(axis=1) == new).all()


def test_no_future_and_no_free_lake_are_fine():
    inputs = _bare(3, initial=np.ones(3))
    rates = LakeRates(np.arange(3), np.ones((3, 3)), np.zeros(3))
    _, quick = both_ways(inputs, rates, futures=2)
    assert (quick == 0).all()
    _, none = both_ways(inputs, rates, futures=0)
    assert none.shape == (0, 3)


# -- parameters that differ from draw to draw


def draws_of(law, rng, *, n_draws=40, seed=20):
    places = region(rng, 160, 110)
    base = law_trips(places, law)
    one = inputs_of(base, places[2], rng)
    made = []
    for _ in range(n_draws):
        launches = places[3] * rng.gamma(20, 0.05, len(places[3]))
        trips = law_trips(
            (*places[:3], launches),
            law,
            base.coefficients * rng.normal(1, 0.05, len(base.coefficients)),
            pull=base.pull * rng.normal(1, 0.1),
        )
        made.append(_with(one, trips=trips, leaving=rng.beta(2, 20, one.leaving.shape)))
    limits = rng.exponential(size=(n_draws, len(one.initial)))
    infested = np.broadcast_to(one.initial == 1, limits.shape).copy()
    infested[1, :40] |= rng.random(40) < 0.2  # one draw with other lakes
    return made, limits, infested


def with_matrices(made, limits, infested, *, seasons, coverage=None):
    first = np.full(limits.shape, NEVER, np.uint8)
    for i, one in enumerate(made):
        whole = _with(one, trips=by_numpy(one.trips, np.float32))
        some = slice(i, i + 1)
        simulation._spread(
            whole,
            lake_rates(whole, coverage),
            first[some],
            limits=limits[some],
            infested=infested[some].copy(),
            seasons=seasons,
        )
    return first


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_futures_without_a_matrix_are_those_with_one(law):
    made, limits, infested = draws_of(law, np.random.default_rng(21))
    found = simulate_on_demand(made, limits=limits, infested=infested, seasons=8)
    expected = with_matrices(made, limits, infested, seasons=8)
    assert ((expected > 0) & (expected < NEVER)).sum(axis=1).mean() > 15
    assert (found != expected).mean() < 1e-4


def test_futures_without_a_matrix_know_coverage():
    rng = np.random.default_rng(22)
    made, limits, infested = draws_of(POWER, rng, n_draws=10)
    n_landings = len(made[0].landing_lake)
    coverage = Coverage(rng.random(n_landings), rng.random(n_landings))
    given = {"limits": limits, "infested": infested, "seasons": 6}
    found = simulate_on_demand(made, **given, coverage=coverage)
    assert (found != with_matrices(made, **given, coverage=coverage)).mean() < 1e-4
    assert (found >= simulate_on_demand(made, **given)).all()


def test_futures_without_a_matrix_are_the_same_in_any_pieces():
    made, limits, infested = draws_of(POWER_EXPONENTIAL, np.random.default_rng(23))
    whole = simulate_on_demand(made, limits=limits, infested=infested, seasons=8)
    parts = [
        simulate_on_demand(made[i : i + 7], limits=limits[i : i + 7],
                           infested=infested[i : i + 7], seasons=8)
        for i in range(0, len(made), 7)
    ]  # fmt: skip
    assert np.array_equal(whole, np.concatenate(parts))


def test_futures_without_a_matrix_at_a_landing_far_away_from_all():
    rng = np.random.default_rng(24)
    landings, lakes, group, launches = region(rng)
    landings, lakes = landings.copy(), lakes.copy()
    landings[0] += [12_000, 0]
    lakes[0] = landings[0]
    for law, slope in ((POWER, [-60.0]), (EXPONENTIAL, [-0.1])):
        trips = law_trips((landings, lakes, group, launches), law, slope)
        one = inputs_of(trips, group, rng, habitat=np.ones(int(group.max()) + 31))
        limits = rng.exponential(size=(30, len(one.initial)))
        infested = np.broadcast_to(one.initial == 1, limits.shape)
        given = {"limits": limits, "infested": infested, "seasons": 6}
        found = simulate_on_demand([one] * 30, **given)
        assert (found != with_matrices([one] * 30, **given)).mean() < 1e-3


def test_more_than_six_routes_and_none_at_all():
    rng = np.random.default_rng(25)
    places = region(rng)
    one = inputs_of(law_trips(places), places[2], rng)
    given = {
        "limits": rng.exponential(size=(20, len(one.initial))),
        "infested": np.broadcast_to(one.initial == 1, (20, len(one.initial))),
        "seasons": 6,
    }
    twice = _with(
        one,
        leaving=np.concatenate([one.leaving, one.leaving]),
        arriving=np.concatenate([one.arriving, one.arriving]),
        weights=np.full(12, 0.01),
        outside_leaving=np.full(12, 0.1),
        education_effect=np.full(12, 0.5),
    )
    found = simulate_on_demand([twice] * 20, **given)
    assert (found != with_matrices([twice] * 20, **given)).mean() < 1e-4
    none = _with(one, weights=np.zeros(6), streams=sp.csr_array(one.streams.shape))
    found = simulate_on_demand([none] * 20, **given)
    assert ((found == 0) == given["infested"]).all() and set(np.unique(found)) == {0, NEVER}


def test_draws_between_different_places_are_refused():
    rng = np.random.default_rng(26)
    made, limits, infested = draws_of(POWER, rng, n_draws=2)
    moved = law_trips(
        (made[1].trips.landing_km + 1, *region(rng, 160, 110)[1:]), pull=made[1].trips.pull
    )
    for other in (moved, by_numpy(made[1].trips)):
        with pytest.raises(ValueError, match="same places by the same law"):
            simulate_on_demand(
                [made[0], _with(made[1], trips=other)], limits=limits, infested=infested, seasons=3
            )


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
    monkeypatch.setenv(compiled.SWITCH, "0")
    assert np.array_equal(simulation.simulate(inputs, **given).first_season, quick)
    assert len(calls) == 1


def test_it_can_be_switched_off(monkeypatch):
    assert fast_available()
    monkeypatch.setenv(compiled.SWITCH, "0")
    assert not fast_available()


def test_it_is_not_there_without_numba(monkeypatch):
    monkeypatch.setattr(compiled, "find_spec", lambda name: None)
    assert not fast_available()


def test_numba_is_loaded_only_when_it_is_needed():
    import subprocess

    code = (
        "import sys; from spreadnet.model import compiled, law_trips, on_demand; "
        "assert compiled.fast_available(); assert 'numba' not in sys.modules"
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
