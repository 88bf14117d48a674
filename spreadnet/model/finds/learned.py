"""What the finds of every species in scope say, at their likeliest or in one draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.assumptions import Z90
from spreadnet.model.finds.ahead import Ahead, NextSeason, ahead_of, next_season, wandered
from spreadnet.model.finds.fit import FEWEST_FINDS, FindsFit, fit_finds
from spreadnet.model.finds.hazard import (
    ACCESS,
    AREA,
    DEPTH,
    DISTANCE,
    SHAPED,
    SOURCE,
    finds_of,
    hazard_by_boat,
)
from spreadnet.model.finds.waters import Waters
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from spreadnet.evidence.region import Note

    Array = NDArray[np.floating]

GROWTH = (
    0.0,
    0.3,
)  # of log finds a year, within which a lag of finds is made good
LEFT_OVER = 0.2  # sd of what of the slope by lake area is neither boats nor anything else known


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class SpeciesFinds:
    """
    What the finds of one species say.

    `fit` of when and where; `ahead`, lakes free and infested now; `growth` a year of the log of
    finds expected, over the years that the fit speaks of.
    """

    fit: FindsFit
    ahead: Ahead
    growth: float


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class SpeciesTold:
    """
    What one set of values says of a species, L lakes.

    Attributes
    ----------
    area, depth, access, distance, source_area : float
        Exponents, see `hazard.log_likelihood`.
    season : NextSeason
        Hazard of finds next season, and the share of it from outside.
    growth : float
        Of finds a year, see `SpeciesFinds`.
    """

    area: float
    depth: float
    access: float
    distance: float
    source_area: float
    season: NextSeason
    growth: float


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """
    One set of values of all species with finds to learn from.

    Attributes
    ----------
    species : mapping of name to SpeciesTold
        Those with enough finds only.
    area, access, distance : float
        Means over species, each weighted by how much its finds say: boats are the same boats.
    area_variance : float
        Of `area`, as the finds leave it.
    left_over : float
        What of `area` is neither boats nor anything else known, 0 at the best estimates.
    """

    species: Mapping[str, SpeciesTold]
    area: float
    access: float
    distance: float
    area_variance: float
    left_over: float


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """
    What finds say, by species with enough of them.

    Attributes
    ----------
    waters : Waters
        All lakes.
    species : mapping of name to SpeciesFinds
        Empty where no species has finds enough.
    seasons, gap : int
        Seasons looked ahead, and years before them of which nothing is known.
    through : int
        Last year of which it is known what was found.
    notes : tuple of Note
        What the finds lack.
    """

    waters: Waters
    species: Mapping[str, SpeciesFinds]
    seasons: int
    gap: int
    through: int
    notes: tuple[Note, ...] = ()

    @classmethod
    def nothing(cls) -> Learned:
        """Nothing learned yet."""
        none = np.zeros(0)
        return cls(Waters(np.zeros((0, 2)), none, none, none), {}, 1, 0, 0)

    def best(self) -> Told | None:
        """At the likeliest values; None where nothing was learned."""
        return self._told({name: (one.fit.best, 0.0) for name, one in self.species.items()}, 0.0)

    def draw(self, rng_of: Callable[[str], np.random.Generator]) -> Told | None:
        """One draw; `rng_of` gives each species, and "" for what they share, its own stream."""
        values = {}
        for name, one in self.species.items():
            rng = rng_of(name)
            drawn = one.fit.draw(rng)
            level = wandered(one.fit, rng, seasons=self.seasons, gap=self.gap).mean()
            values[name] = (drawn, float(level))
        return self._told(values, LEFT_OVER * float(rng_of("").standard_normal()))

    def _told(self, values: Mapping[str, tuple[Array, float]], left_over: float) -> Told | None:
        """What a set of values and levels says."""
        if not values:
            return None
        told = {
            name: _species_told(self.species[name], at, level)
            for name, (at, level) in values.items()
        }
        area, area_variance = self._mean(told, "area", AREA)
        return Told(
            species=told,
            area=area,
            access=self._mean(told, "access", ACCESS)[0],
            distance=self._mean(told, "distance", DISTANCE)[0],
            area_variance=area_variance,
            left_over=left_over,
        )

    def _mean(self, told: Mapping[str, SpeciesTold], name: str, place: int) -> tuple[float, float]:
        """Mean over species by what their finds say beyond the prior, and its variance."""
        value = np.array([getattr(one, name) for one in told.values()])
        fits = [self.species[which].fit for which in told]
        variance = np.array([fit.covariance[place - SHAPED, place - SHAPED] for fit in fits])
        before = np.array([fit.prior[name][1] ** 2 for fit in fits])
        weight = np.maximum(1 / variance - 1 / before, 1e-6 / before)
        weight = weight / weight.sum()
        return float(weight @ value), float(weight**2 @ variance)


def _species_told(one: SpeciesFinds, values: Array, level: float) -> SpeciesTold:
    """What a set of values says of a species."""
    shape = values[-SHAPED:]
    return SpeciesTold(
        area=float(shape[AREA]),
        depth=float(shape[DEPTH]),
        access=float(shape[ACCESS]),
        distance=float(shape[DISTANCE]),
        source_area=float(shape[SOURCE]),
        season=next_season(one.fit, values, ahead=one.ahead, level=level),
        growth=one.growth,
    )


def learn_species(
    waters: Waters,
    *,
    found_year: Array,
    present: NDArray[np.bool_],
    through: int,
    habitat: Array,
    streams: Array,
    prior: Mapping[str, tuple[float, float]],
) -> SpeciesFinds | None:
    """
    Fit the finds of one species.

    Parameters
    ----------
    waters : Waters
        All L lakes.
    found_year : array, shape (L,)
        Year of the first find, NaN where there is none or no date.
    present : array of bool, shape (L,)
        Known to be infested now.
    through : int
        Last year of which it is known what was found.
    habitat : array, shape (L,)
        Share of introductions that meet water to live in.
    streams : sparse array, shape (L, L)
        Finds a year that an infested lake brings to the next downstream.
    prior : mapping of name to (float, float)
        What is known better than `PRIORS`.

    Returns
    -------
    learned : SpeciesFinds or None
        None below three finds that count.
    """
    dated = present & np.isfinite(found_year)
    finds = finds_of(
        waters,
        found_year=np.where(present, found_year, np.nan),
        undated=present & ~dated,
        through=through,
        habitat=habitat,
        streams=streams,
    )
    if finds is None or finds.count < FEWEST_FINDS:
        return None
    fit = fit_finds(finds, prior=prior)
    by_year = hazard_by_boat(finds, fit.best)[0].sum(axis=0)
    years = np.arange(len(by_year))
    growth = float(np.polyfit(years, np.log(by_year), 1)[0]) if len(years) > 1 else 0.0
    ahead = ahead_of(waters, infested=present, habitat=habitat)
    return SpeciesFinds(fit, ahead, float(np.clip(growth, *GROWTH)))


def learned_table(learned: Learned) -> pd.DataFrame:
    """
    What was learned from finds, and what it started from, one row a species and number.

    Parameters
    ----------
    learned : Learned
        Result of `learn_finds`.

    Returns
    -------
    table : DataFrame
        `species`, `number`, `value` with its 90% interval `low`, `high`, the same before any find
        was seen (`before`, `before_low`, `before_high`), `finds` that count and their years.
    """
    rows = []
    for name, one in learned.species.items():
        fit, sd = one.fit, one.fit.sd
        for number, value in fit.values.items():
            middle, spread = fit.prior[number]
            rows.append(
                {
                    "species": name,
                    "number": number,
                    "value": value,
                    "low": value - Z90 * sd[number],
                    "high": value + Z90 * sd[number],
                    "before": middle,
                    "before_low": middle - Z90 * spread,
                    "before_high": middle + Z90 * spread,
                    "finds": fit.finds.count,
                    "first_year": int(fit.finds.years[0]),
                    "last_year": int(fit.finds.years[-1]),
                }
            )
    return pd.DataFrame(rows)
