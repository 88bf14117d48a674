"""Intervals of the gravity fit on data made from known coefficients."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp

from spreadnet.model.laws import LOGNORMAL, POWER, POWER_EXPONENTIAL
from spreadnet.model.movement.fit import fit_gravity
from spreadnet.model.movement.interviews import Interviews

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


def recover_blurred(*, drawn, data_sets=200, seed=3, noise=1.5):
    """Coverage where the fit knows the traffic of lakes only roughly."""
    rng, inside = np.random.default_rng(seed), []
    truth = np.concatenate([ATTRACTION, TRUTH["power"]])
    for _ in range(data_sets):
        survey, attractions, distance_km = make_survey(rng, POWER, likeness=0.03)
        size = (200, len(survey.candidates))
        # Log traffic is normal with mean 5 and deviation 1: counts pull an estimate to the mean.
        counted = attractions["log_traffic"] + noise * rng.standard_normal(size[1])
        about, rough = 5 + (counted - 5) / (1 + noise**2), noise / np.sqrt(1 + noise**2)
        draws = about + rough * rng.standard_normal(size)
        given = {**attractions, "log_traffic": about}
        fit = fit_gravity(
            survey, given, distance_km, drawn={"log_traffic": draws} if drawn else None
        )
        table = fit.table()
        inside.append((table["low"] <= truth) & (truth <= table["high"]))
    return np.mean(inside, axis=0)


@pytest.mark.slow
def test_intervals_count_in_that_traffic_is_an_estimate():
    """A lake busier than estimated draws boats at all landings: clusters of landings miss it."""
    with_draws, without = recover_blurred(drawn=True), recover_blurred(drawn=False)
    assert ((with_draws >= 0.82) & (with_draws <= 0.97)).all(), with_draws
    assert (without[:2] < 0.85).all(), without


def test_draws_of_an_attraction_that_is_not_used_are_refused():
    survey, attractions, distance_km = make_survey(np.random.default_rng(0), POWER)
    many = np.zeros((5, len(survey.candidates)))
    for drawn in ({"log_depth": many}, {"log_traffic": many[:, 1:]}):
        with pytest.raises(ValueError, match="Invalid drawn"):
            fit_gravity(survey, attractions, distance_km, drawn=drawn)


def test_draws_that_never_differ_change_nothing():
    survey, attractions, distance_km = make_survey(np.random.default_rng(0), POWER)
    sure = np.tile(attractions["log_traffic"], (5, 1))
    one = fit_gravity(survey, attractions, distance_km)
    two = fit_gravity(survey, attractions, distance_km, drawn={"log_traffic": sure})
    np.testing.assert_allclose(two.covariance, one.covariance, rtol=1e-12)


def test_what_one_lake_may_be_off_moves_coefficients_as_a_refit_says():
    """The added covariance of one blurred lake is the square of what a shift of it does."""
    rng = np.random.default_rng(5)
    survey, attractions, distance_km = make_survey(rng, POWER, n_landings=100, interviews=400)
    lake = int(np.argmax(attractions["log_area"] + attractions["log_traffic"]))
    shift = np.zeros((2, len(survey.candidates)))
    shift[:, lake] = [0.02, -0.02]
    base = fit_gravity(survey, attractions, distance_km, prior=None)
    draws = attractions["log_traffic"] + shift
    wide = fit_gravity(survey, attractions, distance_km, prior=None, drawn={"log_traffic": draws})
    # Choices with the lake's pull shifted, as they are expected, refitted without the shift.
    moved = []
    for one in shift:
        utility = base.coefficients[0] * attractions["log_area"] + base.coefficients[1] * (
            attractions["log_traffic"] + one
        )
        utility = utility + base.coefficients[2] * np.log1p(distance_km)
        weight = np.exp(utility)
        weight[np.arange(len(weight)), survey.own_lake] = 0
        expected = weight / weight.sum(axis=1, keepdims=True)
        counts = np.asarray(survey.counts.sum(axis=1)).reshape(-1, 1) * expected
        refit = fit_gravity(
            replace(survey, counts=sp.csr_array(counts)), attractions, distance_km, prior=None
        )
        moved.append(refit.coefficients - base.coefficients)
    added = np.sqrt(np.diag(wide.covariance - base.covariance))
    # Less the part within single landings, about a fiftieth; distance hardly moves at all.
    np.testing.assert_allclose(added[:2], np.abs(moved).mean(axis=0)[:2], rtol=0.05)
