"""Which lakes hold a species, when looking for it can miss it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.evidence.intervals import beta_from_range

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions

    Array = NDArray[np.floating]

WORDS = ("infested", "looked for, not found", "not surveyed")


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
    occupancy : float
        Chance that a lake never surveyed holds it.
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
    occupancy: float
    first_found: Array
    words: NDArray[np.str_]
    occupancy_beta: tuple[float, float]

    def draw(self, rng: np.random.Generator) -> Array:
        """One state of 0 and 1, shape (L,); a lake's own number is the same for the same rng."""
        uniform = rng.random(len(self.known))  # first, so that other numbers don't shift them
        occupancy = float(rng.beta(*self.occupancy_beta))
        chance = np.where(self.known, 1.0, _chance(occupancy, self.detection, self.surveys))
        return (uniform < chance).astype(float)


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

    A lake where nobody found it is not a lake without it. Surveyed lakes are not a random sample:
    people look where they expect a find, so the occupancy learned from them leans high for lakes
    that nobody looked at.

    Parameters
    ----------
    status, lakes : DataFrame
        As in `Region`. A lake without a row is unknown, with no survey.
    species : str
        Rows of other species are left out.
    detection : float
        Chance that one survey finds it where it is, 0 to 1.
    assumptions : Assumptions
        `occupancy`.

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
    With n surveys and no find: pi (1 - p)^n / (pi (1 - p)^n + 1 - pi). pi by expectation and
    maximisation over lakes found or surveyed, starting from the assumption as a beta distribution.
    `surveys` left out counts 1 when absent, 0 when unknown.

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
    looked = np.where(known, 0.0, looked)
    year = np.full(len(lakes), np.inf)
    np.fmin.at(year, place[present], _years(rows["first_found"])[present])
    alpha, beta = _occupancy(known, looked, detection, assumptions)
    occupancy = alpha / (alpha + beta)
    kind = np.where(known, 0, np.where(looked > 0, 1, 2))
    return Status(
        species=species,
        probability=np.where(known, 1.0, _chance(occupancy, detection, looked)),
        known=known,
        surveys=looked,
        detection=detection,
        occupancy=occupancy,
        first_found=np.where(np.isfinite(year), year, np.nan),
        words=np.array(WORDS)[kind],
        occupancy_beta=(alpha, beta),
    )


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


def _chance(occupancy: float, detection: float, surveys: Array) -> Array:
    """Chance that the species is there although the surveys did not find it."""
    missed = occupancy * (1 - detection) ** surveys
    total = missed + 1 - occupancy
    return missed / np.where(total > 0, total, 1.0)


def _occupancy(
    known: NDArray[np.bool_], surveys: Array, detection: float, assumptions: Assumptions
) -> tuple[float, float]:
    """Beta posterior of the chance that a lake holds the species."""
    alpha, beta = start = beta_from_range(assumptions.entries["occupancy"])
    found, searched = float(known.sum()), surveys[~known & (surveys > 0)]
    for _ in range(1000):
        unseen = float(_chance(alpha / (alpha + beta), detection, searched).sum())
        step = start[0] + found + unseen, start[1] + len(searched) - unseen
        done = abs(step[0] - alpha) < 1e-10 * step[0]
        alpha, beta = step
        if done:
            break
    return alpha, beta


def _years(column: pd.Series) -> Array:
    """Years of dates, of numbers, or of text that begins with the year; NaN where missing."""
    if pd.api.types.is_datetime64_any_dtype(column):
        return column.dt.year.to_numpy(dtype=float, na_value=np.nan)
    text = column.astype("string").str.slice(0, 4)
    return pd.to_numeric(text, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
