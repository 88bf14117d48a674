"""
Simulated spread against exact probabilities, worked out over every history of tiny networks.

The enumeration and the loop over a graph below share no code with the engine.
"""

import itertools
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from made_trips import dense_trips
from scipy import stats

from spreadnet.model.fast.bridge import SWITCH
from spreadnet.model.spread import futures as simulation
from spreadnet.model.spread.between_lakes import lake_rates
from spreadnet.model.spread.expected import expected_spread, new_infestations, total
from spreadnet.model.spread.futures import NEVER, simulate, thresholds
from spreadnet.model.spread.types import Coverage, SpreadInputs
from spreadnet.model.trips.dense import Trips


def made(between, initial, **changes):
    """One landing a lake, one route: `between` is the hazard a season from lake to lake."""
    between = np.asarray(between)
    n = len(between)
    given_ = {
        "trips": dense_trips(between),
        "landing_lake": np.arange(n),
        "leaving": np.ones((1, n)),
        "arriving": np.ones((1, n)),
        "weights": np.ones(1),
        "outside_boats": np.zeros(n),
        "outside_leaving": np.ones(1),
        "education_effect": np.array([0.8]),
        "establish": 1.0,
        "allee_exponent": 1.0,
        "habitat": np.ones(n),
        "streams": sp.csr_array((n, n)),
        "initial": np.asarray(initial, float),
        "worth": np.ones(n),
    }
    return SpreadInputs(**{**given_, **changes})


def histories(inputs, seasons):
    """Chance of every set of infested lakes at the end of each season."""
    between = inputs.trips.matrix() * inputs.establish
    outside = inputs.outside_boats * inputs.establish
    streams = inputs.streams.toarray()
    n = len(inputs.initial)
    states = {}
    for bits in itertools.product((0, 1), repeat=n):
        chance = np.prod(np.where(bits, inputs.initial, 1 - inputs.initial))
        if chance > 0:
            states[bits] = chance
    for _ in range(seasons):
        after = {}
        for bits, chance in states.items():
            here = np.array(bits, float)
            hazard = inputs.habitat * (
                (outside + here @ between) ** inputs.allee_exponent + here @ streams
            )
            falls = np.where(here == 1, 1.0, 1 - np.exp(-hazard))
            for new in itertools.product((0, 1), repeat=n):
                step = np.prod(np.where(new, falls, 1 - falls))
                if step > 0:
                    after[new] = after.get(new, 0) + chance * step
        states = after
        yield states


def exact(inputs, seasons):
    """Chance of each lake being infested at the end of each season, over every history."""
    return np.array(
        [
            sum(chance * np.array(bits) for bits, chance in states.items())
            for states in histories(inputs, seasons)
        ]
    )


TWO = made([[0, 0.4], [0.2, 0]], [1, 0])
THREE = made(
    [[0, 0.5, 0.02], [0.1, 0, 0.7], [0.3, 0.05, 0]],
    [1, 0, 0.25],
    habitat=np.array([1.0, 0.9, 0.6]),
    outside_boats=np.array([0.0, 0.03, 0.01]),
)
CASES = {
    "two lakes": TWO,
    "three lakes, one perhaps infested, some from outside": THREE,
    "few together fail": made(
        [[0, 0.5, 0.4], [0.1, 0, 0.7], [0.3, 0.3, 0]], [1, 0, 0.5], allee_exponent=1.6
    ),
    "a stream down to a lake that no boat reaches": made(
        [[0, 0.4, 0], [0.3, 0, 0], [0, 0, 0]],
        [1, 0, 0],
        streams=sp.csr_array(([0.35], ([1], [2])), shape=(3, 3)),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_chances_are_those_of_every_history(name):
    inputs, seasons, n = CASES[name], 3, 40_000
    found = simulate(inputs, seasons=seasons, seed=1, species="weed", futures=range(n))
    counts = found.counts_by_season() + (found.first_season == 0).sum(axis=0)
    chance = exact(inputs, seasons)
    error = np.sqrt(np.clip(chance * (1 - chance), 0, None) / n)
    assert (np.abs(counts / n - chance) <= 4 * error + 1e-12).all()


@pytest.mark.parametrize("seasons", [1, 2, 3])
@pytest.mark.parametrize("name", CASES)
def test_sets_of_lakes_come_as_often_as_they_should(name, seasons):
    """Goodness of fit of which lakes are infested together (chi-square, 0.01% in 12 cases)."""
    inputs, n = CASES[name], 20_000
    *_, states = histories(inputs, seasons)
    found = simulate(inputs, seasons=seasons, seed=5, species="weed", futures=range(n)).first_season
    infested = found != NEVER
    seen = [int((infested == np.array(bits, bool)).all(axis=1).sum()) for bits in states]
    assert sum(seen) == n
    if len(states) > 1:
        expected = n * np.array(list(states.values()))
        assert expected.min() > 5
        assert stats.chisquare(seen, expected).pvalue > 1e-4


def test_a_lake_without_a_landing_sends_down_its_stream():
    boats, stream = [[0, 0.4], [0.1, 0]], sp.csr_array(([0.3], ([2], [0])), shape=(3, 3))
    inputs = replace(
        TWO,
        trips=dense_trips(np.array(boats)),
        habitat=np.array([0.8, 1, 0]),
        initial=np.array([0, 0, 0.5]),
        streams=stream,
        worth=np.ones(3),
    )
    same = made(np.pad(boats, (0, 1)), [0, 0, 0.5], habitat=np.array([0.8, 1, 0]), streams=stream)
    n, chance = 40_000, exact(same, 3)[-1]
    found = simulate(inputs, seasons=3, seed=1, species="weed", futures=range(n)).first_season
    error = np.sqrt(chance * (1 - chance) / n)
    assert (np.abs((found != NEVER).mean(axis=0) - chance) <= 4 * error).all()


def test_the_two_lake_chances_are_those_worked_by_hand():
    """1 - exp(-0.4 t): a lake fed by one that is infested throughout."""
    chance = 1 - np.exp(-0.4 * np.arange(1, 4))
    assert exact(TWO, 3)[:, 1] == pytest.approx(chance)
    assert expected_spread(TWO, Coverage.none(2), seasons=3).infested[1:, 1] == pytest.approx(
        chance
    )


def test_histories_come_as_often_as_they_should():
    """Goodness of fit over all seasons of lakes 1 and 2 together (chi-square, 0.1%)."""
    inputs, n = made([[0, 0.5, 0.1], [0, 0, 0.9], [0, 0.2, 0]], [1, 0, 0]), 30_000
    found = simulate(inputs, seasons=2, seed=3, species="weed", futures=range(n)).first_season
    cells = {}
    for first, second in itertools.product((1, 2, NEVER), repeat=2):
        chance = 1.0
        for lake, when, other in ((1, first, second), (2, second, first)):
            for season in (1, 2):
                hazard = {1: 0.5, 2: 0.1}[lake]
                if other < season:
                    hazard += {1: 0.2, 2: 0.9}[lake]
                if when == season:
                    chance *= 1 - np.exp(-hazard)
                elif when > season:
                    chance *= np.exp(-hazard)
        cells[first, second] = chance
    assert sum(cells.values()) == pytest.approx(1)
    seen = [((found[:, 1] == a) & (found[:, 2] == b)).sum() for a, b in cells]
    assert stats.chisquare(seen, n * np.array(list(cells.values()))).pvalue > 1e-3


def network(seed, n=12, landings=16, **changes):
    """A lopsided region with two landings on some lakes, none on the last."""
    rng = np.random.default_rng(seed)
    lake = np.concatenate([np.arange(n - 1), rng.integers(0, n - 1, landings - n + 1)])
    by_origin = rng.gamma(0.4, 3.0, (landings, n - 1))
    by_origin[np.arange(landings), lake] = 0
    weight = rng.random(landings) + 0.1
    split = weight / np.bincount(lake, weight)[lake]
    given_ = {
        "trips": Trips(by_origin, lake, split),
        "landing_lake": lake,
        "leaving": rng.random((2, landings)) * 0.4,
        "arriving": rng.random((2, landings)) + 0.5,
        "weights": np.array([0.2, 0.5]),
        "outside_boats": rng.random(landings),
        "outside_leaving": np.array([0.05, 0.02]),
        "education_effect": np.array([0.7, 0.4]),
        "establish": 0.15,
        "allee_exponent": 1.0,
        "habitat": np.append(rng.random(n - 1), 1.0),
        "streams": sp.csr_array(([0.1, 0.02], ([1, 2], [n - 1, 4])), shape=(n, n)),
        "initial": np.where(rng.random(n) < 0.25, 1.0, 0.0),
        "worth": np.ones(n),
    }
    return SpreadInputs(**{**given_, **changes})


def in_precision(inputs, dtype):
    """The same with trips in another precision, as they are in large regions."""
    trips = inputs.trips
    return replace(inputs, trips=Trips(trips.by_origin.astype(dtype), trips.group, trips.split))


@given(
    seed=st.integers(0, 2**32 - 1),
    allee=st.sampled_from([1.0, 1.5]),
    share=st.floats(0, 1),
    precision=st.sampled_from([np.float32, np.float64]),
)
@settings(max_examples=40, deadline=None)
def test_more_coverage_never_infests_a_lake_earlier(seed, allee, share, precision):
    inputs = in_precision(network(seed, allee_exponent=allee), precision)
    rng = np.random.default_rng(seed)
    some = Coverage(rng.random(16) * share, rng.random(16) * share)
    more = Coverage(
        np.minimum(some.leaving + rng.random(16) * (rng.random(16) < 0.5), 1),
        np.minimum(some.arriving + rng.random(16) * (rng.random(16) < 0.5), 1),
    )
    none, less, most = (
        simulate(
            inputs, seasons=6, seed=seed, species="weed", futures=range(60), coverage=coverage
        ).first_season
        for coverage in (None, some, more)
    )
    assert (none <= less).all()
    assert (less <= most).all()


@pytest.fixture(params=["0", "1"], ids=["NumPy", "compiled"])
def either_way(monkeypatch, request):
    """Either way, where both are there."""
    monkeypatch.setenv(SWITCH, request.param)


def test_the_order_of_adding_infests_no_lake_earlier(monkeypatch, either_way):
    """
    Lake 3 takes 0.6 units in the last digit from lake 1 and 1 from lake 2. With coverage both come
    in one season; summed in single precision they would be 1 and a whole unit.
    """
    unit = float(np.finfo(np.float32).eps)
    between = np.zeros((4, 4), np.float32)
    between[0, 1], between[0, 2], between[1, 3], between[2, 3] = 1.0, 0.5, 0.6 * unit, 1.0
    limits = np.array([[np.inf, 0.35, 0.75, 3 + 2.7 * unit]])
    monkeypatch.setattr(simulation, "_limits", lambda *_, **__: limits.copy())
    inputs = made(between, [1, 0, 0, 0])
    covered = Coverage(np.zeros(4), np.array([0.0, 1, 0, 0]))
    without, with_ = (
        simulate(
            inputs, seasons=8, seed=1, species="weed", futures=range(1), coverage=coverage
        ).first_season
        for coverage in (None, covered)
    )
    assert without.tolist() == [[0, 1, 2, 6]]
    assert with_.tolist() == [[0, 2, 2, 6]]


@pytest.mark.parametrize("precision", [np.float32, np.float64])
def test_sums_do_not_depend_on_the_other_futures(monkeypatch, either_way, precision):
    """Lakes that happen to be infested in all futures at hand are summed like any other."""
    between = np.zeros((4, 4), precision)
    half = float(np.finfo(precision).eps) / 2
    # In double precision 1 + half + half is 1 and 1 + (half + half) is more; in single precision
    # 1 + half is 1.
    between[:3, 3] = (1, half, half) if precision == np.float64 else (0, 1, half)
    reached = 1 + (2 * half if precision == np.float64 else half)
    limits = np.array([np.inf, np.inf, np.inf, reached])
    monkeypatch.setattr(
        simulation, "_limits", lambda *args, **__: np.tile(limits, (len(args[2]), 1))
    )
    inputs = made(between, [1, 0.7, 0.7, 0])

    def futures(which):
        return simulate(inputs, seasons=1, seed=1, species="weed", futures=which).first_season

    whole = futures(range(40))
    both = (whole[:, :3] == 0).all(axis=1)
    assert 5 < both.sum() < 35
    assert np.array_equal(whole[:, 3] == 1, both)
    assert np.array_equal(np.concatenate([futures(range(i, i + 1)) for i in range(40)]), whole)


@pytest.mark.parametrize("precision", [np.float32, np.float64])
@pytest.mark.parametrize("allee", [1.0, 1.3])
def test_the_same_seed_gives_the_same_bytes_in_any_pieces(monkeypatch, precision, allee):
    inputs = in_precision(
        network(4, initial=np.linspace(0, 1, 12), allee_exponent=allee), precision
    )

    def futures(which):
        return simulate(inputs, seasons=5, seed=7, species="weed", futures=which).first_season

    whole = futures(range(50))
    assert np.array_equal(futures(range(10, 20)), whole[10:20])
    assert np.array_equal(futures(range(30, 50)), whole[30:])
    assert np.array_equal(futures(range(0, 50, 7)), whole[::7])
    for cells in (1, 12 * 7, 10**9):
        monkeypatch.setattr(simulation, "CELLS", cells)
        monkeypatch.setattr(simulation, "CACHED", cells // 2)
        assert np.array_equal(futures(range(50)), whole)
    found, some = (
        simulate(inputs, seasons=5, seed=7, species="weed", futures=which)
        for which in (range(50), range(10, 20))
    )
    worth = np.random.default_rng(1).random(12)
    assert np.array_equal(found.new(worth)[10:20], some.new(worth))
    other = simulate(inputs, seasons=5, seed=8, species="weed", futures=range(50))
    assert not np.array_equal(other.first_season, whole)
    weed = simulate(inputs, seasons=5, seed=7, species="mussel", futures=range(50))
    assert not np.array_equal(weed.first_season, whole)


def test_fewer_seasons_are_the_first_of_more():
    inputs = network(5)
    short, long = (
        simulate(inputs, seasons=t, seed=1, species="weed", futures=range(40)).first_season
        for t in (3, 9)
    )
    assert np.array_equal(short, np.where(long <= 3, long, NEVER))


def by_loop(inputs, seasons, rng):
    """The same law over a graph with a coin a season, written plainly."""
    rates = lake_rates(inputs)
    graph = nx.DiGraph()
    graph.add_nodes_from(range(len(inputs.initial)))
    for a, i in enumerate(rates.lakes):
        for b, j in enumerate(rates.lakes):
            if rates.between[a, b] > 0:
                graph.add_edge(int(i), int(j), boats=float(rates.between[a, b]))
    outside = dict(zip(rates.lakes.tolist(), rates.outside, strict=True))
    streams = inputs.streams.tocoo()
    down = list(zip(streams.row, streams.col, streams.data, strict=True))
    infested = {j for j in graph if rng.random() < inputs.initial[j]}
    began = len(infested)
    for _ in range(seasons):
        new = set()
        for j in graph:
            if j in infested:
                continue
            brought = outside.get(j, 0.0)
            for i, _, boats in graph.in_edges(j, data="boats"):
                brought += boats * (i in infested)
            hazard = brought**inputs.allee_exponent
            hazard += sum(rate for up, low, rate in down if low == j and up in infested)
            if rng.random() < 1 - np.exp(-inputs.habitat[j] * hazard):
                new.add(j)
        infested |= new
    return len(infested) - began


@pytest.mark.slow
@pytest.mark.parametrize("allee", [1.0, 1.3])
def test_totals_are_those_of_a_plain_loop_over_a_graph(allee):
    inputs = network(6, allee_exponent=allee, initial=np.linspace(0, 0.6, 12))
    rng = np.random.default_rng(9)
    plain = np.array([by_loop(inputs, 5, rng) for _ in range(1500)])
    found = simulate(inputs, seasons=5, seed=2, species="weed", futures=range(6000)).new()
    assert stats.ks_2samp(plain, found).pvalue > 1e-3
    error = np.hypot(plain.std() / 1500**0.5, found.std() / 6000**0.5)
    assert abs(plain.mean() - found.mean()) < 4 * error


@pytest.mark.parametrize("seed", range(4))
def test_the_expected_total_is_an_upper_bound(seed):
    """Chances spread over all neighbours at once make more of them (numerics: mean field)."""
    inputs = network(seed)
    expected = total(inputs, expected_spread(inputs, Coverage.none(16), seasons=8))
    new = simulate(inputs, seasons=8, seed=1, species="weed", futures=range(4000)).new()
    assert expected >= new.mean() - 3 * new.std() / len(new) ** 0.5


def test_the_expected_total_is_no_bound_where_few_together_fail():
    """By hand: half the boats squared is a quarter, but the source is there half the time."""
    inputs = made([[0, 0.3], [0, 0]], [0.5, 0], allee_exponent=2.0)
    expected = expected_spread(inputs, Coverage.none(2), seasons=1).infested[1, 1]
    assert expected == pytest.approx(1 - np.exp(-0.0225))
    assert exact(inputs, 1)[0, 1] == pytest.approx(0.5 * (1 - np.exp(-0.09)))
    found = simulate(inputs, seasons=1, seed=1, species="weed", futures=range(20_000))
    assert found.new().mean() == pytest.approx(0.5 * (1 - np.exp(-0.09)), abs=0.006)


def test_worth_weighs_the_new_and_only_those():
    inputs = network(7)
    found = simulate(inputs, seasons=5, seed=1, species="weed", futures=range(30))
    worth = np.arange(12.0)
    by_hand = [
        sum(worth[j] for j in range(12) if 0 < row[j] != NEVER) for row in found.first_season
    ]
    assert found.new(worth) == pytest.approx(by_hand)
    assert found.counts_by_season()[-1].sum() == found.new().sum()


# Hazards of numerics (section G) that concern simulation.


def test_thresholds_are_exponential_and_unrelated():
    limits = thresholds(1, "weed", range(400), n_lakes=300)
    assert stats.kstest(limits.ravel(), "expon").pvalue > 1e-3
    for one, two in ((limits[:-1], limits[1:]), (limits[:, :-1], limits[:, 1:])):
        related = np.corrcoef(one.ravel(), two.ravel())[0, 1]
        assert abs(related) < 4 / one.size**0.5


def test_luck_of_species_futures_and_starts_is_unrelated():
    weed, mussel = (thresholds(1, name, range(300), n_lakes=200) for name in ("weed", "mussel"))
    unsure = made(np.zeros((200, 200)), np.full(200, 0.5))
    start = simulate(unsure, seasons=1, seed=1, species="weed", futures=range(300)).first_season
    assert abs((start == 0).mean() - 0.5) < 4 * 0.5 / start.size**0.5
    for other in (mussel, start == 0):
        assert abs(np.corrcoef(weed.ravel(), other.ravel())[0, 1]) < 4 / weed.size**0.5


def test_thresholds_by_the_thousand_are_those_one_by_one():
    many = thresholds(3, "weed", range(5, 9), n_lakes=30)
    for row, future in zip(many, range(5, 9), strict=True):
        assert np.array_equal(row, thresholds(3, "weed", range(future, future + 1), n_lakes=30)[0])
    lakes = np.array([0, 7, 29])
    some = simulation._limits(3, "weed", range(5, 9), n_lakes=30, lakes=lakes)
    assert np.array_equal(some[:, lakes], many[:, lakes])
    assert np.isinf(np.delete(some, lakes, axis=1)).all()


def test_tiny_hazards_are_met_as_often_as_they_should():
    """Half-precision uniforms would give none, or five times too many, below 1e-7."""
    limits = np.concatenate(
        [thresholds(seed, "weed", range(10), n_lakes=1_000_000).min(axis=0) for seed in range(3)]
    )
    n_met, rate = int((limits < 1e-6).sum()), 3e7 * 1e-6
    assert (
        stats.poisson(rate).interval(0.9999)[0] <= n_met <= stats.poisson(rate).interval(0.9999)[1]
    )
    assert (limits > 0).all()
    hazard = made([[0, 1e-9], [0, 0]], [1, 0])
    assert expected_spread(hazard, Coverage.none(2), seasons=1).infested[1, 1] == pytest.approx(
        1e-9
    )


@pytest.mark.parametrize(
    ("inputs", "new"),
    [
        (made([[0.0]], [1]), 0),
        (made([[0.0]], [0]), 0),
        (made([[0, 1.0], [1.0, 0]], [1, 1]), 0),
        (made([[0, 1.0], [1.0, 0]], [0, 0]), 0),
        (made([[0, 1.0], [1.0, 0]], [1, 0], establish=0.0), 0),
        (made([[0, 1.0], [1.0, 0]], [1, 0], establish=1e-14), 0),
        (made([[0, 1.0], [1.0, 0]], [1, 0], establish=1e6), 1),
        (made([[0, 0.0], [0.0, 0]], [0, 0], outside_boats=np.full(2, 1e6)), 2),
        (made([[0, 1e6], [1e6, 0]], [1, 0], habitat=np.zeros(2)), 0),
    ],
)
def test_edges_of_what_can_be_given(inputs, new):
    found = simulate(inputs, seasons=5, seed=1, species="weed", futures=range(20))
    assert (found.new() == new).all()


def test_seasons_fit_in_a_byte():
    inputs = made([[0, 1e-3], [0, 0]], [1, 0])
    found = simulate(inputs, seasons=254, seed=1, species="weed", futures=range(500))
    assert found.counts_by_season().shape == (254, 2)
    chance = 1 - np.exp(-0.254)
    assert found.new().mean() == pytest.approx(chance, abs=4 * (chance / 500) ** 0.5)
    for seasons in (0, 255):
        with pytest.raises(ValueError, match=f"Invalid seasons '{seasons}'"):
            simulate(inputs, seasons=seasons, seed=1, species="weed", futures=range(2))


def test_no_future_is_an_empty_answer():
    found = simulate(TWO, seasons=3, seed=1, species="weed", futures=range(0))
    assert found.first_season.shape == (0, 2)
    assert found.new().shape == (0,)


def test_half_the_memory_changes_next_to_nothing():
    inputs = network(8)
    small = in_precision(inputs, np.float32)
    one, two = (
        simulate(given_, seasons=6, seed=1, species="weed", futures=range(300)).first_season
        for given_ in (inputs, small)
    )
    assert (one != two).mean() < 1e-3
    assert new_infestations(
        small, expected_spread(small, Coverage.none(16), seasons=6)
    ) == pytest.approx(
        new_infestations(inputs, expected_spread(inputs, Coverage.none(16), seasons=6)), rel=1e-5
    )
