"""Establishment chance from dated finds: by hand, and recovered from simulated spread."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
from made_trips import dense_trips

from spreadnet.model.finds import establishment as calibration
from spreadnet.model.finds.establishment import FEWEST_FINDS, history, past_introductions
from spreadnet.model.inputs import PASSES
from spreadnet.model.spread.between_lakes import lake_rates
from spreadnet.model.spread.types import SpreadInputs


def make_inputs(n=40, seed=0):
    rng = np.random.default_rng(seed)
    trips = rng.gamma(0.8, 20.0, (n, n))
    np.fill_diagonal(trips, 0)
    return SpreadInputs(
        trips=dense_trips(trips),
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


def calibrate(inputs, past, **stated):
    """With what the past brought, as a run does it."""
    if past is None:
        return calibration.calibrate(inputs, None, None, **stated)
    exposure, rates = None, lake_rates(inputs, establish=1.0)
    for _ in range(PASSES):
        exposure = past_introductions(inputs, past, rates=rates, earlier=exposure)
        fit = calibration.calibrate(inputs, past, exposure, **stated)
        inputs = replace(inputs, establish=fit.establish)
    return fit


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
        trips=dense_trips(trips),
        habitat=np.ones(n),
        outside_boats=np.zeros(n),
        leaving=np.ones((1, n)),
        weights=np.ones(1),
    )
    first_found = np.array([2000.0, 2001, 2001, np.nan, np.nan])
    past = history(first_found, np.isfinite(first_found), watched=np.ones(n), through=2001)
    assert list(past.years) == [2001]
    assert past.finds == 2
    exposure = past_introductions(inputs, past, rates=lake_rates(inputs, establish=1.0))
    assert exposure.introductions[0, 1:] == pytest.approx(10.0)
    # Two finds are below the fewest that count: the stated value stays.
    assert calibrate(inputs, past, prior=0.01, prior_log_sd=1e6).basis == "range"
    trips = np.zeros((7, 7))
    trips[0, 1:] = 10.0
    more = replace(
        inputs,
        trips=dense_trips(trips),
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


def fed_by_one(n, boats=10.0):
    """Lake 0 feeds all others with the same number of introductions a year."""
    trips = np.zeros((n, n))
    trips[0, 1:] = boats
    return replace(
        make_inputs(n),
        trips=dense_trips(trips),
        leaving=np.ones((1, n)),
        weights=np.ones(1),
        outside_boats=np.zeros(n),
        habitat=np.ones(n),
    )


def test_the_likelihood_sums_over_every_year_of_infestation():
    """Two years at risk, worked out history by history: found in year 1, in year 2, or never."""
    n, q, watched = 5, 0.4, 0.7
    inputs = fed_by_one(n)
    found = np.array([2000.0, 2001, 2002, np.nan, np.nan])
    past = history(
        found, np.isfinite(found), watched=np.full(n, watched), through=2002, found_in_year=q
    )
    # Lake 0 alone sends boats, in both years: lakes 1 and 2 have no trips to others.
    exposure = past_introductions(inputs, past, rates=lake_rates(inputs, establish=1.0))
    assert exposure.introductions[:, 1:] == pytest.approx(10.0)

    def by_hand(a):
        first, second = 1 - np.exp(-10 * a), np.exp(-10 * a) * (1 - np.exp(-10 * a))
        in_1 = first * q
        in_2 = first * q * (1 - q) + second * q
        never = 1 - first * watched * (1 - (1 - q) ** 2) - second * watched * q
        return np.log(in_1) + np.log(in_2) + 2 * np.log(never)

    loss = calibration._loss(inputs, past, exposure, prior=0.05, prior_log_sd=1e9)
    for a in (0.003, 0.02, 0.1):
        assert loss(np.log(a)) == pytest.approx(-by_hand(a))


def test_a_find_says_how_long_the_lake_was_infested_before():
    """Found in 2003, looked at from 2001: infested 2001, 2002 or 2003, as the delay says."""
    found = np.array([2000.0, 2003.0, np.nan])
    past = history(found, np.isfinite(found), watched=np.ones(3), through=2004, found_in_year=0.25)
    delay = 0.25 * 0.75 ** np.arange(3)  # 0, 1 or 2 years
    delay /= delay.sum()
    assert past.infested(np.zeros(3))[:, 1] == pytest.approx([0, delay[2], delay[1] + delay[2], 1])
    assert past.infested(np.zeros(3))[:, 0] == pytest.approx(1)
    assert past.infested(np.zeros(3))[:, 2] == pytest.approx(0)


def test_without_delay_the_year_of_the_find_is_that_of_the_infestation():
    found = np.array([2000.0, 2003.0])
    past = history(found, np.isfinite(found), watched=np.ones(2), through=2004)
    assert past.infested(np.zeros(2))[:, 1] == pytest.approx([0, 0, 0, 1])


@pytest.mark.parametrize("watched", [1.0, 0.7])
def test_known_establishment_is_recovered_from_finds_that_lag(watched):
    """A mean delay of 1.5 years, and lakes that nobody ever looks at; 100 simulated pasts."""
    inputs, truth, q = make_inputs(), 0.008, 0.4
    scores = []
    for seed in range(100):
        rng = np.random.default_rng(seed)
        since = simulate_finds(inputs, truth, rng)
        told = since + rng.geometric(q, len(since)) - 1
        told[since == 2000] = 2000
        told[(rng.random(len(since)) > watched) & (since > 2000)] = np.inf
        first = np.where(told <= 2012, told, np.nan)
        seen = np.isfinite(first)
        past = history(first, seen, watched=np.full(40, watched), through=2012, found_in_year=q)
        # As many are infested unseen as are on average.
        unseen = np.where(seen, 0.0, ((since <= 2012) & ~seen).sum() / max((~seen).sum(), 1))
        fit = calibrate(replace(inputs, initial=unseen), past, prior=0.01, prior_log_sd=2.0)
        if fit.basis == "finds":
            scores.append((np.log(fit.establish) - np.log(truth)) / fit.log_sd)
    assert len(scores) >= 90
    assert 0.82 <= np.mean(np.abs(scores) < 1.645) <= 0.97
    assert abs(np.mean(scores)) < 0.4


def test_with_a_certain_yearly_chance_the_likelihood_is_that_of_the_year_of_the_find():
    """The limit q = 1: survived until the find, infested in its year; or watched and survived."""
    rng = np.random.default_rng(7)
    inputs = make_inputs(12)
    watched = rng.uniform(0.2, 1, 12)
    first = np.array([2000.0, 2001, 2002, 2002, 2004, 2005, *[np.nan] * 6])
    past = history(first, np.isfinite(first), watched=watched, through=2006, found_in_year=1.0)
    exposure = past_introductions(inputs, past, rates=lake_rates(inputs, establish=1.0))
    loss = calibration._loss(inputs, past, exposure, prior=0.01, prior_log_sd=1e9)
    for establish in (0.0005, 0.004, 0.03):
        hazard = establish * inputs.habitat * exposure.introductions
        by_hand = 0.0
        for lake in range(1, 12):
            if lake < 6:
                before = past.years < first[lake]
                at = hazard[past.years == first[lake], lake][0]
                by_hand += -hazard[before, lake].sum() + np.log(-np.expm1(-at))
            else:
                by_hand += np.log(1 - watched[lake] * -np.expm1(-hazard[:, lake].sum()))
        assert loss(np.log(establish)) == pytest.approx(-by_hand)


def test_two_lakes_history_by_history():
    """
    Each lake is infested in 2001, 2002, 2003 or not, then told of 0, 1, 2... years on, or never.

    One was found in 2003, the other not by 2003: chances of having been infested before each year
    are sums over all such histories.
    """
    q, watched, unseen = 0.3, 0.8, 0.4
    hazard = np.array([[0.2, 0.1], [0.5, 0.4], [0.9, 0.3]])
    in_year = np.exp(-np.cumsum(hazard, axis=0) + hazard) * -np.expm1(-hazard)
    past = calibration.History(
        found_in=np.array([2003.0, np.inf, -np.inf]),
        watched=np.full(3, watched),
        first_year=2001,
        last_year=2003,
        found_in_year=q,
    )
    given = np.column_stack([in_year, np.zeros(3)])
    chance = past.infested(np.array([0.0, unseen, 0.0]), in_year=given)
    told, silent = np.zeros(3), np.zeros(3)
    for s in range(3):
        told[s] = in_year[s, 0] * watched * q * (1 - q) ** (2 - s)
        known_by_2003 = sum(watched * q * (1 - q) ** lag for lag in range(3 - s))
        silent[s] = in_year[s, 1] * (1 - known_by_2003)
    for y in range(3):
        assert chance[y, 0] == pytest.approx(told[:y].sum() / told.sum())
        assert chance[y, 1] == pytest.approx(unseen * silent[:y].sum() / silent.sum())
    assert chance[:, 2] == pytest.approx(1)  # where the spread started from
    assert past.finds == 1
