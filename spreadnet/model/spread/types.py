"""What the spread depends on and what comes of it, for one species."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Sequence

    import scipy.sparse as sp
    from numpy.typing import NDArray

    from spreadnet.model.trips import TripFlow

    Array = NDArray[np.floating]


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class SpreadInputs:
    """
    Everything that the spread of one species depends on, for K landings and L lakes.

    Routes (R of them) are the gaps and the residual water on which a boat carries the species.
    Coverage changes only `leaving` and `arriving`, never `trips`, so that one trip matrix serves
    every policy.

    Attributes
    ----------
    trips : TripFlow
        Trips a season between landings; none within a lake.
    landing_lake : array of int, shape (K,)
        Position of each landing's lake.
    leaving : array, shape (R, K)
        Share of boats leaving that have the route open, 0 to 1.
    arriving : array, shape (R, K)
        Rate on arriving over the region's mean rate on arriving (no unit).
    weights : array, shape (R,)
        Chance that an open route carries the species alive to the next launch, 0 to 1.
    outside_boats : array, shape (K,)
        Boats a season that arrive from infested waters outside the region.
    outside_leaving : array, shape (R,)
        Share of those boats that left with the route open.
    education_effect : array, shape (R,)
        Share of open routes that are closed on a boat that was reached, 0 to 1.
    establish : float
        Chance that one living introduction founds a population (alpha).
    allee_exponent : float
        1 for independent introductions; above 1 few together fail more often.
    habitat : array, shape (L,)
        Suitability of each lake, 0 to 1.
    streams : sparse array, shape (L, L)
        Hazard a season from the upstream lake of the row to the downstream lake of the column.
    initial : array, shape (L,)
        Chance that each lake is infested at the start, 0 to 1.
    worth : array, shape (L,)
        How much a new infestation of each lake counts.
    """

    trips: TripFlow
    landing_lake: NDArray[np.integer]
    leaving: Array
    arriving: Array
    weights: Array
    outside_boats: Array
    outside_leaving: Array
    education_effect: Array
    establish: float
    allee_exponent: float
    habitat: Array
    streams: sp.sparray
    initial: Array
    worth: Array


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """
    Share of boats reached at each landing, for boats leaving and boats arriving, 0 to 1.

    Arrays of shape (K,), or (P, K) for P coverages worked on together.
    """

    leaving: Array
    arriving: Array

    @classmethod
    def none(cls, n_landings: int) -> Coverage:
        """No educator anywhere."""
        return cls(np.zeros(n_landings), np.zeros(n_landings))

    @classmethod
    def together(cls, coverages: Sequence[Coverage]) -> Coverage:
        """Several coverages as one of shape (P, K)."""
        return cls(
            np.array([one.leaving for one in coverages]),
            np.array([one.arriving for one in coverages]),
        )

    def __getitem__(self, some: slice | NDArray[np.integer]) -> Coverage:
        """Some of several coverages."""
        return Coverage(self.leaving[some], self.arriving[some])


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """
    The expected course of one species over T seasons; with P coverages each array is (., P, L).

    Attributes
    ----------
    cumulative_hazard : array, shape (T + 1, L)
        Hazard summed up to the start of each season; row 0 is zero.
    infested : array, shape (T + 1, L)
        Chance of being infested at the start of each season; row 0 is `initial`.
    introductions : array, shape (T, L)
        Living introductions expected in each season that could found a population.
    """

    cumulative_hazard: Array
    infested: Array
    introductions: Array

    @property
    def seasons(self) -> int:
        """Number of seasons T."""
        return len(self.introductions)


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Gradient:
    """
    How the expected new infestations change with coverage, one adjoint pass.

    Attributes
    ----------
    leaving_routes, arriving_routes : arrays, shape (R, K)
        New infestations (weighted by worth) avoided by reaching all boats that leave (arrive),
        in every season, route by route.
    initial : array, shape (L,)
        Further new infestations that an infestation of the lake now would bring.
    lake_value : array, shape (T, L)
        New infestations (weighted by worth) per introduction that could found a population, by
        season and lake.
    """

    leaving_routes: Array
    arriving_routes: Array
    initial: Array
    lake_value: Array

    @property
    def leaving(self) -> Array:
        """Avoided by reaching all boats that leave, shape (K,)."""
        return self.leaving_routes.sum(axis=0)

    @property
    def arriving(self) -> Array:
        """Avoided by reaching all boats that arrive, shape (K,)."""
        return self.arriving_routes.sum(axis=0)


def covered(inputs: SpreadInputs, coverage: Coverage) -> tuple[Array, Array]:
    """
    Rates on leaving and arriving once the boats reached have closed what they were shown.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    coverage : Coverage
        Shares reached, each shape (K,) or (P, K), 0 to 1.

    Returns
    -------
    leaving, arriving : arrays, shape (R, K) or (P, R, K)
        The rates of `inputs` times `1 - effect * coverage`.
    """
    effect = inputs.education_effect[:, None]
    return (
        inputs.leaving * (1 - effect * coverage.leaving[..., None, :]),
        inputs.arriving * (1 - effect * coverage.arriving[..., None, :]),
    )
