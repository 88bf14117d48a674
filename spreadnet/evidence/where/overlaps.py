"""Lakes that share their place: the same lake twice, or outlines drawn over each other."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from spreadnet.errors import Problem
from spreadnet.evidence.personal import brief
from spreadnet.evidence.region import Note

# Shares of the smaller lake's area. Outlines of neighbours drawn by different hands overlap a
# little; when half of one lies in another, the two are one water. House rule, no source.
WORTH_A_WORD, SAME_WATER = 0.01, 0.5
SHOWN = 5
# Outlines of neighbours touch here and there; a layer in which each lake meets more others than
# this, on average, holds its lakes many times over. House rule, no source.
MOST_MEETING, FEW = 5, 1000
AT_ONCE = 16  # outlines looked up together, so that a heap of copies is noticed in time


def same_places(outlines: gpd.GeoSeries, ids: pd.Series, *, file: str) -> list[Problem]:
    """
    Lakes at exactly the same point, or with the same outline.

    Parameters
    ----------
    outlines : GeoSeries
        As the file gives them; the index holds row numbers; none missing.
    ids : Series of str
        lake_id by row.
    file : str
        Name of the file in messages.

    Returns
    -------
    problems : list of Problem
        One for each place, at the second lake there.
    """
    forms = pd.Series(shapely.to_wkb(shapely.normalize(np.asarray(outlines))), outlines.index)
    forms = forms[forms.duplicated(keep=False)]
    problems = []
    for rows in forms.groupby(forms).groups.values():
        names = ", ".join(f"'{brief(ids.loc[r])}'" for r in sorted(rows)[:SHOWN])
        more = f" and {len(rows) - SHOWN} more" if len(rows) > SHOWN else ""
        problems.append(
            Problem(
                "same-place",
                file,
                f"lakes {names}{more} have exactly the same place",
                "Between lakes at one place there is no distance, so no trip can be told.",
                "Correct the places; if they are one lake, keep one row.",
                row=int(sorted(rows)[1]),
                column="geometry",
            )
        )
    return problems


def overlapping(
    metres: gpd.GeoSeries, ids: pd.Series, *, file: str
) -> tuple[list[Problem], list[Note]]:
    """
    Outlines that lie over each other, given the same water to two lakes.

    Parameters
    ----------
    metres : GeoSeries
        Outlines in a projected CRS, none missing; the index holds row numbers. Points, and lakes
        with the very outline of an earlier one (told by `same_places`), are passed over.
    ids : Series of str
        lake_id by row.
    file : str
        Name of the file in messages.

    Returns
    -------
    problems, notes : list of Problem, list of Note
        A problem when half of the smaller lies in the other, a note from 1% on. A lake on an
        island is no overlap when the island is cut out. One problem for all where far more
        outlines meet than lakes can.

    Examples
    --------
    >>> lakes = gpd.GeoSeries([shapely.box(0, 0, 10, 10), shapely.box(8, 0, 18, 10)], index=[2, 3])
    >>> _, notes = overlapping(lakes, pd.Series(["A", "B"], index=[2, 3]), file="lakes.gpkg")
    >>> notes[0].text
    "lakes.gpkg: 1 pairs of outlines overlap by more than 1% of the smaller ('A' and 'B')"
    """
    areas = metres[metres.geom_type.isin(["Polygon", "MultiPolygon"]).to_numpy()]
    forms = pd.Series(shapely.to_wkb(shapely.normalize(np.asarray(areas))), areas.index)
    areas = areas[~forms.duplicated().to_numpy()]
    shapes = shapely.make_valid(np.asarray(areas))
    first, second = _meeting(shapes)
    if len(first) > max(FEW, MOST_MEETING * len(shapes)):
        pair = [brief(ids.loc[areas.index[k[-1]]]) for k in (first, second)]
        return [_heap(file, int(areas.index[second[-1]]), *pair)], []
    smaller = np.minimum(shapely.area(shapes[first]), shapely.area(shapes[second]))
    share = shapely.area(shapely.intersection(shapes[first], shapes[second])) / smaller
    problems = [
        _same_water(file, areas.index[j], ids.loc[areas.index[i]], ids.loc[areas.index[j]], s)
        for i, j, s in zip(first, second, share, strict=True)
        if s > SAME_WATER
    ]
    some = np.flatnonzero((share > WORTH_A_WORD) & (share <= SAME_WATER))
    if not len(some):
        return problems, []
    names = ", ".join(
        f"'{brief(ids.loc[areas.index[first[k]]])}' and '{brief(ids.loc[areas.index[second[k]]])}'"
        for k in some[:SHOWN]
    )
    text = f"{file}: {len(some)} pairs of outlines overlap by more than {WORTH_A_WORD:.0%} of the"
    text += f" smaller ({names}{' ...' if len(some) > SHOWN else ''})"
    return problems, [Note("outlines-overlap", text)]


def _meeting(shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of outlines that meet, each once; no more are looked for when there are too many."""
    tree = shapely.STRtree(shapes)
    pairs = [np.empty((2, 0), dtype=int)]
    found, most = 0, max(FEW, MOST_MEETING * len(shapes))
    for start in range(0, len(shapes), AT_ONCE):
        first, second = tree.query(shapes[start : start + AT_ONCE], predicate="intersects")
        once = first + start < second
        pairs.append(np.stack([first[once] + start, second[once]]))
        found += int(once.sum())
        if found > most:
            break
    first, second = np.concatenate(pairs, axis=1)
    return first, second


def _heap(file: str, row: int, one: str, other: str) -> Problem:
    """The problem that outlines lie over each other by the thousand."""
    return Problem(
        "outlines-overlap",
        file,
        f"thousands of pairs of outlines lie over each other, such as lakes '{one}' and '{other}'",
        "The same water would count as many lakes.",
        "Keep one row for each lake: the layer may hold every lake many times over.",
        row=row,
        column="geometry",
    )


def _same_water(file: str, row: int, one: str, other: str, share: float) -> Problem:
    """The problem that most of one lake lies in another."""
    return Problem(
        "outlines-overlap",
        file,
        f"the outlines of lakes '{brief(one)}' and '{brief(other)}' overlap by {share:.0%} of the"
        " smaller",
        "The same water would count as two lakes.",
        "Correct the outlines: cut an island with a lake on it out as a hole; keep one row if they"
        " are one lake.",
        row=int(row),
        column="geometry",
    )
