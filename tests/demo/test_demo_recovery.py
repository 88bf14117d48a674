"""
The known parameters of the demo, asked back: ten regions made from the model and read blind.

The generator is written independently (see `demo_region/make_demo.py`). Its middle values are those
that the model assumes, so this is a best case.

How bars are set: `REGIONS` holds what one region gave over 28 of them (seeds 27 to 54; the first
ten are run here). A mean of ten has the standard error sd / sqrt(10). It must lie within three of
them of the truth where there is one, else of the mean of the 28; where more is better, not more
than two below that mean. Estimates are the same whatever the seed of the draws, so a mean that
leaves its bar is another model, not bad luck. Intervals of 90% that come once or twice a region are
counted: of ten, fewer than 7 hold the truth once in 78 such tests, of twenty fewer than 16 once
in 23 (binomial).
"""

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_trips import dense_trips
from other_worlds.independent import true_spread
from scipy.stats import spearmanr

import spreadnet
from spreadnet.decisions.draws.run import Run
from spreadnet.decisions.hours.reach import hour_reach
from spreadnet.evidence.estimating.traffic import TrafficDraw
from spreadnet.model.carriage import ROUTES
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of, spread_inputs
from spreadnet.model.spread.expected import expected_spread, gradient, new_infestations
from spreadnet.model.spread.types import Coverage

SEEDS = range(27, 37)
FUTURES = 2000  # played for the truth: two such truths agree in rank to 0.99
YEAR = 2026  # last year of the demo's past
pytestmark = pytest.mark.slow


def load_maker():
    path = Path(__file__).parents[2] / "demo_region" / "make_demo.py"
    spec = importlib.util.spec_from_file_location("demo_maker", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["demo_maker"] = module
    spec.loader.exec_module(module)
    return module


def true_run(maker, made, region, result):
    """The model run on the truth in place of estimates: what a perfect survey would give."""
    known, truth = made.known, made.truth
    hours = result.evidence.traffic.day_blocks["hours_in_season"].to_numpy()
    season_hours = maker._season_hours()
    whole = np.where(season_hours.sum(-1) > 0, season_hours.sum(-1), 1)

    def day_blocks(rate):
        return ((rate * season_hours).sum(3) / whole).reshape(len(known.launches), -1)

    one = int(np.argmax(known.launches))  # months are alike at all landings
    by_month = known.rate[one] / ((known.rate * season_hours).sum(3) / whole)[one][:, :, None]
    traffic = TrafficDraw(
        launches=known.launches,
        launch_rate=day_blocks(known.rate),
        retrieval_rate=day_blocks(known.retrieval_rate),
        refusal=truth.refusal,
        area_exponent=truth.lake_area,
        by_month=by_month.reshape(-1, by_month.shape[-1]),
        visit_spread=truth.visit_spread,
    )
    assert traffic.launch_rate @ hours == pytest.approx(known.launches, rel=1e-6)
    infested = {n: (years <= YEAR).astype(float) for n, years in known.infested_from.items()}
    estimates = replace(
        best_estimates(result.evidence, result.movement),
        traffic=traffic,
        shares=known.shares[0],
        gaps=known.gap_rates,
        ballast=known.ballast,
        education_ratio=1 - truth.corrected,
        told=None,
        contacts_per_hour=truth.contacts_per_hour,
        species={
            one.name: as_made(result.evidence.species[one.name], one) for one in truth.species
        },
    )
    place = place_of(region, result.evidence, result.movement)
    inputs, _ = spread_inputs(estimates, result.movement, place=place)
    establish = {one.name: one.establish for one in truth.species}
    inputs = {
        name: replace(
            one,
            trips=dense_trips(known.trips),
            establish=establish[name],
            habitat=known.habitat[name],
            initial=infested[name],
        )
        for name, one in inputs.items()
    }
    nobody = Coverage.none(len(known.launches))
    paths = {n: expected_spread(i, nobody, seasons=result.seasons) for n, i in inputs.items()}
    slopes = {n: gradient(i, nobody, paths[n]) for n, i in inputs.items()}
    reach = hour_reach(estimates, place)
    return Run(region.settings.species, inputs, paths, slopes, {}, reach, result.seasons)


def as_made(species, made):
    """What is assumed of a species, with the carriage that the demo's boats really had."""
    true = {f"carry_{route}": chance for route, chance in zip(ROUTES, made.carry, strict=True)}
    return species.with_changes(true)


@pytest.fixture(scope="module")
def recovered(tmp_path_factory):
    """One row a region: how estimates compare with the truth."""
    maker = load_maker()
    rows = []
    for seed in SEEDS:
        made = maker.make_region(seed)
        folder = tmp_path_factory.mktemp(f"demo{seed}")
        maker.write_region(made, folder)
        region = spreadnet.read_region(folder)
        result = spreadnet.assess(region, draws=60, seed=1)
        rows.append(compare(maker, made, region, result))
    return pd.DataFrame(rows)


def inside(low, true, high):
    return np.mean((np.asarray(low) <= true) & (true <= np.asarray(high)))


def compare(maker, made, region, result):
    known, truth = made.known, made.truth
    evidence = result.evidence
    row = {}
    traffic = evidence.traffic.table
    for name, of in (("visited", traffic["visited"]), ("unvisited", ~traffic["visited"])):
        mask = of.to_numpy(bool)
        row[f"launches_{name}"] = traffic["launches"][mask].sum() / known.launches[mask].sum()
        row[f"launches_{name}_covered"] = inside(
            traffic["launches_low"][mask], known.launches[mask], traffic["launches_high"][mask]
        )
    gaps = evidence.gaps.table
    true_gaps = np.transpose(known.gap_rates, (2, 0, 1)).ravel()
    row["gaps_covered"] = inside(gaps["low"], true_gaps, gaps["high"])
    row["kappa"] = evidence.traffic.kappa / truth.kappa
    row["refusal"] = evidence.traffic.refusal
    hidden = expected = 0.0
    for name, status in evidence.status.items():
        unknown = ~status.known
        truly = known.infested_from[name][unknown] <= YEAR
        chance = result.lakes[f"infested_chance_{name}"].to_numpy()[unknown]
        hidden += truly.sum()
        expected += chance.sum()
        if truly.any():
            pairs = chance[truly][:, None] - chance[~truly]
            row[f"hidden_told_{name}"] = np.mean((pairs > 0) + 0.5 * (pairs == 0))
        one = next(s for s in truth.species if s.name == name)
        row[f"establish_{name}"] = np.log(result.calibration[name].establish / one.establish)
    row["hidden"], row["hidden_expected"] = hidden, expected
    coefficients = result.movement.fit.table()
    for name, true in (
        ("log_distance", -truth.distance_exponent),
        ("log_traffic", truth.traffic_exponent),
        ("log_area", truth.area_exponent),
    ):
        row[name] = coefficients.loc[name, "value"] - true
        row[f"{name}_covered"] = inside(
            coefficients.loc[name, "low"], true, coefficients.loc[name, "high"]
        )
    spread = true_spread(
        maker,
        made,
        year=YEAR,
        seasons=result.seasons,
        weights=region.settings.species,
        worth=region.lakes["worth"].to_numpy(float),
        futures=FUTURES,
    )
    true = spread.avoided
    run = true_run(maker, made, region, result)
    at_truth = np.sum(run.per_100_hours(run.best_block()), axis=0)
    row["at_truth_agreement"] = spearmanr(true, at_truth).statistic
    row["at_truth_avoided"] = at_truth.sum() / true.sum()
    new_at_truth = sum(new_infestations(i, run.paths[n]).sum() for n, i in run.inputs.items())
    row["at_truth_new"] = new_at_truth / sum(one.sum() for one in spread.new.values())
    table = result.landings
    score = table["avoided_per_100_hours"].to_numpy(float)
    row["rank_agreement"] = spearmanr(true, score).statistic
    row["busiest_agreement"] = spearmanr(true, traffic["launches"]).statistic
    row["first_ten"] = len(set(np.argsort(-true)[:10]) & set(np.argsort(-score)[:10]))
    row["score_covered"] = inside(table["avoided_low"], true, table["avoided_high"])
    true_rank = pd.Series(-true).rank().to_numpy()
    row["rank_covered"] = inside(table["rank_low"], true_rank, table["rank_high"])
    totals = [spread.new[name].sum() for name in result.totals.index]
    row["new_infestations"] = result.totals["new_infestations"].sum() / sum(totals)
    row["total_covered"] = inside(result.totals["low"], np.array(totals), result.totals["high"])
    return row


# Mean and standard deviation from region to region.
REGIONS = {
    "launches_visited": (1.004, 0.044),
    "launches_visited_covered": (0.896, 0.040),
    "launches_unvisited": (1.072, 0.165),
    "launches_unvisited_covered": (0.935, 0.042),
    "kappa": (1.353, 0.372),
    "gaps_covered": (0.885, 0.014),
    "refusal": (0.040, 0.002),
    "hidden_told_dreissenid_mussel": (0.865, 0.078),
    "hidden_told_eurasian_watermilfoil": (0.823, 0.104),
    "log_distance": (0.021, 0.071),
    "log_traffic": (0.006, 0.066),
    "log_area": (-0.007, 0.075),
    "rank_agreement": (0.678, 0.060),
    "lead": (0.278, 0.124),  # of the ranking over the busiest first, in rank agreement
    "first_ten": (5.107, 1.571),
    "score_covered": (0.950, 0.065),
    "rank_covered": (0.921, 0.030),
    "new_infestations": (0.954, 0.295),
}


def error(recovered, name):
    """Standard error of the mean over the regions."""
    return REGIONS[name][1] / len(recovered) ** 0.5


def near(recovered, name, truth=None):
    """Whether the mean lies within three standard errors of the truth, else of what was found."""
    centre = REGIONS[name][0] if truth is None else truth
    return abs(recovered[name].mean() - centre) <= 3 * error(recovered, name)


def good(recovered, name):
    """Whether the mean is no more than two standard errors below what was found."""
    return recovered[name].mean() >= REGIONS[name][0] - 2 * error(recovered, name)


def test_launches_are_recovered_where_counted_and_where_not(recovered):
    assert near(recovered, "launches_visited", 1)
    assert near(recovered, "launches_visited_covered", 0.9)
    assert near(recovered, "launches_unvisited", 1)
    # Where nobody counted the interval is somewhat wide: 0.94 of them hold the truth.
    assert near(recovered, "launches_unvisited_covered")
    # Busy landings are visited, which makes those seen look more alike than all are.
    assert near(recovered, "kappa")
    assert recovered["kappa"].mean() >= 1


def test_gap_rates_and_refusals_are_recovered(recovered):
    # A little below 0.9 in nearly every region: 0.885, with an error of 0.003 over the 28.
    assert near(recovered, "gaps_covered")
    assert near(recovered, "refusal", 0.04)


def test_hidden_infestations_are_neither_missed_nor_made_up(recovered):
    # Over all 28 regions 1.27 times as many are expected as there are; ten regions drawn from
    # them lie between 0.99 and 1.68 in 98 of 100 cases, these ten at 1.13.
    ratio = recovered["hidden_expected"].sum() / recovered["hidden"].sum()
    assert 0.96 <= ratio <= 1.35
    # A hidden lake gets a higher chance than a free one in most pairs; surveys alone give 0.57.
    for name in ("dreissenid_mussel", "eurasian_watermilfoil"):
        assert good(recovered, f"hidden_told_{name}")
        assert recovered[f"hidden_told_{name}"].mean() > 0.8


def test_movement_is_recovered(recovered):
    # Estimated traffic stands in for the true one, which draws its weight towards area.
    for name in ("log_distance", "log_traffic", "log_area"):
        assert near(recovered, name, 0), name
        assert recovered[f"{name}_covered"].sum() >= 7, name  # of ten


def test_establishment_is_recovered(recovered):
    names = [f"establish_{name}" for name in ("dreissenid_mussel", "eurasian_watermilfoil")]
    for scores in (recovered[name] for name in names):  # in standard deviations of the estimate
        assert abs(scores.mean()) <= 2 / len(scores) ** 0.5
        assert (scores.abs() < 1.645).sum() >= 8  # of ten; both together 16 of twenty
    assert recovered[names].abs().max(axis=None) < 2.6


def test_the_ranking_is_recovered_and_beats_traffic_alone(recovered):
    recovered = recovered.assign(lead=recovered["rank_agreement"] - recovered["busiest_agreement"])
    assert good(recovered, "rank_agreement")
    assert good(recovered, "lead")
    assert (recovered["lead"] > 0).all()  # as in all of the 28
    assert good(recovered, "first_ten")
    assert near(recovered, "rank_covered", 0.9)
    assert near(recovered, "score_covered", 0.9)


def test_totals_are_recovered(recovered):
    assert near(recovered, "new_infestations")
    assert 0.85 <= recovered["new_infestations"].median() <= 1.35
    assert recovered["total_covered"].mean() >= 0.9  # 18 of twenty


def test_the_model_at_the_truth_agrees_with_single_boats(recovered):
    # Over regions 27 to 30: ranks 0.993 to 0.995, sums 0.95 to 1.06 of the boats' own.
    assert recovered["at_truth_agreement"].min() > 0.98
    assert 0.9 <= recovered["at_truth_avoided"].mean() <= 1.1
    assert 0.9 <= recovered["at_truth_new"].mean() <= 1.1
