"""The finds of a region to what they say: which years are known, which finds can't be used."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spreadnet.evidence.region import Note
from spreadnet.model.carriage import habitat, stream_rates
from spreadnet.model.distance import landing_and_lake_points
from spreadnet.model.finds.learned import Learned, learn_species
from spreadnet.model.finds.waters import waters

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region

    Array = NDArray[np.floating]

OF_ONE_YEAR, MANY = 0.2, 10  # share of all finds in one year that looks like a list, of how many
DEPTH_KNOWN = (0.0, 0.3)  # prior of the depth exponent where habitat already goes by depth


def learn_finds(
    region: Region, evidence: Evidence, *, prior: Mapping[str, tuple[float, float]]
) -> Learned:
    """
    What the dated finds of every species in scope say.

    Parameters
    ----------
    region : Region
        The input.
    evidence : Evidence
        Step one.
    prior : mapping of name to (float, float)
        What interviews say of exponents, see `fit.PRIORS`.

    Returns
    -------
    learned : Learned
        With notes on finds that can't be used, or that may mislead.
    """
    through = region.known_through
    first = region.settings.season_first_day.year
    _, points_m = landing_and_lake_points(region.landings, region.lakes)
    seen = waters(
        points_m,
        area_ha=region.lakes["area_ha"].to_numpy(float),
        max_depth_m=region.lakes["depth_m"].to_numpy(float),
    )
    with_landing = np.asarray(region.lakes.index.isin(region.landings["lake_id"]), bool)
    species, notes = {}, _season_notes(through, first)
    for name, status in evidence.status.items():
        one = evidence.species[name]
        own = dict(prior)
        if one.habitat_rule == "clarity":
            own["depth"] = DEPTH_KNOWN
        learned = learn_species(
            seen,
            found_year=status.first_found,
            present=status.known,
            through=through,
            habitat=habitat(one, region.lakes),
            streams=stream_rates(one, region.streams, region.lakes.index)
            * evidence.assumptions["found_anyway"],
            prior=own,
        )
        if learned is not None:
            species[name] = learned
        notes += _find_notes(
            one.label, status.first_found, status.known, with_landing, through=through
        )
    return Learned(
        waters=seen,
        species=species,
        seasons=region.settings.seasons,
        gap=max(first - 1 - through, 0),
        through=through,
        notes=tuple(notes),
    )


def _season_notes(through: int, first: int) -> list[Note]:
    """A season that begins years after the last of which anything is known."""
    if first - 1 <= through:
        return []
    text = (
        f"finds and surveys are known through {through}; {first - 1 - through} years before the "
        f"season of {first} are unknown, which widens all that is foretold (`known_through` in "
        "region.toml says so where nothing was found since)"
    )
    return [Note("years-unknown", text)]


def _find_notes(
    label: str,
    year: Array,
    known: NDArray[np.bool_],
    with_landing: NDArray[np.bool_],
    *,
    through: int,
) -> list[Note]:
    """Finds without a date, in one year, or where no landing is listed."""
    notes = []
    dated = known & np.isfinite(year) & (year <= through)
    undated = int((known & ~np.isfinite(year)).sum())
    if undated:
        text = (
            f"{label}: {undated} finds without a date count as infested now, and say nothing of "
            "how it spreads"
        )
        notes.append(Note("finds-undated", text))
    years, number = np.unique(year[dated], return_counts=True)
    if dated.sum() >= MANY:
        many = [
            f"{number[k]} in {int(years[k])}"
            for k in range(len(years))
            if number[k] >= OF_ONE_YEAR * dated.sum() and k > 0
        ]
        if many:
            text = (
                f"{label}: of {int(dated.sum())} dated finds, {' and '.join(many)}: a list taken "
                "over in one year, rather than spread, would mislead what is learned"
            )
            notes.append(Note("finds-in-one-year", text))
    outside = int((dated & ~with_landing).sum())
    if outside:
        text = (
            f"{label}: {outside} of {int(dated.sum())} dated finds are in lakes without a listed "
            "landing; the ranking can say nothing of those lakes"
        )
        notes.append(Note("finds-without-landing", text))
    return notes
