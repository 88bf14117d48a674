"""The roster of a season plan: which shift is on which date, and who goes."""

from __future__ import annotations

import re
import uuid
from collections import Counter
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from spreadnet.decisions.roster_dates import date_all, find_crews, need_of, set_targets
from spreadnet.decisions.roster_people import (
    Axis,
    Shift,
    codes_in,
    fill,
    free,
    give,
    new_diary,
    place,
    share_fairly,
)
from spreadnet.evidence.region import DAY_TYPES, Block, Note, clock

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from spreadnet.decisions.roster_dates import Need
    from spreadnet.decisions.roster_people import Diary

    Row = dict[Any, Any]

COLUMNS = (
    "shift_id", "landing_id", "landing", "date", "start", "end", "day_type", "block", "people",
    "km", "status", "uid", "sequence",
)  # fmt: skip
UIDS = uuid.uuid5(uuid.NAMESPACE_OID, "spreadnet roster")
LONGEST_DAYS = 1_100  # from the first to the last date in a roster: more is a slip of the pen
NAMED = 6  # landings or blocks named in a note; the rest are counted


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

    def __post_init__(self) -> None:
        for name in ("crew", "most_shifts_per_landing_week", "most_shifts_per_person_week"):
            if getattr(self, name) < 1:
                raise _invalid(name, getattr(self, name), "It must be 1 or more")
        if not self.shift_hours > 0:
            raise _invalid("shift_hours", self.shift_hours, "It must be above 0")
        if not self.rest_hours >= 0:
            raise _invalid("rest_hours", self.rest_hours, "It must be 0 or more")
        if self.season_first_day > self.season_last_day:
            rule = f"It must not be after the last day, {self.season_last_day}"
            raise _invalid("season_first_day", self.season_first_day, rule)


@dataclass(frozen=True, slots=True, eq=False)
class Roster:
    """
    Dated shifts with people.

    Attributes
    ----------
    shifts : DataFrame
        By date, start and landing: `shift_id`, `landing_id`, `landing`, `date`, `start`, `end`,
        `day_type`, `block`, `people` (codes joined with `; `), `km` (there and back, summed over
        the crew, NaN when not known), `status` (`planned`, `open`, `promised`, `cancelled`), `uid`,
        `sequence`.
    by_person : DataFrame
        Index `code`: `shifts`, `hours`, `km`, `days_offered`, `share_of_offer`.
    notes : tuple of Note
        What could not be met, and by how much.
    """

    shifts: pd.DataFrame
    by_person: pd.DataFrame
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Names:
    """What the positions of a diary stand for."""

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


def make_roster(
    needs: pd.DataFrame,
    *,
    rules: RosterRules,
    landings: pd.DataFrame,
    people: pd.DataFrame | None = None,
    promised: pd.DataFrame | None = None,
    previous: pd.DataFrame | None = None,
    worked: pd.DataFrame | None = None,
) -> Roster:
    """
    Turn the numbers of shifts in a plan into dated shifts with people.

    A plan that names hours per landing can't be worked; one that names days and people can. Most
    shifts get a whole crew first, then a landing's shifts are spread over the weeks, then people's
    shares of what they offered are made even, then ways are kept short. Equal input gives equal
    output, whatever the order of rows.

    Parameters
    ----------
    needs : DataFrame
        `landing_id`, `day_type`, `block` (label), `shifts` from `rules.plan_from` to the end of the
        season, promised ones included.
    rules : RosterRules
        What to keep to.
    landings : DataFrame
        Index `landing_id`; `name`, `easting_m`, `northing_m`.
    people : DataFrame, optional
        A row for each day (and block) offered: `code`, `date`, `block` (label or `any`), `hours`,
        `home_landing_id`, `most_km` (one way). Without it shifts have dates only.
    promised : DataFrame, optional
        `date`, `landing_id`, `block`, `code` (may be missing), a row for each person promised to.
    previous : DataFrame, optional
        `Roster.shifts` of an earlier plan, from which as little as possible is moved.
    worked : DataFrame, optional
        `date`, `landing_id` of shifts worked before `rules.plan_from`; they count towards the most
        of a landing in its week.

    Returns
    -------
    roster : Roster
        Shifts, people and what could not be met.

    Raises
    ------
    ValueError
        If a table names a landing, block or day type that there is not.

    Notes
    -----
    Distances are straight lines. Rest is counted on the clock, so the night of a clock change may
    be an hour shorter. Travel between two shifts of one day is not counted.
    """
    ordered = landings.sort_index()
    counts = _counts(needs, rules=rules, landings=ordered)
    promises = _sorted(promised, ["date", "landing_id", "block", "code"])
    earlier = _sorted(previous, ["date", "start", "landing_id", "uid"])
    offers = _sorted(people, ["code", "date", "block", "hours", "home_landing_id", "most_km"])
    names = _names(rules, landings=ordered, offers=offers, promises=promises)
    diary = _diary(names, offers)
    _count_worked(diary, names, worked=worked, promises=promises)
    _keep_promises(diary, names, promises, earlier=earlier)
    gone = _keep_earlier(diary, names, earlier, counts=counts)
    _add_new(diary, counts)
    set_targets(diary)
    undated = date_all(diary)
    if len(offers):
        find_crews(diary)
        share_fairly(diary)
    shifts = _shift_table(diary, names, gone=gone, earlier=earlier)
    by_person = _person_table(diary, names)
    notes = _notes(diary, names, undated=undated, people=bool(len(offers)), by_person=by_person)
    return Roster(shifts, by_person, tuple(notes))


def _invalid(thing: str, value: object, rule: str) -> ValueError:
    """The error for a wrong argument."""
    return ValueError(f"Invalid {thing} '{value}'. {rule}.")


def _sorted(table: pd.DataFrame | None, columns: Sequence[str]) -> pd.DataFrame:
    """Rows in an order of their own, with dates as dates and every column there."""
    plain = pd.DataFrame(columns=list(columns)) if table is None else table.reset_index(drop=True)
    for column in columns:
        if column not in plain.columns:
            plain[column] = None
    plain["date"] = pd.to_datetime(plain["date"]).dt.normalize()
    keys = plain[list(columns)].astype("object").where(plain[list(columns)].notna(), "")
    order = keys.map(str).sort_values(list(columns), kind="stable").index
    return (
        plain.loc[order].reset_index(drop=True)
        if plain.index.is_unique
        else (_sorted(plain.reset_index(drop=True), columns))
    )


def _counts(needs: pd.DataFrame, *, rules: RosterRules, landings: pd.DataFrame) -> dict[Need, int]:
    """Shifts needed by landing, day type and block, as positions."""
    labels = {block.label: position for position, block in enumerate(rules.blocks)}
    places = {str(name): position for position, name in enumerate(landings.index)}
    counts: dict[Need, int] = {}
    for row in needs.to_dict("records"):
        for thing, known in (("landing_id", places), ("block", labels), ("day_type", DAY_TYPES)):
            if row[thing] not in known:
                raise _invalid(thing, row[thing], f"It must be one of the {len(known)} known")
        if row["shifts"] < 0 or row["shifts"] != int(row["shifts"]):
            raise _invalid("shifts", row["shifts"], "It must be a whole number, 0 or more")
        need = (places[row["landing_id"]], row["day_type"] == DAY_TYPES[1], labels[row["block"]])
        counts[need] = counts.get(need, 0) + int(row["shifts"])
    return dict(sorted(counts.items()))


def _names(
    rules: RosterRules, *, landings: pd.DataFrame, offers: pd.DataFrame, promises: pd.DataFrame
) -> _Names:
    """Positions of days, starts, landings, blocks and people."""
    for row in promises.to_dict("records"):
        if row["landing_id"] not in landings.index:
            raise _invalid("landing_id", row["landing_id"], "Promised shifts need a known landing")
        if row["block"] not in {b.label for b in rules.blocks if b.hours >= rules.shift_hours}:
            raise _invalid("block", row["block"], "Promised shifts need a block that holds one")
    days = [when.toordinal() for when in promises["date"]]
    first = min(rules.plan_from.toordinal(), *days) if days else rules.plan_from.toordinal()
    last = max(rules.season_last_day.toordinal(), first, *days)
    if last - first > LONGEST_DAYS:
        raise _invalid("dates", f"{last - first} days", f"They must span at most {LONGEST_DAYS}")
    every = range(first, last + 1)
    starts = [
        (position, k, block.first + k * rules.shift_hours)
        for position, block in enumerate(rules.blocks)
        for k in range(int(block.hours / rules.shift_hours + 1e-9))
    ]
    holidays = {day.toordinal() for day in rules.holidays}
    least = max(rules.plan_from, rules.season_first_day).toordinal()
    axis = Axis(
        first=first,
        week=np.array([(day - 1) // 7 - (first - 1) // 7 for day in every]),
        weekend=np.array([(day - 1) % 7 >= 5 or day in holidays for day in every]),
        usable=np.array([least <= day <= rules.season_last_day.toordinal() for day in every]),
        block=np.array([block for block, _, _ in starts], int),
        number=np.array([k for _, k, _ in starts], int),
        start=np.array([hour for *_, hour in starts], float),
    )
    codes = sorted({*codes_in(offers["code"]), *codes_in(promises["code"])})
    return _Names(
        rules,
        axis,
        landings,
        {str(name): position for position, name in enumerate(landings.index)},
        {block.label: position for position, block in enumerate(rules.blocks)},
        {code: position for position, code in enumerate(codes)},
    )


def _diary(names: _Names, offers: pd.DataFrame) -> Diary:
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
    return new_diary(
        axis,
        crew=rules.crew,
        landing_cap=rules.most_shifts_per_landing_week,
        person_cap=rules.most_shifts_per_person_week,
        span=rules.shift_hours + rules.rest_hours,
        offered=offered,
        most=most,
        near=~(km / 2 > reach[:, None] + 1e-9),  # a home that is not known is no reason against
        km=km,
        offer=offer_day.sum(axis=1),
    )


def _starts_within(axis: Axis, block: Any, *, hours: float) -> Any:
    """Which starts leave a whole shift within what a person offers, e.g. `06:00-14:00` or `any`."""
    if not isinstance(block, str) or block in ("", "any"):
        return np.ones(len(axis.start), bool)
    found = re.fullmatch(r"(\d{1,2}):(\d\d)-(\d{1,2}):(\d\d)", block)
    if found is None:
        raise _invalid("block", block, "People offer a block such as 06:00-10:00, or any")
    first, first_minutes, last, last_minutes = map(int, found.groups())
    begin, end = first + first_minutes / 60, last + last_minutes / 60
    return (axis.start >= begin - 1e-9) & (axis.start + hours <= end + 1e-9)


def _distances(names: _Names, home: dict[int, str]) -> Any:
    """Straight kilometres there and back from each person's home landing, (P, L)."""
    points = names.landings[["easting_m", "northing_m"]].to_numpy(float)
    km = np.full((len(names.code), len(points)), np.nan)
    for person, place_ in home.items():
        if place_ not in names.landing:
            raise _invalid("home_landing_id", place_, "It must be a known landing")
        away = points - points[names.landing[place_]]
        km[person] = 2 * np.hypot(away[:, 0], away[:, 1]) / 1000
    return km


def _count_worked(
    diary: Diary, names: _Names, *, worked: pd.DataFrame | None, promises: pd.DataFrame
) -> None:
    """Count shifts worked earlier in the week of the plan's first day towards landings' weeks."""
    from_ = names.rules.plan_from.toordinal()
    promised = set(zip(promises["date"], promises["landing_id"], strict=True))
    for row in _sorted(worked, ["date", "landing_id"]).to_dict("records"):
        day = row["date"].toordinal()
        same_week = (day - 1) // 7 == (from_ - 1) // 7
        known = row["landing_id"] in names.landing
        if known and same_week and day < from_ and (row["date"], row["landing_id"]) not in promised:
            week = names.axis.week[from_ - names.axis.first]
            diary.landing_week[names.landing[row["landing_id"]], week] += 1


def _keep_promises(
    diary: Diary, names: _Names, promises: pd.DataFrame, *, earlier: pd.DataFrame
) -> None:
    """Place promised shifts on their dates, with their people."""
    before: dict[tuple[Any, ...], list[Row]] = {}
    for row in _live(earlier):
        before.setdefault((row["date"], row["landing_id"], row["block"]), []).append(row)
    for group, rows in promises.groupby(["date", "landing_id", "block"]):
        codes = codes_in(rows["code"])
        unnamed = sum(not codes_in([cell]) for cell in rows["code"])
        crews = [codes[k : k + diary.crew] for k in range(0, len(codes), diary.crew)] or [[]]
        for crew in crews:
            here = min(unnamed, diary.crew - len(crew))
            unnamed -= here
            _promise(diary, names, group, crew=crew, unnamed=here, before=before.get(group, []))


def _promise(
    diary: Diary,
    names: _Names,
    group: tuple[Any, ...],
    *,
    crew: Sequence[str],
    unnamed: int,
    before: Sequence[Row],
) -> None:
    """Place one promised shift in the start it had before, or the first that is free."""
    landing, day, block = names.landing[group[1]], names.day(group[0]), names.block[group[2]]
    slots = {
        names.start(slot): slot
        for slot in names.slots(block)
        if diary.taken[landing, day, slot] < 0
    }
    if slots:
        old = sorted(
            (row for row in before if row["start"] in slots),
            key=lambda row: (-len(set(codes_in([row["people"]])) & set(crew)), row["start"]),
        )
        was = old[0] if old else None
        slot = slots[was["start"]] if was else min(slots.values())
        shift = Shift(landing, bool(names.axis.weekend[day]), block, fixed=True, promised=True)
        shift.unnamed, shift.was = unnamed, was
        diary.shifts.append(shift)
        place(diary, len(diary.shifts) - 1, day, slot)
        number = len(diary.shifts) - 1
    else:  # more promised than there is room for: they go together
        number = int(diary.taken[landing, day, names.slots(block)[-1]])
    for code in crew:
        _lock(diary, number, names.code[code])


def _lock(diary: Diary, number: int, person: int) -> None:
    """Put a person on a shift for good."""
    give(diary, number, person)
    diary.shifts[number].locked.add(person)


def _live(earlier: pd.DataFrame) -> list[Row]:
    """Rows of an earlier plan that were not cancelled."""
    return [row for row in earlier.to_dict("records") if row.get("status") != "cancelled"]


def _keep_earlier(
    diary: Diary, names: _Names, earlier: pd.DataFrame, *, counts: dict[Need, int]
) -> list[Row]:
    """Place what the earlier plan had and is still needed; return the rows no longer needed."""
    used = {shift.was["uid"] for shift in diary.shifts if shift.was}
    from_ = pd.Timestamp(names.rules.plan_from)
    gone: list[Row] = []
    by_need: dict[Need, list[Row]] = {}
    for row in _live(earlier):
        if row["date"] < from_ or row["uid"] in used:
            continue
        need = _need_of_row(names, row)
        if need is None:
            gone.append(row)
        else:
            by_need.setdefault(need, []).append(row)
    left = _left(diary, counts)
    first = len(diary.shifts)
    for need, rows in sorted(by_need.items()):
        kept = _most_settled(diary, names, rows, room=max(left.get(need, 0), 0))
        gone += [row for row in rows if row not in kept]
        for row in kept:
            _keep(diary, names, row, need=need)
    for number in range(first, len(diary.shifts)):
        shift = diary.shifts[number]
        if shift.day >= 0 and fill(diary, number, wholly=True):
            shift.fixed, shift.locked = True, set(shift.people)
    return gone


def _left(diary: Diary, counts: dict[Need, int]) -> dict[Need, int]:
    """Shifts of each need beyond those in the diary from the plan's first day on."""
    have = Counter(need_of(s) for s in diary.shifts if s.day < 0 or diary.axis.usable[s.day])
    return {need: count - have[need] for need, count in counts.items()}


def _cell_of_row(names: _Names, row: Row) -> tuple[int, int] | None:
    """Day and start of an earlier shift, if new shifts may be there."""
    day = names.day(row["date"])
    if not (0 <= day < len(names.axis.week) and names.axis.usable[day]):
        return None
    slots = names.slots(names.block[row["block"]])
    slot = next((s for s in slots if names.start(s) == row["start"]), None)
    return None if slot is None else (day, slot)


def _need_of_row(names: _Names, row: Row) -> Need | None:
    """What an earlier shift was one of, by today's holidays; None if that is no more."""
    if row["landing_id"] not in names.landing or row["block"] not in names.block:
        return None
    cell = _cell_of_row(names, row)
    weekend = row["day_type"] == DAY_TYPES[1] if cell is None else names.axis.weekend[cell[0]]
    return names.landing[row["landing_id"]], bool(weekend), names.block[row["block"]]


def _most_settled(diary: Diary, names: _Names, rows: list[Row], *, room: int) -> list[Row]:
    """Earlier shifts to keep: those whose crew can still come, evenly over the season."""
    settled: list[Row] = []
    others: list[Row] = []
    for row in rows:
        cell = _cell_of_row(names, row)
        codes = codes_in([row["people"]])
        sure = cell is not None and len(codes) >= diary.crew
        for code in codes:
            person = names.code.get(code)
            sure = sure and person is not None and bool(diary.offered[person, *cell or (0, 0)])
        (settled if sure else others).append(row)
    kept: list[Row] = []
    for group in (settled, others):
        take = min(room - len(kept), len(group))
        kept += [group[int((k + 0.5) * len(group) / take)] for k in range(take)]
    return kept


def _keep(diary: Diary, names: _Names, row: Row, *, need: Need) -> None:
    """Place an earlier shift where it was, with those of its crew who can still come."""
    shift = Shift(*need, was=row)
    number = len(diary.shifts)
    diary.shifts.append(shift)
    cell = _cell_of_row(names, row)
    if cell is None or diary.taken[shift.landing, *cell] >= 0:
        return
    if diary.landing_week[shift.landing, names.axis.week[cell[0]]] >= diary.landing_cap:
        return
    place(diary, number, *cell)
    for code in codes_in([row["people"]]):
        person = names.code.get(code)
        if person is not None and free(diary, shift.landing, *cell)[person]:
            give(diary, number, person)
    shift.fixed = not diary.offered.any()  # without people there is nothing to move for


def _add_new(diary: Diary, counts: dict[Need, int]) -> None:
    """Add what is still needed, and people for promised shifts that lack some."""
    for need, left in _left(diary, counts).items():
        diary.shifts.extend(Shift(*need) for _ in range(left))
    for number, shift in enumerate(diary.shifts):
        if shift.promised:
            fill(diary, number, wholly=True)


def _shift_table(
    diary: Diary, names: _Names, *, gone: list[Row], earlier: pd.DataFrame
) -> pd.DataFrame:
    """The roster as a table, with cancelled shifts of the earlier plan."""
    from_ = pd.Timestamp(names.rules.plan_from)
    dated = [(n, s) for n, s in enumerate(diary.shifts) if s.day >= 0]
    dated.sort(key=lambda k: (k[1].day, diary.axis.start[k[1].slot], k[1].landing))
    never = [s.was for s in diary.shifts if s.day < 0 and s.was]
    cancelled = {row["uid"]: {**row, "sequence": int(row["sequence"]) + 1} for row in gone + never}
    for row in earlier.to_dict("records"):
        if row["status"] == "cancelled" and row["date"] >= from_:
            cancelled.setdefault(row["uid"], row)
    used = {s.was["uid"] for _, s in dated if s.was}
    ids = _next_ids(earlier)
    rows = []
    for number, shift in dated:
        row = _row(diary, names, number)
        row["uid"], row["shift_id"], row["sequence"] = _identity(
            row, shift, diary=diary, used=used, cancelled=cancelled, earlier=earlier, ids=ids
        )
        used.add(row["uid"])
        rows.append(row)
    rows += [{**row, "status": "cancelled"} for row in cancelled.values() if row["uid"] not in used]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    table["date"] = pd.to_datetime(table["date"]).astype("datetime64[s]")
    table["km"], table["sequence"] = table["km"].astype(float), table["sequence"].astype(int)
    order = ["date", "start", "landing_id", "status", "uid"]
    return table.sort_values(order, kind="stable").reset_index(drop=True)


def _row(diary: Diary, names: _Names, number: int) -> Row:
    """One shift in words."""
    shift, rules = diary.shifts[number], names.rules
    codes = list(names.code)
    km = diary.km[shift.people, shift.landing].sum() if shift.people else np.nan
    status = "promised" if shift.promised else "open" if diary.lacks(number) else "planned"
    begin = float(diary.axis.start[shift.slot])
    return {
        "landing_id": names.landings.index[shift.landing],
        "landing": names.landings["name"].iloc[shift.landing],
        "date": pd.Timestamp(names.date(shift.day)),
        "start": clock(begin),
        "end": clock(begin + rules.shift_hours),
        "day_type": DAY_TYPES[int(shift.weekend)],
        "block": rules.blocks[shift.block].label,
        "people": "; ".join(codes[p] for p in sorted(shift.people)),
        "km": np.nan if shift.unnamed else km,
        "status": status,
    }


def _next_ids(earlier: pd.DataFrame) -> Iterator[str]:
    """Running numbers of shifts, on from those of the earlier plan."""
    numbers = [re.fullmatch(r"S(\d{1,9})", str(row)) for row in earlier.get("shift_id", ())]
    last = max((int(found[1]) for found in numbers if found), default=0)
    while True:
        last += 1
        yield f"S{last:03d}"


def _identity(
    row: Row,
    shift: Shift,
    *,
    diary: Diary,
    used: set[str],
    cancelled: dict[str, Row],
    earlier: pd.DataFrame,
    ids: Iterator[str],
) -> tuple[str, str, int]:
    """Identifier, running number and version: those it had, one version on if it changed."""
    if shift.was:
        was = shift.was
        same = all(str(row[k]) == str(was[k]) for k in ("date", "start", "end", "status")) and (
            codes_in([row["people"]]) == codes_in([was["people"]])
        )
        return was["uid"], was.get("shift_id") or next(ids), int(was["sequence"]) + (not same)
    number = diary.axis.number[shift.slot]
    text = f"{row['landing_id']}|{row['date']:%Y-%m-%d}|{row['start']}|{number}"
    for again in range(1, len(used) + 2):
        uid = f"{uuid.uuid5(UIDS, text if again == 1 else f'{text}|{again}')}@spreadnet"
        if uid in cancelled and uid not in used:  # back again: the same entry of a calendar
            was = cancelled.pop(uid)
            before = earlier.loc[earlier["uid"] == uid, "sequence"]
            return uid, was.get("shift_id") or next(ids), int(before.iloc[0]) + 1
        if uid not in used:
            break
    return uid, next(ids), 0


def _person_table(diary: Diary, names: _Names) -> pd.DataFrame:
    """What each person does of what was offered."""
    km = [
        float(sum(diary.km[person, diary.shifts[n].landing] for n in sorted(held)))
        for person, held in enumerate(diary.held)
    ]
    offer = diary.offer.astype(float)
    return pd.DataFrame(
        {
            "shifts": diary.load.astype(int),
            "hours": diary.load * float(names.rules.shift_hours),
            "km": np.array(km, float),
            "days_offered": diary.offer.astype(int),
            "share_of_offer": diary.load / np.where(offer > 0, offer, np.nan),
        },
        index=pd.Index(list(names.code), name="code", dtype="str"),
    )


def _notes(
    diary: Diary, names: _Names, *, undated: list[int], people: bool, by_person: pd.DataFrame
) -> Iterator[Note]:
    """What could not be met, in plain words."""
    if undated:
        yield Note("shifts-without-date", _without_date(diary, names, undated))
    dated = [n for n, s in enumerate(diary.shifts) if s.day >= 0]
    if not people and any(diary.lacks(n) for n in dated):
        yield Note(
            "no-people",
            "Nobody has offered days, so shifts have dates but no people: all are open.",
        )
    short = [n for n in dated if diary.lacks(n)]
    if people and short:
        yield Note("shifts-lacking-people", _lacking(diary, names, short, dated=len(dated)))
    idle = by_person.index[(by_person["shifts"] == 0) & (by_person["days_offered"] > 0)]
    if len(idle):
        yield Note("people-without-shift", f"No shift for {_listed(list(idle))}.")
    km, cost = float(by_person["km"].sum()), names.rules.cost_per_km
    if cost is not None and km:
        yield Note("travel", f"Travel of {km:,.0f} km costs {km * cost:,.0f} at {cost:g} a km.")


def _without_date(diary: Diary, names: _Names, undated: Sequence[int]) -> str:
    """Which shifts found no date."""
    lines = Counter(
        f"{names.landings['name'].iloc[s.landing]}, {DAY_TYPES[int(s.weekend)]} "
        f"{names.rules.blocks[s.block].label}"
        for s in (diary.shifts[n] for n in undated)
    )
    told = _listed([f"{line}: {count}" for line, count in sorted(lines.items())], joiner="; ")
    return (
        f"{_shifts(len(undated))} could not get a date ({told}). A landing has at most "
        f"{diary.landing_cap} a week and one at a time, and from {names.rules.plan_from} on there "
        "are not enough days for more."
    )


def _lacking(diary: Diary, names: _Names, short: Sequence[int], *, dated: int) -> str:
    """On which blocks and months people are short, and by how many."""
    places = sum(diary.lacks(n) for n in short)
    when = Counter(
        f"{DAY_TYPES[int(s.weekend)]} {names.rules.blocks[s.block].label}, "
        f"{names.date(s.day):%Y-%m}"
        for s in (diary.shifts[n] for n in short)
    )
    told = _listed([f"{line}: {count}" for line, count in when.most_common()], joiner="; ")
    return (
        f"{len(short)} of {_shifts(dated)} lack people, {places} in all ({told}). They are open: "
        "ask for more offers on such days, or leave them out."
    )


def _shifts(count: int) -> str:
    """A number of shifts in words."""
    return f"{count} shift{'' if count == 1 else 's'}"


def _listed(lines: Sequence[str], *, joiner: str = ", ") -> str:
    """The first few, and how many more."""
    more = len(lines) - NAMED
    return joiner.join(lines[:NAMED]) + (f"{joiner}and {more} more" if more > 0 else "")
