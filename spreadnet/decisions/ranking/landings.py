"""The table of landings: rank, what the next hours avoid, how sure, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from spreadnet.decisions.ranking.attribution import attribute
from spreadnet.decisions.ranking.order import rank_draws, rank_groups, ranks
from spreadnet.decisions.ranking.uncertainty import variance_shares
from spreadnet.evidence.estimating import WATERS
from spreadnet.evidence.region import DIRECTIONS, GAPS
from spreadnet.model.carriage import ROUTES
from spreadnet.model.estimates import GROUPS
from spreadnet.words import ANY_TIME, OUTSIDE, Facts, Part, assumed_words, reasons

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import geopandas as gpd
    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.decisions.hours import Met
    from spreadnet.decisions.ranking.attribution import Attribution
    from spreadnet.decisions.ranking.real_hours import Exact
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region

    Array = NDArray[np.floating]

LIKELY = 0.02  # a chance of being infested unseen that is worth a word
RESTS_ON = 0.25  # share of the good of boats leaving that rests on such a chance, told from here on
SIDES = {"launching": "arriving", "retrieving": "leaving"}


def landing_table(
    region: Region,
    evidence: Evidence,
    *,
    run: Run,
    exact: Exact,
    scores: Array,
    moved: tuple[Array, Array],
    hours: Mapping[str, Array],
    met: Met,
) -> gpd.GeoDataFrame:
    """
    One row a landing, in the region's order.

    Parameters
    ----------
    region : Region
        The input.
    evidence : Evidence
        Step one.
    run : Run
        The model at the best estimates.
    exact : Exact
        What real hours at each landing avoid.
    scores : array, shape (N, K)
        Avoided per 100 hours by slope in N draws.
    moved : tuple of arrays
        Ranks with each group of inputs drawn anew, see `rank_sources.rank_moves`.
    hours : mapping of way to array, shape (K, D)
        The same hours placed in each way.
    met : Met
        Whom an hour meets.

    Returns
    -------
    landings : GeoDataFrame, index landing_id
        `rank` and its interval are missing for all when nothing can be avoided anywhere.
    """
    landings, traffic = region.landings, evidence.traffic.table
    traffic_known = evidence.traffic.timed
    best = run.best_block()
    leaving, arriving = (part * exact.factor for part in run.per_100_hours(best))
    score = leaving + arriving
    drawn = rank_draws(score, scores * exact.factor, ids=list(landings.index))
    ranked = bool(np.any(score > 0))
    table = landings[["name", "lake_id"]].copy()
    table["lake_name"] = region.lakes["name"].reindex(table["lake_id"]).to_numpy()
    table.insert(0, "rank", _whole(drawn.rank, ranked))
    table["avoided_per_100_hours"] = score
    table["avoided_low"], table["avoided_high"] = drawn.low, drawn.high
    table["rank_low"] = _whole(drawn.rank_low, ranked)
    table["rank_high"] = _whole(drawn.rank_high, ranked)
    table["rank_group"] = _whole(rank_groups(drawn.rank, scores * exact.factor), ranked)
    for first, chance in drawn.chance_first.items():
        table[f"chance_first_{first}"] = chance if ranked else np.nan
    shares = variance_shares(*moved)
    mostly = np.array(GROUPS)[np.argmax(np.nan_to_num(shares, nan=-1.0), axis=0)]
    table["uncertain_mostly"] = np.where(np.isnan(shares).any(axis=0) | (not ranked), None, mostly)
    for group, share in zip(GROUPS, shares, strict=True):
        table[f"rank_variance_{group.replace(' ', '_')}"] = share if ranked else np.nan
    table["avoided_leaving"], table["avoided_arriving"] = leaving, arriving
    table["leaving_share"] = leaving / np.where(score > 0, score, 1)
    table["most_hours"] = exact.most_hours
    table["avoided_at_most_hours"] = exact.avoided_at_most
    for column in ("launches", "launches_low", "launches_high", "visits", "hours", "visited"):
        table[column if column != "hours" else "visit_hours"] = traffic[column].to_numpy()
    blocks = run.reach.day_blocks
    when = (blocks["day_type"] + " " + blocks["block"]).to_numpy()
    table["best_when"] = when[best] if traffic_known else ANY_TIME
    table["boats_met_per_hour"] = run.reach.boats[np.arange(len(best)), best]
    for column, boats in met.bridging_per_100_hours(np.arange(len(best)), best).items():
        table[column] = boats
    for way, placed in hours.items():
        table[f"hours_{way.replace(' ', '_')}"] = placed.sum(axis=1)
    shares = evidence.shares.mean()
    for w, water in enumerate(WATERS):
        table[f"from_{water}"] = shares[:, w]
    rates = evidence.gaps.mean()
    for d, direction in enumerate(DIRECTIONS):
        for g, gap in enumerate(GAPS):
            table[f"{gap}_{SIDES[direction]}"] = rates[d, g]
    table["can_staff"] = landings["can_staff"].fillna(True).to_numpy(bool)
    table["jurisdiction"] = landings["jurisdiction"].to_numpy()
    table["reasons"] = _all_reasons(region, evidence, run, table)
    table["geometry"] = landings.geometry
    return table.set_geometry("geometry", crs=landings.crs)


def _whole(values: NDArray[np.int64], ranked: bool) -> Any:
    """Whole numbers, or all missing where there is no ranking."""
    if ranked:
        return pd.array(list(values), dtype="Int64")
    return pd.array([None] * len(values), dtype="Int64")


def _all_reasons(region: Region, evidence: Evidence, run: Run, table: pd.DataFrame) -> list[str]:
    """Reasons of every landing, joined."""
    runs = [(run.weights[n], run.inputs[n], run.paths[n], run.slopes[n]) for n in run.inputs]
    parts = attribute(runs)
    out_routes = np.sum([w * s.leaving_routes for w, _, _, s in runs], axis=0)
    rests = {
        n: weight * slope.leaving / np.maximum(out_routes.sum(axis=0), 1e-300)
        for n, (weight, _, _, slope) in zip(run.inputs, runs, strict=True)
    }
    in_routes = np.sum([w * s.arriving_routes for w, _, _, s in runs], axis=0)
    busy = ranks(table["launches"].to_numpy(float), list(table.index))
    lake = run.inputs[next(iter(run.inputs))].landing_lake
    names = region.lakes["name"].to_numpy()
    assumed, unseen = assumed_lakes(run, evidence), unseen_words(run, evidence)
    counts = evidence.gaps.table[["rate", "found", "checked"]].to_dict("index")
    told = []
    for k, (landing_id, row) in enumerate(zip(table.index, table.to_dict("records"), strict=True)):
        leaves = bool(row["leaving_share"] >= 0.5)
        values = (out_routes if leaves else in_routes)[:, k]
        route, rate, found, checked = _telling_gap(
            float(evidence.gaps.ballast[k]),
            str(landing_id),
            counts=counts,
            leaves=leaves,
            values=values,
        )
        facts = Facts(
            lake=str(row["lake_name"]),
            launches=row["launches"],
            launches_low=row["launches_low"],
            launches_high=row["launches_high"],
            traffic_rank=int(busy[k]),
            landings=len(table),
            visited=bool(row["visited"]),
            can_staff=bool(row["can_staff"]),
            avoided=row["avoided_per_100_hours"],
            leaving_share=row["leaving_share"],
            infested=[
                evidence.species[n].label for n, s in evidence.status.items() if s.known[lake[k]]
            ],
            likely=[
                (evidence.species[n].label, words[lake[k]])
                for n, words in unseen.items()
                if words[lake[k]] and rests[n][k] >= RESTS_ON
            ],
            to_parts=_to_parts(parts, k, names),
            from_parts=_from_parts(parts, k, names, assumed),
            gap=route,
            gap_direction="leaving" if leaves else "arriving",
            gap_rate=rate,
            gap_found=found,
            gap_checked=checked,
            best_when=row["best_when"] if evidence.traffic.timed else None,
            boats_met=row["boats_met_per_hour"],
            bridging_boats=row["bridging_boats_per_100_hours"],
        )
        told.append("; ".join(reason.replace(";", ",") for reason in reasons(facts)))
    return told


def unseen_words(run: Run, evidence: Evidence) -> dict[str, list[str]]:
    """
    What a species that nobody has seen in a lake rests on, lake by lake.

    Parameters
    ----------
    run : Run
        The model at the best estimates.
    evidence : Evidence
        Surveys, and where each species is known.

    Returns
    -------
    words : dict of species to list of str, length L
        `assumed_words`; empty where it is known, or hardly likely.
    """
    words = {}
    for name, status in evidence.status.items():
        chance = run.inputs[name].initial
        told = (chance >= LIKELY) & ~status.known
        each = zip(told, status.surveys, chance, strict=True)
        words[name] = [assumed_words(n, float(p)) if some else "" for some, n, p in each]
    return words


def assumed_lakes(run: Run, evidence: Evidence) -> list[str]:
    """
    What boats from a lake rest on where none of the species is known in it.

    Parameters
    ----------
    run : Run
        The model at the best estimates.
    evidence : Evidence
        Surveys, and where each species is known.

    Returns
    -------
    words : list of str, length L
        Of the species that is likeliest there; empty where one is known, or all are hardly likely.
    """
    unseen = unseen_words(run, evidence)
    chances = np.array([run.inputs[name].initial for name in unseen])
    known = np.any([evidence.status[name].known for name in unseen], axis=0)
    likeliest = np.argmax(chances, axis=0)
    words = list(unseen.values())
    return ["" if known[j] else words[s][j] for j, s in enumerate(likeliest)]


def _telling_gap(
    ballast: float, landing_id: str, *, counts: Mapping, leaves: bool, values: Array
) -> tuple[str, float, int, int]:
    """The route by which most is avoided here, its rate, and what it was counted from."""
    route = ROUTES[int(np.argmax(values))]
    if route not in GAPS:
        return route, ballast, 0, 0
    direction = "retrieving" if leaves else "launching"
    counted = counts[(landing_id, direction, route)]
    return route, float(counted["rate"]), int(counted["found"]), int(counted["checked"])


def _to_parts(parts: Attribution, k: int, names: NDArray) -> list[Part]:
    """Lakes put at risk by boats leaving landing k, with their shares."""
    whole = parts.to_total[k] or 1.0
    return [
        Part(str(names[j]), v / whole)
        for j, v in zip(parts.to_lake[k], parts.to_value[k], strict=True)
        if v > 0
    ]


def _from_parts(parts: Attribution, k: int, names: NDArray, assumed: Sequence[str]) -> list[Part]:
    """Where boats arriving at landing k bring most from, waters outside among them."""
    whole = parts.from_total[k] or 1.0
    found = [
        Part(str(names[j]), v / whole, assumed[j])
        for j, v in zip(parts.from_lake[k], parts.from_value[k], strict=True)
        if v > 0
    ]
    found.append(Part(OUTSIDE, parts.from_outside[k] / whole))
    return sorted(found, key=lambda part: -part.share)[:3]
