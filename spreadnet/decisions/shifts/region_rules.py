"""The rules of a region's plan, from its settings and tables."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.shifts.rules import Limit, PlanRules, Spread
from spreadnet.evidence.region import DAY_TYPES
from spreadnet.evidence.where import sunsets

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from spreadnet.decisions.hours import Reach
    from spreadnet.evidence.region import Region, Settings

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

USUAL_SHARE = 0.25  # of the hours that one landing may have, where nothing is said


def plan_rules(region: Region, reach: Reach, *, hours: float, plan_from: date) -> PlanRules:
    """
    Rules of a region's plan from its settings and tables.

    Parameters
    ----------
    region : Region
        Settings, visits of this season, promised shifts, when people can work.
    reach : Reach
        Day blocks, and who can be staffed.
    hours : float
        Educator hours in the season, those worked already among them.
    plan_from : date
        First day on which a shift may be placed.

    Returns
    -------
    rules : PlanRules
        In the order of the region's landings and of `reach.day_blocks`.
    """
    settings, landings = region.settings, region.landings
    shape = reach.boats.shape
    cells = np.arange(shape[0] * shape[1]).reshape(shape)
    worked = worked_hours(region, reach, plan_from)
    least = _promised(region, reach, plan_from)
    days = days_left(settings, plan_from)
    staffed = reach.can_staff
    if not settings.unasked_landings:
        staffed = staffed & ~unasked(region)
    starts = _starts(region, plan_from)
    by_type = starts.groupby(days).sum()
    pairs = zip(reach.day_blocks["day_type"], reach.day_blocks["block"], strict=True)
    slots = [int(by_type[block].get(kind, 0)) for kind, block in pairs]
    room = np.array(slots)[None, :] * staffed[:, None]
    most = np.maximum(np.broadcast_to(room, shape), least).astype(np.int64)
    left = max(hours - float(worked.sum()), 0.0)
    long = np.full(cells.size, settings.shift_hours)
    limits = [Limit(f"{hours:g} hours in the season", "hours", cells.ravel(), 0, left, long)]
    weekly = settings.most_hours_per_landing_week
    each = int(weekly / settings.shift_hours * len(days) / 7 + 1e-9)
    limits += [
        Limit(f"{weekly:g} hours a week at {landings.index[k]}", "landing", cells[k], 0, each)
        for k in np.flatnonzero(most.sum(axis=1) > each)
    ]
    limits += _jurisdictions(region, cells, worked)
    limits += _people(region, reach, cells, starts)
    order = np.lexsort((np.tile(np.arange(shape[1]), shape[0]), np.repeat(reach.place, shape[1])))
    rules = PlanRules(settings.shift_hours, least, most, tuple(limits), worked, order)
    able = int(((most.sum(axis=1) > 0) | (worked.sum(axis=1) > 0)).sum())
    stated = settings.most_share_per_landing
    share = (USUAL_SHARE, able) if stated is None else (stated, 0)
    return rules.shared(Spread(*share, least=settings.least_landings))


def unasked(region: Region) -> NDArray[np.bool_]:
    """Landings of which it is not known whether educators may work there, (K,)."""
    return region.landings["can_staff"].isna().to_numpy(bool)


def last_ends(region: Region, plan_from: date) -> dict[date, float] | None:
    """
    Latest end of a shift on each day from `plan_from` on, in hours after midnight.

    Parameters
    ----------
    region : Region
        Landings, time zone, and whether shifts may end after dusk.
    plan_from : date
        First day.

    Returns
    -------
    ends : dict of date to float, or None
        When the sun has set at the first of the landings; None where shifts may go on.
    """
    settings = region.settings
    if settings.after_dusk or region.landings.empty:
        return None
    days = _days_left(settings, plan_from)
    points = region.landings.geometry.to_crs("EPSG:4326")
    places = points.x.to_numpy(), points.y.to_numpy()
    return dict(zip(days, sunsets(*places, days, time_zone=settings.time_zone), strict=True))


def _starts(region: Region, plan_from: date) -> pd.DataFrame:
    """Shifts of one landing that there are times for, by day from `plan_from` on and by block."""
    settings, shift = region.settings, region.settings.shift_hours
    ends = last_ends(region, plan_from)
    days = _days_left(settings, plan_from)
    latest = np.full(len(days), np.inf) if ends is None else np.array([ends[day] for day in days])
    counts = {}
    for block in settings.blocks:
        over = block.first + shift * np.arange(1, int((block.hours + 1e-9) // shift) + 1)
        counts[block.label] = (over[:, None] <= latest + 1e-9).sum(axis=0)
    return pd.DataFrame(counts, index=pd.DatetimeIndex(days))


def _days_left(settings: Settings, plan_from: date) -> list[date]:
    """Days of the season from `plan_from` on."""
    first = max(plan_from, settings.season_first_day)
    number = (settings.season_last_day - first).days + 1
    return [first + timedelta(days=i) for i in range(max(number, 0))]


def days_left(settings: Settings, plan_from: date) -> list[str]:
    """
    Day type of each day of the season from `plan_from` on.

    Parameters
    ----------
    settings : Settings
        Season and holidays.
    plan_from : date
        First day.

    Returns
    -------
    types : list of str
        `weekday` or `weekend`; holidays are weekend days.
    """
    return [day_type(day, settings.holidays) for day in _days_left(settings, plan_from)]


def day_type(day: date, holidays: Iterable[date]) -> str:
    """
    Whether a day has the traffic of a weekday or of a weekend.

    Examples
    --------
    >>> day_type(date(2027, 7, 5), [date(2027, 7, 5)]), day_type(date(2027, 7, 6), [])
    ('weekend', 'weekday')
    """
    return DAY_TYPES[int(day.weekday() >= 5 or day in set(holidays))]


def first_free_day(region: Region) -> date:
    """
    First day that a plan made now can use: the day after the last visit of this season.

    Parameters
    ----------
    region : Region
        Season and visits.

    Returns
    -------
    day : date
        The first day of the season when no visit of it is there yet.
    """
    settings = region.settings
    seen = _this_season(region)
    return seen.max().date() + timedelta(days=1) if len(seen) else settings.season_first_day


def worked_hours(region: Region, reach: Reach, before: date) -> Array:
    """
    Hours worked in this season before a day, by landing and day block.

    Parameters
    ----------
    region : Region
        Visits.
    reach : Reach
        Day blocks.
    before : date
        Visits of this day and later do not count.

    Returns
    -------
    hours : array, shape (K, D)
        Parts of visits outside all blocks count for the nearest.
    """
    visits = region.visits
    season = _this_season(region)
    return hours_by_block(region, reach, visits[visits.index.isin(season.index)], before=before)


def hours_by_block(
    region: Region, reach: Reach, visits: pd.DataFrame, *, before: date | None = None
) -> Array:
    """
    Hours of visits by landing and day block.

    Parameters
    ----------
    region : Region
        Landings and blocks.
    reach : Reach
        Day blocks.
    visits : DataFrame
        Rows of `region.visits`.
    before : date, optional
        Later visits do not count.

    Returns
    -------
    hours : array, shape (K, D)
        Parts of visits outside all blocks count for the nearest.
    """
    hours: Array = np.zeros(reach.boats.shape)
    if before is not None:
        visits = visits[visits["date"] < pd.Timestamp(before)]
    blocks = region.settings.blocks
    middles = np.array([(one.first + one.last) / 2 for one in blocks])
    position = {landing_id: k for k, landing_id in enumerate(region.landings.index)}
    column = _columns(reach)
    for row in visits.to_dict("records"):
        kind = day_type(row["date"].date(), region.settings.holidays)
        start, end = row["start"], row["end"]
        inside = [max(min(end, b.last) - max(start, b.first), 0.0) for b in blocks]
        rest = max(end - start - sum(inside), 0.0)
        inside[int(np.argmin(np.abs(middles - (start + end) / 2)))] += rest
        for block, part in zip(blocks, inside, strict=True):
            if part > 0:
                hours[position[row["landing_id"]], column[kind, block.label]] += part
    return np.minimum(hours, reach.hours_in_season)


def _this_season(region: Region) -> pd.Series:
    """Days of visits in the season that is planned for."""
    days = region.visits["date"]
    first, last = region.settings.season_first_day, region.settings.season_last_day
    return days[(days >= pd.Timestamp(first)) & (days <= pd.Timestamp(last))]


def _columns(reach: Reach) -> dict[tuple[str, str], int]:
    """Column of each day type and block."""
    blocks = reach.day_blocks
    return {pair: d for d, pair in enumerate(zip(blocks["day_type"], blocks["block"], strict=True))}


def _promised(region: Region, reach: Reach, plan_from: date) -> Counts:
    """Shifts promised from a day on, (K, D)."""
    least: Counts = np.zeros(reach.boats.shape, np.int64)
    promised = region.promised[region.promised["date"] >= pd.Timestamp(plan_from)]
    promised = promised.drop_duplicates(["date", "landing_id", "block"])
    position = {landing_id: k for k, landing_id in enumerate(region.landings.index)}
    column = _columns(reach)
    for row in promised.to_dict("records"):
        kind = day_type(row["date"].date(), region.settings.holidays)
        least[position[row["landing_id"]], column[kind, row["block"]]] += 1
    return least


def _jurisdictions(region: Region, cells: NDArray[np.integer], worked: Array) -> list[Limit]:
    """Least hours of each jurisdiction, less those worked there already."""
    settings = region.settings
    limits = []
    for name, hours in settings.jurisdiction_hours.items():
        here = (region.landings["jurisdiction"] == name).fillna(value=False).to_numpy(bool)
        left = hours - worked[here].sum()
        least = max(int(np.ceil(left / settings.shift_hours - 1e-9)), 0)
        text = f"{hours:g} hours for {name}"
        limits.append(Limit(text, "jurisdiction", cells[here].ravel(), least, np.inf))
    return limits


def _people(
    region: Region, reach: Reach, cells: NDArray[np.integer], starts: pd.DataFrame
) -> list[Limit]:
    """Most shifts that people can fill: in each block, on each kind of day, and in all."""
    settings = region.settings
    people = region.hours[
        region.hours["date"].isin(starts.index[(starts > 0).any(axis=1)])
        & (region.hours["hours"] >= settings.shift_hours - 1e-9)
    ]
    if region.hours.empty:
        return []
    kind = pd.Series(
        [day_type(day.date(), settings.holidays) for day in people["date"]],
        index=people.index,
        dtype="str",
    )
    limits = []
    for d, (day, block) in enumerate(
        zip(reach.day_blocks["day_type"], reach.day_blocks["block"], strict=True)
    ):
        light = people["date"].isin(starts.index[starts[block] > 0])
        able = people[(kind == day) & light & people["block"].isin(["any", block])]
        text = f"people who can come on a {day} {block}"
        limits.append(Limit(text, "people", cells[:, d], 0, _crews(able, settings.crew)))
    for day in DAY_TYPES:
        columns = np.flatnonzero(reach.day_blocks["day_type"] == day)
        most = _crews(people[kind == day], settings.crew)
        limits.append(
            Limit(f"people who can come on {day}s", "people", cells[:, columns].ravel(), 0, most)
        )
    week = people["date"].dt.isocalendar()
    days = people.groupby(["code", week["year"], week["week"]])["date"].nunique()
    offered = int(days.clip(upper=settings.most_shifts_per_person_week).sum()) // settings.crew
    text = f"people's days, at most {settings.most_shifts_per_person_week} a week each"
    limits.append(Limit(text, "people", cells.ravel(), 0, offered))
    return limits


def _crews(people: pd.DataFrame, crew: int) -> int:
    """Whole crews that can be made up, day by day; each person works once a day."""
    return int((people.groupby("date")["code"].nunique() // crew).sum())
