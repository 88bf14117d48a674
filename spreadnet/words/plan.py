"""The season plan in words: why a shift is there, what the plan buys, what would change."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from spreadnet.words.finding import headline, size_of
from spreadnet.words.numbers import (
    chance_text,
    count_text,
    counted,
    figure,
    odds_range,
    odds_text,
    rough_text,
    share_text,
)

if TYPE_CHECKING:
    import pandas as pd

    from spreadnet.words.types import Planned

EDUCATION, COUNTING = "education", "counting"  # kinds of shifts
PERMISSION = "ask permission first"  # where nobody has said that educators may work
DAYS = {"weekday": "weekdays", "weekend": "weekend days and holidays"}
BRIDGING = "most bridging boats"  # the way of placing hours by the published rule
WORTH_SAYING = 0.005  # share by which another plan may look better before a word is said
TIMES = ("best time here", "second best time here", "third best time here")


def shift_words(turn: int | None, *, day_type: str, boats: float, sides: str) -> str:
    """
    Why a shift is there.

    Parameters
    ----------
    turn : int
        Where its time stands among those of the landing, from 0; None where counts don't tell.
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
    if turn is None:
        first = "when most boats pass was not counted, any time in daylight does"
    else:
        first = TIMES[turn] if turn < len(TIMES) else "a further time here"
    return f"{first}: a shift on {DAYS[day_type]} meets about {figure(boats)} boats; {sides}"


def side_words(
    own: str, own_source: str = "", *, to: str | None, source: str | None, leaving_first: bool
) -> str:
    """
    What the good comes from: boats leaving and where to, boats arriving and where from.

    Parameters
    ----------
    own : str
        Lake of the landing.
    own_source : str
        The same, with what an infestation there rests on; as `own` when left out.
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
        told.append(f"boats leaving {own_source or own} are kept from carrying to {to}")
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
    >>> dropped_words(0.00059, ("North ramp", "weekend 10:00-14:00", 0.0005), seasons=5)
    'one shift fewer avoids less by 1 in 1,700 in 5 seasons; its hours would avoid 1 in 2,000 at
    North ramp, weekend 10:00-14:00'
    """
    text = f"one shift fewer avoids less by {odds_text(loss)} in {seasons} seasons"
    if other is None:
        return f"{text}; its hours could go nowhere else"
    return f"{text}; its hours would avoid {odds_text(other[2])} at {other[0]}, {other[1]}"


def counting_words(told: pd.Series, *, gain: float, seasons: int) -> str:
    """
    Why a shift is for counting.

    Parameters
    ----------
    told : Series
        The landing's row of `SurveyList.table`.
    gain : float
        Avoided besides in the seasons after this one.
    seasons : int
        Seasons looked ahead.

    Returns
    -------
    words : str
        One line.
    """
    later = "season" if seasons == 2 else f"{seasons - 1} seasons"
    return (
        f"to count: about {told['contacts_launching']:.0f} boats launching and "
        f"{told['contacts_retrieving']:.0f} retrieving tell most of {told['sharpens']}; hours move "
        f"with chance {chance_text(told['chance_of_change'])}, which avoids {odds_text(gain)} more "
        f"in the {later} after this one"
    )


def uncounted_words(instead: float) -> str:
    """
    What would change if one counting shift were dropped.

    Parameters
    ----------
    instead : float
        What the educating shift in its place would avoid.

    Returns
    -------
    words : str
        One line.

    Examples
    --------
    >>> uncounted_words(0.0005)
    'an educating shift in its place would avoid 1 in 2,000 this season'
    >>> uncounted_words(0.0)
    'its hours could go to no educating shift that avoids anything'
    """
    if instead <= 0:
        return "its hours could go to no educating shift that avoids anything"
    return f"an educating shift in its place would avoid {odds_text(instead)} this season"


def kinds_words(plan: Planned) -> str:
    """
    How many shifts are for educating and how many for counting.

    Parameters
    ----------
    plan : Planned
        Result of `make_plan`.

    Returns
    -------
    sentence : str
        Without a final full stop; empty where none is for counting.
    """
    kinds = plan.kinds.to_dict("index")
    teach, count = kinds[EDUCATION], kinds[COUNTING]
    if not count["shifts"]:
        return ""
    return (
        f"{counted(int(teach['shifts']), 'shift')} ({count_text(teach['hours'])} hours) are for "
        f"educating and {count_text(count['shifts'])} ({count_text(count['hours'])} hours) for "
        "counting boats and what is found on them, at landings without educators: there that gains "
        f"more than educating, together about {odds_text(count['gain_by_counting'])} in the "
        "seasons after this one"
    )


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
    if int(plan.table["shifts"].sum()) == 0 or plan.avoided <= 0:
        return f"No shift placed avoids a new infestation ({plan.hours:g} hours)"
    return headline(size_of(plan.ways.iloc[0], plan.seasons, place=plan.region))


def plan_compared(plan: Planned) -> str:
    """
    How sure the size of what a plan avoids is, and how it does beside busiest first.

    Parameters
    ----------
    plan : Planned
        Result of `make_plan`.

    Returns
    -------
    sentence : str
        Without a final full stop; empty where nothing is avoided.
    """
    if plan.avoided <= 0:
        return ""
    shifts, ways = int(plan.table["shifts"].sum()), plan.ways["avoided"]
    low, high = (odds_text(float(plan.ways[c].iloc[0])) for c in ("avoided_low", "avoided_high"))
    text = f"{counted(shifts, 'shift')}; between {low} and {high} by what is not known for sure"
    busiest = float(ways.get("busiest first", 0.0))
    if busiest > 0:
        times = plan.avoided / busiest
        text += f"; {times:.1f} times" if times >= 1.05 else "; about as many as"
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
    own_avoids, rule_avoids = (odds_text(avoided) for avoided in ways["avoided"])
    return (
        "Placed for most bridging boats (boats that go from a lake known to have a species to one "
        f"not known to have it), the hours meet {rule} of them a season and avoid {rule_avoids}; "
        f"this plan meets {own} and avoids {own_avoids}. That rule is easy to explain and counts "
        "each such boat alike; this plan also weighs what boats carry alive, whether it can live "
        "where they go, how far it would spread from there, which lakes may have it unseen, and "
        "boats from outside the region."
    )


def near_best_words(plan: Planned) -> str:
    """
    How near to the best the plan looks.

    Parameters
    ----------
    plan : Planned
        Result of `make_plan`.

    Returns
    -------
    sentence : str
        Without a final full stop.

    Notes
    -----
    Judged by what the next shift of each landing and time would avoid. Shifts can help each other,
    so this is no bound.
    """
    judged = "Judged by what one more shift at each landing and time would avoid"
    more = plan.straight_line / plan.avoided - 1 if plan.avoided > 0 else 0.0
    if more < WORTH_SAYING:
        return f"{judged}, no other placing of these hours within the rules looks better"
    return f"{judged}, another placing of these hours could avoid about {share_text(more)} more"


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
    texts = (plan_finding(plan), plan_compared(plan), kinds_words(plan))
    told = [f"{text}." for text in texts if text]
    lines = [*(line for text in told for line in textwrap.wrap(text, 88)), ""]
    for cell in plan.table.head(shown).to_dict("records"):
        lines.append(
            f"{cell['shifts']:>4} x {cell['landing']} ({cell['landing_id']}), "
            f"{cell['day_type']} {cell['block']}"
            + ("" if cell["kind"] == EDUCATION else f" ({cell['kind']})")
            + (f" ({cell['permission']})" if cell["permission"] else "")
        )
        lines += textwrap.wrap(cell["why"], 88, initial_indent=" " * 7, subsequent_indent=" " * 7)
    if len(plan.table) > shown:
        lines.append(f"       ... and {len(plan.table) - shown} more landings and times")
    lines += [
        "",
        "The same hours for education avoid:" if kinds_words(plan) else "The same hours avoid:",
    ]
    for way, row in plan.ways.iterrows():
        lines.append(
            f"  {way}: {odds_range(row['avoided'], row['avoided_low'], row['avoided_high'])}, "
            f"{rough_text(row['bridging_boats_a_season'])} bridging boats a season"
        )
    if bridging := bridging_words(plan):
        lines += ["", *textwrap.wrap(bridging, 88)]
    return "\n".join(lines)
