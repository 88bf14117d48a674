import numpy as np
import pandas as pd
import pytest

from spreadnet.assumptions import DEFAULT
from spreadnet.evidence.intervals import beta_from_range
from spreadnet.evidence.status import fit_status, surveys_for_detection

LAKES = pd.DataFrame(index=["L0", "L1", "L2", "L3"])
FIXED = DEFAULT.with_changes({"occupancy": 0.2})


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


def test_no_rows_keep_the_assumed_occupancy():
    status = fit([], lakes=LAKES.iloc[:1])
    assert status.occupancy == pytest.approx(0.10)
    assert status.probability == pytest.approx([0.10])
    assert status.words.tolist() == ["not surveyed"]


def test_other_species_do_not_count():
    status = fit([("L0", "plant", "present", None, None)])
    assert status.probability == pytest.approx(np.full(4, 0.10))


def test_perfect_detection_counts_lakes():
    """Beta prior plus 1 found and 2 searched in vain: an exact conjugate update."""
    rows = [("L0", "mussel", "present", None, None)]
    rows += [(f"L{i}", "mussel", "absent", None, 1) for i in (1, 2)]
    alpha, beta = beta_from_range(DEFAULT.entries["occupancy"])
    status = fit(rows, detection=1.0)
    assert status.occupancy == pytest.approx((alpha + 1) / (alpha + beta + 3), rel=1e-6)
    assert status.probability[1] == 0


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
    status = fit(rows, lakes=lakes, detection=0.5)
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
    draws = np.array([status.draw(rng) for _ in range(8000)])
    assert set(np.unique(draws)) == {0.0, 1.0}
    assert (draws[:, 0] == 1).all()
    assert draws.mean(axis=0) == pytest.approx(status.probability, abs=0.015)


def test_a_likelier_lake_is_never_drawn_free_where_a_less_likely_state_has_it():
    """The same stream gives each lake the same number, so states are nested."""
    low, high = (fit([], assumptions=DEFAULT.with_changes({"occupancy": p})) for p in (0.1, 0.6))
    for seed in range(50):
        states = [s.draw(np.random.default_rng(seed)) for s in (low, high)]
        assert (states[0] <= states[1]).all()


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
