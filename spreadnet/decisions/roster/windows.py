"""Weeks for shifts, and the model window by window where a season is large."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.roster.book import EVEN, Book, Shift, lacks
from spreadnet.decisions.roster.model import Window, add_away, free_cells, need_weeks, solve_window
from spreadnet.decisions.roster.rows import Program

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.roster.book import Need
    from spreadnet.decisions.roster.model import Answer

    Counts = NDArray[np.integer]
    Array = NDArray[np.floating]

MOST_COLUMNS = 4_000  # people in cells of one window
MOST_EXACT = 500  # shifts with crews of several people that get exact answers
MOST_PEOPLE = 12  # looked at for one shift on one date where there are several windows
MOST_ELSEWHERE = 30  # open shifts of other weeks, nearest first, that a window may take
HANDED = 20  # times that all shifts are gone through to even out loads, at most
SWEEPS = 2  # over all windows where there are several
GOLDEN = 0.6180339887  # multiples of it fill 0 to 1 evenly
STAYS = 0.5  # worth of a shift that stays in its week, against 1 for a count nearer to its goal


@dataclass(slots=True, eq=False)
class _Draft:
    """Shifts as they stand while windows are solved, the week of each, weeks done by hand."""

    book: Book
    shifts: list[Shift]
    week: Counts
    goals: Array
    by_hand: set[int]
    fill_only: bool

    def change(self, number: int, **new: object) -> None:
        """Enter a shift anew with some of it changed."""
        self.book.enter(self.shifts[number], -1)
        self.shifts[number] = shift = replace(self.shifts[number], **new)  # type: ignore[arg-type]
        self.book.enter(shift)
        if shift.day >= 0:
            self.week[number] = self.book.offers.axis.week[shift.day]


def schedule(
    book: Book, shifts: Sequence[Shift], *, fill_only: bool
) -> tuple[list[Shift], list[int]]:
    """
    Give shifts their dates and people.

    Parameters
    ----------
    book : Book
        Shifts that are fixed, and what else counts towards limits; dated ones are entered.
    shifts : sequence of Shift
        Fixed ones with, others without a date.
    fill_only : bool
        Whether only as many crews as can be matter: fairness, ways and a second look are left out.

    Returns
    -------
    shifts : list of Shift
        In the same order; those without a date could not be given one.
    by_hand : list of int
        Weeks for which the model found nothing, so that dates and people were given one by one.
    """
    draft = _Draft(book, list(shifts), np.full(len(shifts), -1), np.zeros(0), set(), fill_only)
    for number, shift in enumerate(shifts):
        if shift.day >= 0:
            draft.week[number] = book.offers.axis.week[shift.day]
    loose = [number for number, shift in enumerate(shifts) if not shift.fixed]
    weeks = np.unique(book.offers.axis.week[book.offers.axis.usable])
    if not len(weeks) or not shifts:
        return draft.shifts, []
    draft.goals = _goals(book, draft.shifts)
    _give_weeks(draft, loose)
    windows = _windows(draft, loose, weeks)
    for _ in range(1 if len(windows) == 1 or fill_only else SWEEPS):
        for window in windows:
            _place(draft, window, loose, most=None if len(windows) == 1 else MOST_PEOPLE)
    if len(windows) > 1 and not fill_only:
        _even_out(draft, loose)
    return draft.shifts, sorted(draft.by_hand)


def _goals(book: Book, shifts: Sequence[Shift]) -> Array:
    """
    How many shifts each landing should have had by the end of each week, (L, W).

    They are due at equal distances of the landing's own days: an hour on a day type at which it
    has no shifts can't be used.
    """
    axis = book.offers.axis
    landings, weeks = book.landing_week.shape
    goals = np.zeros((landings, weeks))
    by_landing: dict[int, list[Shift]] = {}
    for shift in shifts:
        by_landing.setdefault(shift.landing, []).append(shift)
    for landing, mine in by_landing.items():
        own = axis.usable & np.isin(axis.weekend, [shift.weekend for shift in mine])
        days = np.cumsum(np.bincount(axis.week[own], minlength=weeks))
        phase = (0.5 + landing * GOLDEN) % 1.0  # or all landings would want the same few days
        due = (np.arange(len(mine)) + phase) / len(mine)
        goals[landing] = np.searchsorted(due, days / max(days[-1], 1) + 1e-9)
    return goals


def _ahead(draft: _Draft, without: Sequence[int]) -> Array:
    """By how many shifts landings are ahead of their goals, some shifts not counted."""
    counted = np.setdiff1d(np.flatnonzero(draft.week >= 0), without)
    landing = np.array([draft.shifts[number].landing for number in counted], int)
    count = np.zeros(draft.goals.shape)
    np.add.at(count, (landing, draft.week[counted]), 1)
    return count.cumsum(axis=1) - draft.goals


def _grouped(draft: _Draft, numbers: Sequence[int]) -> dict[Need, list[int]]:
    """Shifts by need, in order."""
    groups: dict[Need, list[int]] = {}
    for number in numbers:
        groups.setdefault(draft.shifts[number].need, []).append(number)
    return dict(sorted(groups.items()))


def _give_weeks(draft: _Draft, loose: Sequence[int]) -> None:
    """
    Most shifts with a week, near their landings' goals: a flow, so that parts of shifts never win.

    People are not looked at here: windows and their second sweep see to that.
    """
    book, axis = draft.book, draft.book.offers.axis
    groups = _grouped(draft, loose)
    if not groups:
        return
    cells = free_cells(book, list(groups), np.unique(axis.week))
    count = np.array([len(numbers) for numbers in groups.values()])
    wishes = _wishes(draft, groups)
    weeks = need_weeks(cells, wishes, book)
    need, week = weeks.need, weeks.week
    landing = np.array([key[0] for key in groups])[need]
    most = np.minimum(weeks.most, count[need])
    program = Program()
    there, none = program.add(len(need), most=most), program.add(len(count), most=count)
    every = np.arange(len(count))
    program.sums(count, count, (need, there, 1.0), (every, none, 1.0), count=len(count))
    program.at_most(np.column_stack([need, week]), there, weeks.room)
    left = book.offers.landing_cap - book.landing_week[landing, week]
    program.at_most(np.column_stack([landing, week]), there, left)
    ahead = _ahead(draft, loose)
    away = add_away(program, (landing, week, there), ahead=ahead, weeks=np.unique(axis.week))
    cost = np.zeros(program.columns)
    cost[none], cost[away] = 1e4, 1.0
    cost[there[weeks.kept]] = -STAYS
    found = program.solve(cost, least=np.zeros(program.columns), most=np.concatenate(program.most))
    if found is None:
        return
    times = np.rint(found[there]).astype(int)
    for position, numbers in enumerate(groups.values()):
        mine = np.sort(np.repeat(week[need == position], times[need == position])).tolist()
        for number, chosen in _matched(draft, numbers, mine).items():
            draft.week[number] = chosen


def _wishes(
    draft: _Draft, groups: dict[Need, list[int]]
) -> list[tuple[int, int, int, tuple[int, ...]]]:
    """Where earlier shifts were, by position of the need."""
    return [
        (position, *wish)
        for position, numbers in enumerate(groups.values())
        for wish in (draft.shifts[number].wish for number in numbers)
        if wish is not None
    ]


def _matched(draft: _Draft, numbers: Sequence[int], weeks: Sequence[int]) -> dict[int, int]:
    """Weeks to shifts: those that were in one of them before stay in it, the rest go in order."""
    left, axis = list(weeks), draft.book.offers.axis
    chosen = {}
    for number in numbers:
        wish = draft.shifts[number].wish
        if wish is not None and int(axis.week[wish[0]]) in left:
            chosen[number] = int(axis.week[wish[0]])
            left.remove(chosen[number])
    rest = [number for number in numbers if number not in chosen]
    return chosen | dict(zip(rest, left, strict=False))


def _windows(draft: _Draft, loose: Sequence[int], weeks: Counts) -> list[Counts]:
    """The whole season where it is small, else runs of weeks, by the columns they would have."""
    offers = draft.book.offers
    groups = _grouped(draft, loose)
    cells = free_cells(draft.book, list(groups), weeks)
    people = cells.fits.sum(axis=0)
    people[people < offers.crew] = 0
    if people.sum() <= MOST_COLUMNS:
        return [weeks]
    size = np.zeros((len(groups), len(draft.goals[0])))
    np.add.at(size, (cells.need, cells.week), np.minimum(people, MOST_PEOPLE))
    here = np.zeros(size.shape, bool)
    for position, numbers in enumerate(groups.values()):
        mine = draft.week[numbers]
        here[position, mine[mine >= 0]] = True
    windows: list[list[int]] = []
    for week in weeks.tolist():
        longer = [*windows[-1], week] if windows else []
        columns = size[here[:, longer].any(axis=1)][:, longer].sum()
        if longer and columns <= (MOST_COLUMNS / 2 if _rough(draft.book, loose) else MOST_COLUMNS):
            windows[-1] = longer
        else:
            windows.append([week])
    return [np.array(window) for window in windows]


def _rough(book: Book, loose: Sequence[int]) -> bool:
    """Whether crews of several people are so many that a quick answer must do."""
    return book.offers.crew > 1 and len(loose) > MOST_EXACT


def _place(draft: _Draft, weeks: Counts, loose: Sequence[int], *, most: int | None) -> None:
    """Solve one window and write down what was found; halves of it where nothing was."""
    book, shifts = draft.book, draft.shifts
    own = [n for n in loose if draft.week[n] in weeks or (most is None and draft.week[n] < 0)]
    elsewhere = [
        n
        for n in loose
        if shifts[n].day >= 0 and draft.week[n] not in weeks and lacks(book.offers, shifts[n])
    ]
    elsewhere.sort(key=lambda n: (abs(draft.week[n] - weeks).min(), n))
    elsewhere = sorted(elsewhere[:MOST_ELSEWHERE])
    lacking = [
        n
        for n, shift in enumerate(shifts)
        if shift.fixed and draft.week[n] in weeks and lacks(book.offers, shift)
    ]
    if not own and not elsewhere and not lacking:
        return
    before = {n: (shifts[n].day, shifts[n].slot, shifts[n].people) for n in own}
    for n in own:
        draft.change(n, day=-1, slot=-1, people=())
    mine, others = _grouped(draft, own), _grouped(draft, elsewhere)
    needs = sorted({*mine, *others})
    answer = solve_window(
        book,
        Window(
            weeks=weeks,
            needs=needs,
            count=np.array([len(mine.get(need, ())) for need in needs], int),
            elsewhere=np.array([len(others.get(need, ())) for need in needs], int),
            wishes=_wishes(draft, {need: mine.get(need, []) for need in needs}),
            lacking=[shifts[n] for n in lacking],
            ahead=_ahead(draft, own),
            most_people=most,
            rough=_rough(book, loose),
            fill_only=draft.fill_only,
        ),
    )
    if answer is not None:
        _write(draft, answer, needs=needs, mine=mine, others=others)
        for n, people in zip(lacking, answer.joined, strict=True):
            draft.change(n, people=shifts[n].people + people)
    elif any(day >= 0 for day, _, _ in before.values()):  # a second sweep: what was found stays
        for n, (day, slot, people) in before.items():
            draft.change(n, day=day, slot=slot, people=people)
    elif len(weeks) > 1:
        for half in np.array_split(weeks, 2):
            _place(draft, half, loose, most=MOST_PEOPLE)
    else:
        draft.by_hand.update(weeks.tolist())
        for n in own:
            _place_by_hand(draft, n, week=int(draft.week[n]))
        for n in lacking:
            draft.change(n, people=shifts[n].people + book.crew_for(shifts[n]))


def _even_out(draft: _Draft, loose: Sequence[int]) -> None:
    """
    Hand shifts on from one person to another where that lowers the sum of shifts^2 over offers.

    A window sees the loads of the others as they are, so some unevenness is left between windows.
    """
    book, shifts = draft.book, draft.shifts
    offered = np.maximum(book.offers.days, EVEN)
    for _ in range(HANDED):
        moved = False
        for n in loose:
            for person in shifts[n].people:
                shift = shifts[n]
                free = book.free([shift.landing], [shift.day], [shift.slot])[:, 0]
                free[list(shift.people)] = False
                lower = (2 * book.load[person] - 1) / offered[person]
                gain = np.where(free, lower - (2 * book.load + 1) / offered, 0.0)
                if gain.max(initial=0.0) <= EVEN:
                    continue
                km = np.nan_to_num(book.offers.km[:, shift.landing], nan=np.inf)
                taker = int(np.lexsort((km, -np.round(gain, 9)))[0])
                kept = tuple(taker if one == person else one for one in shift.people)
                draft.change(n, people=tuple(sorted(kept)))
                moved = True
        if not moved:
            return


def _write(
    draft: _Draft,
    answer: Answer,
    *,
    needs: Sequence[Need],
    mine: dict[Need, list[int]],
    others: dict[Need, list[int]],
) -> None:
    """Dates and people to shifts; those without a whole crew take what is left."""
    bare: list[tuple[int, int]] = []
    for position, need in enumerate(needs):
        pool = others.get(need, [])
        numbers = mine.get(need, []) + pool[: len(pool) - int(answer.stay[position])]
        for n in numbers:
            draft.change(n, day=-1, slot=-1, people=())
        left = dict(sorted(answer.crews[position].items()))
        chosen = {}
        for n in numbers:
            wish = draft.shifts[n].wish
            if wish is not None and wish[:2] in left:
                chosen[n] = (wish[:2], left.pop(wish[:2]))
        rest = [n for n in numbers if n not in chosen]
        chosen |= dict(zip(rest, left.items(), strict=False))
        for n, ((day, slot), people) in chosen.items():
            draft.change(n, day=day, slot=slot, people=people)
        rest = [n for n in rest if n not in chosen]
        weeks = [week for week, count in answer.bare[position].items() for _ in range(count)]
        draft.week[rest] = -1
        bare += _matched(draft, rest, weeks).items()
    for n, week in bare:
        _place_by_hand(draft, n, week=week, only=True)


def _place_by_hand(draft: _Draft, number: int, *, week: int, only: bool = False) -> None:
    """
    One shift in a week, or near it, where most people are free, with who is free there.

    Where it was before comes first; then days with few shifts of the landing, then of all.
    """
    book, shift = draft.book, draft.shifts[number]
    axis = book.offers.axis
    days, slots = book.cells(shift.need)
    good = book.landing_week[shift.landing, axis.week[days]] < book.offers.landing_cap
    good &= (axis.week[days] == week) | (not only)
    days, slots = days[good], slots[good]
    draft.week[number] = -1
    if not len(days):
        return
    free = book.free(np.full(len(days), shift.landing), days, slots).sum(axis=0)
    wished = np.zeros(len(days), bool)
    if shift.wish is not None:
        wished = (days == shift.wish[0]) & (slots == shift.wish[1])
    lacking = np.maximum(book.offers.crew - free, 0)
    there = (book.taken[shift.landing] > 0).sum(axis=1)[days]
    away = np.abs(axis.week[days] - week)
    first = np.lexsort((slots, days, book.on_day[days], there, lacking, away, ~wished))[0]
    draft.change(number, day=int(days[first]), slot=int(slots[first]))
    draft.change(number, people=book.crew_for(draft.shifts[number]))
