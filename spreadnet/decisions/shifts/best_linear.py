"""The best plan where every shift of a cell is worth the same: a linear problem, for HiGHS."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

from spreadnet.decisions.hours import steady

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.decisions.shifts.rules import PlanRules

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]
    Cells = NDArray[np.integer]
    Rows = list[tuple[Cells, Array, float, float]]  # columns, weights, least, most
    Taken = tuple[Counts, NDArray[np.bool_], int]  # a plan, cells above the least, most moves

MOST_ALIKE = 60  # upper limits by which cells are told apart
OF_A_LANDING = ("landing", "share")  # kinds of limits, each on the cells of one landing
PARTS = 1e-6  # of a shift: less is a whole number in double precision


def best_for(
    values: Array,
    rules: PlanRules,
    *,
    start: Counts | None = None,
    moves: int | None = None,
    whole: bool = True,
) -> Array | None:
    """
    The plan of most value when every shift of a cell is worth the same.

    Parameters
    ----------
    values : array, shape (K, D)
        Value of one shift.
    rules : PlanRules
        What it keeps to.
    start, moves : array of int, int, optional
        A plan of which at most so many shifts may be taken away.
    whole : bool
        Whole shifts; parts of shifts when False, which bounds any plan.

    Returns
    -------
    shifts : array, shape (K, D), or None
        None when nothing keeps to the rules.

    Notes
    -----
    A landing's best day blocks fill up first, so this is water-filling on a curve of straight
    pieces. Solved with HiGHS; values are scaled to 1, since its tolerances are absolute. Mostly
    the best plan in parts of shifts is whole already; only else are whole ones asked for. Cells
    that can't be in the best plan are left out: a state has 28,000, and some hundreds matter.
    """
    scaled = steady(np.maximum(values, 0.0)).ravel()
    held = None if start is None else start.ravel() > rules.least.ravel()
    cells = _candidates(scaled, rules, start=start, held=held)
    taken = None
    if start is not None and held is not None and moves is not None:
        taken = (start.ravel(), held, moves)
    found = _solved(scaled, rules, cells, taken=taken, whole=whole, counted=False)
    if found is None or rules.spreads(found):
        return found
    cells = _spread_candidates(scaled, rules, cells, start=start)
    return _solved(scaled, rules, cells, taken=taken, whole=whole, counted=True)


def _solved(
    scaled: Array,
    rules: PlanRules,
    cells: Cells,
    *,
    taken: Taken | None,
    whole: bool,
    counted: bool,
) -> Array | None:
    """The best plan with further shifts in some cells; landings are counted where asked for."""
    least, most = rules.least.ravel().astype(float), rules.most.ravel().astype(float)
    rows = _limit_rows(rules, cells, least=least, most=most)
    if rows is None:
        return None
    n_cells = n_columns = len(cells)
    whole_numbers, high = [np.ones(n_cells)], [most[cells]]
    if taken is not None:
        more = _taken_rows(*taken, cells)
        rows, count = rows + more, len(more) - 1
        whole_numbers, high = [*whole_numbers, np.zeros(count)], [*high, np.full(count, np.inf)]
        n_columns += count
    if counted:
        more, count = _counting_rows(rules, cells, first=n_columns)
        rows, n_columns = rows + more, n_columns + count
        whole_numbers, high = [*whole_numbers, np.ones(count)], [*high, np.ones(count)]
    if not n_cells:
        return None if counted else least.reshape(rules.most.shape)
    low = np.concatenate([least[cells], np.zeros(n_columns - n_cells)])
    problem = partial(
        milp,
        np.concatenate([-scaled[cells], np.zeros(n_columns - n_cells)]),
        bounds=Bounds(low, np.concatenate(high)),
        constraints=_constraints(rows, n_columns),
    )
    asked = np.concatenate(whole_numbers)
    solution = problem()
    x = solution.x
    asks = asked > 0 if whole else np.zeros(n_columns, bool)
    if counted:  # a landing counts whole or not, whatever the shifts are
        asks[-count:] = True
    if x is not None and np.abs(x[asks] - np.rint(x[asks])).max(initial=0.0) > PARTS:
        x = problem(integrality=asks.astype(float), options={"mip_rel_gap": 0.0}).x
    if x is None:
        return None
    found = least.copy()
    found[cells] = np.rint(x[:n_cells]) if whole else x[:n_cells]
    return found.reshape(rules.most.shape)


def _candidates(
    scaled: Array, rules: PlanRules, *, start: Counts | None, held: NDArray[np.bool_] | None
) -> Cells:
    """Cells that can be in the best plan, by id and block; hours that avoid nothing are not."""
    room = (rules.most > rules.least).ravel()
    wanted = np.zeros(len(scaled), bool)
    for limit in rules.limits:
        if limit.least > 0:
            wanted[limit.cells] = True
    uneven = np.ptp(rules.limits[0].each) > 0  # a short shift may be worth less and still fit
    if start is not None and held is not None and start.sum() >= rules.shifts and not uneven:
        # Every shift that comes in takes the place of one that is worth less.
        floor = np.full(len(scaled), float(scaled[held].min(initial=1.0)))
    else:
        floor = np.zeros(len(scaled)) if uneven else _levels(scaled, rules)
    matter = room & ((wanted | (scaled > 0)) & (wanted | (scaled >= floor)))
    if held is not None:
        matter |= held
    return rules.order[matter[rules.order]]


def _levels(scaled: Array, rules: PlanRules) -> Array:
    """
    Value below which a cell can't be in the best plan, (K * D,).

    Above it, cells that count in the same upper limits (landings' aside) have room for all shifts:
    whatever stood in a cell below would stand better in one of them.
    """
    alike, number = np.zeros(len(scaled), np.int64), 0
    for limit in rules.limits[1:]:
        if limit.kind not in OF_A_LANDING and np.isfinite(limit.most):
            alike[limit.cells] += 1 << number
            number += 1
            if limit.weights is not None or number > MOST_ALIKE:
                return np.zeros(len(scaled))
    at_landing = np.maximum(_most_at(rules) - rules.least.sum(axis=1), 0)
    room = (rules.most - rules.least).ravel()
    landing = np.arange(len(scaled)) // rules.most.shape[1]
    cells = pd.DataFrame({"value": scaled, "alike": alike, "landing": landing, "room": room})
    cells = cells.sort_values("value", ascending=False, kind="stable")
    most, sums = at_landing[cells["landing"]], cells.groupby(["alike", "landing"])["room"].cumsum()
    placed = np.minimum(sums, most) - np.minimum(sums - cells["room"], most)
    left = np.ceil(rules.limits[0].most / rules.longest - PARTS) - rules.least.sum()
    enough = placed.groupby(cells["alike"]).cumsum() >= left
    level = cells["value"].where(enough, 0.0).groupby(cells["alike"]).transform("max")
    return level.sort_index().to_numpy()


def _spread_candidates(
    scaled: Array, rules: PlanRules, cells: Cells, *, start: Counts | None
) -> Cells:
    """
    Cells that can be in the best plan when landings are counted, by id and block.

    A plan has no more landings than shifts: a shift that is there to make its landing count, below
    the best so many landings of its day block, would stand as well at one of those that has none.
    """
    room, values = rules.most > 0, scaled.reshape(rules.most.shape)
    if rules.spread.most is not None:
        few = _among_few(values, rules, rules.spread.most, start=start)
        wanted = few[:, None] & (values > 0)
    else:
        new = room & (rules.worked.sum(axis=1) == 0)[:, None]  # those that would count
        order = np.argsort(-np.where(new, values, -1.0), axis=0, kind="stable")
        wanted = np.zeros(room.shape, bool)
        np.put_along_axis(wanted, order[: max(rules.shifts, 1)], values=True, axis=0)
        wanted.ravel()[cells] = True
    matter = (wanted | (rules.least > 0)) & room
    if start is not None:
        matter |= start > 0
    for limit in rules.limits:
        if limit.least > 0:
            matter.ravel()[limit.cells] |= room.ravel()[limit.cells]
    return rules.order[matter.ravel()[rules.order]]


def _among_few(
    values: Array, rules: PlanRules, few: int, *, start: Counts | None
) -> NDArray[np.bool_]:
    """
    Landings that can be among the few of the best plan, (K,).

    A plan is worth no more than its landings would be if each had all the hours it can take. So a
    landing is left out if, with the best of the others beside it, that is less than a plan
    that there is: the one to start from, or the best at the landings that would be worth most.
    """
    most = _most_at(rules)
    order = np.argsort(-values, axis=1, kind="stable")
    room = np.cumsum(np.take_along_axis(rules.most, order, axis=1), axis=1)
    placed = np.diff(np.minimum(room, most[:, None]), axis=1, prepend=0)
    alone = (np.take_along_axis(values, order, axis=1) * placed).sum(axis=1)
    best = np.argsort(-alone, kind="stable")
    chosen = np.zeros(len(values), bool)
    chosen[best[:few]] = True
    free = replace(rules, spread=replace(rules.spread, most=None))
    some = (chosen[:, None] & (values > 0)).ravel()
    plan = None if start is None else start.astype(float)
    if plan is None:
        cells = rules.order[some[rules.order]]
        plan = _solved(values.ravel(), free, cells, taken=None, whole=True, counted=False)
    if plan is None or not rules.spreads(plan):
        return np.ones(len(values), bool)
    others = alone[best[: few - 1]].sum() + np.where(chosen, 0.0, alone)
    return chosen | (others >= (values * plan).sum() * (1 - PARTS))


def _counting_rows(rules: PlanRules, cells: Cells, *, first: int) -> tuple[Rows, int]:
    """A column for each landing that says whether it has shifts, with the limits on their sum."""
    landings, of = np.unique(cells // rules.most.shape[1], return_inverse=True)
    own = [np.flatnonzero(of == n) for n in range(len(landings))]
    here = first + np.arange(len(landings))
    others = ~np.isin(np.arange(len(rules.most)), landings)
    settled = others & (rules.least.sum(axis=1) > 0)
    rows: Rows = []
    if rules.spread.most is not None:  # shifts only at landings that count
        room = np.minimum(rules.most.ravel()[cells], rules.shifts).astype(float)
        most = _most_at(rules)[landings]
        for n, row in enumerate(own):
            every = np.append(row, here[n])
            rows.append((every, np.append(np.ones(len(row)), -most[n]), -np.inf, 0.0))
            for c in row.tolist() if len(row) > 1 else []:
                rows.append((np.array([c, here[n]]), np.array([1.0, -room[c]]), -np.inf, 0.0))
        rows.append((here, np.ones(len(here)), -np.inf, float(rules.spread.most - settled.sum())))
        return rows, len(landings)
    worked = rules.worked.sum(axis=1) > 0
    count = np.flatnonzero(~worked[landings])
    for k in count:  # a landing counts only with shifts
        every = np.append(own[k], here[k])
        rows.append((every, np.append(np.ones(len(own[k])), -1.0), 0.0, np.inf))
    still = float(rules.spread.least - (settled | worked).sum())
    rows.append((here[count], np.ones(len(count)), still, np.inf))
    return rows, len(landings)


def _most_at(rules: PlanRules) -> Array:
    """Most shifts of each landing by the limits of its own, (K,)."""
    most = np.minimum(rules.most.sum(axis=1), rules.shifts).astype(float)
    for limit in rules.limits:
        if limit.kind in OF_A_LANDING:
            k = limit.cells[0] // rules.most.shape[1]
            most[k] = min(most[k], limit.most)
    return most


def _limit_rows(rules: PlanRules, cells: Cells, *, least: Array, most: Array) -> Rows | None:
    """Limits on the cells that matter; None where the others alone break one."""
    matter = np.zeros(len(least))
    matter[cells] = 1.0
    fixed = rules.sums @ (least * (1 - matter))
    low, high = rules.lower - fixed, rules.upper - fixed
    fewest, utmost = rules.sums @ (least * matter), rules.sums @ (most * matter)
    if (fewest > high + PARTS).any() or (utmost < low - PARTS).any():
        return None
    column = np.full(len(least), -1, np.intp)
    column[cells] = np.arange(len(cells))
    rows: Rows = []
    for number in np.flatnonzero((utmost > high) | (low > fewest)):  # the others can't bind
        limit = rules.limits[number]
        here = column[limit.cells]
        inside = here >= 0
        rows.append((here[inside], limit.each[inside], float(low[number]), float(high[number])))
    return rows


def _taken_rows(start: Counts, held: NDArray[np.bool_], moves: int, cells: Cells) -> Rows:
    """At most so many shifts less than at the start: taken >= before - after, summed."""
    place = np.flatnonzero(held[cells])
    number = len(cells)
    rows: Rows = [
        (np.array([column, number + turn]), np.ones(2), float(start[cells[column]]), np.inf)
        for turn, column in enumerate(place)
    ]
    taken = number + np.arange(len(place))
    return [*rows, (taken, np.ones(len(place)), -np.inf, float(moves))]


def _constraints(rows: Rows, n_columns: int) -> LinearConstraint | tuple[()]:
    """Rows as one sparse table."""
    if not rows:
        return ()
    table = sp.csr_array(
        (
            np.concatenate([weights for _, weights, _, _ in rows]),
            np.concatenate([columns for columns, _, _, _ in rows]),
            np.concatenate([[0], np.cumsum([len(columns) for columns, _, _, _ in rows])]),
        ),
        shape=(len(rows), n_columns),
    )
    return LinearConstraint(table, [low for _, _, low, _ in rows], [high for *_, high in rows])
