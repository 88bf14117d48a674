"""Whom hours meet: boats, those with something to put right, those on bridging trips."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from spreadnet.decisions.hours.bridging import bridging_trips
from spreadnet.decisions.hours.reach import coverage_of
from spreadnet.evidence.region import DIRECTIONS
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.decisions.hours.bridging import Bridging
    from spreadnet.decisions.hours.reach import Reach
    from spreadnet.evidence.gather import Evidence
    from spreadnet.model.spread import SpreadInputs

    Array = NDArray[np.floating]


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Met:
    """
    Whom an hour meets at the best estimates, for K landings and D day blocks.

    Attributes
    ----------
    reach : Reach
        Boats met, and their shares of the season's.
    with_gap : array, shape (K, D)
        Boats met in an hour that have one gap or more. Gaps are taken to come independently.
    bridging : Bridging
        Boats on bridging trips.
    """

    reach: Reach
    with_gap: Array
    bridging: Bridging

    @classmethod
    def of(cls, reach: Reach, evidence: Evidence, inputs: SpreadInputs) -> Met:
        """From the evidence, and the inputs of any species, which share their trips."""
        known = {name: status.known for name, status in evidence.status.items()}
        bridging = bridging_trips(inputs.trips, inputs.landing_lake, known=known)
        any_gap = 1 - np.prod(1 - evidence.gaps.mean(), axis=1)  # by direction and landing
        launches = evidence.traffic.table["launches"].to_numpy(float)
        arriving = np.minimum(reach.arriving * launches[:, None], reach.boats)
        leaving = reach.boats - arriving
        arrives, leaves = (any_gap[DIRECTIONS.index(d)] for d in ("launching", "retrieving"))
        return cls(reach, arriving * arrives[:, None] + leaving * leaves[:, None], bridging)

    def season(self, hours: Array) -> dict[str, Any]:
        """Boats that hours by landing and day block meet in a season, by name of column."""
        bridging = self.bridging.met(coverage_of(hours, self.reach))
        return {
            "boats_met_a_season": float((hours * self.reach.boats).sum()),
            "boats_with_a_gap_a_season": float((hours * self.with_gap).sum()),
            **self._named("bridging_boats_a_season", bridging),
        }

    def bridging_per_100_hours(
        self, landings: NDArray[np.integer], blocks: NDArray[np.integer]
    ) -> dict[str, Array]:
        """Boats on bridging trips met in 100 hours in some cells, by name of column."""
        boats = 100 * self.bridging.by_hour(self.reach)[:, landings, blocks]
        return self._named("bridging_boats_per_100_hours", boats)

    def _named(self, name: str, values: Array) -> dict[str, Array]:
        """Values of any species and of each by name of column."""
        names = [name, *(f"{name}_{species}" for species in self.bridging.species)]
        return dict(zip(names, values, strict=True))
