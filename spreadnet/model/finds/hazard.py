"""How likely finds were, in which lake and year, for any set of parameters; with exact slopes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.finds.waters import ROWS, spaced
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.finds.waters import Waters

    Array = NDArray[np.floating]

# After the level and its wandering over years, in this order.
NAMES = ("area", "depth", "access", "distance", "source_area", "outside")
AREA, DEPTH, ACCESS, DISTANCE, SOURCE, OUTSIDE = range(len(NAMES))
SHAPED = len(NAMES)
OWN = 1e17  # distance of a lake from itself, so that it is not its own source
WINDOW_YEARS = 10  # longer ones are ruled by how lists were begun, not by spread
MOST_LOG_RATE = 100.0  # a search may try worse; sums stay finite
LEAST_HABITAT = 1e-3  # a lake with a find has been habitable whatever the tables say


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Finds:
    """
    Dated finds of one species in a window of years, over R lakes that were free when it began.

    Attributes
    ----------
    waters : Waters
        All L lakes.
    rows : array of int, shape (R,)
        Lakes at risk; those found before, and those found without a date, are not.
    found_at : array of int, shape (R,)
        Place of the year of the find in `years`; Y where not found.
    years : array of int, shape (Y,)
        Years in which finds count.
    sources : array of int, shape (F,)
        Lakes with a dated find, earliest first.
    before : array of int, shape (Y,)
        How many of these were found before each year.
    log_far : array, shape (R, F)
        Log of distance as `spaced` gives it.
    offset : array, shape (R,)
        Log of habitat.
    streams : array, shape (R, Y)
        Finds a year to expect by streams, 0 or more.
    """

    waters: Waters
    rows: NDArray[np.intp]
    found_at: NDArray[np.intp]
    years: NDArray[np.int64]
    sources: NDArray[np.intp]
    before: NDArray[np.intp]
    log_far: Array
    offset: Array
    streams: Array

    @property
    def count(self) -> int:
        """Finds that count."""
        return int((self.found_at < len(self.years)).sum())

    @property
    def features(self) -> Array:
        """Log area, log depth and accessibility of the lakes at risk, (R, 3)."""
        w = self.waters
        return np.column_stack([w.log_area, w.log_depth, w.access])[self.rows]


def finds_of(
    waters: Waters,
    *,
    found_year: Array,
    undated: NDArray[np.bool_],
    through: int,
    habitat: Array | None = None,
    streams: Array | None = None,
    dtype: type = np.float32,
) -> Finds | None:
    """
    What is known of the finds of a species in the last ten years known.

    Parameters
    ----------
    waters : Waters
        All L lakes.
    found_year : array, shape (L,)
        Year of the first find; NaN where there is none or no date. Later ones than `through` are
        not known yet.
    undated : array of bool, shape (L,)
        Found without a date: neither at risk nor a source, since nobody knows since when.
    through : int
        Last year of which it is known what was found.
    habitat : array, shape (L,), optional
        Share of introductions that meet water to live in, 0 to 1.
    streams : sparse array, shape (L, L), optional
        Finds a year that an infested lake (row) brings to the next one downstream.
    dtype : type
        Of the distances.

    Returns
    -------
    finds : Finds or None
        None where no find is dated, or no year has passed since the first.
    """
    year = np.where(np.asarray(found_year) <= through, found_year, np.nan)
    dated = np.isfinite(year) & ~undated
    if not dated.any():
        return None
    first = max(int(year[dated].min()) + 1, through - WINDOW_YEARS + 1)
    if first > through:
        return None
    years = np.arange(first, through + 1)
    free = ~undated & ~(dated & (year < first))
    habitable = np.ones(len(year)) if habitat is None else np.asarray(habitat, float)
    rows = np.flatnonzero(free & ((habitable > 0) | dated))
    sources = np.flatnonzero(dated)
    sources = sources[np.argsort(year[sources], kind="stable")]
    found_at = np.where(dated[rows], year[rows] - first, len(years)).astype(np.intp)
    brought = np.zeros((len(rows), len(years)))
    if streams is not None:
        known = (year[None, :] < years[:, None]) & dated
        brought = (known.astype(float) @ streams)[:, rows].T * habitable[rows, None]
    return Finds(
        waters=waters,
        rows=rows,
        found_at=found_at,
        years=years,
        sources=sources,
        before=np.searchsorted(year[sources], years).astype(np.intp),
        log_far=log_spaced(waters, rows, sources, dtype=dtype),
        offset=np.log(np.maximum(habitable[rows], LEAST_HABITAT)),
        streams=brought,
    )


def log_spaced(
    waters: Waters,
    rows: NDArray[np.intp],
    sources: NDArray[np.intp],
    *,
    dtype: type = np.float32,
) -> Array:
    """Log of `spaced` between lakes, shape (rows, sources), with each lake far from itself."""
    far: Array = np.empty((len(rows), len(sources)), dtype)
    for first in range(0, len(rows), ROWS):
        part = slice(first, first + ROWS)
        far[part] = spaced(waters.points_km[rows[part]], waters.points_km[sources], dtype)
    far[rows[:, None] == sources] = OWN
    return np.asarray(np.log(far, out=far))


def pressure(
    log_far: Array, log_area: Array, weights: Array, *, distance: float, source_area: float
) -> tuple[Array, Array, Array]:
    """
    Sum over infested lakes of distance^-g area^c x, with its slopes.

    Parameters
    ----------
    log_far : array, shape (R, F)
        As `log_spaced` gives it.
    log_area : array, shape (F,)
        Of the infested lakes.
    weights : array, shape (F, Y)
        Whether, or how likely, each was infested in each year.
    distance, source_area : float
        g and c.

    Returns
    -------
    pressure, by_distance, by_source_area : array, shape (R, Y)
        The sum and its slopes by g and c.
    """
    shape = (len(log_far), weights.shape[1])
    kind = np.result_type(log_far.dtype, type(distance), np.float32)
    if kind != np.complex128:
        kind = log_far.dtype
    mass = np.exp(source_area * log_area)[:, None] * weights
    both = np.hstack([mass, log_area[:, None] * mass]).astype(kind)
    mass = mass.astype(kind)
    wide = np.complex128 if kind == np.complex128 else np.float64
    total: Array
    by_distance: Array
    by_area: Array
    total, by_distance, by_area = (np.empty(shape, wide) for _ in range(3))  # type: ignore[assignment]
    years = shape[1]
    for first in range(0, shape[0], ROWS):
        part = slice(first, first + ROWS)
        far = log_far[part]
        kernel = np.exp(far * kind.type(-distance))
        sums = kernel @ both
        total[part], by_area[part] = sums[:, :years], sums[:, years:]
        kernel *= far
        by_distance[part] = -(kernel @ mass)
    return total, by_distance, by_area


def log_likelihood(finds: Finds, values: Array) -> tuple[float, Array, Array]:
    """
    Log likelihood of the finds, with its gradient and Fisher's information.

    Parameters
    ----------
    finds : Finds
        The data.
    values : array, shape (1 + Y + 6,)
        Level, its wandering in each year, then the parameters of `NAMES`.

    Returns
    -------
    value : float
        In natural units.
    gradient : array, shape (1 + Y + 6,)
        By every parameter.
    information : array, shape (1 + Y + 6, 1 + Y + 6)
        Expected curvature.

    Notes
    -----
    log lambda = log habitat + level + wander + b A + e D + (tau - 1) access + log(P + exp(omega)),
    P = sum over lakes i found before of far_i^-g area_i^c; streams add a known rate. A find has the
    likelihood 1 - exp(-lambda) in its year, a free year exp(-lambda).
    """
    years = len(finds.years)
    by_boat, slopes = hazard_by_boat(finds, values)
    hazard = by_boat + finds.streams
    when = np.arange(years)
    free = when < finds.found_at[:, None]
    found = when == finds.found_at[:, None]
    at_find = hazard[found]
    value = np.log(-np.expm1(-at_find)).sum() - hazard[free].sum()
    slope = np.where(free, -1.0, 0.0).astype(hazard.dtype)
    slope[found] = np.exp(-at_find) / -np.expm1(-at_find)
    weight = slope * by_boat  # d log L / d log of the hazard by boats
    gradient = np.empty(1 + years + SHAPED, hazard.dtype)
    gradient[1 : 1 + years] = weight.sum(axis=0)
    gradient[0] = gradient[1 : 1 + years].sum()
    gradient[1 + years :] = [(weight * one).sum() for one in slopes]
    met = (free | found) * by_boat**2 / np.maximum(np.real(hazard), 1e-300)
    return value, gradient, _information(met, slopes)


def hazard_by_boat(finds: Finds, values: Array) -> tuple[Array, list[Array]]:
    """Hazard by boats (R, Y), and the slopes of its log by the parameters of `NAMES`."""
    years = len(finds.years)
    shape = values[1 + years :]
    area = finds.waters.log_area[finds.sources]
    infested = (np.arange(len(area))[:, None] < finds.before).astype(float)
    total, by_distance, by_area = pressure(
        finds.log_far, area, infested, distance=shape[DISTANCE], source_area=shape[SOURCE]
    )
    outside = np.exp(shape[OUTSIDE])
    total = total + outside
    features = finds.features
    steady = finds.offset + values[0] + features @ _steady(shape)
    log_rate = np.minimum(steady[:, None] + values[1 : 1 + years], MOST_LOG_RATE)
    by_boat = np.exp(log_rate) * total
    slopes = [features[:, [k]] for k in (AREA, DEPTH, ACCESS)]
    slopes += [by_distance / total, by_area / total, outside / total]
    return by_boat, slopes


def _steady(shape: Array) -> Array:
    """Weights of log area, log depth and accessibility."""
    return np.array([shape[AREA], shape[DEPTH], shape[ACCESS] - 1])


def _information(met: Array, slopes: list[Array]) -> Array:
    """Sum over lake-years of weight times the outer product of slopes."""
    years = met.shape[1]
    met = np.real(met)  # complex in tests of the slopes
    full = [np.broadcast_to(np.real(one), met.shape) for one in slopes]
    size = 1 + years + len(full)
    info = np.zeros((size, size))
    by_year = met.sum(axis=0)
    info[0, 0] = by_year.sum()
    info[0, 1 : 1 + years] = by_year
    info[1 : 1 + years, 1 : 1 + years] = np.diag(by_year)
    for k, one in enumerate(full):
        across = (met * one).sum(axis=0)
        info[0, 1 + years + k] = across.sum()
        info[1 : 1 + years, 1 + years + k] = across
        for other in range(k + 1):
            info[1 + years + other, 1 + years + k] = (met * one * full[other]).sum()
    return np.triu(info) + np.triu(info, 1).T
