"""
Dates and people of the shifts of some weeks, as one whole-number program in three solves.

First as many shifts as can be get a whole crew, then the shares of what people offered are made
even (sum of squares, never the largest alone: who has least would be forgotten), then ways are
short and each landing's shifts evenly spread. Each solve holds what those before it found.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from spreadnet.decisions.roster.book import EVEN, lacks
from spreadnet.decisions.roster.rows import Program

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.roster.book import Book, Need, Shift

    Flags = NDArray[np.bool_]
    Counts = NDArray[np.integer]
    Array = NDArray[np.floating]

EXACT_COLUMNS = 4_000  # people in cells up to which the least is asked for, not one near it
NEAR_LEAST = 0.01  # how near, relative, where there are more
FEW_NODES = 20  # of branch and bound, where it is rough and for ways of crews
EVEN_KM = 15.0  # km worth going for a landing's count of shifts nearer by one to its goal in a week
NO_DATE, NO_CREW, KEPT = 1000.0, 10.0, 9.0  # costs: a shift undated, uncrewed; worth of all kept


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """
    Shifts to be placed in some weeks while all else stays as it is.

    Attributes
    ----------
    weeks : array, shape (T,)
        Consecutive weeks.
    needs : list of Need
        N of them, in order.
    count, elsewhere : arrays, shape (N,)
        Shifts to be placed here; open ones of other weeks that may come here if that helps.
    wishes : list of (need, day, start, people)
        Where shifts of an earlier plan were, by position of the need.
    lacking : list of Shift
        Shifts with a date in these weeks that stay there but lack people.
    ahead : array, shape (L, W)
        By how many shifts all else is ahead of a landing's goals at the end of each week.
    most_people : int or None
        Most people looked at for one shift on one date.
    rough : bool
        Whether a quick answer is asked for: crews of several people in a large season.
    fill_only : bool
        Whether fairness and ways are left aside.
    """

    weeks: Counts
    needs: Sequence[Need]
    count: Counts
    elsewhere: Counts
    wishes: Sequence[tuple[int, int, int, tuple[int, ...]]]
    lacking: Sequence[Shift]
    ahead: Array
    most_people: int | None
    rough: bool
    fill_only: bool


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """
    What was found for a window.

    Attributes
    ----------
    crews : list of dict
        For each need, the people on each (day, start) with a whole crew.
    bare : list of dict
        For each need, how many have only a date in each week.
    stay : array, shape (N,)
        Open shifts of other weeks that stay there.
    joined : list of tuple
        People for each of the lacking.
    """

    crews: list[dict[tuple[int, int], tuple[int, ...]]]
    bare: list[dict[int, int]]
    stay: Counts
    joined: list[tuple[int, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """
    Free dates and starts of needs, C of them, and who could go there.

    Attributes
    ----------
    need, day, slot, week, landing : arrays, shape (C,)
        Positions.
    fits : array, shape (P, C)
        Whether the person could go.
    """

    need: Counts
    day: Counts
    slot: Counts
    week: Counts
    landing: Counts
    fits: Flags


@dataclass(frozen=True, slots=True, eq=False)
class Weeks:
    """
    Needs and weeks with free cells; twice where earlier shifts of the need were in that week.

    Attributes
    ----------
    need, week : arrays, shape (V,)
        Positions.
    room, most : arrays, shape (V,)
        Free cells then, both times; most shifts in this column.
    kept : array, shape (V,)
        Whether it is for shifts that were in that week.
    """

    need: Counts
    week: Counts
    room: Counts
    most: Counts
    kept: Flags


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Columns of a program that say where shifts are and who goes, with what they stand for."""

    cells: Cells
    crew: Counts  # a whole crew is in the cell
    crew_cell: Counts
    goes: Counts  # a person is in the cell
    goes_cell: Counts
    goes_who: Counts
    bare: Counts  # shifts of a need with a date in a week and no whole crew
    weeks: Weeks
    stay: Counts  # open shifts of a need that stay in other weeks
    none: Counts  # shifts of a need without a date
    joins: Counts  # a person comes to a shift that stays where it is
    joins_shift: Counts
    joins_who: Counts


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    """Columns that count people's shifts: on a date and start, and one after the other."""

    works: Counts
    works_who: Counts
    step: Counts
    step_who: Counts
    step_number: Counts


def free_cells(book: Book, needs: Sequence[Need], weeks: Counts) -> Cells:
    """
    Free dates and starts of needs in some weeks, with all who could go there.

    Parameters
    ----------
    book : Book
        What is taken.
    needs : sequence of Need
        Landing, day type, block of each.
    weeks : array of int
        Weeks to look in.

    Returns
    -------
    cells : Cells
        By need, day and start.
    """
    axis = book.offers.axis
    parts = [np.array(book.cells(need)).reshape(2, -1) for need in needs]
    need = np.repeat(np.arange(len(needs)), [part.shape[1] for part in parts])
    day, slot = np.concatenate([np.zeros((2, 0), int), *parts], axis=1)
    landing = np.array([n[0] for n in needs], int)[need]
    good = np.isin(axis.week[day], weeks)
    good &= book.landing_week[landing, axis.week[day]] < book.offers.landing_cap
    need, day, slot, landing = need[good], day[good], slot[good], landing[good]
    return Cells(need, day, slot, axis.week[day], landing, book.free(landing, day, slot))


def need_weeks(
    cells: Cells, wishes: Sequence[tuple[int, int, int, tuple[int, ...]]], book: Book
) -> Weeks:
    """
    Needs and weeks in which there are free cells.

    Parameters
    ----------
    cells : Cells
        Free dates and starts.
    wishes : list of (need, day, start, people)
        Where earlier shifts were.
    book : Book
        For the weeks of days.

    Returns
    -------
    weeks : Weeks
        By need and week, those for shifts that were there last.
    """
    keys, room = np.unique(np.column_stack([cells.need, cells.week]), axis=0, return_counts=True)
    were = Counter((need, int(book.offers.axis.week[day])) for need, day, *_ in wishes)
    count = np.array([were[need, week] for need, week in keys.tolist()], int)
    some = np.flatnonzero(count)
    need, week = np.concatenate([keys, keys[some]]).T
    return Weeks(
        need,
        week,
        room=np.concatenate([room, room[some]]),
        most=np.concatenate([room, count[some]]),
        kept=np.arange(len(need)) >= len(keys),
    )


def solve_window(book: Book, window: Window) -> Answer | None:
    """
    Place the shifts of a window: fill, then fairness, then ways.

    Parameters
    ----------
    book : Book
        All else that is taken.
    window : Window
        What is to be placed.

    Returns
    -------
    answer : Answer or None
        None where nothing was found within the nodes of branch and bound.
    """
    program = Program()
    places = _add_places(program, book, window)
    _add_place_rows(program, places, book, window)
    work = _add_work(program, places, book, window)
    away = add_away(program, _counted(places, window), ahead=window.ahead, weeks=window.weeks)
    kept = _kept_columns(places, window)
    undated, short, made = (
        _add_total(program, part)
        for part in (places.none, np.concatenate([places.bare, places.stay]), places.joins)
    )
    given = _how_hard(places, window)
    least, most = np.zeros(program.columns), np.concatenate(program.most)

    cost = np.zeros(program.columns)
    cost[[undated, short, made]] = NO_DATE, NO_CREW, -NO_CREW / book.offers.crew
    cost[kept] = -KEPT / (most[kept].sum() + 1)
    found = program.solve(cost, least=least, most=most, **given)
    if found is None or window.fill_only:
        return None if found is None else _answer(places, found, window)
    most[[undated, short]] = np.rint(found[[undated, short]])
    least[made], least[kept] = np.rint(found[made]), np.rint(found[kept])

    cost = np.zeros(program.columns)
    worked = book.load[work.step_who] + work.step_number
    cost[work.step] = (2 * worked + 1) / book.offers.days[work.step_who]
    fair = program.solve(cost, least=least, most=most, **given)
    found = found if fair is None else fair
    load = np.bincount(work.works_who, found[work.works], minlength=len(book.load))
    most[work.step] = least[work.step] = work.step_number < np.rint(load)[work.step_who]

    if given["loose"] is not None:
        most[places.crew] = least[places.crew] = np.rint(found[places.crew])
    if book.offers.crew > 1:  # ways of crews take long to prove the shortest
        given |= {"gap": NEAR_LEAST, "nodes": FEW_NODES}
    ways = _ways(program, places, away, book, window)
    near = program.solve(ways, least=least, most=most, **given)
    return _answer(places, found if near is None else near, window)


def _how_hard(places: _Places, window: Window) -> dict[str, Any]:
    """
    How near the least answers must be.

    Where it is rough, people are whole by luck, which is asked for only where it fails, and dates
    stay when ways are shortened.
    """
    if window.rough:
        return {"gap": NEAR_LEAST, "nodes": FEW_NODES, "loose": places.goes}
    return {"gap": 0.0 if len(places.goes) <= EXACT_COLUMNS else NEAR_LEAST, "loose": None}


def _add_total(program: Program, columns: Counts) -> int:
    """A column that is the sum of others."""
    (total,) = program.add(1, most=np.inf).tolist()
    program.sums(0, 0, (0, columns, 1.0), (0, np.array([total]), -1.0))
    return int(total)


def _ways(program: Program, places: _Places, away: Counts, book: Book, window: Window) -> Array:
    """Costs of the last solve: kilometres, and counts of landings away from their goals."""
    km = book.offers.km
    far = np.nan_to_num(km, nan=float(np.nanmax(km, initial=0.0)) + 1)
    cost = np.zeros(program.columns)
    cost[places.goes] = far[places.goes_who, places.cells.landing[places.goes_cell]]
    there = np.array([shift.landing for shift in window.lacking], int)
    cost[places.joins] = far[places.joins_who, there[places.joins_shift]]
    cost[away] = EVEN_KM
    return cost


def _looked_at(cells: Cells, book: Book, window: Window) -> Flags:
    """Who is looked at in each cell: all who fit, or those with small shares who live near."""
    if window.most_people is None or not cells.fits.size:
        return cells.fits
    most = max(window.most_people, 4 * book.offers.crew)
    far = np.where(cells.fits, np.nan_to_num(book.offers.km, nan=1e9)[:, cells.landing], np.inf)
    near = _ranks(far)
    _, share = np.unique(book.shares_after().round(9), return_inverse=True)
    rank = np.where(near < most // 2, -1.0, near + share[:, None])
    rank[~cells.fits] = np.inf
    rank[_wished(cells, window)[1]] = -2.0
    return cells.fits & (_ranks(rank) < most)


def _wished(cells: Cells, window: Window) -> tuple[Flags, Flags]:
    """Cells in which earlier shifts were, (C,), and their people who fit, (P, C)."""
    at = np.zeros(len(cells.day), bool)
    who = np.zeros(cells.fits.shape, bool)
    for need, day, slot, people in window.wishes:
        here = (cells.need == need) & (cells.day == day) & (cells.slot == slot)
        at |= here
        who[np.ix_(list(people), here)] = True
    return at, who & cells.fits


def _ranks(table: Array) -> Counts:
    """Places of rows in each column, least first."""
    return np.argsort(np.argsort(table, axis=0, kind="stable"), axis=0, kind="stable")


def _add_places(program: Program, book: Book, window: Window) -> _Places:
    """Columns of where shifts are and who goes."""
    cells = free_cells(book, window.needs, window.weeks)
    fits = _looked_at(cells, book, window)
    enough = np.flatnonzero(fits.sum(axis=0) >= book.offers.crew)
    at, who = np.nonzero(fits[:, enough].T)
    weeks = need_weeks(cells, window.wishes, book)
    wanted = window.count + window.elsewhere
    joins = [
        (number, person)
        for number, shift in enumerate(window.lacking)
        for person in np.flatnonzero(book.free([shift.landing], [shift.day], [shift.slot])[:, 0])
        if person not in shift.people
    ]
    joins_shift, joins_who = np.array(joins, int).reshape(-1, 2).T
    return _Places(
        cells,
        crew=program.add(len(enough), whole=book.offers.crew > 1),
        crew_cell=enough,
        goes=program.add(len(at), whole=True),
        goes_cell=enough[at],
        goes_who=who,
        bare=program.add(
            len(weeks.need), most=np.minimum(wanted[weeks.need], weeks.most), whole=True
        ),
        weeks=weeks,
        stay=program.add(len(wanted), most=window.elsewhere),
        none=program.add(len(wanted), most=wanted),
        joins=program.add(len(joins), whole=True),
        joins_shift=joins_shift,
        joins_who=joins_who,
    )


def _add_place_rows(program: Program, places: _Places, book: Book, window: Window) -> None:
    """A crew is whole or not there; every shift is somewhere; weeks of landings are not passed."""
    cells, offers = places.cells, book.offers
    number = np.zeros(len(cells.day), int)
    number[places.crew_cell] = np.arange(len(places.crew))
    whole = (np.arange(len(places.crew)), places.crew, -float(offers.crew))
    program.sums(
        *(0, 0, (number[places.goes_cell], places.goes, 1.0), whole), count=len(places.crew)
    )
    crew_need = cells.need[places.crew_cell]
    every = np.arange(len(window.needs))
    wanted = window.count + window.elsewhere
    program.sums(
        *(wanted, wanted, (crew_need, places.crew, 1.0), (places.weeks.need, places.bare, 1.0)),
        *((every, places.none, 1.0), (every, places.stay, 1.0)),
        count=len(every),
    )
    landing, week, both = _counted(places, window)
    need = np.concatenate([crew_need, places.weeks.need])
    room = np.zeros((len(every), book.landing_week.shape[1]), int)
    room[places.weeks.need, places.weeks.week] = places.weeks.room
    program.at_most(np.column_stack([need, week]), both, room[need, week])
    left = offers.landing_cap - book.landing_week[landing, week]
    program.at_most(np.column_stack([landing, week]), both, left)
    open_elsewhere = window.elsewhere[places.weeks.need] > 0  # these come for a crew or not at all
    need = places.weeks.need[open_elsewhere]
    program.at_most(need, places.bare[open_elsewhere], window.count[need])
    lacking = np.array([lacks(offers, shift) for shift in window.lacking], int)
    program.at_most(places.joins_shift, places.joins, lacking[places.joins_shift])


def _counted(places: _Places, window: Window) -> tuple[Counts, Counts, Counts]:
    """Landing, week and column of all that counts for landings: with a crew, and without."""
    cells = places.cells
    need = np.concatenate([cells.need[places.crew_cell], places.weeks.need])
    week = np.concatenate([cells.week[places.crew_cell], places.weeks.week])
    landing = np.array([n[0] for n in window.needs], int)[need]
    return landing, week, np.concatenate([places.crew, places.bare])


def _add_work(program: Program, places: _Places, book: Book, window: Window) -> _Work:
    """People's shifts on each date and start, with rest, days and weeks; then one by one."""
    offers, cells = book.offers, places.cells
    day_at = np.array([shift.day for shift in window.lacking], int)[places.joins_shift]
    slot_at = np.array([shift.slot for shift in window.lacking], int)[places.joins_shift]
    each = np.column_stack(
        [
            np.concatenate([places.goes_who, places.joins_who]),
            np.concatenate([cells.day[places.goes_cell], day_at]),
            np.concatenate([cells.slot[places.goes_cell], slot_at]),
        ]
    )
    keys, group = np.unique(each, axis=0, return_inverse=True)
    who, day, slot = keys.T
    works = program.add(len(keys))
    columns = np.concatenate([places.goes, places.joins])
    same = (np.arange(len(keys)), works, -1.0)
    program.sums(0, 0, (group.reshape(-1), columns, 1.0), same, count=len(keys))
    _add_rest(program, who, 24.0 * day + offers.axis.start[slot], works=works, span=offers.span)
    left = offers.most[who, day] - book.person_day[who, day]
    program.at_most(np.column_stack([who, day]), works, left)
    week = offers.axis.week[day]
    left = offers.person_cap - book.person_week[who, week]
    program.at_most(np.column_stack([who, week]), works, left)
    room = (offers.person_cap - book.person_week[:, window.weeks]).clip(0).sum(axis=1)
    most = np.minimum(np.bincount(who, minlength=len(room)), room)
    step_who = np.repeat(np.arange(len(most)), most)
    step = program.add(len(step_who))
    program.sums(0, 0, (who, works, 1.0), (step_who, step, -1.0), count=len(most))
    number = np.arange(len(step_who)) - np.repeat(np.cumsum(most) - most, most)
    return _Work(works, who, step, step_who, number)


def _add_rest(program: Program, who: Counts, moment: Array, *, works: Counts, span: float) -> None:
    """
    Rest of people, from whole starts by person.

    All shifts are equally long, so those that start within one span of each other are the cliques
    of an interval graph: one row for each says all there is to say about rest.
    """
    apart = moment.max(initial=0.0) + 2 * span + 1
    line = who * apart + moment
    order = np.argsort(line, kind="stable")
    line = line[order]
    ends = np.searchsorted(line, line + span - EVEN)
    before = np.concatenate([[0], np.maximum.accumulate(ends)[:-1]]).astype(int)[: len(ends)]
    begins = np.arange(len(ends))
    good = (ends > before) & (ends - begins > 1)
    begins, sizes = begins[good], (ends - begins)[good]
    row = np.repeat(np.arange(len(sizes)), sizes)
    place = np.arange(len(row)) - np.repeat(np.cumsum(sizes) - sizes, sizes) + begins[row]
    program.sums(-np.inf, 1, (row, works[order[place]], 1.0), count=len(sizes))


def add_away(
    program: Program, shifts: tuple[Counts, Counts, Counts], *, ahead: Array, weeks: Counts
) -> Counts:
    """
    Columns of how far each landing's count is above or below its goals at the end of each week.

    Stock and backlog from week to week: counts summed anew for each week would be many times the
    entries.

    Parameters
    ----------
    program : Program
        Added to.
    shifts : (landing, week, column)
        What counts, and where.
    ahead : array, shape (L, W)
        By how many shifts all else is ahead of the goals at the end of each week.
    weeks : array, shape (T,)
        Consecutive weeks.

    Returns
    -------
    away : array of int
        Columns, all of which cost the same.
    """
    landing, week, columns = shifts
    landings, many = np.unique(landing), len(weeks)
    size = len(landings) * many
    over, under = program.add(size, most=np.inf), program.add(size, most=np.inf)
    row = np.arange(size)
    later = row[row % many > 0]
    given = np.diff(ahead[landings][:, weeks], axis=1, prepend=0.0).reshape(-1)
    program.sums(
        *(given, given, (row, over, 1.0), (row, under, -1.0)),
        *((later, over[later - 1], -1.0), (later, under[later - 1], 1.0)),
        (np.searchsorted(landings, landing) * many + week - weeks[0], columns, -1.0),
        count=size,
    )
    return np.concatenate([over, under])


def _kept_columns(places: _Places, window: Window) -> Counts:
    """Columns of earlier dates and people that stay, and of open shifts that stay in their week."""
    cells, people = _wished(places.cells, window)
    parts = (
        places.crew[cells[places.crew_cell]],
        places.goes[people[places.goes_who, places.goes_cell]],
        places.bare[places.weeks.kept],
        places.stay[window.elsewhere > 0],
    )
    return np.concatenate(parts)


def _answer(places: _Places, found: Array, window: Window) -> Answer:
    """Columns as dates and people."""
    cells, size = places.cells, len(window.needs)
    crews: list[dict[tuple[int, int], tuple[int, ...]]] = [{} for _ in range(size)]
    for cell in places.crew_cell[found[places.crew] > 0.5].tolist():
        crews[cells.need[cell]][int(cells.day[cell]), int(cells.slot[cell])] = ()
    goes = found[places.goes] > 0.5
    for cell, who in zip(
        places.goes_cell[goes].tolist(), places.goes_who[goes].tolist(), strict=True
    ):
        crews[cells.need[cell]][int(cells.day[cell]), int(cells.slot[cell])] += (who,)
    bare: list[dict[int, int]] = [{} for _ in range(size)]
    for need, week, count in zip(
        places.weeks.need, places.weeks.week, found[places.bare], strict=True
    ):
        if count:
            bare[need][int(week)] = bare[need].get(int(week), 0) + int(count)
    joined: list[tuple[int, ...]] = [() for _ in window.lacking]
    comes = found[places.joins] > 0.5
    for number, who in zip(
        places.joins_shift[comes].tolist(), places.joins_who[comes].tolist(), strict=True
    ):
        joined[number] += (who,)
    return Answer(crews, bare, np.rint(found[places.stay]).astype(int), joined)
