"""The finding in a line says no more than the comparison does."""

from dataclasses import replace

import pandas as pd
import pytest

from spreadnet.words.finding import finding, first_landings, unit


def with_avoided(result, ranked, busiest):
    comparison = result.comparison.copy()
    comparison.loc["ranked", "avoided"] = ranked
    comparison.loc["busiest first", "avoided"] = busiest
    return replace(result, comparison=comparison)


@pytest.mark.parametrize(
    ("ranked", "busiest", "words"),
    [
        (3.0, 1.0, "avoid 3.0 times the new infestations of busiest first"),
        (1.02, 1.0, "about as much"),
        (0.5, 1.0, "avoid less placed by this ranking"),
        (1.0, 0.0, "avoid far more"),
        (0.0, 0.0, "have nothing to avoid"),
    ],
)
def test_finding_follows_the_comparison(demo_result, ranked, busiest, words):
    assert words in finding(with_avoided(demo_result, ranked, busiest))


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
    assert finding(doubtful).endswith("avoid more than busiest first in only 6 of 10 draws")
