"""What a roster starts from: its rules, the axis of days and starts, offers and needs."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from spreadnet.decisions.roster.book import Axis, Offers, codes_in
from spreadnet.evidence.region import DAY_TYPES, Block, clock

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from spreadnet.decisions.roster.book import Need

    Row = dict[Any, Any]


LONGEST_DAYS = 1_100  # from the first to the last date in a roster: more is a slip of the pen


@dataclass(frozen=True, slots=True)
class RosterRules:
    """
    What every roster of a season must keep to.

    Attributes
    ----------
    season_first_day, season_last_day : date
        Both in the season.
    plan_from : date
        First day on which new shifts may be placed.
    holidays : tuple of date
        Weekdays that count as weekend.
    blocks : tuple of Block
        Time blocks of the day.
    shift_hours : float
        Length of every shift.
    crew : int
        People a shift, 1 or more.
    most_shifts_per_landing_week, most_shifts_per_person_week : int
        In one ISO week.
    rest_hours : float
        Least hours from the end of a person's shift to the start of the next. 11 is the daily rest
        of Directive 2003/88/EC, article 3 (from memory).
    cost_per_km : float or None
        For the note on travel.
    last_ends : mapping of date to float, or None
        Latest end of new shifts on each day, in hours after midnight; None for no limit.
    region : str
        Name that goes into the calendar's identifiers, so that two regions with the same ids of
        landings can share a calendar.
    """

    season_first_day: date
    season_last_day: date
    plan_from: date
    holidays: tuple[date, ...]
    blocks: tuple[Block, ...]
    shift_hours: float
    crew: int
    most_shifts_per_landing_week: int
    rest_hours: float = 11.0
    most_shifts_per_person_week: int = 5
    cost_per_km: float | None = None
    last_ends: Mapping[date, float] | None = None
    region: str = ""

    def __post_init__(self) -> None:
        for name in ("crew", "most_shifts_per_landing_week", "most_shifts_per_person_week"):
            if getattr(self, name) < 1:
                raise invalid(name, getattr(self, name), "It must be 1 or more")
        if not self.shift_hours > 0:
            raise invalid("shift_hours", self.shift_hours, "It must be above 0")
        if not self.rest_hours >= 0:
            raise invalid("rest_hours", self.rest_hours, "It must be 0 or more")
        if self.season_first_day > self.season_last_day:
            rule = f"It must not be after the last day, {self.season_last_day}"
            raise invalid("season_first_day", self.season_first_day, rule)


@dataclass(frozen=True, slots=True, eq=False)
class Names:
    """What positions stand for."""

    rules: RosterRules
    axis: Axis
    landings: pd.DataFrame
    landing: dict[str, int]
    block: dict[str, int]
    code: dict[str, int]

    def day(self, when: Any) -> int:
        """Position of a date."""
        return pd.Timestamp(when).toordinal() - self.axis.first

    def date(self, day: int) -> date:
        """Date at a position."""
        return date.fromordinal(self.axis.first + day)

    def start(self, slot: int) -> str:
        """Start of a shift as a clock time."""
        return clock(float(self.axis.start[slot]))

    def slots(self, block: int) -> list[int]:
        """Starts within a block."""
        return np.flatnonzero(self.axis.block == block).tolist()


def invalid(thing: str, value: object, rule: str) -> ValueError:
    """The error for a wrong argument."""
    return ValueError(f"Invalid {thing} '{value}'. {rule}.")


def sorted_rows(table: pd.DataFrame | None, columns: Sequence[str]) -> pd.DataFrame:
    """Rows in an order of their own, with dates as dates and every column there."""
    plain = pd.DataFrame(columns=list(columns)) if table is None else table.reset_index(drop=True)
    for column in columns:
        if column not in plain.columns:
            plain[column] = None
    plain["date"] = pd.to_datetime(plain["date"]).dt.normalize()
    cells = plain[list(columns)].astype("object").where(plain[list(columns)].notna(), "")
    keys = [[str(cell) for cell in row] for row in cells.to_numpy().tolist()]
    return plain.iloc[sorted(range(len(keys)), key=keys.__getitem__)].reset_index(drop=True)


def counts_of(
    needs: pd.DataFrame, *, rules: RosterRules, landings: pd.DataFrame, column: str = "shifts"
) -> dict[Need, int]:
    """Shifts needed by landing, day type and block, as positions."""
    labels = {block.label: position for position, block in enumerate(rules.blocks)}
    places = {str(name): position for position, name in enumerate(landings.index)}
    counts: dict[Need, int] = {}
    for row in needs.to_dict("records"):
        for thing, known in (("landing_id", places), ("block", labels), ("day_type", DAY_TYPES)):
            if row[thing] not in known:
                raise invalid(thing, row[thing], f"It must be one of the {len(known)} known")
        if row[column] < 0 or row[column] != int(row[column]):
            raise invalid(column, row[column], "It must be a whole number, 0 or more")
        need = (places[row["landing_id"]], row["day_type"] == DAY_TYPES[1], labels[row["block"]])
        counts[need] = counts.get(need, 0) + int(row[column])
    return dict(sorted(counts.items()))


def names_of(
    rules: RosterRules, *, landings: pd.DataFrame, offers: pd.DataFrame, promises: pd.DataFrame
) -> Names:
    """Positions of days, starts, landings, blocks and people."""
    long_enough = {b.label for b in rules.blocks if b.hours >= rules.shift_hours - 1e-9}
    for row in promises.to_dict("records"):
        if row["landing_id"] not in landings.index:
            raise invalid("landing_id", row["landing_id"], "Promised shifts need a known landing")
        if row["block"] not in long_enough:
            raise invalid("block", row["block"], "Promised shifts need a block that holds one")
    days = [when.toordinal() for when in promises["date"]]
    first = min(rules.plan_from.toordinal(), *days) if days else rules.plan_from.toordinal()
    last = max(rules.season_last_day.toordinal(), first, *days)
    if last - first > LONGEST_DAYS:
        raise invalid("dates", f"{last - first} days", f"They must span at most {LONGEST_DAYS}")
    every = range(first, last + 1)
    starts = [
        (position, k, block.first + k * rules.shift_hours)
        for position, block in enumerate(rules.blocks)
        for k in range(int(block.hours / rules.shift_hours + 1e-9))
    ]
    holidays = {day.toordinal() for day in rules.holidays}
    least = max(rules.plan_from, rules.season_first_day).toordinal()
    start = np.array([hour for *_, hour in starts], float)
    latest = rules.last_ends or {}
    ends = np.array([latest.get(date.fromordinal(day), np.inf) for day in every])
    axis = Axis(
        first=first,
        week=np.array([(day - 1) // 7 - (first - 1) // 7 for day in every]),
        weekend=np.array([(day - 1) % 7 >= 5 or day in holidays for day in every]),
        usable=np.array([least <= day <= rules.season_last_day.toordinal() for day in every]),
        block=np.array([block for block, _, _ in starts], int),
        number=np.array([k for _, k, _ in starts], int),
        start=start,
        light=start + rules.shift_hours <= ends[:, None] + 1e-9,
    )
    codes = sorted({*codes_in(offers["code"]), *codes_in(promises["code"])})
    return Names(
        rules,
        axis,
        landings,
        {str(name): position for position, name in enumerate(landings.index)},
        {block.label: position for position, block in enumerate(rules.blocks)},
        {code: position for position, code in enumerate(codes)},
    )


def offers_of(names: Names, offers: pd.DataFrame) -> Offers:
    """Offers of people on the axis of days and starts."""
    axis, rules = names.axis, names.rules
    people, days, starts = len(names.code), len(axis.week), len(axis.start)
    offered = np.zeros((people, days, starts), bool)
    most = np.zeros((people, days), int)
    offer_day = np.zeros((people, days), bool)
    home: dict[int, str] = {}
    reach = np.full(people, np.inf)
    for code, when, block, hours, place_, km in zip(
        *(offers[c] for c in ("code", "date", "block", "hours", "home_landing_id", "most_km")),
        strict=True,
    ):
        person, day = names.code[code], names.day(when)
        if isinstance(place_, str) and place_:
            home.setdefault(person, place_)
        if pd.notna(km):
            reach[person] = min(reach[person], float(km))
        if not (0 <= day < days and axis.usable[day]):
            continue
        offer_day[person, day] = True
        within = _starts_within(axis, block, hours=rules.shift_hours)
        fits = starts if pd.isna(hours) else int(hours / rules.shift_hours + 1e-9)
        offered[person, day] |= within & (fits > 0)
        most[person, day] = max(most[person, day], fits)
    km = _distances(names, home)
    return Offers(
        axis,
        crew=rules.crew,
        landing_cap=rules.most_shifts_per_landing_week,
        person_cap=rules.most_shifts_per_person_week,
        span=rules.shift_hours + rules.rest_hours,
        offered=offered,
        most=most,
        near=~(km / 2 > reach[:, None] + 1e-9),  # a home that is not known is no reason against
        km=km,
        days=offer_day.sum(axis=1),
    )


def _starts_within(axis: Axis, block: Any, *, hours: float) -> Any:
    """Which starts leave a whole shift within what a person offers, e.g. `06:00-14:00` or `any`."""
    if not isinstance(block, str) or block in ("", "any"):
        return np.ones(len(axis.start), bool)
    found = re.fullmatch(r"(\d{1,2}):(\d\d)-(\d{1,2}):(\d\d)", block)
    if found is None:
        raise invalid("block", block, "People offer a block such as 06:00-10:00, or any")
    first, first_minutes, last, last_minutes = map(int, found.groups())
    begin, end = first + first_minutes / 60, last + last_minutes / 60
    return (axis.start >= begin - 1e-9) & (axis.start + hours <= end + 1e-9)


def _distances(names: Names, home: dict[int, str]) -> Any:
    """Straight kilometres there and back from each person's home landing, (P, L)."""
    points = names.landings[["easting_m", "northing_m"]].to_numpy(float)
    km = np.full((len(names.code), len(points)), np.nan)
    for person, place_ in home.items():
        if place_ not in names.landing:
            raise invalid("home_landing_id", place_, "It must be a known landing")
        away = points - points[names.landing[place_]]
        km[person] = 2 * np.hypot(away[:, 0], away[:, 1]) / 1000
    return km
