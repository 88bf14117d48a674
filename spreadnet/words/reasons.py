"""Why a landing stands where it does, in plain words with the numbers that decided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from spreadnet.words.lists import listed, listed_shares
from spreadnet.words.numbers import rough_text, share_text

if TYPE_CHECKING:
    from collections.abc import Sequence

ANY_TIME = "any time, in daylight"  # where counts do not tell the best one
OUTSIDE = "waters outside the region"
GAP_WORDS = {
    "plug": "the drain plug closed",
    "plants": "plants attached",
    "animals": "animals attached",
    "mud": "mud attached",
    "water": "water held",
    "residual": "ballast water that can't be emptied",
}
TOLD_SIDE = 0.25  # share of the good above which boats leaving, or arriving, are told of


@dataclass(frozen=True, slots=True)
class Part:
    """
    A lake (or `waters outside the region`) and its share of the good, 0 to 1.

    `assumed` is `assumed_words` where boats from it count because it may hold a species unseen.
    """

    name: str
    share: float
    assumed: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """
    The numbers behind one landing's place.

    `leaving_share` is the share of what is avoided that comes from boats leaving; `to_parts` and
    `from_parts` split that by lake. `infested` are species known in the lake, `likely` those on
    whose unseen presence much of the good of boats leaving rests, with `assumed_words`. `gap`,
    `gap_rate`, `gap_found`, `gap_checked` describe the gap that matters most here, on boats
    `gap_direction` (leaving or arriving). `best_when` is None where counts don't tell it.
    `bridging_boats` are met in 100 hours.
    """

    lake: str
    launches: float
    launches_low: float
    launches_high: float
    traffic_rank: int
    landings: int
    visited: bool
    can_staff: bool
    avoided: float
    leaving_share: float
    infested: Sequence[str]
    likely: Sequence[tuple[str, str]]
    to_parts: Sequence[Part]
    from_parts: Sequence[Part]
    gap: str
    gap_direction: str
    gap_rate: float
    gap_found: int
    gap_checked: int
    best_when: str | None
    boats_met: float
    bridging_boats: float


def reasons(facts: Facts) -> tuple[str, ...]:
    """
    Three to five sentences, the most telling first.

    Parameters
    ----------
    facts : Facts
        Numbers of one landing.

    Returns
    -------
    sentences : tuple of str
        Without a final full stop, ready to be joined by `; `.
    """
    told = []
    if facts.avoided <= 0:
        told.append("an hour here avoids nothing: no boats join an infested lake and one at risk")
    else:
        told += [*_ends(facts), _gap(facts)]
    told.append(_traffic(facts))
    if facts.avoided > 0 and facts.best_when is None:
        told.append(f"{ANY_TIME}: too little was counted to say when most boats pass")
    elif facts.avoided > 0:
        told.append(
            f"an hour at the best time ({facts.best_when}) meets about {facts.boats_met:.1f} boats"
            f"{_bridging(facts)}"
        )
    if not facts.can_staff:
        told.append("marked as a landing that can't be staffed")
    return tuple(told)


def assumed_words(surveys: float, chance: float) -> str:
    """
    What an infestation that nobody has seen rests on.

    Parameters
    ----------
    surveys : float
        Surveys of the lake that did not find it.
    chance : float
        That the lake is infested.

    Returns
    -------
    words : str
        A clause without commas at its ends.

    Examples
    --------
    >>> assumed_words(0, 0.71)
    'never looked for there, taken to be 71% likely'
    >>> assumed_words(1, 0.12)
    'looked for once in vain, taken to be 12% likely'
    """
    if surveys <= 0:
        looked = "never looked for there"
    else:
        times = "once" if surveys <= 1 else f"{surveys:,.0f} times"
        looked = f"looked for {times} in vain"
    return f"{looked}, taken to be {share_text(chance)} likely"


def ordinal(number: int) -> str:
    """
    Number as people say it.

    Examples
    --------
    >>> [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 21, 113)]
    ['1st', '2nd', '3rd', '4th', '11th', '12th', '21st', '113th']
    """
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if 10 <= number % 100 <= 20 else ending}"


def _ends(facts: Facts) -> list[str]:
    """Where the good is done: on boats leaving or on boats arriving, and which lakes matter."""
    sides = [(facts.leaving_share, _leaving(facts)), (1 - facts.leaving_share, _arriving(facts))]
    sides.sort(key=lambda side: -side[0])
    return [
        f"{share_text(share)} of the good is {words}"
        for share, words in sides
        if share >= TOLD_SIDE
    ]


def _leaving(facts: Facts) -> str:
    """Boats leaving: what the lake has, and which lakes are protected."""
    state = f", which has {listed(facts.infested)}" if facts.infested else ""
    if facts.likely:
        unseen = listed([f"{name} ({words})" for name, words in facts.likely])
        state += f"{', and' if state else ', which'} may have {unseen}"
    parts = _lakes(facts.to_parts)
    return f"on boats leaving {facts.lake}{state}" + (f", and protects {parts}" if parts else "")


def _arriving(facts: Facts) -> str:
    """Boats arriving: where they bring most from."""
    parts = _lakes(facts.from_parts)
    return f"on boats arriving at {facts.lake}" + (f", from {parts}" if parts else "")


def _gap(facts: Facts) -> str:
    """The gap that matters most, with what it was counted from."""
    words = GAP_WORDS[facts.gap]
    if facts.gap == "residual":
        return f"much of it is {words}, which education can't change"
    counted = (
        f"{facts.gap_found} of {facts.gap_checked} checked here, weighed with landings like it"
        if facts.gap_checked
        else "none checked here, so taken from landings like it"
    )
    share = share_text(facts.gap_rate)
    return f"about {share} of boats {facts.gap_direction} have {words} ({counted})"


def _bridging(facts: Facts) -> str:
    """Boats on bridging trips, where there are some."""
    if facts.bridging_boats < 0.5:
        return ""
    return (
        f", 100 hours about {rough_text(facts.bridging_boats)} that go from a lake known to have a "
        "species to one not known to have it"
    )


def _traffic(facts: Facts) -> str:
    """How busy, and whether that was counted."""
    how = (
        f"about {rough_text(facts.launches)} boats launched a season "
        f"({rough_text(facts.launches_low)} to {rough_text(facts.launches_high)}), "
        f"{ordinal(facts.traffic_rank)} of {facts.landings} landings"
    )
    return how if facts.visited else f"boats were not counted here, so traffic is estimated: {how}"


def _lakes(parts: Sequence[Part]) -> str:
    """Lakes with their shares of that side."""
    return listed_shares([(part.name, part.share, part.assumed) for part in parts])
