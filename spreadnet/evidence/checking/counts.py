"""Counts of visits and contacts held against each other, and against what a ramp can take."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.region import DIRECTIONS, Note
from spreadnet.evidence.types import Checked

COUNTS = dict(zip(DIRECTIONS, ("launches", "retrievals"), strict=True))
# People miscount, and a party may be met that nobody counted, so a contradiction is refused only
# when it is gross: more parties than three times the boats counted and five besides, or any party
# where no boat at all is counted both ways. House rule, no source.
TIMES, SLACK = 3, 5
SPARE_BOATS = 2  # over what the lanes can take, for a visit of a minute
# A boat takes a minute or more on the ramp even with nobody waiting: common practice, no source.
MOST_PER_LANE_HOUR = 60.0
SHOWN_ROWS = 3


def count_problems(tables: Mapping[str, Checked]) -> list[Problem]:
    """
    Counts that can't be true, in one problem a kind at its first row.

    A 0 typed where nobody counted makes a landing look empty; this is where it shows.

    Parameters
    ----------
    tables : mapping
        Typed tables by name; contacts and landings are used when they are there.

    Returns
    -------
    problems : list of Problem
        `counts-contradict` when far more parties were met than boats counted, `too-many-boats`
        when more boats are counted than the lanes can take.
    """
    if "visits" not in tables:
        return []
    visits = tables["visits"]
    met = _met(visits, tables.get("contacts"))
    problems = []
    for direction, name in COUNTS.items():
        boats = visits.frame[name].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
        gross = _gross(met[direction], boats) | (_none_counted(visits) & (met[direction] > 0))
        words = f"{{:.0f}} contacts {direction}, and {{:.0f}} {name} counted"
        numbers = met[direction].to_numpy(), boats
        problems += _grouped(visits, "counts-contradict", name, gross, words, *numbers)
    refused, spoken, boats = _parties(visits, met)
    gross = (refused > 0) & _gross(refused + spoken, boats)
    words = "{:.0f} refused and {:.0f} contacts, and {:.0f} launches and retrievals counted"
    problems += _grouped(
        visits, "counts-contradict", "refused", gross, words, refused, spoken, boats
    )
    return problems + _too_many(visits, tables.get("landings"))


def count_notes(tables: Mapping[str, Checked]) -> list[Note]:
    """
    A note on visits where somewhat more parties were met than boats counted.

    Parameters
    ----------
    tables : mapping
        As in `count_problems`.

    Returns
    -------
    notes : list of Note
    """
    if "visits" not in tables:
        return []
    visits = tables["visits"]
    met = _met(visits, tables.get("contacts"))
    over = np.zeros(len(met), dtype=bool)
    for direction, name in COUNTS.items():
        boats = visits.frame[name].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
        over |= met[direction].to_numpy() > boats
    refused, spoken, boats = _parties(visits, met)
    over |= (refused > 0) & (refused + spoken > boats)
    rows = visits.frame.index[over]
    if not len(rows):
        return []
    first = ", ".join(str(r) for r in rows[:SHOWN_ROWS]) + (
        " ..." if len(rows) > SHOWN_ROWS else ""
    )
    text = f"visits: in {len(rows)} of {len(met)} more parties were met than boats counted"
    return [Note("counts-differ", f"{text} (rows {first}); a count holds all boats, met or not")]


def _met(visits: Checked, contacts: Checked | None) -> pd.DataFrame:
    """Contacts of each direction at each visit, by row of the visit."""
    frame = visits.frame
    if contacts is None:
        return pd.DataFrame(0, index=frame.index, columns=list(DIRECTIONS))
    visit, ids = pd.factorize(contacts.frame["visit_id"])
    met = {}
    for name in DIRECTIONS:
        these = (contacts.frame["direction"] == name).to_numpy(dtype=bool) & (visit >= 0)
        number = pd.Series(np.bincount(visit[these], minlength=len(ids)), index=ids)
        met[name] = number.reindex(frame["visit_id"], fill_value=0).to_numpy()
    return pd.DataFrame(met, index=frame.index)


def _gross(parties: pd.Series | np.ndarray, boats: np.ndarray) -> np.ndarray:
    """Where far more parties were met than boats counted; not where nobody counted."""
    return np.asarray(parties, dtype=float) > TIMES * boats + SLACK


def _none_counted(visits: Checked) -> np.ndarray:
    """Visits at which both counts are 0, which no contact can stand beside."""
    zero = (visits.frame[list(COUNTS.values())] == 0).fillna(value=False)
    return zero.all(axis=1).to_numpy(dtype=bool)


def _parties(visits: Checked, met: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Refusals, contacts, and boats counted both ways (NaN where one was not counted)."""
    refused = visits.frame["refused"].astype("Float64").to_numpy(dtype=float, na_value=0.0)
    counts = visits.frame[list(COUNTS.values())].astype("Float64")
    boats = counts.to_numpy(dtype=float, na_value=np.nan).sum(axis=1)
    return refused, met.sum(axis=1).to_numpy(dtype=float), boats


def _too_many(visits: Checked, landings: Checked | None) -> list[Problem]:
    """Visits with more boats an hour than the lanes of the landing can take."""
    frame = visits.frame
    lanes = pd.Series(1.0, index=frame.index)
    if landings is not None:
        known = landings.frame.dropna(subset=["landing_id"]).drop_duplicates("landing_id")
        given = known.set_index("landing_id")["ramp_lanes"].astype("Float64")
        lanes = frame["landing_id"].map(given).astype("Float64").fillna(1.0).clip(lower=1.0)
    hours = (frame["end"] - frame["start"]).to_numpy(dtype=float)
    most = MOST_PER_LANE_HOUR * hours * lanes.to_numpy(dtype=float) + SPARE_BOATS
    problems = []
    for name in COUNTS.values():
        boats = frame[name].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
        wrong = (boats > most) & (hours > 0)
        words = f"{{:.0f}} {name} in {{:.0f}} minutes over {{:.0f}} lane{{}}"
        numbers = boats, hours * 60, lanes.to_numpy(dtype=float), np.where(lanes == 1, "", "s")
        problems += _grouped(visits, "too-many-boats", name, wrong, words, *numbers)
    return problems


_MEND = {
    "counts-contradict": "Correct the count; leave it empty where boats were not counted.",
    "too-many-boats": "Correct the count, the visit's hours, or ramp_lanes of the landing.",
}
_WHY = {
    "counts-contradict": "A 0 or a low count where nobody counted makes the landing look empty.",
    "too-many-boats": f"No lane takes more than {MOST_PER_LANE_HOUR:g} boats an hour.",
}


def _grouped(
    visits: Checked, code: str, name: str, wrong: np.ndarray, words: str, *numbers: np.ndarray
) -> list[Problem]:
    """One problem of all visits with the same fault, with the words and numbers of the first."""
    rows = np.flatnonzero(wrong)
    if not len(rows):
        return []
    more = f" (and {len(rows) - 1} more such visits)" if len(rows) > 1 else ""
    row = int(visits.frame.index[int(rows[0])])
    what_first = words.format(*(n[int(rows[0])] for n in numbers)) + more
    return [Problem(code, visits.file, what_first, _WHY[code], _MEND[code], row=row, column=name)]
