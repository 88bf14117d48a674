"""Who was spoken with, where, and which water they named."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Positions = NDArray[np.integer]

WATERS = ("same", "other", "outside", "none")
NO_ANSWER = -1


def landing_positions(names: pd.Series, landings: pd.DataFrame) -> Positions:
    """
    Position of each named landing in `landings.index`.

    Raises
    ------
    ValueError
        If a landing is not in the table.

    Examples
    --------
    >>> landing_positions(pd.Series(["B", "A"]), pd.DataFrame(index=["A", "B"]))
    array([1, 0])
    """
    found = landings.index.get_indexer(pd.Index(names))
    if np.any(found < 0):
        name = names.to_numpy()[np.argmin(found)]
        message = f"Invalid landing '{name}'. It must be one of the landings' ids."
        raise ValueError(message)
    return found


def visit_positions(contacts: pd.DataFrame, visits: pd.DataFrame) -> Positions:
    """
    Position in `visits.index` of each contact's visit.

    Raises
    ------
    ValueError
        If a visit is not in the table.

    Examples
    --------
    >>> visit_positions(pd.DataFrame({"visit_id": ["V2"]}), pd.DataFrame(index=["V1", "V2"]))
    array([1])
    """
    found = visits.index.get_indexer(pd.Index(contacts["visit_id"]))
    if np.any(found < 0):
        name = contacts["visit_id"].to_numpy()[np.argmin(found)]
        message = f"Invalid visit '{name}'. It must be one of the visits' ids."
        raise ValueError(message)
    return found


def contact_landings(
    contacts: pd.DataFrame, visits: pd.DataFrame, landings: pd.DataFrame
) -> Positions:
    """Position in `landings.index` of the landing where each contact took place."""
    visited = landing_positions(visits["landing_id"], landings)
    return visited[visit_positions(contacts, visits)]


def named_waters(
    answer: pd.Series, landing: Positions, landings: pd.DataFrame, lakes: pd.DataFrame
) -> tuple[Positions, Positions]:
    """
    Which kind of water each boat that is launched was last in.

    Parameters
    ----------
    answer : Series of str
        `last_water` of contacts launching.
    landing : array of int
        Landing of each of them (see `contact_landings`).
    landings, lakes : DataFrame
        Indexed by `landing_id` and `lake_id`.

    Returns
    -------
    kind : array of int
        Position in `WATERS`, or -1 where nothing was answered.
    without_landing : array of int, shape (L,)
        Answers that name each lake of the region without a landing. No trip can start there, so
        they count as `outside`.

    Raises
    ------
    ValueError
        If a water is neither a lake nor `outside` nor `none`.

    Examples
    --------
    >>> lakes = pd.DataFrame(index=["L1", "L2", "L3"])
    >>> landings = pd.DataFrame({"lake_id": ["L1", "L2"]}, index=["A", "B"])
    >>> answer = pd.Series(["L1", "L2", "L3", None])
    >>> named_waters(answer, np.zeros(4, dtype=int), landings, lakes)
    (array([ 0,  1,  2, -1]), array([0, 0, 1]))
    """
    answered = answer.notna().to_numpy(dtype=bool)
    outside = (answer == "outside").fillna(False).to_numpy(dtype=bool)
    none = (answer == "none").fillna(False).to_numpy(dtype=bool)
    lake = lakes.index.get_indexer(pd.Index(answer))
    named = answered & ~outside & ~none
    if np.any(named & (lake < 0)):
        word = answer.to_numpy()[np.argmax(named & (lake < 0))]
        message = f"Invalid water '{word}'. It must be a lake_id, 'outside' or 'none'."
        raise ValueError(message)
    own = lakes.index.get_indexer(pd.Index(landings["lake_id"]))
    dry = named & ~np.isin(lake, own)
    kind = np.full(len(answer), NO_ANSWER)
    kind[named & (lake == own[landing])] = 0
    kind[named & (lake != own[landing]) & ~dry] = 1
    kind[outside | dry] = 2
    kind[none] = 3
    return kind, np.bincount(lake[dry], minlength=len(lakes))
