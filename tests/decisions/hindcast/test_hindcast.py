"""Foretelling finds from what was known before: no leak, fair rules, scores as published."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import brier_score_loss, roc_auc_score

import spreadnet
from spreadnet.chain import hindcast
from spreadnet.decisions.hindcast.foretell import (
    PREDICTORS,
    _found_chance,
)
from spreadnet.decisions.hindcast.past import past_region
from spreadnet.decisions.hindcast.scores import auc, brier, groups, hits
from spreadnet.errors import ModelError
from spreadnet.words.hindcast import hindcast_words

YEAR = 2016


@pytest.fixture(scope="module")
def result(demo_region):
    return hindcast(demo_region, from_year=YEAR, draws=10)


def status_with(region, change):
    status = region.status.copy()
    change(status)
    return replace(region, status=status)


def test_scores_are_those_of_scikit_learn():
    rng = np.random.default_rng(1)
    for _ in range(20):
        found = rng.random(60) < 0.3
        chance = np.round(np.clip(0.3 * found + rng.random(60), 0, 1), 1)  # with ties
        assert auc(chance, found)[0] == pytest.approx(roc_auc_score(found, chance))
        assert brier(chance, found) == pytest.approx(brier_score_loss(found, chance))


def test_the_interval_of_the_auc_covers():
    """90% intervals by Hanley & McNeil (1982) over 400 samples of two normals one sd apart."""
    rng = np.random.default_rng(2)
    truth = 0.7602  # Phi(1 / sqrt 2)
    covered = []
    for _ in range(400):
        found = np.arange(80) < 20
        _, low, high = auc(rng.standard_normal(80) + found, found)
        covered.append(low <= truth <= high)
    assert 0.85 <= np.mean(covered) <= 0.95


def test_all_or_none_found_has_no_auc():
    assert np.isnan(auc(np.array([0.1, 0.2]), np.array([False, False]))).all()
    assert np.isnan(auc(np.array([0.1, 0.2]), np.array([True, True]))).all()


def test_hits_share_ties_as_chance_would():
    chance = np.array([0.9, 0.5, 0.5, 0.5, 0.5, 0.5, 0.1])
    found = np.array([True, True, True, False, False, False, True])
    assert hits(chance, found)[5] == pytest.approx(1 + 2 * 4 / 5)
    assert hits(chance, found)[10] == pytest.approx(4)
    assert hits(np.zeros(0), np.zeros(0, bool))[5] == 0


def test_groups_hold_every_lake_once():
    rng = np.random.default_rng(3)
    chance = np.concatenate([[0.0, 1.0, 0.02, 0.5], rng.random(200) ** 3])
    found = rng.random(204) < chance
    table = groups(chance, found)
    assert table["lakes"].sum() == 204
    assert table["found"].sum() == found.sum()
    assert table["expected"].sum() == pytest.approx(chance.sum())
    assert ((table["from"] <= table["foretold"]) & (table["foretold"] <= table["to"])).all()
    assert ((table["low"] <= table["share"]) & (table["share"] <= table["high"])).all()


def test_the_chance_of_a_find_is_that_of_every_history():
    """Two years: infested in the first or second, found in the year or the next."""
    h1, h2, known, q = 0.3, 0.2, 0.6, 0.4
    hazards = np.array([[0.0], [h1], [h1 + h2]])
    first = 1 - np.exp(-h1)
    second = np.exp(-h1) * (1 - np.exp(-h2))
    by_hand = known * (first * (q + (1 - q) * q) + second * q)
    found = _found_chance(hazards, np.zeros(1), np.array([known]), q)
    assert found == pytest.approx(by_hand)
    nobody_looks = _found_chance(hazards, np.ones(1), np.zeros(1), q)
    assert nobody_looks == pytest.approx(0)


def test_nothing_learned_later_changes_what_is_foretold(demo_region, result):
    """Other finds, other years, other surveys from the year on: the same chances to the bit."""

    def change(status):
        found = pd.to_datetime(status["first_found"]).dt.year
        later = ((status["status"] == "present") & (found >= YEAR)).to_numpy()
        rows = np.flatnonzero(later)
        status.iloc[rows[::2], status.columns.get_loc("status")] = "absent"
        status.iloc[rows[::2], status.columns.get_loc("first_found")] = pd.NaT
        status.iloc[rows[::2], status.columns.get_loc("surveys")] = 9
        status.iloc[rows[::2], status.columns.get_loc("last_survey")] = pd.Timestamp("2026-08-01")
        status.iloc[rows[1::2], status.columns.get_loc("first_found")] = pd.Timestamp("2025-07-01")

    other = hindcast(status_with(demo_region, change), from_year=YEAR, draws=10)
    one, two = (
        table.lakes.set_index(["species", "lake_id"])["chance"] for table in (result, other)
    )
    shared = one.index.intersection(two.index)
    assert len(shared) == len(one)
    assert (one[shared] == two[shared]).all()
    assert other.finds["since"].sum() < result.finds["since"].sum()


@pytest.mark.parametrize("year", [2016, 2020, 2024])
def test_no_row_written_later_changes_what_is_foretold(demo_region, year):
    """
    Every row but those of finds before the year is written anew at random: the same to the bit.

    A number of surveys that lies before the year counts as later too: a row keeps it only while
    nothing is found, so keeping it would tell which lakes stayed free.
    """
    rng = np.random.default_rng(year)

    def change(status):
        found = pd.to_datetime(status["first_found"]).dt.year
        later = status.index[~((status["status"] == "present") & (found < year)).to_numpy()]
        words = rng.choice(["present", "absent", "unknown"], len(later))
        status.loc[later, "status"] = words
        days = [
            pd.Timestamp(year=int(y), month=7, day=1) if word == "present" else pd.NaT
            for y, word in zip(rng.integers(year, 2027, len(later)), words, strict=True)
        ]
        status.loc[later, "first_found"] = days
        status.loc[later, "surveys"] = rng.integers(0, 9, len(later))
        looked = [pd.Timestamp(year=int(y), month=8, day=1) for y in rng.integers(2005, 2027, 999)]
        status.loc[later, "last_survey"] = looked[: len(later)]

    one = hindcast(demo_region, from_year=year, draws=3)
    two = hindcast(status_with(demo_region, change), from_year=year, draws=3)
    told, other = (t.lakes.set_index(["species", "lake_id"])["chance"] for t in (one, two))
    shared = told.index.intersection(other.index)
    assert len(shared) > 70
    assert (told[shared] == other[shared]).all()
    assert not one.lakes["found"].equals(two.lakes["found"])


def test_the_past_knows_no_later_find_nor_survey(demo_region):
    past = past_region(demo_region, from_year=YEAR).status
    known = past[past["status"] == "present"]
    assert len(known) > 3
    assert (pd.to_datetime(known["first_found"]).dt.year < YEAR).all()
    rest = past[past["status"] != "present"]
    assert (rest["status"] == "unknown").all()
    assert (rest["surveys"] == 0).all()
    assert past["last_survey"].isna().all()
    assert (past.dtypes == demo_region.status.dtypes).all()


def test_visits_made_later_can_be_left_out(demo_region):
    """Of the demo's two years of visits, one or both: told how many are left, and no crash."""
    dropped = past_region(demo_region, from_year=2026, drop_later_visits=True)
    assert (dropped.visits["date"].dt.year < 2026).all()
    assert 0 < len(dropped.visits) < len(demo_region.visits)
    assert dropped.contacts["visit_id"].isin(dropped.visits.index).all()
    without = hindcast(demo_region, from_year=YEAR, draws=2, drop_later_visits=True)
    assert f"leaves 0 of {len(demo_region.visits)} visits" in without.notes[-1].text
    assert without.lakes["chance"].between(0, 1).all()
    kept = hindcast(demo_region, from_year=2026, draws=2).notes[-1].text
    assert f"{len(demo_region.visits) - len(dropped.visits)} of" in kept


def test_the_result_names_every_predictor_and_lake(demo_region, result):
    assert list(result.scores.loc["dreissenid_mussel"].index) == list(PREDICTORS)
    for name, row in result.finds.iterrows():
        lakes = result.lakes[result.lakes["species"] == name]
        assert len(lakes) == row["lakes"] < len(demo_region.lakes)
        assert lakes["found"].sum() == row["since"] == lakes["year"].notna().sum()
        assert lakes["chance"].between(0, 1).all()
        assert (lakes["year"].dropna() >= YEAR).all()
    assert result.groups.loc["all", "lakes"].sum() == len(result.lakes)
    same = result.scores.xs("same for all", level="predictor")
    assert same["auc"].to_numpy() == pytest.approx(0.5)
    assert same["brier_skill"].to_numpy() == pytest.approx(0)


def test_few_finds_are_said_to_be_few(demo_region):
    late = hindcast(demo_region, from_year=2026, draws=2)
    text = hindcast_words(late)
    assert "too few finds to judge" in text or "nothing was found since" in text
    assert not late.finds["enough"].all()


def test_nothing_found_since_is_said(demo_region):
    def change(status):
        later = pd.to_datetime(status["first_found"]).dt.year >= 2022
        status.loc[later, "status"] = "absent"
        status.loc[later, "first_found"] = pd.NaT

    none = hindcast(status_with(demo_region, change), from_year=2022, draws=2)
    assert "nothing was found since" in hindcast_words(none)
    assert none.scores["auc"].isna().all()


@pytest.mark.parametrize("year", [1999, 2031])
def test_a_year_without_a_before_or_a_since_is_refused(demo_region, year):
    with pytest.raises(ModelError, match=f"can't be foretold from {year}"):
        hindcast(demo_region, from_year=year, draws=1)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        *[("from_year", value) for value in (2016.5, 2016.0, "2016", None, True)],
        *[("draws", value) for value in (0, -1, 1.5)],
        ("seed", -1),
    ],
)
def test_numbers_that_are_not_whole_are_refused(demo_region, name, value):
    with pytest.raises(ValueError, match=f"Invalid {name} '{value}'. It must be a whole number"):
        hindcast(demo_region, **{"from_year": 2016, "draws": 1, name: value})


def test_no_date_at_all_is_refused(demo_region):
    def change(status):
        status["first_found"] = pd.NaT

    with pytest.raises(ModelError, match="no find has a date"):
        hindcast(status_with(demo_region, change), from_year=2020, draws=1)


def test_the_same_seed_gives_the_same_chances(demo_region, result):
    again = spreadnet.hindcast(demo_region, from_year=YEAR, draws=10, workers=2)
    pd.testing.assert_frame_equal(again.lakes, result.lakes)
    one = spreadnet.hindcast(
        demo_region, from_year=YEAR, draws=2, species=["eurasian_watermilfoil"]
    )
    assert list(one.finds.index) == ["eurasian_watermilfoil"]
    assert "all" not in one.groups.index


@pytest.mark.slow
def test_on_made_regions_the_model_foretells_better_than_simple_rules(demo_maker, tmp_path):
    """Ten regions made from the model, two years each: means of species with enough finds."""
    rows = []
    for seed in range(40, 50):
        folder = tmp_path / str(seed)
        folder.mkdir()
        demo_maker.write_region(demo_maker.make_region(seed), folder)
        region = spreadnet.read_region(folder)
        for year in (2017, 2021):
            found = hindcast(region, from_year=year, draws=10)
            for name in found.finds.index[found.finds["enough"]]:
                told = found.finds.loc[name, ["expected", "since"]].astype(float)
                rows.append(found.scores.loc[name][["auc", "brier_skill"]].assign(**told))
    assert len(rows) >= 15
    mean = pd.concat(rows).groupby(level=0).mean()
    assert mean.loc["spreadnet", "auc"] > 0.7
    for rule in PREDICTORS[1:]:
        assert mean.loc["spreadnet", "auc"] > mean.loc[rule, "auc"] + 0.02
        assert mean.loc["spreadnet", "brier_skill"] > mean.loc[rule, "brier_skill"] + 0.02
    # Species with enough finds since are those of which more came, so expected is rather low.
    assert 0.7 < mean.loc["spreadnet", "expected"] / mean.loc["spreadnet", "since"] < 1.3
