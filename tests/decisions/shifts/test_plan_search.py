"""The search for the best plan, beside closed forms, enumeration and published instances."""

import itertools
from importlib import resources

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from spreadnet.decisions.shifts.best_linear import best_for
from spreadnet.decisions.shifts.rules import Limit, PlanRules
from spreadnet.decisions.shifts.search import search


class Separable:
    """Returns a(1 - exp(-k h)), a sqrt(h) or log(1 + h / n) of hours at each site, summed."""

    def __init__(self, value, slope, shift_hours):
        self.value, self.derivative, self.shift_hours = value, slope, shift_hours

    def avoided(self, plans):
        return np.array([self.value(self.shift_hours * plan[:, 0]).sum() for plan in plans])

    def slope(self, plan):
        return self.shift_hours * self.derivative(self.shift_hours * plan[:, 0])[:, None]


def rules_of(most, *, shifts, limits=(), least=None, shift_hours=1.0):
    most = np.asarray(most, np.int64)
    cells = np.arange(most.size)
    return PlanRules(
        shift_hours,
        np.zeros_like(most) if least is None else np.asarray(least, np.int64),
        most,
        (Limit("hours", "hours", cells, 0, float(shifts)), *limits),
        np.zeros(most.shape),
        cells,
    )


A, K = np.array([100.0, 80, 60, 30, 10]), np.array([0.05, 0.1, 0.02, 0.08, 0.2])
EXPONENTIAL = (lambda h: A * -np.expm1(-K * h), lambda h: A * K * np.exp(-K * h))
SQUARE_ROOT = (
    lambda h: A * np.sqrt(h),
    lambda h: A * 0.5 / np.sqrt(np.maximum(h, 0.01)),
)
N = np.array([1.0, 2, 3, 4, 10])
LOGARITHM = (lambda h: np.log1p(h / N), lambda h: 1 / (N + h))


@pytest.mark.parametrize(
    ("returns", "shift_hours", "hours", "cap", "expected", "value"),
    [
        # Koopman's search allocation: h = log(a k / lambda) / k, closed form (derived by hand).
        (EXPONENTIAL, 0.01, 60, 60, [28.80243, 19.10125, 0.65026, 8.82690, 2.61915], 164.511755),
        (EXPONENTIAL, 0.01, 60, 20, [20, 20, 6.50484, 10.29055, 3.20461], 161.266386),
        # Whole hours and shifts of four: exact dynamic programme.
        (EXPONENTIAL, 1, 60, 60, [29, 19, 0, 9, 3], 164.486797613),
        (EXPONENTIAL, 4, 60, 60, [28, 20, 0, 8, 4], 164.201418584),
        # Sum of a sqrt(h): h = B a^2 / sum a^2.
        (SQUARE_ROOT, 0.01, 60, 60, [28.5714, 18.2857, 10.2857, 2.5714, 0.2857], 1122.49721603),
        # Sum of log(1 + h / n): water up to one level, 5.
        (LOGARITHM, 0.01, 10, 10, [4, 3, 2, 1, 0], 3.2596978194),
    ],
)
def test_concave_returns_have_their_closed_form(returns, shift_hours, hours, cap, expected, value):
    steps = round(cap / shift_hours)
    rules = rules_of(np.full((5, 1), steps), shifts=round(hours / shift_hours), shift_hours=1)
    found = search(Separable(*returns, shift_hours), rules, most_slopes=400)
    placed = shift_hours * found.shifts[:, 0]
    # Near the top sums of roots are flat: hours part by minutes where the value does not.
    within = 1e-9 if shift_hours >= 1 else 0.1 if returns is SQUARE_ROOT else 0.011
    assert placed == pytest.approx(expected, abs=within)
    near = 1e-9 if shift_hours >= 1 else 5e-6 if returns is SQUARE_ROOT else 1e-6
    assert found.avoided == pytest.approx(value, rel=near)
    assert found.avoided <= found.straight_line
    soon = search(Separable(*returns, shift_hours), rules)
    assert soon.avoided > 0.999 * found.avoided


def test_the_next_hour_is_worth_the_finite_difference():
    """lambda = 1.18449482 at 60 hours (closed form), within 1%."""
    objective = Separable(*EXPONENTIAL, 0.01)
    plans = [search(objective, rules_of(np.full((5, 1), 9000), shifts=s)) for s in (6000, 6100)]
    gain = plans[1].avoided - plans[0].avoided
    assert gain == pytest.approx(1.1844948249584193, rel=0.01)
    assert plans[0].values.max() / 0.01 == pytest.approx(1.1844948249584193, rel=0.01)


# P01 and P07 of a public university collection of knapsack data (from memory; optimum confirmed by
# HiGHS and, below, by dynamic programming).
KNAPSACKS = {
    165: ([23, 31, 29, 44, 53, 38, 63, 85, 89, 82], [92, 57, 49, 68, 60, 43, 67, 84, 87, 72]),
    750: (
        [70, 73, 77, 80, 82, 87, 90, 94, 98, 106, 110, 113, 115, 118, 120],
        [135, 139, 149, 150, 156, 163, 173, 184, 192, 201, 210, 214, 221, 229, 240],
    ),
}


@pytest.mark.parametrize(
    ("capacity", "weights", "profits", "best"),
    [(165, *KNAPSACKS[165], 309), (750, *KNAPSACKS[750], 1458)],
)
def test_shifts_of_uneven_length_are_chosen_as_in_the_knapsack(capacity, weights, profits, best):
    """Each item a shift that takes so many of the hours and avoids so much."""
    weights, profits = np.array(weights, float), np.array(profits, float)
    cells = np.arange(len(weights))
    hours = Limit("hours", "hours", cells, 0, float(capacity), weights)
    once = np.ones((len(weights), 1), np.int64)
    rules = PlanRules(1.0, 0 * once, once, (hours,), np.zeros(once.shape), cells)
    chosen = best_for(profits[:, None], rules)
    assert rules.keeps(chosen.astype(int))
    assert (chosen[:, 0] * profits).sum() == best
    bound = (best_for(profits[:, None], rules, whole=False)[:, 0] * profits).sum()
    assert bound == pytest.approx({165: 309.0189, 750: 1461.5043}[capacity], abs=1e-4)

    class Profit:
        def avoided(self, plans):
            return np.array([(plan[:, 0] * profits).sum() for plan in plans])

        def slope(self, _):
            return profits[:, None]

    assert search(Profit(), rules).avoided == best


@pytest.mark.parametrize(("capacity", "best"), [(165, 309), (750, 1458)])
def test_landings_that_need_many_shifts_stay_within_the_knapsack_bound(capacity, best):
    """Each item a landing worth something only once it has all its shifts: no slope tells that."""
    weights, profits = KNAPSACKS[capacity]
    weights, profits = np.array(weights), np.array(profits, float)

    class AllOrNothing:
        def avoided(self, plans):
            return np.array([profits[(plan[:, 0] >= weights)].sum() for plan in plans])

        def slope(self, plan):
            return (profits / weights * (plan[:, 0] < weights))[:, None]

    table = np.zeros(capacity + 1)
    for weight, profit in zip(weights, profits, strict=True):
        table[weight:] = np.maximum(table[weight:], table[:-weight] + profit)
    assert table[-1] == best
    rules = rules_of(weights[:, None], shifts=capacity)
    filled = best_for((profits / weights)[:, None], rules, whole=False)
    bound = (filled[:, 0] * profits / weights).sum()
    assert {165: 309.0189, 750: 1461.5043}[capacity] == pytest.approx(bound, abs=1e-4)
    found = search(AllOrNothing(), rules)
    assert found.avoided <= best <= found.straight_line + 1e-9
    assert rules.keeps(found.shifts)


def test_linear_values_are_placed_as_by_enumeration():
    """Every plan of 3 landings and 2 blocks, with room, landing, people and jurisdiction limits."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        values, most = rng.random((3, 2)), rng.integers(0, 4, (3, 2))
        limits = (
            *(
                Limit(f"landing {k}", "landing", np.array([2 * k, 2 * k + 1]), 0, 3)
                for k in range(3)
            ),
            Limit("people", "people", np.array([0, 2, 4]), 0, float(rng.integers(1, 5))),
            Limit(
                "ward", "jurisdiction", np.array([2, 3, 4, 5]), float(rng.integers(0, 3)), np.inf
            ),
        )
        rules = rules_of(most, shifts=int(rng.integers(1, 7)), limits=limits)
        every = [
            np.array(plan).reshape(3, 2)
            for plan in itertools.product(*(range(n + 1) for n in most.ravel()))
        ]
        allowed = [plan for plan in every if rules.keeps(plan)]
        found = best_for(values, rules)
        if not allowed:
            assert found is None
            continue
        assert rules.keeps(found)
        best = max((values * plan).sum() for plan in allowed)
        assert (values * found).sum() == pytest.approx(best, rel=1e-9)


def test_leaving_out_cells_that_cannot_matter_changes_no_best_plan():
    """60 landings beside the problem with all cells, with people who come on some blocks only."""
    rng = np.random.default_rng(8)
    cells = np.arange(240).reshape(60, 4)
    for _ in range(20):
        values, most = rng.random((60, 4)).round(2), rng.integers(0, 5, (60, 4))
        caps = [Limit(f"landing {k}", "landing", cells[k], 0, 4) for k in range(0, 60, 2)]
        most_of = [int(n) for n in rng.integers(1, 30, 5)]
        people = [Limit(f"block {d}", "people", cells[:, d], 0, most_of[d]) for d in range(4)] + [
            Limit("weekends", "people", cells[:, 2:].ravel(), 0, most_of[4])
        ]
        rules = rules_of(most, shifts=int(rng.integers(1, 60)), limits=(*caps, *people))
        whole = milp(
            -values.ravel(),
            bounds=Bounds(0, most.ravel()),
            constraints=LinearConstraint(rules.sums, -np.inf, rules.upper),
        )
        for parts in (best_for(values, rules, whole=False), best_for(values, rules)):
            assert (values * parts).sum() == pytest.approx(-whole.fun, rel=1e-9)
            assert (rules.sums @ parts.ravel() <= rules.upper + 1e-6).all()


def test_more_shifts_never_avoid_less_and_the_order_of_sites_changes_nothing():
    worth = []
    for shifts in (0, 1, 5, 20, 60, 200):
        found = search(Separable(*EXPONENTIAL, 1.0), rules_of(np.full((5, 1), 60), shifts=shifts))
        worth.append(found.avoided)
    assert worth[0] == 0
    assert (np.diff(worth) > 0).all()


def test_equal_cells_go_to_the_first():
    class Equal:
        def avoided(self, plans):
            return np.array([np.sqrt(plan).sum() for plan in plans])

        def slope(self, plan):
            return 0.5 / np.sqrt(np.maximum(plan, 0.25))

    found = search(Equal(), rules_of(np.full((4, 1), 3), shifts=6))
    assert found.shifts[:, 0].tolist() == [2, 2, 1, 1]


def test_what_nothing_keeps_to_has_no_plan():
    ward = Limit("ward", "jurisdiction", np.array([0]), 5, np.inf)
    rules = rules_of(np.full((2, 1), 3), shifts=9, limits=(ward,))
    assert search(Separable(*((lambda h: h), lambda h: 0 * h + 1), 1.0), rules) is None


def coverage_of_san_francisco(metres):
    """Demand (205 tracts) and which of 16 stores cover each, joined by tract, not by row."""
    folder = resources.files("spopt").joinpath("tests", "test_locate", "data")
    name = "SF_network_distance_candidateStore_16_censusTract_205_new.csv"
    away = pd.read_csv(str(folder.joinpath(name)), dtype={"DestinationName": str})
    demand = pd.read_csv(
        str(folder.joinpath("SF_demand_205_centroid_uniform_weight.csv")), dtype={"NAME": str}
    )
    people = demand.set_index("NAME")["POP2000"]
    table = away.pivot_table(index="DestinationName", columns="name", values="distance")
    return people.reindex(table.index).to_numpy(float), table.to_numpy() <= metres, list(table)


@pytest.mark.parametrize(
    ("metres", "sites", "best", "greedy"),
    [  # Church and ReVelle's maximal coverage; optima by MILP and by all subsets
        (1000, 4, 93888, 93888),
        (2500, 2, 279887, 274984),
        (2500, 4, 450012, 450012),
        (5000, 3, 791499, 788863),
        (5000, 4, 875247, 872611),
        (5000, 5, 927402, 910944),
        (5000, 6, 941462, 928898),
    ],
)
def test_the_most_people_of_san_francisco_are_covered(metres, sites, best, greedy):
    """The data set that ships with spopt (BSD-3); swaps find what greedy choice misses."""
    people, within, _ = coverage_of_san_francisco(metres)
    assert people.sum() == 955_113

    class Covered:
        def avoided(self, plans):
            return np.array([people[within[:, plan[:, 0] > 0].any(axis=1)].sum() for plan in plans])

        def slope(self, plan):
            left = people * ~within[:, plan[:, 0] > 0].any(axis=1)
            return (left @ within)[:, None]

    found = search(Covered(), rules_of(np.ones((16, 1)), shifts=sites))
    assert greedy <= found.avoided <= found.straight_line
    assert found.avoided == best
    every = max(
        people[within[:, list(chosen)].any(axis=1)].sum()
        for chosen in itertools.combinations(range(16), sites)
    )
    assert every == best


@given(data=st.data())
@settings(max_examples=60, deadline=None, derandomize=True)
def test_every_plan_found_keeps_all_rules_and_every_other_that_does_is_within_the_bound(data):
    """Random room, promises and limits; returns that fall as a site fills up."""
    sites = data.draw(st.integers(2, 6), "sites")
    room = np.array(data.draw(st.lists(st.integers(0, 4), min_size=sites, max_size=sites), "room"))
    promised = np.minimum(
        room, data.draw(st.lists(st.integers(0, 1), min_size=sites, max_size=sites), "promised")
    )
    part = np.array(
        data.draw(st.lists(st.booleans(), min_size=sites, max_size=sites), "people"), bool
    )
    limits = (
        Limit("people", "people", np.flatnonzero(part), 0, data.draw(st.integers(0, 6), "most")),
        Limit("ward", "jurisdiction", np.flatnonzero(~part), data.draw(st.integers(0, 3)), np.inf),
    )
    rules = rules_of(
        room[:, None],
        shifts=data.draw(st.integers(0, 10), "shifts"),
        limits=limits,
        least=promised[:, None],
    )
    worth = np.array(data.draw(st.lists(st.floats(0.1, 9), min_size=sites, max_size=sites)))
    objective = Separable(
        lambda h: worth * -np.expm1(-0.4 * h), lambda h: 0.4 * worth * np.exp(-0.4 * h), 1.0
    )
    every = [np.array(plan)[:, None] for plan in itertools.product(*(range(n + 1) for n in room))]
    allowed = [plan for plan in every if rules.keeps(plan)]
    found = search(objective, rules)
    if found is None:
        assert not allowed
        return
    assert rules.keeps(found.shifts)
    best = objective.avoided(allowed).max()
    assert found.avoided == pytest.approx(best, rel=1e-9, abs=1e-12)
    assert found.straight_line >= best - 1e-9
