"""Shifts that stay: worked, promised, or in the plan before."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from spreadnet.decisions.roster.axis import Names, sorted_rows
from spreadnet.decisions.roster.book import Shift, codes_in
from spreadnet.evidence.region import DAY_TYPES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from spreadnet.decisions.roster.book import Book, Need

    Row = dict[Any, Any]


def count_worked(
    book: Book, names: Names, *, worked: pd.DataFrame | None, promises: pd.DataFrame
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
            book.landing_week[names.landing[row["landing_id"]], week] += 1


def promised_shifts(
    book: Book, names: Names, promises: pd.DataFrame, *, earlier: pd.DataFrame
) -> list[Shift]:
    """Promised shifts on their dates, with their people; they are entered into the book."""
    before: dict[tuple[Any, ...], list[Row]] = {}
    for row in live_rows(earlier):
        before.setdefault((row["date"], row["landing_id"], row["block"]), []).append(row)
    crew = book.offers.crew
    shifts: list[Shift] = []
    for group, rows in promises.groupby(["date", "landing_id", "block"]):
        codes = codes_in(rows["code"])
        unnamed = sum(not codes_in([cell]) for cell in rows["code"])
        for k in range(0, max(len(codes), 1), crew):
            people = codes[k : k + crew]
            here = min(unnamed, crew - len(people))
            unnamed -= here
            shift = _promised(book, names, group, people=people, before=before.get(group, []))
            who = tuple(names.code[code] for code in people)
            if shift is None:  # more promised than there is room for: they go together
                other = shifts.pop()
                book.enter(other, -1)
                shift = replace(other, people=(*other.people, *who))
            else:
                shift = replace(shift, people=who, unnamed=here)
            shifts.append(shift)
            book.enter(shift)
    return shifts


def _promised(
    book: Book,
    names: Names,
    group: tuple[Any, ...],
    *,
    people: Sequence[str],
    before: Sequence[Row],
) -> Shift | None:
    """One promised shift in the start it had before, or the first that is free, if one is."""
    landing, day, block = names.landing[group[1]], names.day(group[0]), names.block[group[2]]
    slots = {
        names.start(slot): slot for slot in names.slots(block) if not book.taken[landing, day, slot]
    }
    if not slots:
        return None
    old = sorted(
        (row for row in before if row["start"] in slots),
        key=lambda row: (-len(set(codes_in([row["people"]])) & set(people)), row["start"]),
    )
    was = old[0] if old else None
    slot = slots[was["start"]] if was else min(slots.values())
    weekend = bool(names.axis.weekend[day])
    return Shift(landing, weekend, block, day, slot, fixed=True, promised=True, was=was)


def live_rows(earlier: pd.DataFrame) -> list[Row]:
    """Rows of an earlier plan that were not cancelled."""
    return [row for row in earlier.to_dict("records") if row.get("status") != "cancelled"]


def earlier_shifts(
    book: Book,
    names: Names,
    earlier: pd.DataFrame,
    *,
    counts: Mapping[Need, int],
    promised: Sequence[Shift],
) -> tuple[list[Shift], list[Row]]:
    """
    Shifts of the earlier plan that are still needed, and its rows that are not.

    Those whose whole crew can still come are fixed and entered into the book; the others have a
    wish to be where they were.
    """
    used = {shift.was["uid"] for shift in promised if shift.was}
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
    left = still_needed(names, counts, promised)
    shifts = []
    for need, rows in sorted(by_need.items()):
        kept = _most_settled(book, names, rows, room=max(left.get(need, 0), 0))
        gone += [row for row in rows if row not in kept]
        shifts += [_kept(book, names, row, need=need) for row in kept]
    return shifts, gone


def still_needed(
    names: Names, counts: Mapping[Need, int], shifts: Sequence[Shift]
) -> dict[Need, int]:
    """Shifts of each need beyond those there are from the plan's first day on."""
    have = Counter(s.need for s in shifts if s.day < 0 or names.axis.usable[s.day])
    return {need: count - have[need] for need, count in counts.items()}


def _cell_of_row(names: Names, row: Row) -> tuple[int, int] | None:
    """Day and start of an earlier shift, if new shifts may be there."""
    day = names.day(row["date"])
    if not (0 <= day < len(names.axis.week) and names.axis.usable[day]):
        return None
    slots = names.slots(names.block[row["block"]])
    slot = next((s for s in slots if names.start(s) == row["start"]), None)
    return None if slot is None or not names.axis.light[day, slot] else (day, slot)


def _need_of_row(names: Names, row: Row) -> Need | None:
    """What an earlier shift was one of, by today's holidays; None if that is no more."""
    if row["landing_id"] not in names.landing or row["block"] not in names.block:
        return None
    cell = _cell_of_row(names, row)
    weekend = row["day_type"] == DAY_TYPES[1] if cell is None else names.axis.weekend[cell[0]]
    return names.landing[row["landing_id"]], bool(weekend), names.block[row["block"]]


def _most_settled(book: Book, names: Names, rows: list[Row], *, room: int) -> list[Row]:
    """Earlier shifts to keep: those whose crew can still come, evenly over the season."""
    settled: list[Row] = []
    others: list[Row] = []
    for row in rows:
        cell = _cell_of_row(names, row)
        codes = codes_in([row["people"]])
        sure = cell is not None and len(codes) >= book.offers.crew
        for code in codes:
            person = names.code.get(code)
            sure = (
                sure and person is not None and bool(book.offers.offered[person, *cell or (0, 0)])
            )
        (settled if sure else others).append(row)
    kept: list[Row] = []
    for group in (settled, others):
        take = min(room - len(kept), len(group))
        kept += [group[int((k + 0.5) * len(group) / take)] for k in range(take)]
    return kept


def _kept(book: Book, names: Names, row: Row, *, need: Need) -> Shift:
    """An earlier shift: fixed where its crew can still come, else with a wish."""
    cell, offers = _cell_of_row(names, row), book.offers
    shift = Shift(*need, was=row)
    if cell is None or book.taken[shift.landing, *cell]:
        return shift
    if book.landing_week[shift.landing, names.axis.week[cell[0]]] >= offers.landing_cap:
        return shift
    known = [names.code[code] for code in codes_in([row["people"]]) if code in names.code]
    free = book.free([shift.landing], [cell[0]], [cell[1]])[:, 0]
    people = tuple(person for person in known if free[person])
    if len(people) >= offers.crew or not offers.offered.any():  # nobody: nothing to move for
        shift = replace(shift, day=cell[0], slot=cell[1], people=people, fixed=True)
        book.enter(shift)
        return shift
    return replace(shift, wish=(*cell, people))
