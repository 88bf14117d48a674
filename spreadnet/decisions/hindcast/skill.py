"""How well the order of finds would have been foretold from earlier ones, beside simple rules."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from spreadnet.decisions.hindcast.scores import auc
from spreadnet.decisions.hindcast.simple_rules import RULES, foretold_by_rules
from spreadnet.model.carriage import habitat
from spreadnet.model.distance import landing_and_lake_points
from spreadnet.model.finds import ahead_of, finds_of, fit_finds, next_season

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from spreadnet.evidence.estimating import Status
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.finds import Waters
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]

MOST_YEARS = 6  # looked back
LAST_SHARE = 1 / 3  # of the dated finds, foretold from the others
BEFORE, SINCE = 10, 5  # finds below which a comparison says nothing
COLUMNS = ["from_year", "through", "before", "found", "auc", "gain", "gain_error", "verdict"]
FIT = "learned from finds"
COMPARED = tuple(rule for rule in RULES if rule != "same for all")


def split_year(year: Array, *, through: int) -> int | None:
    """
    First of the years whose finds are foretold from those before.

    Parameters
    ----------
    year : array, shape (L,)
        Year of the first find, NaN where there is none or no date.
    through : int
        Last year known.

    Returns
    -------
    split : int or None
        Where the last third of the finds begins, at most six years back; None where there are too
        few before or since.

    Examples
    --------
    >>> split_year(np.repeat(np.arange(2011.0, 2021), 3), through=2020)
    2018
    """
    known = np.sort(year[np.isfinite(year) & (year <= through)])
    if len(known) < BEFORE + SINCE:
        return None
    split = max(int(known[int(np.ceil(len(known) * (1 - LAST_SHARE)))]), through - MOST_YEARS + 1)
    enough = (known < split).sum() >= BEFORE and (known >= split).sum() >= SINCE
    return split if enough else None


def region_skill(region: Region, evidence: Evidence, movement: Movement) -> pd.DataFrame:
    """
    `skill_table` of a region.

    Parameters
    ----------
    region, evidence, movement
        The input, and steps one and two.

    Returns
    -------
    skill : DataFrame, index species, predictor
        Empty where no species has finds enough.
    """
    launches = np.bincount(
        movement.landing_lake,
        evidence.traffic.table["launches"].to_numpy(float),
        minlength=len(region.lakes),
    )
    _, points = landing_and_lake_points(region.landings, region.lakes)
    return skill_table(
        movement.finds.waters,
        evidence.status,
        through=region.known_through,
        area_ha=region.lakes["area_ha"].to_numpy(float),
        launches=launches.astype(float),
        points=points,
        habitat={n: habitat(one, region.lakes) for n, one in evidence.species.items()},
    )


def skill_table(
    waters: Waters,
    status: Mapping[str, Status],
    *,
    through: int,
    area_ha: Array,
    launches: Array,
    points: Array,
    habitat: Mapping[str, Array],
) -> pd.DataFrame:
    """
    Order of the latest finds of each species by what earlier ones taught, and by simple rules.

    Parameters
    ----------
    waters : Waters
        All L lakes.
    status : mapping of species to Status
        What was found when.
    through : int
        Last year of which it is known what was found.
    area_ha, launches : array, shape (L,)
        Of each lake.
    points : array, shape (L, 2)
        Where trips to each lake end, in metres.
    habitat : mapping of species to array, shape (L,)
        Share of introductions that meet water to live in.

    Returns
    -------
    skill : DataFrame, index species, predictor
        `from_year`, `through`; `before`, `found`: finds learned from, and foretold; `auc`: share
        of pairs of a lake with a find and one without that stand in the right order; `gain` of
        what was learned over the predictor in log score, in natural units, summed over lakes, with
        its standard error `gain_error`; `verdict`: better, no different or worse.

    Notes
    -----
    Chances of all predictors are scaled to the number found, so that the order alone is judged;
    finds without a date are left out. One split describes; it does not choose a model.
    """
    parts = {}
    for name, one in status.items():
        part = _species_skill(
            waters,
            one,
            through=through,
            area_ha=area_ha,
            launches=launches,
            points=points,
            habitat=habitat[name],
        )
        if part is not None:
            parts[name] = part
    if not parts:
        index = pd.MultiIndex.from_tuples([], names=["species", "predictor"])
        return pd.DataFrame(columns=COLUMNS, index=index)
    return pd.concat(parts, names=["species", "predictor"])


def _species_skill(
    waters: Waters,
    status: Status,
    *,
    through: int,
    area_ha: Array,
    launches: Array,
    points: Array,
    habitat: Array,
) -> pd.DataFrame | None:
    """The rows of one species."""
    year = np.where(status.known, status.first_found, np.nan)
    split = split_year(year, through=through)
    undated = status.known & ~np.isfinite(year)
    finds = None
    if split is not None:
        finds = finds_of(
            waters, found_year=year, undated=undated, through=split - 1, habitat=habitat
        )
    if split is None or finds is None:
        return None
    fit, then = fit_finds(finds), year < split
    ahead = ahead_of(waters, infested=then, habitat=habitat)
    rules = foretold_by_rules(
        year, area_ha=area_ha, launches=launches, points=points, span=(split, through)
    )
    judged = ~then & ~undated
    found = (np.isfinite(year) & (year <= through))[judged]
    by = {FIT: next_season(fit, fit.best, ahead=ahead).hazard[judged]}
    by |= {rule: _hazard(rules[rule][judged]) for rule in COMPARED}
    scored = {rule: _log_scores(hazard, found) for rule, hazard in by.items()}
    gains = {rule: _gain(scored[FIT], score) for rule, score in scored.items()}
    return pd.DataFrame(
        {
            "from_year": split,
            "through": through,
            "before": int(then.sum()),
            "found": int(found.sum()),
            "auc": {rule: auc(hazard, found)[0] for rule, hazard in by.items()},
            "gain": {rule: gain for rule, (gain, _) in gains.items()},
            "gain_error": {rule: error for rule, (_, error) in gains.items()},
            "verdict": {rule: _verdict(*g) if rule != FIT else "" for rule, g in gains.items()},
        },
        columns=COLUMNS,
    )


def _hazard(chance: Array) -> Array:
    """Hazard of a chance."""
    return np.asarray(-np.log1p(-np.minimum(chance, 1 - 1e-12)))


def _log_scores(hazard: Array, found: NDArray[np.bool_]) -> Array:
    """Log score of each lake, with hazards scaled so that as many finds are expected as came."""
    hazard = np.maximum(hazard, 1e-12)

    def surplus(log_scale: float) -> float:
        return float(-np.expm1(-np.exp(log_scale) * hazard).sum() - found.sum())

    middle = float(np.log(found.sum() / hazard.sum()))
    scale = np.exp(brentq(surplus, middle - 1, middle + 40)) if not found.all() else 1.0
    scaled = scale * hazard
    return np.where(found, np.log(-np.expm1(-scaled)), -scaled)


def _gain(ours: Array, theirs: Array) -> tuple[float, float]:
    """Sum of differences, and its standard error."""
    apart = ours - theirs
    return float(apart.sum()), float(np.sqrt(len(apart) * apart.var()))


def _verdict(gain: float, error: float) -> str:
    """Better or worse by more than its error, else no different."""
    if abs(gain) <= error:
        return "no different"
    return "better" if gain > 0 else "worse"
