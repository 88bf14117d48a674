import numpy as np
import pandas as pd
import pytest
from scipy.special import beta
from scipy.stats import beta as beta_distribution

from spreadnet.assumptions import DEFAULT
from spreadnet.evidence.estimating.status import fit_status, surveys_for_detection
from spreadnet.evidence.statistics.intervals import beta_from_range

LAKES = pd.DataFrame(index=["L0", "L1", "L2", "L3"])
FIXED = DEFAULT.with_changes({"occupancy": 0.2, "found_anyway": 0.0})
SILENT = DEFAULT.with_changes({"found_anyway": 0.0})  # nobody reports but surveyors


def fit(rows, lakes=LAKES, detection=0.4, assumptions=DEFAULT, species="mussel"):
    """Rows of lake, species, status, first found, surveys."""
    names = ["lake_id", "species", "status", "first_found", "surveys"]
    table = pd.DataFrame(rows, columns=names, dtype=object)
    table["surveys"] = pd.array(list(table["surveys"]), dtype="Int64")
    return fit_status(table, lakes, species, detection=detection, assumptions=assumptions)


def test_surveys_for_95_percent_detection():
    """29, 7, 4 and 2 surveys for 0.10, 0.38, 0.63 and 0.86 a survey: derived by hand."""
    assert [surveys_for_detection(p) for p in (0.10, 0.38, 0.63, 0.86)] == [29, 7, 4, 2]
    # 1 - 0.37^3 = 0.949: three are not quite enough.
    assert surveys_for_detection(0.63, 0.949) == 3
    assert surveys_for_detection(1.0) == 1
    assert surveys_for_detection(0.5, 0.75) == 2


def test_chance_after_surveys_worked_by_hand():
    """Occupancy 0.2, detection 0.4, two surveys: 0.2 x 0.36 / (0.2 x 0.36 + 0.8) = 0.0826."""
    status = fit(
        [
            ("L0", "mussel", "present", "2021", None),
            ("L1", "mussel", "absent", None, 2),
            ("L2", "mussel", "unknown", None, None),
        ],
        assumptions=FIXED,
    )
    assert status.probability == pytest.approx([1, 0.072 / 0.872, 0.2, 0.2], rel=1e-4)
    assert status.words.tolist() == [
        "infested",
        "looked for, not found",
        "not surveyed",
        "not surveyed",
    ]
    assert status.known.tolist() == [True, False, False, False]
    assert status.first_found[0] == 2021
    assert np.isnan(status.first_found[1:]).all()


def test_lakes_that_the_public_would_have_told_of_worked_by_hand():
    """
    Occupancy 0.2, told of by 0.6, detection 0.4.

    Two surveys: 0.2 x 0.4 x 0.36 / (0.0288 + 0.8) = 0.0347; none: 0.08 / (0.08 + 0.8) = 0.0909.
    """
    status = fit(
        [("L0", "mussel", "present", "2021", None), ("L1", "mussel", "absent", None, 2)],
        assumptions=DEFAULT.with_changes({"occupancy": 0.2, "found_anyway": 0.6}),
    )
    assert status.probability == pytest.approx(
        [1, 0.0288 / 0.8288, 0.08 / 0.88, 0.08 / 0.88], rel=1e-4
    )
    watched = status.watched(detection=0.4, found_anyway=0.6)
    assert watched == pytest.approx([0.6, 1 - 0.4 * 0.36, 0.6, 0.6])


def test_occupancy_of_two_lakes_worked_by_hand():
    """
    One lake found, one not looked at, half of all finds told, prior beta(a, b) of the occupancy.

    Density pi^a (1 - pi)^(b - 1) (1 - pi / 2): E(pi) from three beta functions.
    """
    a, b = beta_from_range(DEFAULT.entries["occupancy"])
    status = fit([("L0", "mussel", "present", None, None)], lakes=LAKES.iloc[:2])

    def moment(k):
        return beta(a + 1 + k, b) - beta(a + 2 + k, b) / 2

    assert status.occupancy == pytest.approx(moment(1) / moment(0), rel=1e-6)
    # The chance that the other lake holds it is (pi / 2) / (1 - pi / 2), averaged over pi.
    assert status.probability[1] == pytest.approx(beta(a + 2, b) / 2 / moment(0), rel=1e-6)


def test_surveys_left_out_count_one_when_absent_and_none_when_unknown():
    blank = fit([("L0", "mussel", "absent", None, None), ("L1", "mussel", "unknown", None, None)])
    given = fit([("L0", "mussel", "absent", None, 1), ("L1", "mussel", "unknown", None, 0)])
    assert blank.probability == pytest.approx(given.probability)
    assert blank.surveys.tolist() == [1, 0, 0, 0]


def test_unknown_with_surveys_counts_as_looked_for():
    unknown = fit([("L0", "mussel", "unknown", None, 3)])
    absent = fit([("L0", "mussel", "absent", None, 3)])
    assert unknown.probability == pytest.approx(absent.probability)
    assert unknown.words[0] == "looked for, not found"


def test_no_rows_keep_the_assumed_occupancy_where_nobody_would_tell():
    status = fit([], lakes=LAKES.iloc[:1], assumptions=SILENT)
    assert status.occupancy == pytest.approx(0.10, rel=1e-5)
    assert status.probability == pytest.approx([0.10])
    assert status.words.tolist() == ["not surveyed"]


def test_other_species_do_not_count():
    status = fit([("L0", "plant", "present", None, None)], assumptions=SILENT)
    assert status.probability == pytest.approx(np.full(4, 0.10), rel=1e-5)
    assert status.words.tolist() == ["not surveyed"] * 4


def test_lakes_without_a_find_are_less_likely_to_hold_it_the_more_people_tell():
    chances = [
        fit([], assumptions=DEFAULT.with_changes({"found_anyway": p})).probability[0]
        for p in (0.0, 0.5, 0.9, 1.0)
    ]
    assert (np.diff(chances) < 0).all()
    assert chances[-1] == 0


def test_perfect_detection_counts_lakes():
    """Beta prior plus 1 found and 2 searched in vain: an exact conjugate update."""
    rows = [("L0", "mussel", "present", None, None)]
    rows += [(f"L{i}", "mussel", "absent", None, 1) for i in (1, 2)]
    yes, no = beta_from_range(DEFAULT.entries["occupancy"])
    status = fit(rows, detection=1.0, assumptions=SILENT)
    assert status.occupancy == pytest.approx((yes + 1) / (yes + no + 3), rel=1e-6)
    assert status.probability[1] == 0
    ends = beta_distribution.ppf([0.05, 0.95], yes + 1, no + 2)
    assert (status.occupancy_low, status.occupancy_high) == pytest.approx(ends, rel=1e-3)


def test_occupancy_is_above_the_naive_share_when_surveys_miss():
    """400 invented lakes, 30% infested, two surveys that find it half the time."""
    rng = np.random.default_rng(1)
    lakes = pd.DataFrame(index=[f"L{i}" for i in range(400)])
    there = rng.random(400) < 0.3
    found = there & (rng.random(400) < 0.75)
    rows = [
        (lake, "mussel", "present" if f else "absent", None, 2)
        for lake, f in zip(lakes.index, found, strict=True)
    ]
    status = fit(rows, lakes=lakes, detection=0.5, assumptions=SILENT)
    assert found.mean() < 0.25
    assert status.occupancy == pytest.approx(0.3, abs=0.05)
    missed = there[~found].mean()
    assert status.probability[~found].mean() == pytest.approx(missed, abs=0.04)


def test_more_surveys_never_raise_the_chance():
    rows = [(f"L{i}", "mussel", "absent", None, n) for i, n in enumerate((1, 2, 5, 20))]
    assert (np.diff(fit(rows).probability) < 0).all()


def test_draws_keep_known_lakes_and_average_to_the_chance():
    rows = [("L0", "mussel", "present", None, None), ("L1", "mussel", "absent", None, 1)]
    status = fit(rows)
    rng = np.random.default_rng(0)
    chances = {"detection": 0.4, "found_anyway": 0.5}
    draws = np.array([status.draw(rng, **chances) for _ in range(4000)])
    assert set(np.unique(draws)) == {0.0, 1.0}
    assert (draws[:, 0] == 1).all()
    assert draws.mean(axis=0) == pytest.approx(status.probability, abs=0.015)


def test_a_likelier_lake_is_never_drawn_free_where_a_less_likely_state_has_it():
    """The same stream gives each lake the same number, so states are nested."""
    low, high = (fit([], assumptions=DEFAULT.with_changes({"occupancy": p})) for p in (0.1, 0.6))
    for seed in range(50):
        states = [
            s.draw(np.random.default_rng(seed), detection=0.4, found_anyway=0.5)
            for s in (low, high)
        ]
        assert (states[0] <= states[1]).all()
        told = [
            low.draw(np.random.default_rng(seed), detection=0.4, found_anyway=p) for p in (0.9, 0)
        ]
        assert (told[0] <= told[1]).all()


@pytest.mark.slow
def test_draws_learn_the_occupancy_anew_for_the_chances_drawn():
    rows = [(f"L{i}", "mussel", "absent", None, 3) for i in range(4)]
    status = fit(rows)
    for detection, anyway in ((0.1, 0.2), (0.6, 0.8)):
        changed = DEFAULT.with_changes({"found_anyway": anyway})
        wanted = fit(rows, detection=detection, assumptions=changed).probability
        rng = np.random.default_rng(1)
        draws = [status.draw(rng, detection=detection, found_anyway=anyway) for _ in range(4000)]
        assert np.mean(draws, axis=0) == pytest.approx(wanted, abs=0.015)


def region(rng, count=150, occupancy=0.25, detection=0.4, anyway=0.5):
    """Invented lakes: half surveyed one to four times, and the public tells of half of all."""
    there = rng.random(count) < occupancy
    surveys = np.where(rng.random(count) < 0.5, rng.integers(1, 5, count), 0)
    known = rng.random(count) < 1 - (1 - anyway) * (1 - detection) ** surveys
    rows = [
        (f"L{i}", "mussel", "present" if f else "absent" if n else "unknown", None, int(n))
        for i, (f, n) in enumerate(zip(there & known, surveys, strict=True))
    ]
    return there, fit(rows, lakes=pd.DataFrame(index=[f"L{i}" for i in range(count)]))


@pytest.mark.slow
def test_hidden_lakes_are_as_many_as_expected_over_many_regions():
    """100 regions, a quarter of lakes infested; hidden ones within a few percent."""
    rng = np.random.default_rng(5)
    hidden, expected, held, told = 0, 0.0, [], []
    for _ in range(100):
        there, status = region(rng)
        hidden += int((there & ~status.known).sum())
        expected += float(status.probability[~status.known].sum())
        held.append(status.occupancy_low < 0.25 < status.occupancy_high)
        told.append(status.occupancy)
    assert expected == pytest.approx(hidden, rel=0.06)
    assert np.mean(told) == pytest.approx(0.25, abs=0.015)
    assert 0.82 <= np.mean(held) <= 0.97


@pytest.mark.slow
def test_intervals_of_the_number_hidden_hold_it():
    """Regions with occupancy and chances from their ranges, and draws from them: 85% to 97%."""
    rng, held = np.random.default_rng(6), []
    prior = beta_from_range(DEFAULT.entries["occupancy"])
    for _ in range(100):
        anyway = DEFAULT.entries["found_anyway"].at(rng.standard_normal())
        there, status = region(rng, anyway=anyway, occupancy=rng.beta(*prior))
        drawn = []
        for _ in range(100):
            chance = DEFAULT.entries["found_anyway"].at(rng.standard_normal())
            drawn.append(status.draw(rng, detection=0.4, found_anyway=chance).sum())
        low, high = np.quantile(drawn, [0.05, 0.95])
        held.append(low <= there.sum() <= high)
    assert 0.85 <= np.mean(held) <= 0.97


def test_first_finds_as_dates_numbers_or_text():
    rows = [("L0", "mussel", "present", None, None), ("L1", "mussel", "present", None, None)]
    names = ["lake_id", "species", "status", "first_found", "surveys"]
    base = pd.DataFrame(rows, columns=names)
    base["surveys"] = pd.array([None, None], dtype="Int64")
    for years in (
        pd.to_datetime(pd.Series(["2019-06-01", None])),
        pd.Series([2019, None], dtype="Int64"),
        pd.Series([2019.0, np.nan]),
        pd.Series(["2019-06-01", None], dtype="str"),
    ):
        table = base.assign(first_found=years)
        status = fit_status(table, LAKES, "mussel", detection=0.4, assumptions=DEFAULT)
        assert status.first_found[0] == 2019
        assert np.isnan(status.first_found[1])


def test_order_does_not_matter():
    rows = [("L0", "mussel", "present", "2020", None), ("L1", "mussel", "absent", None, 3)]
    one, two = fit(rows), fit(rows[::-1], lakes=LAKES.iloc[::-1])
    assert one.probability == pytest.approx(two.probability[::-1])


def test_wrong_arguments_are_refused():
    with pytest.raises(ValueError, match="Invalid detection '1.5'"):
        fit([], detection=1.5)
    with pytest.raises(ValueError, match="Invalid lake 'L9'"):
        fit([("L9", "mussel", "present", None, None)])
    with pytest.raises(ValueError, match="Invalid detection '0'"):
        surveys_for_detection(0)
    with pytest.raises(ValueError, match="Invalid target '1'"):
        surveys_for_detection(0.5, 1)
