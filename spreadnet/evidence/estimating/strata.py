"""Kinds of time: day type x time block x month, and how many hours fall into each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.linalg import helmert

from spreadnet.evidence.region import DAY_TYPES
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.evidence.region import Block, Settings

    Array = NDArray[np.floating]


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Strata:
    """
    C kinds of time, ordered by day type, then block, then month.

    Attributes
    ----------
    blocks : tuple of str
        Labels, in the order of `region.toml`.
    months : tuple of int
        Months of the season and of the visits, 1 to 12, in calendar order.
    season_hours : array, shape (C,)
        Hours of the season in each.
    design : array, shape (C, P)
        Columns by which the log rate of each is a sum: weekend (measured from the season's mean,
        so that the level is that of a middling day), then blocks and months, each set measured
        from its own mean.
    labels : tuple of str
        One a row of `effects`.
    effects : array, shape (n, P)
        Turns the P numbers into the effect of weekend, of each block and of each month.
    """

    blocks: tuple[str, ...]
    months: tuple[int, ...]
    season_hours: Array
    design: Array
    labels: tuple[str, ...]
    effects: Array

    @property
    def day_block_hours(self) -> Array:
        """Hours of the season in each (day type, block), shape (D,)."""
        return self.season_hours.reshape(-1, len(self.months)).sum(axis=1)

    @property
    def month_hours(self) -> Array:
        """The same by month, shape (D, M)."""
        return self.season_hours.reshape(-1, len(self.months))

    def day_blocks(self) -> pd.DataFrame:
        """The D (day type, block) pairs, weekdays first, with their hours in the season."""
        return pd.DataFrame(
            {
                "day_type": np.repeat(DAY_TYPES, len(self.blocks)),
                "block": list(self.blocks) * len(DAY_TYPES),
                "hours_in_season": self.day_block_hours,
            }
        )

    def by_day_block(self, rates: Array) -> Array:
        """Boats an hour in each (day type, block), from those in each stratum: (C,) to (D,)."""
        shape = (-1, len(self.months))
        hours, rate = self.season_hours.reshape(shape), rates.reshape(shape)
        hours = np.where(hours.sum(axis=1, keepdims=True) > 0, hours, 1.0)
        return (hours * rate).sum(axis=1) / hours.sum(axis=1)

    def by_month(self, rates: Array) -> Array:
        """Boats an hour in each month over those of the season in the same day block, (D, M)."""
        return rates.reshape(-1, len(self.months)) / self.by_day_block(rates)[:, None]


def make_strata(settings: Settings, dates: pd.Series) -> Strata:
    """
    Strata of a season and of the visits made.

    Parameters
    ----------
    settings : Settings
        Season, blocks, holidays.
    dates : Series of datetime
        Days of the visits; their months join those of the season.

    Returns
    -------
    strata : Strata
        Hours are those of the calendar: the days of each type and month between the first and
        the last day of the season.

    Examples
    --------
    >>> from datetime import date
    >>> from spreadnet.evidence.region import Block, Settings
    >>> settings = Settings("a", date(2027, 7, 1), date(2027, 7, 7), {}, blocks=(Block(6, 10),))
    >>> make_strata(settings, pd.Series([], dtype="datetime64[s]")).season_hours
    array([20.,  8.])
    """
    days = pd.Series(pd.date_range(settings.season_first_day, settings.season_last_day))
    months = tuple(sorted({*days.dt.month, *dates.dt.month}))
    kinds = len(DAY_TYPES), len(settings.blocks), len(months)
    day_type, block, month = (axis.ravel() for axis in np.indices(kinds))
    weekend = is_weekend(days, settings.holidays)
    counts = np.zeros((kinds[0], kinds[2]))
    np.add.at(counts, (weekend.astype(int), np.searchsorted(months, days.dt.month)), 1)
    hours = np.array([b.hours for b in settings.blocks])
    by_block, by_month = _contrasts(kinds[1]), _contrasts(kinds[2])
    level = (day_type - weekend.mean())[:, None]
    sizes = 1, by_block.shape[1], by_month.shape[1]
    parts = [np.ones((1, 1)), by_block, by_month]
    effects = np.zeros((sum(len(p) for p in parts), sum(sizes)))
    row = column = 0
    for part in parts:
        effects[row : row + part.shape[0], column : column + part.shape[1]] = part
        row, column = row + part.shape[0], column + part.shape[1]
    labels = [b.label for b in settings.blocks]
    return Strata(
        blocks=tuple(labels),
        months=tuple(int(m) for m in months),
        season_hours=counts[day_type, month] * hours[block],
        design=np.hstack([level, by_block[block], by_month[month]]),
        labels=("weekend", *(f"block {b}" for b in labels), *(f"month {m}" for m in months)),
        effects=effects,
    )


def is_weekend(days: pd.Series, holidays: Sequence[object]) -> NDArray[np.bool_]:
    """
    Whether each day is a Saturday, a Sunday or a holiday.

    Examples
    --------
    >>> from datetime import date
    >>> is_weekend(pd.Series(pd.date_range("2027-07-02", periods=4)), [date(2027, 7, 5)])
    array([False,  True,  True,  True])
    """
    off = pd.to_datetime(pd.Series(list(holidays), dtype=object))
    return ((days.dt.day_of_week >= 5) | days.dt.normalize().isin(off)).to_numpy(dtype=bool)


def visit_hours(
    visits: pd.DataFrame, settings: Settings, strata: Strata
) -> tuple[NDArray[np.integer], Array]:
    """
    Hours of each visit in each block, and the stratum whose rate they have.

    A part of a visit outside all blocks counts to the block nearest in time.

    Parameters
    ----------
    visits : DataFrame
        `date`, `start`, `end` (hours after midnight).
    settings : Settings
        Blocks and holidays.
    strata : Strata
        As made for the dates of the same visits.

    Returns
    -------
    stratum : array of int, shape (V, B)
        Position of the stratum of each visit and block.
    hours : array, shape (V, B)
        Rows sum to the length of the visit.

    Examples
    --------
    >>> from datetime import date
    >>> from spreadnet.evidence.region import Block, Settings
    >>> blocks = (Block(6, 10), Block(12, 16))
    >>> settings = Settings("a", date(2027, 7, 1), date(2027, 7, 9), {}, blocks=blocks)
    >>> visits = pd.DataFrame({"date": pd.to_datetime(["2027-07-03"]), "start": 5.0, "end": 13.0})
    >>> visit_hours(visits, settings, make_strata(settings, visits["date"]))
    (array([[2, 3]]), array([[6., 2.]]))
    """
    first, last = _zones(settings.blocks)
    start = visits["start"].to_numpy(dtype=float)[:, None]
    end = visits["end"].to_numpy(dtype=float)[:, None]
    hours = np.clip(np.minimum(end, last) - np.maximum(start, first), 0, None)
    weekend = is_weekend(visits["date"], settings.holidays).astype(int)[:, None]
    month = np.searchsorted(strata.months, visits["date"].dt.month)[:, None]
    block = np.arange(len(settings.blocks))[None, :]
    return (weekend * len(strata.blocks) + block) * len(strata.months) + month, hours


def _zones(blocks: Sequence[Block]) -> tuple[Array, Array]:
    """First and last hour of the part of the day nearest to each block: (B,), (B,)."""
    first, last = (np.array([getattr(b, end) for b in blocks], float) for end in ("first", "last"))
    order = np.argsort(first)
    middle = (last[order][:-1] + first[order][1:]) / 2
    zone_first, zone_last = np.empty_like(first), np.empty_like(last)
    zone_first[order] = np.concatenate([[0.0], middle])
    zone_last[order] = np.concatenate([middle, [24.0]])
    return zone_first, zone_last


def _contrasts(n: int) -> Array:
    """Orthonormal columns that sum to zero, so that no level is treated apart: (n, n - 1)."""
    return helmert(n).T if n > 1 else np.zeros((n, 0))
