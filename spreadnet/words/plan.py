"""The season plan in words: why a shift is there, what the plan buys, what would change."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from spreadnet.words.numbers import counted, figure, rough_text

if TYPE_CHECKING:
    from spreadnet.words.types import Planned

DAYS = {"weekday": "weekdays", "weekend": "weekend days and holidays"}
BRIDGING = "most bridging boats"  # the way of placing hours by the published rule
TIMES = ("best time here", "second best time here", "third best time here")


def shift_words(turn: int, *, day_type: str, boats: float, sides: str) -> str:
    """
    Why a shift is there.

    Parameters
    ----------
    turn : int
        Where its time stands among those of the landing, from 0.
    day_type : str
        `weekday` or `weekend`.
    boats : float
        Boats met in a shift.
    sides : str
        Result of `side_words`.

    Returns
    -------
    words : str
        One line.

    Examples
    --------
    >>> shift_words(0, day_type="weekday", boats=12.3, sides="hardly anything is avoided here")
    'best time here: a shift on weekdays meets about 12 boats; hardly anything is avoided here'
    """
    first = TIMES[turn] if turn < len(TIMES) else "a further time here"
    return f"{first}: a shift on {DAYS[day_type]} meets about {figure(boats)} boats; {sides}"


def side_words(own: str, *, to: str | None, source: str | None, leaving_first: bool) -> str:
    """
    What the good comes from: boats leaving and where to, boats arriving and where from.

    Parameters
    ----------
    own : str
        Lake of the landing.
    to, source : str or None
        Lake that boats leaving put at risk most, and where boats arriving bring most from; None
        where that side hardly counts.
    leaving_first : bool
        Whether boats leaving count for more.

    Returns
    -------
    words : str
        One clause.

    Examples
    --------
    >>> side_words("Ovrin", to="Tal", source=None, leaving_first=True)
    'mostly boats leaving Ovrin are kept from carrying to Tal'
    """
    told = []
    if to is not None:
        told.append(f"boats leaving {own} are kept from carrying to {to}")
    if source is not None:
        told.append(f"boats arriving at {own} from {source}")
    if not told:
        return "hardly anything is avoided here"
    if not leaving_first:
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


def plan_finding(plan: Planned) -> str:
    """
    What the plan buys, in one sentence.

    Parameters
    ----------
    plan : Planned
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
        f"{counted(shifts, 'shift')} ({plan.hours:,.0f} hours a season) at "
        f"{counted(landings, 'landing')} avoid about {figure(row['avoided'])} new infestations in "
        f"{counted(plan.seasons, 'season')} ({figure(row['avoided_low'])} to "
        f"{figure(row['avoided_high'])})"
    )
    busiest = float(ways.get("busiest first", 0.0))
    if busiest > 0:
        times = plan.avoided / busiest
        text += f", {times:.1f} times" if times >= 1.05 else ", about as many as"
        text += " what the same hours avoid busiest first"
    return text


def bridging_words(plan: Planned) -> str:
    """
    What the published rule makes of the same hours, and why that is not the plan.

    Parameters
    ----------
    plan : Planned
        Result of `make_plan`.

    Returns
    -------
    words : str
        Two sentences with their full stops; empty where the rule is not among the ways.
    """
    if BRIDGING not in plan.ways.index:
        return ""
    ways = plan.ways.reindex([plan.ways.index[0], BRIDGING])
    own, rule = (rough_text(boats) for boats in ways["bridging_boats_a_season"])
    own_avoids, rule_avoids = (figure(avoided) for avoided in ways["avoided"])
    return (
        "Placed for most bridging boats (boats that go from a lake known to have a species to one "
        f"not known to have it), the hours meet {rule} of them a season and avoid {rule_avoids}; "
        f"this plan meets {own} and avoids {own_avoids}. That rule is easy to explain and counts "
        "each such boat alike; this plan also weighs what boats carry alive, whether it can live "
        "where they go, how far it would spread from there, which lakes may have it unseen, and "
        "boats from outside the region."
    )


def bound_words(plan: Planned) -> str:
    """
    How much more another plan with these hours could avoid.

    Parameters
    ----------
    plan : Planned
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


def plan_words(plan: Planned, *, shown: int = 10) -> str:
    """
    The plan in some lines for the screen.

    Parameters
    ----------
    plan : Planned
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
            f"{figure(row['avoided_high'])}) {way}, "
            f"{rough_text(row['bridging_boats_a_season'])} bridging boats a season"
        )
    if bridging := bridging_words(plan):
        lines += ["", *textwrap.wrap(bridging, 88)]
    return "\n".join(lines)
