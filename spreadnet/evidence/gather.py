"""Step one of the chain: everything that the tables say, with how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from spreadnet.assumptions import DEFAULT, Assumptions
from spreadnet.evidence.estimating import (
    CONTACTS,
    DaysOut,
    Gaps,
    Shares,
    Status,
    Traffic,
    days_out,
    fit_gaps,
    fit_shares,
    fit_status,
    fit_traffic,
)
from spreadnet.evidence.read import as_region
from spreadnet.evidence.species import Species, read_species
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from spreadnet.assumptions import Assumption
    from spreadnet.evidence.region import Region


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """
    What was seen, as estimates with their spread, for one region.

    `traffic`, `shares`, `gaps` and `days_out` describe boats; `status` and `species` are by
    species name, in the order of `region.toml`; `assumptions` are those used, `contacts_per_hour`
    the one of them that holds for what educators do here.
    """

    traffic: Traffic
    shares: Shares
    gaps: Gaps
    days_out: DaysOut
    species: Mapping[str, Species]
    status: Mapping[str, Status]
    assumptions: Assumptions
    contacts_per_hour: Assumption

    @property
    def counted(self) -> bool:
        """Whether any boat was counted, any boater asked, or any boat checked."""
        hours = float(self.traffic.table["hours"].sum())
        answers = float(self.shares.counts.sum() + self.gaps.table["checked"].sum())
        return hours + answers > 0


def gather_evidence(
    region: Region | str | Path, *, assumptions: Assumptions | None = None
) -> Evidence:
    """
    Traffic, where boats come from, gap rates, days out and status, from a checked region.

    Parameters
    ----------
    region : Region or path
        As `read_region` gives it, or its folder.
    assumptions : Assumptions, optional
        Used where the tables say nothing. A number changed here wins over `region.toml`; all
        others are as `region.toml` has them, else as `DEFAULT_ASSUMPTIONS`.

    Returns
    -------
    evidence : Evidence
        In the order of the region's landings and lakes.

    Raises
    ------
    ValueError
        If `region.toml` names an assumption or species that does not exist.
    """
    region = as_region(region)
    settings = region.settings
    known = read_species()
    changes = settings.assumptions
    stated = {n: c for n, c in changes.items() if n not in known}
    if settings.contacts_per_hour is not None:
        stated[CONTACTS[settings.education]] = settings.contacts_per_hour
    used = _used(assumptions, stated)
    unknown = [name for name in settings.species if name not in known]
    if unknown:
        message = f"Invalid species '{unknown[0]}'. Known are {', '.join(known)}."
        raise ValueError(message)
    species = {name: known[name].with_changes(changes.get(name, {})) for name in settings.species}
    seen = (region.contacts, region.visits, region.landings)
    return Evidence(
        traffic=fit_traffic(
            region.visits,
            region.landings,
            region.lakes,
            settings,
            assumptions=used,
            contacts=region.contacts,
        ),
        shares=fit_shares(*seen, region.lakes, assumptions=used),
        gaps=fit_gaps(*seen, assumptions=used, education=settings.education),
        days_out=days_out(*seen, assumptions=used),
        species=species,
        status={
            name: fit_status(
                region.status,
                region.lakes,
                name,
                detection=one.values["detection"],
                assumptions=used,
            )
            for name, one in species.items()
        },
        assumptions=used,
        contacts_per_hour=used.entries[CONTACTS[settings.education]],
    )


def _used(given: Assumptions | None, changes: Mapping[str, Any]) -> Assumptions:
    """Assumptions with the changes of `region.toml`, but for those that were given changed."""
    if given is None:
        return DEFAULT.with_changes(changes, source="region.toml")
    if not isinstance(given, Assumptions):
        message = (
            f"Invalid assumptions of type {type(given).__name__}. Give "
            'DEFAULT_ASSUMPTIONS.with_changes({"refusal": 0.1}), with the numbers to change.'
        )
        raise ValueError(message)
    kept = {n: c for n, c in changes.items() if given.entries.get(n) == DEFAULT.entries.get(n)}
    return given.with_changes(kept, source="region.toml")
