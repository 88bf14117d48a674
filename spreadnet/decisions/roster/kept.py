"""Shifts that stay: worked, promised, or in the plan before."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import pandas as pd

from spreadnet.decisions.roster.axis import (
    Names,
    sorted_rows,
)
from spreadnet.decisions.roster.dates import need_of
from spreadnet.decisions.roster.people import (
    Shift,
    codes_in,
    fill,
    free,
    give,
    place,
)
from spreadnet.evidence.region import DAY_TYPES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from spreadnet.decisions.roster.dates import Need
    from spreadnet.decisions.roster.people import Diary

    Row = dict[Any, Any]


def count_worked(
    diary: Diary, names: Names, *, worked: pd.DataFrame | None, promises: pd.DataFrame
) -> None:
    """Count shifts worked earlier in the week of the plan's first day towards landings' weeks."""
    from_ = names.rules.plan_from.toordinal()
    promised = set(zip(promises["date"], promises["landing_id"], strict=True))
    for row in sorted_rows(worked, ["date", "landing_id"]).to_dict("records"):
        day = row["date"].toordinal()
        same_week = (day - 1) // 7 == (from_ - 1) // 7
        known = row["landing_id"] in names.landing
        if known and same_week and day < from_ and (row["date"], row["landing_id"]) not in promised:
            week = names.axis.week[from_ - names.axis.first]
            diary.landing_week[names.landing[row["landing_id"]], week] += 1


def keep_promises(
    diary: Diary, names: Names, promises: pd.DataFrame, *, earlier: pd.DataFrame
) -> None:
    """Place promised shifts on their dates, with their people."""
    before: dict[tuple[Any, ...], list[Row]] = {}
    for row in live_rows(earlier):
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
    names: Names,
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


def live_rows(earlier: pd.DataFrame) -> list[Row]:
    """Rows of an earlier plan that were not cancelled."""
    return [row for row in earlier.to_dict("records") if row.get("status") != "cancelled"]


def keep_earlier(
    diary: Diary, names: Names, earlier: pd.DataFrame, *, counts: dict[Need, int]
) -> list[Row]:
    """Place what the earlier plan had and is still needed; return the rows no longer needed."""
    used = {shift.was["uid"] for shift in diary.shifts if shift.was}
    from_ = pd.Timestamp(names.rules.plan_from)
    gone: list[Row] = []
    by_need: dict[Need, list[Row]] = {}
    for row in live_rows(earlier):
        if row["date"] < from_ or row["uid"] in used:
            continue
        need = _need_of_row(names, row)
        if need is None:
            gone.append(row)
        else:
            by_need.setdefault(need, []).append(row)
    left = still_needed(diary, counts)
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


def still_needed(diary: Diary, counts: dict[Need, int]) -> dict[Need, int]:
    """Shifts of each need beyond those in the diary from the plan's first day on."""
    have = Counter(need_of(s) for s in diary.shifts if s.day < 0 or diary.axis.usable[s.day])
    return {need: count - have[need] for need, count in counts.items()}


def _cell_of_row(names: Names, row: Row) -> tuple[int, int] | None:
    """Day and start of an earlier shift, if new shifts may be there."""
    day = names.day(row["date"])
    if not (0 <= day < len(names.axis.week) and names.axis.usable[day]):
        return None
    slots = names.slots(names.block[row["block"]])
    slot = next((s for s in slots if names.start(s) == row["start"]), None)
    return None if slot is None else (day, slot)


def _need_of_row(names: Names, row: Row) -> Need | None:
    """What an earlier shift was one of, by today's holidays; None if that is no more."""
    if row["landing_id"] not in names.landing or row["block"] not in names.block:
        return None
    cell = _cell_of_row(names, row)
    weekend = row["day_type"] == DAY_TYPES[1] if cell is None else names.axis.weekend[cell[0]]
    return names.landing[row["landing_id"]], bool(weekend), names.block[row["block"]]


def _most_settled(diary: Diary, names: Names, rows: list[Row], *, room: int) -> list[Row]:
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


def _keep(diary: Diary, names: Names, row: Row, *, need: Need) -> None:
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
