"""
Simulated spread against exact probabilities, worked out over every history of tiny networks.

The enumeration and the loop over a graph below share no code with the engine.
"""

import itertools

import networkx as nx
import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spreadnet.model import simulation
from spreadnet.model.flows import Trips
from spreadnet.model.lake_rates import lake_rates
from spreadnet.model.simulation import NEVER, simulate, thresholds
from spreadnet.model.spread import (
    Coverage,
    SpreadInputs,
    expected_spread,
    new_infestations,
    total,
)


def made(between, initial, **changes):
    """One landing a lake, one route: `between` is the hazard a season from lake to lake."""
    between = np.asarray(between)
    n = len(between)
    given_ = {
        "trips": Trips.dense(between),
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


def exact(inputs, seasons):
    """Chance of each lake being infested at the start of each season, over every history."""
    between = inputs.trips.matrix() * inputs.establish
    outside = inputs.outside_boats * inputs.establish
    streams = inputs.streams.toarray()
    n = len(inputs.initial)
    states = {}
    for bits in itertools.product((0, 1), repeat=n):
        chance = np.prod(np.where(bits, inputs.initial, 1 - inputs.initial))
        if chance > 0:
            states[bits] = chance
    rows = []
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
        rows.append(sum(chance * np.array(bits) for bits, chance in states.items()))
    return np.array(rows)


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


@given(
    seed=st.integers(0, 2**32 - 1),
    allee=st.sampled_from([1.0, 1.5]),
    share=st.floats(0, 1),
)
@settings(max_examples=40, deadline=None)
def test_more_coverage_never_infests_a_lake_earlier(seed, allee, share):
    inputs = network(seed, allee_exponent=allee)
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


def test_the_same_seed_gives_the_same_bytes_in_any_pieces(monkeypatch):
    inputs = network(4, initial=np.linspace(0, 1, 12))

    def futures(which):
        return simulate(inputs, seasons=5, seed=7, species="weed", futures=which).first_season

    whole = futures(range(50))
    assert np.array_equal(futures(range(30, 50)), whole[30:])
    for cells in (1, 12 * 7, 10**9):
        monkeypatch.setattr(simulation, "CELLS", cells)
        assert np.array_equal(futures(range(50)), whole)
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
    small = SpreadInputs(
        **{
            name: getattr(inputs, name)
            for name in SpreadInputs.__dataclass_fields__
            if name != "trips"
        },
        trips=Trips(
            inputs.trips.by_origin.astype(np.float32), inputs.trips.group, inputs.trips.split
        ),
    )
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
