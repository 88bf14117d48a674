"""The table of landings says of each landing what the model found there."""

import re

import numpy as np
import pytest

from spreadnet.decisions.draws.run import run_model
from spreadnet.model.carriage.carriage import ROUTES
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.words import ANY_TIME
from spreadnet.words.reasons import GAP_WORDS


@pytest.fixture(scope="module")
def run(demo_result):
    return run_model(
        best_estimates(demo_result.evidence, demo_result.movement),
        demo_result.movement,
        place=place_of(demo_result.region, demo_result.evidence, demo_result.movement),
        seasons=demo_result.seasons,
    )


def test_the_gap_told_is_the_one_that_matters_on_the_side_that_matters(demo_result, run):
    told = 0
    for k, (share, words) in enumerate(
        demo_result.landings[["leaving_share", "reasons"]].itertuples(index=False)
    ):
        side = "leaving_routes" if share >= 0.5 else "arriving_routes"
        by_route = sum(run.weights[n] * getattr(s, side)[:, k] for n, s in run.slopes.items())
        route = ROUTES[int(np.argmax(by_route))]
        if route != "residual":
            direction = "leaving" if share >= 0.5 else "arriving"
            assert f"of boats {direction} have {GAP_WORDS[route]}" in words
            told += 1
    assert told > 50


def test_counts_told_are_those_of_the_table_of_gap_rates(demo_result):
    table = demo_result.evidence.gaps.table
    pattern = re.compile(r"boats (leaving|arriving) have plants attached \((\d+) of (\d+) checked")
    seen = 0
    for landing_id, words in demo_result.landings["reasons"].items():
        found = pattern.search(words)
        if found:
            direction = {"leaving": "retrieving", "arriving": "launching"}[found[1]]
            row = table.loc[(landing_id, direction, "plants")]
            assert (int(found[2]), int(found[3])) == (row["found"], row["checked"])
            seen += 1
    assert seen > 0


def test_shares_of_where_boats_come_from_add_up(demo_result):
    columns = [f"from_{water}" for water in ("same", "other", "outside", "none")]
    assert demo_result.landings[columns].sum(axis=1).to_numpy() == pytest.approx(1)


def test_best_time_is_where_an_hour_avoids_most(demo_result, run):
    leaving, arriving = run.hour_values()
    values = leaving + arriving
    blocks = run.reach.day_blocks
    labels = list(blocks["day_type"] + " " + blocks["block"])
    for k, when in enumerate(demo_result.landings["best_when"]):
        assert values[k, labels.index(when)] == pytest.approx(values[k].max(), rel=1e-9)


def test_bridging_boats_are_those_that_go_from_where_a_species_is_to_where_it_is_not(
    demo_result, run
):
    """Trip by trip at 100 hours of the best time, from the matrix of all trips."""
    evidence, table = demo_result.evidence, demo_result.landings
    one = next(iter(run.inputs.values()))
    matrix, lake, block = one.trips.matrix(), one.landing_lake, run.best_block()
    row, bridges = np.arange(len(table)), {}
    for name, status in evidence.status.items():
        has = status.known[lake]
        bridges[f"bridging_boats_per_100_hours_{name}"] = has[:, None] & ~has[None, :]
    bridges["bridging_boats_per_100_hours"] = np.any(list(bridges.values()), axis=0)
    for column, joined in bridges.items():
        trips = np.where(joined, matrix, 0.0)
        met = run.reach.leaving[row, block] * trips.sum(axis=1)
        met += run.reach.arriving[row, block] * trips.sum(axis=0)
        named = ~table["best_when"].str.endswith(ANY_TIME).to_numpy(bool)
        assert table[column].to_numpy()[named] == pytest.approx(100 * met[named])
        assert (met[named] > 0).sum() > 50
