"""How the fit to dated finds does in worlds whose law is known: orders, totals, intervals."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from other_worlds.made import KINDS, drawn_law, make
from other_worlds.rules import scored, simple_orders
from spreadnet.model.finds import (
    ahead_of,
    finds_of,
    fit_finds,
    foretold_finds,
    next_season,
    waters,
)

DRAWS = 200
HALF_WIDTH = 1.6448536  # of a 90% interval, in standard deviations
FAR = 0.02  # in AUC
LEARNED = ("area", "depth", "distance", "access")
# What answers of boaters say of distance and area of trips, and how finds may differ from trips.
TRIPS_SD, LOAD_BY_AREA, LOAD_SD, DISTANCE_SD = 0.02, -0.3, 0.3, 0.15


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """The fit of one world, its lakes at the split, and the hazard of the next season (L,)."""

    fit: object
    ahead: object
    hazard: np.ndarray


def learn(world, *, prior=None):
    """Fit the finds up to `through`, as a user would who knows no more."""
    at = np.column_stack([world.easting_m, world.northing_m])
    lakes = waters(at, area_ha=world.area_ha, max_depth_m=world.max_depth_m)
    finds = finds_of(
        lakes,
        found_year=world.found_year,
        undated=np.zeros(len(at), bool),
        through=world.through,
    )
    fit = fit_finds(finds, prior=prior)
    ahead = ahead_of(lakes, infested=~world.at_risk)
    return Learned(fit, ahead, next_season(fit, fit.best, ahead=ahead).hazard)


def orders(world, learned):
    """AUC and hits in the first 50 by the fit, the four rules and the oracle, as one flat row."""
    every = {"fit": learned.hazard, **simple_orders(world)}
    every |= {"oracle": world.expected, "oracle with pull": world.expected_with_pull}
    row = {"kind": world.kind.name, "evaluations": learned.fit.evaluations}
    for name, score in every.items():
        row[name], row[f"{name}, first 50"] = scored(world, score)
    return row


def totals(world, learned, *, draws=DRAWS):
    """Finds of the years to come: foretold median and 90% interval, and the truth."""
    rng = np.random.default_rng(world.through)
    seasons = world.last - world.through
    number = [
        (
            foretold_finds(
                learned.fit, learned.fit.draw(rng), rng, ahead=learned.ahead, seasons=seasons
            )
            < seasons
        ).sum()
        for _ in range(draws)
    ]
    low, median, high = np.quantile(number, [0.05, 0.5, 0.95])
    return {"low": low, "median": median, "high": high, "found": int(world.later.sum())}


def judged(seeds, *, kinds=KINDS, draws=DRAWS):
    """One row a world: orders and totals."""
    rows = []
    for kind in kinds:
        for seed in seeds:
            world = make(kind, seed)
            learned = learn(world)
            rows.append(orders(world, learned) | totals(world, learned, draws=draws))
    return pd.DataFrame(rows)


def by_kind(table):
    """Means of `judged` by kind of world, the mean of all last; totals as found and as foretold."""
    table = table.assign(
        inside=(table["low"] <= table["found"]) & (table["found"] <= table["high"]),
        ratio=table["median"] / table["found"],
    )
    means = table.groupby("kind", sort=False).mean(numeric_only=True)
    means.loc["mean of all"] = table.mean(numeric_only=True)
    return means


def behind(table, rules):
    """Worlds in which the fit is `FAR` behind the best of some rules, and the true law isn't."""
    best = table[rules].max(axis=1)
    return int(((table["fit"] < best - FAR) & (table["oracle"] >= best - FAR)).sum())


def model_world(seed):
    """A world that follows the model, with exponents drawn, of 250 to 1,500 lakes."""
    rng = np.random.default_rng([seed, 4])
    lakes = int(np.exp(rng.uniform(*np.log([250, 1500]))))
    past = int(rng.uniform(40, 90)) if lakes < 700 else int(rng.uniform(60, 200))
    return make(KINDS[0], seed, lakes=lakes, past=past, law=drawn_law(rng))


def prior_of_interviews(law, seed):
    """What many answers of boaters would say beforehand of distance and of area at the source."""
    rng = np.random.default_rng([seed, 5])
    trips_area = law.source_area - LOAD_BY_AREA + LOAD_SD * rng.standard_normal()
    trips_distance = law.distance + DISTANCE_SD * rng.standard_normal()
    seen = TRIPS_SD * rng.standard_normal(2)
    return {
        "source_area": (trips_area + seen[0] + LOAD_BY_AREA, np.hypot(TRIPS_SD, LOAD_SD)),
        "distance": (trips_distance + seen[1], np.hypot(TRIPS_SD, DISTANCE_SD)),
    }


def covered(seeds, *, interviews=False):
    """Whether 90% intervals of the exponents hold the truth, one row a world."""
    rows = []
    for seed in seeds:
        world = model_world(seed)
        prior = prior_of_interviews(world.law, seed) if interviews else None
        fit = learn(world, prior=prior).fit
        rows.append(
            {
                name: abs(fit.values[name] - getattr(world.law, name)) <= HALF_WIDTH * fit.sd[name]
                for name in (*LEARNED, "source_area", "outside")
            }
            | {"lakes": len(world.area_ha), "evaluations": fit.evaluations}
        )
    return pd.DataFrame(rows)
