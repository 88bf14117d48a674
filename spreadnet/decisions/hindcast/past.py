"""A region as it was known before a year, with nothing that was learned later."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.errors import ModelError
from spreadnet.evidence.estimating import find_years
from spreadnet.evidence.region import Note

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from spreadnet.evidence.region import Region

    Array = NDArray[np.floating]


def years_of_finds(region: Region) -> dict[str, Array]:
    """
    Year of the first find in each lake, by species in scope.

    Parameters
    ----------
    region : Region
        As `read_region` gives it.

    Returns
    -------
    years : dict of species to array, shape (L,)
        NaN where there is no find or no date.
    """
    return {name: find_years(region.status, region.lakes, name) for name in region.settings.species}


def last_year_foretold(region: Region, years: Mapping[str, Array], *, from_year: int) -> int:
    """
    Last year of which finds are known; refused where there is nothing before or after.

    Parameters
    ----------
    region : Region
        The input.
    years : mapping of species to array
        Result of `years_of_finds`.
    from_year : int
        First year foretold.

    Returns
    -------
    through : int
        As `Region.known_through` has it.

    Raises
    ------
    ModelError
        If no find has a date, or none before or no year after `from_year` is known.
    """
    dated = np.concatenate([year[np.isfinite(year)] for year in years.values()])
    if not dated.size:
        message = (
            "no find has a date, so nothing can be foretold from what came before\n\nhint: fill in "
            "`first_found` in status"
        )
        raise ModelError(message)
    through = region.known_through
    first = int(dated.min()) + 1
    if not first <= from_year <= through:
        message = (
            f"finds are dated from {int(dated.min())} and known of through {through}, so they "
            f"can't be foretold from {from_year}\n\nhint: give a year from {first} to {through}"
        )
        raise ModelError(message)
    return through


def past_region(region: Region, *, from_year: int, drop_later_visits: bool = False) -> Region:
    """
    The region as it was known before a year.

    Parameters
    ----------
    region : Region
        As it is known now.
    from_year : int
        Finds of this year and later are taken away.
    drop_later_visits : bool
        Whether visits and contacts are too.

    Returns
    -------
    region : Region
        Only lakes found before are known. All others are unknown and not surveyed.

    Notes
    -----
    Numbers of surveys are taken away even where the last one lies before the year. The table
    has one row a lake, which a later find or survey overwrites: the lakes that still show an old
    number are those in which nothing was found since, so the number would tell the outcome.
    """
    status = region.status.copy()
    known = (status["status"] == "present") & _found_before(status, from_year)
    status.loc[~known, "status"] = "unknown"
    status.loc[~known, "first_found"] = pd.NaT
    status.loc[~known, "surveys"] = 0
    status["last_survey"] = pd.NaT
    status["last_survey"] = status["last_survey"].astype(region.status["last_survey"].dtype)
    settings = replace(region.settings, known_through=from_year - 1)
    region = replace(region, settings=settings)
    if not drop_later_visits:
        return replace(region, status=status)
    earlier = region.visits["date"].dt.year < from_year
    visits = region.visits[earlier.to_numpy(bool)]
    kept = region.contacts["visit_id"].isin(visits.index)
    return replace(
        region, status=status, visits=visits, contacts=region.contacts[kept.to_numpy(bool)]
    )


def known_lakes(region: Region, species: str) -> NDArray[np.bool_]:
    """
    Lakes known to hold a species.

    Parameters
    ----------
    region : Region
        Of now, or as it was.
    species : str
        Its name.

    Returns
    -------
    known : array of bool, shape (L,)
        In the order of the region's lakes.
    """
    rows = region.status[
        (region.status["species"] == species) & (region.status["status"] == "present")
    ]
    return np.asarray(region.lakes.index.isin(rows["lake_id"]), bool)


def what_was_left_out(region: Region, *, from_year: int, drop_later_visits: bool) -> list[Note]:
    """
    What was taken away so that nothing learned later leaks in, and what was not.

    Parameters
    ----------
    region : Region
        As it is known now.
    from_year, drop_later_visits
        As for `past_region`.

    Returns
    -------
    notes : list of Note
        In plain words.
    """
    status = region.status
    present = status["status"] == "present"
    undated = int((present & status["first_found"].isna()).sum())
    absent = (status["status"] == "absent").astype(int)  # without a number that is one survey
    surveyed = status["surveys"].fillna(absent) > 0
    taken = int((surveyed & ~(present & _found_before(status, from_year))).sum())
    notes = []
    if undated:
        text = f"finds without a date ({undated}) are unknown then, and neither foretold nor scored"
        notes.append(Note("undated", text))
    if taken:
        text = (
            f"numbers of surveys ({taken} rows of status) are left out: later finds and surveys "
            "change them, so they would tell what came"
        )
        notes.append(Note("surveys-left-out", text))
    later = int((region.visits["date"].dt.year >= from_year).sum())
    if drop_later_visits:
        text = (
            f"visits and contacts of {from_year} and later are left out too, which leaves "
            f"{len(region.visits) - later:,} of {len(region.visits):,} visits"
        )
    else:
        text = (
            f"visits and contacts of all years are used, {later:,} of {len(region.visits):,} "
            f"visits of {from_year} or later: they say how boats move, which is taken not to "
            "change, and nothing of what is infested"
        )
    notes.append(Note("visits", text))
    return notes


def _found_before(status: pd.DataFrame, year: int) -> pd.Series:
    """Rows with a find dated before a year."""
    return (pd.to_datetime(status["first_found"]).dt.year < year).fillna(False).astype(bool)
