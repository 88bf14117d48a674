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
from spreadnet.model.finds import Calibration, unseen_by_exposure
from spreadnet.model.handover import (
    established_told,
    habitat_told,
    load_told,
    outside_told,
)
from spreadnet.model.spread import (
    FlowRates,
    LakeRates,
    Rates,
    SpreadInputs,
    expected_spread,
    lake_rates,
)
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumption
    from spreadnet.evidence.estimating import Status, StatusDraw, Traffic
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region, Settings
    from spreadnet.evidence.species import Species
    from spreadnet.model.estimates import Estimates
    from spreadnet.model.finds import Finds, Learned
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]

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
    month_hours : array, shape (D, M)
        The same hours by month, in calendar order.
    lakes, streams : DataFrame
        Tables of the region, without shapes.
    worth : array, shape (L,)
        What a new infestation of each lake counts.
    status : mapping of species to Status
        What was looked for and found.
    finds : Learned
        What dated finds say.
    traffic : Traffic
        Of step one.
    checked : array of bool, shape (K,)
        Landings where boats taken out were checked.
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
    month_hours: Array
    lakes: pd.DataFrame
    streams: pd.DataFrame
    worth: Array
    status: Mapping[str, Status]
    finds: Learned
    traffic: Traffic
    checked: NDArray[np.bool_]
    stated_establish: Mapping[str, Assumption]
    outside_answers: float
    named_without_landing: Array


def place_of(region: Region, evidence: Evidence, movement: Movement) -> Place:
    """
    Fixed facts of the region that every draw shares.

    Parameters
    ----------
    region : Region
        The input.
    evidence : Evidence
        Step one.
    movement : Movement
        Step two.

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
        month_hours=evidence.traffic.strata.month_hours,
        lakes=pd.DataFrame(region.lakes.drop(columns=["geometry", "name"])),
        streams=region.streams,
        worth=region.lakes["worth"].to_numpy(float),
        status=evidence.status,
        finds=movement.finds,
        traffic=evidence.traffic,
        checked=evidence.gaps.checked,
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
        bare = _with_finds(name, bare, estimates, movement, place=place)
        rates = lake_rates(bare, establish=1.0)
        bare, rates = _with_outside(name, bare, estimates, rates=rates)
        first, _ = _settled(name, bare, estimates, place=place, rates=rates)
        # Where it may be unseen follows from all that, and brings more or less in its turn.
        bare = replace(bare, initial=_unseen(name, first, estimates, place=place, rates=rates))
        bare, rates = _with_outside(name, bare, estimates, rates=rates)
        settled, fit = _settled(name, bare, estimates, place=place, rates=rates)
        yield name, _as_drawn(settled, estimates.infested[name]), fit, rates
        del rates


def _with_finds(
    name: str, bare: SpreadInputs, estimates: Estimates, movement: Movement, *, place: Place
) -> SpreadInputs:
    """Inputs with what finds say of loads and habitat."""
    told = estimates.told
    if told is None or name not in told.species:
        return bare
    one = told.species[name]
    load = load_told(
        one,
        movement=movement,
        launches=estimates.traffic.launches,
        coefficients=estimates.coefficients,
        checked=place.checked,
    )
    return replace(
        bare,
        leaving=np.minimum(bare.leaving * load, 1.0),
        habitat=bare.habitat * habitat_told(one, told, traffic=place.traffic, movement=movement),
    )


def _with_outside(
    name: str, bare: SpreadInputs, estimates: Estimates, *, rates: LakeRates | FlowRates
) -> tuple[SpreadInputs, LakeRates | FlowRates]:
    """Boats from outside scaled to the share of hazard that finds leave them."""
    told = estimates.told
    if told is None or name not in told.species:
        return bare, rates
    at_risk = ((1 - bare.initial) * bare.habitat)[rates.lakes]
    factor = outside_told(
        told.species[name].season.outside_share,
        inside=float(at_risk @ rates.sent(bare.initial[rates.lakes][None])[0]),
        outside=float(at_risk @ rates.outside),
    )
    return (
        replace(bare, outside_boats=bare.outside_boats * factor),
        replace(rates, outside=rates.outside * factor),
    )


def _settled(
    name: str,
    bare: SpreadInputs,
    estimates: Estimates,
    *,
    place: Place,
    rates: Rates,
) -> tuple[SpreadInputs, Calibration]:
    """
    Inputs with their establishment chance.

    Where finds say how many are to come, the chance follows from them; else the stated range is
    used.
    """
    stated = place.stated_establish[name]
    told = None if estimates.told is None else estimates.told.species.get(name)
    finds = place.finds.species.get(name)
    given = stated.high == stated.low
    if told is None or finds is None or given:
        establish = min(stated.value * np.exp(_log_sd(stated) * estimates.establish_score[name]), 1)
        settled = replace(bare, establish=float(establish))
        basis = "given" if given else "range"
        count = int((np.isfinite(place.status[name].first_found)).sum())
        fit = Calibration(float(establish), count, None, None, basis)
    else:
        introductions = np.zeros(len(bare.initial))
        introductions[rates.lakes] = rates.sent(bare.initial[rates.lakes][None])[0] + rates.outside
        establish = established_told(
            told,
            introductions=introductions,
            streams=bare.initial @ bare.streams,
            habitat=bare.habitat,
            weight=1 - bare.initial,
            noticed=watched(name, estimates, place=place),
            allee_exponent=bare.allee_exponent,
            found_in_year=estimates.species[name].values["found_in_year"],
        )
        settled = replace(bare, establish=min(establish, 1.0))
        years = finds.fit.finds.years
        fit = Calibration(
            settled.establish, finds.fit.finds.count, int(years[0]), int(years[-1]), "finds"
        )
    return settled, fit


def _as_drawn(settled: SpreadInputs, drawn: StatusDraw) -> SpreadInputs:
    """Inputs with lakes infested or free in a draw, and with their chance at the best estimates."""
    if drawn.uniform is None:
        return settled
    return replace(settled, initial=(drawn.uniform < settled.initial).astype(float))


def _past_hazard(inputs: SpreadInputs, finds: Finds, *, rates: Rates) -> Array:
    """Hazard that each lake met in the years of the finds, from lakes found before, (L,)."""
    infested = np.zeros((len(finds.years), len(inputs.initial)))
    for year, number in enumerate(finds.before):
        infested[year, finds.sources[:number]] = 1.0
    reached = np.zeros_like(infested)
    reached[:, rates.lakes] = inputs.establish * (
        rates.sent(infested[:, rates.lakes]) + rates.outside
    )
    by_boat = inputs.habitat * reached**inputs.allee_exponent
    return np.asarray((by_boat + inputs.habitat * (infested @ inputs.streams)).sum(axis=0))


def _unseen(
    name: str,
    settled: SpreadInputs,
    estimates: Estimates,
    *,
    place: Place,
    rates: Rates,
) -> Array:
    """
    Chance of each lake being infested now.

    How many hold the species unseen follows from surveys, which ones from what boats brought in the
    years of the finds; where these say nothing, from what boats bring in one season.
    """
    finds = place.finds.species.get(name)
    if finds is None:
        hazard = expected_spread(settled, seasons=1, rates=rates).cumulative_hazard[-1]
    else:
        hazard = _past_hazard(settled, finds.fit.finds, rates=rates)
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
