"""The plan as a table: one row a landing and day block with shifts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from spreadnet.decisions.plan.why import drop_losses, stand_in, why_lines
from spreadnet.decisions.shifts import unasked
from spreadnet.words import (
    COUNTING,
    EDUCATION,
    PERMISSION,
    counting_words,
    dropped_words,
    uncounted_words,
)

if TYPE_CHECKING:
    from spreadnet.decisions.hours import Met
    from spreadnet.decisions.plan.counting import Counting
    from spreadnet.decisions.shifts import Found, MeanAvoided, PlanRules
    from spreadnet.decisions.surveys import SurveyList
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region


COLUMNS = (
    *("landing_id", "landing", "jurisdiction", "day_type", "block", "kind", "shifts", "promised"),
    *("permission", "hours", "boats_met", "boats_with_a_gap", "avoided_by_one_shift"),
    *("gain_by_counting", "why", "if_dropped"),
)
OF_A_ROW = {
    *("kind", "shifts", "promised", "avoided_by_one_shift", "gain_by_counting", "why", "if_dropped")
}


def plan_table(
    region: Region,
    evidence: Evidence,
    met: Met,
    found: Found,
    *,
    rules: PlanRules,
    objective: MeanAvoided,
    counting: Counting,
) -> pd.DataFrame:
    """One row a landing and day block with shifts, those worth most first, counting last."""
    run, blocks = objective.run, objective.run.reach.day_blocks
    rows = _educating_rows(region, evidence, found, rules=rules, objective=objective)
    counted = np.nonzero(counting.shifts)
    rows += [
        _counting_row(counting, int(k), int(d), seasons=run.seasons)
        for k, d in zip(*counted, strict=True)
    ]
    cells = zip(np.nonzero(found.shifts), counted, strict=True)
    k, d = (np.concatenate(pair) for pair in cells)
    table = pd.DataFrame(rows, columns=[name for name in COLUMNS if name in OF_A_ROW])
    hours = table["shifts"].to_numpy(float) * rules.shift_hours
    landings = region.landings.iloc[k]
    table = table.assign(
        landing_id=landings.index,
        landing=landings["name"].to_numpy(),
        jurisdiction=landings["jurisdiction"].to_numpy(),
        day_type=blocks["day_type"].to_numpy()[d],
        block=blocks["block"].to_numpy()[d],
        permission=np.where(unasked(region)[k], PERMISSION, ""),
        hours=hours,
        boats_met=hours * run.reach.boats[k, d],
        boats_with_a_gap=hours * met.with_gap[k, d],
        **met.bridging_per_100_hours(k, d),
    )
    bridging = [name for name in table.columns if name not in COLUMNS]
    at = COLUMNS.index("avoided_by_one_shift")
    table = table[[*COLUMNS[:at], *bridging, *COLUMNS[at:]]]
    return table.sort_values(
        ["kind", "avoided_by_one_shift", "gain_by_counting", "landing_id", "day_type", "block"],
        ascending=[False, False, False, True, True, True],
        ignore_index=True,
    )


def _educating_rows(
    region: Region,
    evidence: Evidence,
    found: Found,
    *,
    rules: PlanRules,
    objective: MeanAvoided,
) -> list[dict[str, Any]]:
    """What shifts for education avoid, why, and what would change without one."""
    run, losses = objective.run, drop_losses(objective, found)
    lines = why_lines(region, evidence, run, found, promised=rules.least)
    blocks, n_blocks = run.reach.day_blocks, found.shifts.shape[1]
    times = list(blocks["day_type"] + " " + blocks["block"])
    rows: list[dict[str, Any]] = []
    for why, k, d in zip(lines, *np.nonzero(found.shifts), strict=True):
        other = stand_in(found, rules, int(k * n_blocks + d))
        shown = None
        if other is not None:
            to, at = divmod(other, n_blocks)
            shown = (region.landings["name"].iloc[to], times[at], float(found.values[to, at]))
        rows.append(
            {
                "kind": EDUCATION,
                "shifts": int(found.shifts[k, d]),
                "promised": int(rules.least[k, d]),
                "avoided_by_one_shift": losses[k, d],
                "gain_by_counting": np.nan,
                "why": why,
                "if_dropped": dropped_words(float(losses[k, d]), shown, seasons=run.seasons),
            }
        )
    return rows


def _counting_row(counting: Counting, k: int, d: int, *, seasons: int) -> dict[str, Any]:
    """What a shift for counting tells and gains."""
    survey: SurveyList = counting.survey  # type: ignore[assignment]
    told, instead = survey.table.iloc[k], float(counting.instead[k])
    return {
        "kind": COUNTING,
        "shifts": int(counting.shifts[k, d]),
        "promised": 0,
        "avoided_by_one_shift": 0.0,
        "gain_by_counting": float(counting.gain[k]),
        "why": counting_words(told, gain=float(counting.gain[k]), seasons=seasons),
        "if_dropped": uncounted_words(instead),
    }


def kinds_table(table: pd.DataFrame) -> pd.DataFrame:
    """
    Totals of a plan by kind of shift.

    Parameters
    ----------
    table : DataFrame
        Result of `plan_table`.

    Returns
    -------
    kinds : DataFrame, index kind
        `shifts`, `hours`, and `gain_by_counting`, each landing's taken alone.
    """
    sums = table.groupby("kind")[["shifts", "hours", "gain_by_counting"]].sum()
    return sums.reindex([EDUCATION, COUNTING], fill_value=0)
