"""What simple rules would have foretold: lake area, distance or traffic alone, all lakes alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize
from scipy.spatial import KDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]

RULES = (
    "area and distance",
    "lake area alone",
    "distance alone",
    "traffic alone",
    "same for all",
)
FAR_KM = 1000.0  # farther than this counts the same
PRIOR_SD = 1.5  # of a rule's exponent: no rule may run away on a handful of finds
LOG_HAZARD = (-60.0, 4.0)  # beyond which a season's hazard is as good as none or sure


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """A rule fitted to the finds before: hazard a year = rate x product of predictor ^ exponent."""

    rate: float
    exponents: Array

    def chance(self, predictors: Array, *, years: int) -> NDArray[np.float64]:
        """Chance of a find within some years, from predictors (M, N)."""
        power = np.exp(np.tensordot(self.exponents, np.log(predictors), 1))
        return -np.expm1(-self.rate * years * power)


def fit_rule(predictors: Array, at_risk: Array, found: Array) -> Rule:
    """
    Fit a rule to the finds of earlier years by maximum likelihood.

    Parameters
    ----------
    predictors : array, shape (M, Y, N)
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
    With h = rate x product of predictor^exponent a lake at risk is found in a year with chance
    1 - exp(-h), as in the model itself. Exponents have a prior, normal about 0 (a choice of ours).
    """
    exposed, finds = float(at_risk.sum()), float(found.sum())
    if not finds or not exposed:
        return Rule(0.5 / max(exposed, 1.0), np.zeros(len(predictors)))
    logs = np.log(predictors)
    middle = (logs * at_risk).sum(axis=(1, 2)) / exposed
    centred = logs - middle[:, None, None]
    spared = at_risk - found

    def loss(sought: Array) -> tuple[float, Array]:
        level, exponents = sought[0], sought[1:]
        log_hazard = level + np.tensordot(exponents, centred, 1)
        inside = (log_hazard > LOG_HAZARD[0]) & (log_hazard < LOG_HAZARD[1])
        hazard = np.exp(np.clip(log_hazard, *LOG_HAZARD))
        grown = np.expm1(hazard)
        log_likelihood = (found * (np.log(grown) - hazard) - spared * hazard).sum()
        slope = (found * hazard / grown - spared * hazard) * inside
        by_exponent = exponents / PRIOR_SD**2 - (slope * centred).sum(axis=(1, 2))
        penalty = 0.5 * float(((exponents / PRIOR_SD) ** 2).sum())
        return penalty - float(log_likelihood), np.append(-slope.sum(), by_exponent)

    start = np.append(np.log(finds / exposed), np.zeros(len(predictors)))
    best = minimize(loss, start, jac=True, method="BFGS").x
    return Rule(float(np.exp(best[0] - best[1:] @ middle)), np.asarray(best[1:]))


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
    steady = {
        "lake area alone": np.maximum(area_ha, 0.01),
        "traffic alone": 1 + launches,
        "same for all": np.ones(len(year)),
    }
    by_year: dict[str, Array] = {
        name: np.broadcast_to(one, near.shape)[None] for name, one in steady.items()
    }
    by_year["distance alone"] = near[None]
    by_year["area and distance"] = np.concatenate([by_year["lake area alone"], near[None]])
    chances = {}
    for name in RULES:
        rule = fit_rule(by_year[name][:, :-1], at_risk, found)
        chances[name] = rule.chance(by_year[name][:, -1], years=through - from_year + 1)
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
