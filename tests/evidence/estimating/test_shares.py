import numpy as np
import pandas as pd
import pytest
from scipy.special import softmax
from scipy.stats import dirichlet_multinomial

from spreadnet.assumptions import DEFAULT
from spreadnet.evidence.estimating.contacts import WATERS, named_waters
from spreadnet.evidence.estimating.where_from import fit_shares

# L3 has no landing.
LAKES = pd.DataFrame(index=["L0", "L1", "L2", "L3"])
LANDINGS = pd.DataFrame(
    {"lake_id": ["L0", "L1", "L2", "L0"]},
    index=pd.Index(["A0", "A1", "A2", "A3"], name="landing_id"),
)
VISITS = pd.DataFrame({"landing_id": ["A0", "A1", "A3"]}, index=["V0", "V1", "V3"])


def contact_table(rows):
    """Rows of visit, direction and water; the water goes to the column of its direction."""
    table = pd.DataFrame(rows, columns=["visit_id", "direction", "water"], dtype=object)
    launching = table["direction"] == "launching"
    return table.assign(
        last_water=table["water"].where(launching, None),
        next_water=table["water"].where(~launching, None),
    )


def fit(rows, assumptions=DEFAULT):
    return fit_shares(contact_table(rows), VISITS, LANDINGS, LAKES, assumptions=assumptions)


def world(seed, landings=30, visits=120, concentration=6.0):
    """Invented shares at 30 landings, a third never visited."""
    rng = np.random.default_rng(seed)
    lakes = pd.DataFrame(index=[f"L{i}" for i in range(landings)])
    places = pd.DataFrame({"lake_id": lakes.index}, index=[f"A{i}" for i in range(landings)])
    places.index.name = "landing_id"
    position = rng.integers(0, landings * 2 // 3, visits)
    table = pd.DataFrame(
        {"landing_id": places.index[position]}, index=[f"V{i}" for i in range(visits)]
    )
    truth = rng.dirichlet(concentration * np.array([0.5, 0.25, 0.1, 0.15]), landings)
    rows = []
    for v, p in enumerate(position):
        for kind in rng.choice(4, rng.poisson(5), p=truth[p]):
            other = f"L{(p + 1) % landings}"
            water = (f"L{p}", other, "outside", "none")[kind]
            rows.append((f"V{v}", "launching", water))
        rows += [(f"V{v}", "retrieving", "none")] * 2
    return contact_table(rows), table, places, lakes, truth


def ends_of(table):
    """Low and high ends of all four waters, (K, 4) each."""
    return (table[[f"{water}_{end}" for water in WATERS]].to_numpy() for end in ("low", "high"))


def test_answers_fall_into_four_waters():
    rows = [
        ("V0", "launching", "L0"),
        ("V0", "launching", "L1"),
        ("V0", "launching", "outside"),
        ("V0", "launching", "none"),
        ("V3", "launching", "L0"),
        ("V3", "launching", None),
    ]
    shares = fit(rows)
    assert WATERS == ("same", "other", "outside", "none")
    assert shares.counts.tolist() == [[1, 1, 1, 1], [0] * 4, [0] * 4, [1, 0, 0, 0]]
    assert shares.table["n"].tolist() == [4, 0, 0, 1]
    columns = [f"{water}_{part}" for water in WATERS for part in ("share", "low", "high")]
    assert shares.table.columns.tolist() == ["n", *columns]
    assert shares.table.index.equals(LANDINGS.index)
    assert shares.table["other_share"].to_numpy() == pytest.approx(shares.mean()[:, 1])


def test_boats_coming_out_play_no_part():
    rows = [("V0", "launching", "L0"), ("V1", "launching", "L2")]
    more = [("V0", "retrieving", "L1")] * 9 + [("V1", "retrieving", "L3")]
    pd.testing.assert_frame_equal(fit([*rows, *more]).table, fit(rows).table)
    assert fit(more).counts.sum() == 0
    assert fit(more).named_without_landing.sum() == 0


def test_no_answer_is_not_none():
    rows = [("V0", "launching", "L0")] * 5
    blank = fit([*rows, *[("V0", "launching", None)] * 20])
    none = fit([*rows, *[("V0", "launching", "none")] * 20])
    assert blank.counts.tolist() == fit(rows).counts.tolist()
    assert blank.mean() == pytest.approx(fit(rows).mean())
    assert none.mean()[0, 3] > 0.5


def test_a_lake_without_a_landing_counts_as_outside_and_is_told():
    shares = fit([("V0", "launching", "L3")] * 3 + [("V0", "launching", "outside")])
    assert shares.counts[0].tolist() == [0, 0, 4, 0]
    assert shares.named_without_landing.tolist() == [0, 0, 0, 3]


def test_no_interviews_give_the_assumed_shares():
    shares = fit([])
    assert shares.mean() == pytest.approx(np.broadcast_to([0.55, 0.20, 0.10, 0.15], (4, 4)))
    assert shares.concentration.sum(axis=1) == pytest.approx(4.0)
    row = shares.table.loc["A0"]
    assert row["n"] == 0
    assert row["other_high"] - row["other_low"] > 0.5


def test_without_answers_the_region_spreads_as_the_assumed_ranges():
    """5% and 95% of the region's drawn shares lie near the ends of each range."""
    shares, rng = fit([]), np.random.default_rng(0)
    drawn = np.array([softmax(shares.mode.draw(rng)[:-1]) for _ in range(4000)])
    entries = [DEFAULT.entries[f"share_{water}"] for water in WATERS]
    low, high = np.quantile(drawn, [0.05, 0.95], axis=0)
    assert low == pytest.approx([e.low for e in entries], abs=0.05)
    assert high == pytest.approx([e.high for e in entries], abs=0.05)


def test_wider_ranges_widen_the_draws_where_there_are_few_answers():
    wide = DEFAULT.with_changes({"share_other": {"value": 0.2, "low": 0.01, "high": 0.8}})
    rows = [("V0", "launching", "L0")] * 3
    spread = []
    for assumptions in (DEFAULT.with_changes({"share_other": 0.2}), DEFAULT, wide):
        shares, rng = fit(rows, assumptions), np.random.default_rng(0)
        spread.append(np.std([shares.draw(rng)[:, 1].mean() for _ in range(2000)]))
    assert spread[0] < 0.95 * spread[1] < 0.9 * spread[2]


def test_posterior_worked_by_hand():
    """Effect 1.2, prior 4 boats: same (2.2 + 6 / 1.2) / (4 + 8 / 1.2) if the prior is fixed."""
    fixed = DEFAULT.with_changes(
        {f"share_{w}": DEFAULT[f"share_{w}"] for w in WATERS} | {"share_concentration": 4.0}
    )
    rows = [("V0", "launching", "L0")] * 6 + [("V0", "launching", "none")] * 2
    shares = fit(rows, assumptions=fixed)
    total = shares.concentration.sum(axis=1)
    assert total == pytest.approx([4 + 8 / 1.2, 4, 4, 4], rel=1e-2)
    own = shares.concentration[0] - shares.concentration[2]
    assert own == pytest.approx([6 / 1.2, 0, 0, 2 / 1.2])
    assert shares.mean()[0, 0] == pytest.approx((2.2 + 6 / 1.2) / (4 + 8 / 1.2), rel=1e-2)


def test_the_region_is_where_scipy_finds_the_greatest_density():
    """No shift of shares or concentration makes the counts and the prior more likely."""
    contacts, visits, places, lakes, _ = world(2)
    shares = fit_shares(contacts, visits, places, lakes, assumptions=DEFAULT)
    answers = np.round(shares.counts)
    # Whole counts for scipy, and landings enough that the prior hardly matters.
    mode = shares.mode.best
    c = np.exp(mode[-1])

    def log_density(values):
        share = np.exp(values) / np.exp(values).sum()
        used = answers[answers.sum(axis=1) > 0].astype(int)
        return dirichlet_multinomial.logpmf(used, c * share, used.sum(axis=1)).sum()

    at = log_density(mode[:-1])
    for k in range(4):
        for step in (-0.6, 0.6):
            assert log_density(mode[:-1] + step * np.eye(4)[k]) < at


def test_draws_agree_with_the_table():
    contacts, visits, places, lakes, _ = world(3)
    shares = fit_shares(contacts, visits, places, lakes, assumptions=DEFAULT)
    rng = np.random.default_rng(1)
    draws = np.array([shares.draw(rng) for _ in range(1500)])
    assert draws.sum(axis=2) == pytest.approx(1)
    low, high = ends_of(shares.table)
    assert np.abs(np.quantile(draws, 0.05, axis=0) - low).max() < 0.04
    assert np.abs(np.quantile(draws, 0.95, axis=0) - high).max() < 0.05
    assert np.abs(draws.mean(axis=0) - shares.mean()).max() < 0.03
    assert np.array_equal(*[shares.draw(np.random.default_rng(5)) for _ in range(2)])


def test_order_does_not_matter():
    contacts, visits, places, lakes, _ = world(4)
    rng = np.random.default_rng(0)
    first = fit_shares(contacts, visits, places, lakes, assumptions=DEFAULT)
    again = fit_shares(
        contacts.iloc[rng.permutation(len(contacts))],
        visits.iloc[rng.permutation(len(visits))],
        places.iloc[rng.permutation(len(places))],
        lakes.iloc[rng.permutation(len(lakes))],
        assumptions=DEFAULT,
    )
    pd.testing.assert_frame_equal(again.table.loc[first.table.index], first.table, rtol=1e-6)


def test_unknown_water_is_refused():
    with pytest.raises(ValueError, match="Invalid water 'L9'"):
        named_waters(pd.Series(["L9"]), np.zeros(1, dtype=int), LANDINGS, LAKES)


def test_one_landing_with_every_boat_staying_keeps_some_doubt():
    shares = fit([("V0", "launching", "L0")] * 50)
    assert (shares.mean() > 0).all()
    assert shares.mean()[0, 0] > 0.9
    assert (shares.draw(np.random.default_rng(0)) > 0).all()


@pytest.mark.slow
def test_90_percent_intervals_of_shares_cover_the_truth():
    seen, unseen = [], []
    for seed in range(100):
        contacts, visits, places, lakes, truth = world(seed)
        table = fit_shares(contacts, visits, places, lakes, assumptions=DEFAULT).table
        low, high = ends_of(table)
        held = (low < truth) & (truth < high)
        visited = places.index.isin(visits["landing_id"])
        seen.append(held[visited].mean())
        unseen.append(held[~visited].mean())
    assert 0.82 <= np.mean(seen) <= 0.97
    assert 0.82 <= np.mean(unseen) <= 0.97
