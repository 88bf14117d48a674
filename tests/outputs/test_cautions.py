"""Whatever leaves the computer says what it is not, and how to keep safe."""

import html
import json
import re

import geopandas as gpd
import icalendar
import openpyxl
import pyogrio
import pytest

import spreadnet
from spreadnet.outputs.write import write_hindcast, write_plan, write_results, write_survey
from spreadnet.words import ALONE, CAUTIONS, ON_SITE

# What a person at a ramp must have read, whatever file brought them there.
TELLING = ("authorise", "alone", "heat", "thunder", "water's edge", "dusk", "vehicles", "local law")


@pytest.fixture(scope="module")
def results(demo_region, demo_result, tmp_path_factory):
    """Every kind of result in a folder of its own."""
    place = tmp_path_factory.mktemp("cautions")
    plan = spreadnet.season_plan(demo_region, draws=3)
    write_results(demo_result, place / "run", plan=plan)
    write_plan(plan, place / "plan")
    found = spreadnet.hindcast(demo_region, from_year=2016, draws=3)
    write_hindcast(found, place / "hindcast")
    write_survey(spreadnet.survey_next(demo_region), demo_region, place / "survey")
    return place


def words(text):
    """Text with its spaces made even."""
    return " ".join(text.split())


def test_cautions_speak_of_all_that_can_go_wrong():
    for word in TELLING:
        assert any(word in caution for caution in ON_SITE), word
    assert CAUTIONS[1:] == ON_SITE


@pytest.mark.parametrize("result", ["run", "plan", "hindcast", "survey"])
def test_tables_go_with_a_text_to_read_first_and_a_record(results, result):
    text = words((results / result / "READ_FIRST.txt").read_text("utf-8"))
    assert all(caution in text for caution in CAUTIONS)
    assert text.startswith("Ovrin Shelf")
    record = json.loads((results / result / "run.json").read_text("utf-8"))
    assert next(iter(record)) == "cautions"
    assert tuple(record["cautions"]) == CAUTIONS
    assert "READ_FIRST.txt" in {one["file"] for one in record["outputs"]}


@pytest.mark.parametrize("page", ["run/map.html", "run/plan.html", "hindcast/hindcast.html"])
def test_every_page_has_them_on_top(results, page):
    """Before anything else but the title: before the first table, heading or picture."""
    whole = (results / page).read_text("utf-8")
    body = whole[re.search(r"<body[^>]*>", whole).end() :]
    top = body[: re.search(r"<(h2|table|main class|svg|section)", body).start()]
    shown = words(html.unescape(re.sub(r"<[^>]+>", " ", top)))
    assert all(caution in shown for caution in CAUTIONS)


def test_the_paper_map_has_them_on_top(results):
    whole = (results / "run" / "map.html").read_text("utf-8")
    sheet = whole[whole.index('<section class="print"') :]
    head = html.unescape(sheet[: sheet.index("</header>")])
    assert all(caution in head for caution in CAUTIONS)


def test_the_workbook_opens_on_them(results):
    book = openpyxl.load_workbook(results / "plan" / "roster.xlsx")
    assert book.active is book.worksheets[0]
    told = [cell.value for cell in book.worksheets[0]["A"]]
    assert told == ["Cautions", ALONE, *ON_SITE]  # the demo has crews of one
    for sheet in book.worksheets[1:]:  # each is printed on its own
        assert book.worksheets[0].title in sheet.oddFooter.center.text


def test_every_event_of_the_calendar_holds_them(results):
    raw = (results / "plan" / "roster.ics").read_bytes()
    events = icalendar.Calendar.from_ical(raw).walk("VEVENT")
    assert events
    for event in events:
        assert all(caution in str(event["description"]) for caution in ON_SITE)


def test_every_layer_of_the_geopackage_tells_them(results):
    path = results / "run" / "region.gpkg"
    info = gpd.read_file(path, layer="run_info").set_index("key")["value"]
    told = [value for key, value in info.items() if key.startswith("caution ")]
    assert tuple(told) == CAUTIONS
    for layer in ("lakes", "landings", "trips"):
        description = pyogrio.read_info(path, layer=layer)["layer_metadata"]["DESCRIPTION"]
        assert all(caution in description for caution in CAUTIONS)
