import numpy as np
import pandas as pd
import pytest

from spreadnet.assumptions import DEFAULT
from spreadnet.evidence.estimating.days_out import days_out

VISITS = pd.DataFrame({"landing_id": ["A0", "A1"]}, index=["V0", "V1"])
LANDINGS = pd.DataFrame({"lake_id": ["L0", "L1"]}, index=["A0", "A1"])


def fit(rows, assumptions=DEFAULT):
    """Rows of visit, direction, last water and days out."""
    names = ["visit_id", "direction", "last_water", "days_out"]
    contacts = pd.DataFrame(rows, columns=names, dtype=object)
    contacts["days_out"] = contacts["days_out"].astype(float)
    return days_out(contacts, VISITS, LANDINGS, assumptions=assumptions)


def test_only_boats_from_another_water_count():
    seen = fit(
        [
            ("V0", "launching", "L1", 4.0),
            ("V0", "launching", "outside", 9.0),
            ("V0", "launching", "L0", 1.0),  # same lake
            ("V0", "launching", "none", 200.0),  # no last water
            ("V0", "launching", None, 2.0),  # not answered
            ("V1", "retrieving", "L0", 3.0),  # coming out
            ("V1", "launching", "L0", None),  # days not answered
        ]
    )
    assert seen.contacts == 2
    assert seen.weight.sum() == pytest.approx(1)
    assert seen.weight[np.isin(seen.days, [4.0, 9.0])] == pytest.approx([1 / 20, 1 / 20])


def test_no_answers_give_the_assumed_days():
    """Half within five days (an assumption); the rest 5 + exponential."""
    seen = fit([])
    assert seen.contacts == 0
    assert seen.weight[seen.days <= 5].sum() == pytest.approx(0.5)
    late = seen.days > 5
    mean = (seen.days * seen.weight)[late].sum() / seen.weight[late].sum()
    assert mean == pytest.approx(5 + 14, rel=0.03)
    assert (np.diff(seen.days) > 0).all()


def test_twenty_answers_stand_alone():
    seen = fit([("V0", "launching", "L1", float(d)) for d in [0] * 5 + [7] * 15])
    assert (seen.days.tolist(), seen.weight.tolist(), seen.contacts) == ([0, 7], [0.25, 0.75], 20)


def test_draws_keep_days_and_spread_with_the_answers():
    few = fit([("V0", "launching", "L1", float(d)) for d in [0] * 10 + [7] * 10])
    many = fit([("V0", "launching", "L1", float(d)) for d in [0] * 200 + [7] * 200])
    rng = np.random.default_rng(0)
    drawn = [np.array([one.draw(rng).weight for _ in range(2000)]) for one in (few, many)]
    assert drawn[0].sum(axis=1) == pytest.approx(1)
    # A Dirichlet with n answers: variance p (1 - p) / (n + 1).
    assert drawn[0][:, 0].std() == pytest.approx(np.sqrt(0.25 / 21), rel=0.08)
    assert drawn[1][:, 0].std() == pytest.approx(np.sqrt(0.25 / 401), rel=0.08)
    assert few.draw(rng).days.tolist() == [0, 7]


def test_without_answers_the_draws_spread_as_the_assumed_ranges():
    """5% and 95% of the draws are the ends of both ranges; the mean follows."""
    rng, none = np.random.default_rng(0), fit([])
    drawn = [none.draw(rng) for _ in range(3000)]
    quick = [one.weight[one.days <= 5].sum() for one in drawn]
    entry = DEFAULT.entries["days_out_quick"]
    assert np.quantile(quick, [0.05, 0.95]) == pytest.approx([entry.low, entry.high], abs=0.01)
    assert all((np.diff(one.days) > 0).all() for one in drawn[:20])
    late = [
        (one.days * one.weight)[one.days > 5].sum() / (1 - one.weight[one.days <= 5].sum())
        for one in drawn
    ]
    entry = DEFAULT.entries["days_out_mean"]
    ends = np.quantile(np.array(late) - 5, [0.05, 0.95])
    assert ends == pytest.approx([entry.low, entry.high], rel=0.06)
    assert none.draw(rng).weight.sum() == pytest.approx(1)


def test_the_assumed_ranges_fade_out_with_answers():
    """The share within five days is moved by a wide range less and less, and not at all at 20."""
    wide = {"days_out_quick": {"value": 0.25, "low": 0.01, "high": 0.9}}
    moved = []
    for answers in (0, 10, 20):
        rows = [("V0", "launching", "L1", float(d)) for d in [2, 9] * (answers // 2)]
        spread = []
        for assumptions in (
            DEFAULT.with_changes({"days_out_quick": 0.25}),
            DEFAULT.with_changes(wide),
        ):
            one, rng = fit(rows, assumptions), np.random.default_rng(1)
            spread.append(
                np.std([d.weight[d.days <= 5].sum() for d in (one.draw(rng) for _ in range(1500))])
            )
        moved.append(spread[1] - spread[0])
    assert moved[0] > 2 * moved[1] > 0.01
    assert moved[2] == 0


def test_a_draw_is_the_same_for_the_same_stream():
    few = fit([("V0", "launching", "L1", 3.0)] * 4)
    one, two = (few.draw(np.random.default_rng(7)) for _ in range(2))
    assert np.array_equal(one.days, two.days)
    assert np.array_equal(one.weight, two.weight)


def test_order_does_not_matter():
    rows = [("V0", "launching", "L1", float(d)) for d in (9, 1, 4, 1)]
    assert fit(rows).weight == pytest.approx(fit(rows[::-1]).weight)
