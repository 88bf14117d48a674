"""Step two of the chain: how boats move in this region, from whatever there is to learn it from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import logsumexp

from spreadnet.chance import stream
from spreadnet.evidence.region import Note
from spreadnet.model.distance import (
    landing_and_lake_points,
    landing_lake_positions,
    planar_km,
)
from spreadnet.model.fast import fast_available
from spreadnet.model.finds import Learned, learn_finds
from spreadnet.model.movement.compare_laws import chosen_law, compare_laws
from spreadnet.model.movement.fit import GravityFit, assumed_gravity, fit_gravity
from spreadnet.model.movement.interviews import build_interviews, narrowed
from spreadnet.model.movement.named import NamedLakes, named_lakes
from spreadnet.model.movement.ready_table import movements_trips, unplaced_trips
from spreadnet.model.movement.shares import (
    TRAFFIC,
    destination_shares,
    lake_attractions,
    lake_pull,
    lake_trips,
    law_shares,
    within_lake_split,
)
from spreadnet.model.trips import LawTrips, LumpedTrips, Trips, lumped_trips
from spreadnet.words import counted, short_repr

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.movement.interviews import Interviews

    Array = NDArray[np.floating]

TripLaw = Callable[[Any, Any], Any]  # (mass, distance_km) -> weight, see movement.law_shares
ROWS = 256  # landings worked out at once
SMALLEST_HA = 0.01
FEWEST_BOATS = 1e-6  # a landing without traffic still needs a logarithm
FEWEST_INTERVIEWS = 30  # below this the interviews say less than the assumed exponents
MOST_ASKED = 3000  # landings whose interviews the law is learned from
TRAFFIC_DRAWS = 100  # by which estimated traffic widens the fit's intervals
LUMPED = 10_000  # landings above which distances are not held
LARGE = 1000  # landings above which trips are held in half the memory
LOAD_SLOPE = (-0.3, 0.3)  # of the log of living loads by log area, where nobody checked; from lists
LOAD_NOT_SEEN = 0.1  # sd of the slope of what a check does not see: what is alive, and in how many


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Movement:
    """
    How boats move between lakes, ready to give trips.

    Attributes
    ----------
    kind : str
        `fitted` to interviews, `assumed`, `own law` (a researcher's) or `movements` (a table).
    landing_lake : array of int, shape (K,)
        Position of each landing's lake.
    lakes, group : arrays of int, shapes (A,) and (K,)
        Positions of the lakes with a landing, and each landing's place among them.
    distance_km : array, shape (K, A), or None
        From every landing to each of these lakes; None above `LUMPED` landings, where it is worked
        out when asked for.
    landing_km, lake_km : arrays, shapes (K, 2) and (A, 2)
        Easting and northing of the landings, and of where trips to each of these lakes end.
    area_ha : array, shape (L,)
        Areas of all lakes.
    fit : GravityFit or None
        Coefficients with their covariance; None for `own law` and `movements`.
    laws : DataFrame or None
        Comparison of laws on landings held out, where there were interviews.
    interviews : int
        Interviews that named another lake with a landing.
    law : callable or None
        A researcher's own law.
    ready : Trips or None
        Trips from a `movements` table.
    finds : Learned
        What dated finds say, for the traffic, loads and establishment that boats don't tell.
    named : NamedLakes, or None
        What interviews say of launches at lakes where nobody counted.
    notes : tuple of Note
        What the fit did without.
    """

    kind: str
    landing_lake: NDArray[np.integer]
    lakes: NDArray[np.integer]
    group: NDArray[np.integer]
    distance_km: Array | None
    landing_km: Array
    lake_km: Array
    area_ha: Array
    fit: GravityFit | None
    laws: pd.DataFrame | None
    interviews: int
    law: TripLaw | None
    ready: Trips | None
    finds: Learned
    named: NamedLakes | None = None
    notes: tuple[Note, ...] = ()

    @property
    def coefficients(self) -> Array:
        """Coefficients of the fit, none where nothing was fitted."""
        return np.zeros(0) if self.fit is None else self.fit.bounded()

    def draw(self, rng: np.random.Generator) -> Array:
        """One set of coefficients, as uncertain as the interviews leave them."""
        return np.zeros(0) if self.fit is None else self.fit.draw(rng)

    def log_access(self, launches: Array, *, coefficients: Array) -> Array | None:
        """
        Log of the pull of all other lakes at each landing, which trips are shares of.

        Parameters
        ----------
        launches : array, shape (K,)
            Boats launched in the season.
        coefficients : array, shape (P,)
            As `coefficients` or `draw` give them.

        Returns
        -------
        log_access : array, shape (K,), or None
            None where trips are given as a table or by a law of one's own.
        """
        if self.fit is None:
            return None
        named, every = len(self.fit.attractions), np.ones(len(self.lakes), bool)
        attractions = lake_attractions(
            self.area_ha[self.lakes], np.maximum(launches, FEWEST_BOATS), self.group
        )
        pull = lake_pull(self.fit, attractions, coefficients[:named], every)
        total = np.empty(len(self.group))
        pull32, theta = pull.astype(np.float32), coefficients[named:].astype(np.float32)
        for first in range(0, len(total), ROWS):
            rows = np.arange(first, min(first + ROWS, len(total)))
            km = planar_km(1000 * self.landing_km[rows], 1000 * self.lake_km, dtype=np.float32)
            utility = self.fit.law.log_pull(km, theta)
            utility += pull32
            utility[np.arange(len(rows)), self.group[rows]] = -np.inf
            total[rows] = logsumexp(utility, axis=1)
        return np.where(np.isfinite(total), total, total[np.isfinite(total)].min(initial=0.0))

    def area_pull(self, launches: Array, *, coefficients: Array) -> float:
        """
        How the pull of a lake grows with its area, on the log scale.

        Parameters
        ----------
        launches, coefficients
            As for `log_access`.

        Returns
        -------
        slope : float
            Over the lakes with a landing; as trips of a table, or a law of one's own, have it.
        """
        log_area = np.log(np.maximum(self.area_ha[self.lakes], SMALLEST_HA))
        away = log_area - log_area.mean()
        if not away @ away > 0:
            return 0.0
        if self.fit is None:
            trips = self.trips(launches, np.full(len(launches), 0.5), coefficients=coefficients)
            left = np.bincount(self.group, trips.leaving(), minlength=len(self.lakes))
            pull = np.log(np.maximum(left, FEWEST_BOATS))
        else:
            named, every = len(self.fit.attractions), np.ones(len(self.lakes), bool)
            attractions = lake_attractions(
                self.area_ha[self.lakes], np.maximum(launches, FEWEST_BOATS), self.group
            )
            pull = lake_pull(self.fit, attractions, coefficients[:named], every)
        return float(away @ pull / (away @ away))

    def packed(self) -> Movement:
        """The same without what is quickly worked out again, to be sent to other processes."""
        return replace(self, distance_km=None) if self.compiled else self

    @property
    def compiled(self) -> bool:
        """Whether trips come from coordinates by compiled code."""
        return self.fit is not None and len(self.group) > LARGE and fast_available()

    def trips(
        self, launches: Array, share_other: Array, *, coefficients: Array
    ) -> Trips | LumpedTrips:
        """
        Trips a season between landings.

        Parameters
        ----------
        launches : array, shape (K,)
            Boats launched in the season.
        share_other : array, shape (K,)
            Share of those whose last water was another lake of the region.
        coefficients : array, shape (P,)
            As `coefficients` or `draw` give them.

        Returns
        -------
        trips : Trips or LumpedTrips
            None within a lake. By a fitted law, trips from far away are lumped above `LUMPED`
            landings, see `lumped`.
        """
        if self.ready is not None:
            return self.ready
        if self.fit is not None and len(self.group) > LUMPED:
            return self.lumped(launches, share_other, coefficients=coefficients)
        launches = np.maximum(launches, FEWEST_BOATS)
        if self.compiled:
            return self._by_law(launches, share_other, coefficients).stored()
        distance_km = self.distance_km
        if distance_km is None:
            points = (1000 * self.landing_km, 1000 * self.lake_km)
            distance_km = planar_km(*points, dtype=np.float32)
        if self.law is not None:
            mass = np.bincount(self.group, launches, minlength=len(self.lakes)).astype(float)
            shares = law_shares(self.law, mass, distance_km, self.group)
        elif self.fit is not None:
            shares = destination_shares(
                self.fit,
                lake_attractions(self.area_ha[self.lakes], launches, self.group),
                distance_km,
                self.group,
                coefficients=coefficients,
                dtype=distance_km.dtype,
            )
        return lake_trips(launches, share_other, shares, self.group)

    def lumped(self, launches: Array, share_other: Array, *, coefficients: Array) -> LumpedTrips:
        """
        The same trips for tens of thousands of landings: near ones as they are, far ones in cells.

        Parameters
        ----------
        launches, share_other, coefficients
            As for `trips`.

        Returns
        -------
        trips : LumpedTrips
            What `expected_spread` and `gradient` need of trips, in a tenth of the time and memory
            and within 1% of `trips`.

        Raises
        ------
        ValueError
            If trips come from a table or a law of one's own, which can't be lumped.
        """
        if self.fit is None:
            message = f"Invalid movement '{self.kind}'. Only trips by a fitted law can be lumped."
            raise ValueError(message)
        launches = np.maximum(launches, FEWEST_BOATS)
        return lumped_trips(self._by_law(launches, share_other, coefficients))

    def _by_law(self, launches: Array, share_other: Array, coefficients: Array) -> LawTrips:
        """Trips as the fitted law gives them, not yet worked out."""
        fit: GravityFit = self.fit  # type: ignore[assignment]
        attractions = lake_attractions(self.area_ha[self.lakes], launches, self.group)
        named, every = len(fit.attractions), np.ones(len(self.lakes), bool)
        return LawTrips(
            landing_km=self.landing_km,
            lake_km=self.lake_km,
            group=self.group,
            split=within_lake_split(launches, self.group),
            arriving=launches * share_other,
            pull=lake_pull(fit, attractions, coefficients[:named], every),
            law=fit.law,
            coefficients=coefficients[named:],
        )

    def summary(self) -> dict[str, Any]:
        """What was used and how well it is known, for the run record."""
        return {
            "kind": self.kind,
            "interviews": self.interviews,
            "law": None if self.fit is None else self.fit.law.name,
            "coefficients": None if self.fit is None else self.fit.table(),
            "laws_compared": self.laws,
        }


def fit_movement(
    region: Region, evidence: Evidence, *, seed: int, law: TripLaw | None = None
) -> Movement:
    """
    Learn how boats move, from the best source there is.

    In order: a researcher's own law, a `movements` table, the interviews, and, where hardly any
    interview names another lake, the exponents that are assumed.

    Parameters
    ----------
    region : Region
        The input.
    evidence : Evidence
        Result of `gather_evidence`; its traffic says how much each lake attracts.
    seed : int
        Seed of the folds by which laws are compared.
    law : callable, optional
        `(mass, distance_km) -> weight`; mass is the boats launched at each lake with a landing.

    Returns
    -------
    movement : Movement
        Ready to give trips.
    """
    movement = _of_boats(region, evidence, seed=seed, law=law)
    launches = evidence.traffic.table["launches"].to_numpy(float)
    learned = learn_finds(region, evidence, prior=_finds_prior(movement, evidence, launches))
    return replace(movement, finds=learned, notes=movement.notes + learned.notes)


def _finds_prior(
    movement: Movement, evidence: Evidence, launches: Array
) -> dict[str, tuple[float, float]]:
    """
    What interviews and checks say of the finds' exponents of distance and of the size of sources.

    Boats' pull and finds' source need not share their slope, since loads differ by lake size: by
    `LOAD_SLOPE` before anybody checked, which holds what is true in made regions whose slopes
    differ by 0.5, and by what checks found where there are some. Of the interviews' covariance only
    the part that no draw of traffic enters, so that nothing learned depends on a seed.
    """
    fit = movement.fit
    if fit is None or fit.assumed or fit.law.terms != ("log_distance",):
        return {}
    at = len(fit.attractions)
    variance = np.diag(fit.clustered)
    pull = movement.area_pull(launches, coefficients=movement.coefficients)
    means, variances = [LOAD_SLOPE[0]], [LOAD_SLOPE[1] ** 2]
    seen = evidence.gaps.leaving_slope(np.log(movement.area_ha[movement.landing_lake]))
    if seen is not None:
        means.append(seen[0])
        variances.append(seen[1] ** 2 + LOAD_NOT_SEEN**2)
    weights = 1 / np.array(variances)
    load = float(weights @ np.array(means) / weights.sum())
    return {
        "distance": (-float(fit.coefficients[at]), float(variance[at] + 0.15**2) ** 0.5),
        "source_area": (pull + load, float(variance[0] + 1 / weights.sum()) ** 0.5),
    }


def _of_boats(region: Region, evidence: Evidence, *, seed: int, law: TripLaw | None) -> Movement:
    """Movement by the best source there is on boats alone."""
    landing_lake = landing_lake_positions(region.landings, region.lakes)
    dtype = np.float32 if len(region.landings) > LARGE else np.float64
    area_ha = region.lakes["area_ha"].to_numpy(float)
    launches = np.maximum(evidence.traffic.table["launches"].to_numpy(float), FEWEST_BOATS)
    interviews = build_interviews(region.contacts, region.visits, region.landings, region.lakes)
    named = int(interviews.total)
    lakes, group = np.unique(landing_lake, return_inverse=True)
    at, ends = landing_and_lake_points(region.landings, region.lakes)
    few = len(region.landings) <= LUMPED
    base = {
        "landing_km": at / 1000,
        "lake_km": ends[lakes] / 1000,
        "landing_lake": landing_lake,
        "lakes": lakes,
        "group": group,
        "distance_km": planar_km(at, ends[lakes], dtype=dtype) if few else None,
        "area_ha": area_ha,
        "interviews": named,
        "fit": None,
        "laws": None,
        "law": None,
        "ready": None,
        "finds": Learned.nothing(),
    }
    if law is not None:
        own = Movement(**{**base, "kind": "own law", "law": law})
        return replace(own, notes=_notes_of_law(own, launches))
    if len(region.movements):
        return Movement(**{**base, **_from_table(region, landing_lake, launches, dtype)})
    if named < FEWEST_INTERVIEWS:
        text = (
            f"{named} interviews name another lake with a landing, too few to learn how boats "
            "move: the assumed distance and area exponents are used"
        )
        return Movement(
            **{
                **base,
                "kind": "assumed",
                "fit": assumed_gravity(evidence.assumptions),
                "notes": (Note("movement-assumed", text),),
            }
        )
    ways = (at, ends[lakes])
    return Movement(**{**base, **_from_interviews(evidence, interviews, base, ways, seed=seed)})


def _from_interviews(
    evidence: Evidence,
    interviews: Interviews,
    base: Mapping[str, Any],
    ways: tuple[Array, Array],
    *,
    seed: int,
) -> dict[str, Any]:
    """The law that foretells landings held out best, fitted; `ways` lead from landings to lakes."""
    group, dtype = base["group"], np.float32 if len(base["group"]) > LARGE else np.float64
    traffic, area_ha = evidence.traffic, base["area_ha"][base["lakes"]]

    def pull(launches: Array) -> dict[str, Array]:
        return lake_attractions(area_ha, np.maximum(launches, FEWEST_BOATS), group)

    asked, places, _ = narrowed(interviews, most=MOST_ASKED)
    attractions = pull(traffic.table["launches"].to_numpy(float))
    between_km = planar_km(ways[0][places], ways[1], dtype=dtype)
    laws = compare_laws(asked, attractions, between_km, rng=stream(seed, "folds of landings"))
    chosen = chosen_law(laws)
    streams = (stream(seed, "traffic of the fit", draw) for draw in range(TRAFFIC_DRAWS))
    drawn = {TRAFFIC: np.array([pull(traffic.draw(rng).launches)[TRAFFIC] for rng in streams])}
    fit = fit_gravity(asked, attractions, between_km, law=chosen, drawn=drawn)
    text = (
        f"movement: the {chosen.name.replace('_', ' ')} law predicts trips of landings that it was "
        "not fitted to best, or as well as a longer one, from "
        f"{base['interviews']:,} interviews at {fit.landings} landings"
    )
    notes: tuple[Note, ...] = (Note("movement-fitted", text),)
    named = None
    if TRAFFIC in fit.attractions:
        own_lake = group[places]
        shares = destination_shares(
            fit, attractions, between_km, own_lake, candidates=asked.candidates, dtype=dtype
        )
        named = _named(evidence, asked, shares, fit=fit, group=group)
        notes += _notes_of_named(int(named.lakes.sum()))
    return {"kind": "fitted", "fit": fit, "laws": laws, "named": named, "notes": notes}


def _named(
    evidence: Evidence,
    asked: Interviews,
    shares: Array,
    *,
    fit: GravityFit,
    group: NDArray[np.integer],
) -> NamedLakes:
    """How often each lake is named, beside how often it should be at the estimated launches."""
    traffic, number = evidence.traffic, asked.counts.shape[1]
    answers = np.bincount(
        asked.landing, np.asarray(asked.counts.sum(axis=1)).ravel(), minlength=len(shares)
    )
    launches = np.maximum(traffic.table["launches"].to_numpy(float), FEWEST_BOATS)
    split = within_lake_split(launches, group)
    own = np.bincount(group, split**2 * traffic.own_spread(), minlength=number)
    at_lake = np.bincount(group, traffic.table["visited"].to_numpy(float), minlength=number)
    return named_lakes(
        np.asarray(asked.counts.sum(axis=0), float).ravel(),
        answers @ shares,
        counted=at_lake > 0,
        own_variance=np.log1p(own),
        exponent=float(fit.bounded()[fit.attractions.index(TRAFFIC)]),
        alike=fit.alike,
    )


def _notes_of_named(number: int) -> tuple[Note, ...]:
    """Launches that follow from what boaters name, too."""
    if not number:
        return ()
    text = (
        f"launches at {counted(number, 'lake')} where nobody counted follow from how often "
        "boaters name them, too"
    )
    return (Note("launches-named", text),)


def _notes_of_law(movement: Movement, launches: Array) -> tuple[Note, ...]:
    """Landings to which a researcher's law sends nobody; refused where that is all of them."""
    trips = movement.trips(launches, np.ones(len(launches)), coefficients=np.zeros(0))
    alone = int((trips.arriving() <= 0).sum())
    if len(movement.lakes) < 2 or not alone:
        return ()
    if alone == len(launches):
        message = "Invalid law. It gives no weight to any lake at any landing."
        raise ValueError(message)
    text = f"the law gives no weight to any lake at {alone} landings: no trips reach them"
    return (Note("law-without-weight", text),)


def _from_table(
    region: Region, landing_lake: NDArray[np.integer], launches: Array, dtype: type
) -> dict[str, Any]:
    """Trips from a ready table, with a note on those that no landing can take."""
    lake_id = region.lakes.index
    lost = unplaced_trips(region.movements, landing_lake, lake_id=lake_id)
    notes = [
        Note(
            "movement-table",
            "movement: the table `movements` is used, not the interviews, and its trips are "
            "taken as certain",
        )
    ]
    if lost > 0:
        text = f"{lost:,.0f} trips of `movements` leave or reach a lake without a landing: left out"
        notes.append(Note("movement-unplaced", text))
    return {
        "kind": "movements",
        "ready": movements_trips(
            region.movements, launches, landing_lake, lake_id=lake_id, dtype=dtype
        ),
        "notes": tuple(notes),
    }
