"""The plan as a table: one row a landing and day block with shifts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.plan.why import drop_losses, stand_in, why_lines
from spreadnet.decisions.shifts import unasked
from spreadnet.words import PERMISSION, dropped_words

if TYPE_CHECKING:
    from spreadnet.decisions.hours import Met
    from spreadnet.decisions.shifts import Found, MeanAvoided, PlanRules
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region


def plan_table(
    region: Region,
    evidence: Evidence,
    met: Met,
    found: Found,
    *,
    rules: PlanRules,
    objective: MeanAvoided,
) -> pd.DataFrame:
    """One row a landing and day block with shifts, those worth most first."""
    run, losses = objective.run, drop_losses(objective, found)
    lines = why_lines(region, evidence, run, found, promised=rules.least)
    blocks, n_blocks = run.reach.day_blocks, found.shifts.shape[1]
    names, ids = list(region.landings["name"]), list(region.landings.index)

    def time(d: int) -> str:
        return f"{blocks['day_type'].iloc[d]} {blocks['block'].iloc[d]}"

    rows, cells, asks = [], np.nonzero(found.shifts), unasked(region)
    for why, k, d in zip(lines, *cells, strict=True):
        other = stand_in(found, rules, int(k * n_blocks + d))
        shown = None
        if other is not None:
            to, at = divmod(other, n_blocks)
            shown = (names[to], time(at), float(found.values[to, at]))
        shifts = int(found.shifts[k, d])
        rows.append(
            {
                "landing_id": ids[k],
                "landing": names[k],
                "jurisdiction": region.landings["jurisdiction"].iloc[k],
                "day_type": blocks["day_type"].iloc[d],
                "block": blocks["block"].iloc[d],
                "shifts": shifts,
                "promised": int(rules.least[k, d]),
                "permission": PERMISSION if asks[k] else "",
                "hours": shifts * rules.shift_hours,
                "boats_met": shifts * rules.shift_hours * run.reach.boats[k, d],
                "boats_with_a_gap": shifts * rules.shift_hours * met.with_gap[k, d],
                "avoided_by_one_shift": losses[k, d],
                "why": why,
                "if_dropped": dropped_words(float(losses[k, d]), shown, seasons=run.seasons),
            }
        )
    columns = (
        *("landing_id", "landing", "jurisdiction", "day_type", "block", "shifts", "promised"),
        "permission",
        *("hours", "boats_met", "boats_with_a_gap", "avoided_by_one_shift", "why", "if_dropped"),
    )
    table = pd.DataFrame(rows, columns=list(columns))
    bridging = pd.DataFrame(met.bridging_per_100_hours(*cells))
    at = table.columns.get_loc("avoided_by_one_shift")
    table = pd.concat([table.iloc[:, :at], bridging, table.iloc[:, at:]], axis=1)
    return table.sort_values(
        ["avoided_by_one_shift", "landing_id", "day_type", "block"],
        ascending=[False, True, True, True],
        ignore_index=True,
    )
