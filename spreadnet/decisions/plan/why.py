"""Why each shift stands in the plan, and what would change without it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.ranking import assumed_lakes, attribute
from spreadnet.decisions.shifts import SMALL
from spreadnet.words import OUTSIDE, shift_words, side_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.decisions.ranking import Attribution
    from spreadnet.decisions.shifts import Found, Objective, PlanRules
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

EXACT = 80_000  # cells with shifts times landings up to which each is dropped in full runs
TELLING = 0.15  # share of the good on one side above which its lake is named


def drop_losses(objective: Objective, found: Found) -> Array:
    """
    What one shift fewer in each cell would no longer avoid.

    Parameters
    ----------
    objective : Objective
        What the plan is for.
    found : Found
        The plan.

    Returns
    -------
    losses : array, shape (K, D)
        0 where there is no shift. By full runs in small regions, by the slope beyond.
    """
    flat = found.shifts.ravel()
    held = np.flatnonzero(flat)
    losses = np.zeros(len(flat))
    if len(held) * len(found.shifts) > EXACT:
        losses[held] = found.values.ravel()[held]
    elif len(held):
        fewer = np.tile(flat, (len(held), 1))
        fewer[np.arange(len(held)), held] -= 1
        left = objective.avoided([one.reshape(found.shifts.shape) for one in fewer])
        losses[held] = np.maximum(found.avoided - left, 0.0)
    return losses.reshape(found.shifts.shape)


def stand_in(found: Found, rules: PlanRules, cell: int) -> int | None:
    """
    Cell that would gain most from the hours of a shift that is dropped; a promised one may be.

    Parameters
    ----------
    found : Found
        The plan.
    rules : PlanRules
        What it keeps to.
    cell : int
        Position of the dropped shift in the flat (K, D) table.

    Returns
    -------
    other : int or None
        None where the hours could go nowhere else.
    """
    flat, values = found.shifts.ravel(), found.values.ravel()
    order = np.lexsort((np.arange(len(flat)), -values))
    good = (values > 0) & (flat < rules.most.ravel()) & (np.arange(len(flat)) != cell)
    each, given = rules.sums.tocsc(), rules.sums @ flat
    kept = given <= rules.upper + SMALL  # a limit that is broken before says nothing
    left = np.where(kept, rules.upper - given, np.inf) + each[:, [cell]].toarray().ravel()
    for other in order[good[order]]:
        here = slice(each.indptr[other], each.indptr[other + 1])
        if (each.data[here] <= left[each.indices[here]] + SMALL).all():
            return int(other)
    return None


def why_lines(
    region: Region, evidence: Evidence, run: Run, found: Found, *, promised: Counts
) -> list[str]:
    """
    One line of plain words for each landing and day block with shifts.

    Parameters
    ----------
    region : Region
        Names.
    evidence : Evidence
        Surveys.
    run : Run
        The model at the best estimates.
    found : Found
        The plan.
    promised : array of int, shape (K, D)
        Shifts that are promised.

    Returns
    -------
    lines : list of str
        In the order of the cells of the plan that hold shifts, landing by landing.
    """
    runs = [(run.weights[n], run.inputs[n], run.paths[n], run.slopes[n]) for n in run.inputs]
    parts = attribute(runs)
    pairs = zip(region.lakes["name"], assumed_lakes(run, evidence), strict=True)
    names = list(region.lakes["name"])
    sources = [f"{name} ({assumed})" if assumed else name for name, assumed in pairs]
    own = region.lakes.index.get_indexer(region.landings["lake_id"])
    reach, hours = run.reach, region.settings.shift_hours
    lines = []
    for k, d in zip(*np.nonzero(found.shifts), strict=True):
        block = reach.day_blocks.iloc[d]
        line = shift_words(
            _when(run, int(k), int(d)) if evidence.traffic.timed else None,
            day_type=block["day_type"],
            boats=hours * reach.boats[k, d],
            sides=_sides(parts, int(k), int(own[k]), names=names, sources=sources),
        )
        if promised[k, d]:
            line += f"; promised already: {promised[k, d]}"
        lines.append(line)
    return lines


def _when(run: Run, k: int, d: int) -> int:
    """Where the block stands among those of its landing, from 0."""
    values = run.hour_values()
    here = (values[0] + values[1])[k]
    return int((here > here[d] * (1 + 1e-9)).sum())


def _sides(
    parts: Attribution, k: int, own: int, *, names: Sequence[str], sources: Sequence[str]
) -> str:
    """What the good comes from, in words; sources say where they rest on an assumption."""
    leaving, arriving = float(parts.to_total[k]), float(parts.from_total[k])
    whole = max(leaving + arriving, 1e-300)
    to, source = None, None
    if leaving / whole >= TELLING and parts.to_value[k, 0] > 0:
        to = names[parts.to_lake[k, 0]]
    if arriving / whole >= TELLING:
        outside = parts.from_outside[k] > parts.from_value[k, 0]
        source = OUTSIDE if outside else sources[parts.from_lake[k, 0]]
    first = leaving >= arriving
    return side_words(names[own], sources[own], to=to, source=source, leaving_first=first)
