"""What finds say, handed to boats at landings: traffic, where boats come from, loads, habitat."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import expit, logit

from spreadnet.model.movement import TRAFFIC

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.evidence.estimating import Traffic, TrafficDraw
    from spreadnet.evidence.gather import Evidence
    from spreadnet.model.finds import SpeciesTold, Told
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]

SHARE_BOUNDS = (0.01, 0.9)  # of boats whose last water was another lake
LOAD_BOUND = 5.0  # most by which loads of lakes of different size may differ either way
TERM_BOUND = 3.0  # of the log of what is left to habitat
OTHER = 1  # place of "another lake" in the shares of where boats were last
LEFT_OVER_VARIANCE = 0.04
LAUNCHES_BOUND = 4.0  # of the log of launches by interviews over those before


def traffic_told(
    drawn: TrafficDraw, told: Told, *, evidence: Evidence, movement: Movement
) -> TrafficDraw:
    """
    Traffic with what finds say of how launches grow with lake area, where nobody counted.

    Parameters
    ----------
    drawn : TrafficDraw
        From visits, or as assumed.
    told : Told
        From finds, at the best estimates or in the same draw.
    evidence, movement
        Steps one and two.

    Returns
    -------
    drawn : TrafficDraw
        The same at landings where launches were counted.

    Notes
    -----
    Finds see the area slope of a lake's launches together with that of all else: with b0 the slope
    of visits and V0 its variance, b the finds' with variance V, the slope is b0 + k (b - b0),
    k = V0 / (V0 + 0.2^2 + V). A lake's launches are those of all its landings, so the growth of
    their number with area counts too.
    """
    factor = launch_factor(drawn.area_exponent, told, evidence=evidence, movement=movement)
    return _times(drawn, factor)


def traffic_named(
    drawn: TrafficDraw,
    *,
    evidence: Evidence,
    movement: Movement,
    coefficients: Array,
    noise: Array | None = None,
) -> TrafficDraw:
    """
    Traffic with what interviews say of lakes where nobody counted, by how often they are named.

    Parameters
    ----------
    drawn : TrafficDraw
        From visits, with what finds say.
    evidence, movement
        Steps one and two.
    coefficients : array, shape (P,)
        Of the law of movement, in the same draw.
    noise : array, shape (A,), optional
        Standard normal by lake with a landing, for a draw; left out for the best estimates.

    Returns
    -------
    drawn : TrafficDraw
        The same at lakes where launches were counted.
    """
    named, fit = movement.named, movement.fit
    if named is None or fit is None:
        return drawn
    group, number = movement.group, len(movement.lakes)
    before = evidence.traffic.table["launches"].to_numpy(float)
    by_lake, drawn_by_lake = (
        np.maximum(np.bincount(group, one, minlength=number), 1e-9)
        for one in (before, drawn.launches)
    )
    away = np.log(drawn_by_lake / by_lake)
    exponent = float(coefficients[fit.attractions.index(TRAFFIC)])
    if noise is None:
        log_factor = named.log_mean_factor(away, exponent=exponent)
    else:
        log_factor = named.log_factor(away, exponent=exponent, noise=noise)
    return _times(drawn, np.exp(np.clip(log_factor, -LAUNCHES_BOUND, LAUNCHES_BOUND))[group])


def _times(drawn: TrafficDraw, factor: Array) -> TrafficDraw:
    """Traffic with so many times the boats at each landing, (K,)."""
    return replace(
        drawn,
        launches=drawn.launches * factor,
        launch_rate=drawn.launch_rate * factor[:, None],
        retrieval_rate=drawn.retrieval_rate * factor[:, None],
    )


def launch_factor(
    area_exponent: float, told: Told, *, evidence: Evidence, movement: Movement
) -> Array:
    """Launches with what finds say over those without, (K,); 1 where launches were counted."""
    traffic = evidence.traffic
    log_area = movement.finds.waters.log_area[movement.landing_lake]
    counted = traffic.table["visited"].to_numpy(bool)
    middle = log_area[counted].mean() if counted.any() else log_area.mean()
    apart = area_slope_kept(told, traffic) * (
        told.area + told.left_over - area_exponent - landings_slope(movement)
    )
    return np.where(counted, 1.0, np.exp(np.clip(apart * (log_area - middle), -2.0, 2.0)))


def area_slope_kept(told: Told, traffic: Traffic) -> float:
    """How much of the finds' slope by lake area is launches: k of `traffic_told`."""
    variance = traffic.area_exponent_variance
    return variance / (variance + LEFT_OVER_VARIANCE + told.area_variance)


def landings_slope(movement: Movement) -> float:
    """How the number of landings of a lake grows with its area, on the log scale."""
    number = np.bincount(movement.group)
    log_area = movement.finds.waters.log_area[movement.lakes]
    away = log_area - log_area.mean()
    spread = float(away @ away)
    return float(away @ np.log(number) / spread) if spread > 0 else 0.0


def moved_told(coefficients: Array, told: Told, *, movement: Movement) -> Array:
    """Coefficients of movement: the finds' exponent of distance where no interview told one."""
    if movement.fit is None or not movement.fit.assumed:
        return coefficients
    changed = np.array(coefficients)
    changed[len(movement.fit.attractions)] = -told.distance
    return changed


def shares_told(
    shares: Array,
    launches: Array,
    told: Told,
    *,
    evidence: Evidence,
    movement: Movement,
    coefficients: Array,
) -> Array:
    """
    Where boats were last, with what finds say of how that goes with the lakes around.

    Parameters
    ----------
    shares : array, shape (K, 4)
        From interviews, or as assumed.
    launches : array, shape (K,)
        Boats launched in the season.
    told : Told
        From finds.
    evidence, movement
        Steps one and two.
    coefficients : array, shape (P,)
        Of the law of movement.

    Returns
    -------
    shares : array, shape (K, 4)
        Each landing's own answers count as before; what is not known from them goes with
        accessibility. Rows sum to 1.
    """
    reached = movement.log_access(launches, coefficients=coefficients)
    if reached is None:
        return shares
    access = movement.finds.waters.access[movement.landing_lake]
    tilt = (reached - reached.mean()) + (told.access - 1) * (access - access.mean())
    concentration = evidence.shares.concentration.sum(axis=1)
    own = evidence.shares.answers.sum(axis=1) / concentration
    other = np.clip(shares[:, OTHER], 1e-6, 1 - 1e-6)
    new = np.clip(expit(logit(other) + (1 - own) * tilt), *SHARE_BOUNDS)
    new = np.where(own > 0.999, other, new)
    turned = shares * ((1 - new) / (1 - other))[:, None]
    turned[:, OTHER] = new
    return np.asarray(turned)


def load_told(
    one: SpeciesTold,
    *,
    movement: Movement,
    launches: Array,
    coefficients: Array,
    checked: NDArray[np.bool_],
) -> Array:
    """
    Loads of boats by the size of the lake they leave, over those of landings checked, (K,).

    The finds' slope by a source's size less the trips' is that of the load. What was found on boats
    checked at a landing is its own load, so that only the others change.
    """
    log_area = movement.finds.waters.log_area[movement.landing_lake]
    slope = one.source_area - movement.area_pull(launches, coefficients=coefficients)
    factor = np.clip(np.exp(slope * log_area), 1 / LOAD_BOUND, LOAD_BOUND)
    weight = launches * (checked if checked.any() else np.ones(len(launches)))
    factor = factor * weight.sum() / max(float(weight @ factor), 1e-300)
    return np.where(checked, 1.0, factor)


def habitat_told(one: SpeciesTold, told: Told, *, traffic: Traffic, movement: Movement) -> Array:
    """
    What finds say of lakes beyond boats and known habitat: a factor of each lake, (L,).

    Slopes by area, depth and accessibility that traffic and shares do not take.
    """
    waters = movement.finds.waters
    base = traffic.area_exponent + landings_slope(movement)
    taken = base + area_slope_kept(told, traffic) * (told.area + told.left_over - base)
    log_factor = (
        (one.area - taken) * waters.log_area
        + one.depth * waters.log_depth
        + (one.access - told.access) * waters.access
    )
    return np.asarray(np.exp(np.clip(log_factor, -TERM_BOUND, TERM_BOUND)))


def outside_told(share: float, *, inside: float, outside: float) -> float:
    """
    Factor on boats from outside with which they have the finds' share of all hazard.

    Parameters
    ----------
    share : float
        Of all hazard by boats, 0 to 1.
    inside, outside : float
        Hazard by boats from the region's lakes and from outside as they stand.

    Returns
    -------
    factor : float
        1 where either brings nothing.

    Examples
    --------
    >>> outside_told(0.1, inside=9.0, outside=4.0)
    0.25
    """
    if not (inside > 0 and outside > 0):
        return 1.0
    share = min(max(share, 0.0), 1 - 1e-9)
    return share / (1 - share) * inside / outside


def established_told(
    one: SpeciesTold,
    *,
    introductions: Array,
    streams: Array,
    habitat: Array,
    weight: Array,
    noticed: Array,
    allee_exponent: float,
    found_in_year: float,
) -> float:
    """
    Chance that an introduction founds a population, with which as many finds come as foretold.

    Parameters
    ----------
    one : SpeciesTold
        What the finds say.
    introductions, streams, habitat : array, shape (L,)
        Living introductions in a season, hazard by streams, and share of water to live in.
    weight : array, shape (L,)
        Chance of each lake being free now.
    noticed : array, shape (L,)
        Chance that an infestation of the lake gets known.
    allee_exponent : float
        Power of introductions.
    found_in_year : float
        Chance in a year that an infestation gets known, of those that do.

    Returns
    -------
    establish : float
        0 where boats reach no lake at risk.

    Notes
    -----
    Finds lag behind infestations by a geometric delay: while finds grow by r a year they are
    q / (1 - (1 - q) exp(-r)) of the infestations that will be noticed.
    """
    reached = (introductions > 0) & (habitat > 0)
    by_boat = float(weight[reached] @ (habitat * introductions**allee_exponent)[reached])
    if not by_boat > 0:
        return 0.0
    late = found_in_year / (1 - (1 - found_in_year) * np.exp(-one.growth))
    foretold = one.season.hazard / np.maximum(noticed * late, 1e-3)
    wanted = float(weight[reached] @ foretold[reached])
    brought = float(weight[reached] @ (habitat * streams)[reached])
    left = max(wanted - brought, 0.01 * wanted)
    return float((left / by_boat) ** (1 / allee_exponent))
