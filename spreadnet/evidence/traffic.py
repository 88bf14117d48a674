"""How many boats use each landing, when, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.assumptions import Z90
from spreadnet.evidence.contacts import landing_positions, visit_positions
from spreadnet.evidence.intervals import beta_from_range
from spreadnet.evidence.pooling import design_effect
from spreadnet.evidence.rates import Counts, Rates, fit_rates
from spreadnet.evidence.strata import Strata, make_strata, visit_hours

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions
    from spreadnet.evidence.region import Settings

    Array = NDArray[np.floating]

LEAST_AREA_HA = 0.1  # lakes given as smaller, or as 0, count as this in logs
EXPONENTS = {  # covariate to the assumption that is its prior
    "ramp_lanes": "lanes_exponent",
    "trailer_stalls": "stalls_exponent",
    "lake_area": "lake_area_exponent",
}
PROFILE_WEIGHT = 20.0  # boats that an even profile of retrievals counts for in each block


@dataclass(frozen=True, slots=True, eq=False)
class Traffic:
    """
    Launches of K landings in a season, and boats an hour in D (day type, block) pairs.

    Attributes
    ----------
    table : DataFrame
        Index `landing_id`. `launches`: expected in the season's block hours, with the ends of a
        90% interval `launches_low`, `launches_high`; `expected`: what lanes, stalls, lake area
        and the region's traffic alone would give; `visits`: all visits; `hours`, `counted`:
        hours in which launches were counted, and the boats; `visited`: False marks a landing
        whose number rests on the others; `own_weight`: share of `launches` that comes from the
        landing's own counts, 0 to 1.
    day_blocks : DataFrame
        D rows, weekday blocks then weekend blocks: `day_type`, `block`, `hours_in_season`.
    launch_rate, retrieval_rate : array, shape (K, D)
        Boats an hour, averaged over the season's months. Both give the same boats a season.
    refusal : float
        Share of parties approached that do not want to talk.
    coefficients : DataFrame
        Index `name`. `value`, `low`, `high` on the log scale, 90% interval.
    kappa : float
        Shape of the landings' own factors; 1 / sqrt(kappa) is their spread.
    phi : float
        Variance of a visit's count over that of chance alone, 1 or more, mean over visits.
    """

    table: pd.DataFrame
    day_blocks: pd.DataFrame
    launch_rate: Array
    retrieval_rate: Array
    refusal: float
    coefficients: pd.DataFrame
    kappa: float
    phi: float
    rates: Rates
    season_hours: Array
    refusal_beta: tuple[float, float]

    def draw_launches(self, rng: np.random.Generator) -> Array:
        """One set of season launches, shape (K,), in the order of the landings."""
        return self.rates.draw(rng, self.season_hours)

    def draw_refusal(self, rng: np.random.Generator) -> float:
        """One share of parties that do not want to talk."""
        return float(rng.beta(*self.refusal_beta))


def fit_traffic(
    visits: pd.DataFrame,
    landings: pd.DataFrame,
    lakes: pd.DataFrame,
    settings: Settings,
    *,
    assumptions: Assumptions,
    contacts: pd.DataFrame | None = None,
) -> Traffic:
    """
    Traffic of every landing from the visits made, visited or not.

    Few visits are noisy and most landings have none, so each landing's own counts are weighed
    against what its size and the region's traffic lead one to expect.

    Parameters
    ----------
    visits, landings, lakes : DataFrame
        As in `Region`. Visits may have no rows. Visits of several years count alike.
    settings : Settings
        Season, blocks, holidays.
    assumptions : Assumptions
        `launches_per_hour`, `weekend_ratio`, `traffic_shape`, `visit_spread`, `refusal`,
        `lanes_exponent`, `stalls_exponent`, `lake_area_exponent`, `block_spread`, `month_spread`.
    contacts : DataFrame, optional
        As in `Region`. Parties approached are those refusing and those spoken with; left out,
        refusals can't be set against anything and `refusal` stays as assumed.

    Returns
    -------
    traffic : Traffic
        Ordered by `landings.index`.

    Raises
    ------
    ValueError
        If a visit names a landing that is not in `landings`.
    ModelError
        If the counts leave the model open.

    Notes
    -----
    `launches` empty means not counted, and the visit is left out. Hours outside all blocks take
    the rate of the nearest block, and are not part of the season's hours. Lanes left out count
    as 1, stalls as the middle value of the landings that give them. Model in `rates.fit_rates`.
    Surveyors choose busy landings and hours; only what lanes, stalls, lake area and time explain
    of that choice is taken out.
    """
    visits = visits.assign(date=pd.to_datetime(visits["date"]))
    strata = make_strata(settings, visits["date"])
    position = landing_positions(visits["landing_id"], landings)
    stratum, hours = visit_hours(visits, settings, strata)
    launches = _number(visits["launches"])
    counted = np.isfinite(launches) & (hours.sum(axis=1) > 0)
    counts = Counts(launches[counted], position[counted], stratum[counted], hours[counted])
    centre, width = _priors(strata, assumptions)
    rates = fit_rates(
        counts,
        _covariates(landings, lakes),
        strata.design,
        centre=centre,
        width=width,
        visit_spread=assumptions["visit_spread"],
    )
    launch_rate = _day_block_rates(rates, strata)
    retrieval_rate = launch_rate * _profile(
        rates, strata, launch_rate, _number(visits["retrievals"]), position, stratum, hours
    )
    day_blocks = strata.day_blocks()
    block_hours = day_blocks["hours_in_season"].to_numpy()
    season, profiled = launch_rate @ block_hours, retrieval_rate @ block_hours
    retrieval_rate = retrieval_rate * (season / np.where(profiled > 0, profiled, 1.0))[:, None]
    alpha, beta = _refusal(visits, contacts, assumptions)
    return Traffic(
        table=_table(rates, strata, landings, position, counts),
        day_blocks=day_blocks,
        launch_rate=launch_rate,
        retrieval_rate=retrieval_rate,
        refusal=alpha / (alpha + beta),
        coefficients=_coefficients(rates, strata),
        kappa=rates.kappa,
        phi=rates.phi,
        rates=rates,
        season_hours=strata.season_hours,
        refusal_beta=(alpha, beta),
    )


def _number(column: pd.Series) -> Array:
    """A column of counts as floats, missing as NaN."""
    return column.to_numpy(dtype=float, na_value=np.nan)


def _covariates(landings: pd.DataFrame, lakes: pd.DataFrame) -> Array:
    """Ones, then log lanes, log of stalls + 1 and log lake area, each less its mean: (K, 4)."""
    lanes = pd.Series(_number(landings["ramp_lanes"])).fillna(1.0).clip(lower=0.5)
    stalls = pd.Series(_number(landings["trailer_stalls"]))
    stalls = stalls.fillna(stalls.median() if stalls.notna().any() else 0.0)
    area = pd.Series(_number(lakes["area_ha"].reindex(landings["lake_id"])))
    area = area.fillna(area.median() if area.notna().any() else 1.0).clip(lower=LEAST_AREA_HA)
    columns = np.column_stack([np.log(lanes), np.log1p(stalls), np.log(area)])
    return np.hstack([np.ones((len(landings), 1)), columns - columns.mean(axis=0)])


def _priors(strata: Strata, assumptions: Assumptions) -> tuple[Array, Array]:
    """Means and sds of the normal priors, in the order of the fitted numbers."""

    def log_prior(name: str) -> tuple[float, float]:
        entry = assumptions.entries[name]
        return np.log(entry.value), np.log(entry.high / entry.low) / (2 * Z90)

    def prior(name: str) -> tuple[float, float]:
        entry = assumptions.entries[name]
        return entry.value, (entry.high - entry.low) / (2 * Z90)

    blocks, months = len(strata.blocks) - 1, len(strata.months) - 1
    rows = [
        log_prior("launches_per_hour"),
        *[prior(name) for name in EXPONENTS.values()],
        log_prior("weekend_ratio"),
        *[(0.0, assumptions["block_spread"])] * blocks,
        *[(0.0, assumptions["month_spread"])] * months,
        log_prior("traffic_shape"),
    ]
    centre, width = np.array(rows).T
    return centre, np.maximum(width, 0.01)  # a number given without a range is all but fixed


def _day_block_rates(rates: Rates, strata: Strata) -> Array:
    """Expected boats an hour at each landing in each (day type, block): (K, D)."""
    shape, rate = rates.own_factor(rates.mode.best)
    level = rates.landing_level(rates.mode.best) * shape / rate
    return np.outer(level, strata.by_day_block(rates.stratum_ratio(rates.mode.best)))


def _profile(
    rates: Rates,
    strata: Strata,
    launch_rate: Array,
    retrievals: Array,
    position: NDArray[np.integer],
    stratum: NDArray[np.integer],
    hours: Array,
) -> Array:
    """
    Retrievals over launches in each (day type, block), the same all over the region: (D,).

    Boats come out later in the day than they go in. A visit's retrievals are shared out among
    its blocks by the profile so far, a few times over, and pulled towards an even profile.
    """
    kinds = launch_rate.shape[1]
    counted = np.isfinite(retrievals) & (hours.sum(axis=1) > 0)
    if not counted.any():
        return np.ones(kinds)
    block = strata.day_block[stratum[counted]]
    ratio = rates.stratum_ratio(rates.mode.best)[stratum[counted]]
    shape, rate = rates.own_factor(rates.mode.best)
    level = (rates.landing_level(rates.mode.best) * shape / rate)[position[counted]]
    launches = hours[counted] * ratio * level[:, None]
    even = (retrievals[counted].sum() + 0.5) / (launches.sum() + 0.5)
    below = PROFILE_WEIGHT + np.bincount(block.ravel(), launches.ravel(), minlength=kinds)
    profile = np.full(kinds, even)
    for _ in range(20):
        parts = launches * profile[block]
        parts = parts * (retrievals[counted] / parts.sum(axis=1))[:, None]
        above = np.bincount(block.ravel(), parts.ravel(), minlength=kinds)
        profile = (PROFILE_WEIGHT * even + above) / below
    return profile


def _refusal(
    visits: pd.DataFrame,
    contacts: pd.DataFrame | None,
    assumptions: Assumptions,
) -> tuple[float, float]:
    """Beta posterior of the share of parties approached that do not want to talk."""
    alpha, beta = beta_from_range(assumptions.entries["refusal"])
    if contacts is None or not len(visits):
        return alpha, beta
    refused = _number(visits["refused"])
    spoken = np.bincount(visit_positions(contacts, visits), minlength=len(visits))
    noted = np.isfinite(refused)
    if not noted.any():
        return alpha, beta
    counts = np.column_stack([refused[noted], spoken[noted]])
    # Landings differ too, so all visits are taken as clusters of one group.
    effect = design_effect(counts, np.zeros(len(counts), dtype=int))
    yes, no = counts.sum(axis=0) / effect
    return alpha + float(yes), beta + float(no)


def _table(
    rates: Rates,
    strata: Strata,
    landings: pd.DataFrame,
    position: NDArray[np.integer],
    counts: Counts,
) -> pd.DataFrame:
    """What a reader is told of each landing."""
    n, season = len(landings), strata.season_hours
    low, high = rates.interval(season)
    visits = np.bincount(position, minlength=n)
    return pd.DataFrame(
        {
            "launches": rates.mean(season),
            "launches_low": low,
            "launches_high": high,
            "expected": rates.expected(season),
            "visits": visits,
            "hours": np.bincount(counts.landing, counts.hours.sum(axis=1), minlength=n),
            "counted": np.bincount(counts.landing, counts.boats, minlength=n),
            "visited": visits > 0,
            "own_weight": rates.own_weight(),
        },
        index=landings.index,
    )


def _coefficients(rates: Rates, strata: Strata) -> pd.DataFrame:
    """The shared numbers with 90% intervals, blocks and months each measured from their mean."""
    front = rates.covariates.shape[1]
    names = ["level", *EXPONENTS, *strata.labels, "shape"]
    turn = np.zeros((len(names), len(rates.mode.best)))
    turn[:front, :front] = np.eye(front)
    turn[front:-1, front:-1] = strata.effects
    turn[-1, -1] = 1.0
    value = turn @ rates.mode.best
    sd = np.sqrt(np.einsum("ij,jk,ik->i", turn, rates.mode.covariance, turn))
    return pd.DataFrame(
        {"value": value, "low": value - Z90 * sd, "high": value + Z90 * sd},
        index=pd.Index(names, name="name"),
    )
