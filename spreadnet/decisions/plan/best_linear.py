"""The best plan where every shift of a cell is worth the same: a linear problem, for HiGHS."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

from spreadnet.decisions.hours import steady

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.decisions.plan.rules import PlanRules

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]
    Cells = NDArray[np.integer]
    Rows = list[tuple[Cells, Array, float, float]]  # columns, weights, least, most

MOST_ALIKE = 60  # upper limits by which cells are told apart
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
    least, most = rules.least.ravel().astype(float), rules.most.ravel().astype(float)
    held = None if start is None else start.ravel() > least
    cells = _candidates(scaled, rules, start=start, held=held)
    rows = _limit_rows(rules, cells, least=least, most=most)
    if rows is None:
        return None
    if not len(cells):
        return least.reshape(values.shape)
    n_taken = 0
    if start is not None and held is not None and moves is not None:
        taken = _taken_rows(start.ravel(), held, cells, moves)
        rows, n_taken = rows + taken, len(taken) - 1
    none = np.zeros(n_taken)
    problem = partial(
        milp,
        np.concatenate([-scaled[cells], none]),
        bounds=Bounds(
            np.concatenate([least[cells], none]),
            np.concatenate([most[cells], np.full(n_taken, np.inf)]),
        ),
        constraints=_constraints(rows, len(cells) + n_taken),
    )
    solution = problem()
    shifts = None if solution.x is None else solution.x[: len(cells)]
    if shifts is not None and whole and np.abs(shifts - np.rint(shifts)).max(initial=0.0) > PARTS:
        solution = problem(
            integrality=np.concatenate([np.ones(len(cells)), none]), options={"mip_rel_gap": 0.0}
        )
        shifts = None if solution.x is None else solution.x[: len(cells)]
    if shifts is None:
        return None
    found = least.copy()
    found[cells] = np.rint(shifts) if whole else shifts
    return found.reshape(values.shape)


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
    at_landing = np.full(len(rules.most), np.inf)
    alike, number = np.zeros(len(scaled), np.int64), 0
    for limit in rules.limits[1:]:
        if limit.kind == "landing":
            at_landing[limit.cells[0] // rules.most.shape[1]] = limit.most
        elif np.isfinite(limit.most):
            alike[limit.cells] += 1 << number
            number += 1
            if limit.weights is not None or number > MOST_ALIKE:
                return np.zeros(len(scaled))
    at_landing = np.maximum(at_landing - rules.least.sum(axis=1), 0)
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


def _taken_rows(start: Counts, held: NDArray[np.bool_], cells: Cells, moves: int) -> Rows:
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
