"""Pages that volunteers read: sizes first, words of everyday, one figure on map and plan."""

import html
import json
import re

import pytest

import spreadnet
from spreadnet.outputs.write import write_hindcast, write_results

# Words of the trade that a volunteer has no use for.
TRADE = re.compile(
    r"\b(slopes?|draws?|futures?|held[- ]?out|bounds?|posterior|priors?|gradient|adjoint"
    r"|likelihood|Monte Carlo)\b",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def results(demo_region, demo_result, tmp_path_factory):
    """A run with its plan, and a hindcast."""
    place = tmp_path_factory.mktemp("words")
    plan = spreadnet.season_plan(demo_region, draws=20)
    write_results(demo_result, place / "run", plan=plan)
    write_hindcast(spreadnet.hindcast(demo_region, from_year=2016, draws=3), place / "hindcast")
    return place, plan


def text_of(path):
    """What is read on a page, the words that its script puts there among it."""
    page = path.read_text("utf-8")
    data = re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', page, re.DOTALL)
    page = re.sub(r"<(script|style)\b.*?</\1>", " ", page, flags=re.DOTALL)
    said = [one for part in data for one in strings(json.loads(part))]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", " ".join([page, *said]))).split())


def strings(value):
    """Every text in nested data, names of its parts left out."""
    if isinstance(value, str):
        yield value
    for inner in value.values() if isinstance(value, dict) else ():
        yield from strings(inner)
    for inner in value if isinstance(value, list) else ():
        yield from strings(inner)


@pytest.mark.parametrize("page", ["run/map.html", "run/plan.html", "hindcast/hindcast.html"])
def test_no_word_of_the_trade_is_on_a_page(results, page):
    found = [found[0] for found in TRADE.finditer(text_of(results[0] / page))]
    assert found == []


def test_cards_of_the_map_use_no_word_of_the_trade():
    from importlib import resources

    for name in ("map_cards.js", "map_list.js"):
        code = resources.files("spreadnet.outputs.map").joinpath("web", name).read_text("utf-8")
        for said in re.findall(r'"([^"]* [^"]*|[a-z]+ [^"]*)"', code):
            assert not TRADE.search(said), said


def test_map_and_plan_say_one_figure_first(results):
    """The same sentence on both, a size anyone can use, before any ratio."""
    place, plan = results
    row = plan.ways.iloc[0]
    odds = float(f"{1 / row['avoided']:.2g}")
    size = f"About 1 in {odds:,.0f} that one infestation (weighted) is avoided in 5 seasons"
    boats = float(f"{row['boats_met_a_season']:.2g}")
    right = float(f"{row['boats_with_a_gap_a_season']:.2g}")
    met = f"{boats:,.0f} boats met a season, {right:,.0f} of them with something to put right"
    heads = {}
    for name in ("map", "plan"):
        page = html.unescape((place / "run" / f"{name}.html").read_text("utf-8"))
        page = page[page.index("<body") :]
        said = re.search(r"About 1 in [^<]*", page)[0]
        heads[name] = said.rstrip().rstrip(".")
        assert page.index(said) < page.index(" times what the same hours avoid")
    assert heads["map"] == heads["plan"]
    assert heads["map"].startswith(f"{size}; {met}")


def test_small_values_are_chances(results):
    """No decimal with two zeros after its point is left for people to read."""
    for page in ("run/map.html", "run/plan.html"):
        words = text_of(results[0] / page)
        assert re.findall(r"(?<![\w.,])0\.00\d+", words) == []
        assert re.search(r"\b1\sin\s\d,\d00\b", words)


def test_the_plan_says_what_the_published_rule_does(results):
    place, plan = results
    words = text_of(place / "run" / "plan.html")
    assert "Placed for most bridging boats" in words
    assert "Biological Invasions 23:3907" in words
    assert "share of plan" in words
    assert plan.ways["share_of_plan_error"].max() <= 0.1
