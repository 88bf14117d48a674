"""The roster's files open where they should, say what they should, and do no harm."""

import io
import re
import zipfile
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import openpyxl
import pandas as pd
import pytest
from icalendar import Calendar

from spreadnet.decisions.roster.axis import RosterRules
from spreadnet.decisions.roster.roster import Roster, make_roster
from spreadnet.decisions.roster.tables import COLUMNS
from spreadnet.evidence.region import Block
from spreadnet.outputs.files.calendar import roster_calendar
from spreadnet.outputs.files.roster import roster_workbook, write_roster

STAMP = datetime(2027, 3, 1, 12, 30, tzinfo=UTC)
PLACES = pd.DataFrame(
    {
        "name": ["Amber Water, north; old \\ ramp", "=1+1"],
        "easting_m": [0.0, 3_000.0],
        "northing_m": [0.0, 4_000.0],
        "longitude": [-141.123456789, -141.2],
        "latitude": [-12.5, -12.25],
    },
    index=pd.Index(["A0", "A1"], name="landing_id"),
)


def season(first, last, *, block=None, shifts=2, landing_week=1, previous=None, people=("P1",)):
    block = block or Block(8, 12)
    rules = RosterRules(
        first, last, first, (), (block,), 4.0, 1, landing_week, most_shifts_per_person_week=7
    )
    needs = pd.DataFrame(
        {"landing_id": ["A0", "A1"], "day_type": "weekend", "block": block.label, "shifts": shifts}
    )
    offers = pd.DataFrame(
        [(code, day, "any", 8.0, "A1", np.nan) for code in people for day in days(first, last)],
        columns=["code", "date", "block", "hours", "home_landing_id", "most_km"],
    )
    return make_roster(needs, rules=rules, landings=PLACES, people=offers, previous=previous)


def days(first, last):
    return pd.date_range(first, last)


@pytest.fixture
def roster():
    return season(date(2027, 5, 1), date(2027, 6, 30), shifts=3)


def as_calendar(roster, **changed):
    given = {
        "region_name": "Amber Lakes",
        "time_zone": "Europe/Berlin",
        "landings": PLACES,
        "stamp": STAMP,
    }
    return roster_calendar(roster, **(given | changed))


def events(raw):
    return Calendar.from_ical(raw).walk("VEVENT")


def test_every_shift_is_an_event_with_its_place_and_people(roster):
    raw = as_calendar(roster, why={roster.shifts["shift_id"][0]: "Most boats come from A1."})
    found = events(raw)
    assert [str(e["uid"]) for e in found] == roster.shifts["uid"].tolist()
    for event, row in zip(found, roster.shifts.to_dict("records"), strict=True):
        assert event["dtstart"].dt.replace(tzinfo=None) == row["date"] + timedelta(hours=8)
        assert event["dtend"].dt - event["dtstart"].dt == timedelta(hours=4)
        assert event["dtstart"].params["TZID"] == "Europe/Berlin"
        assert str(event["location"]) == row["landing"]
        assert event["geo"].latitude == PLACES.loc[row["landing_id"], "latitude"]
        assert event["geo"].longitude == pytest.approx(
            PLACES.loc[row["landing_id"], "longitude"], abs=5e-7
        )
        assert "does not authorise anyone" in event["description"]
        assert "Educators do not touch boats" in event["description"]
        assert event["dtstamp"].dt == STAMP
    assert "Most boats come from A1." in found[0]["description"]
    assert {str(event["status"]) for event in found} == {"TENTATIVE"}  # nobody has accepted yet


def test_lines_end_and_fold_as_rfc_5545_asks(roster):
    raw = as_calendar(
        roster, why=dict.fromkeys(roster.shifts["shift_id"], "Ein Grund: " + "ö" * 200)
    )
    assert raw.count(b"\n") == raw.count(b"\r\n")
    assert raw.endswith(b"END:VCALENDAR\r\n")
    lines = raw.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    for line in lines:
        line.decode("utf-8")  # no letter is cut in two
    assert b"Amber Water\\, north\\; old \\\\ ramp" in raw.replace(b"\r\n ", b"")
    required = (b"VERSION:2.0", b"PRODID:", b"UID:", b"DTSTAMP:20270301T123000Z")
    assert all(any(line.startswith(key) for line in lines) for key in required)


@pytest.mark.parametrize(
    ("zone", "first", "last", "offsets"),
    [
        ("America/Chicago", date(2027, 3, 6), date(2027, 3, 21), (-6, -5)),
        ("Europe/Berlin", date(2027, 10, 23), date(2027, 11, 7), (2, 1)),
    ],
)
def test_eight_o_clock_stays_eight_o_clock_across_a_clock_change(zone, first, last, offsets):
    raw = as_calendar(season(first, last), time_zone=zone)
    starts = sorted(event["dtstart"].dt for event in events(raw))
    assert {start.hour for start in starts} == {8}
    hours = [start.utcoffset().total_seconds() / 3600 for start in starts]
    assert (hours[0], hours[-1]) == offsets
    # The file's own zone says the same, for readers that know no IANA names.
    (own,) = Calendar.from_ical(raw).walk("VTIMEZONE")
    assert str(own["tzid"]) == zone
    told = own.to_tz(lookup_tzid=False)
    for start in starts:
        local = start.replace(tzinfo=None)
        assert told.utcoffset(local) == start.utcoffset()


def test_a_shift_to_midnight_ends_on_the_next_day():
    late = season(date(2027, 5, 1), date(2027, 5, 31), block=Block(20, 24))
    assert late.shifts["end"].eq("24:00").all()
    for event in events(as_calendar(late)):
        assert event["dtend"].dt - event["dtstart"].dt == timedelta(hours=4)


@pytest.mark.parametrize("zone", ["UTC", "America/Phoenix"])
def test_zones_without_clock_changes_work(roster, zone):
    for event in events(as_calendar(roster, time_zone=zone)):
        assert event["dtstart"].dt.hour == 8


def test_without_a_zone_times_are_those_of_whoever_looks(roster):
    raw = as_calendar(roster, time_zone=None)
    assert b"VTIMEZONE" not in raw
    assert all(event["dtstart"].dt.tzinfo is None for event in events(raw))
    assert re.search(rb"DTSTART:\d{8}T080000\r\n", raw)


def test_equal_input_gives_equal_bytes(roster):
    assert as_calendar(roster) == as_calendar(roster)
    assert roster_workbook(roster, stamp=STAMP) == roster_workbook(roster, stamp=STAMP)


def test_a_later_file_updates_and_cancels_what_the_first_brought():
    first, last = date(2027, 5, 1), date(2027, 6, 30)
    one = season(first, last, shifts=3)
    two = season(first, last, shifts=1, previous=one.shifts)
    before = {str(e["uid"]): e for e in events(as_calendar(one))}
    after = {str(e["uid"]): e for e in events(as_calendar(two))}
    assert set(before) == set(after)
    statuses = [str(event["status"]) for event in after.values()]
    assert statuses.count("CANCELLED") == 4
    for uid, event in after.items():
        cancelled = str(event["status"]) == "CANCELLED"
        assert int(event["sequence"]) == int(before[uid]["sequence"]) + cancelled
        assert event["dtstart"].dt == before[uid]["dtstart"].dt
        assert ("(cancelled)" in event["summary"]) == cancelled


def test_open_shifts_are_tentative():
    roster = season(date(2027, 5, 1), date(2027, 5, 31), people=())
    assert {str(event["status"]) for event in events(as_calendar(roster))} == {"TENTATIVE"}
    assert "People are still needed." in events(as_calendar(roster))[0]["description"]


def test_one_persons_calendar_has_their_shifts_and_what_they_lost():
    first, last = date(2027, 5, 1), date(2027, 6, 30)
    one = season(first, last, people=("P1", "P12"), shifts=4)
    mine = one.shifts["people"] == "P1"
    assert 0 < mine.sum() < len(mine)
    assert [str(e["uid"]) for e in events(as_calendar(one, code="P1"))] == one.shifts.loc[
        mine, "uid"
    ].tolist()
    two = season(first, last, people=("P12",), shifts=4, previous=one.shifts)
    lost = events(as_calendar(two, code="P1", earlier=one.shifts))
    assert {str(e["uid"]) for e in lost} == set(one.shifts.loc[mine, "uid"])
    assert {str(e["status"]) for e in lost} == {"CANCELLED"}
    assert {int(e["sequence"]) for e in lost} == {1}
    assert b"P12;" not in as_calendar(two, code="P1", earlier=one.shifts)


def test_an_empty_roster_is_a_calendar_without_events():
    empty = Roster(season(date(2027, 5, 1), date(2027, 5, 2)).shifts.iloc[:0], pd.DataFrame(), ())
    assert events(as_calendar(empty)) == []


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"time_zone": "Amber/Lakes"}, "Invalid time_zone 'Amber/Lakes'"),
        ({"time_zone": "../etc"}, "Invalid time_zone"),
        ({"time_zone": ""}, "Invalid time_zone"),
        ({"stamp": datetime(2027, 3, 1)}, "Invalid stamp"),
    ],
)
def test_what_can_not_be_dated_is_refused(roster, changed, message):
    with pytest.raises(ValueError, match=message):
        as_calendar(roster, **changed)


def test_the_workbook_holds_dates_numbers_and_no_formula(roster):
    book = openpyxl.load_workbook(io.BytesIO(roster_workbook(roster, stamp=STAMP)))
    assert book.sheetnames == ["read first", "shifts", "people"]
    sheet = book["shifts"]
    assert [cell.value for cell in sheet[1]] == list(COLUMNS)
    assert sheet.freeze_panes == "A2"
    heads = {cell.value: cell.column - 1 for cell in sheet[1]}
    rows = list(sheet.iter_rows(min_row=2))
    assert [row[heads["date"]].value.date() for row in rows] == roster.shifts[
        "date"
    ].dt.date.tolist()
    assert all(row[heads["date"]].is_date for row in rows)
    assert {row[heads["km"]].data_type for row in rows} == {"n"}
    assert {cell.data_type for row in rows for cell in row} <= {"s", "n", "d"}
    named = {row[heads["landing"]].value: row[heads["landing"]] for row in rows}
    assert named["=1+1"].data_type == "s"
    assert named["=1+1"].quotePrefix
    assert sheet.column_dimensions["C"].width > 20
    assert book.properties.created == book.properties.modified == datetime(2027, 3, 1, 12, 30)
    people = list(book["people"].iter_rows(values_only=True))
    assert people[0] == ("code", "shifts", "hours", "km", "days_offered", "share_of_offer")
    assert people[1][:2] == ("P1", 6)


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-1", "@a", "\uff1d1+1", "=HYPERLINK(1)\x00", "#N/A", "12%", "2027-01-01"],
)
def test_codes_and_names_stay_text_in_the_workbook(roster, text):
    shifts = roster.shifts.assign(landing=text, people=text)
    odd = Roster(shifts, roster.by_person.rename(index={"P1": text}), ())
    book = openpyxl.load_workbook(io.BytesIO(roster_workbook(odd, stamp=STAMP)))
    heads = [cell.value for cell in book["shifts"][1]]
    written = [row[heads.index("landing")] for row in book["shifts"].iter_rows(min_row=2)]
    assert {(cell.data_type, cell.value) for cell in written} == {("s", text.replace("\x00", ""))}
    assert {cell.quotePrefix for cell in written} == {text[0] in "=+-@\uff1d"}
    assert all(
        cell.hyperlink is None for sheet in book for row in sheet.iter_rows() for cell in row
    )


def test_letters_by_number_are_not_read_as_letters(roster):
    # A workbook may write any letter as _xHHHH_: left as it is, this would be read as "=1+1".
    odd = Roster(roster.shifts.assign(landing="_x003D_1+1"), roster.by_person, ())
    with zipfile.ZipFile(io.BytesIO(roster_workbook(odd, stamp=STAMP))) as parts:
        sheet = parts.read("xl/worksheets/sheet2.xml").decode()
    assert "<t>_x005F_x003D_1+1</t>" in sheet
    assert "<t>_x003D_" not in sheet


def test_three_files_are_written_and_agree(roster, tmp_path):
    given = {
        "region_name": "Amber Lakes",
        "time_zone": "Europe/Berlin",
        "landings": PLACES,
        "stamp": STAMP,
    }
    files = write_roster(roster, tmp_path, **given)
    assert [file.name for file in files] == ["roster.csv", "roster.xlsx", "roster.ics"]
    table = pd.read_csv(files[0], keep_default_na=False)
    assert table["uid"].tolist() == roster.shifts["uid"].tolist()
    assert all(re.fullmatch(r"2027-\d\d-\d\d", day) for day in table["date"])
    assert not table["landing"].str.startswith("=").any()
    assert files[2].read_bytes() == as_calendar(roster)
    again = write_roster(roster, tmp_path, **given)
    assert [file.read_bytes() for file in again] == [file.read_bytes() for file in files]


def test_an_entry_is_confirmed_once_its_people_have_accepted(roster):
    accepted = roster.shifts["accepted"].where(roster.shifts.index > 0, "yes")
    told = replace(roster, shifts=roster.shifts.assign(accepted=accepted))
    found = events(as_calendar(told))
    assert [str(event["status"]) for event in found] == ["CONFIRMED", *["TENTATIVE"] * 5]
    assert "Not accepted yet" not in found[0]["description"]
    assert all("Not accepted yet" in event["description"] for event in found[1:])


def test_who_works_alone_or_has_to_ask_is_told_in_the_calendar_and_the_workbook(roster):
    asks = replace(roster, shifts=roster.shifts.assign(permission="ask permission first"))
    for one in events(as_calendar(asks)):
        assert "Ask permission first." in one["description"]
        assert "do not work alone" in one["description"]
    pair = replace(asks, crew=2)
    assert all("do not work alone" not in e["description"] for e in events(as_calendar(pair)))
    for crew, told in ((1, True), (2, False)):
        book = openpyxl.load_workbook(
            io.BytesIO(roster_workbook(replace(roster, crew=crew), stamp=STAMP))
        )
        first = " ".join(str(cell.value) for cell in book["read first"]["A"])
        assert ("planned for one person" in first) == told
