"""Step one of the chain: everything that the tables say, with how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from spreadnet.assumptions import DEFAULT
from spreadnet.evidence.estimating.days_out import DaysOut, days_out
from spreadnet.evidence.estimating.gap_rates import Gaps, fit_gaps
from spreadnet.evidence.estimating.status import Status, fit_status
from spreadnet.evidence.estimating.traffic import Traffic, fit_traffic
from spreadnet.evidence.estimating.where_from import Shares, fit_shares
from spreadnet.evidence.species.species import Species, read_species

if TYPE_CHECKING:
    from collections.abc import Mapping

    from spreadnet.assumptions import Assumptions
    from spreadnet.evidence.region import Region


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """
    What was seen, as estimates with their spread, for one region.

    `traffic`, `shares`, `gaps` and `days_out` describe boats; `status` and `species` are by
    species name, in the order of `region.toml`; `assumptions` are those used.
    """

    traffic: Traffic
    shares: Shares
    gaps: Gaps
    days_out: DaysOut
    species: Mapping[str, Species]
    status: Mapping[str, Status]
    assumptions: Assumptions


def gather_evidence(region: Region, *, assumptions: Assumptions = DEFAULT) -> Evidence:
    """
    Traffic, where boats come from, gap rates, days out and status, from a checked region.

    Parameters
    ----------
    region : Region
        As `read_region` gives it.
    assumptions : Assumptions
        Used where the tables say nothing; what `region.toml` overrides is applied on top.

    Returns
    -------
    evidence : Evidence
        In the order of the region's landings and lakes.

    Raises
    ------
    ValueError
        If `region.toml` names an assumption or species that does not exist.
    """
    settings = region.settings
    known = read_species()
    changes = settings.assumptions
    used = assumptions.with_changes({n: c for n, c in changes.items() if n not in known})
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
    )
