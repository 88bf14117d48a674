"""Files of a season plan: whole, readable by other programs, and a page that says what counts."""

import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import icalendar
import openpyxl
import pandas as pd
import pytest
import scipy

import spreadnet
from spreadnet.cli import main
from spreadnet.evidence.files.earlier_roster import read_roster
from spreadnet.outputs.pages.plan import plan_page
from spreadnet.outputs.write import write_plan

FILES = [
    "READ_FIRST.txt",
    *(
        "plan.csv",
        "ways.csv",
        "value_of_hours.csv",
        "rules.csv",
        "spreading.csv",
        "roster.csv",
        "roster.xlsx",
    ),
    *("roster.ics", "plan.html", "columns.csv", "run.json"),
]


@pytest.fixture(scope="module")
def plan(demo_region):
    return spreadnet.season_plan(demo_region, draws=4)


@pytest.fixture(scope="module")
def written(plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("plan") / "out"
    return folder, write_plan(plan, folder)


def test_all_files_are_there_and_every_column_is_explained(plan, written):
    folder, files = written
    assert [file.name for file in files] == FILES
    meanings = pd.read_csv(folder / "columns.csv", keep_default_na=False)
    for name in FILES:
        if name.endswith(".csv") and name != "columns.csv":
            columns = list(pd.read_csv(folder / name, encoding="utf-8-sig").columns)
            explained = []
            for column in meanings[meanings["file"] == name]["column"]:
                species = plan.region.settings.species if "<species>" in column else [""]
                explained += [column.replace("<species>", one) for one in species]
            assert columns == explained, name


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
    assert book["shifts"].max_row == len(roster) + 1
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
    assert not re.search(r"src\s*=|href\s*=(?!\"#)|https?://|@import|url\((?!#)", page)
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


@pytest.mark.slow
def test_the_command_plans_tells_and_plans_again(tmp_path, capsys):
    region = Path(__file__).parents[3] / "demo_region"
    first, second = tmp_path / "first", tmp_path / "second"
    words = ["plan", str(region), "--hours", "60", "--draws", "2", "--workers", "1"]
    assert main([*words, "--out", str(first)]) == 0
    told = capsys.readouterr()
    first_line = " ".join(told.out.split(". ")[0].split())
    assert re.match(r"About 1 in [0-9,]+ that one infestation \(weighted\) is avoided", first_line)
    educating = re.search(r"\((\d+) hours a season at", first_line)
    counting = re.search(r" and 1 \((\d+) hours\) for counting", " ".join(told.out.split()))
    # Of 15 shifts at most 1 is for counting, where that gains more.
    assert int(educating[1]) + (int(counting[1]) if counting else 0) == 60
    assert "15 shifts; between 1 in " in told.out
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


SEEN = """
const shown = (one, what) => getComputedStyle(one)[what];
const chart = document.querySelector("svg[role=img]");
return {
  ground: shown(document.body, "backgroundColor"),
  words: shown(document.querySelector("h1"), "color"),
  letters: [...chart.querySelectorAll("text")].map((one) => shown(one, "fill")),
  lines: [...chart.querySelectorAll("[stroke]")].map((one) => shown(one, "stroke")),
};
"""


@pytest.fixture
def shown_as(browser, written):
    """The plan's page as a reader has set the screen or as paper shows it."""

    def shown(*, media="", **features):
        wanted = [{"name": k.replace("_", "-"), "value": v} for k, v in features.items()]
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": wanted})
        browser.get((written[0] / "plan.html").as_uri())
        return browser.execute_script(SEEN)

    yield shown
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": []})


def is_dark(colour):
    return sum(int(part) for part in re.findall(r"\d+", colour)[:3]) < 3 * 128


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_page_and_chart_follow_the_light_of_the_screen_and_paper_stays_light(shown_as, scheme):
    screen = shown_as(prefers_color_scheme=scheme)
    assert is_dark(screen["ground"]) is (scheme == "dark")
    assert is_dark(screen["words"]) is (scheme == "light")
    assert set(screen["letters"]) == {screen["words"]}
    assert set(screen["lines"]) == {screen["words"]}
    paper = shown_as(media="print", prefers_color_scheme=scheme)
    assert not is_dark(paper["ground"]) and is_dark(paper["words"])
    assert set(paper["letters"]) == {paper["words"]}


@pytest.mark.browser
def test_a_chart_is_drawn_in_the_colours_that_a_reader_forces(shown_as):
    forced = shown_as(forced_colors="active", prefers_color_scheme="dark")
    assert forced["ground"] == "rgb(0, 0, 0)"
    assert set(forced["letters"]) == set(forced["lines"]) == {forced["words"]}


def test_what_was_accepted_is_written_by_hand_and_read_back(tmp_path, written):
    text = (written[0] / "roster.csv").read_text("utf-8-sig")
    table = pd.read_csv(written[0] / "roster.csv", dtype="str", keep_default_na=False)
    told = tmp_path / "roster.csv"
    table.assign(accepted=["Yes ", *["no"] * (len(table) - 1)]).to_csv(told, index=False)
    assert read_roster(told)["accepted"].tolist() == ["yes", *["no"] * (len(table) - 1)]
    table.assign(accepted="perhaps").to_csv(told, index=False)
    with pytest.raises(spreadnet.InputError, match=r"row 2, column accepted(.|\n)*Write yes where"):
        read_roster(told)
    earlier = table.drop(columns=["accepted", "permission", "kind"])  # as older versions wrote it
    earlier.to_csv(told, index=False)
    assert set(read_roster(told)["kind"]) == {"education"}
    assert "accepted" in text.splitlines()[0]


def test_counting_shifts_are_marked_in_every_file_with_totals_by_kind(plan, written):
    folder = written[0]
    kinds = plan.kinds["shifts"]
    assert kinds["counting"] > 0
    table = pd.read_csv(folder / "plan.csv")
    assert table.groupby("kind")["shifts"].sum().to_dict() == kinds.to_dict()
    roster = pd.read_csv(folder / "roster.csv", dtype=str)
    assert roster["kind"].value_counts().to_dict() == kinds.to_dict()
    calendar = icalendar.Calendar.from_ical((folder / "roster.ics").read_bytes())
    titles = [str(event["summary"]) for event in calendar.walk("VEVENT")]
    assert sum(title.startswith("Counting shift at ") for title in titles) == kinds["counting"]
    sheet = openpyxl.load_workbook(folder / "roster.xlsx")["shifts"]
    head = [cell.value for cell in sheet[1]]
    column = [row[head.index("kind")] for row in sheet.iter_rows(min_row=2, values_only=True)]
    assert column.count("counting") == kinds["counting"]
    page = (folder / "plan.html").read_text("utf-8")
    marked = plan.table[plan.table["kind"] == "counting"]
    assert all(
        f"{row.landing} ({row.landing_id}) (counting)" in page for row in marked.itertuples()
    )
    assert f"and {kinds['counting']} (" in page
    assert "The same hours for education placed in other ways" in page
    record = json.loads((folder / "run.json").read_text("utf-8"))
    told = {one["kind"]: one["shifts"] for one in record["plan"]["kinds_of_shifts"]}
    assert told == kinds.to_dict()
