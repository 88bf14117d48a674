"""The roster as tables and notes: identifiers that stay, hours of people, what is open."""

from __future__ import annotations

import re
import uuid
from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from spreadnet.decisions.roster.axis import (
    Names,
)
from spreadnet.decisions.roster.people import (
    Shift,
    codes_in,
)
from spreadnet.evidence.region import DAY_TYPES, Note, clock

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from spreadnet.decisions.roster.people import Diary

    Row = dict[Any, Any]


COLUMNS = (
    "shift_id", "landing_id", "landing", "date", "start", "end", "day_type", "block", "people",
    "km", "status", "uid", "sequence",
)  # fmt: skip
UIDS = uuid.uuid5(uuid.NAMESPACE_OID, "spreadnet roster")
NAMED = 6  # landings or blocks named in a note; the rest are counted


def shift_table(
    diary: Diary, names: Names, *, gone: list[Row], earlier: pd.DataFrame
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
            row,
            shift,
            names=names,
            diary=diary,
            used=used,
            cancelled=cancelled,
            earlier=earlier,
            ids=ids,
        )
        used.add(row["uid"])
        rows.append(row)
    rows += [{**row, "status": "cancelled"} for row in cancelled.values() if row["uid"] not in used]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    table["date"] = pd.to_datetime(table["date"]).astype("datetime64[s]")
    table["km"], table["sequence"] = table["km"].astype(float), table["sequence"].astype(int)
    order = ["date", "start", "landing_id", "status", "uid"]
    return table.sort_values(order, kind="stable").reset_index(drop=True)


def _row(diary: Diary, names: Names, number: int) -> Row:
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
    names: Names,
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


def person_table(diary: Diary, names: Names) -> pd.DataFrame:
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


def roster_notes(
    diary: Diary, names: Names, *, undated: list[int], people: bool, by_person: pd.DataFrame
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


def _without_date(diary: Diary, names: Names, undated: Sequence[int]) -> str:
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


def _lacking(diary: Diary, names: Names, short: Sequence[int], *, dated: int) -> str:
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
