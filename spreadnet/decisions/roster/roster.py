"""The roster of a season plan: which shift is on which date, and who goes."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from spreadnet.decisions.roster.axis import (
    RosterRules,
    counts_of,
    names_of,
    offers_of,
    sorted_rows,
)
from spreadnet.decisions.roster.book import Book, Shift
from spreadnet.decisions.roster.kept import (
    count_worked,
    earlier_shifts,
    promised_shifts,
    still_needed,
)
from spreadnet.decisions.roster.tables import person_table, roster_notes, shift_table
from spreadnet.decisions.roster.windows import schedule
from spreadnet.evidence.region import Note
from spreadnet.words import short_repr


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Roster:
    """
    Dated shifts with people.

    Attributes
    ----------
    shifts : DataFrame
        By date, start and landing: `shift_id`, `landing_id`, `landing`, `date`, `start`, `end`,
        `day_type`, `block`, `people` (codes joined with `; `), `km` (there and back, summed over
        the crew, NaN when not known), `status` (`planned`, `open`, `promised`, `cancelled`),
        `accepted` (`yes` where its people have taken it on), `permission` (what has to be asked
        first), `kind` (`education` or `counting`), `uid`, `sequence`.
    by_person : DataFrame
        Index `code`: `shifts`, `hours`, `km`, `days_offered`, `share_of_offer`.
    notes : tuple of Note
        What could not be met, and by how much.
    crew : int
        People a shift.
    """

    shifts: pd.DataFrame
    by_person: pd.DataFrame
    notes: tuple[Note, ...]
    crew: int = 2


def make_roster(
    needs: pd.DataFrame,
    *,
    rules: RosterRules,
    landings: pd.DataFrame,
    people: pd.DataFrame | None = None,
    promised: pd.DataFrame | None = None,
    previous: pd.DataFrame | None = None,
    worked: pd.DataFrame | None = None,
    fill_only: bool = False,
) -> Roster:
    """
    Turn the numbers of shifts in a plan into dated shifts with people.

    A plan that names hours per landing can't be worked; one that names days and people can. Most
    shifts get a whole crew first, then a landing's shifts are spread over the weeks, then people's
    shares of what they offered are made even, then ways are kept short. Equal input gives equal
    output, whatever the order of rows.

    Parameters
    ----------
    needs : DataFrame
        `landing_id`, `day_type`, `block` (label), `shifts` from `rules.plan_from` to the end of the
        season, promised ones included; `counting`, how many of them are for counting boats, which
        come first, none where there is no such column.
    rules : RosterRules
        What to keep to.
    landings : DataFrame
        Index `landing_id`; `name`, `easting_m`, `northing_m`; `permission` where something has to
        be asked first.
    people : DataFrame, optional
        A row for each day (and block) offered: `code`, `date`, `block` (label or `any`), `hours`,
        `home_landing_id`, `most_km` (one way). Without it shifts have dates only.
    promised : DataFrame, optional
        `date`, `landing_id`, `block`, `code` (may be missing), a row for each person promised to.
    previous : DataFrame, optional
        `Roster.shifts` of an earlier plan, from which as little as possible is moved.
    worked : DataFrame, optional
        `date`, `landing_id` of shifts worked before `rules.plan_from`; they count towards the most
        of a landing in its week.
    fill_only : bool
        Only to see which shifts stay open: as many are filled, neither fairly nor with short ways,
        in a part of the time.

    Returns
    -------
    roster : Roster
        Shifts, people and what could not be met.

    Raises
    ------
    ValueError
        If a table names a landing, block or day type that there is not.

    Notes
    -----
    Distances are straight lines. Rest is counted on the clock, so the night of a clock change may
    be an hour shorter. Travel between two shifts of one day is not counted.
    """
    ordered = landings.sort_index()
    if "permission" not in ordered:
        ordered = ordered.assign(permission="")
    counts = counts_of(needs, rules=rules, landings=ordered)
    of_them = needs if "counting" in needs else needs.assign(counting=0)
    counting = counts_of(of_them, rules=rules, landings=ordered, column="counting")
    promises = sorted_rows(promised, ["date", "landing_id", "block", "code"])
    earlier = sorted_rows(previous, ["date", "start", "landing_id", "uid"])
    days = sorted_rows(people, ["code", "date", "block", "hours", "home_landing_id", "most_km"])
    names = names_of(rules, landings=ordered, offers=days, promises=promises)
    offers = offers_of(names, days)
    book = Book.empty(offers)
    count_worked(book, names, worked=worked, promises=promises)
    shifts = promised_shifts(book, names, promises, earlier=earlier)
    kept, gone = earlier_shifts(book, names, earlier, counts=counts, promised=shifts)
    shifts += kept
    for need, left in still_needed(names, counts, shifts).items():
        shifts += [Shift(*need) for _ in range(left)]
    shifts, by_hand = schedule(book, shifts, fill_only=fill_only)
    by_person = person_table(offers, names, shifts)
    notes = roster_notes(book, names, shifts, by_hand=by_hand, by_person=by_person)
    table = shift_table(offers, names, shifts, gone=gone, earlier=earlier, counting=counting)
    return Roster(table, by_person, tuple(notes), rules.crew)
