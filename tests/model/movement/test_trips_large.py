"""Movement of a large region: no matrix that need not be, and the same trips."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import spearmanr

import spreadnet
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of, spread_inputs
from spreadnet.model.movement import movement as module
from spreadnet.model.movement.interviews import build_interviews, narrowed
from spreadnet.model.spread.expected import expected_spread, gradient, total
from spreadnet.model.spread.types import Coverage
from spreadnet.model.trips.lumped import LumpedTrips


@pytest.fixture(scope="module")
def parts(demo_region):
    evidence = spreadnet.gather_evidence(demo_region)
    return demo_region, evidence, spreadnet.build_model(demo_region, evidence)


def test_only_landings_with_answers_and_lakes_that_can_be_named_are_looked_at(parts):
    region, _, _ = parts
    whole = build_interviews(region.contacts, region.visits, region.landings, region.lakes)
    part, landings, lakes = narrowed(whole, most=10_000)
    assert part.total == whole.total
    assert list(landings) == sorted(set(whole.landing))
    assert (landings[part.landing] == whole.landing).all()
    assert (lakes[part.own_lake] == whole.own_lake).all()
    assert (part.counts.toarray() == whole.counts.toarray()[:, lakes]).all()
    few, kept, _ = narrowed(whole, most=5)
    answers = np.bincount(whole.landing, np.asarray(whole.counts.sum(axis=1)).ravel())
    assert few.total == np.sort(answers)[-5:].sum()
    assert len(kept) == 5


def test_distances_that_are_not_held_are_worked_out(parts, monkeypatch):
    region, evidence, movement = parts
    monkeypatch.setattr(module, "LUMPED", 50)
    large = spreadnet.build_model(region, evidence)
    assert large.distance_km is None
    estimates = best_estimates(evidence, movement)
    args = (estimates.traffic.launches, estimates.shares[:, 1])
    monkeypatch.setattr(module, "LUMPED", 1000)
    one = movement.trips(*args, coefficients=movement.coefficients)
    two = large.trips(*args, coefficients=large.coefficients)
    assert two.by_origin == pytest.approx(one.by_origin, rel=1e-3, abs=1e-4)


def test_lumped_trips_serve_the_spread(parts):
    """The demo is so small that all its landings are near: the same but for single precision."""
    region, evidence, movement = parts
    estimates = best_estimates(evidence, movement)
    lumped = movement.lumped(
        estimates.traffic.launches, estimates.shares[:, 1], coefficients=movement.coefficients
    )
    inputs, _ = spread_inputs(estimates, movement, place=place_of(region, evidence, movement))
    for one in inputs.values():
        values = {n: getattr(one, n) for n in type(one).__dataclass_fields__ if n != "trips"}
        other = type(one)(**values, trips=lumped)
        nobody = Coverage.none(len(region.landings))
        path, quick = (expected_spread(i, nobody, seasons=4) for i in (one, other))
        assert total(other, quick) == pytest.approx(total(one, path), rel=0.01)
        slope, steep = gradient(one, nobody, path), gradient(other, nobody, quick)
        whole, found = slope.leaving + slope.arriving, steep.leaving + steep.arriving
        assert np.linalg.norm(found - whole) < 0.01 * np.linalg.norm(whole)
        assert spearmanr(found, whole).statistic > 0.999


def test_a_whole_ranking_with_lumped_trips_is_that_without(parts, monkeypatch):
    """From calibration to reasons nothing asks for a matrix; single precision moves little."""
    region, evidence, movement = parts
    whole = spreadnet.rank_landings(region, evidence, movement=movement, draws=3)
    monkeypatch.setattr(module, "LUMPED", 50)
    each = np.ones(len(region.landings))
    trips = movement.trips(each, each, coefficients=movement.coefficients)
    assert isinstance(trips, LumpedTrips)
    lumped = spreadnet.rank_landings(region, evidence, movement=movement, draws=3)
    scores = [one.landings["avoided_per_100_hours"] for one in (whole, lumped)]
    assert spearmanr(*scores).statistic > 0.999
    assert scores[1].to_numpy() == pytest.approx(scores[0].to_numpy(), rel=0.01)
    for name in ("avoided_low", "avoided_high", "avoided_at_most_hours"):
        found = lumped.landings[name].to_numpy()
        assert found == pytest.approx(whole.landings[name].to_numpy(), rel=0.02, nan_ok=True)
    for name in ("new_infestations", "simulated"):
        assert lumped.totals[name].to_numpy() == pytest.approx(
            whole.totals[name].to_numpy(), rel=0.01
        )
    ends = ["from_lake_id", "to_lake_id"]
    both = whole.trips.merge(lumped.trips, on=ends, suffixes=("", "_lumped"))
    assert len(both) > 0.99 * max(len(whole.trips), len(lumped.trips))
    for name in ("trips", "introductions"):
        assert both[f"{name}_lumped"].to_numpy() == pytest.approx(
            both[name].to_numpy(), rel=0.01, abs=1e-9
        )
    assert (whole.landings["reasons"] == lumped.landings["reasons"]).mean() > 0.95


def test_trips_from_a_table_are_not_lumped(parts):
    _, _, movement = parts
    ready = replace(movement, fit=None, kind="movements")
    with pytest.raises(ValueError, match="Only trips by a fitted law can be lumped"):
        ready.lumped(np.ones(3), np.ones(3), coefficients=np.zeros(0))
