"""How many boats use each landing, when, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.assumptions import Z90
from spreadnet.evidence.estimating.contacts import landing_positions, visit_positions
from spreadnet.evidence.estimating.launch_rates import AREA_PLACE, Counts, Rates, fit_rates
from spreadnet.evidence.estimating.strata import Strata, make_strata, visit_hours
from spreadnet.evidence.region import DAY_TYPES
from spreadnet.evidence.statistics import (
    FEW,
    FIXED_SEED,
    beta_from_range,
    design_effect,
    even_draws,
    spread_over_range,
)
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumption, Assumptions
    from spreadnet.evidence.region import Settings

    Array = NDArray[np.floating]

LEAST_AREA_HA = 0.1  # lakes given as smaller, or as 0, count as this in logs
EXPONENTS = {  # covariate to the assumption that is its prior
    "ramp_lanes": "lanes_exponent",
    "trailer_stalls": "stalls_exponent",
    "lake_area": "lake_area_exponent",
}
LEAST_PROFILE = 1e-9  # draws of the profile of retrievals stay off 0
LEADS = 0.75  # share of draws in which one block must be ahead for a best time to be named
ROUNDS = 20  # of sharing out retrievals of visits that lie in several blocks


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class TrafficDraw:
    """
    One draw of the traffic of K landings in D (day type, block) pairs.

    `launches` (K,) in the season; `launch_rate` and `retrieval_rate` (K, D) in boats an hour, both
    of which give those launches over the season; `refusal`, the share of parties that do not want
    to talk; `area_exponent`, how launches grow with lake area; `by_month` (D, M), boats an hour in
    each month over those of the season, the same at all landings; `visit_spread`, how like visits
    to one landing differ beyond chance, as a share of their mean.
    """

    launches: Array
    launch_rate: Array
    retrieval_rate: Array
    refusal: float
    area_exponent: float
    by_month: Array
    visit_spread: float


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Traffic:
    """
    Launches of K landings in a season, and boats an hour in D (day type, block) pairs.

    Attributes
    ----------
    table : DataFrame
        Index `landing_id`. `launches`: expected in the season's block hours, with the ends of a
        90% interval `launches_low`, `launches_high`; `expected`: what lanes, stalls, lake area
        and the region's traffic alone would give a landing counted at; `visits`: all visits;
        `hours`, `counted`: hours in which launches were counted, and the boats; `visited`: False
        marks a landing with no such hour, whose number rests on the others; `own_weight`: share
        of `launches` that comes from the landing's own counts, 0 to 1.
    day_blocks : DataFrame
        D rows, weekday blocks then weekend blocks: `day_type`, `block`, `hours_in_season`.
    launch_rate, retrieval_rate : array, shape (K, D)
        Boats an hour, averaged over the season's months. Both give the same boats a season.
    refusal : float
        Share of parties approached that do not want to talk.
    timed : bool
        Whether counts tell the best time of day: made in two blocks or more, and one block ahead
        in most draws.
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
    timed: bool
    coefficients: pd.DataFrame
    kappa: float
    phi: float
    rates: Rates
    strata: Strata
    profile: tuple[Array, Array]
    unvisited: NDArray[np.bool_]
    unvisited_ratio: Assumption
    refusal_beta: tuple[float, float]

    def draw(self, rng: np.random.Generator) -> TrafficDraw:
        """One set of rates by landing and time, and of refusals, that belong together."""
        refusal = float(rng.beta(*self.refusal_beta))
        ratio = self.unvisited_ratio.at(float(rng.standard_normal()))
        shape, rate = self.profile
        profile = np.maximum(rng.standard_gamma(shape) / rate, LEAST_PROFILE)
        scale = np.where(self.unvisited, ratio, 1.0)
        level, by_stratum, area_exponent = self.rates.draw(rng, scale=scale)
        launching, retrieving = _by_day_block(by_stratum, profile, self.strata)
        season = float(launching @ self.strata.day_block_hours)
        return TrafficDraw(
            level * season,
            np.outer(level, launching),
            np.outer(level, retrieving),
            refusal,
            area_exponent,
            self.strata.by_month(by_stratum),
            self.rates.visit_spread,
        )

    def best(self) -> TrafficDraw:
        """The best estimates of the same."""
        return TrafficDraw(
            self.table["launches"].to_numpy(float),
            self.launch_rate,
            self.retrieval_rate,
            self.refusal,
            self.area_exponent,
            self.strata.by_month(self.rates.stratum_ratio(self.rates.mode.best)),
            self.rates.visit_spread,
        )

    @property
    def area_exponent(self) -> float:
        """How launches grow with lake area, at the best estimate."""
        return float(self.rates.mode.best[AREA_PLACE])

    @property
    def area_exponent_variance(self) -> float:
        """Variance of `area_exponent`."""
        return float(self.rates.mode.covariance[AREA_PLACE, AREA_PLACE])

    def own_spread(self) -> Array:
        """
        Variance of each landing's own traffic over its square, shape (K,).

        Means over the region's own numbers, which move all landings alike; but for
        `unvisited_ratio`, which landings that were counted at do not share.
        """
        ratio = even_draws(self.unvisited_ratio, FEW)
        alike = np.where(self.unvisited, min(self.unvisited_ratio.value, 1.0), 1.0)
        shape, _ = self.rates.own_factor(self.rates.mode.spread().T)
        own = (1 / (shape * alike[:, None])).mean(axis=1)
        shared = np.where(self.unvisited, ratio.var() / ratio.mean() ** 2, 0.0)
        return np.asarray((1 + own) * (1 + shared) - 1)


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
    against what its size and the region's traffic lead one to expect. People visit busy landings
    rather than quiet ones, so where launches were counted at some landings, those where none were
    are taken as less busy than others of their size, by `unvisited_ratio`.

    Parameters
    ----------
    visits, landings, lakes : DataFrame
        As in `Region`. Visits may have no rows. Visits of several years count alike.
    settings : Settings
        Season, blocks, holidays.
    assumptions : Assumptions
        `launches_per_hour`, `weekend_ratio`, `traffic_shape`, `visit_spread`, `refusal`,
        `lanes_exponent`, `stalls_exponent`, `lake_area_exponent`, `block_spread`, `month_spread`,
        `unvisited_ratio`.
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
    With no counts at all the assumed level is that of a middling landing, visited or not. Landings
    not counted at are less alike, too, than those chosen (see `Rates.draw`).
    Effects of blocks and months have normal priors, as wide as `block_spread` and `month_spread`
    with their own ranges counted in. `visit_spread` counts for as many visits as its range is
    narrow. Retrievals over launches by block: gamma, prior and counts in `_profile`.
    """
    visits = visits.assign(date=pd.to_datetime(visits["date"]))
    strata = make_strata(settings, visits["date"])
    position = landing_positions(visits["landing_id"], landings)
    stratum, hours = visit_hours(visits, settings, strata)
    launches = _number(visits["launches"])
    counted = np.isfinite(launches) & (hours.sum(axis=1) > 0)
    counts = Counts(launches[counted], position[counted], stratum[counted], hours[counted])
    centre, width = _priors(strata, assumptions)
    visit_spread = assumptions.entries["visit_spread"]
    rates = fit_rates(
        counts,
        _covariates(landings, lakes),
        strata.design,
        centre=centre,
        width=width,
        visit_spread=spread_over_range(visit_spread),
        spread_weight=_visits_worth(visit_spread),
    )
    retrievals = _number(visits["retrievals"])
    noted = np.isfinite(retrievals) & (hours.sum(axis=1) > 0)
    taken_out = Counts(retrievals[noted], position[noted], stratum[noted], hours[noted])
    profile = _profile(
        rates, strata, taken_out, spread_over_range(assumptions.entries["block_spread"])
    )
    ratio, unvisited = assumptions.entries["unvisited_ratio"], np.zeros(len(landings), dtype=bool)
    if len(counts.boats):
        unvisited = np.bincount(counts.landing, minlength=len(landings)) == 0
    table = _table(rates, strata, landings, position, counts, np.where(unvisited, ratio.value, 1.0))
    low, high = _interval(rates, strata, unvisited, ratio)
    launching, retrieving = _by_day_block(
        rates.stratum_ratio(rates.mode.best), profile[0] / profile[1], strata
    )
    level = table["launches"].to_numpy() / float(launching @ strata.day_block_hours)
    alpha, beta = _refusal(visits, contacts, assumptions)
    return Traffic(
        table=table.assign(launches_low=low, launches_high=high),
        day_blocks=strata.day_blocks(),
        launch_rate=np.outer(level, launching),
        retrieval_rate=np.outer(level, retrieving),
        refusal=alpha / (alpha + beta),
        timed=_timed(rates, strata, profile, seen=(counts, taken_out)),
        coefficients=_coefficients(rates, strata),
        kappa=rates.kappa,
        phi=rates.phi,
        rates=rates,
        strata=strata,
        profile=profile,
        unvisited=unvisited,
        unvisited_ratio=ratio,
        refusal_beta=(alpha, beta),
    )


def _timed(
    rates: Rates, strata: Strata, profile: tuple[Array, Array], *, seen: tuple[Counts, Counts]
) -> bool:
    """Whether boats were counted in two blocks or more, and one of them is ahead in most draws."""
    watched = sum((one.hours.sum(axis=0) > 0 for one in seen), np.zeros(len(strata.blocks), bool))
    if np.count_nonzero(watched) < 2 or not sum(one.boats.sum() for one in seen):
        return False
    ratios = rates.stratum_ratio(rates.mode.spread().T)
    rng = np.random.default_rng(FIXED_SEED + 2)
    late = rng.standard_gamma(profile[0], (ratios.shape[1], len(profile[0]))) / profile[1]
    ahead = np.zeros(len(strata.blocks))
    for ratio, drawn in zip(ratios.T, np.maximum(late, LEAST_PROFILE), strict=True):
        passing = np.add(*_by_day_block(ratio, drawn, strata)).reshape(len(DAY_TYPES), -1)
        ahead[np.argmax(passing.sum(axis=0))] += 1
    return bool(ahead.max() >= LEADS * len(late))


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
        *[(0.0, spread_over_range(assumptions.entries["block_spread"]))] * blocks,
        *[(0.0, spread_over_range(assumptions.entries["month_spread"]))] * months,
        log_prior("traffic_shape"),
    ]
    centre, width = np.array(rows).T
    return centre, np.maximum(width, 0.01)  # a number given without a range is all but fixed


def _visits_worth(spread: Assumption) -> float:
    """Visits that would leave a spread as unsure as its range: var(log s) is near 1 / (2 n)."""
    sd = np.log(spread.high / spread.low) / (2 * Z90)
    return float(1 / (2 * max(sd, 0.01) ** 2))


def _by_day_block(by_stratum: Array, profile: Array, strata: Strata) -> tuple[Array, Array]:
    """Launches and retrievals an hour over the level, (D,) each, from the strata's ratios (C,)."""
    hours = strata.day_block_hours
    launching = strata.by_day_block(by_stratum)
    retrieving = launching * np.tile(profile, len(DAY_TYPES))
    return launching, retrieving * (launching @ hours) / (retrieving @ hours)


def _profile(
    rates: Rates, strata: Strata, retrievals: Counts, spread: float
) -> tuple[Array, Array]:
    """
    Retrievals over launches in each block, the same all over the region and on all days, (B,).

    Boats come out later in the day than they go in. Gamma posteriors, shape and rate: the prior is
    an even profile with as much spread in its log as launches have between blocks. A visit's
    retrievals are shared out among its blocks by the profile so far, a few times over, and count
    for less the more visits differ beyond chance.
    """
    kinds, square = len(strata.blocks), spread**2
    # The variance of the log of a gamma of shape a is about 1 / a + 1 / (2 a^2).
    prior = (1 + np.sqrt(1 + 2 * square)) / (2 * square)
    at = rates.mode.best
    shape, rate = rates.own_factor(at)
    level = (rates.landing_level(at) * shape / rate)[retrievals.landing]
    launches = retrievals.hours * rates.stratum_ratio(at)[retrievals.stratum] * level[:, None]
    block = np.broadcast_to(np.arange(kinds), launches.shape).ravel()
    even = (retrievals.boats.sum() + 0.5) / (launches.sum() + 0.5)
    above, below = np.full(kinds, prior), np.full(kinds, prior / even)
    for _ in range(ROUNDS if len(launches) else 0):
        parts = launches * (above / below)
        total = parts.sum(axis=1)
        weight = 1 / (1 + rates.visit_spread**2 * total)
        parts = parts * (weight * retrievals.boats / total)[:, None]
        seen = (weight[:, None] * launches).ravel()
        above = prior + np.bincount(block, parts.ravel(), minlength=kinds)
        below = prior / even + np.bincount(block, seen, minlength=kinds)
    return above, below


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
    scale: Array,
) -> pd.DataFrame:
    """What a reader is told of each landing, but for the interval."""
    n, season = len(landings), strata.season_hours
    launches = rates.mean(season) * scale
    hours = np.bincount(counts.landing, counts.hours.sum(axis=1), minlength=n).astype(float)
    return pd.DataFrame(
        {
            "launches": launches,
            "launches_low": launches,
            "launches_high": launches,
            "expected": rates.expected(season),
            "visits": np.bincount(position, minlength=n),
            "hours": hours,
            "counted": np.bincount(counts.landing, counts.boats, minlength=n),
            "visited": hours > 0,
            "own_weight": rates.own_weight(),
        },
        index=landings.index,
    )


def _interval(
    rates: Rates, strata: Strata, unvisited: NDArray[np.bool_], ratio: Assumption
) -> tuple[Array, Array]:
    """90% intervals of the season's launches, the range of the unvisited ratio counted in."""
    drawn = np.random.default_rng(FIXED_SEED + 1).permutation(even_draws(ratio, FEW))
    scale = np.where(unvisited[:, None], drawn, 1.0)
    return rates.interval(strata.season_hours, scale=scale)


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
