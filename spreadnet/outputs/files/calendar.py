"""The roster as a calendar file that phones and desktop calendars take in, and take in again."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from spreadnet.decisions.roster import codes_in
from spreadnet.outputs.safe import clean_text
from spreadnet.words import ALONE, COUNTING, ON_SITE

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from spreadnet.decisions.roster import Roster


def roster_calendar(
    roster: Roster,
    *,
    region_name: str,
    time_zone: str | None,
    landings: pd.DataFrame,
    stamp: datetime,
    why: Mapping[str, str] | None = None,
    code: str | None = None,
    earlier: pd.DataFrame | None = None,
) -> bytes:
    """
    Shifts as events of a calendar.

    Every shift keeps its identifier from plan to plan and counts its versions, so that a calendar
    that is given a later file moves and cancels what it has and doubles nothing. There are codes in
    it, never names.

    Parameters
    ----------
    roster : Roster
        Result of `make_roster`.
    region_name : str
        Name of the calendar.
    time_zone : str or None
        IANA name, such as `Europe/Berlin`, of the clock that the shifts follow. With None times
        are floating (RFC 5545, 3.3.5, form 1): the clock of whoever looks.
    landings : DataFrame
        Index `landing_id`; `longitude`, `latitude` in degrees.
    stamp : datetime
        When the file was made, with its offset; written in UTC.
    why : mapping, optional
        By `shift_id`, a sentence on why the shift is there.
    code : str, optional
        Only shifts of this person; all when left out.
    earlier : DataFrame, optional
        `Roster.shifts` of the plan before. With `code`, shifts that were the person's and are no
        more are in the file as cancelled.

    Returns
    -------
    calendar : bytes
        The same for the same arguments.

    Raises
    ------
    ValueError
        If the time zone is not known, or the stamp has no offset.

    Notes
    -----
    RFC 5545; the name of the calendar as RFC 7986 and, with `X-WR-`, common practice have it.
    """
    zone = None if time_zone is None else _zone(time_zone)
    if stamp.tzinfo is None:
        message = f"Invalid stamp '{stamp}'. It must have an offset from UTC."
        raise ValueError(message)
    shifts = _of_person(roster.shifts, code=code, earlier=earlier)
    title = clean_text(region_name) if code is None else f"{clean_text(region_name)}, {code}"
    calendar = Calendar()
    calendar.add("prodid", "-//spreadnet//landing education roster//EN")
    calendar.add("version", "2.0")
    calendar.add("name", title)
    calendar.add("x-wr-calname", title)
    if time_zone is not None:
        calendar.add("x-wr-timezone", time_zone)
    for row in shifts.to_dict("records"):
        told = _described(row, why=why or {}, crew=roster.crew)
        event = _event(row, zone=zone, landings=landings, told=told)
        event.add("dtstamp", stamp.astimezone(UTC).replace(microsecond=0))
        calendar.add_component(event)
    if len(shifts) and zone is not None:
        days = shifts["date"]
        calendar.add_missing_timezones(
            first_date=(days.min() - timedelta(days=1)).date(),
            last_date=(days.max() + timedelta(days=2)).date(),
        )
    return calendar.to_ical()


def _zone(name: str) -> ZoneInfo:
    """Time zone of that name."""
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, LookupError):
        message = f"Invalid time_zone '{name}'. It must be an IANA name such as 'Europe/Berlin'."
        raise ValueError(message) from None


def _of_person(
    shifts: pd.DataFrame, *, code: str | None, earlier: pd.DataFrame | None
) -> pd.DataFrame:
    """Shifts of one person, with those that were the person's as cancelled; all without a code."""
    if code is None:
        return shifts
    has = shifts["people"].map(lambda cell: code in codes_in([cell]))
    if earlier is None:
        return shifts[has]
    had = earlier["people"].map(lambda cell: code in codes_in([cell]))
    lost = shifts["uid"].isin(earlier.loc[had, "uid"]) & ~has
    status = shifts["status"].mask(lost, "cancelled")
    people = shifts["people"].mask(lost, "")
    return shifts.assign(status=status, people=people)[has | lost]


def _event(
    row: dict[Any, Any], *, zone: ZoneInfo | None, landings: pd.DataFrame, told: str
) -> Event:
    """One shift as an event."""
    name = clean_text(row["landing"])
    note = {"open": " (people needed)", "cancelled": " (cancelled)"}.get(row["status"], "")
    event = Event()
    event.add("uid", row["uid"])
    event.add("sequence", int(row["sequence"]))
    event.add("dtstart", _moment(row, "start", zone=zone))
    event.add("dtend", _moment(row, "end", zone=zone))
    kind = "Counting" if row["kind"] == COUNTING else "Education"
    event.add("summary", f"{kind} shift at {name}{note}")
    event.add("location", name)
    if row["landing_id"] in landings.index:
        place = landings.loc[row["landing_id"]]
        event.add("geo", (round(float(place["latitude"]), 6), round(float(place["longitude"]), 6)))
    event.add("description", told)
    event.add("status", _status(row))
    return event


def _status(row: dict[Any, Any]) -> str:
    """Tentative until its people have accepted it."""
    if row["status"] == "cancelled":
        return "CANCELLED"
    return "CONFIRMED" if row["accepted"] else "TENTATIVE"


def _moment(row: dict[Any, Any], end: str, *, zone: ZoneInfo | None) -> datetime:
    """Start or end on the local clock; 24:00 is the next midnight."""
    hours, minutes = (int(part) for part in row[end].split(":"))
    day = datetime(row["date"].year, row["date"].month, row["date"].day)
    return (day + timedelta(hours=hours, minutes=minutes)).replace(tzinfo=zone)


def _described(row: dict[Any, Any], *, why: Mapping[str, str], crew: int) -> str:
    """People, reason and cautions, each on a line of its own."""
    lines = [f"Shift {row['shift_id']}, {row['landing_id']}"]
    if row["people"]:
        lines.append(f"People: {row['people']}")
    if row["status"] == "open":
        lines.append("People are still needed.")
    elif not row["accepted"] and row["status"] != "cancelled":
        lines.append("Not accepted yet: tell whoever sent this whether you can come.")
    if row["permission"]:
        lines.append(f"{clean_text(row['permission']).capitalize()}.")
    if crew == 1:
        lines.append(ALONE)
    if why.get(row["shift_id"]):
        lines.append(clean_text(why[row["shift_id"]]))
    return "\n".join([*lines, *ON_SITE])
