"""Establishment chance from dated finds: by hand, and recovered from simulated spread."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp

from spreadnet.model.calibration import FEWEST_FINDS, calibrate, history, introductions_by_year
from spreadnet.model.flows import Trips
from spreadnet.model.spread import SpreadInputs


def make_inputs(n=40, seed=0):
    rng = np.random.default_rng(seed)
    trips = rng.gamma(0.8, 20.0, (n, n))
    np.fill_diagonal(trips, 0)
    return SpreadInputs(
        trips=Trips.dense(trips),
        landing_lake=np.arange(n),
        leaving=np.full((1, n), 0.2),
        arriving=np.ones((1, n)),
        weights=np.array([0.5]),
        outside_boats=np.full(n, 2.0),
        outside_leaving=np.array([0.2]),
        education_effect=np.array([0.5]),
        establish=np.nan,
        allee_exponent=1.0,
        habitat=rng.uniform(0.4, 1, n),
        streams=sp.csr_array((n, n)),
        initial=np.zeros(n),
        worth=np.ones(n),
    )


def simulate_finds(inputs, establish, rng, years=12):
    """Years of infestation drawn lake by lake and year by year from the model itself."""
    n = len(inputs.habitat)
    found = np.full(n, np.inf)
    found[rng.choice(n, 3, replace=False)] = 2000
    for year in range(2001, 2001 + years):
        infested = (found < year).astype(float)
        carried = inputs.trips.matrix().T @ (infested * inputs.leaving[0])
        carried += inputs.outside_boats * inputs.outside_leaving[0]
        hazard = inputs.habitat * establish * carried * inputs.weights[0]
        new = (found > year) & (rng.random(n) < -np.expm1(-hazard))
        found[new] = year
    return found


def test_one_lake_one_year_worked_by_hand():
    """Two lakes found in year 1 of 4 at risk at equal hazard a: the maximum has 1-exp(-a) = 1/2."""
    n = 5
    trips = np.zeros((n, n))
    trips[0, 1:] = 10.0
    inputs = replace(
        make_inputs(n),
        trips=Trips.dense(trips),
        habitat=np.ones(n),
        outside_boats=np.zeros(n),
        leaving=np.ones((1, n)),
        weights=np.ones(1),
    )
    first_found = np.array([2000.0, 2001, 2001, np.nan, np.nan])
    past = history(first_found, np.isfinite(first_found), watched=np.ones(n), through=2001)
    assert list(past.years) == [2001]
    assert past.finds == 2
    introductions, _ = introductions_by_year(inputs, past)
    assert introductions[0, 1:] == pytest.approx(10.0)
    # Two finds are below the fewest that count: the stated value stays.
    assert calibrate(inputs, past, prior=0.01, prior_log_sd=1e6).basis == "range"
    trips = np.zeros((7, 7))
    trips[0, 1:] = 10.0
    more = replace(
        inputs,
        trips=Trips.dense(trips),
        landing_lake=np.arange(7),
        habitat=np.ones(7),
        initial=np.zeros(7),
        outside_boats=np.zeros(7),
        leaving=np.ones((1, 7)),
        arriving=np.ones((1, 7)),
        streams=sp.csr_array((7, 7)),
    )
    found = np.array([2000.0, 2001, 2001, 2001, np.nan, np.nan, np.nan])
    past = history(found, np.isfinite(found), watched=np.ones(7), through=2001)
    fit = calibrate(more, past, prior=0.05, prior_log_sd=50.0)
    assert fit.establish == pytest.approx(np.log(2) / 10, rel=1e-4)


def test_lakes_nobody_watches_do_not_count_as_free():
    inputs = make_inputs()
    found = simulate_finds(inputs, 0.004, np.random.default_rng(1))
    first = np.where(np.isfinite(found), found, np.nan)
    seen = history(first, np.isfinite(first), watched=np.ones(40), through=2012)
    unseen = history(first, np.isfinite(first), watched=np.zeros(40), through=2012)
    args = {"prior": 0.004, "prior_log_sd": 2.0}
    assert calibrate(inputs, unseen, **args).establish > calibrate(inputs, seen, **args).establish


def test_known_establishment_is_recovered():
    """90% intervals cover the truth in 82-97% of 120 simulated pasts."""
    inputs, truth = make_inputs(), 0.004
    scores = []
    for seed in range(120):
        found = simulate_finds(inputs, truth, np.random.default_rng(seed))
        first = np.where(np.isfinite(found), found, np.nan)
        past = history(first, np.isfinite(first), watched=np.ones(40), through=2012)
        fit = calibrate(inputs, past, prior=0.01, prior_log_sd=2.0)
        if fit.finds < FEWEST_FINDS:
            continue
        assert fit.basis == "finds"
        scores.append((np.log(fit.establish) - np.log(truth)) / fit.log_sd)
    assert len(scores) >= 100
    covered = np.mean(np.abs(scores) < 1.645)
    assert 0.82 <= covered <= 0.97
    assert abs(np.mean(scores)) < 0.4


def test_no_dates_keep_the_stated_range():
    assert (
        history(
            np.array([np.nan, np.nan]), np.array([True, False]), watched=np.ones(2), through=2005
        )
        is None
    )
    fit = calibrate(make_inputs(), None, prior=0.02, prior_log_sd=0.7)
    assert (fit.establish, fit.log_sd, fit.basis) == (0.02, 0.7, "range")


def test_a_number_given_without_a_range_is_kept():
    inputs = make_inputs()
    found = simulate_finds(inputs, 0.004, np.random.default_rng(3))
    first = np.where(np.isfinite(found), found, np.nan)
    past = history(first, np.isfinite(first), watched=np.ones(40), through=2012)
    fit = calibrate(inputs, past, prior=0.02, prior_log_sd=0.0)
    assert (fit.establish, fit.log_sd, fit.basis) == (0.02, 0.0, "given")


def test_a_species_first_found_last_year_has_no_history_yet():
    """Nothing can have followed: the stated range is used, and nothing breaks."""
    first = np.array([2026.0, np.nan, np.nan])
    past = history(first, np.isfinite(first), watched=np.ones(3), through=2026)
    assert past is None
    later = history(first, np.isfinite(first), watched=np.ones(3), through=2027)
    assert list(later.years) == [2027]
