"""What simple rules would have foretold: lake area, distance or traffic alone, all lakes alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize
from scipy.spatial import KDTree

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Array = NDArray[np.floating]

RULES = ("lake area alone", "distance alone", "traffic alone", "same for all")
FAR_KM = 1000.0  # farther than this counts the same
PRIOR_SD = 1.5  # of a rule's exponent: no rule may run away on a handful of finds
LOG_HAZARD = (-60.0, 4.0)  # beyond which a season's hazard is as good as none or sure


@dataclass(frozen=True, slots=True)
class Rule:
    """A simple rule fitted to the finds before: hazard a year = rate x predictor ^ exponent."""

    rate: float
    exponent: float

    def chance(self, predictor: Array, *, years: int) -> NDArray[np.float64]:
        """Chance of a find within some years."""
        return -np.expm1(-self.rate * years * predictor**self.exponent)


def fit_rule(predictor: Array, at_risk: Array, found: Array) -> Rule:
    """
    Fit a rule to the finds of earlier years by maximum likelihood.

    Parameters
    ----------
    predictor : array, shape (Y, N)
        Above 0, larger where a find is likelier or not.
    at_risk : array, shape (Y, N)
        1 where the lake was not yet known to be infested in that year.
    found : array, shape (Y, N)
        1 in the year of the find.

    Returns
    -------
    rule : Rule
        Without a find half a one is taken, so that none yet is not taken for impossible.

    Notes
    -----
    With h = rate x predictor^exponent a lake at risk is found in a year with chance 1 - exp(-h),
    as in the model itself. Only the exponent has a prior, normal about 0 (a choice of ours).
    """
    exposed, finds = float(at_risk.sum()), float(found.sum())
    if not finds or not exposed:
        return Rule(0.5 / max(exposed, 1.0), 0.0)
    log_predictor = np.log(predictor)
    centred = log_predictor - float((log_predictor * at_risk).sum() / exposed)
    spared = at_risk - found

    def loss(sought: Array) -> tuple[float, Array]:
        level, exponent = sought
        log_hazard = level + exponent * centred
        inside = (log_hazard > LOG_HAZARD[0]) & (log_hazard < LOG_HAZARD[1])
        hazard = np.exp(np.clip(log_hazard, *LOG_HAZARD))
        grown = np.expm1(hazard)
        log_likelihood = (found * (np.log(grown) - hazard) - spared * hazard).sum()
        slope = (found * hazard / grown - spared * hazard) * inside
        gradient = np.array([-slope.sum(), exponent / PRIOR_SD**2 - (slope * centred).sum()])
        return float(0.5 * (exponent / PRIOR_SD) ** 2 - log_likelihood), gradient

    start = np.array([np.log(finds / exposed), 0.0])
    level, exponent = minimize(loss, start, jac=True, method="BFGS").x
    middle = float((log_predictor * at_risk).sum() / exposed)
    return Rule(float(np.exp(level - exponent * middle)), float(exponent))


def foretold_by_rules(
    year: Array, *, area_ha: Array, launches: Array, points: Array, span: tuple[int, int]
) -> dict[str, NDArray[np.float64]]:
    """
    Chance of a find in each lake by each simple rule, fitted to the finds before.

    Parameters
    ----------
    year : array, shape (L,)
        Year of the first find, NaN where there is none; those of the span itself are not used.
    area_ha, launches : array, shape (L,)
        Of each lake.
    points : array, shape (L, 2)
        Where trips to each lake end, in metres.
    span : (int, int)
        First and last year foretold.

    Returns
    -------
    chances : dict of rule to array, shape (L,)
        By the order of `RULES`. Of no meaning for lakes that were known infested.
    """
    from_year, through = span
    ever = np.where(year < from_year, year, np.inf)
    known = ever[np.isfinite(ever)]
    before = np.arange(int(known.min()) + 1 if known.size else from_year, from_year)
    at_risk = (ever >= before[:, None]).astype(float)
    found = (ever == before[:, None]).astype(float)
    near = np.array([nearness(points, ever < y) for y in (*before, from_year)])
    predictors: Mapping[str, Array] = {
        "lake area alone": np.maximum(area_ha, 0.01),
        "traffic alone": 1 + launches,
        "same for all": np.ones(len(year)),
    }
    chances = {}
    for name in RULES:
        if name == "distance alone":
            past, now = near[:-1], near[-1]
        else:
            past, now = np.broadcast_to(predictors[name], at_risk.shape), predictors[name]
        rule = fit_rule(past, at_risk, found)
        chances[name] = rule.chance(now, years=through - from_year + 1)
    return chances


def nearness(points: Array, infested: NDArray[np.bool_]) -> NDArray[np.float64]:
    """
    1 / (1 + km) to the nearest infested lake.

    Parameters
    ----------
    points : array, shape (L, 2)
        Easting and northing in metres.
    infested : array of bool, shape (L,)
        Lakes known to be.

    Returns
    -------
    nearness : array, shape (L,)
        1 at an infested lake; that of `FAR_KM` where none is.

    Examples
    --------
    >>> nearness(np.array([[0.0, 0], [3000, 4000]]), np.array([True, False])).round(3)
    array([1.   , 0.167])
    """
    return 1 / (1 + np.minimum(nearest_km(points, infested), FAR_KM))


def nearest_km(points: Array, infested: NDArray[np.bool_]) -> NDArray[np.float64]:
    """
    Kilometres to the nearest infested lake, without a matrix of all lakes by all.

    Parameters
    ----------
    points, infested
        As for `nearness`.

    Returns
    -------
    distance_km : array, shape (L,)
        Infinite where no lake is infested.
    """
    if not infested.any():
        return np.full(len(points), np.inf)
    return KDTree(points[infested]).query(points)[0] / 1000.0
