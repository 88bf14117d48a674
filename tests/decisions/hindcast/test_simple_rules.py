"""Simple rules beside the model: fitted as a reference library fits them, to finds before only."""

import numpy as np
import pytest
import statsmodels.api as sm

from spreadnet.decisions.hindcast.simple_rules import (
    RULES,
    Rule,
    fit_rule,
    foretold_by_rules,
    nearest_km,
    nearness,
)
from spreadnet.model.distance import planar_km


def made_finds(n=3000, years=10, rate=0.02, exponent=0.8, seed=4):
    """Lakes found year by year from the law itself; predictor, at risk and found, (Y, N) each."""
    rng = np.random.default_rng(seed)
    predictor = np.exp(rng.standard_normal(n))
    hazard = rate * predictor**exponent
    at_risk, found, free = [], [], np.ones(n, bool)
    for _ in range(years):
        now = free & (rng.random(n) < -np.expm1(-hazard))
        at_risk.append(free.copy())
        found.append(now)
        free &= ~now
    shape = (years, n)
    return np.broadcast_to(predictor, (1, *shape)), np.array(at_risk, float), np.array(found, float)


def test_a_rule_finds_its_own_law():
    rule = fit_rule(*made_finds())
    assert rule.exponents[0] == pytest.approx(0.8, abs=0.08)
    assert rule.rate == pytest.approx(0.02, rel=0.08)
    assert Rule(0.02, np.array([0.8])).chance(np.array([[1.0]]), years=5) == pytest.approx(
        1 - np.exp(-0.1)
    )


def test_a_rule_is_the_regression_of_statsmodels():
    """1 - exp(-rate x^e) is a binomial regression with complementary log-log link on log x."""
    predictor, at_risk, found = made_finds()
    risk = at_risk > 0
    fit = sm.GLM(
        found[risk],
        sm.add_constant(np.log(predictor[0][risk])),
        family=sm.families.Binomial(link=sm.families.links.CLogLog()),
    ).fit()
    rule = fit_rule(predictor, at_risk, found)
    # The weak prior on the exponent shifts it by its squared error over 1.5 squared.
    assert rule.exponents[0] == pytest.approx(fit.params[1], abs=2e-3)
    assert np.log(rule.rate) == pytest.approx(fit.params[0], abs=2e-3)


def test_a_rule_for_all_alike_is_the_share_found_a_year():
    """4 lakes, two years, 1 found in each: 2 finds in 7 lake-years, 1 - exp(-rate) = 2/7."""
    at_risk = np.array([[1.0, 1, 1, 1], [0, 1, 1, 1]])
    found = np.array([[1.0, 0, 0, 0], [0, 1, 0, 0]])
    rule = fit_rule(np.ones((1, 2, 4)), at_risk, found)
    assert rule.exponents[0] == 0
    assert -np.expm1(-rule.rate) == pytest.approx(2 / 7, rel=1e-5)


def test_no_find_yet_is_not_impossible():
    rule = fit_rule(np.full((1, 2, 5), 3.0), np.ones((2, 5)), np.zeros((2, 5)))
    assert (rule.rate, *rule.exponents) == (0.05, 0.0)
    assert fit_rule(np.ones((1, 0, 5)), np.ones((0, 5)), np.zeros((0, 5))).rate == 0.5


def test_a_few_finds_at_one_end_do_not_run_away():
    """All finds in the largest lake: without the prior the exponent would have no end."""
    predictor = np.broadcast_to(np.array([1.0, 2, 4, 1000]), (1, 1, 4))
    rule = fit_rule(predictor, np.ones((1, 4)), np.array([[0.0, 0, 0, 1]]))
    assert 0.3 < rule.exponents[0] < 4
    assert np.all(rule.chance(predictor[0], years=5) <= 1)


def test_finds_of_the_years_foretold_change_no_rule():
    rng = np.random.default_rng(5)
    year = np.array([2001.0, 2003, 2004, np.nan, np.nan, np.nan, np.nan, np.nan])
    later = np.array([2001.0, 2003, 2004, 2010, 2012, np.nan, 2015, np.nan])
    lakes = {
        "area_ha": rng.gamma(1, 100, 8),
        "launches": rng.gamma(1, 500, 8),
        "points": rng.random((8, 2)) * 50_000,
        "span": (2010, 2015),
    }
    one, two = foretold_by_rules(year, **lakes), foretold_by_rules(later, **lakes)
    assert tuple(one) == RULES
    for rule in RULES:
        assert np.array_equal(one[rule], two[rule])
        assert np.all((one[rule] > 0) & (one[rule] < 1))
    assert np.ptp(one["same for all"]) == 0


def test_the_nearest_lake_is_that_of_the_whole_matrix():
    rng = np.random.default_rng(6)
    points, infested = rng.random((60, 2)) * 1e5, rng.random(60) < 0.2
    expected = planar_km(points, points[infested]).min(axis=1)
    assert nearest_km(points, infested) == pytest.approx(expected, abs=1e-9)
    assert np.isinf(nearest_km(points, np.zeros(60, bool))).all()
    assert nearness(points, np.zeros(60, bool)) == pytest.approx(1 / 1001)
