"""The same hours placed as people place them today, and what each way avoids on common luck."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.draws import in_order
from spreadnet.decisions.hours import coverage_of, hour_reach, place_busiest, place_equally
from spreadnet.decisions.plan.rules import hours_by_block
from spreadnet.model.estimates import drawn_estimates
from spreadnet.model.inputs import each_species
from spreadnet.model.spread import Coverage, simulate, totals_under
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from spreadnet.decisions.hours import Reach
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.inputs import Place
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]

PLAN = "this plan"
LAST_SEASON = "as last season"
FUTURES = 5  # simulated for each draw and way, on the same thresholds
SIMULATED = 40  # draws in which they are


def ways_today(
    region: Region, reach: Reach, *, hours: float, known: Mapping[str, NDArray[np.bool_]]
) -> dict[str, Array]:
    """
    The hours of a season placed as people place them without a model.

    Parameters
    ----------
    region : Region
        Visits and landings.
    reach : Reach
        Day blocks, boats met, who can be staffed.
    hours : float
        Hours in the season.
    known : mapping of species to array of bool, shape (L,)
        Lakes known to be infested.

    Returns
    -------
    ways : dict of name to array, shape (K, D)
        Busiest first; equal hours; infested lakes only, busiest first; and as last season, where
        there are visits of one, its hours in proportion. They keep to where educators may stand
        and to what a landing takes, not to people's days or to what jurisdictions ask for.
    """
    infested = np.any(list(known.values()), axis=0)
    here = region.lakes.index.get_indexer(region.landings["lake_id"])
    only = replace(reach, can_staff=reach.can_staff & infested[here])
    ways = {
        "busiest first": place_busiest(hours, reach),
        "equal hours": place_equally(hours, reach),
        "infested lakes only": place_busiest(hours, only),
    }
    last = last_season_hours(region, reach)
    if last.sum() > 0:
        last = np.minimum(last * hours / last.sum(), reach.hours_in_season)
        whole = np.maximum(last.sum(axis=1, keepdims=True), 1e-12)
        ways[LAST_SEASON] = last * np.minimum(reach.most_hours / whole, 1.0)
    return ways


def last_season_hours(region: Region, reach: Reach) -> Array:
    """
    Hours of the visits in the latest year before the season that is planned for.

    Parameters
    ----------
    region : Region
        Visits and season.
    reach : Reach
        Day blocks.

    Returns
    -------
    hours : array, shape (K, D)
        Zero without such visits.
    """
    first = pd.Timestamp(region.settings.season_first_day)
    before = region.visits[region.visits["date"] < first]
    if before.empty:
        return np.zeros(reach.boats.shape)
    year = before["date"].dt.year
    return hours_by_block(region, reach, before[year == year.max()])


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class WaySetting:
    """What every draw shares: hours by way (K, D), those of `simulated` in single futures too."""

    evidence: Evidence
    movement: Movement
    place: Place
    seasons: int
    seed: int
    hours: Mapping[str, Array]
    simulated: tuple[str, ...]


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class WayDraws:
    """
    What N draws gave.

    `avoided` by way (N,) expected; `simulated` by way (at most `SIMULATED`, `FUTURES`) in single
    futures, each against the same future without education.
    """

    avoided: Mapping[str, Array]
    simulated: Mapping[str, Array]


def way_draw(setting: WaySetting, draw: int) -> tuple[Array, Array]:
    """
    Avoided by every way in one draw of everything uncertain.

    Parameters
    ----------
    setting : WaySetting
        What every draw shares.
    draw : int
        Number of the draw.

    Returns
    -------
    expected : array, shape (W,)
        In the order of `hours`.
    simulated : array, shape (S, FUTURES)
        In the order of `simulated`; every way meets the same thresholds. No column from the draw
        `SIMULATED` on.
    """
    place = setting.place
    estimates = drawn_estimates(setting.evidence, setting.movement, seed=setting.seed, draw=draw)
    reach = hour_reach(
        estimates.traffic,
        place.settings,
        day_blocks=place.day_blocks,
        ids=place.landing_ids,
        can_staff=place.can_staff,
    )
    covered = {way: coverage_of(hours, reach) for way, hours in setting.hours.items()}
    nobody = Coverage.none(len(place.landing_ids))
    every = [nobody, *covered.values()]
    together = Coverage.together(every)
    expected = np.zeros(len(every))
    futures_each = FUTURES if draw < SIMULATED else 0
    counted = np.zeros((1 + len(setting.simulated), futures_each))
    for name, inputs, _, rates in each_species(estimates, setting.movement, place=place):
        weight = place.settings.species[name]
        expected += weight * totals_under(inputs, together, seasons=setting.seasons)
        for row, way in enumerate((None, *setting.simulated) if futures_each else ()):
            futures = simulate(
                inputs,
                seasons=setting.seasons,
                seed=setting.seed,
                species=name,
                futures=range(draw * FUTURES, (draw + 1) * FUTURES),
                coverage=None if way is None else covered[way],
                rates=rates.times(inputs.establish) if way is None else None,
            )
            counted[row] += weight * futures.new(inputs.worth)
    return expected[0] - expected[1:], counted[0] - counted[1:]


def draw_ways(
    setting: WaySetting,
    draws: int,
    *,
    workers: int | None,
    step: Callable[[int, int, str], None],
) -> WayDraws:
    """
    Avoided by every way in each draw.

    Parameters
    ----------
    setting : WaySetting
        What every draw shares.
    draws : int
        Number of draws.
    workers : int or None
        As for `parallel.in_order`.
    step : callable
        Told `(done, draws, what)` after each draw.

    Returns
    -------
    drawn : WayDraws
        The same for the same seed on any number of workers.
    """
    expected, simulated = [], []
    results = in_order(
        way_draw, setting, range(draws), workers=workers, threads=setting.movement.compiled
    )
    for row in results:
        expected.append(row[0])
        simulated += [row[1]] if row[1].size else []
        step(len(expected), draws, "comparing")
    return WayDraws(
        dict(zip(setting.hours, np.array(expected).T, strict=True)),
        dict(zip(setting.simulated, np.array(simulated).swapaxes(0, 1), strict=True)),
    )


def way_table(
    hours: Mapping[str, Array],
    best: Mapping[str, float],
    drawn: WayDraws,
    *,
    reach: Reach,
    seasons: int,
    cost_per_hour: float | None,
) -> pd.DataFrame:
    """
    What each way avoids, expected and simulated, with 90% intervals and its cost.

    Parameters
    ----------
    hours : mapping of way to array, shape (K, D)
        The plan first.
    best : mapping of way to float
        Expected at the best estimates.
    drawn : WayDraws
        The same draws for all.
    reach : Reach
        Boats met in an hour.
    seasons : int
        Seasons looked ahead.
    cost_per_hour : float or None
        For the cost of one infestation avoided.

    Returns
    -------
    table : DataFrame, index way
        `chance_plan_is_better` is missing for the plan itself.
    """
    plan = next(iter(hours))
    rows = {}
    for way, placed in hours.items():
        low, high = np.quantile(drawn.avoided[way], [0.05, 0.95])
        futures = drawn.simulated[way]
        ends = np.quantile(futures, [0.05, 0.95])
        rows[way] = {
            "hours_a_season": placed.sum(),
            "landings": int((placed.sum(axis=1) > 0).sum()),
            "boats_met_a_season": float((placed * reach.boats).sum()),
            "avoided": best[way],
            "avoided_low": min(low, best[way]),
            "avoided_high": max(high, best[way]),
            "simulated": futures.mean(),
            "simulated_error": futures.mean(axis=1).std(ddof=1) / len(futures) ** 0.5
            if len(futures) > 1
            else np.nan,
            "one_future_low": ends[0],
            "one_future_high": ends[1],
            "chance_plan_is_better": np.nan
            if way == plan
            else float((drawn.avoided[plan] > drawn.avoided[way]).mean()),
        }
        if cost_per_hour is not None:
            cost = placed.sum() * seasons * cost_per_hour
            rows[way] |= cost_of_one(cost, best[way], drawn.avoided[way])
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("way")


def cost_of_one(cost: float, avoided: float, drawn: Array) -> dict[str, float]:
    """
    Cost of the hours and of one infestation avoided, with its 90% interval.

    Parameters
    ----------
    cost : float
        Of the hours of all seasons.
    avoided : float
        At the best estimates.
    drawn : array, shape (N,)
        In the draws.

    Returns
    -------
    columns : dict
        Missing where nothing is avoided: then there is no one that could cost anything. The upper
        end is missing too where nothing is avoided in 1 of 20 draws.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.where(drawn > 0, cost / drawn, np.inf)
    low, high = np.quantile(each, [0.05, 0.95], method="inverted_cdf")
    one = cost / avoided if avoided > 0 else np.inf
    columns = {
        "cost": cost,
        "cost_per_infestation_avoided": one,
        "cost_low": min(low, one),
        "cost_high": max(high, one),
    }
    return {name: value if np.isfinite(value) else np.nan for name, value in columns.items()}
