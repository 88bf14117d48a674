"""Files of a season plan: whole, readable by other programs, and a page that says what counts."""

import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import icalendar
import numpy as np
import openpyxl
import pandas as pd
import pytest
import scipy

import spreadnet
from spreadnet.cli import main
from spreadnet.evidence.files.earlier_roster import read_roster
from spreadnet.outputs.charts import curve_chart, nice_step
from spreadnet.outputs.pages.plan import plan_page, write_plan
from spreadnet.outputs.pages.render import table

FILES = [
    *("plan.csv", "ways.csv", "value_of_hours.csv", "rules.csv", "roster.csv", "roster.xlsx"),
    *("roster.ics", "plan.html", "columns.csv", "run.json"),
]


@pytest.fixture(scope="module")
def plan(demo_region):
    return spreadnet.season_plan(demo_region, draws=4)


@pytest.fixture(scope="module")
def written(plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("plan") / "out"
    return folder, write_plan(plan, folder)


def test_all_files_are_there_and_every_column_is_explained(written):
    folder, files = written
    assert [file.name for file in files] == FILES
    meanings = pd.read_csv(folder / "columns.csv", keep_default_na=False)
    for name in FILES:
        if name.endswith(".csv") and name != "columns.csv":
            columns = list(pd.read_csv(folder / name, encoding="utf-8-sig").columns)
            assert columns == list(meanings[meanings["file"] == name]["column"]), name


def test_the_record_says_which_solver_the_roster_rests_on(written):
    """The same roster to the letter needs the same HiGHS, which comes with SciPy."""
    folder, _ = written
    record = json.loads((folder / "run.json").read_text("utf-8"))
    assert record["libraries"]["scipy"] == scipy.__version__


def test_the_same_plan_gives_the_same_bytes(plan, written, tmp_path):
    again = write_plan(plan, tmp_path / "again")
    for one, other in zip(written[1], again, strict=True):
        if one.name != "run.json":
            assert one.read_bytes() == other.read_bytes(), one.name


def test_table_workbook_and_calendar_hold_the_same_shifts(plan, written):
    folder = written[0]
    roster = pd.read_csv(folder / "roster.csv", encoding="utf-8-sig", dtype=str)
    book = openpyxl.load_workbook(folder / "roster.xlsx")
    assert book.worksheets[0].max_row == len(roster) + 1
    events = icalendar.Calendar.from_ical((folder / "roster.ics").read_bytes()).walk("VEVENT")
    assert {str(event["UID"]) for event in events} == set(roster["uid"])
    assert len(roster) == plan.table["shifts"].sum()


def test_a_roster_is_read_back_as_it_was(plan, written):
    back = read_roster(written[0])
    keys = ["shift_id", "landing_id", "date", "block", "people", "status", "uid", "sequence"]
    pd.testing.assert_frame_equal(back[keys], plan.roster.shifts[keys], check_dtype=False)


def test_what_is_no_roster_is_refused_with_row_and_column(tmp_path, written):
    with pytest.raises(spreadnet.InputError, match=r"roster.csv: can't be read"):
        read_roster(tmp_path)
    text = (written[0] / "roster.csv").read_text("utf-8-sig").splitlines()
    faulty = tmp_path / "roster.csv"
    faulty.write_text("\n".join([text[0], re.sub(r"\d{4}-\d\d-\d\d", "soon", text[1])]), "utf-8")
    with pytest.raises(spreadnet.InputError, match="row 2, column date"):
        read_roster(faulty)
    faulty.write_text("shift_id,landing_id\nS1,A1\n", "utf-8")
    with pytest.raises(spreadnet.InputError, match="no column 'landing'"):
        read_roster(faulty)


def test_the_page_says_what_counts_and_needs_nothing_else(plan, written):
    page = (written[0] / "plan.html").read_text("utf-8")
    assert not re.search(r"(src|href)\s*=|https?://|@import|url\(", page)
    for text in ("as last season", "does not authorise anyone", "90% intervals", "seed 1"):
        assert text in page
    for row in plan.table.to_dict("records"):
        assert row["landing"] in page
        assert row["why"].split(":")[0] in page
    assert page.count("<svg") == 1
    assert page.count('scope="col"') > 10


def test_names_from_tables_can_not_become_part_of_the_page(plan):

    evil = plan.table.assign(landing="<script>alert(1)</script>")
    page = plan_page(replace(plan, table=evil), made_on=date(2027, 1, 1))
    assert "<script" not in page


def test_a_row_may_have_a_line_below_it():
    html = table("Caption", ("a", "b"), [("x", "1")], below=["because <of> it"])
    assert '<td colspan="2">because &lt;of&gt; it</td>' in html


def test_the_chart_has_a_title_the_numbers_and_round_steps():

    x, y = np.array([100.0, 200, 400]), np.array([1.0, 1.8, 3.0])
    svg = curve_chart(
        x, y, low=y * 0.8, high=y * 1.2, marked=200, caption="A & B", across="hours", up="avoided"
    )
    assert "<title>A &amp; B</title>" in svg
    assert "100: 1; 200: 1.8; 400: 3" in svg
    assert [nice_step(most) for most in (1, 3.6, 97, 0.0)] == [0.2, 0.5, 20, 1]


@pytest.mark.slow
def test_the_command_plans_tells_and_plans_again(tmp_path, capsys):
    region = Path(__file__).parents[3] / "demo_region"
    first, second = tmp_path / "first", tmp_path / "second"
    words = ["plan", str(region), "--hours", "60", "--draws", "2", "--workers", "1"]
    assert main([*words, "--out", str(first)]) == 0
    told = capsys.readouterr()
    assert "15 shifts (60 hours a season)" in told.out
    assert "busiest first" in told.out
    assert main([*words, "--out", str(second), "--previous", str(first)]) == 0
    assert "the plan before is kept" in capsys.readouterr().err
    for name in ("roster.csv", "roster.ics"):
        assert (first / name).read_bytes() == (second / name).read_bytes()
    record = json.loads((second / "run.json").read_text("utf-8"))
    assert record["plan"]["hours"] == 60


@pytest.mark.parametrize(
    ("more", "code", "text"),
    [
        (["--hours", "many"], 2, "not a number of hours"),
        (["--from", "soon"], 2, "not a date"),
        (["--from", "2031-01-01"], 1, "outside the season"),
        (["--hours", "8"], 1, "what stands against it"),
        (["--previous", "nowhere"], 1, "can't be read"),
    ],
)
def test_wrong_words_are_explained(more, code, text, tmp_path, capsys):
    region = str(Path(__file__).parents[3] / "demo_region")
    out = tmp_path / "out"
    try:
        got = main(["plan", region, "--draws", "1", "--out", str(out), *more])
    except SystemExit as end:
        got = end.code
    assert got == code
    assert text in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 390])
def test_the_page_fits_a_screen_and_a_phone(browser, written, width):
    browser.set_window_size(width, 900)
    browser.get((written[0] / "plan.html").as_uri())
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    assert wide <= browser.execute_script("return window.innerWidth")
    first = browser.find_element("css selector", ".wide")
    assert browser.execute_script(
        "return arguments[0].scrollWidth <= arguments[0].clientWidth + 1", first
    )
    assert not [row for row in browser.get_log("browser") if row["level"] == "SEVERE"]
