"""The same hours placed in other ways, and what each way avoids in the same draws."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.draws import in_order
from spreadnet.decisions.hours import (
    coverage_of,
    hour_reach,
    place_bridging,
    place_busiest,
    place_equally,
)
from spreadnet.decisions.shifts import hours_by_block
from spreadnet.model.estimates import drawn_estimates
from spreadnet.model.inputs import each_species
from spreadnet.model.spread import Coverage, totals_under
from spreadnet.words import BRIDGING, short_repr

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from spreadnet.decisions.hours import Met, Reach
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.inputs import Place
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]

PLAN = "this plan"
LAST_SEASON = "as last season"
ERROR_SHOWN = 0.1  # of what the plan avoids: a mean with a larger standard error is not shown


def ways_today(region: Region, met: Met, *, hours: float) -> dict[str, Array]:
    """
    The hours of a season placed as people place them without a model.

    Parameters
    ----------
    region : Region
        Visits and landings.
    met : Met
        Whom an hour meets.
    hours : float
        Hours in the season.

    Returns
    -------
    ways : dict of name to array, shape (K, D)
        Where most boats on bridging trips are met, the published rule; busiest first; equal hours;
        infested lakes only, busiest first; and as last season, where there are visits of one, its
        hours in proportion. They keep to where educators may stand and to what a landing takes,
        not to people's days or to what jurisdictions ask for.
    """
    reach = met.reach
    only = replace(reach, can_staff=reach.can_staff & met.bridging.infested)
    ways = {
        BRIDGING: place_bridging(hours, reach, bridging=met.bridging),
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
    """What every draw shares: hours by way (K, D)."""

    evidence: Evidence
    movement: Movement
    place: Place
    seasons: int
    seed: int
    hours: Mapping[str, Array]


def way_draw(setting: WaySetting, draw: int) -> Array:
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
    avoided : array, shape (W,)
        Expected, in the order of `hours`: no luck of single infestations is in it.
    """
    place = setting.place
    estimates = drawn_estimates(setting.evidence, setting.movement, seed=setting.seed, draw=draw)
    reach = hour_reach(estimates, place)
    nobody = Coverage.none(len(place.landing_ids))
    every = [nobody, *(coverage_of(hours, reach) for hours in setting.hours.values())]
    together = Coverage.together(every)
    expected = np.zeros(len(every))
    for name, inputs, _, rates in each_species(estimates, setting.movement, place=place):
        under = totals_under(inputs, together, seasons=setting.seasons, rates=rates)
        expected += place.settings.species[name] * under
        del rates  # as large as the trips: let go before the next are worked out
    return expected[0] - expected[1:]


def draw_ways(
    setting: WaySetting,
    draws: int,
    *,
    workers: int | None,
    step: Callable[[int, int, str], None],
) -> dict[str, Array]:
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
    avoided : dict of way to array, shape (N,)
        The same draws for all, and the same for the same seed on any number of workers.
    """
    same = {way: hours.tobytes() for way, hours in setting.hours.items()}
    once = {key: way for way, key in reversed(same.items())}  # equal hours are run once
    only = replace(setting, hours={way: setting.hours[way] for way in once.values()})
    rows = []
    threads = setting.movement.compiled
    for row in in_order(way_draw, only, range(draws), workers=workers, threads=threads):
        rows.append(row)
        step(len(rows), draws, "comparing")
    avoided = dict(zip(only.hours, np.array(rows).T, strict=True))
    return {way: avoided[once[key]] for way, key in same.items()}


def way_table(
    hours: Mapping[str, Array],
    drawn: Mapping[str, Array],
    *,
    met: Met,
    seasons: int,
    cost_per_hour: float | None,
) -> pd.DataFrame:
    """
    Whom each way meets and what it avoids, with 90% intervals and its cost.

    Parameters
    ----------
    hours : mapping of way to array, shape (K, D)
        The plan first.
    drawn : mapping of way to array, shape (N,)
        Avoided in the same draws by all.
    met : Met
        Whom an hour meets.
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
        share, error = share_of(drawn[way], drawn[plan])
        rows[way] = {
            "hours_a_season": placed.sum(),
            "landings": int((placed.sum(axis=1) > 0).sum()),
            **met.season(placed),
            **mean_range("avoided", drawn[way]),
            "share_of_plan": share,
            "share_of_plan_error": error,
            "chance_plan_is_better": np.nan
            if way == plan
            else float((drawn[plan] > drawn[way]).mean()),
        }
        if cost_per_hour is not None:
            cost = placed.sum() * seasons * cost_per_hour
            rows[way] |= cost_of_one(cost, drawn[way])
    table = pd.DataFrame.from_dict(rows, orient="index").rename_axis("way")
    if not table["share_of_plan_error"].max(skipna=False) <= ERROR_SHOWN:
        table[["share_of_plan", "share_of_plan_error"]] = np.nan
    return table


def share_of(way: Array, plan: Array) -> tuple[float, float]:
    """
    What a way avoids over what the plan avoids, in the mean of the same draws.

    Parameters
    ----------
    way, plan : array, shape (N,)
        Avoided in each draw.

    Returns
    -------
    share, error : float
        The ratio of the means and its standard error (delta method): what both have in common
        drops out, draw by draw. Missing where there is one draw or the plan avoids nothing.

    Examples
    --------
    >>> share, error = share_of(np.array([1.0, 2, 3]), np.array([2.0, 4, 6]))
    >>> share, error
    (0.5, 0.0)
    """
    whole = float(plan.mean())
    if len(plan) < 2 or whole <= 0:
        return np.nan, np.nan
    share = float(way.mean()) / whole
    apart = way - share * plan
    return share, float(apart.std(ddof=1) / len(apart) ** 0.5 / whole)


def mean_range(name: str, drawn: Array) -> dict[str, float]:
    """
    Mean of draws and its 90% interval, by name of column.

    Examples
    --------
    >>> mean_range("avoided", np.array([0.0, 1.0, 2.0]))
    {'avoided': 1.0, 'avoided_low': 0.1, 'avoided_high': 1.9}
    """
    mean = float(drawn.mean())
    low, high = np.quantile(drawn, [0.05, 0.95])
    # One draw among very many may be more than all others together.
    return {
        name: mean,
        f"{name}_low": min(float(low), mean),
        f"{name}_high": max(float(high), mean),
    }


def cost_of_one(cost: float, drawn: Array) -> dict[str, float]:
    """
    Cost of the hours and of one infestation avoided, with its 90% interval.

    Parameters
    ----------
    cost : float
        Of the hours of all seasons.
    drawn : array, shape (N,)
        Avoided in the draws.

    Returns
    -------
    columns : dict
        The cost over the mean that is avoided. Missing where nothing is avoided: then there is no
        one that could cost anything. The upper end is missing too where nothing is avoided in 1 of
        20 draws.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.where(drawn > 0, cost / drawn, np.inf)
    low, high = np.quantile(each, [0.05, 0.95], method="inverted_cdf")
    avoided = float(drawn.mean())
    one = cost / avoided if avoided > 0 else np.inf
    columns = {
        "cost": cost,
        "cost_per_infestation_avoided": one,
        "cost_low": min(low, one),
        "cost_high": max(high, one),
    }
    return {name: value if np.isfinite(value) else np.nan for name, value in columns.items()}
