"""Why no plan keeps to all rules: which of them clash, and by how much."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

if TYPE_CHECKING:
    from spreadnet.decisions.plan.rules import Limit, PlanRules


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
    missed, over = _missed(rules, rules.limits)
    if not any(missed) and not over:
        return ""
    whole = sum(missed) + over
    against = [
        limit.name
        for number, limit in enumerate(rules.limits)
        if np.isfinite(limit.most)
        and sum(_total(_missed(rules, [*rules.limits[:number], *rules.limits[number + 1 :]])))
        < whole
    ]
    hours = rules.shift_hours
    lines = [
        f"{limit.name}: {short * hours:g} hours of it can't be placed"
        for limit, short in zip(rules.limits, missed, strict=True)
        if short
    ]
    if over:
        lines.append(f"shifts that are promised: {over * hours:g} hours more than the rules allow")
    if against:
        lines.append(f"what stands against it: {'; '.join(against)}")
    return "\n".join(lines)


def _unit(limit: Limit) -> float:
    """What a limit counts for its longest shift: what is missed is told in shifts."""
    return float(limit.each.max(initial=0.0)) or 1.0


def _total(missed: tuple[list[float], float]) -> tuple[float, float]:
    """Sums of what is missed."""
    return sum(missed[0]), missed[1]


def _missed(rules: PlanRules, limits: list[Limit] | tuple[Limit, ...]) -> tuple[list[float], float]:
    """Shifts missing of each lower limit, and promised ones beyond upper limits, at the fewest."""
    n_cells, n_limits = rules.most.size, len(limits)
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
    if not rows:
        return [0.0] * n_limits, 0.0
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
        shape=(len(rows), n_cells + 2 * n_limits),
    )
    cost = np.concatenate([np.zeros(n_cells), np.ones(2 * n_limits)])
    # Only promised shifts may go beyond an upper limit, never further ones.
    upper = np.concatenate([most, np.full(n_limits, np.inf), beyond])
    solution = milp(
        cost,
        integrality=np.ones(len(cost)),
        bounds=Bounds(np.concatenate([least, np.zeros(2 * n_limits)]), upper),
        constraints=LinearConstraint(table, low, high),
    )
    slack = np.rint(solution.x[n_cells:])
    return list(slack[:n_limits]), float(slack[n_limits:].sum())
