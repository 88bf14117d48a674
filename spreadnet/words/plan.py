"""Why each shift is in the plan, in one line, and what would change without it."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.ranking.attribution import attribute
from spreadnet.decisions.ranking.landings import OUTSIDE
from spreadnet.words.finding import figure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.draws.run import Run
    from spreadnet.decisions.plan.plan import SeasonPlan
    from spreadnet.decisions.plan.rules import PlanRules
    from spreadnet.decisions.plan.search import Found, Objective
    from spreadnet.decisions.ranking.attribution import Attribution
    from spreadnet.evidence.region import Region

    Array = NDArray[np.floating]
    Counts = NDArray[np.int64]

EXACT = 200  # cells up to which dropping a shift is worked out by full runs
DAYS = {"weekday": "weekdays", "weekend": "weekend days and holidays"}
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
        0 where there is no shift. By full runs up to 200 cells, by the slope beyond.
    """
    flat = found.shifts.ravel()
    held = np.flatnonzero(flat)
    losses = np.zeros(len(flat))
    if len(held) > EXACT:
        losses[held] = found.values.ravel()[held]
    elif len(held):
        fewer = np.tile(flat, (len(held), 1))
        fewer[np.arange(len(held)), held] -= 1
        left = objective.avoided([one.reshape(found.shifts.shape) for one in fewer])
        losses[held] = np.maximum(found.avoided - left, 0.0)
    return losses.reshape(found.shifts.shape)


def stand_in(found: Found, rules: PlanRules, cell: int) -> int | None:
    """
    Cell that would gain most from the hours of a shift that is dropped.

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
    for other in np.lexsort((np.arange(len(flat)), -values)):
        if other == cell or values[other] <= 0:
            if values[other] <= 0:
                break
            continue
        changed = flat.copy()
        changed[cell] -= 1
        changed[other] += 1
        if changed[other] <= rules.most.ravel()[other] and _within(changed, flat, rules, cell):
            return int(other)
    return None


def _within(changed: Counts, before: Counts, rules: PlanRules, cell: int) -> bool:
    """Whether no limit is broken that was kept before; a promised shift may be dropped here."""
    for limit in rules.limits:
        now, then = changed[limit.cells].sum(), before[limit.cells].sum()
        if now > limit.most >= then or (now < limit.least <= then and cell not in limit.cells):
            return False
    return True


def why_lines(region: Region, run: Run, found: Found, *, promised: Counts) -> list[str]:
    """
    One line of plain words for each landing and day block with shifts.

    Parameters
    ----------
    region : Region
        Names.
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
    names = list(region.lakes["name"])
    own = [names[j] for j in region.lakes.index.get_indexer(region.landings["lake_id"])]
    reach, hours = run.reach, region.settings.shift_hours
    lines = []
    for k, d in zip(*np.nonzero(found.shifts), strict=True):
        block = reach.day_blocks.iloc[d]
        first = _when(run, int(k), int(d))
        text = (
            f"{first}: a shift on {DAYS[block['day_type']]} meets about "
            f"{figure(hours * reach.boats[k, d])} boats; {_sides(parts, int(k), own[k], names)}"
        )
        if promised[k, d]:
            text += f"; promised already: {promised[k, d]}"
        lines.append(text)
    return lines


def _when(run: Run, k: int, d: int) -> str:
    """Where the block stands among those of its landing."""
    values = run.hour_values()
    here = (values[0] + values[1])[k]
    place = int((here > here[d] * (1 + 1e-9)).sum())
    return (
        ("best time here", "second best time here", "third best time here")[place]
        if place < 3
        else ("a further time here")
    )


def _sides(parts: Attribution, k: int, own: str, names: Sequence[str]) -> str:
    """What the good comes from: boats leaving and where to, boats arriving and where from."""
    leaving, arriving = float(parts.to_total[k]), float(parts.from_total[k])
    whole = max(leaving + arriving, 1e-300)
    told = []
    if leaving / whole >= TELLING and parts.to_value[k, 0] > 0:
        told.append(f"boats leaving {own} are kept from carrying to {names[parts.to_lake[k, 0]]}")
    if arriving / whole >= TELLING:
        outside = parts.from_outside[k] > parts.from_value[k, 0]
        source = OUTSIDE if outside else names[parts.from_lake[k, 0]]
        told.append(f"boats arriving at {own} from {source}")
    if not told:
        return "hardly anything is avoided here"
    if leaving < arriving:
        told.reverse()
    return "mostly " + ", then ".join(told)


def dropped_words(loss: float, other: tuple[str, str, float] | None, *, seasons: int) -> str:
    """
    What would change if one shift were dropped.

    Parameters
    ----------
    loss : float
        No longer avoided.
    other : tuple of str, str, float, or None
        Landing, time and gain of the next best use of the hours.
    seasons : int
        Seasons looked ahead.

    Returns
    -------
    words : str
        One line.

    Examples
    --------
    >>> dropped_words(0.021, ("North ramp", "weekend 10:00-14:00", 0.02), seasons=5)
    'without one of them 0.021 more infestations in 5 seasons; its hours would avoid 0.02 at North
    ramp, weekend 10:00-14:00'
    """
    text = f"without one of them {figure(loss)} more infestations in {seasons} seasons"
    if other is None:
        return f"{text}; its hours could go nowhere else"
    return f"{text}; its hours would avoid {figure(other[2])} at {other[0]}, {other[1]}"


def plan_finding(plan: SeasonPlan) -> str:
    """
    What the plan buys, in one sentence.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `make_plan`.

    Returns
    -------
    sentence : str
        Without a final full stop.
    """
    shifts, landings = int(plan.table["shifts"].sum()), plan.table["landing_id"].nunique()
    ways = plan.ways["avoided"]
    if shifts == 0 or plan.avoided <= 0:
        return f"No shift placed avoids a new infestation ({plan.hours:g} hours)"
    row = plan.ways.iloc[0]
    text = (
        f"{_count(shifts, 'shift')} ({plan.hours:,.0f} hours a season) at "
        f"{_count(landings, 'landing')} avoid about {figure(row['avoided'])} new infestations in "
        f"{_count(plan.seasons, 'season')} ({figure(row['avoided_low'])} to "
        f"{figure(row['avoided_high'])})"
    )
    busiest = float(ways.get("busiest first", 0.0))
    if busiest > 0:
        times = plan.avoided / busiest
        text += f", {times:.1f} times" if times >= 1.05 else ", about as many as"
        text += " what the same hours avoid busiest first"
    return text


def bound_words(plan: SeasonPlan) -> str:
    """
    How much more another plan with these hours could avoid.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `make_plan`.

    Returns
    -------
    sentence : str
        Without a final full stop.
    """
    if plan.most_possible <= 0:
        return "No other plan could avoid more"
    gap = max(1 - plan.avoided / plan.most_possible, 0.0)
    return (
        f"By the slope at this plan no other within its rules could avoid more than "
        f"{figure(plan.most_possible)} with these hours: {gap:.2%} may be missing"
    )


def plan_words(plan: SeasonPlan, *, shown: int = 10) -> str:
    """
    The plan in some lines for the screen.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `make_plan`.
    shown : int
        Rows of the table that are listed.

    Returns
    -------
    text : str
        Finding, first rows, and how the same hours do placed as today.
    """
    lines = [f"{plan_finding(plan)}.", ""]
    for cell in plan.table.head(shown).to_dict("records"):
        lines.append(
            f"{cell['shifts']:>4} x {cell['landing']} ({cell['landing_id']}), "
            f"{cell['day_type']} {cell['block']}"
        )
        lines += textwrap.wrap(cell["why"], 88, initial_indent=" " * 7, subsequent_indent=" " * 7)
    if len(plan.table) > shown:
        lines.append(f"       ... and {len(plan.table) - shown} more landings and times")
    lines += ["", "The same hours avoid:"]
    for way, row in plan.ways.iterrows():
        lines.append(
            f"  {figure(row['avoided']):>8} ({figure(row['avoided_low'])} to "
            f"{figure(row['avoided_high'])}) {way}"
        )
    return "\n".join(lines)


def _count(number: int, word: str) -> str:
    """Number with its word."""
    return f"{number:,} {word}{'' if number == 1 else 's'}"
