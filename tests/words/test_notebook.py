"""What a notebook shows: a few lines whatever a thing holds, and nothing of a file unescaped."""

from dataclasses import fields, is_dataclass, replace

import numpy as np
import pandas as pd
import pytest

import spreadnet
from spreadnet.decisions.draws.run import avoided_by, run_model
from spreadnet.decisions.hours.placing import place_ranked
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.words.notebook import MOST_LINES, card, shown


@pytest.fixture(scope="module")
def other(demo_result):
    """The same region with boats that care nothing for distance."""
    return spreadnet.assess(demo_result.region, draws=2, law=lambda mass, km: mass + 0 * km)


@pytest.fixture(scope="module")
def plan(demo_result):
    return spreadnet.season_plan(demo_result, hours=60, draws=2)


def held(thing, seen):
    """A thing with every dataclass that it holds, one of a kind."""
    if is_dataclass(thing) and type(thing) not in seen:
        seen.add(type(thing))
        yield thing
        for field in fields(thing):
            yield from held(getattr(thing, field.name), seen)
    elif isinstance(thing, dict):
        for value in thing.values():
            yield from held(value, seen)
    elif isinstance(thing, (tuple, list)):
        for value in thing:
            yield from held(value, seen)


def test_everything_a_result_holds_prints_in_a_few_lines(demo_result, plan):
    place = place_of(demo_result.region, demo_result.evidence, demo_result.movement)
    estimates = best_estimates(demo_result.evidence, demo_result.movement)
    run = run_model(estimates, demo_result.movement, place=place, seasons=2)
    survey = spreadnet.survey_next(demo_result)
    foretold = spreadnet.hindcast(demo_result.region, from_year=2022, draws=1)
    seen = set()
    for thing in (demo_result, plan, run, place, estimates, survey, foretold):
        for one in held(thing, seen):
            assert len(repr(one).splitlines()) <= MOST_LINES, type(one)
            assert len(repr(one)) < 900, type(one)
    assert len(seen) > 30


def test_a_repr_tells_sizes_not_contents(demo_result):
    assert repr(demo_result.evidence).startswith("Evidence(traffic=<Traffic>, shares=<Shares>")
    assert "distance_km=float64 (104, 62)" in repr(demo_result.movement)
    assert shown(pd.DataFrame({"a": [1, 2]})) == "table 2 x 1"
    assert shown("x" * 99) == f"'{'x' * 36}..."


def test_html_of_region_result_and_plan_is_short_and_cautions(demo_result, plan):
    for thing in (demo_result.region, demo_result, plan):
        page = thing._repr_html_()
        assert len(page) < 6000
        assert "model estimates with intervals, not findings" in page
        assert demo_result.region.settings.name in page


def test_html_escapes_names_from_files(demo_result):
    def marked(table):
        return table.assign(name="<script>alert(1)</script>")

    region = demo_result.region
    settings = replace(region.settings, name="<b>Bay</b> & more")
    region = replace(region, settings=settings, landings=marked(region.landings))
    result = replace(demo_result, region=region, landings=marked(demo_result.landings))
    for page in (region._repr_html_(), result._repr_html_(), result.compare(result)._repr_html_()):
        assert "<b>" not in page
        assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in result._repr_html_()
    assert "<i>" not in card("<i>", lines=["<i>"], cautions=["<i>"])


def test_the_first_landings_as_a_table_in_words(demo_result):
    table = demo_result.top(10)
    assert list(table["rank"]) == list(range(1, 11))
    row = demo_result.landings.loc[table.index[0]]
    odds = float(f"{1 / row['avoided_per_100_hours']:.2g}")
    words = f"1 in {odds:,.0f} (1 in "
    assert table["avoided per 100 hours"].iloc[0].startswith(words)
    assert table["rank, 90% interval"].iloc[0] == f"{row['rank_low']} to {row['rank_high']}"
    assert row["reasons"].startswith(table["main reason"].iloc[0])
    assert len(demo_result.top(3)) == 3
    with pytest.raises(ValueError, match="Invalid count '0'"):
        demo_result.top(0)
    unranked = demo_result.landings.assign(rank=pd.array([None] * 104, dtype="Int64"))
    assert demo_result.top().columns.equals(replace(demo_result, landings=unranked).top().columns)
    assert replace(demo_result, landings=unranked).top().empty


def test_a_result_compared_with_itself_keeps_all_and_loses_nothing(demo_result):
    same = demo_result.compare(demo_result)
    assert same.kept == 10
    assert same.lost == pytest.approx(0, abs=1e-12)
    assert (same.table["moved"] == 0).all()
    assert "10 of the first 10" in repr(same)
    assert "as many as by the order here" in repr(same)


def test_another_order_loses_what_its_hours_avoid_less_here(demo_result, other):
    """The loss agrees with the other's hours worked out by hand under the estimates here."""
    compared = demo_result.compare(other)
    runs = [
        run_model(
            best_estimates(one.evidence, one.movement),
            one.movement,
            place=place_of(one.region, one.evidence, one.movement),
            seasons=demo_result.seasons,
        )
        for one in (demo_result, other)
    ]
    hours = place_ranked(
        demo_result.region.settings.hours, runs[0].reach, value=runs[1].value_after
    )
    assert compared.avoided_by_other == pytest.approx(avoided_by(runs[0], {"one": hours})[0])
    assert compared.avoided == pytest.approx(demo_result.comparison.loc["ranked", "avoided"])
    assert 0 < compared.lost < 1
    assert f"{compared.lost:.0%} fewer than by the order here" in repr(compared)
    first = demo_result.landings["rank"] <= 10
    there = other.landings["rank"] <= 10
    assert compared.kept == (first & there).sum() < 10
    moved = other.landings["rank"] - demo_result.landings["rank"]
    assert compared.table["moved"].sort_index().equals(moved.rename("moved").sort_index())
    assert list(compared.table["rank"]) == sorted(compared.table["rank"])


def test_results_for_other_landings_or_blocks_are_not_compared(demo_result):
    fewer = replace(demo_result, landings=demo_result.landings.iloc[1:])
    with pytest.raises(ValueError, match="1 landings are in only one"):
        demo_result.compare(fewer)
    traffic = demo_result.evidence.traffic
    late = replace(traffic, day_blocks=traffic.day_blocks.assign(block="late"))
    evidence = replace(demo_result.evidence, traffic=late)
    with pytest.raises(ValueError, match="other time blocks"):
        demo_result.compare(replace(demo_result, evidence=evidence))


def test_numbers_of_no_size_are_shown_as_numbers():
    assert shown(np.float64(0.5)) == "0.5"
    assert shown({}) == "{}"
