"""No new shift ends after dusk, and what people have accepted stays accepted while it stays."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from spreadnet.decisions.roster.axis import RosterRules
from spreadnet.decisions.roster.roster import make_roster
from spreadnet.evidence.region import Block

FIRST, LAST = date(2027, 5, 1), date(2027, 5, 31)
BLOCKS = (Block(14, 22),)  # two shifts of four hours
PLACES = pd.DataFrame(
    {"name": ["One", "Two"], "easting_m": [0.0, 1000.0], "northing_m": [0.0, 0.0]},
    index=pd.Index(["A1", "A2"], name="landing_id"),
)
EVERY_DAY = [FIRST + timedelta(days=n) for n in range((LAST - FIRST).days + 1)]


def rules(**changed):
    given = {"last_ends": None, "crew": 1, "most_shifts_per_landing_week": 5, **changed}
    return RosterRules(FIRST, LAST, FIRST, (), BLOCKS, 4.0, **given)


def needs(shifts=4, **more):
    return pd.DataFrame(
        {"landing_id": ["A1"], "day_type": "weekday", "block": "14:00-22:00", "shifts": shifts}
    ).assign(**more)


def offers(codes=("P1", "P2")):
    rows = [(code, day, "any", 8.0, "A1", np.nan) for code in codes for day in EVERY_DAY]
    table = pd.DataFrame(
        rows, columns=["code", "date", "block", "hours", "home_landing_id", "most_km"]
    )
    return table.assign(date=pd.to_datetime(table["date"]))


def test_new_shifts_end_by_dusk_on_their_day():
    """Dusk comes at six until the 15th, and at ten from then on."""
    dusk = {day: 18.0 if day.day < 15 else 22.0 for day in EVERY_DAY}
    shifts = make_roster(
        needs(12), rules=rules(last_ends=dusk), landings=PLACES, people=offers()
    ).shifts
    assert len(shifts) == 12
    early = shifts["date"].dt.day < 15
    assert (shifts.loc[early, "end"] == "18:00").all()
    assert early.any()
    never = dict.fromkeys(EVERY_DAY, 17.9)
    none = make_roster(needs(), rules=rules(last_ends=never), landings=PLACES, people=offers())
    assert none.shifts.empty
    assert "shifts-without-date" in {note.code for note in none.notes}


def test_a_promised_shift_stays_after_dusk():
    promised = pd.DataFrame(
        {
            "date": [pd.Timestamp(2027, 5, 4)],
            "landing_id": "A1",
            "block": "14:00-22:00",
            "code": "P1",
        }
    )
    shifts = make_roster(
        needs(1),
        rules=rules(last_ends=dict.fromkeys(EVERY_DAY, 12.0)),
        landings=PLACES,
        people=offers(),
        promised=promised,
    ).shifts
    assert shifts["status"].tolist() == ["promised"]
    assert shifts["accepted"].tolist() == ["yes"]


def test_what_was_accepted_stays_so_only_with_its_day_time_and_people():
    before = make_roster(needs(4), rules=rules(), landings=PLACES, people=offers()).shifts
    assert (before["accepted"] == "").all()
    told = before.assign(accepted="yes")
    again = make_roster(
        needs(4), rules=rules(), landings=PLACES, people=offers(), previous=told
    ).shifts
    assert (again["accepted"] == "yes").all()
    pd.testing.assert_series_equal(again["sequence"], before["sequence"])
    other = make_roster(
        needs(4), rules=rules(), landings=PLACES, people=offers(["P3"]), previous=told
    ).shifts
    live = other[other["status"] != "cancelled"]
    assert set(live["people"]) == {"P3"}
    assert (live["accepted"] == "").all()
    refused = make_roster(
        needs(4),
        rules=rules(),
        landings=PLACES,
        people=offers(),
        previous=before.assign(accepted="no"),
    ).shifts
    assert (refused["accepted"] == "").all()


def test_permission_to_ask_stands_beside_every_shift_there():
    places = PLACES.assign(permission=["ask permission first", ""])
    both = pd.concat([needs(2), needs(2).assign(landing_id="A2")])
    shifts = make_roster(both, rules=rules(), landings=places, people=offers()).shifts
    asked = shifts.set_index("landing_id")["permission"]
    assert set(asked.loc["A1"]) == {"ask permission first"}
    assert set(asked.loc["A2"]) == {""}


@pytest.mark.parametrize("number", [0, 1, 3])
def test_counting_shifts_are_the_first_of_their_landing_and_time(number):
    shifts = make_roster(
        needs(4, counting=number), rules=rules(), landings=PLACES, people=offers()
    ).shifts
    assert shifts["kind"].tolist() == ["counting"] * number + ["education"] * (4 - number)
