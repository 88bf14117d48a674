"""What to keep in mind of a plan, and what could not be done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from spreadnet.decisions.shifts import unasked
from spreadnet.evidence.region import Note
from spreadnet.words import ALONE, PERMISSION, count_text, share_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from spreadnet.decisions.roster import Roster
    from spreadnet.decisions.shifts import Found, PlanRules
    from spreadnet.evidence.region import Region

ENOUGH = 0.02  # share of the straight line that is missed before a word is said


def cost_notes(*tables: pd.DataFrame) -> list[Note]:
    """One note where a way of placing hours avoids nothing, so that one avoided has no cost."""
    column = "cost_per_infestation_avoided"
    if not any(column in table and table[column].isna().any() for table in tables):
        return []
    text = "where nothing is avoided, one infestation avoided has no cost: such cells are empty"
    return [Note("no-cost", text)]


def roster_notes(roster: Roster | None, error: Exception | None) -> Sequence[Note]:
    """What the roster could not meet, or that there is none."""
    if roster is not None:
        return roster.notes
    text = (
        f"dates and people could not be worked out ({type(error).__name__}: {error}): the plan "
        "says at which landings and times to stand, without dates"
    )
    return [Note("no-roster", text)]


def plan_notes(
    region: Region, found: Found, rules: PlanRules, hours: float, *, counted: float
) -> list[Note]:
    """Hours that could not be placed, and how sure the plan is to be the best."""
    notes = []
    left = hours - float(rules.hours(found.shifts).sum()) - counted
    if left >= rules.shift_hours - 1e-9:
        text = (
            f"{left:g} of {hours:g} hours are not placed: the rules leave no room for them, or "
            "nothing more would be avoided"
        )
        notes.append(Note("hours-left", text))
    if rules.worked.sum() > hours + 1e-9:
        text = f"{rules.worked.sum():g} hours are worked already, more than the {hours:g} there are"
        notes.append(Note("hours-over", text))
    if found.gap > ENOUGH:
        text = (
            f"judged by what one more shift at each landing and time would avoid, another plan "
            f"could avoid about {share_text(found.gap / (1 - found.gap))} more; a further shift is "
            "mostly worth less than the one before, so the truth is mostly less"
        )
        notes.append(Note("plan-gap", text))
    notes += _people_notes(region, found)
    if region.settings.crew != 1 and region.hours.empty:
        text = f"a shift needs {region.settings.crew} people; no table `hours` says who can come"
        notes.append(Note("nobody-known", text))
    return notes


def _people_notes(region: Region, found: Found) -> list[Note]:
    """What people have to know or to ask before they stand there."""
    settings, notes = region.settings, []
    if settings.crew == 1:
        notes.append(Note("works-alone", ALONE))
    asks = int((found.shifts.sum(axis=1) > 0)[unasked(region)].sum())
    if asks:
        text = (
            f"at {asks} of the landings with shifts nobody has said that educators may work "
            f"(can_staff is empty): {PERMISSION}, or leave such landings out with "
            "unasked_landings = false"
        )
        notes.append(Note("permission", text))
    if not settings.after_dusk and settings.time_zone is None:
        text = (
            "no shift ends after sunset, by the whole hours nearest to the landings' longitude "
            "without summer time, since region.toml names no time_zone: with one, shifts may end "
            "later"
        )
        notes.append(Note("dusk-by-longitude", text))
    return notes


def easier_notes(before: tuple[float, int], now: tuple[float, int]) -> list[Note]:
    """That of plans which can't be told apart an easier one was taken."""
    gains = []
    if now[0] < before[0]:
        gains.append(f"about {count_text(before[0] - now[0])} km less driving a season")
    if now[1] > before[1]:
        gains.append(f"{now[1]} jurisdictions in place of {before[1]}")
    if not gains:
        return []
    text = (
        f"of plans that can't be told apart this one was taken: {' and '.join(gains)}; what it "
        "avoids less, if anything, is within the error of the comparison"
    )
    return [Note("easier-of-equals", text)]
