"""Intervals of the gravity fit on data made from known coefficients."""

import numpy as np
import pytest
import scipy.sparse as sp

from spreadnet.model.gravity import fit_gravity
from spreadnet.model.interviews import Interviews
from spreadnet.model.laws import LOGNORMAL, POWER, POWER_EXPONENTIAL

ATTRACTION = np.array([0.6, 0.4])
TRUTH = {
    "power": np.array([-1.8]),
    "power_exponential": np.array([-0.9, -0.01]),
    "lognormal": np.array([0.8, -0.35]),
}
DATA_SETS = 600  # Monte-Carlo error of a coverage of 0.90: 0.012


def make_survey(rng, law, *, n_landings=40, n_lakes=120, interviews=25, likeness=0.0):
    """
    One surveyed region: uneven effort, choices from the law.

    `likeness` is the correlation of choices at one landing (Dirichlet-multinomial), 0 for none.
    """
    lakes = rng.uniform(0, 200, (n_lakes, 2))
    own_lake = rng.choice(n_lakes, n_landings, replace=False)
    distance_km = np.hypot(*(lakes[own_lake][:, None] - lakes).transpose(2, 0, 1))
    attractions = {
        "log_area": rng.normal(5, 1.2, n_lakes),
        "log_traffic": rng.normal(5, 1, n_lakes),
    }
    utility = np.tensordot(TRUTH[law.name], law.features(distance_km), 1)
    utility = utility + ATTRACTION @ np.array(list(attractions.values()))
    weight = np.exp(utility - utility.max(axis=1, keepdims=True))
    weight[np.arange(n_landings), own_lake] = 0
    shares = weight / weight.sum(axis=1, keepdims=True)
    if likeness:
        gammas = rng.gamma(shares * (1 - likeness) / likeness)
        shares = gammas / gammas.sum(axis=1, keepdims=True)
    numbers = 1 + rng.poisson(rng.gamma(1.5, interviews / 1.5, n_landings))
    survey = Interviews(
        counts=sp.csr_array(rng.multinomial(numbers, shares).astype(float)),
        landing=np.arange(n_landings),
        direction=np.zeros(n_landings, int),
        own_lake=own_lake,
        candidates=np.ones(n_lakes, bool),
        left_out={},
    )
    return survey, attractions, distance_km


def recover(law, *, data_sets=DATA_SETS, seed=0, **survey):
    """Coverage of 90% intervals, that of naive ones, and bias in standard deviations of a fit."""
    rng = np.random.default_rng(seed)
    truth = np.concatenate([ATTRACTION, TRUTH[law.name]])
    inside, naive, errors = [], [], []
    for _ in range(data_sets):
        fit = fit_gravity(*make_survey(rng, law, **survey), law=law)
        table = fit.table()
        error = fit.coefficients - truth
        errors.append(error)
        inside.append((table["low"] <= truth) & (truth <= table["high"]))
        naive.append(np.abs(error) <= 1.645 * table["naive_standard_error"])
    errors = np.array(errors)
    bias = errors.mean(axis=0) / errors.std(axis=0)
    return np.mean(inside, axis=0), np.mean(naive, axis=0), bias


@pytest.mark.slow
@pytest.mark.parametrize("law", [POWER, POWER_EXPONENTIAL, LOGNORMAL], ids=lambda law: law.name)
def test_intervals_of_clean_surveys_cover_85_to_95_percent(law):
    coverage, _, bias = recover(law)
    assert ((coverage >= 0.85) & (coverage <= 0.95)).all(), coverage
    assert (np.abs(bias) < 0.2).all(), bias


@pytest.mark.slow
def test_intervals_stay_honest_where_boaters_at_a_landing_are_alike():
    """Naive intervals cover far less than 90% where choices at one landing are correlated."""
    coverage, naive, _ = recover(POWER, likeness=0.05)
    assert (coverage >= 0.82).all(), coverage
    assert (naive < 0.75).all(), naive


def test_few_landings_give_wide_intervals_not_narrow_ones():
    coverage, _, _ = recover(POWER, n_landings=6, data_sets=100)
    assert (coverage >= 0.85).all(), coverage
