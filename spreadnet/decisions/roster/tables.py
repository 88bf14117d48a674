"""The roster as tables and notes: identifiers that stay, hours of people, what is open."""

from __future__ import annotations

import re
import uuid
from collections import Counter
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from spreadnet.decisions.roster.axis import Names
from spreadnet.decisions.roster.book import Book, Offers, Shift, codes_in, lacks
from spreadnet.evidence.columns import columns
from spreadnet.evidence.region import DAY_TYPES, Note, clock
from spreadnet.words import COUNTING, EDUCATION

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from spreadnet.decisions.roster.book import Need

    Row = dict[Any, Any]


COLUMNS = (
    "shift_id", "landing_id", "landing", "date", "start", "end", "day_type", "block", "people",
    "km", "status", "accepted", "permission", "kind", "uid", "sequence",
)  # fmt: skip
UIDS = uuid.uuid5(uuid.NAMESPACE_OID, "spreadnet roster")
ACCEPTED = "yes"  # as a coordinator writes it beside a shift that its people have taken on
NAMED = 6  # landings or blocks named in a note; the rest are counted


def shift_table(
    offers: Offers,
    names: Names,
    shifts: Sequence[Shift],
    *,
    gone: list[Row],
    earlier: pd.DataFrame,
    counting: Mapping[Need, int],
) -> pd.DataFrame:
    """The roster as a table, with cancelled shifts of the earlier plan; counting comes first."""
    from_ = pd.Timestamp(names.rules.plan_from)
    dated = [shift for shift in shifts if shift.day >= 0]
    dated.sort(key=lambda s: (s.day, offers.axis.start[s.slot], s.landing))
    never = [shift.was for shift in shifts if shift.day < 0 and shift.was]
    cancelled = {row["uid"]: {**row, "sequence": int(row["sequence"]) + 1} for row in gone + never}
    for row in earlier.to_dict("records"):
        if row["status"] == "cancelled" and row["date"] >= from_:
            cancelled.setdefault(row["uid"], row)
    used = {shift.was["uid"] for shift in dated if shift.was}
    ids = _next_ids(earlier)
    rows, left = [], Counter(counting)
    for shift in dated:
        row = _row(offers, names, shift)
        row["kind"] = EDUCATION
        if left[shift.need] > 0 and not shift.promised:
            row["kind"], left[shift.need] = COUNTING, left[shift.need] - 1
        row["uid"], row["shift_id"], row["sequence"] = _identity(
            row, shift, names=names, used=used, cancelled=cancelled, earlier=earlier, ids=ids
        )
        row["accepted"] = _accepted(row, shift)
        used.add(row["uid"])
        rows.append(row)
    none: Row = {"accepted": "", "permission": "", "kind": EDUCATION}
    rows += [
        {**none, **row, "status": "cancelled"}
        for row in cancelled.values()
        if row["uid"] not in used
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    table["date"] = pd.to_datetime(table["date"]).astype("datetime64[s]")
    table["km"], table["sequence"] = table["km"].astype(float), table["sequence"].astype(int)
    order = ["date", "start", "landing_id", "status", "uid"]
    return table.sort_values(order, kind="stable").reset_index(drop=True)


def _row(offers: Offers, names: Names, shift: Shift) -> Row:
    """One shift in words."""
    rules, codes = names.rules, list(names.code)
    people = sorted(shift.people)
    km = offers.km[people, shift.landing].sum() if people else np.nan
    status = "promised" if shift.promised else "open" if lacks(offers, shift) else "planned"
    begin = float(offers.axis.start[shift.slot])
    return {
        "landing_id": names.landings.index[shift.landing],
        "landing": names.landings["name"].iloc[shift.landing],
        "date": pd.Timestamp(names.date(shift.day)),
        "start": clock(begin),
        "end": clock(begin + rules.shift_hours),
        "day_type": DAY_TYPES[int(shift.weekend)],
        "block": rules.blocks[shift.block].label,
        "people": "; ".join(codes[p] for p in people),
        "km": np.nan if shift.unnamed else km,
        "status": status,
        "permission": names.landings["permission"].iloc[shift.landing],
    }


def _accepted(row: Row, shift: Shift) -> str:
    """`yes` where people have taken the shift on as it is now: promised, or so told before."""
    if shift.promised:
        return ACCEPTED
    was = shift.was or {}
    told = str(was.get("accepted", "")).strip().lower() == ACCEPTED
    return ACCEPTED if told and row["people"] and _unchanged(row, was) else ""


def _unchanged(row: Row, was: Row) -> bool:
    """Whether a shift has the day, the time and the people that it had."""
    times = all(str(row[key]) == str(was[key]) for key in ("date", "start", "end"))
    return times and codes_in([row["people"]]) == codes_in([was["people"]])


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
    names: Names,
    used: set[str],
    cancelled: dict[str, Row],
    earlier: pd.DataFrame,
    ids: Iterator[str],
) -> tuple[str, str, int]:
    """Identifier, running number and version: those it had, one version on if it changed."""
    if shift.was:
        was = shift.was
        same = _unchanged(row, was) and row["status"] == was["status"]
        same = same and row["kind"] == was.get("kind", EDUCATION)
        return was["uid"], was.get("shift_id") or next(ids), int(was["sequence"]) + (not same)
    number = names.axis.number[shift.slot]
    text = f"{row['landing_id']}|{row['date']:%Y-%m-%d}|{row['start']}|{number}"
    if names.rules.region:
        text = f"{names.rules.region}|{text}"
    for again in range(1, len(used) + 2):
        uid = f"{uuid.uuid5(UIDS, text if again == 1 else f'{text}|{again}')}@spreadnet"
        if uid in cancelled and uid not in used:  # back again: the same entry of a calendar
            was = cancelled.pop(uid)
            before = earlier.loc[earlier["uid"] == uid, "sequence"]
            return uid, was.get("shift_id") or next(ids), int(before.iloc[0]) + 1
        if uid not in used:
            break
    return uid, next(ids), 0


def person_table(offers: Offers, names: Names, shifts: Sequence[Shift]) -> pd.DataFrame:
    """What each person does of what was offered."""
    load, km = np.zeros(len(names.code), int), np.zeros(len(names.code))
    for shift in shifts:
        if shift.day >= 0:
            people = list(shift.people)
            load[people] += 1
            km[people] += offers.km[people, shift.landing]
    days = offers.days.astype(float)
    return pd.DataFrame(
        {
            "shifts": load,
            "hours": load * float(names.rules.shift_hours),
            "km": km,
            "days_offered": offers.days.astype(int),
            "share_of_offer": load / np.where(days > 0, days, np.nan),
        },
        index=pd.Index(list(names.code), name="code", dtype="str"),
    )


def roster_notes(
    book: Book,
    names: Names,
    shifts: Sequence[Shift],
    *,
    by_hand: Sequence[int],
    by_person: pd.DataFrame,
) -> Iterator[Note]:
    """What could not be met, in plain words."""
    offers = book.offers
    people = bool(len(offers.days)) and bool((by_person["days_offered"] > 0).any())
    undated = [shift for shift in shifts if shift.day < 0]
    dated = [shift for shift in shifts if shift.day >= 0]
    short = [shift for shift in dated if lacks(offers, shift)]
    if by_hand:
        yield Note("weeks-by-hand", _by_hand(names, by_hand))
    if undated:
        yield Note("shifts-without-date", _without_date(names, undated))
    if not people and short:
        yield Note(
            "no-people",
            "Nobody has offered days, so shifts have dates but no people: all are open.",
        )
    if people and short:
        yield Note("shifts-lacking-people", _lacking(offers, names, short, dated=len(dated)))
        far = sum(_only_far(book, shift) for shift in short)
        if far:
            yield Note(
                "people-too-far",
                f"For {far} of these people are free who live farther from the landing than their "
                f"most_km ({columns('hours')['most_km'].default} km where hours.csv says nothing).",
            )
    idle = by_person.index[(by_person["shifts"] == 0) & (by_person["days_offered"] > 0)]
    if len(idle):
        yield Note("people-without-shift", f"No shift for {_listed(list(idle))}.")
    km, cost = float(by_person["km"].sum()), names.rules.cost_per_km
    if cost is not None and km:
        yield Note("travel", f"Travel of {km:,.0f} km costs {km * cost:,.0f} at {cost:g} a km.")


def _by_hand(names: Names, weeks: Sequence[int]) -> str:
    """For which weeks the model found nothing."""
    first = names.axis.first - (names.axis.first - 1) % 7
    told = _listed([f"{date.fromordinal(first + 7 * week):%Y-%m-%d}" for week in weeks])
    return (
        f"For the weeks from {told} no roster was found at once, so dates and people were given "
        "one shift after the other: another order might leave fewer open."
    )


def _only_far(book: Book, shift: Shift) -> bool:
    """Whether a crew would be free for an open shift, then or on another date, but for ways."""
    offers = replace(book.offers, near=np.ones_like(book.offers.near))
    days, slots = book.cells(shift.need)
    days, slots = np.append(days, shift.day), np.append(slots, shift.slot)
    free = replace(book, offers=offers).free(np.full(len(days), shift.landing), days, slots)
    crew = np.append(np.full(len(days) - 1, offers.crew), lacks(offers, shift))
    return bool((free.sum(axis=0) >= crew).any())


def _without_date(names: Names, undated: Sequence[Shift]) -> str:
    """Which shifts found no date."""
    lines = Counter(
        f"{names.landings['name'].iloc[s.landing]}, {DAY_TYPES[int(s.weekend)]} "
        f"{names.rules.blocks[s.block].label}"
        for s in undated
    )
    told = _listed([f"{line}: {count}" for line, count in sorted(lines.items())], joiner="; ")
    return (
        f"{_shifts(len(undated))} could not get a date ({told}). A landing has at most "
        f"{names.rules.most_shifts_per_landing_week} a week and one at a time, and from "
        f"{names.rules.plan_from} on there are not enough days for more."
    )


def _lacking(offers: Offers, names: Names, short: Sequence[Shift], *, dated: int) -> str:
    """On which blocks and months people are short, and by how many."""
    places = sum(lacks(offers, shift) for shift in short)
    when = Counter(
        f"{DAY_TYPES[int(s.weekend)]} {names.rules.blocks[s.block].label}, "
        f"{names.date(s.day):%Y-%m}"
        for s in short
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
