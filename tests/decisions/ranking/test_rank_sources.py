"""
Shares of variance against functions whose shares are published.

Ishigami & Homma (1990) with a = 7, b = 0.1, total effects from Saltelli et al. 2008, Global
Sensitivity Analysis, Wiley; the g-function of Sobol' (1993), total effects from its formula.
"""

from collections import Counter

import numpy as np
import pytest

from spreadnet import chance
from spreadnet.decisions.ranking import uncertainty as rank_sources
from spreadnet.decisions.ranking.uncertainty import region_shares, total_effects, variance_shares
from spreadnet.model import estimates
from spreadnet.model.estimates import GROUPS, PURPOSES, drawn_estimates


def pick(function, n, inputs, rng):
    """Values and values with one input drawn anew, (M, 1) and (M, G, 1)."""
    one, other = inputs(rng, n), inputs(rng, n)
    redrawn = []
    for g in range(one.shape[1]):
        mixed = one.copy()
        mixed[:, g] = other[:, g]
        redrawn.append(function(mixed))
    return function(one)[:, None], np.stack(redrawn, axis=1)[:, :, None]


def test_total_effects_of_ishigami():
    def ishigami(given):
        a, b, c = given.T
        return np.sin(a) + 7 * np.sin(b) ** 2 + 0.1 * c**4 * np.sin(a)

    values, redrawn = pick(
        ishigami,
        400_000,
        lambda rng, n: rng.uniform(-np.pi, np.pi, (n, 3)),
        np.random.default_rng(1),
    )
    found = total_effects(values, redrawn)[:, 0] / values.var()
    assert found == pytest.approx([0.5576, 0.4424, 0.2437], abs=0.006)


def test_total_effects_of_the_g_function():
    a = np.array([0.0, 1.0, 4.5, 9.0])

    def g_function(given):
        return np.prod((np.abs(4 * given - 2) + a) / (1 + a), axis=1)

    part = 1 / (3 * (1 + a) ** 2)
    whole = np.prod(1 + part) - 1
    known = part * np.prod(1 + part) / (1 + part) / whole
    values, redrawn = pick(
        g_function, 400_000, lambda rng, n: rng.random((n, 4)), np.random.default_rng(2)
    )
    assert total_effects(values, redrawn)[:, 0] / values.var() == pytest.approx(known, abs=0.006)


def test_shares_of_a_sum_are_those_of_its_variances():
    scale = np.array([3.0, 2.0, 1.0, 0.0])
    values, redrawn = pick(
        lambda given: given @ scale,
        50_000,
        lambda rng, n: rng.standard_normal((n, 4)),
        np.random.default_rng(3),
    )
    assert variance_shares(values, redrawn)[:, 0] == pytest.approx(
        scale**2 / (scale**2).sum(), abs=0.01
    )


def test_the_standard_error_is_what_repeats_show(monkeypatch):
    monkeypatch.setattr(rank_sources, "GROUPS", ("a", "b", "c"))
    scale = np.array([3.0, 2.0, 1.0])
    shares, errors = [], []
    for seed in range(200):
        values, redrawn = pick(
            lambda given: given @ scale,
            25,
            lambda rng, n: rng.standard_normal((n, 3)),
            np.random.default_rng(seed),
        )
        table = region_shares(values, redrawn, np.array([True])).loc[["a", "b", "c"]]
        shares.append(table["share"])
        errors.append(table["standard_error"])
    assert np.mean(errors, axis=0) == pytest.approx(np.std(shares, axis=0), rel=0.25)


def test_what_never_changes_has_no_shares():
    still = variance_shares(np.ones((5, 2)), np.ones((5, 8, 2)))
    assert np.isnan(still).all()
    table = region_shares(np.ones((5, 2)), np.ones((5, 8, 2)), np.array([True, False]))
    assert table["share"].isna().all()
    with pytest.raises(ValueError, match="Invalid redrawn"):
        total_effects(np.ones((5, 2)), np.ones((4, 8, 2)))


def test_every_number_drawn_belongs_to_one_group(demo_result, monkeypatch):
    """Each group drawn anew changes its own streams and no other."""
    seen = []

    def recorded(seed, purpose, draw=0):
        seen.append((purpose, draw))
        return chance.stream(seed, purpose, draw)

    monkeypatch.setattr(estimates, "stream", recorded)
    evidence, movement = demo_result.evidence, demo_result.movement
    drawn_estimates(evidence, movement, seed=1, draw=3)
    purposes = {purpose for purpose, _ in seen}
    assert {draw for _, draw in seen} == {3}
    moved = Counter()
    for group in GROUPS:
        seen.clear()
        drawn_estimates(evidence, movement, seed=1, draw=3, others={group: 77})
        moved.update(purpose for purpose, draw in seen if draw == 77)
        assert {purpose for purpose, _ in seen} == purposes
    assert set(moved) == purposes
    assert set(moved.values()) == {1}
    assert set(PURPOSES.values()) == set(GROUPS)


def test_a_run_says_where_its_uncertainty_comes_from(demo_result):
    table = demo_result.rank_variance
    assert set(table.index) == set(GROUPS)
    assert table["share"].sum() == pytest.approx(1)
    assert (table["standard_error"] >= 0).all()
    assert table["standard_error"].max() > 0
    landings = demo_result.landings
    columns = [c for c in landings if c.startswith("rank_variance_")]
    assert len(columns) == len(GROUPS)
    assert landings[columns].sum(axis=1).to_numpy() == pytest.approx(1)
    largest = landings[columns].to_numpy().argmax(axis=1)
    assert list(landings["uncertain_mostly"]) == [GROUPS[g] for g in largest]
