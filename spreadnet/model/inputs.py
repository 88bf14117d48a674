"""From estimates to what the spread of each species depends on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.evidence.estimating import WATERS
from spreadnet.evidence.region import DIRECTIONS
from spreadnet.model.carriage import (
    ROUTES,
    arriving_relative,
    habitat,
    leaving_rates,
    mean_survival,
    route_weights,
    stream_rates,
)
from spreadnet.model.finds import (
    Calibration,
    History,
    calibrate,
    history,
    past_hazard,
    past_introductions,
    unseen_by_exposure,
)
from spreadnet.model.spread import Rates, SpreadInputs, lake_rates
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumption
    from spreadnet.evidence.estimating import Status
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region, Settings
    from spreadnet.evidence.species import Species
    from spreadnet.model.estimates import Estimates
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]

PASSES = 2  # a third changes the establishment chance by less than 2%
Z90 = 1.6448536269514722  # 95% point of the standard normal: stated ranges are 90% ranges


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """
    What does not change between draws, small enough to be sent to other processes.

    Attributes
    ----------
    settings : Settings
        `region.toml`.
    landing_ids : tuple of str, length K
        Ids of the landings.
    can_staff : array of bool, shape (K,)
        Whether educators may work there.
    day_blocks : DataFrame, D rows
        `day_type`, `block`, `hours_in_season`.
    lakes, streams : DataFrame
        Tables of the region, without shapes.
    worth : array, shape (L,)
        What a new infestation of each lake counts.
    status : mapping of species to Status
        What was looked for and found.
    through : int
        Last year of which it is known what was found.
    stated_establish : mapping of species to Assumption
        Stated range of the establishment chance.
    outside_answers : float
        Boaters who came from outside the region, or from a lake without a landing.
    named_without_landing : array, shape (L,)
        Those who named each lake without a landing.
    """

    settings: Settings
    landing_ids: tuple[str, ...]
    can_staff: NDArray[np.bool_]
    day_blocks: pd.DataFrame
    lakes: pd.DataFrame
    streams: pd.DataFrame
    worth: Array
    status: Mapping[str, Status]
    through: int
    stated_establish: Mapping[str, Assumption]
    outside_answers: float
    named_without_landing: Array


def place_of(region: Region, evidence: Evidence) -> Place:
    """
    Fixed facts of the region that every draw shares.

    Parameters
    ----------
    region : Region
        The input.
    evidence : Evidence
        Step one.

    Returns
    -------
    place : Place
        In the order of the region's lakes.
    """
    return Place(
        settings=region.settings,
        landing_ids=tuple(region.landings.index),
        can_staff=region.landings["can_staff"].fillna(True).to_numpy(bool),
        day_blocks=evidence.traffic.day_blocks,
        lakes=pd.DataFrame(region.lakes.drop(columns=["geometry", "name"])),
        streams=region.streams,
        worth=region.lakes["worth"].to_numpy(float),
        status=evidence.status,
        through=region.settings.season_first_day.year - 1,
        stated_establish={
            name: one.values.entries["establish"] for name, one in evidence.species.items()
        },
        outside_answers=float(evidence.shares.counts[:, WATERS.index("outside")].sum()),
        named_without_landing=np.asarray(evidence.shares.named_without_landing, float),
    )


def spread_inputs(
    estimates: Estimates, movement: Movement, *, place: Place
) -> tuple[dict[str, SpreadInputs], dict[str, Calibration]]:
    """
    Inputs of the spread of every species for one set of estimates.

    The establishment chance is calibrated anew for every set, so that it makes good whatever the
    drawn rates and carriage have too much or too little: only their product is seen in finds.

    Parameters
    ----------
    estimates : Estimates
        Best estimates or one draw.
    movement : Movement
        The law of movement.
    place : Place
        Fixed facts of the region.

    Returns
    -------
    inputs : dict of species to SpreadInputs
        All share one trip matrix.
    calibration : dict of species to Calibration
        Establishment chances.
    """
    inputs, calibration = {}, {}
    for name, one, fit, _ in each_species(estimates, movement, place=place):
        inputs[name], calibration[name] = one, fit
    return inputs, calibration


def each_species(
    estimates: Estimates, movement: Movement, *, place: Place
) -> Iterator[tuple[str, SpreadInputs, Calibration, Rates]]:
    """
    As `spread_inputs`, one species at a time with its rates between lakes.

    Rates are as large as the trips, so those of one species are let go before the next.

    Parameters
    ----------
    estimates, movement, place
        As for `spread_inputs`.

    Yields
    ------
    name, inputs, calibration, rates
        `rates` is `lake_rates` with every introduction counted once.
    """
    launching, retrieving = (DIRECTIONS.index(d) for d in ("launching", "retrieving"))
    other, outside = WATERS.index("other"), WATERS.index("outside")
    launches = estimates.traffic.launches
    trips = movement.trips(
        launches, estimates.shares[:, other], coefficients=estimates.coefficients
    )
    leaving = leaving_rates(estimates.gaps[retrieving], estimates.ballast)
    arriving = arriving_relative(
        estimates.gaps[launching],
        launches,
        bound=max(estimates.assumptions["arriving_bound"], 1.0),
    )
    from_outside = launches * estimates.shares[:, outside]
    traffic = launches / max(launches.sum(), 1e-12)
    effect = np.full(len(ROUTES), 1 - estimates.education_ratio)
    effect[ROUTES.index("residual")] = 0.0  # nobody can empty a ballast tank wholly
    for name, species in estimates.species.items():
        bare = SpreadInputs(
            trips=trips,
            landing_lake=movement.landing_lake,
            leaving=leaving,
            arriving=arriving,
            weights=_weights(species, estimates),
            outside_boats=from_outside * _outside_infested(name, estimates, place=place),
            outside_leaving=leaving @ traffic,
            education_effect=effect,
            establish=np.nan,
            allee_exponent=species.values["allee_exponent"],
            habitat=habitat(species, place.lakes),
            streams=stream_rates(species, place.streams, place.lakes.index),
            initial=estimates.infested[name].chance,
            worth=place.worth,
        )
        rates = lake_rates(bare, establish=1.0)
        yield name, *_settled(name, bare, estimates, place=place, rates=rates), rates
        del rates


def _settled(
    name: str,
    bare: SpreadInputs,
    estimates: Estimates,
    *,
    place: Place,
    rates: Rates,
) -> tuple[SpreadInputs, Calibration]:
    """
    Inputs with their establishment chance and the lakes infested now; 0 or 1 in a draw.

    Which lakes hold the species unseen follows from what the past brought, and what the past
    brought from which lakes held it unseen, so both are worked out twice. Leaving the unseen
    where surveys alone put them, as likely in quiet lakes as in busy ones, makes introductions
    look 1.2 times as fruitful as they are (20 demo regions).
    """
    stated, drawn = place.stated_establish[name], estimates.infested[name]
    past = _past(name, estimates, place=place)
    settled, exposure = bare, None
    for _ in range(PASSES):
        if past is not None:
            exposure = past_introductions(settled, past, rates=rates, earlier=exposure)
        fit = calibrate(settled, past, exposure, prior=stated.value, prior_log_sd=_log_sd(stated))
        establish = min(fit.at(estimates.establish_score[name]), 1.0)
        settled = replace(settled, establish=establish)
        met = past_hazard(settled, exposure, rates=rates)
        chance = _unseen(name, estimates, place=place, hazard=met)
        settled = replace(settled, initial=chance)
    if drawn.uniform is not None:
        settled = replace(settled, initial=(drawn.uniform < chance).astype(float))
    return settled, fit


def _unseen(
    name: str,
    estimates: Estimates,
    *,
    place: Place,
    hazard: Array,
) -> Array:
    """
    Chance of each lake being infested now.

    How many hold the species unseen follows from surveys, which ones from what boats brought.
    """
    drawn, unknown = estimates.infested[name], ~place.status[name].known
    chance = drawn.chance.copy()
    chance[unknown] = unseen_by_exposure(
        drawn.chance[unknown],
        hazard[unknown],
        missed=1 - watched(name, estimates, place=place)[unknown],
    )
    return chance


def watched(name: str, estimates: Estimates, *, place: Place) -> Array:
    """Chance that an infestation of each lake would be known by now."""
    return place.status[name].watched(
        detection=estimates.species[name].values["detection"],
        found_anyway=estimates.assumptions["found_anyway"],
    )


def _past(name: str, estimates: Estimates, *, place: Place) -> History | None:
    """What was found when, and how well each lake was watched."""
    status = place.status[name]
    return history(
        status.first_found,
        status.known,
        watched=watched(name, estimates, place=place),
        through=place.through,
        found_in_year=estimates.species[name].values["found_in_year"],
    )


def _outside_infested(name: str, estimates: Estimates, *, place: Place) -> float:
    """
    Chance that a boat from outside comes from infested water.

    Lakes of the region without a landing are named too; for those their own status counts.
    """
    assumed = estimates.assumptions["outside_infested"]
    if place.outside_answers == 0:
        return assumed
    named = place.named_without_landing
    known = float(named @ estimates.infested[name].chance)
    return (assumed * (place.outside_answers - named.sum()) + known) / place.outside_answers


def _weights(species: Species, estimates: Estimates) -> Array:
    """Carriage times survival on each route, averaged over the days out that were seen."""
    survival = mean_survival(
        species,
        ROUTES,
        estimates.days_out.days,
        estimates.days_out.weight,
        water_temperature_c=estimates.assumptions["water_temperature_c"],
        cool_damp_share=estimates.assumptions["cool_damp_share"],
    )
    return route_weights(species, survival)


def _log_sd(stated: Assumption) -> float:
    """Spread of a stated range on the log scale, mean of its two sides."""
    return float(np.log(stated.high / stated.low) / (2 * Z90))
