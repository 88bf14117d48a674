"""Simple rules fitted to earlier finds, and how well an order foretells later ones."""

import numpy as np
from scipy.stats import rankdata

WINDOW = 10  # years
STEPS = 30


def auc(score, happened):
    """Share of pairs of a lake that is found and one that isn't which the score puts right."""
    ranks, found = rankdata(score), np.asarray(happened, bool)
    number = found.sum()
    return (ranks[found].sum() - number * (number + 1) / 2) / (number * (~found).sum())


def hits(score, happened, first):
    """Lakes among the first of an order that are found."""
    return int(np.asarray(happened)[np.argsort(-score, kind="stable")[:first]].sum())


def nearest_km(world, year):
    """Distance of each lake to the nearest other one found before a year, (L,)."""
    before = world.found_year < year
    east = world.easting_m[:, None] - world.easting_m[before]
    away = np.hypot(east, world.northing_m[:, None] - world.northing_m[before]) / 1000
    return np.where(away > 0, away, np.inf).min(axis=1)


def features(world, year, *, depth=False):
    """Columns of one, log area, log distance to the nearest earlier find, log depth if wanted."""
    columns = [np.ones(len(world.area_ha)), np.log(world.area_ha), np.log(nearest_km(world, year))]
    if depth:
        deep = np.log(world.max_depth_m)
        columns.append(np.where(np.isnan(deep), np.nanmean(deep), deep))
    return np.column_stack(columns)


def fitted_rule(world, *, depth=False):
    """
    Order by a regression on finds of the years before, (L,).

    Complementary log-log, each lake and year at risk a row: found in that year or not.
    """
    rows, found = [], []
    for year in range(world.through - WINDOW + 1, world.through + 1):
        free = ~(world.found_year < year)
        rows.append(features(world, year, depth=depth)[free])
        found.append(world.found_year[free] == year)
    weights = _regression(np.vstack(rows), np.concatenate(found))
    return features(world, world.through + 1, depth=depth) @ weights


def _regression(rows, found):
    """Coefficients of log(-log(1 - chance)), by Fisher's steps; a breath of ridge keeps it tame."""
    centre = rows.mean(axis=0) * (rows.std(axis=0) > 0)
    inner = rows - centre
    weights = np.zeros(rows.shape[1])
    weights[0] = np.log(-np.log1p(-max(found.mean(), 1e-6)))
    small = 1e-6 * len(rows) * np.eye(len(weights))
    for _ in range(STEPS):
        rate = np.exp(np.clip(inner @ weights, -30, 3))
        slope = np.where(found, rate / np.expm1(rate), -rate)
        step = np.linalg.solve((inner * rate[:, None]).T @ inner + small, inner.T @ slope)
        weights = weights + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-9:
            break
    weights[0] -= centre @ weights
    return weights


def simple_orders(world):
    """The four rules, by name."""
    return {
        "area": np.log(world.area_ha),
        "distance": -nearest_km(world, world.through + 1),
        "area and distance": fitted_rule(world),
        "area, distance, depth": fitted_rule(world, depth=True),
    }


def scored(world, score, *, first=50):
    """AUC, and hits among the first, of the lakes at risk."""
    free = world.at_risk
    return auc(score[free], world.later[free]), hits(score[free], world.later[free], first)
