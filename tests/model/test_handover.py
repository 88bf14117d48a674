"""What finds, interviews and checks say, handed to landings: by hand, or by what it must keep."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.special import logit

from spreadnet.evidence.estimating.gap_rates import Gaps
from spreadnet.model.estimates import best_estimates, drawn_estimates
from spreadnet.model.handover import (
    OTHER,
    SHARE_BOUNDS,
    established_told,
    habitat_told,
    load_told,
    outside_told,
    shares_told,
    traffic_named,
    traffic_told,
)
from spreadnet.model.inputs import place_of, spread_inputs
from spreadnet.model.spread import lake_rates

NAME = "dreissenid_mussel"


@pytest.fixture(scope="module")
def pieces(demo_result):
    evidence, movement = demo_result.evidence, demo_result.movement
    return SimpleNamespace(
        evidence=evidence,
        movement=movement,
        told=movement.finds.best(),
        estimates=best_estimates(evidence, movement),
        place=place_of(demo_result.region, evidence, movement),
        counted=evidence.traffic.table["visited"].to_numpy(bool),
        log_area=movement.finds.waters.log_area[movement.landing_lake],
    )


def test_counted_launches_stay_and_others_grow_with_area_as_finds_say(pieces):
    before = pieces.evidence.traffic.best()
    steep = replace(pieces.told, area=pieces.told.area + 2.0)
    after = traffic_told(before, steep, evidence=pieces.evidence, movement=pieces.movement)
    flat = traffic_told(before, pieces.told, evidence=pieces.evidence, movement=pieces.movement)
    counted = pieces.counted
    assert (after.launches[counted] == before.launches[counted]).all()
    more = np.log(after.launches / flat.launches)[~counted]
    slope = np.polyfit(pieces.log_area[~counted], more, 1)[0]
    assert slope > 0
    assert np.corrcoef(pieces.log_area[~counted], more)[0, 1] > 0.99
    assert after.launch_rate / before.launch_rate == pytest.approx(
        np.outer(after.launches / before.launches, np.ones(before.launch_rate.shape[1]))
    )


def test_shares_stay_shares_and_own_answers_count_as_before(pieces):
    shares = pieces.evidence.shares.mean()
    after = shares_told(
        shares,
        pieces.estimates.traffic.launches,
        replace(pieces.told, access=pieces.told.access + 1.0),
        evidence=pieces.evidence,
        movement=pieces.movement,
        coefficients=pieces.movement.coefficients,
    )
    assert after.sum(axis=1) == pytest.approx(1)
    assert (after[:, OTHER] >= SHARE_BOUNDS[0] - 1e-12).all()
    assert (after[:, OTHER] <= SHARE_BOUNDS[1] + 1e-12).all()
    concentration = pieces.evidence.shares.concentration.sum(axis=1)
    own = pieces.evidence.shares.answers.sum(axis=1) / concentration
    moved = np.abs(logit(after[:, OTHER]) - logit(np.clip(shares[:, OTHER], 1e-6, 1 - 1e-6)))
    assert own.max() > 0.8
    assert moved[own > 0.8].mean() < 0.4 * moved[own < 0.1].mean()


def test_loads_go_with_area_where_nobody_checked_and_stay_in_the_mean(pieces):
    checked = pieces.evidence.gaps.checked
    launches = pieces.estimates.traffic.launches
    one = pieces.told.species[NAME]
    pull = pieces.movement.area_pull(launches, coefficients=pieces.movement.coefficients)
    options = {
        "movement": pieces.movement,
        "launches": launches,
        "coefficients": pieces.movement.coefficients,
    }
    factor = load_told(replace(one, source_area=pull - 0.2), checked=checked, **options)
    assert (factor[checked] == 1).all()
    slope = np.polyfit(pieces.log_area[~checked], np.log(factor[~checked]), 1)[0]
    assert slope == pytest.approx(-0.2, abs=0.02)
    nobody = load_told(
        replace(one, source_area=pull - 0.2), checked=np.zeros_like(checked), **options
    )
    assert launches @ nobody == pytest.approx(launches.sum())


def checks(slope, *, landings=60, boats=200, seed=1):
    """A table of gaps on boats taken out whose log goes with lake area."""
    rng = np.random.default_rng(seed)
    log_area = rng.normal(5, 1.2, landings)
    rows = []
    for place, size in enumerate(log_area):
        for direction in ("launching", "retrieving"):
            for gap, rate in (("plants", 0.1), ("plug", 0.02)):
                mean = rate * np.exp(slope * (size - 5) * (direction == "retrieving"))
                found = rng.binomial(boats, min(mean, 1))
                rows.append(
                    (place, direction, gap, boats * (place % 4 > 0), found * (place % 4 > 0))
                )
    columns = ["landing_id", "direction", "gap", "checked", "found"]
    table = pd.DataFrame(rows, columns=columns).set_index(columns[:3])
    return Gaps(table, (1, 1), (0, 0), np.zeros(landings), (), None), log_area


@pytest.mark.parametrize("slope", [0.0, -0.3, 0.25])
def test_checks_say_how_loads_go_with_lake_size(slope):
    errors = []
    for seed in range(20):
        gaps, log_area = checks(slope, seed=seed)
        found, error = gaps.leaving_slope(log_area)
        errors.append((found - slope) / error)
    assert abs(np.mean(errors)) < 0.6  # two standard errors of a mean of twenty are 0.45
    assert np.std(errors) < 1.6


def test_few_checks_or_lakes_alike_say_nothing():
    gaps, log_area = checks(0.1)
    assert gaps.leaving_slope(np.full(len(log_area), 3.0)) is None
    few = replace(gaps, table=gaps.table.loc[:4])
    assert few.leaving_slope(log_area[:5]) is None


@pytest.mark.parametrize("share", [0.001, 0.2, 0.9])
def test_boats_from_outside_get_the_share_that_finds_leave_them(share):
    factor = outside_told(share, inside=7.0, outside=3.0)
    assert 3 * factor / (7 + 3 * factor) == pytest.approx(share)
    assert outside_told(share, inside=0.0, outside=3.0) == 1.0


def test_as_many_finds_come_as_are_foretold(pieces):
    rng = np.random.default_rng(3)
    one = pieces.told.species[NAME]
    lakes = len(one.season.hazard)
    introductions, weight = rng.gamma(1, 0.05, lakes), rng.uniform(0.5, 1, lakes)
    habitat, streams = rng.uniform(0.1, 1, lakes), np.zeros(lakes)
    noticed, power, speed = np.full(lakes, 0.8), 1.3, 0.5
    establish = established_told(
        one,
        introductions=introductions,
        streams=streams,
        habitat=habitat,
        weight=weight,
        noticed=noticed,
        allee_exponent=power,
        found_in_year=speed,
    )
    infestations = weight @ (habitat * (establish * introductions) ** power)
    late = speed / (1 - (1 - speed) * np.exp(-one.growth))
    assert infestations * 0.8 * late == pytest.approx(weight @ one.season.hazard)


def test_habitat_takes_only_what_traffic_does_not(pieces):
    """With a slope by area that launches already have, depth and access alike, nothing is left."""
    one = pieces.told.species[NAME]
    traffic, told = pieces.evidence.traffic, pieces.told
    base = habitat_told(one, told, traffic=traffic, movement=pieces.movement)
    steep = habitat_told(
        replace(one, area=one.area + 0.1), told, traffic=traffic, movement=pieces.movement
    )
    inside = (base > np.exp(-2.5)) & (base < np.exp(2.5))
    log_area = pieces.movement.finds.waters.log_area
    assert np.log(steep / base)[inside] == pytest.approx(0.1 * log_area[inside])


def test_lakes_named_move_only_launches_that_nobody_counted(pieces):
    before = pieces.evidence.traffic.best()
    options = {
        "evidence": pieces.evidence,
        "movement": pieces.movement,
        "coefficients": pieces.movement.coefficients,
    }
    after = traffic_named(before, **options)
    at = pieces.movement.named.lakes[pieces.movement.group]
    assert at.any()
    assert (after.launches[~at] == before.launches[~at]).all()
    assert (after.launches[at] != before.launches[at]).all()
    assert not (at & pieces.counted).any()


def test_draws_of_launches_lie_about_the_best_and_closer_than_before(pieces):
    at = pieces.movement.named.lakes[pieces.movement.group]
    drawn, plain = [], []
    bare = replace(pieces.movement, named=None)
    for number in range(150):
        one = drawn_estimates(pieces.evidence, pieces.movement, seed=1, draw=number)
        other = drawn_estimates(pieces.evidence, bare, seed=1, draw=number)
        drawn.append(one.traffic.launches[at])
        plain.append(other.traffic.launches[at])
    spread = np.std(np.log(drawn), axis=0) / np.std(np.log(plain), axis=0)
    assert spread.mean() < 0.9
    best = pieces.estimates.traffic.launches[at]
    assert np.mean(drawn, axis=0).sum() / best.sum() == pytest.approx(1, abs=0.15)


def test_lakes_that_boats_reached_from_finds_are_likeliest_to_hold_it_unseen(pieces):
    """Ranks of chances follow boats' introductions from the lakes found, year by year."""
    inputs, _ = spread_inputs(pieces.estimates, pieces.movement, place=pieces.place)
    one = inputs[NAME]
    finds = pieces.movement.finds.species[NAME].fit.finds
    rates = lake_rates(one)
    met = np.zeros(len(one.initial))
    for number in finds.before:
        infested = np.zeros(len(one.initial))
        infested[finds.sources[:number]] = 1.0
        reached = np.zeros(len(one.initial))
        reached[rates.lakes] = rates.sent(infested[rates.lakes][None])[0] + rates.outside
        met += one.habitat * (reached**one.allee_exponent + infested @ one.streams)
    unknown = ~pieces.place.status[NAME].known
    noticed = pieces.place.status[NAME].watched(
        detection=pieces.estimates.species[NAME].values["detection"],
        found_anyway=pieces.estimates.assumptions["found_anyway"],
    )
    odds = (np.expm1(met) * (1 - noticed))[unknown]
    chance = one.initial[unknown]
    some = (odds > 1e-12) & (chance > 1e-12) & (chance < 1 - 1e-9)
    level = logit(chance[some]) - np.log(odds[some])
    # Establishment and boats from outside were settled anew since: they move levels alike.
    assert np.ptp(level) < 0.05
