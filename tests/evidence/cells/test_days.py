"""Only the stated format is a day: no words, no other digits, no machine's language."""

import locale
from datetime import date

import pandas as pd
import pytest

from spreadnet.errors import InputError
from spreadnet.evidence.cells.cells import Fault, Manner, clock_hours, number
from spreadnet.evidence.cells.dates import read_dates
from spreadnet.evidence.cells.days import day_in_cell, day_pattern, iso_day
from spreadnet.evidence.columns import columns
from spreadnet.evidence.files.earlier_roster import NEEDED, read_roster
from spreadnet.evidence.settings.settings import read_settings
from spreadnet.evidence.settings.values import block_of

FORMATS = ("YYYY-MM-DD", "DD/MM/YYYY", "DD MMM YYYY", "MMMM DD, YYYY", "YYYYMMDD", "DD.MM.YYYY")
NO_DAYS = (
    "today",
    "now",
    "Today",
    "tomorrow",
    "yesterday",
    "NaT",
    "nat",
    "nan",
    "None",
    "NULL",
    "NA",
    "2026-07-04T00:00:00Z",
    "2026-07-04T00:00:00+02:00",
    "2026-07-04T08:30",
    "2026-07-04 24:00",
    "２０２６-07-04",
    "٢٠٢٦-٠٧-٠٤",
    "2026-W27-6",
    "2026-186",
    "20260704.0",
    "+2026-07-04",
    "2026-07-04\n",
    "2026_07_04",
    "1_000",
    "0x7e8",
    "infinity",
    "26-07-04",
    "2026-02-30",
    "1799-01-01",
)


@pytest.mark.parametrize("date_format", FORMATS)
@pytest.mark.parametrize("text", NO_DAYS)
def test_words_moments_and_other_digits_are_no_days(text, date_format):
    assert day_in_cell(text, date_format, year_alone=True) is None


def test_every_cell_that_is_no_day_is_a_problem():
    cells = pd.Series(list(NO_DAYS), index=range(2, 2 + len(NO_DAYS)), dtype="str")
    values, problems = read_dates(
        columns("visits")["date"], cells, file="v.csv", date_format="YYYY-MM-DD"
    )
    assert values.isna().all()
    assert all(p.mend for p in problems)
    said = str(next(p for p in problems if "T00:00:00Z" in p.what))
    assert "without a time of day" in said


@pytest.mark.parametrize(
    ("date_format", "text"),
    [
        ("DD/MM/YYYY", "04/07/2026"),
        ("DD/MM/YYYY", "4/7/2026"),
        ("DD MMM YYYY", "4 Jul 2026"),
        ("DD MMM YYYY", "04 JUL 2026"),
        ("MMMM DD, YYYY", "July 4, 2026"),
        ("YYYYMMDD", "20260704"),
        ("YYYY-MM-DD", "2026-7-4"),
        ("DD.MM.YYYY", "2026-07-04 00:00:00"),
        ("DD.MM.YYYY", "2026-07-04T00:00:00.000"),
    ],
)
def test_days_in_the_stated_format_and_iso_are_read(date_format, text):
    assert day_in_cell(text, date_format) == date(2026, 7, 4)


def test_parts_that_nothing_parts_have_all_their_digits():
    assert day_in_cell("2026111", "YYYYMMDD") is None


@pytest.mark.parametrize("text", ["4 juil. 2026", "4 Juillet 2026", "4 июл 2026", "4 July 2026"])
def test_months_are_english_in_the_stated_length_alone(text):
    assert day_in_cell(text, "DD MMM YYYY") is None


def test_the_language_of_the_machine_changes_nothing(monkeypatch):
    before = locale.setlocale(locale.LC_TIME)
    day_pattern.cache_clear()
    for name in ("fr_FR.UTF-8", "de_DE.UTF-8", "ja_JP.UTF-8", "C"):
        try:
            locale.setlocale(locale.LC_TIME, name)
        except locale.Error:
            continue
        assert day_in_cell("4 Mar 2026", "DD MMM YYYY") == date(2026, 3, 4)
    locale.setlocale(locale.LC_TIME, before)


@pytest.mark.parametrize(
    "bad",
    [
        "YYYY-MM",
        "YYYY-MM-MM",
        "YYYY-MM-DDD",
        "YYYY-MM-DD DD",
        "%Y-%m-%d",
        "",
        "YYYY/MM/DDx",
        "MMM MM DD YYYY",
    ],
)
def test_what_names_no_day_is_no_format(bad):
    assert day_pattern(bad) is None


@pytest.mark.parametrize(
    "text", ["20270701", "2027-7-1", "2027-W26-4", "２０２７-07-01", "today", ""]
)
def test_an_argument_is_a_day_in_iso_form_alone(text):
    assert iso_day(text) is None


@pytest.mark.parametrize(
    "value",
    [
        '"20270515"',
        '"2027-W20-6"',
        '"today"',
        "20270515",
        "2027-05-15T00:00:00Z",
        "2027-05-15T07:30:00",
        "07:30:00",
        '"2027-05-15T00:00"',
    ],
)
def test_a_setting_is_a_day_alone(value):
    text = f"season_first_day = {value}\n"
    problems = read_settings(text.encode(), species={"dreissenid_mussel"}).problems
    assert ("not-a-date", 1, "season_first_day") in [(p.code, p.row, p.column) for p in problems]


@pytest.mark.parametrize(
    "text",
    [
        "nan",
        "NaN",
        "inf",
        "-inf",
        "1_000",
        "0x10",
        "１２",
        "1２",
        "٣",
        "1e",
        "e3",
        "1,2,3",
        "--1",
        "1 2",
    ],
)
def test_what_is_no_plain_number_is_refused(text):
    assert isinstance(number(columns("lakes")["area_ha"], text, Manner()), Fault)
    assert isinstance(number(columns("lakes")["area_ha"], text, Manner(",")), Fault)


def test_a_number_as_spreadsheets_write_large_ones_is_read():
    assert number(columns("lakes")["area_ha"], "1.2E+03", Manner()) == 1200


@pytest.mark.parametrize(
    "text", ["０８:30", "8:3", "08:30m", "8.30", "08:30.", "now", "25:00", "08:60"]
)
def test_what_is_no_clock_time_is_refused(text):
    assert isinstance(clock_hours(columns("visits")["start"], text, Manner()), Fault)


@pytest.mark.parametrize("text", ["8:30 a.m.", "8:30\u202fAM", "08:30:00", "8:30am"])
def test_clock_times_of_spreadsheets_are_read(text):
    assert clock_hours(columns("visits")["start"], text, Manner()) == 8.5


def test_a_block_has_the_digits_0_to_9():
    assert block_of("06:00-10:00") is not None
    assert block_of("０６:00-10:00") is None


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("date", "today"),
        ("date", "20270703"),
        ("date", "2027-07-03T00:00:00Z"),
        ("start", "soon"),
        ("end", "1:5"),
        ("sequence", "nan"),
        ("sequence", "1e3"),
        ("sequence", "-1"),
        ("sequence", "1_0"),
        ("km", "inf"),
        ("km", "nan"),
    ],
)
def test_a_roster_with_another_cell_than_spreadnet_writes_is_refused(column, value, tmp_path):
    good = dict.fromkeys(NEEDED, "x") | {
        "date": "2027-07-03",
        "start": "06:00",
        "end": "24:00",
        "km": "",
        "sequence": "0",
    }
    path = tmp_path / "roster.csv"
    pd.DataFrame([good]).to_csv(path, index=False)
    assert len(read_roster(path)) == 1
    pd.DataFrame([good | {column: value}]).to_csv(path, index=False)
    with pytest.raises(InputError) as refused:
        read_roster(path)
    assert [(p.row, p.column) for p in refused.value.problems] == [(2, column)]
