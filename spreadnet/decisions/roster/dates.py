"""Dates for shifts: evenly over the season, on days on which a crew is free."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linear_sum_assignment

from spreadnet.decisions.roster.people import (
    MOST_BINARIES,
    crew_for,
    drop,
    fill,
    free,
    give,
    lift,
    place,
    rules_of_people,
    shares_after,
    solve,
    undo,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.roster.people import Diary, Rows, Shift

    Counts = NDArray[np.integer]
    Array = NDArray[np.floating]
    Need = tuple[int, bool, int]
    Cell = tuple[int, int]
    Key = tuple[Need, Cell]

MOST_TRIES = 4_000  # chains of exchanges tried for open shifts: a count, never a clock
GOLDEN = 0.6180339887  # multiples of it fill 0 to 1 evenly
DEEP = 2  # exchanges in one chain


def set_targets(diary: Diary) -> None:
    """
    Give each shift without a date the day it would best have, so that a landing's spread evenly.

    A landing's shifts have their best days at equal distances. Those with a date take the nearest
    of these; the rest go round in turn among day types and blocks.

    Parameters
    ----------
    diary : Diary
        Written on: targets of shifts.
    """
    usable = np.flatnonzero(diary.axis.usable)
    if not len(usable):
        return
    by_landing: dict[int, list[Shift]] = {}
    for shift in diary.shifts:
        by_landing.setdefault(shift.landing, []).append(shift)
    first, length = float(usable[0]), float(usable[-1] - usable[0] + 1)
    weeks = len(set(diary.axis.week[usable].tolist()))
    for landing, shifts in by_landing.items():
        for shift in shifts:
            shift.evenly = -(-len(shifts) // weeks)
        phase = (0.5 + landing * GOLDEN) % 1.0  # or all landings would want the same few days
        goals = first + length * (np.arange(len(shifts)) + phase) / len(shifts) - 0.5
        goals = np.clip(goals, first, usable[-1])
        dated = [s for s in shifts if s.day >= 0]
        away = np.abs(np.array([[s.day] for s in dated]).reshape(-1, 1) - goals)
        rows, columns = linear_sum_assignment(away)
        for row, column in zip(rows, columns, strict=True):
            dated[row].target = float(goals[column])
        rest = np.delete(goals, columns)
        for shift, goal in zip(_in_turn([s for s in shifts if s.day < 0]), rest, strict=True):
            shift.target = float(goal)


def _in_turn(shifts: Sequence[Shift]) -> list[Shift]:
    """Shifts so that each day type and block comes up at equal distances."""
    groups: dict[Need, list[Shift]] = {}
    for shift in shifts:
        groups.setdefault(need_of(shift), []).append(shift)
    keyed = [
        ((place + (need[0] * 7 + turn + 1) * GOLDEN % 1.0) / len(group), need, place, shift)
        for turn, (need, group) in enumerate(sorted(groups.items(), key=lambda g: g[0]))
        for place, shift in enumerate(group)
    ]
    return [shift for *_, shift in sorted(keyed, key=lambda k: k[:3])]


def need_of(shift: Shift) -> Need:
    """What a shift is one of: landing, day type, block."""
    return shift.landing, shift.weekend, shift.block


def cells(diary: Diary, need: Need, *, week: int | None = None) -> tuple[Counts, Counts]:
    """
    Days and starts at which one more shift of a landing, day type and block may be.

    Parameters
    ----------
    diary : Diary
        What has been placed so far.
    need : tuple
        Landing, whether weekend, block.
    week : int, optional
        Only in this week.

    Returns
    -------
    days, slots : arrays, shape (C,)
        Free at the landing, in weeks that are not full, by day and start.
    """
    landing, weekend, block = need
    axis = diary.axis
    room = (diary.landing_week[landing] < diary.landing_cap)[axis.week]
    good = axis.usable & (axis.weekend == weekend) & room
    if week is not None:
        good &= axis.week == week
    days, slots = np.flatnonzero(good), np.flatnonzero(axis.block == block)
    day, slot = np.nonzero(diary.taken[landing][days[:, None], slots] < 0)
    return days[day], slots[slot]


def best_cell(
    diary: Diary, shift: Shift, days: Counts, slots: Counts, *, wholly: bool = False
) -> Cell | None:
    """
    The best of the dates and starts at which a shift may be.

    First with a whole crew free; then in a week in which the landing has not had its part; then
    near the week it should be in; then on another day than other shifts of the landing; then where
    those are free whose share is least; then on days with few shifts; then near its target; then
    early.

    Parameters
    ----------
    diary : Diary
        What has been placed so far.
    shift : Shift
        Not placed.
    days, slots : arrays, shape (C,)
        What there is to choose from.
    wholly : bool
        Whether a date without a whole crew is no date.

    Returns
    -------
    cell : (day, start) or None
        None where there is nothing to choose.
    """
    if not len(days):
        return None
    wanted = diary.crew - shift.unnamed
    fits = free(diary, shift.landing, days, slots)
    missing = np.maximum(wanted - fits.sum(axis=0), 0)
    if wholly and missing.min() > 0:
        return None
    share = np.zeros(len(days))
    if wanted > 0 and len(fits) >= wanted:
        each = np.where(fits, shares_after(diary)[:, None], 1e9)
        share = np.partition(each, wanted - 1, axis=0)[:wanted].sum(axis=0).round(9)
    week = diary.axis.week
    away = np.abs(week[days] - week[int(shift.target)])
    crowd = np.maximum(diary.landing_week[shift.landing, week[days]] - shift.evenly + 1, 0)
    busy = (diary.taken[shift.landing][days] >= 0).sum(axis=1)
    load = diary.on_start[days].sum(axis=1)
    near = np.abs(days - shift.target)
    order = np.lexsort((slots, days, near, load, share, busy, away, crowd, missing))
    return int(days[order[0]]), int(slots[order[0]])


def date_all(diary: Diary) -> list[int]:
    """
    Give every shift a date, and a crew where there is one; hardest first.

    Parameters
    ----------
    diary : Diary
        Written on.

    Returns
    -------
    undated : list of int
        Shifts for which no date is left, however those of the landing are moved.
    """
    waiting = [n for n, shift in enumerate(diary.shifts) if shift.day < 0]
    ease: dict[Need, float] = {}
    for need in dict.fromkeys(need_of(diary.shifts[n]) for n in waiting):
        days, slots = cells(diary, need)
        fits = free(diary, need[0], days, slots)
        count = sum(need_of(diary.shifts[n]) == need for n in waiting) if len(waiting) < 500 else 1
        ease[need] = float((fits.sum(axis=0) >= diary.crew).sum()) / count
    waiting.sort(key=lambda n: (ease[need_of(diary.shifts[n])], _scattered(diary.shifts[n]), n))
    undated = []
    for n in waiting:
        shift = diary.shifts[n]
        cell = best_cell(diary, shift, *cells(diary, need_of(shift)))
        if cell is None:
            undated.append(n)
        else:
            place(diary, n, *cell)
            fill(diary, n, wholly=True)
    return [n for n in undated if not _make_room(diary, n)]


def _scattered(shift: Shift) -> float:
    """A place in the queue that has no trend over the season: who comes last finds nobody."""
    return (shift.target * GOLDEN) % 1.0


def _make_room(diary: Diary, number: int) -> bool:
    """Move shifts of a landing to other weeks until one more fits: an augmenting path."""
    shift = diary.shifts[number]
    landing, axis = shift.landing, diary.axis
    came: dict[int, tuple[int, int]] = {}  # week -> (shift that goes there, week it leaves)
    queue: list[tuple[int, int]] = [(number, -1)]
    while queue:
        mover, left = queue.pop(0)
        need = need_of(diary.shifts[mover])
        for week in _weeks_open(diary, need):
            if week in came:
                continue
            came[week] = (mover, left)
            if diary.landing_week[landing, week] < diary.landing_cap:
                _move_along(diary, came, week)
                return True
            there = diary.taken[landing][axis.week == week]
            queue += [
                (int(n), week)
                for n in np.sort(there[there >= 0])
                if not diary.shifts[n].fixed and need_of(diary.shifts[n]) != need
            ]
    return False


def _weeks_open(diary: Diary, need: Need) -> list[int]:
    """Weeks with a free date and start for a need, whether the week is full or not."""
    landing, weekend, block = need
    axis = diary.axis
    days = np.flatnonzero(axis.usable & (axis.weekend == weekend))
    empty = (diary.taken[landing][days[:, None], np.flatnonzero(axis.block == block)] < 0).any(
        axis=1
    )
    return sorted(set(axis.week[days[empty]].tolist()))


def _move_along(diary: Diary, came: dict[int, tuple[int, int]], week: int) -> None:
    """Carry out the moves of an augmenting path, last first."""
    while True:
        mover, left = came[week]
        shift = diary.shifts[mover]
        if shift.day >= 0:
            lift(diary, mover)
        cell = best_cell(diary, shift, *cells(diary, need_of(shift), week=week))
        assert cell is not None  # the week was found to have room
        place(diary, mover, *cell)
        fill(diary, mover, wholly=True)
        if left < 0:
            return
        week = left


def open_shifts(diary: Diary) -> list[int]:
    """Dated shifts that lack people."""
    return [n for n, s in enumerate(diary.shifts) if s.day >= 0 and diary.lacks(n)]


def find_crews(diary: Diary) -> None:
    """
    Fill open shifts by moving others: chains of exchanges, then the exact answer where it is small.

    Parameters
    ----------
    diary : Diary
        Written on.
    """
    tries = [MOST_TRIES]
    for n in open_shifts(diary):
        if fill(diary, n, wholly=True) or _move_or_chain(diary, n, tries):
            continue
    if open_shifts(diary):
        fill_exactly(diary)
    for n in open_shifts(diary):
        fill(diary, n, wholly=False)


def _move_or_chain(diary: Diary, number: int, tries: list[int]) -> bool:
    """Fill one open shift, where it is or elsewhere, for which others may have to change."""
    shift = diary.shifts[number]
    here = (shift.day, shift.slot)
    if _chain(diary, number, tries):
        return True
    if shift.fixed or shift.promised or not len(diary.offer):
        return False
    mark = len(diary.log)
    lift(diary, number)
    days, slots = cells(diary, need_of(shift))
    cell = best_cell(diary, shift, days, slots, wholly=True)
    if cell is not None:
        place(diary, number, *cell)
        return fill(diary, number, wholly=True)
    offered = diary.offered[:, days, slots] & diary.near[:, [shift.landing]]
    order = np.lexsort((slots, days, np.abs(days - shift.target), -offered.sum(axis=0)))
    enough = offered.sum(axis=0) >= diary.crew - shift.unnamed
    for k in order[enough[order]].tolist():
        if tries[0] <= 0:
            break
        cell = (int(days[k]), int(slots[k]))
        if cell == here:
            continue
        place(diary, number, *cell)
        if _chain(diary, number, tries):
            return True
        lift(diary, number)
    undo(diary, mark)
    return False


def _chain(diary: Diary, number: int, tries: list[int]) -> bool:
    """Fill a placed shift, freeing people from others that can do without them."""
    shift = diary.shifts[number]
    mark = len(diary.log)
    for person in crew_for(diary, number)[: diary.lacks(number)]:
        give(diary, number, person)
    while diary.lacks(number):
        offered = diary.offered[:, shift.day, shift.slot] & diary.near[:, shift.landing]
        offered[shift.people] = False
        for person in np.flatnonzero(offered).tolist():
            if _free_up(diary, number, person, depth=DEEP, chain={number}, tries=tries):
                break
        else:
            undo(diary, mark)
            return False
    return True


def _free_up(
    diary: Diary, number: int, person: int, *, depth: int, chain: set[int], tries: list[int]
) -> bool:
    """Put a person on a shift who must leave another for it, and keep that one whole."""
    shift = diary.shifts[number]
    if depth == 0:
        return False
    week = diary.axis.week[shift.day]
    for other in sorted(diary.held[person] - chain):
        left = diary.shifts[other]
        if abs(diary.axis.week[left.day] - week) > 1 or person in left.locked or left.promised:
            continue
        tries[0] -= 1
        if tries[0] < 0:
            return False
        mark = len(diary.log)
        drop(diary, other, person)
        if free(diary, shift.landing, shift.day, shift.slot)[person]:
            give(diary, number, person)
            if _keep_whole(diary, other, depth=depth - 1, chain={*chain, other}, tries=tries):
                return True
        undo(diary, mark)
    return False


def _keep_whole(
    diary: Diary, number: int, *, depth: int, chain: set[int], tries: list[int]
) -> bool:
    """Fill a shift that somebody left: by another, on another date, or by a further exchange."""
    if fill(diary, number, wholly=True):
        return True
    shift = diary.shifts[number]
    if not shift.fixed and not shift.locked and not shift.promised:
        mark = len(diary.log)
        lift(diary, number)
        cell = best_cell(diary, shift, *cells(diary, need_of(shift)), wholly=True)
        if cell is not None:
            place(diary, number, *cell)
            return fill(diary, number, wholly=True)
        undo(diary, mark)
    offered = diary.offered[:, shift.day, shift.slot] & diary.near[:, shift.landing]
    offered[shift.people] = False
    return any(
        _free_up(diary, number, person, depth=depth, chain=chain, tries=tries)
        for person in np.flatnonzero(offered).tolist()
    )


def fill_exactly(diary: Diary) -> None:
    """
    Most shifts with a whole crew, by HiGHS over dates and people at once, where that is small.

    As many shifts have dates as before. Shifts that are fixed stay as they are; among answers that
    fill as many, one with few dates moved is taken.

    Parameters
    ----------
    diary : Diary
        Written on where the answer fills more shifts.
    """
    dated = [n for n, s in enumerate(diary.shifts) if s.day >= 0 and not s.fixed]
    still = [n for n, s in enumerate(diary.shifts) if s.day >= 0 and s.fixed]
    mark, before = len(diary.log), len(open_shifts(diary))
    at = {n: (diary.shifts[n].day, diary.shifts[n].slot) for n in dated}
    for n in dated:
        lift(diary, n)
    for n in still:
        for person in set(diary.shifts[n].people) - diary.shifts[n].locked:
            drop(diary, n, person)
    answer = _solve_dates(diary, dated, at, still=[n for n in still if diary.lacks(n)])
    if answer is None:
        undo(diary, mark)
        return
    crews, bare = answer
    for n in still:
        shift = diary.shifts[n]
        for person in crews.pop((need_of(shift), (shift.day, shift.slot)), []):
            give(diary, n, person)
    _carry_out(diary, dated, at, crews=crews, bare=bare)
    if len(open_shifts(diary)) >= before:
        undo(diary, mark)


@dataclass(frozen=True, slots=True, eq=False)
class _Program:
    """Variables and rows of the whole-number program, as they are put together."""

    cost: list[float] = field(default_factory=list)
    most: list[float] = field(default_factory=list)
    rows: Rows = field(default_factory=list)
    whole: dict[Key, int] = field(default_factory=dict)  # whether there is a whole crew
    goes: list[tuple[int, Key, int]] = field(default_factory=list)  # who goes there
    bare: dict[tuple[Need, int], int] = field(default_factory=dict)  # without, by week
    in_week: dict[tuple[int, int], dict[int, float]] = field(default_factory=dict)

    def add(self, cost: float, most: float) -> int:
        """One more variable."""
        self.cost.append(cost)
        self.most.append(most)
        return len(self.cost) - 1


def _solve_dates(
    diary: Diary, dated: Sequence[int], at: dict[int, Cell], *, still: Sequence[int]
) -> tuple[dict[Key, list[int]], dict[tuple[Need, int], int]] | None:
    """Whole crews by place, and shifts without one by need and week; None if it is large."""
    groups: dict[Need, list[int]] = {}
    for n in dated:
        groups.setdefault(need_of(diary.shifts[n]), []).append(n)
    options = {need: _with_crew(diary, need) for need in groups}
    could = {n: crew_for(diary, n) for n in still}
    pairs = sum(len(who) for option in options.values() for who in option.values())
    pairs += sum(len(who) for who in could.values())
    if not pairs or pairs > MOST_BINARIES // diary.crew**2:  # larger crews are much harder
        return None
    program = _Program()
    stays = 0.2 / max(len(dated), 1)  # in all less than one more shift with a crew
    for need, members in groups.items():
        stay = {at[n]: stays for n in members}
        _add_need(program, diary, need, options=options[need], count=len(members), stay=stay)
    for (landing, week), row in program.in_week.items():
        left = diary.landing_cap - diary.landing_week[landing, week]
        program.rows.append((row, 0.0, float(max(left, 0))))
    for n, who in could.items():
        cell = (diary.shifts[n].day, diary.shifts[n].slot)
        key = (need_of(diary.shifts[n]), cell)
        _add_crew(program, key, who, needed=diary.lacks(n), worth=1.0)
    variables = [variable for variable, *_ in program.goes]
    places = [(person, *cell) for _, (_, cell), person in program.goes]
    for row, low, high in rules_of_people(diary, places):
        program.rows.append(({variables[v]: c for v, c in row.items()}, low, high))
    near_enough = 0.6 / (1.2 * (len(dated) + len(still)) + 1)  # less than one shift
    values = solve(program.cost, program.rows, most=program.most, gap=near_enough)
    if values is None:
        return None
    crews: dict[Key, list[int]] = {k: [] for k, v in program.whole.items() if values[v]}
    for variable, key, person in program.goes:
        if values[variable]:
            crews[key].append(person)
    return crews, {key: int(values[v]) for key, v in program.bare.items()}


def _add_need(
    program: _Program,
    diary: Diary,
    need: Need,
    *,
    options: dict[Cell, list[int]],
    count: int,
    stay: dict[Cell, float],
) -> None:
    """All shifts of one need: with a crew at some date and start, or without one in some week."""
    every: dict[int, float] = {}
    for week, empty in _room(diary, need).items():
        program.bare[need, week] = variable = program.add(0.0, float(count))
        here = {variable: 1.0}
        for cell, who in options.items():
            if diary.axis.week[cell[0]] == week:
                worth = 1.0 + stay.get(cell, 0.0)
                here[_add_crew(program, (need, cell), who, needed=diary.crew, worth=worth)] = 1.0
        program.rows.append((here, 0.0, float(empty)))
        program.in_week.setdefault((need[0], week), {}).update(here)
        every |= here
    program.rows.append((every, float(count), float(count)))


def _add_crew(program: _Program, key: Key, who: Sequence[int], *, needed: int, worth: float) -> int:
    """A whole crew at one place, or nobody; return its variable."""
    program.whole[key] = whole = program.add(-worth, 1.0)
    row = {whole: -float(needed)}
    for person in who:
        variable = program.add(0.0, 1.0)
        row[variable] = 1.0
        program.goes.append((variable, key, person))
    program.rows.append((row, 0.0, 0.0))
    return whole


def _with_crew(diary: Diary, need: Need) -> dict[Cell, list[int]]:
    """Dates and starts at which enough people could come, with who they are."""
    days, slots = cells(diary, need)
    fits = free(diary, need[0], days, slots)
    enough = np.flatnonzero(fits.sum(axis=0) >= diary.crew)
    return {
        (int(days[k]), int(slots[k])): np.flatnonzero(fits[:, k]).tolist() for k in enough.tolist()
    }


def _room(diary: Diary, need: Need) -> dict[int, int]:
    """Free dates and starts of a need in each week."""
    days, _ = cells(diary, need)
    weeks, counts = np.unique(diary.axis.week[days], return_counts=True)
    return dict(zip(weeks.tolist(), counts.tolist(), strict=True))


def _carry_out(
    diary: Diary,
    dated: Sequence[int],
    at: dict[int, Cell],
    *,
    crews: dict[Key, list[int]],
    bare: dict[tuple[Need, int], int],
) -> None:
    """Place shifts as found; those whose date is among the chosen keep it."""
    left = dict(sorted(crews.items()))
    rest = []
    for n in dated:
        key = (need_of(diary.shifts[n]), at[n])
        if key in left:
            _place_with(diary, n, at[n], left.pop(key))
        else:
            rest.append(n)
    without = []
    for n in sorted(rest, key=lambda n: (diary.shifts[n].target, n)):
        need = need_of(diary.shifts[n])
        cell = next((k[1] for k in left if k[0] == need), None)
        if cell is None:
            without.append(n)
        else:
            _place_with(diary, n, cell, left.pop((need, cell)))
    weeks = {key: count for key, count in sorted(bare.items()) if count}
    for n in without:
        _place_bare(diary, n, at[n], weeks)


def _place_bare(diary: Diary, number: int, was: Cell, weeks: dict[tuple[Need, int], int]) -> None:
    """Place a shift without a crew in one of the weeks found, where it was if that is free."""
    shift = diary.shifts[number]
    need = need_of(shift)
    open_ = [week for (other, week), count in weeks.items() if other == need and count]
    then = int(diary.axis.week[was[0]])
    week = then if then in open_ else open_[0]
    weeks[need, week] -= 1
    days, slots = cells(diary, need, week=week)
    if ((days == was[0]) & (slots == was[1])).any():
        place(diary, number, *was)
        return
    cell = best_cell(diary, shift, days, slots)
    assert cell is not None  # the week was counted to have room
    place(diary, number, *cell)


def _place_with(diary: Diary, number: int, cell: Cell, crew: Sequence[int]) -> None:
    """Place a shift with its people."""
    place(diary, number, *cell)
    for person in crew:
        give(diary, number, person)
