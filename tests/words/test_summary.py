"""The finding in a line says no more than the comparison does."""

from dataclasses import replace

import pandas as pd
import pytest

from spreadnet.words.finding import Size, compared, finding, first_landings, headline, unit


def with_avoided(result, ranked, busiest):
    comparison = result.comparison.copy()
    comparison.loc["ranked", "avoided"] = ranked
    comparison.loc["busiest first", "avoided"] = busiest
    return replace(result, comparison=comparison)


@pytest.mark.parametrize(
    ("ranked", "busiest", "words"),
    [
        (3.0, 1.0, "; 3.0 times what the same hours avoid busiest first"),
        (1.02, 1.0, "; about as much"),
        (0.5, 1.0, "; less than the same hours avoid"),
        (1.0, 0.0, "; far more"),
    ],
)
def test_what_is_said_of_busiest_first_follows_the_comparison(demo_result, ranked, busiest, words):
    assert words in compared(with_avoided(demo_result, ranked, busiest))


def test_hours_that_avoid_nothing_are_said_to(demo_result):
    nothing = with_avoided(demo_result, 0.0, 0.0)
    assert finding(nothing).endswith("have nothing to avoid where educators can be placed")
    assert compared(nothing) == ""


@pytest.mark.parametrize(
    ("avoided", "weighted", "words"),
    [
        (0.0417, False, "About 1 in 24 that one infestation is avoided in 5 seasons; 3,000 boats"),
        (0.00058, True, "About 1 in 1,700 that one infestation (weighted) is avoided in 5 seasons"),
        (2.31, False, "About 2.3 infestations avoided in 5 seasons; 3,000 boats met a season, 700"),
        (1e-8, False, "About under 1 in 1,000,000 that one infestation is avoided in 5 seasons"),
    ],
)
def test_the_headline_gives_the_size_and_no_ratio(avoided, weighted, words):
    told = headline(Size(320, 5, 5, avoided, 2984.0, 702.0, weighted=weighted))
    assert told.startswith(words)
    assert "700 of them with something to put right (320 hours a season at 5 landings)" in told
    assert "times" not in told


def test_the_finding_is_the_size_of_the_ranked_hours(demo_result):
    row = demo_result.comparison.loc["ranked"]
    assert finding(demo_result).startswith(f"About 1 in {1 / row['avoided']:.2g} that one")
    assert 0 < row["boats_with_a_gap_a_season"] < row["boats_met_a_season"]


def test_no_ranking_is_said(demo_result):
    landings = demo_result.landings.copy()
    landings["rank"] = pd.array([None] * len(landings), dtype="Int64")
    unranked = replace(demo_result, landings=landings)
    assert finding(unranked).startswith("No landing can be ranked")
    text = first_landings(unranked, shown=10)
    assert "\n\n\n" not in text
    assert "Avoided =" not in text


def test_weights_are_said_only_where_there_are_any(demo_result):
    assert unit(demo_result).startswith("weighted new infestations avoided over 5 seasons")
    region = demo_result.region
    lakes = region.lakes.assign(worth=1.0)
    settings = replace(region.settings, species=dict.fromkeys(region.settings.species, 1.0))
    plain = replace(demo_result, region=replace(region, lakes=lakes, settings=settings))
    assert unit(plain).startswith("new infestations avoided over 5 seasons per 100 hours")


def test_hours_really_placed_are_told(demo_result):
    text = first_landings(demo_result, shown=3)
    for way, row in demo_result.comparison.iterrows():
        assert f"{way:<14} {row['hours_a_season']:,.0f} h at" in text
    assert "for each weighted infestation avoided" in text
    assert (
        "Without education, new infestations expected in 5 seasons" in text
    )  # the demo gives a cost an hour


def test_a_finding_that_few_draws_support_gives_no_factor(demo_result):
    doubtful = with_avoided(demo_result, 3.0, 1.0)
    doubtful.comparison.loc["busiest first", "chance_ranked_is_better"] = 0.62
    assert compared(doubtful).endswith("avoid busiest first in only 6 of 10 repeats")
