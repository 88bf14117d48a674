"""From contacts to counts of which other lake boats were last in, or go to next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import scipy.sparse as sp

from spreadnet.evidence.region import DIRECTIONS
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEFT_OUT = ("no answer", "none", "outside", "same lake", "lake without a landing")


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Interviews:
    """
    Interviews that name another lake of the region: what the gravity fit learns from.

    Attributes
    ----------
    counts : sparse array, shape (R, L)
        Interviews of the row that name each lake.
    landing : array of int, shape (R,)
        Position of the row's landing.
    direction : array of int, shape (R,)
        0 launching (the lake was the last water), 1 retrieving (it is the next water).
    own_lake : array of int, shape (R,)
        Position of the landing's own lake.
    candidates : array of bool, shape (L,)
        Lakes with at least one landing, the only ones a boat can be trailered to or from.
    left_out : mapping of str to int
        Contacts that are not in `counts`, by reason, in the order of `LEFT_OUT`.
    """

    counts: sp.csr_array
    landing: NDArray[np.integer]
    direction: NDArray[np.integer]
    own_lake: NDArray[np.integer]
    candidates: NDArray[np.bool_]
    left_out: Mapping[str, int]

    @property
    def total(self) -> float:
        """Number of interviews that name another lake."""
        return float(self.counts.sum())


def build_interviews(
    contacts: pd.DataFrame, visits: pd.DataFrame, landings: pd.DataFrame, lakes: pd.DataFrame
) -> Interviews:
    """
    Count the lakes named in interviews, by landing and direction.

    Parties launching tell where the boat was last in the water, parties retrieving where it goes
    next. Answers of `outside`, `none` or the same lake are for the shares, not for the choice
    among other lakes, and are only counted here.

    Parameters
    ----------
    contacts, visits, landings, lakes : DataFrame
        Tables of a `Region`.

    Returns
    -------
    interviews : Interviews
        One row for each landing and direction with at least one interview.

    Raises
    ------
    ValueError
        If an answer names a lake that is not in `lakes`, or a visit or landing is unknown.
    """
    landing, direction, water = _answers(contacts, visits, landings)
    landing_lake = _positions(lakes.index, landings["lake_id"], "lake_id")
    own_lake = landing_lake[landing]
    candidates = np.zeros(len(lakes), bool)
    candidates[landing_lake] = True

    is_lake = water.notna() & ~water.isin(["none", "outside"])
    named = np.full(len(water), -1)
    named[is_lake] = _positions(lakes.index, water[is_lake], "lake named in an interview")
    reason = np.select(
        [
            water.isna(),
            water.eq("none").fillna(False),
            water.eq("outside").fillna(False),
            named == own_lake,
            ~candidates[named],
        ],
        list(range(len(LEFT_OUT))),
        default=-1,
    )
    used = reason < 0
    left_out = np.bincount(reason[~used], minlength=len(LEFT_OUT))
    keys, row = np.unique(landing[used] * len(DIRECTIONS) + direction[used], return_inverse=True)
    counts = sp.coo_array(
        (np.ones(int(used.sum())), (row, named[used])), shape=(len(keys), len(lakes))
    ).tocsr()
    at_landing = keys // len(DIRECTIONS)
    return Interviews(
        counts,
        at_landing,
        keys % len(DIRECTIONS),
        landing_lake[at_landing],
        candidates,
        dict(zip(LEFT_OUT, left_out.tolist(), strict=True)),
    )


def narrowed(
    interviews: Interviews, *, most: int
) -> tuple[Interviews, NDArray[np.integer], NDArray[np.integer]]:
    """
    Only landings where someone was interviewed and lakes that can be named, numbered anew.

    The fit looks at no others, and a matrix of all landings by all lakes need not be held. Each
    landing's answers are weighed by themselves, so leaving out landings loses no more than their
    number.

    Parameters
    ----------
    interviews : Interviews
        As `build_interviews` gives them.
    most : int
        Most landings kept: those with the most answers, ties in order.

    Returns
    -------
    interviews : Interviews
        With positions among the landings and lakes kept.
    landings, lakes : arrays of int
        Positions of these among all.
    """
    lakes = np.flatnonzero(interviews.candidates)
    at, row = np.unique(interviews.landing, return_inverse=True)
    answers = np.bincount(row, np.asarray(interviews.counts.sum(axis=1)).ravel())
    kept = np.sort(np.argsort(-answers, kind="stable")[:most])
    rows = np.isin(row, kept)
    part = Interviews(
        counts=interviews.counts[rows][:, lakes],
        landing=np.searchsorted(kept, row[rows]),
        direction=interviews.direction[rows],
        own_lake=np.searchsorted(lakes, interviews.own_lake[rows]),
        candidates=np.ones(len(lakes), bool),
        left_out=interviews.left_out,
    )
    return part, at[kept], lakes


def _answers(
    contacts: pd.DataFrame, visits: pd.DataFrame, landings: pd.DataFrame
) -> tuple[NDArray[np.integer], NDArray[np.integer], pd.Series]:
    """Landing position, direction and the water named, one a contact."""
    visit = _positions(visits.index, contacts["visit_id"], "visit_id")
    landing = _positions(landings.index, visits["landing_id"], "landing_id")[visit]
    direction = _positions(pd.Index(DIRECTIONS), contacts["direction"], "direction")
    water = contacts["last_water"].where(direction == 0, contacts["next_water"])
    return landing, direction, water.reset_index(drop=True)


def _positions(index: pd.Index, labels: pd.Series, what: str) -> NDArray[np.intp]:
    """Positions of labels in an index, all of them known."""
    positions = index.get_indexer(pd.Index(labels))
    if (positions < 0).any():
        unknown = labels.iloc[int(np.flatnonzero(positions < 0)[0])]
        message = f"Invalid {what} '{unknown}'. It must be one of those in its table."
        raise ValueError(message)
    return positions
