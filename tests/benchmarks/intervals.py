"""Whether 90% intervals hold the truth in about 90% of cases, on regions drawn from the model."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

import spreadnet
from spreadnet.decisions.ranking.order import ranks
from spreadnet.evidence.estimating.contacts import WATERS
from spreadnet.model.spread.expected import new_infestations

sys.path.insert(0, str(Path(__file__).parents[1]))
from known_region import COEFFICIENTS, make_known_region, true_run, true_scores

REGIONS, DRAWS = 110, 60
FITTED = 400  # regions whose law alone is fitted: one interval a region tells less than hundreds
LEAST, MOST = 0.82, 0.97
LAW = "power"  # the true one
FIGURES = {
    "log_area": "exponent of area",
    "log_traffic": "exponent of traffic",
    "log_distance": "exponent of distance",
    "gaps": "gap rates",
    "visited": "launches where counted",
    "unvisited": "launches where not counted",
    "shares": "shares of last waters",
    "avoided": "what 100 hours avoid",
    "rank": "ranks",
    "total": "new infestations",
}


def inside(low, true, high):
    """Share of intervals that hold the truth."""
    return float(np.mean((np.asarray(low) <= true) & (true <= np.asarray(high))))


def measure(seed, *, draws=DRAWS, **made):
    """Share of 90% intervals of one region that hold the truth, by kind of figure."""
    known = make_known_region(seed, **made)
    result = spreadnet.assess(known.region, draws=draws, seed=1)
    return {
        **_movement(known, result.movement),
        **_evidence(known, result.evidence),
        **_decision(known, result),
    }


def measured(regions=REGIONS, *, draws=DRAWS, **made):
    """One row a region."""
    return pd.DataFrame([measure(seed, draws=draws, **made) for seed in range(regions)])


def fitted(seed):
    """Share of 90% intervals of the law's coefficients that hold the truth, without a ranking."""
    known = make_known_region(seed)
    evidence = spreadnet.gather_evidence(known.region)
    movement = spreadnet.build_model(known.region, evidence, seed=1)
    return _movement(known, movement)


def rows():
    """Figures with their bars, for the table of all benchmarks."""
    found = measured()
    further = pd.DataFrame([fitted(seed) for seed in range(REGIONS, FITTED)])
    found = pd.concat([found, further], ignore_index=True)
    for name, words in FIGURES.items():
        figure, bar = found[name].mean(), MOST if found[name].mean() > LEAST else LEAST
        yield {
            "name": f"90% intervals cover: {words}",
            "figure": figure,
            "bar": bar,
            "ok": LEAST <= figure <= MOST,
            "unit": f"{LEAST}-{MOST}, {found[name].count()} regions",
        }
    chosen = found["law"].mean()
    yield {
        "name": "true law of distance chosen",
        "figure": chosen,
        "bar": float("inf"),
        "ok": True,
        "unit": f"of {len(found)} regions",
    }


def _movement(known, movement):
    """Coefficients of the law, where it is the true one and was fitted."""
    fit = movement.fit
    row = {"law": float(fit.law.name == LAW and not fit.assumed)}
    if not row["law"]:
        return row
    table = fit.table()
    for name, true in zip(COEFFICIENTS, known.truth.coefficients, strict=True):
        row[name] = inside(table.loc[name, "low"], true, table.loc[name, "high"])
    return row


def _evidence(known, evidence):
    """Traffic, gap rates and shares."""
    truth, traffic = known.truth, evidence.traffic.table
    gaps, shares, row = evidence.gaps.table, evidence.shares.table, {}
    counted = traffic["visited"].to_numpy(bool)
    for name, some in (("visited", counted), ("unvisited", ~counted)):
        few = traffic[some]
        row[name] = inside(few["launches_low"], truth.traffic.launches[some], few["launches_high"])
    rates = np.transpose(truth.gaps, (2, 0, 1)).ravel()
    row["gaps"] = inside(gaps["low"], rates, gaps["high"])
    ends = (shares[[f"{water}_{end}" for water in WATERS]] for end in ("low", "high"))
    low, high = ends
    row["shares"] = inside(low, truth.shares, high)
    return row


def _decision(known, result):
    """Avoided in the day block that is named, ranks, and new infestations."""
    run, table, blocks = true_run(known, result), result.landings, result.evidence.traffic
    days = blocks.day_blocks["day_type"] + " " + blocks.day_blocks["block"]
    scores = true_scores(run, pd.Index(days).get_indexer(table["best_when"]))
    new = sum(new_infestations(one, run.paths[name]).sum() for name, one in run.inputs.items())
    rank = ranks(scores, list(table.index))
    return {
        "avoided": inside(table["avoided_low"], scores, table["avoided_high"]),
        "rank": inside(table["rank_low"], rank, table["rank_high"]),
        "total": inside(result.totals["low"].sum(), new, result.totals["high"].sum()),
    }
