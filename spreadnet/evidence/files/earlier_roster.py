"""The roster of an earlier plan, read back so that the next one changes little."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from spreadnet.errors import InputError, Problem
from spreadnet.evidence.cells import iso_day
from spreadnet.evidence.personal import shown

FILE = "roster.csv"
NEEDED = (
    *("shift_id", "landing_id", "landing", "date", "start", "end", "day_type", "block", "people"),
    *("km", "status", "uid", "sequence"),
)
# Not in rosters of earlier versions, and what stands there then.
LATER = {"accepted": "", "permission": "", "kind": "education"}
WHY = "Shifts keep their days and their place in calendars only if the plan before is read whole."
# What a cell is called that is not as spreadnet writes it, and how that is told.
_CELLS: dict[str, tuple[str, Callable[[str], object]]] = {
    "date": ("not-a-date", iso_day),
    "start": ("not-a-time", re.compile(r"[0-9]{2}:[0-9]{2}").fullmatch),
    "end": ("not-a-time", re.compile(r"[0-9]{2}:[0-9]{2}").fullmatch),
    "km": ("not-a-number", re.compile(r"|[0-9]{1,9}(\.[0-9]+)?(e[+-]?[0-9]{1,2})?").fullmatch),
    "sequence": ("not-a-number", re.compile(r"[0-9]{1,9}").fullmatch),
    "accepted": ("not-yes-or-no", re.compile(r"\s*(|yes|no)\s*", re.IGNORECASE).fullmatch),
}
MEND = {"accepted": "Write yes where the people of a shift have accepted it, else leave it empty."}


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
    table = table.assign(**{name: text for name, text in LATER.items() if name not in table})
    problems = [
        Problem(
            code,
            path.name,
            f"{shown(text)} can't be read",
            WHY,
            MEND.get(name, "Take the file as it was written, or plan without --previous."),
            row=row + 2,
            column=name,
        )
        for name, (code, reads) in _CELLS.items()
        for row, text in enumerate(table[name].tolist())
        if not reads(text)
    ]
    if problems:
        raise InputError(problems)
    return table[[*NEEDED, *LATER]].assign(
        accepted=table["accepted"].str.strip().str.lower(),
        date=pd.to_datetime(table["date"], format="%Y-%m-%d").astype("datetime64[s]"),
        km=pd.to_numeric(table["km"].where(table["km"] != "")),
        sequence=table["sequence"].astype("int64"),
    )
