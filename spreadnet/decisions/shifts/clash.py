"""Why no plan keeps to all rules: which of them clash, and by how much."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

if TYPE_CHECKING:
    from spreadnet.decisions.shifts.rules import Limit, PlanRules


def clash_words(rules: PlanRules) -> str:
    """
    What is asked too much, by how much, and which other rule stands against it.

    Parameters
    ----------
    rules : PlanRules
        Rules that no plan keeps to.

    Returns
    -------
    words : str
        One line a rule that can't be met; empty where a plan keeps to all.

    Notes
    -----
    The fewest shifts by which lower limits must be missed, or the hours exceeded by shifts that
    are promised, found with HiGHS. A rule stands against it if less is missed without it.
    """
    missed, over, landings = _missed(rules)
    if not any(missed) and not over and not landings:
        return ""
    whole = sum(missed) + over + landings
    against = [one for one in _single(rules) if _total(_missed(rules.dropping(one))) < whole]
    hours = rules.shift_hours
    lines = [
        f"{limit.name}: {short * hours:g} hours of it can't be placed"
        for limit, short in zip(rules.limits, missed, strict=True)
        if short
    ]
    if over:
        lines.append(f"shifts that are promised: {over * hours:g} hours more than the rules allow")
    if landings:
        lines.append(
            f"least_landings, {rules.spread.least}: {landings:g} of them can't have a shift"
        )
        able = int(((rules.most > 0).any(axis=1) | (rules.worked > 0).any(axis=1)).sum())
        if able < rules.spread.least:
            lines.append(f"landings where a shift can be: {able}")
    if against:
        lines.append(f"what stands against it: {'; '.join(limit.name for limit in against)}")
    return "\n".join(lines)


def _single(rules: PlanRules) -> list[Limit]:
    """Upper limits of the kinds without which less is missed: only these are tried one by one."""
    kinds = {limit.kind for limit in rules.limits if np.isfinite(limit.most)}
    whole = _total(_missed(rules))
    helping = {kind for kind in kinds if _total(_missed(rules.without(kind))) < whole}
    return [one for one in rules.limits if one.kind in helping and np.isfinite(one.most)]


def _unit(limit: Limit) -> float:
    """What a limit counts for its longest shift: what is missed is told in shifts."""
    return float(limit.each.max(initial=0.0)) or 1.0


def _total(missed: tuple[list[float], float, float]) -> float:
    """Sum of what is missed."""
    return sum(missed[0]) + missed[1] + missed[2]


def _missed(rules: PlanRules) -> tuple[list[float], float, float]:
    """Fewest shifts missing of each lower limit, promised beyond upper ones, landings missing."""
    limits = rules.limits
    n_cells, n_limits, n_landings = rules.most.size, len(limits), len(rules.most)
    least, most = rules.least.ravel().astype(float), rules.most.ravel().astype(float)
    rows, low, high = [], [], []
    for number, limit in enumerate(limits):
        cells = np.append(limit.cells, n_cells + number)
        unit = _unit(limit)
        each = limit.each / unit
        if limit.least > 0:  # placed + missing >= least
            rows.append((cells, np.append(each, 1.0)))
            low.append(limit.least / unit)
            high.append(np.inf)
        if np.isfinite(limit.most):  # placed - beyond <= most
            cells = np.append(limit.cells, n_cells + n_limits + number)
            rows.append((cells, np.append(each, -1.0)))
            low.append(-np.inf)
            high.append(limit.most / unit)
    first = n_cells + 2 * n_limits
    n_columns = first + n_landings + 1
    still = rules.spread.least - int((rules.worked.sum(axis=1) > 0).sum())
    if still > 0:  # landings with shifts + missing >= least; a landing counts only with shifts
        free = np.flatnonzero(rules.worked.sum(axis=1) == 0)
        table = np.arange(n_cells).reshape(rules.most.shape)
        rows += [
            (np.append(table[k], first + k), np.append(np.ones(len(table[k])), -1.0)) for k in free
        ]
        rows.append((np.append(first + free, n_columns - 1), np.ones(len(free) + 1)))
        low += [*np.zeros(len(free)), float(still)]
        high += [np.inf] * (len(free) + 1)
    if not rows:
        return [0.0] * n_limits, 0.0, 0.0
    beyond = [
        max(np.ceil((least[one.cells] @ one.each - one.most) / _unit(one)), 0.0) for one in limits
    ]
    starts = np.concatenate([[0], np.cumsum([len(cells) for cells, _ in rows])])
    table = sp.csr_array(
        (
            np.concatenate([weights for _, weights in rows]),
            np.concatenate([cells for cells, _ in rows]),
            starts,
        ),
        shape=(len(rows), n_columns),
    )
    none = np.zeros(n_landings)
    cost = np.concatenate([np.zeros(n_cells), np.ones(2 * n_limits), none, [1.0]])
    # Only promised shifts may go beyond an upper limit, never further ones.
    upper = np.concatenate([most, np.full(n_limits, np.inf), beyond, none + 1, [np.inf]])
    solution = milp(
        cost,
        integrality=np.ones(n_columns),
        bounds=Bounds(np.concatenate([least, np.zeros(n_columns - n_cells)]), upper),
        constraints=LinearConstraint(table, low, high),
    )
    slack = np.rint(solution.x[n_cells:first])
    missing = float(np.rint(solution.x[-1]))
    return list(slack[:n_limits]), float(slack[n_limits:].sum()), missing
