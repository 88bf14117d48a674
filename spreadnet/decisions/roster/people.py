"""Who can come where and when: offers of people against shifts, and fair shares of the work."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    Flags = NDArray[np.bool_]
    Counts = NDArray[np.integer]
    Array = NDArray[np.floating]
    Entry = tuple[str, int, int, int]
    Rows = list[tuple[dict[int, float], float, float]]

MOST_BINARIES = 6_000  # above it the search is by exchanges; HiGHS takes about a second up to it
MOST_NODES = 500  # of branch and bound: a count, since a clock would make equal runs differ
PARTNERS = 5  # shifts tried for each, in exchanges that shorten ways
EVEN = 1e-9  # shares that differ by less are the same


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """
    Days and starts of shifts as positions: D days, S starts a day.

    Attributes
    ----------
    first : int
        Proleptic ordinal of the first day.
    week : array, shape (D,)
        ISO week, counted from the first on the axis.
    weekend, usable : arrays, shape (D,)
        Saturday, Sunday or holiday; days on which new shifts may be placed.
    block, number : arrays, shape (S,)
        Block of each start, and its place within the block.
    start : array, shape (S,)
        Hours after midnight.
    """

    first: int
    week: Counts
    weekend: Flags
    usable: Flags
    block: Counts
    number: Counts
    start: Array


@dataclass(slots=True, eq=False)
class Shift:
    """One shift while dates and people are being looked for; positions, -1 where not yet known."""

    landing: int
    weekend: bool
    block: int
    target: float = 0.0  # day on which it would best be
    evenly: int = 1  # most of its landing in a week if all weeks are alike
    day: int = -1
    slot: int = -1
    people: list[int] = field(default_factory=list)
    locked: set[int] = field(default_factory=set)
    unnamed: int = 0  # places promised to people of whom no code is known
    fixed: bool = False
    promised: bool = False
    was: dict[Any, Any] | None = None  # its row in the earlier plan


@dataclass(frozen=True, slots=True, eq=False)
class Diary:
    """
    Offers of P people and what has been placed so far; P people, L landings, W weeks.

    One search owns it: `place`, `lift`, `give` and `drop` write on its arrays and can be undone.

    Attributes
    ----------
    axis : Axis
        Days and starts.
    crew, landing_cap, person_cap : int
        People a shift; most shifts a week of a landing, of a person.
    span : float
        Least hours from the start of a person's shift to the start of the next.
    offered : array, shape (P, D, S)
        Whether the person can come then.
    most : array, shape (P, D)
        Most shifts on that day.
    near : array, shape (P, L)
        Whether the landing is within the distance the person goes.
    km : array, shape (P, L)
        There and back; NaN where the home is not known.
    offer : array, shape (P,)
        Days offered.
    shifts : list of Shift
        All of them.
    """

    axis: Axis
    crew: int
    landing_cap: int
    person_cap: int
    span: float
    offered: Flags
    most: Counts
    near: Flags
    km: Array
    offer: Counts
    shifts: list[Shift]
    taken: Counts
    landing_week: Counts
    on_start: Counts
    barred: Counts
    person_week: Counts
    person_day: Counts
    load: Counts
    held: list[set[int]]
    log: list[Entry] = field(default_factory=list)

    def lacks(self, number: int) -> int:
        """People that a shift still needs."""
        shift = self.shifts[number]
        return max(self.crew - shift.unnamed - len(shift.people), 0)


def new_diary(
    axis: Axis,
    *,
    crew: int,
    landing_cap: int,
    person_cap: int,
    span: float,
    offered: Flags,
    most: Counts,
    near: Flags,
    km: Array,
    offer: Counts,
) -> Diary:
    """An empty diary; arguments as the attributes of `Diary`."""
    people, days, starts = offered.shape
    weeks = int(axis.week[-1]) + 1
    return Diary(
        axis, crew, landing_cap, person_cap, span, offered, most, near, km, offer, [],
        taken=np.full((near.shape[1], days, starts), -1),
        landing_week=np.zeros((near.shape[1], weeks), int),
        on_start=np.zeros((days, starts), int),
        barred=np.zeros((people, days, starts), int),
        person_week=np.zeros((people, weeks), int),
        person_day=np.zeros((people, days), int),
        load=np.zeros(people, int),
        held=[set() for _ in range(people)],
    )  # fmt: skip


def place(diary: Diary, number: int, day: int, slot: int) -> None:
    """Give a shift its date and start."""
    shift = diary.shifts[number]
    shift.day, shift.slot = int(day), int(slot)
    diary.taken[shift.landing, day, slot] = number
    diary.landing_week[shift.landing, diary.axis.week[day]] += 1
    diary.on_start[day, slot] += 1
    diary.log.append(("place", number, shift.day, shift.slot))


def lift(diary: Diary, number: int) -> None:
    """Take a shift, with its people, off its date."""
    shift = diary.shifts[number]
    for person in list(shift.people):
        drop(diary, number, person)
    diary.taken[shift.landing, shift.day, shift.slot] = -1
    diary.landing_week[shift.landing, diary.axis.week[shift.day]] -= 1
    diary.on_start[shift.day, shift.slot] -= 1
    diary.log.append(("lift", number, shift.day, shift.slot))
    shift.day = shift.slot = -1


def give(diary: Diary, number: int, person: int) -> None:
    """Put a person on a shift."""
    shift = diary.shifts[number]
    shift.people.append(person)
    diary.held[person].add(number)
    _count(diary, person, shift.day, shift.slot, 1)
    diary.log.append(("give", number, person, 0))


def drop(diary: Diary, number: int, person: int) -> None:
    """Take a person off a shift."""
    shift = diary.shifts[number]
    shift.people.remove(person)
    diary.held[person].discard(number)
    _count(diary, person, shift.day, shift.slot, -1)
    diary.log.append(("drop", number, person, 0))


def undo(diary: Diary, mark: int) -> None:
    """Take back all that was logged after the mark."""
    while len(diary.log) > mark:
        done, number, first, second = diary.log.pop()
        if done == "place":
            lift(diary, number)
        elif done == "lift":
            place(diary, number, first, second)
        elif done == "give":
            drop(diary, number, first)
        else:
            give(diary, number, first)
        diary.log.pop()


def _count(diary: Diary, person: int, day: int, slot: int, step: int) -> None:
    """Book a person's shift: the starts too near to it, the week, the day."""
    axis = diary.axis
    reach = int(diary.span // 24) + 1
    first, last = max(day - reach, 0), min(day + reach + 1, len(axis.week))
    apart = 24.0 * (np.arange(first, last) - day)[:, None] + axis.start - axis.start[slot]
    diary.barred[person, first:last] += step * (np.abs(apart) < diary.span - EVEN)
    diary.person_week[person, axis.week[day]] += step
    diary.person_day[person, day] += step
    diary.load[person] += step


def free(diary: Diary, landing: int, days: Any, slots: Any) -> Flags:
    """
    Who could take a shift at each of C dates and starts.

    Parameters
    ----------
    diary : Diary
        What has been placed so far.
    landing : int
        Where.
    days, slots : ints or arrays, shape (C,)
        When.

    Returns
    -------
    free : array, shape (P,) or (P, C)
        Offered, near, rested, and below the most of the day and the week.
    """
    weeks = diary.axis.week[days]
    fits = (
        diary.offered[:, days, slots]
        & (diary.barred[:, days, slots] == 0)
        & (diary.person_week[:, weeks] < diary.person_cap)
        & (diary.person_day[:, days] < diary.most[:, days])
    )
    near = diary.near[:, landing]
    return fits & (near if fits.ndim == 1 else near[:, None])


def shares_after(diary: Diary) -> Array:
    """Share of the days each person offered that would be taken with one shift more, (P,)."""
    return (diary.load + 1) / np.where(diary.offer > 0, diary.offer, 1e-9)


def crew_for(diary: Diary, number: int) -> list[int]:
    """Those free for a placed shift, first whose share is least, then who lives near, then ids."""
    shift = diary.shifts[number]
    fits = free(diary, shift.landing, shift.day, shift.slot)
    fits[shift.people] = False
    who = np.flatnonzero(fits)
    km = np.nan_to_num(diary.km[who, shift.landing], nan=np.inf)
    return who[np.lexsort((who, km, shares_after(diary)[who]))].tolist()


def fill(diary: Diary, number: int, *, wholly: bool) -> bool:
    """Give a placed shift the people it lacks; with `wholly`, all of them or none."""
    lacks = diary.lacks(number)
    who = crew_for(diary, number)
    if wholly and len(who) < lacks:
        return False
    for person in who[:lacks]:
        give(diary, number, person)
    return len(who) >= lacks


def solve(
    cost: Sequence[float], rows: Rows, *, most: Sequence[float], gap: float = 0.0
) -> Array | None:
    """
    Whole numbers of least cost, by HiGHS.

    Parameters
    ----------
    cost : sequence of float
        Of each variable.
    rows : list of (coefficients by variable, least, most)
        Linear constraints.
    most : sequence of float
        Upper bounds of the variables, which are 0 or more.
    gap : float
        How far from the least, relative to it, is near enough.

    Returns
    -------
    values : array or None
        None where nothing was found within `MOST_NODES`.
    """
    entries = [(i, j, value) for i, row in enumerate(rows) for j, value in row[0].items()]
    i, j, values = zip(*entries, strict=True) if entries else ((), (), ())
    matrix = coo_array((values, (i, j)), shape=(len(rows), len(cost))).tocsr()
    low, high = np.array([r[1] for r in rows]), np.array([r[2] for r in rows])
    answer = milp(
        np.asarray(cost, float),
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, np.asarray(most, float)),
        constraints=LinearConstraint(matrix, low, high),
        options={"node_limit": MOST_NODES, "mip_rel_gap": gap},
    )
    return None if answer.x is None else np.rint(answer.x)


def rules_of_people(diary: Diary, places: Sequence[tuple[int, int, int]]) -> Rows:
    """
    Rest, days and weeks of people as linear rows, over (person, day, start) of each variable.

    All shifts are equally long, so those that start within one span of each other are the cliques
    of an interval graph: one row for each says all there is to say about rest.
    """
    by_person: dict[int, list[tuple[float, int, int]]] = {}
    for variable, (person, day, slot) in enumerate(places):
        moment = 24.0 * day + float(diary.axis.start[slot])
        by_person.setdefault(person, []).append((moment, day, variable))
    rows: Rows = []
    for person, held in sorted(by_person.items()):
        held.sort()
        moments = np.array([moment for moment, _, _ in held])
        ends = np.searchsorted(moments, moments + diary.span - EVEN)
        reached = 0
        for begin, end in enumerate(ends.tolist()):
            if end > reached and end - begin > 1:
                rows.append(({v: 1.0 for _, _, v in held[begin:end]}, 0.0, 1.0))
            reached = max(reached, end)
        days: dict[int, dict[int, float]] = {}
        weeks: dict[int, dict[int, float]] = {}
        for _, day, variable in held:
            days.setdefault(day, {})[variable] = 1.0
            weeks.setdefault(int(diary.axis.week[day]), {})[variable] = 1.0
        for day, row in days.items():
            left = diary.most[person, day] - diary.person_day[person, day]
            rows += _if_it_binds(row, float(left))
        for week, row in weeks.items():
            left = diary.person_cap - diary.person_week[person, week]
            rows += _if_it_binds(row, float(left))
    return rows


def _if_it_binds(row: dict[int, float], most: float) -> Rows:
    """The row, unless it says nothing."""
    return [(row, 0.0, most)] if len(row) > most else []


def share_fairly(diary: Diary) -> None:
    """
    Even out the shares of what people offered, dates as they are; then shorten the ways.

    The measure is the sum over people of shifts squared over days offered, which is least where
    all shares are the same. Small plans get the least there is, from HiGHS; large ones have shifts
    handed over from one person to another for as long as it helps.

    Parameters
    ----------
    diary : Diary
        Written on: who has which shift.
    """
    loose = [n for n, s in enumerate(diary.shifts) if s.day >= 0 and (diary.lacks(n) or _loose(s))]
    if not loose or not len(diary.offer):
        return
    if not _share_exactly(diary, loose):
        _hand_over(diary, loose)
        _exchange(diary, loose)


def _loose(shift: Shift) -> list[int]:
    """People of a shift who may be exchanged."""
    return [p for p in shift.people if p not in shift.locked]


def _share_exactly(diary: Diary, loose: Sequence[int]) -> bool:
    """Fairest crews by HiGHS; False, and nothing changed, where there are too many to try."""
    mark, before = len(diary.log), {n: list(diary.shifts[n].people) for n in loose}
    wanted = {n: diary.lacks(n) + len(_loose(diary.shifts[n])) for n in loose}
    full = {n: not diary.lacks(n) for n in loose}
    for n in loose:
        for person in _loose(diary.shifts[n]):
            drop(diary, n, person)
    keys = []
    for n in loose:
        shift = diary.shifts[n]
        fits = free(diary, shift.landing, shift.day, shift.slot)
        fits[shift.people] = False
        keys += [(n, int(p)) for p in np.flatnonzero(fits)]
    values = None
    if keys and len(keys) <= MOST_BINARIES:
        values = _fairest(diary, keys, wanted=wanted, full=full)
    undo(diary, mark)
    if values is None:
        return False
    chosen = {n: set(diary.shifts[n].locked) for n in loose}
    for (n, person), value in zip(keys, values, strict=False):
        if value:
            chosen[n].add(person)
    for n in loose:
        for person in set(before[n]) - chosen[n]:
            drop(diary, n, person)
    for n in loose:
        for person in sorted(chosen[n] - set(diary.shifts[n].people)):
            give(diary, n, person)
    return True


def _fairest(
    diary: Diary, keys: Sequence[tuple[int, int]], *, wanted: dict[int, int], full: dict[int, bool]
) -> Array | None:
    """Which (shift, person) pairs to take; variables after the pairs count shifts of people."""
    km = np.array([diary.km[p, diary.shifts[n].landing] for n, p in keys])
    far = np.nan_to_num(km, nan=np.nanmax(km, initial=1.0) + 1)
    scale = float(diary.offer.max())
    short = [n for n in wanted if not full[n]]
    steps: dict[int, list[int]] = {}
    # Ways decide only among equals; a place filled is worth more than any share.
    cost = (1e-3 / scale * far / max(far.sum(), 1.0)).tolist()
    rows: Rows = []
    by_shift: dict[int, dict[int, float]] = {n: {} for n in wanted}
    by_person: dict[int, dict[int, float]] = {}
    for variable, (n, person) in enumerate(keys):
        by_shift[n][variable] = 1.0
        by_person.setdefault(person, {})[variable] = 1.0
        if n in short:
            cost[variable] -= 4.0 * scale * len(wanted)
    for n, row in by_shift.items():
        rows.append((row, float(wanted[n]) if full[n] else 0.0, float(wanted[n])))
    for person, row in sorted(by_person.items()):
        held = int(diary.load[person])
        steps[person] = list(range(len(cost), len(cost) + len(row)))
        cost += [(2 * (held + k) + 1) / float(diary.offer[person]) for k in range(len(row))]
        rows.append((row | dict.fromkeys(steps[person], -1.0), 0.0, 0.0))
    places = [(p, diary.shifts[n].day, diary.shifts[n].slot) for n, p in keys]
    rows += rules_of_people(diary, places)
    return solve(cost, rows, most=[1.0] * len(cost))


def _hand_over(diary: Diary, loose: Sequence[int]) -> None:
    """Hand single shifts from who has a large share to who has a small one, while it helps."""
    offer = np.where(diary.offer > 0, diary.offer, 1e-9)
    for _ in range(3):
        changed = False
        for n in loose:
            shift = diary.shifts[n]
            km = np.nan_to_num(diary.km[:, shift.landing], nan=1e9)
            for person in _loose(shift):
                drop(diary, n, person)
                fits = free(diary, shift.landing, shift.day, shift.slot)
                fits[shift.people] = False
                fits[person] = True
                who = np.flatnonzero(fits)
                added = np.round((2 * diary.load[who] + 1) / offer[who], 9)
                best = int(who[np.lexsort((who, km[who], added))[0]])
                give(diary, n, best)
                changed |= best != person
        if not changed:
            return


def _exchange(diary: Diary, loose: Sequence[int]) -> None:
    """Let two people exchange shifts where that shortens their ways; shares stay as they are."""
    held = [(n, p) for n in loose for p in _loose(diary.shifts[n])]
    if not held:
        return
    n, p = np.array(held).T
    landing, day, slot = (
        np.array([getattr(diary.shifts[k], name) for k in n]) for name in ("landing", "day", "slot")
    )
    km = np.nan_to_num(diary.km, nan=0.0)
    own = km[p, landing]
    pairs = []
    for a in range(len(held) - 1):
        later = slice(a + 1, None)
        gain = own[a] + own[later] - km[p[a], landing[later]] - km[p[later], landing[a]]
        can = diary.offered[p[a], day[later], slot[later]] & diary.near[p[a], landing[later]]
        can &= diary.offered[p[later], day[a], slot[a]] & diary.near[p[later], landing[a]]
        good = np.flatnonzero(can & (gain > 1e-6) & (p[later] != p[a]))
        best = good[np.argsort(-gain[good], kind="stable")[:PARTNERS]]
        pairs += [(-float(gain[b]), a, a + 1 + int(b)) for b in best]
    for _, a, b in sorted(pairs):
        _try_exchange(diary, (int(n[a]), int(p[a])), (int(n[b]), int(p[b])))


def _try_exchange(diary: Diary, one: tuple[int, int], other: tuple[int, int]) -> None:
    """Exchange two people if both still have these shifts and may have the other's."""
    (n, p), (m, q) = one, other
    if n == m or p not in diary.shifts[n].people or q not in diary.shifts[m].people:
        return
    if q in diary.shifts[n].people or p in diary.shifts[m].people:
        return
    mark = len(diary.log)
    drop(diary, n, p)
    drop(diary, m, q)
    if _fits(diary, n, q):
        give(diary, n, q)
        if _fits(diary, m, p):
            give(diary, m, p)
            return
    undo(diary, mark)


def _fits(diary: Diary, number: int, person: int) -> bool:
    """Whether a person could take a placed shift."""
    shift = diary.shifts[number]
    return bool(free(diary, shift.landing, shift.day, shift.slot)[person])


def codes_in(cells: Iterable[Any]) -> list[str]:
    """Single codes out of cells such as `P1; P2`, each once, in order."""
    found = [
        code.strip()
        for cell in cells
        if isinstance(cell, str)
        for code in cell.split(";")
        if code.strip()
    ]
    return list(dict.fromkeys(found))
