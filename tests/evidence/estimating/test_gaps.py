import numpy as np
import pandas as pd
import pytest
from scipy.stats import beta as beta_distribution
from scipy.stats import betabinom, binomtest

from spreadnet.assumptions import DEFAULT, Assumption
from spreadnet.evidence.estimating.gap_rates import beta_binomial_mle, fit_gaps
from spreadnet.evidence.region import DIRECTIONS, GAPS
from spreadnet.evidence.statistics.intervals import (
    beta_from_moments,
    beta_from_range,
    beta_interval,
)
from spreadnet.evidence.statistics.pooling import design_effect, fit_pooled

# Rat tumours: Gelman et al., Bayesian Data Analysis, 3rd ed., section 5.1 (Tarone 1982): found and
# checked in 70 historical groups, then the current one.
FOUND = [
    *[0] * 14, *[1] * 8, *[2] * 9, 1, 5, 2, 5, 2, 7, 7, 3, 3, 2, 9, 10, *[4] * 7, 10, *[4] * 3, 5,
    11, 12, 5, 5, 6, 5, 6, 6, 6, 6, 16, 15, 15, 9, 3,
]  # fmt: skip
CHECKED = [
    *[20] * 7, *[19] * 4, 18, 18, 17, *[20] * 4, 19, 19, 18, 18, 25, 24, 23, *[20] * 6, 10, 49, 19,
    46, 17, 49, 47, 20, 20, 13, 48, 50, *[20] * 7, 48, *[19] * 3, 22, 46, 49, 20, 20, 23, 19, 22,
    20, 20, 20, 52, 46, 47, 24, 27,
]  # fmt: skip
FOUND, CHECKED = np.array([*FOUND, 4.0]), np.array([*CHECKED, 14.0])

PRIOR = {"share": DEFAULT.entries["gap_plants"], "precision": DEFAULT.entries["gap_precision"]}
WEAK = {
    "share": Assumption("s", 0.5, 1e-6, 1 - 1e-6, "share", "share", "", "", "assumption"),
    "precision": Assumption("p", 10.0, 1e-4, 1e6, "boats", "log", "", "", "assumption"),
}


def contact_table(rows, **columns):
    """Rows of visit, direction and plug (None: not checked); the other gaps not checked."""
    table = pd.DataFrame([row[:2] for row in rows], columns=["visit_id", "direction"], dtype=str)
    for gap in GAPS:
        table[gap] = pd.array([None] * len(rows), dtype="boolean")
    table["plug"] = pd.array([row[2] for row in rows], dtype="boolean")
    table["craft"] = "motor"
    table["corrected"] = pd.array([None] * len(rows), dtype="boolean")
    return table.assign(**columns)


def places(landings=3):
    names = pd.Index([f"A{i}" for i in range(landings)], name="landing_id")
    return pd.DataFrame({"lake_id": [f"L{i}" for i in range(landings)]}, index=names)


def one_visit_each(landings=3):
    return pd.DataFrame(
        {"landing_id": places(landings).index}, index=[f"V{i}" for i in range(landings)]
    )


def fit(rows, landings=3, assumptions=DEFAULT, education="check together", **columns):
    return fit_gaps(
        contact_table(rows, **columns),
        one_visit_each(landings),
        places(landings),
        assumptions=assumptions,
        education=education,
    )


def world(seed, landings=30, visits=120, alike=0.1):
    """Invented rates at 30 landings, a third never visited; boats met together are alike."""
    rng = np.random.default_rng(seed)
    table = places(landings)
    position = rng.integers(0, landings * 2 // 3, visits)
    visit_table = pd.DataFrame(
        {"landing_id": table.index[position]}, index=[f"V{i}" for i in range(visits)]
    )
    truth = rng.beta(0.16 * 10, 0.84 * 10, (len(DIRECTIONS), len(GAPS), landings))
    visit = np.repeat(np.arange(visits), rng.poisson(10, visits))
    direction = rng.integers(0, 2, len(visit))
    pairs = zip(visit, direction, strict=True)
    contacts = contact_table([(f"V{v}", DIRECTIONS[d], None) for v, d in pairs])
    for g, gap in enumerate(GAPS):
        rate = np.clip(truth[:, g][:, position], 1e-6, 1 - 1e-6)
        daily = rng.beta(rate * (1 / alike - 1), (1 - rate) * (1 / alike - 1))
        yes = rng.random(len(visit)) < daily[direction, visit]
        contacts[gap] = pd.array(np.where(rng.random(len(visit)) < 0.2, None, yes), "boolean")
    return contacts, visit_table, table, truth


def test_rat_tumours_marginal_maximum():
    """Totals as printed (267 of 1739); maximum and value recomputed, book's data."""
    assert (FOUND.sum(), CHECKED.sum(), len(FOUND)) == (267, 1739, 71)
    alpha, beta, log_likelihood = beta_binomial_mle(FOUND, CHECKED)
    assert alpha == pytest.approx(2.3416, abs=5e-4)
    assert beta == pytest.approx(14.1148, abs=5e-3)
    assert log_likelihood == pytest.approx(-730.3385, abs=1e-3)
    # scipy's beta-binomial adds the binomial constants: its maximum is at the same place.
    full = [
        betabinom.logpmf(FOUND, CHECKED, alpha * (1 + da), beta * (1 + db)).sum()
        for da, db in ((0, 0), (0.02, 0), (-0.02, 0), (0, 0.02), (0, -0.02))
    ]
    assert np.argmax(full) == 0


def test_rat_tumours_historical_groups():
    alpha, beta, _ = beta_binomial_mle(FOUND[:70], CHECKED[:70])
    assert (alpha, beta) == (pytest.approx(2.3048, abs=5e-4), pytest.approx(14.0798, abs=5e-3))


def test_rat_tumours_partial_pooling():
    """Full Bayes in the book: 0.211 for the current 4 of 14 (recomputed 0.2109), region 0.144."""
    pooled = fit_pooled(FOUND, CHECKED, **WEAK)
    assert pooled.mean()[-1] == pytest.approx(0.2109, abs=5e-3)
    assert pooled.pooled()[-1] == pytest.approx(0.1443, abs=3e-3)


def test_uniform_prior_with_437_of_980():
    """Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.4: Beta(438, 544)."""
    low, high = beta_interval(438, 544, level=0.95)
    assert beta_distribution.mean(438, 544) == pytest.approx(0.4460285, abs=5e-8)
    assert (low, high) == (pytest.approx(0.4150655, abs=5e-7), pytest.approx(0.4771998, abs=5e-7))
    assert beta_distribution.cdf(0.485, 438, 544) == pytest.approx(0.992826, abs=5e-7)


@pytest.mark.parametrize(
    ("found", "checked", "low", "high"),
    [(81, 263, 0.2545, 0.3656), (15, 148, 0.0604, 0.1576), (23, 60, 0.2681, 0.5095)],
)
def test_jeffreys_intervals(found, checked, low, high):
    """Cases of Newcombe 1998, Stat Med 17:857; limits recomputed."""
    ends = beta_interval(found + 0.5, checked - found + 0.5, level=0.95)
    assert ends == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@pytest.mark.parametrize(
    ("found", "checked", "low", "high"), [(81, 263, 0.2553, 0.3662), (0, 20, 0.0, 0.1611)]
)
def test_wilson_reference_and_ours_tell_the_same(found, checked, low, high):
    """Wilson limits of Newcombe 1998 (from memory, recomputed); a weak prior comes near them."""
    wilson = binomtest(found, checked).proportion_ci(method="wilson")
    assert (wilson.low, wilson.high) == (
        pytest.approx(low, abs=5e-5),
        pytest.approx(high, abs=5e-5),
    )
    ours = beta_interval(found + 0.5, checked - found + 0.5, level=0.95)
    assert ours == (pytest.approx(low, abs=0.01), pytest.approx(high, abs=0.05))


def test_baseball_averages_shrink_as_published():
    """Efron & Morris 1977: 18 players, 45 at bats; c = 0.212, first 0.294, last 0.242."""
    hits = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, *[10] * 5, 9, 8, 7], float)
    rest = [
        346,
        298,
        276,
        222,
        273,
        270,
        263,
        210,
        269,
        230,
        264,
        256,
        303,
        264,
        226,
        285,
        316,
        200,
    ]
    later = np.array(rest) / 1000
    mean, variance = hits.mean() / 45, hits.mean() / 45 * (1 - hits.mean() / 45) / 45
    keep = 1 - 15 * variance / ((hits / 45 - mean) ** 2).sum()
    assert keep == pytest.approx(0.21165, abs=5e-6)
    # The beta-binomial with that precision keeps the same share of each player's own average.
    precision = 45 / keep - 45
    fixed = {
        "share": Assumption("s", mean, mean, mean, "share", "share", "", "", "assumption"),
        "precision": Assumption("p", *[precision] * 3, "boats", "log", "", "", "assumption"),
    }
    ours = fit_pooled(hits, np.full(18, 45.0), **fixed).mean()
    assert ours[[0, 1, 2, -2, -1]] == pytest.approx([0.294, 0.289, 0.284, 0.247, 0.242], abs=1e-3)
    ratio = ((hits / 45 - later) ** 2).sum() / ((ours - later) ** 2).sum()
    assert ratio == pytest.approx(3.53, abs=0.03)


def test_posterior_worked_by_hand():
    """Region 0.2 worth 10 boats; 3 of 5 found: (2 + 3) / (10 + 5)."""
    share = Assumption("s", 0.2, 0.2, 0.2, "share", "share", "", "", "assumption")
    ten = Assumption("p", 10.0, 10.0, 10.0, "boats", "log", "", "", "assumption")
    pooled = fit_pooled([3, 0], [5, 0], share=share, precision=ten)
    assert pooled.mean() == pytest.approx([1 / 3, 0.2], abs=2e-3)
    low, high = pooled.interval()
    assert low[1] == pytest.approx(beta_distribution.ppf(0.05, 2, 8), abs=3e-3)
    assert high[1] == pytest.approx(beta_distribution.ppf(0.95, 2, 8), abs=3e-3)


def test_not_checked_is_left_out():
    rows = [("V0", "retrieving", answer) for answer in (True, False, None, None, None, None)]
    gaps = fit(rows)
    assert gaps.table.loc[("A0", "retrieving", "plug"), ["checked", "found"]].tolist() == [2, 1]
    assert gaps.table.loc[("A0", "launching", "plug"), "checked"] == 0
    checked = fit([(v, d, a is True) for v, d, a in rows])
    key = ("A0", "retrieving", "plug")
    assert checked.table.loc[key, "rate"] < gaps.table.loc[key, "rate"]


def test_no_contacts_gives_the_assumed_rates():
    gaps = fit([], landings=1)
    for gap in GAPS:
        row = gaps.table.loc[("A0", "launching", gap)]
        assert row["rate"] == pytest.approx(DEFAULT[f"gap_{gap}"], rel=1e-9)
        entry = DEFAULT.entries[f"gap_{gap}"]
        assert row["low"] < entry.low < entry.value < entry.high * 1.3
        assert row["high"] > entry.value
    assert gaps.education_ratio == pytest.approx(DEFAULT["education_check_together"], abs=1e-6)
    assert gaps.ballast == pytest.approx([0.05])
    assert gaps.draw(np.random.default_rng(0)).shape == (2, 5, 1)


def test_a_landing_without_contacts_takes_the_pooled_rate_with_a_wider_interval():
    rows = [(f"V{v}", "retrieving", i < 20) for v in (0, 1) for i in range(60)]
    table = fit(rows).table.xs(("retrieving", "plug"), level=("direction", "gap"))
    assert table["rate"].iloc[2] == pytest.approx(table["pooled"].iloc[2])
    width = table["high"] - table["low"]
    assert width.iloc[2] > 2 * width.iloc[0]
    assert 0.2 < table["pooled"].iloc[2] < 1 / 3


def test_arrays_follow_the_table():
    contacts, visits, landings, _ = world(1)
    gaps = fit_gaps(contacts, visits, landings, assumptions=DEFAULT)
    table = gaps.table["rate"].to_numpy().reshape(len(landings), 2, 5)
    assert gaps.mean() == pytest.approx(np.moveaxis(table, 0, 2))
    rng = np.random.default_rng(4)
    draws = np.array([gaps.draw(rng) for _ in range(1500)])
    assert draws.min() > 0
    assert draws.max() < 1
    low = np.quantile(draws, 0.05, axis=0)
    ours = np.moveaxis(gaps.table["low"].to_numpy().reshape(len(landings), 2, 5), 0, 2)
    assert np.abs(low - ours).max() < 0.03


def test_order_and_names_do_not_matter():
    contacts, visits, landings, _ = world(2)
    contacts["craft"] = np.where(np.arange(len(contacts)) % 3, "motor", "paddle")
    rng = np.random.default_rng(0)
    first = fit_gaps(contacts, visits, landings, assumptions=DEFAULT)
    again = fit_gaps(
        contacts.iloc[rng.permutation(len(contacts))],
        visits.iloc[rng.permutation(len(visits))],
        landings.iloc[rng.permutation(len(landings))],
        assumptions=DEFAULT,
    )
    pd.testing.assert_frame_equal(again.table.loc[first.table.index], first.table, rtol=1e-6)
    renamed = fit_gaps(
        contacts,
        visits.assign(landing_id="x" + visits["landing_id"]),
        landings.rename(index=lambda name: "x" + name),
        assumptions=DEFAULT,
    )
    assert renamed.table.to_numpy(float) == pytest.approx(first.table.to_numpy(float))


def test_kinds_of_boat_move_the_pooled_rate_only_with_30_checked_each():
    craft = ["paddle"] * 28 + ["motor"] * 12
    rows = [("V0", "retrieving", i % 14 == 0) for i in range(28)]
    rows += [("V0", "retrieving", True)] * 12
    few = fit(rows, craft=craft).table["pooled"].xs(("retrieving", "plug"), level=(1, 2))
    assert few.to_numpy() == pytest.approx(few.iloc[0])
    # Twice as many motor boats at A1, all with the gap; A2 has the region's mix.
    rows += [("V1", "retrieving", True)] * 40 + [("V1", "retrieving", False)] * 5
    craft += ["motor"] * 40 + ["paddle"] * 5
    many = fit(rows, craft=craft).table["pooled"].xs(("retrieving", "plug"), level=(1, 2))
    assert many["A0"] < many["A2"] < many["A1"]


def test_ballast_boats_are_counted_among_known_kinds():
    rows = [("V0", "launching", None)] * 40
    craft = ["ballast"] * 20 + ["motor"] * 10 + ["unknown"] * 10
    gaps = fit(rows, craft=craft)
    assert gaps.ballast[0] > 0.35
    assert gaps.ballast[0] > gaps.ballast[2] > 0.05
    assert gaps.draw_ballast(np.random.default_rng(0)).shape == (3,)


def test_education_is_learned_from_boats_with_a_gap_only():
    corrected = [True] * 30 + [False] * 10 + [True] * 50 + [None] * 10
    rows = [("V0", "launching", i < 40 or i >= 90) for i in range(100)]
    gaps = fit(rows, corrected=pd.array(corrected, dtype="boolean"))
    alpha, beta = beta_from_range(DEFAULT.entries["education_check_together"])
    assert gaps.education_counts == (10, 30)
    # One landing only: the design effect stays at its start, 1.2.
    assert gaps.education == pytest.approx((alpha + 10 / 1.2, beta + 30 / 1.2))
    assert gaps.education_ratio < 0.48
    assert 0 < gaps.draw_education(np.random.default_rng(0)) < 1
    talk = fit([], education="talk only")
    assert talk.education_ratio == pytest.approx(0.75)


def test_boats_corrected_all_or_none_by_landing_count_for_fewer():
    rows = [(f"V{v}", "launching", True) for v in range(10) for _ in range(20)]
    split = [v % 2 == 0 for v in range(10) for _ in range(20)]
    even = [i % 2 == 0 for _ in range(10) for i in range(20)]
    counts = [
        sum(fit(rows, landings=10, corrected=pd.array(c, dtype="boolean")).education)
        for c in (split, even)
    ]
    assert counts[0] < 0.3 * counts[1]


def test_design_effect_by_hand():
    """Visits 10/0 and 0/10 at one landing: Pearson 20 on 1 df, with 10 visits of 1.2."""
    counts = np.array([[10.0, 0], [0, 10]])
    assert design_effect(counts, np.array([0, 0])) == pytest.approx((20 + 12) / 11)
    # Two landings of one visit each have no visits to compare.
    assert design_effect(counts, np.array([0, 1])) == pytest.approx(1.2)


def test_a_stated_range_becomes_a_beta_as_wide():
    for name in ("refusal", "gap_plug", "education_talk_only", "occupancy"):
        entry = DEFAULT.entries[name]
        alpha, beta = beta_from_range(entry)
        low, high = beta_interval(alpha, beta)
        assert alpha / (alpha + beta) == pytest.approx(entry.value)
        assert high - low == pytest.approx(entry.high - entry.low, rel=0.01)
    narrow = DEFAULT.with_changes({"refusal": 0.1}).entries["refusal"]
    assert sum(beta_from_range(narrow)) == pytest.approx(1e6)


def test_moments_give_the_beta_back():
    alpha, beta = np.array([0.3, 2.0, 40.0]), np.array([4.0, 2.0, 7.0])
    mean = alpha / (alpha + beta)
    found = beta_from_moments(mean, mean * (1 - mean) / (alpha + beta + 1))
    assert found[0] == pytest.approx(alpha)
    assert found[1] == pytest.approx(beta)


def test_wrong_words_are_refused():
    with pytest.raises(ValueError, match="Invalid education 'shout'"):
        fit([], education="shout")
    with pytest.raises(ValueError, match="Invalid visit 'V9'"):
        fit([("V9", "launching", True)])
    with pytest.raises(ValueError, match="Invalid found"):
        fit_pooled([3], [2], **PRIOR)
    with pytest.raises(ValueError, match="Invalid level"):
        beta_interval(1, 1, level=1.0)


@pytest.mark.slow
@pytest.mark.parametrize("alike", [0.02, 0.15])
def test_90_percent_intervals_of_gap_rates_cover_the_truth(alike):
    """In 100 worlds with boats of one visit alike: 82% to 97% of landings, seen or not."""
    seen, unseen = [], []
    for seed in range(100):
        contacts, visits, landings, truth = world(seed, alike=alike)
        table = fit_gaps(contacts, visits, landings, assumptions=DEFAULT).table
        shape = len(landings), len(DIRECTIONS), len(GAPS)
        low, high = (np.moveaxis(table[c].to_numpy().reshape(shape), 0, 2) for c in ("low", "high"))
        held = (low < truth) & (truth < high)
        visited = landings.index.isin(visits["landing_id"])
        seen.append(held[:, :, visited].mean())
        unseen.append(held[:, :, ~visited].mean())
    assert 0.82 <= np.mean(seen) <= 0.97
    assert 0.82 <= np.mean(unseen) <= 0.97
