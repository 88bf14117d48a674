"""The whole chain on the demo region: what any ranking must do, whatever the numbers."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import spreadnet
from spreadnet.errors import InputError
from spreadnet.outputs.map import map_html


def quick(region, **options):
    return spreadnet.assess(region, **{"draws": 4, "seed": 2, **options})


def empty(table):
    return table.iloc[:0]


@pytest.fixture(scope="module")
def result(demo_result):
    return demo_result


def test_tables_stand_in_the_order_of_their_ids(result):
    assert list(result.landings.index) == sorted(result.region.landings.index)
    assert list(result.lakes.index) == sorted(result.region.lakes.index)


def test_every_landing_has_a_number_an_interval_and_reasons(result):
    table = result.landings
    assert (table["avoided_low"] <= table["avoided_per_100_hours"]).all()
    assert (table["avoided_per_100_hours"] <= table["avoided_high"]).all()
    assert (table["rank_low"] <= table["rank"]).all()
    assert (table["rank"] <= table["rank_high"]).all()
    assert table["chance_first_5"].le(table["chance_first_10"]).all()
    assert table["reasons"].str.len().gt(60).all()
    assert not table["reasons"].str.contains("nan|None").any()


def test_parts_add_up_to_the_whole(result):
    table = result.landings
    assert (table["avoided_leaving"] + table["avoided_arriving"]).to_numpy() == pytest.approx(
        table["avoided_per_100_hours"].to_numpy()
    )


def test_landings_never_visited_are_marked_and_less_sure(result):
    table = result.landings
    width = np.log(table["launches_high"] / table["launches_low"])
    assert 10 < (~table["visited"]).sum() < 90
    assert width[~table["visited"]].median() > 2 * width[table["visited"]].median()
    assert table.loc[~table["visited"], "reasons"].str.contains("boats were not counted here").all()


def test_ranked_hours_avoid_more_than_the_same_hours_elsewhere(result):
    ways = result.comparison
    assert ways["hours_a_season"].to_numpy() == pytest.approx(result.region.settings.hours)
    assert ways.loc["ranked", "avoided"] > ways.loc["busiest first", "avoided"]
    assert ways.loc["ranked", "avoided"] > ways.loc["equal hours", "avoided"]
    assert (ways["avoided_low"] <= ways["avoided"]).all()


def test_landings_that_cannot_be_staffed_get_no_hours(result):
    table = result.landings
    barred = ~table["can_staff"]
    assert barred.sum() > 0
    hours = table[["hours_ranked", "hours_busiest_first", "hours_equal_hours"]]
    assert (hours[barred] == 0).all(axis=None)


def test_the_marginal_hour_agrees_with_working_it(result):
    """The adjoint's figure per hour equals what a small number of hours avoids, worked out anew."""
    from spreadnet.decisions.draws.run import avoided_by, run_model
    from spreadnet.model.estimates import best_estimates
    from spreadnet.model.inputs import place_of

    place = place_of(result.region, result.evidence, result.movement)
    run = run_model(
        best_estimates(result.evidence, result.movement),
        result.movement,
        place=place,
        seasons=result.seasons,
    )
    best = run.best_block()
    leaving, arriving = run.per_100_hours(best)
    hours = np.zeros_like(run.reach.boats)
    for k in (0, 17, 60):
        one = hours.copy()
        one[k, best[k]] = 0.01
        avoided = avoided_by(run, {"one": one})[0]
        per_100 = avoided / (0.01 * result.seasons) * 100
        assert per_100 == pytest.approx(leaving[k] + arriving[k], rel=1e-3)


def test_same_seed_same_answer_and_more_draws_keep_the_first_ones(result):
    one = quick(result.region)
    two = quick(result.region)
    pd.testing.assert_frame_equal(
        pd.DataFrame(one.landings.drop(columns="geometry")),
        pd.DataFrame(two.landings.drop(columns="geometry")),
    )
    other = quick(result.region, seed=3)
    assert not np.allclose(one.landings["avoided_high"], other.landings["avoided_high"])
    # The plug-in ranking does not depend on draws.
    assert list(one.landings["rank"]) == list(other.landings["rank"])


def test_inputs_are_not_changed(result):
    region = result.region
    before = {n: getattr(region, n).copy() for n in ("lakes", "landings", "visits", "contacts")}
    quick(region)
    for name, table in before.items():
        pd.testing.assert_frame_equal(pd.DataFrame(getattr(region, name)), pd.DataFrame(table))


def test_one_species_alone_can_be_run(result):
    alone = quick(result.region, species=["eurasian_watermilfoil"])
    assert list(alone.totals.index) == ["eurasian_watermilfoil"]
    with pytest.raises(InputError, match="'dragon' is not in scope"):
        quick(result.region, species=["dragon"])


@pytest.mark.slow
def test_longer_looks_find_more_infestations(result):
    totals = [
        quick(result.region, seasons=seasons).totals["new_infestations"].sum()
        for seasons in (1, 3, 8)
    ]
    assert totals[0] < totals[1] < totals[2]


def test_everything_infested_means_nothing_to_rank(result):
    region = result.region
    rows = [
        {"lake_id": lake, "species": name, "status": "present"}
        for lake in region.lakes.index
        for name in region.settings.species
    ]
    status = pd.DataFrame(rows).reindex(columns=region.status.columns)
    status = status.astype(region.status.dtypes.to_dict())
    full = quick(replace(region, status=status))
    assert full.landings["rank"].isna().all()
    assert (full.landings["avoided_per_100_hours"] == 0).all()
    assert full.totals["new_infestations"].sum() == 0
    assert any(note.code == "no-ranking" for note in full.notes)


def test_only_outside_boats_threaten_a_region_with_nothing_infested(result):
    region = result.region
    none = replace(
        region,
        status=empty(region.status),
        settings=replace(region.settings, assumptions={"occupancy": 1e-9, "outside_infested": 0.2}),
    )
    run = quick(none)
    assert run.totals["new_infestations"].sum() > 0
    assert run.landings["leaving_share"].median() < 0.3


def test_without_visits_or_contacts_every_landing_still_gets_a_number(result):
    region = result.region
    bare = replace(region, visits=empty(region.visits), contacts=empty(region.contacts))
    run = quick(bare)
    assert run.movement.kind == "assumed"
    assert run.landings["avoided_per_100_hours"].gt(0).any()
    assert not run.landings["visited"].any()
    assert {"movement-assumed", "unvisited"} <= {note.code for note in run.notes}


def test_a_table_of_movements_replaces_the_interviews(result):
    region = result.region
    with_landing = list(dict.fromkeys(region.landings["lake_id"]))[:3]
    movements = pd.DataFrame(
        {
            "from_lake_id": with_landing[:2],
            "to_lake_id": with_landing[1:],
            "trips": [120.0, 80.0],
        }
    )
    run = quick(replace(region, movements=movements))
    assert run.movement.kind == "movements"
    assert run.trips["trips"].sum() == pytest.approx(200)


def test_a_law_of_ones_own_is_used(result):
    def nearest_only(mass, distance_km):
        return mass * np.exp(-distance_km / 2.0)

    run = quick(result.region, law=nearest_only)
    assert run.movement.kind == "own law"
    far = (run.trips["trips"] * run.trips["distance_km"]).sum() / run.trips["trips"].sum()
    usual = result.trips
    assert far < (usual["trips"] * usual["distance_km"]).sum() / usual["trips"].sum()


def test_one_landing_only_has_nothing_to_choose(result):
    region = result.region
    landing = region.landings.index[:1]
    visits = region.visits[region.visits["landing_id"].isin(landing)]
    contacts = region.contacts[region.contacts["visit_id"].isin(visits.index)]
    one = replace(
        region,
        landings=region.landings.loc[landing],
        visits=visits,
        contacts=contacts.reset_index(drop=True),
    )
    run = quick(one)
    assert len(run.landings) == 1
    assert len(run.trips) == 0


@pytest.mark.parametrize("options", [{"draws": 0}, {"seed": -1}, {"seasons": 0}])
def test_numbers_out_of_range_are_refused(result, options):
    with pytest.raises(ValueError, match="Invalid"):
        quick(result.region, **options)


@pytest.mark.slow
def test_the_four_steps_alone_give_the_same(result):
    region = result.region
    evidence = spreadnet.gather_evidence(region)
    movement = spreadnet.build_model(region, evidence, seed=2)
    alone = spreadnet.rank_landings(region, evidence, movement=movement, draws=4, seed=2)
    assert alone.landings["rank"].equals(quick(region).landings["rank"])


def test_a_species_found_only_last_year_can_be_run(result):
    region = result.region
    status = region.status.iloc[:1].copy()
    status["status"] = "present"
    status["first_found"] = pd.Timestamp(2026, 7, 1)
    run = quick(replace(region, status=status))
    assert run.landings["avoided_per_100_hours"].gt(0).any()


def test_parts_of_another_region_are_refused(result):
    region = result.region
    turned = replace(region, lakes=region.lakes.set_axis(region.lakes.index[::-1]))
    with pytest.raises(ValueError, match="made from the same region"):
        spreadnet.rank_landings(turned, result.evidence, movement=result.movement, draws=1)
    one = replace(region, settings=replace(region.settings, species={"dreissenid_mussel": 1.0}))
    with pytest.raises(ValueError, match="made from the same region"):
        spreadnet.rank_landings(one, result.evidence, movement=result.movement, draws=1)


@pytest.mark.parametrize("seed", [None, "5", 1.5])
def test_a_seed_that_is_no_whole_number_is_refused(result, seed):
    with pytest.raises(ValueError, match="Invalid"):
        quick(result.region, seed=seed)


def test_almost_nothing_to_avoid_still_gives_a_map(result):
    """Tiny weights: the key shows no sizes rather than failing after all the work."""
    region = result.region
    faint = dict.fromkeys(region.settings.species, 1e-6)
    lakes = region.lakes.assign(worth=1e-6)
    run = quick(replace(region, lakes=lakes, settings=replace(region.settings, species=faint)))
    assert "<html" in map_html(spreadnet.assessment_map(run))
