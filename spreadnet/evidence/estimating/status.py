"""Which lakes hold a species, when looking for it can miss it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.special import expit

from spreadnet.evidence.statistics import beta_from_range
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions

    Array = NDArray[np.floating]

WORDS = ("infested", "looked for, not found", "not surveyed")
# Grid of the occupancy's posterior: standard deviations below and above the likeliest, and values.
BELOW, ABOVE, GRID = 20.0, 10.0, 601


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class StatusDraw:
    """
    Chance that each lake holds a species, and the number below which it is drawn to, (L,) each.

    `uniform` is None at the best estimates, where chances are used as they are.
    """

    chance: Array
    uniform: Array | None


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Status:
    """
    Where one species is, for L lakes.

    Attributes
    ----------
    species : str
        Its name.
    probability : array, shape (L,)
        Chance that the lake holds it: 1 where found.
    known : array of bool, shape (L,)
        Found and confirmed. Draws leave these as they are.
    surveys : array, shape (L,)
        Surveys that did not find it.
    detection : float
        Chance that one survey finds it where it is.
    found_anyway : float
        Chance that it becomes known where it is without any survey.
    occupancy : float
        Chance that a lake holds it, before looking at that lake.
    occupancy_low, occupancy_high : float
        90% interval of `occupancy` for this `detection` and `found_anyway`.
    first_found : array, shape (L,)
        Year of the first find, or NaN.
    words : array of str, shape (L,)
        One of `WORDS`.
    """

    species: str
    probability: Array
    known: NDArray[np.bool_]
    surveys: Array
    detection: float
    found_anyway: float
    occupancy: float
    occupancy_low: float
    occupancy_high: float
    first_found: Array
    words: NDArray[np.str_]
    prior: tuple[float, float]

    def watched(self, *, detection: float, found_anyway: float) -> Array:
        """Chance that an infestation of each lake would be known by now, shape (L,)."""
        return 1 - _missed(self.surveys, detection, found_anyway)

    def draw(self, rng: np.random.Generator, *, detection: float, found_anyway: float) -> Array:
        """
        One state of 0 and 1, shape (L,).

        The occupancy is learned anew for the chances given. A lake's own number is the same for
        the same rng, so that a likelier lake is never drawn free where a less likely one is not.
        """
        drawn = self.draw_chance(rng, detection=detection, found_anyway=found_anyway)
        return (np.asarray(drawn.uniform) < drawn.chance).astype(float)

    def draw_chance(
        self, rng: np.random.Generator, *, detection: float, found_anyway: float
    ) -> StatusDraw:
        """Chances under one draw of the occupancy, and each lake's own number, see `draw`."""
        uniform = rng.random(len(self.known))  # first, so that other numbers don't shift them
        missed = _missed(self.surveys, detection, found_anyway)
        occupancy, weight = _posterior(self.known, missed, self.prior)
        drawn = _quantile(occupancy, weight, float(rng.random()))
        return StatusDraw(np.where(self.known, 1.0, _chance(drawn, missed)), uniform)


def fit_status(
    status: pd.DataFrame,
    lakes: pd.DataFrame,
    species: str,
    *,
    detection: float,
    assumptions: Assumptions,
) -> Status:
    """
    Chance that each lake holds a species.

    A lake where nobody found it is not a lake without it. How likely it is there depends on how
    surely it would be known by now: by the surveys made, or without any, since the public reports
    what it sees in lakes that nobody surveys.

    Parameters
    ----------
    status, lakes : DataFrame
        As in `Region`. A lake without a row is unknown, with no survey.
    species : str
        Rows of other species are left out.
    detection : float
        Chance that one survey finds it where it is, 0 to 1.
    assumptions : Assumptions
        `occupancy`, `found_anyway`.

    Returns
    -------
    status : Status
        Ordered by `lakes.index`.

    Raises
    ------
    ValueError
        If `detection` is outside 0 to 1, or a row names a lake that does not exist.

    Notes
    -----
    With n surveys and no find it was missed with chance m = (1 - found_anyway) (1 - p)^n, and is
    there with chance pi m / (pi m + 1 - pi). Every lake counts for the occupancy pi: the found
    ones 1, the others that chance. `occupancy` in the assumptions is a beta distribution before
    the lakes are seen; means, intervals and draws of pi are those of its exact posterior, so that
    lakes where it may have been missed make pi less sure. `surveys` left out counts 1 when absent,
    0 when unknown.

    Examples
    --------
    >>> from spreadnet.assumptions import DEFAULT
    >>> rows = pd.DataFrame(
    ...     {"lake_id": ["L1"], "species": ["mussel"], "status": ["present"],
    ...      "first_found": [2021], "surveys": [1]}
    ... )
    >>> lakes = pd.DataFrame(index=["L1", "L2"])
    >>> fit_status(rows, lakes, "mussel", detection=0.5, assumptions=DEFAULT).words.tolist()
    ['infested', 'not surveyed']
    """
    if not 0 <= detection <= 1:
        message = f"Invalid detection '{detection}'. It must lie in 0 to 1."
        raise ValueError(message)
    rows = status[(status["species"] == species).to_numpy(dtype=bool)]
    known, looked, year = _by_lake(rows, lakes)
    anyway = assumptions["found_anyway"]
    prior = beta_from_range(assumptions.entries["occupancy"])
    missed = _missed(looked, detection, anyway)
    occupancy, weight = _posterior(known, missed, prior)
    low, high = (_quantile(occupancy, weight, q) for q in (0.05, 0.95))
    levels, place = np.unique(missed, return_inverse=True)
    chance = _chance(occupancy[:, None], levels).T @ weight
    kind = np.where(known, 0, np.where(looked > 0, 1, 2))
    return Status(
        species=species,
        probability=np.where(known, 1.0, chance[place]),
        known=known,
        surveys=looked,
        detection=detection,
        found_anyway=anyway,
        occupancy=float(occupancy @ weight),
        occupancy_low=low,
        occupancy_high=high,
        first_found=year,
        words=np.array(WORDS)[kind],
        prior=prior,
    )


def find_years(status: pd.DataFrame, lakes: pd.DataFrame, species: str) -> Array:
    """
    Year in which each lake was first found to hold a species.

    Parameters
    ----------
    status, lakes : DataFrame
        As in `Region`.
    species : str
        Rows of other species are left out.

    Returns
    -------
    years : array, shape (L,)
        NaN where it was not found or the find has no date.

    Examples
    --------
    >>> rows = pd.DataFrame(
    ...     {"lake_id": ["L1", "L2"], "species": "mussel", "status": ["present", "absent"],
    ...      "first_found": [2021, None], "surveys": [1, 2]}
    ... )
    >>> find_years(rows, pd.DataFrame(index=["L1", "L2"]), "mussel")
    array([2021.,   nan])
    """
    rows = status[(status["species"] == species).to_numpy(dtype=bool)]
    return _by_lake(rows, lakes)[2]


def surveys_for_detection(detection: float, target: float = 0.95) -> int:
    """
    Surveys needed to find a species that is there with the chance wanted.

    Parameters
    ----------
    detection : float
        Chance that one survey finds it, above 0 and up to 1.
    target : float
        Chance wanted, 0 to below 1.

    Returns
    -------
    surveys : int
        The smallest n with 1 - (1 - detection)^n >= target.

    Raises
    ------
    ValueError
        If either number is outside its range.

    Examples
    --------
    >>> [surveys_for_detection(p) for p in (0.10, 0.38, 0.63, 0.86)]
    [29, 7, 4, 2]
    """
    if not 0 < detection <= 1:
        message = f"Invalid detection '{detection}'. It must lie above 0 and up to 1."
        raise ValueError(message)
    if not 0 <= target < 1:
        message = f"Invalid target '{target}'. It must lie in 0 to below 1."
        raise ValueError(message)
    if detection == 1:
        return 1 if target > 0 else 0
    return int(np.ceil(np.log1p(-target) / np.log1p(-detection) - 1e-9))


def _by_lake(rows: pd.DataFrame, lakes: pd.DataFrame) -> tuple[NDArray[np.bool_], Array, Array]:
    """Whether found, surveys without a find, and the year of the first find, each (L,)."""
    place = lakes.index.get_indexer(pd.Index(rows["lake_id"]))
    if np.any(place < 0):
        message = f"Invalid lake '{rows['lake_id'].to_numpy()[np.argmin(place)]}'. Not in lakes."
        raise ValueError(message)
    present = (rows["status"] == "present").to_numpy(dtype=bool)
    absent = (rows["status"] == "absent").to_numpy(dtype=bool)
    surveys = rows["surveys"].to_numpy(dtype=float, na_value=np.nan)
    surveys = np.where(np.isnan(surveys), absent.astype(float), surveys)
    known = np.zeros(len(lakes), dtype=bool)
    known[place[present]] = True
    looked = np.bincount(place[~present], surveys[~present], minlength=len(lakes)).astype(float)
    year = np.full(len(lakes), np.inf)
    np.fmin.at(year, place[present], _years(rows["first_found"])[present])
    return known, np.where(known, 0.0, looked), np.where(np.isfinite(year), year, np.nan)


def _missed(surveys: Array, detection: float, found_anyway: float) -> Array:
    """Chance that an infestation is not known after so many surveys."""
    return (1 - found_anyway) * (1 - detection) ** surveys


def _chance(occupancy: Array | float, missed: Array) -> Array:
    """Chance that the species is there although nobody found it."""
    there = occupancy * missed
    total = there + 1 - occupancy
    return there / np.where(total > 0, total, 1.0)


def _posterior(
    known: NDArray[np.bool_], missed: Array, prior: tuple[float, float]
) -> tuple[Array, Array]:
    """
    Values of the occupancy, evenly spaced in log odds about the likeliest, and their weights.

    The likeliest is where the lakes expected to hold the species, by the chances that it implies,
    are as many as it says itself (the fixed point of expectation and maximisation).
    """
    levels, count = np.unique(missed[~known], return_counts=True)
    yes, no = prior[0] + float(known.sum()), prior[1]
    every = yes + no + float(count.sum())

    def excess(log_odds: float) -> float:
        occupancy = float(expit(log_odds))
        return yes + float(count @ _chance(occupancy, levels)) - every * occupancy

    top = float(brentq(excess, -30.0, 30.0))
    at = float(expit(top))
    hidden = _chance(at, levels)
    curvature = every * at * (1 - at) - float(count @ (hidden * (1 - hidden)))
    log_odds = np.clip(top + np.linspace(-BELOW, ABOVE, GRID) / np.sqrt(curvature), -500, 500)
    occupancy, free = expit(log_odds), expit(-log_odds)
    density = yes * np.log(occupancy) + no * np.log(free)
    density = density + np.log(np.outer(occupancy, levels) + free[:, None]) @ count
    weight = np.exp(density - density.max())
    return occupancy, weight / weight.sum()


def _quantile(values: Array, weight: Array, share: float) -> float:
    """Value below which a share of the weight lies."""
    return float(np.interp(share, np.cumsum(weight) - weight / 2, values))


def _years(column: pd.Series) -> Array:
    """Years of dates, of numbers, or of text that begins with the year; NaN where missing."""
    if pd.api.types.is_datetime64_any_dtype(column):
        return column.dt.year.to_numpy(dtype=float, na_value=np.nan)
    text = column.astype("string").str.slice(0, 4)
    return pd.to_numeric(text, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
