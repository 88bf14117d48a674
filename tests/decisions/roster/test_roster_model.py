"""The roster model: no worse than the search before it, in windows, by hand, the same each run."""

import hashlib
import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from test_roster import FIRST, LABELS, check_rules, every_day, landings, needs, offers, rules

from spreadnet.decisions.roster import windows as roster_windows
from spreadnet.decisions.roster.roster import make_roster
from spreadnet.decisions.roster.rows import Program

BENCHMARK = Path(__file__).parents[2] / "benchmarks" / "roster.py"
QUICK = (0, 5, 6, 7, 8, 11, 12, 13, 14, 16, 46, 105)  # both crews; open ones in 5, 11 and 46


@pytest.fixture(scope="module")
def made():
    """The benchmark's made seasons and frozen figures."""
    spec = importlib.util.spec_from_file_location("benchmark_roster", BENCHMARK)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def plan(given, **changed):
    """The roster of a made season."""
    given = given | changed
    return make_roster(given["needs"], **{k: v for k, v in given.items() if k != "needs"})


# ---- against the search by exchanges that stood before


def test_made_seasons_are_filled_as_before_more_even_and_with_shorter_ways(made):
    before, ways, even, spread = made.frozen(), [], [], []
    for seed in QUICK:
        given = made.made_season(seed)
        roster, found, _ = made.measured(given)
        check_rules(roster, given["rules"], given["people"])
        assert made.compared(found, before[seed]) == [], seed
        if found["places"] == before[seed]["places"]:
            ways.append(found["km"] / before[seed]["km"])
        even.append(found["days_from_even"])
        spread.append(found["largest_share"] - found["smallest_share"])
    assert len(ways) >= 8
    assert np.mean(ways) <= 0.7
    assert np.mean(even) <= np.mean([before[seed]["days_from_even"] for seed in QUICK])
    assert np.mean(spread) <= 0.16


@pytest.mark.parametrize("hours", [260, 320, 400])
def test_the_demo_is_filled_fair_and_near(made, hours):
    most, share, km = made.DEMO_BARS[hours]
    _, found, _ = made.measured(made.demo_season(hours))
    assert found["undated"] == 0
    assert found["open"] <= most
    assert found["largest_share"] <= share
    assert found["km"] <= km


# ---- windows


@pytest.mark.parametrize("seed", [7, 8, 46])
def test_windows_keep_the_rules_and_an_earlier_roster(made, monkeypatch, seed):
    given = made.made_season(seed)
    whole = plan(given)
    monkeypatch.setattr(roster_windows, "MOST_COLUMNS", 300)
    monkeypatch.setattr(roster_windows, "MOST_EXACT", 0)  # crews of several people, roughly
    one = plan(given)
    check_rules(one, given["rules"], given["people"])
    lacking = [(r.shifts["status"] == "open").sum() for r in (whole, one)]
    assert lacking[1] <= lacking[0] + 1
    assert len(one.shifts) == len(whole.shifts)
    columns = ["uid", "date", "start", "people", "status", "sequence"]
    again = plan(given, previous=one.shifts)
    pd.testing.assert_frame_equal(again.shifts[columns], one.shifts[columns])
    out = one.by_person["shifts"].idxmax()
    people = given["people"][given["people"]["code"] != out]
    two = plan(given, previous=one.shifts, people=people)
    check_rules(two, given["rules"], people)
    stay = (one.shifts["status"] == "planned") & ~one.shifts["people"].str.contains(out)
    kept = two.shifts[two.shifts["uid"].isin(one.shifts.loc[stay, "uid"])]
    pd.testing.assert_frame_equal(
        kept[columns].reset_index(drop=True), one.shifts.loc[stay, columns].reset_index(drop=True)
    )


@pytest.mark.parametrize("crew", [1, 2])
def test_a_second_sweep_fills_what_the_first_left_open(monkeypatch, crew):
    """Who comes in one week only goes to a shift that the weeks by landings had put elsewhere."""
    monkeypatch.setattr(roster_windows, "MOST_COLUMNS", 1)
    people = offers(
        [
            (f"P{k}", FIRST + pd.Timedelta(days=day), LABELS[0], 4.0, "A0", None)
            for k in range(crew)
            for day in (35, 36)  # the last weekend
        ]
    )
    table = needs(("A0", "weekend", LABELS[0], 2))
    given = {"rules": rules(crew=crew), "landings": landings(), "people": people}
    assert (make_roster(table, **given).shifts["status"] == "planned").all()
    monkeypatch.setattr(roster_windows, "SWEEPS", 1)
    monkeypatch.setattr(roster_windows, "MOST_ELSEWHERE", 0)
    assert (make_roster(table, **given).shifts["status"] == "open").any()


# ---- where nothing is found


def test_weeks_without_an_answer_are_filled_by_hand_and_named(made, monkeypatch):
    given = made.made_season(7)
    monkeypatch.setattr(roster_windows, "solve_window", lambda *_: None)
    roster = plan(given)
    check_rules(roster, given["rules"], given["people"])
    assert len(roster.shifts) == 62
    assert (roster.shifts["status"] == "open").sum() <= 2
    (note,) = [note for note in roster.notes if note.code == "weeks-by-hand"]
    assert note.text.startswith("For the weeks from 2027-04-26, 2027-05-03")  # Mondays


def test_where_the_season_gives_no_answer_its_halves_are_tried(made, monkeypatch):
    given, solve, sizes = made.made_season(7), roster_windows.solve_window, []

    def only_short(book, window):
        sizes.append(len(window.weeks))
        return solve(book, window) if len(window.weeks) <= 3 else None

    monkeypatch.setattr(roster_windows, "solve_window", only_short)
    roster = plan(given)
    check_rules(roster, given["rules"], given["people"])
    assert max(sizes) > 3 >= min(sizes)
    assert "weeks-by-hand" not in [note.code for note in roster.notes]
    assert (roster.shifts["status"] == "open").sum() <= 2


# ---- ways


def test_open_shifts_that_only_farther_people_could_fill_are_told():
    people = offers(every_day("P1", home="A3", km=20.0))
    table = needs(("A0", "weekend", LABELS[0], 2), ("A2", "weekend", LABELS[0], 1))
    given = {"rules": rules(), "landings": landings()}
    roster = make_roster(table, people=people, **given)
    (note,) = [note for note in roster.notes if note.code == "people-too-far"]
    assert note.text.startswith("For 2 of these people are free who live farther")
    assert "(60 km where hours.csv says nothing)" in note.text
    nobody = people[people["date"].dt.day_of_week < 5]
    codes = [note.code for note in make_roster(table, people=nobody, **given).notes]
    assert "shifts-lacking-people" in codes
    assert "people-too-far" not in codes


# ---- programs


def test_limits_bind_by_the_bounds_of_columns_not_by_their_number():
    program = Program()
    columns = program.add(2, most=[3.0, 1.0], whole=True)
    program.at_most(np.array([0, 1]), columns, np.array([2.0, 1.0]))
    assert program.rows == 1  # the second can't pass its limit
    found = program.solve(-np.ones(2), least=np.zeros(2), most=np.concatenate(program.most))
    assert found.tolist() == [2.0, 1.0]


def test_columns_left_to_luck_are_whole_all_the_same():
    """Any two of three exclude each other: halves of all would be worth more than one whole."""
    program = Program()
    columns = program.add(3, whole=True)
    for pair in ([0, 1], [1, 2], [0, 2]):
        program.at_most(np.zeros(2, int), columns[pair], 1.0)
    bounds = {"least": np.zeros(3), "most": np.ones(3)}
    found = program.solve(-np.array([1.0, 1.1, 1.2]), loose=columns, **bounds)
    assert found.tolist() == [0.0, 0.0, 1.0]


# ---- the same each run

SCRIPT = """
import hashlib, importlib.util, os, sys
if sys.argv[2] == "one" and hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
spec = importlib.util.spec_from_file_location("benchmark_roster", sys.argv[1])
module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
for seed in (5, 7):
    roster, _, _ = module.measured(module.made_season(seed))
    print(hashlib.sha256(roster.shifts.to_csv().encode()).hexdigest())
"""


@pytest.mark.slow
def test_hash_seeds_and_cores_do_not_matter(made):
    told = set()
    for hash_seed, cores in (("1", "one"), ("2", "all")):
        done = subprocess.run(
            [sys.executable, "-c", SCRIPT, str(BENCHMARK), cores],
            env={**os.environ, "PYTHONHASHSEED": hash_seed},
            capture_output=True,
            text=True,
            check=True,
        )
        told.add(done.stdout)
    assert len(told) == 1
    given = made.made_season(7)
    mixed = {
        name: value.sample(frac=1, random_state=3) if isinstance(value, pd.DataFrame) else value
        for name, value in given.items()
    }
    text = plan(mixed).shifts.to_csv()
    assert hashlib.sha256(text.encode()).hexdigest() == told.pop().split()[1]
