"""The fit to dated finds: exact slopes, a true mode, honest spread, no leak from the future."""

import numpy as np
import pytest

from spreadnet.model.finds import (
    NAMES,
    ahead_of,
    finds_of,
    fit_finds,
    foretold_finds,
    log_likelihood,
    next_season,
    waters,
)

TRUTH = {"area": 0.6, "depth": 0.3, "access": 0.6, "distance": 2.2, "source_area": 0.1}


def made_world(seed, *, lakes=500, finds=100, streams=None):
    """Lakes at random and their finds, by a recursion of its own over all pairs of lakes."""
    rng = np.random.default_rng([20281101, seed])
    points_m = rng.uniform(0, 250_000, (lakes, 2))
    area_ha, depth_m = np.exp(rng.normal(4, 1.2, lakes)), np.exp(rng.normal(2, 0.6, lakes))
    far = (np.hypot(*(points_m[:, None] - points_m).transpose(2, 0, 1)) / 1000 + 2) / 50
    a, d = (np.log(x) - np.log(x).mean() for x in (area_ha, depth_m))
    near = far**-2.0
    np.fill_diagonal(near, 0)
    z = np.log(near @ np.exp(0.5 * a))
    pull = np.exp(0.6 * a + 0.3 * d - 0.4 * (z - z.mean()))
    kernel = far**-2.2 * np.exp(0.1 * a)
    np.fill_diagonal(kernel, 0)
    year = np.full(lakes, np.nan)
    year[rng.choice(lakes, 4, replace=False)] = 2000
    level, now = None, 2001
    while np.isfinite(year).sum() < finds and now < 2060:
        hazard = pull * (kernel @ np.isfinite(year) + np.exp(-2.0))
        level = 4 / hazard[np.isnan(year)].sum() if level is None else level
        new = np.isnan(year) & (rng.random(lakes) < -np.expm1(-level * hazard))
        year[new] = now
        now += 1
    lakes_seen = waters(points_m, area_ha=area_ha, max_depth_m=depth_m)
    return lakes_seen, year, now - 1


def of(world, **more):
    """Finds of a made world."""
    seen, year, through = world
    none = np.zeros(len(year), bool)
    return finds_of(seen, found_year=year, **{"undated": none, "through": through, **more})


@pytest.mark.parametrize("streams", [False, True])
def test_slopes_are_exact_by_complex_step(streams):
    world = made_world(1)
    rates = np.zeros((500, 500))
    if streams:
        rates[np.arange(0, 499, 7), np.arange(1, 500, 7)] = 0.02
    finds = of(world, dtype=np.float64, streams=rates)
    assert (finds.streams.sum() > 0) == streams
    rng = np.random.default_rng(5)
    wander = rng.normal(0, 0.2, len(finds.years))
    at = np.concatenate([[-9.0], wander, [0.5, 0.2, 0.7, 2.0, 0.2, -1.0]])
    _, gradient, _ = log_likelihood(finds, at)
    for k in range(len(at)):
        step = at.astype(complex)
        step[k] += 1e-30j
        exact = log_likelihood(finds, step)[0].imag / 1e-30
        assert gradient[k] == pytest.approx(exact, rel=1e-12, abs=1e-12)


def test_the_likelihood_is_that_of_every_lake_and_year_by_hand():
    seen, year, through = made_world(2, lakes=60, finds=20)
    undated = np.zeros(60, bool)
    undated[np.flatnonzero(np.isnan(year))[:3]] = True
    finds = of((seen, year, through), dtype=np.float64, undated=undated)
    years = np.arange(max(2001, through - 9), through + 1)
    at = np.concatenate([[-4.0], np.linspace(-0.2, 0.2, len(years)), [0.5, 0.2, 0.7, 2.0, 0.2, -1]])
    total = 0.0
    points, a = seen.points_km, seen.log_area
    for j in range(60):
        if undated[j]:
            continue
        for t, y in enumerate(years):
            if year[j] < y:
                break
            sent = np.exp(-1.0)
            for i in range(60):
                if i != j and year[i] < y and not undated[i]:
                    km = np.hypot(*(points[i] - points[j]))
                    sent += ((km + 2) / 50) ** -2.0 * np.exp(0.2 * a[i])
            base = -4 + at[1 + t] + 0.5 * a[j] + 0.2 * seen.log_depth[j] - 0.3 * seen.access[j]
            hazard = np.exp(base) * sent
            total += np.log(-np.expm1(-hazard)) if year[j] == y else -hazard
    assert log_likelihood(finds, at)[0] == pytest.approx(total, rel=1e-10)


def test_accessibility_is_that_of_all_other_lakes():
    seen, _, _ = made_world(3, lakes=40, finds=10)
    km = np.hypot(*(seen.points_km[:, None] - seen.points_km).transpose(2, 0, 1))
    near = ((km + 2) / 50) ** -2
    np.fill_diagonal(near, 0)
    z = np.log(near @ np.exp(0.5 * seen.log_area))
    np.testing.assert_allclose(seen.access, z - z.mean(), rtol=2e-5, atol=2e-5)


@pytest.mark.parametrize("seed", range(4))
def test_the_mode_is_found_in_few_evaluations_and_the_truth_is_near_it(seed):
    fit = fit_finds(of(made_world(seed)))
    assert fit.evaluations <= 25
    finds, at = fit.finds, fit.best
    # No other start and no nudge finds more: the slope of the posterior vanishes there.
    middle = np.array([0.0, *[fit.prior[n][0] for n in NAMES]])
    spread = np.array([1.0, *[fit.prior[n][1] for n in NAMES]])
    _, gradient, _ = log_likelihood(finds, at)
    pull = (at[-6:] - middle[1:]) / spread[1:] ** 2
    sd = np.sqrt(np.diag(fit.covariance))[-6:]
    assert np.abs((gradient[-6:] - pull) * sd).max() < 0.02
    for name, true in TRUTH.items():
        assert abs(fit.values[name] - true) < 3.5 * fit.sd[name]


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say():
    held = dict.fromkeys(TRUTH, 0)
    for seed in range(60):
        fit = fit_finds(of(made_world(100 + seed, lakes=400, finds=90)))
        for name, true in TRUTH.items():
            held[name] += abs(fit.values[name] - true) < 1.645 * fit.sd[name]
    # 60 worlds, 90% expected: below 0.78 comes up by chance in 1 of 100.
    assert all(n / 60 >= 0.78 for n in held.values()), held


def test_finds_without_a_date_are_neither_sources_nor_at_risk():
    seen, year, through = made_world(4)
    undated = np.zeros(500, bool)
    undated[np.flatnonzero(np.isnan(year))[:50]] = True
    finds = of((seen, year, through), undated=undated)
    assert not set(finds.rows) & set(np.flatnonzero(undated))
    assert not set(finds.sources) & set(np.flatnonzero(undated))
    ahead = ahead_of(seen, infested=np.isfinite(year) | undated)
    assert set(np.flatnonzero(undated)) <= set(ahead.infested)


def test_what_comes_after_the_last_year_known_changes_nothing():
    seen, year, through = made_world(5)
    cut = through - 3
    blind = np.where(year > cut, np.nan, year)
    a, b = (fit_finds(of((seen, y, cut))) for y in (year, blind))
    np.testing.assert_array_equal(a.best, b.best)


def test_no_past_is_no_fit():
    seen, _, _ = made_world(6, lakes=50, finds=8)
    assert of((seen, np.full(50, np.nan), 2020)) is None
    only = np.where(np.arange(50) == 0, 2020.0, np.nan)
    assert of((seen, only, 2020)) is None


def test_numbers_foretold_grow_with_the_seasons_and_match_the_hazard():
    world = made_world(7)
    fit = fit_finds(of(world))
    ahead = ahead_of(world[0], infested=np.isfinite(world[1]))
    one = next_season(fit, fit.best, ahead=ahead)
    assert 0 <= one.outside_share <= 1
    assert (one.hazard[ahead.infested] == 0).all()
    rng = np.random.default_rng(1)
    counts = [
        (foretold_finds(fit, fit.best, rng, ahead=ahead, seasons=3)[:, None] <= np.arange(3)).sum(0)
        for _ in range(400)
    ]
    mean = np.mean(counts, axis=0)
    assert (np.diff(mean) > 0).all()
    # The level wanders by a normal step: its exponential has this mean.
    expected = -np.expm1(-one.hazard * np.exp(fit.wander**2 / 2)).sum()
    assert mean[0] == pytest.approx(expected, rel=0.1)
