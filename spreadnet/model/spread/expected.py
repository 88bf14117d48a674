"""Expected spread over seasons, and its adjoint: what every boat reached would avoid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from spreadnet.model.spread.incidence import collapse_matrix

if TYPE_CHECKING:
    import scipy.sparse as sp
    from numpy.typing import NDArray

    from spreadnet.model.trips.dense import TripFlow

    Array = NDArray[np.floating]


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


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """Share of boats reached at each landing, for boats leaving and boats arriving, 0 to 1."""

    leaving: Array
    arriving: Array

    @classmethod
    def none(cls, n_landings: int) -> Coverage:
        """No educator anywhere."""
        return cls(np.zeros(n_landings), np.zeros(n_landings))


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """
    The expected course of one species over T seasons.

    Attributes
    ----------
    cumulative_hazard : array, shape (T + 1, L)
        Hazard summed up to the start of each season; row 0 is zero.
    infested : array, shape (T + 1, L)
        Chance of being infested at the start of each season; row 0 is `initial`.
    introductions : array, shape (T, L)
        Living introductions expected in each season that could found a population.
    carried : array, shape (T, K, R), or None
        Boats arriving at each landing with each route carrying, before the landing's own rate;
        None from `path_by_lake`, which needs only lakes.
    """

    cumulative_hazard: Array
    infested: Array
    introductions: Array
    carried: Array | None

    @property
    def seasons(self) -> int:
        """Number of seasons T."""
        return len(self.introductions)


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
        Shares reached, each shape (K,), 0 to 1.

    Returns
    -------
    leaving, arriving : arrays, shape (R, K)
        The rates of `inputs` times `1 - effect * coverage`.
    """
    effect = inputs.education_effect[:, None]
    return (
        inputs.leaving * (1 - effect * coverage.leaving),
        inputs.arriving * (1 - effect * coverage.arriving),
    )


def expected_spread(inputs: SpreadInputs, coverage: Coverage, *, seasons: int) -> Path:
    """
    Expected course of the species: the mean-field recursion on cumulative hazards.

    Each season's hazard is added to a running sum, so a chance can never leave 0 to 1 and tiny
    hazards are not lost. The result is slightly high where a few lakes decide what happens,
    because it spreads each lake's chance over all its neighbours at once.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    coverage : Coverage
        Shares of boats reached, the same in every season.
    seasons : int
        Seasons to look ahead, 1 or more.

    Returns
    -------
    path : Path
        Chances and introductions by season, in the order of `inputs`'s lakes and landings.

    Raises
    ------
    ValueError
        If `seasons` is below 1.

    Notes
    -----
    With x the chance of being infested, u and v the rates on leaving and arriving and w the
    weights: q = trips' (u x), z = establish * sum over the lake's landings and routes of
    w v (q + outside), hazard = habitat (z^c + streams' x), x = 1 - (1 - x0) exp(-sum of hazards).
    """
    if seasons < 1:
        message = f"Invalid seasons '{seasons}'. It must be 1 or more."
        raise ValueError(message)
    leaving, arriving = covered(inputs, coverage)
    collapse = collapse_matrix(inputs.landing_lake, len(inputs.initial))
    dtype = np.result_type(leaving, arriving, inputs.initial, float)
    n_lakes, (n_routes, n_landings) = len(inputs.initial), leaving.shape
    hazards = np.zeros((seasons + 1, n_lakes), dtype)
    infested = np.empty((seasons + 1, n_lakes), dtype)
    introductions = np.empty((seasons, n_lakes), dtype)
    carried = np.empty((seasons, n_landings, n_routes), dtype)
    outside = inputs.outside_boats[:, None] * inputs.outside_leaving
    downstream = inputs.streams.T.tocsr()
    free = 1 - inputs.initial
    infested[0] = inputs.initial
    for season in range(seasons):
        at_origin = infested[season][inputs.landing_lake]
        carried[season] = inputs.trips.into(leaving.T * at_origin[:, None]) + outside
        by_landing = (carried[season] * arriving.T) @ inputs.weights
        introductions[season] = inputs.establish * (collapse @ by_landing)
        hazard = inputs.habitat * (
            introductions[season] ** inputs.allee_exponent + downstream @ infested[season]
        )
        hazards[season + 1] = hazards[season] + hazard
        infested[season + 1] = inputs.initial - free * np.expm1(-hazards[season + 1])
    return Path(hazards, infested, introductions, carried)


def new_infestations(inputs: SpreadInputs, path: Path) -> Array:
    """
    Chance of a new infestation of each lake by the end of the path.

    Parameters
    ----------
    inputs : SpreadInputs
        The inputs that made the path.
    path : Path
        Result of `expected_spread`.

    Returns
    -------
    chance : array, shape (L,)
        Chance that the lake is free now and infested at the end, 0 to 1.
    """
    return -(1 - inputs.initial) * np.expm1(-path.cumulative_hazard[-1])


def total(inputs: SpreadInputs, path: Path) -> float:
    """
    New infestations expected over the whole region, weighted by worth.

    Parameters
    ----------
    inputs : SpreadInputs
        The inputs that made the path.
    path : Path
        Result of `expected_spread`.

    Returns
    -------
    total : float
        Sum over lakes of worth times the chance of a new infestation.
    """
    new: Any = inputs.worth @ new_infestations(inputs, path)  # complex in complex-step tests
    return new


def gradient(inputs: SpreadInputs, coverage: Coverage, path: Path) -> Gradient:
    """
    What coverage at each landing avoids, for all landings at once.

    One pass backwards over the seasons gives for every landing what two further runs would give
    for one: the cost is about that of one more forward pass.

    Parameters
    ----------
    inputs : SpreadInputs
        The inputs that made the path.
    coverage : Coverage
        The coverage that made the path; the gradient is taken there.
    path : Path
        Result of `expected_spread`.

    Returns
    -------
    gradient : Gradient
        Avoided new infestations per unit of coverage (positive: coverage helps).

    Raises
    ------
    ValueError
        If the path does not hold what boats carried.

    Notes
    -----
    The discrete adjoint of `expected_spread`; tests compare it with complex-step derivatives.
    """
    if path.carried is None:
        message = "Invalid path. It must come from `expected_spread`."
        raise ValueError(message)
    leaving, arriving = covered(inputs, coverage)
    collapse = collapse_matrix(inputs.landing_lake, len(inputs.initial))
    free = 1 - inputs.initial
    at_end = np.exp(-path.cumulative_hazard[-1])
    by_hazard = inputs.worth * free * at_end
    by_leaving = np.zeros_like(leaving)
    by_arriving = np.zeros_like(arriving)
    initial = inputs.worth * np.expm1(-path.cumulative_hazard[-1])
    lake_value = np.empty_like(path.introductions)
    exponent = inputs.allee_exponent
    for season in reversed(range(path.seasons)):
        by_habitat = by_hazard * inputs.habitat
        slope = exponent * path.introductions[season] ** (exponent - 1) if exponent != 1 else 1.0
        lake_value[season] = by_habitat * slope
        by_landing = inputs.establish * lake_value[season][inputs.landing_lake]
        weighted = by_landing[:, None] * inputs.weights
        by_arriving += (weighted * path.carried[season]).T
        back = inputs.trips.out_of(weighted * arriving.T)
        at_origin = path.infested[season][inputs.landing_lake]
        by_leaving += (back * at_origin[:, None]).T
        by_state = collapse @ (back * leaving.T).sum(axis=1) + inputs.streams @ by_habitat
        still_free = np.exp(-path.cumulative_hazard[season])
        initial = initial + by_state * still_free
        by_hazard = by_hazard + by_state * free * still_free
    effect = inputs.education_effect[:, None]
    return Gradient(
        leaving_routes=effect * inputs.leaving * by_leaving,
        arriving_routes=effect * inputs.arriving * by_arriving,
        initial=initial,
        lake_value=lake_value,
    )
