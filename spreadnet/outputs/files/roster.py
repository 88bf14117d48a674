"""The roster as files: a table, a workbook to print and hand round, a calendar."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from spreadnet.outputs.files.calendar import roster_calendar
from spreadnet.outputs.files.tables import write_csv
from spreadnet.outputs.files.workbook import workbook
from spreadnet.words import ALONE, ON_SITE

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    import pandas as pd

    from spreadnet.decisions.roster import Roster


def write_roster(
    roster: Roster,
    folder: str | Path,
    *,
    region_name: str,
    time_zone: str | None,
    landings: pd.DataFrame,
    stamp: datetime,
    why: Mapping[str, str] | None = None,
) -> list[Path]:
    """
    Write the roster as CSV, XLSX and calendar into a folder that exists.

    Equal arguments give equal bytes, so that a changed file is a changed plan.

    Parameters
    ----------
    roster : Roster
        Result of `make_roster`.
    folder : path
        Where the files go, such as the folder that `whole_folder` yields.
    region_name, time_zone, landings, stamp, why
        As in `roster_calendar`.

    Returns
    -------
    files : list of Path
        `roster.csv`, `roster.xlsx`, `roster.ics`.

    Raises
    ------
    ValueError
        If the time zone is not known, or the stamp has no offset.
    """
    folder = Path(folder)
    calendar = roster_calendar(
        roster,
        region_name=region_name,
        time_zone=time_zone,
        landings=landings,
        stamp=stamp,
        why=why,
    )
    table = roster.shifts.assign(date=roster.shifts["date"].dt.strftime("%Y-%m-%d"))
    files = [write_csv(table, folder / "roster.csv", index=False)]
    for name, content in (
        ("roster.xlsx", roster_workbook(roster, stamp=stamp)),
        ("roster.ics", calendar),
    ):
        (folder / name).write_bytes(content)
        files.append(folder / name)
    return files


def roster_workbook(roster: Roster, *, stamp: datetime) -> bytes:
    """
    Workbook with the sheets `read first` (cautions), `shifts`, by date, and `people`.

    Parameters
    ----------
    roster : Roster
        Result of `make_roster`.
    stamp : datetime
        When it was made, with its offset.

    Returns
    -------
    workbook : bytes
        XLSX; the same for the same arguments.
    """
    sheets = {"shifts": roster.shifts, "people": roster.by_person.reset_index()}
    alone = (ALONE,) if roster.crew == 1 else ()
    return workbook(sheets, cautions=(*alone, *ON_SITE), stamp=stamp)
