"""The roster of an earlier plan, read back so that the next one changes little."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from spreadnet.errors import InputError, Problem
from spreadnet.evidence.personal.privacy import shown

FILE = "roster.csv"
NEEDED = (
    *("shift_id", "landing_id", "landing", "date", "start", "end", "day_type", "block", "people"),
    *("km", "status", "uid", "sequence"),
)
WHY = "Shifts keep their days and their place in calendars only if the plan before is read whole."


def read_roster(folder: Path) -> pd.DataFrame:
    """
    Dated shifts of an earlier plan.

    Parameters
    ----------
    folder : Path
        Folder that `spreadnet plan --out` wrote, or its `roster.csv`.

    Returns
    -------
    shifts : DataFrame
        Columns as `Roster.shifts` has them.

    Raises
    ------
    InputError
        If there is no such file, or it is not a roster: every problem in one pass.
    """
    path = folder / FILE if folder.is_dir() else folder
    mend = "Name the folder of a plan that `spreadnet plan --out` wrote."
    try:
        table = pd.read_csv(path, dtype="str", keep_default_na=False, encoding="utf-8-sig")
    except (OSError, ValueError) as error:
        what = f"can't be read ({type(error).__name__})"
        raise InputError([Problem("no-roster", path.name, what, WHY, mend)]) from None
    missing = [name for name in NEEDED if name not in table]
    if missing:
        what = f"there is no column '{missing[0]}'"
        raise InputError([Problem("no-roster", path.name, what, WHY, mend, row=1)])
    days = pd.to_datetime(table["date"], format="%Y-%m-%d", errors="coerce")
    sequence = pd.to_numeric(table["sequence"], errors="coerce")
    problems = [
        Problem(
            "not-a-date" if name == "date" else "not-a-number",
            path.name,
            f"{shown(table.loc[row, name])} can't be read",
            WHY,
            "Take the file as it was written, or plan without --previous.",
            row=int(row) + 2,
            column=name,
        )
        for name, values in (("date", days), ("sequence", sequence))
        for row in table.index[values.isna()]
    ]
    if problems:
        raise InputError(problems)
    return table[list(NEEDED)].assign(
        date=days.astype("datetime64[s]"),
        km=pd.to_numeric(table["km"], errors="coerce"),
        sequence=sequence.astype("int64"),
    )
