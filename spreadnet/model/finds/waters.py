"""What every lake is to a boat out for the day: how large, how deep, how near to others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.words import short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]

NEAREST_KM = 2.0  # added to every distance: a neighbour is not infinitely near
UNIT_KM = 50.0  # distances count in this unit, so that levels keep one meaning everywhere
PULL = 0.5  # of lake area in the reference of accessibility
FALL = 2.0  # of distance in the same
SMALLEST_HA = 0.01
ROWS = 256  # lakes worked out at once: their kernel stays in the cache


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Waters:
    """
    Lakes as finds see them, L lakes; worked out once for a region.

    Attributes
    ----------
    points_km : array, shape (L, 2)
        Easting and northing of where trips to the lake end.
    log_area, log_depth : array, shape (L,)
        Less their mean; 0 where the depth is not known.
    access : array, shape (L,)
        Log of the sum over all other lakes of area^PULL (d + 2 km)^-FALL, less its mean.
    """

    points_km: Array
    log_area: Array
    log_depth: Array
    access: Array


def waters(points_m: Array, *, area_ha: Array, max_depth_m: Array) -> Waters:
    """
    Size, depth and accessibility of every lake.

    Parameters
    ----------
    points_m : array, shape (L, 2)
        Easting and northing in metres.
    area_ha : array, shape (L,)
        Surface, 0 or more.
    max_depth_m : array, shape (L,)
        NaN where not known.

    Returns
    -------
    waters : Waters
        In the same order.

    Examples
    --------
    >>> at = np.array([[0.0, 0], [3000, 0], [90_000, 0]])
    >>> waters(at, area_ha=np.full(3, 50.0), max_depth_m=np.full(3, np.nan)).access.round(1)
    array([ 1.7,  1.7, -3.4])
    """
    points = np.asarray(points_m, float) / 1000
    log_area = np.log(np.maximum(np.asarray(area_ha, float), SMALLEST_HA))
    depth = np.asarray(max_depth_m, float)
    known = np.isfinite(depth) & (depth > 0)
    log_depth = np.zeros(len(depth))
    if known.any():
        logs = np.log(depth[known])
        log_depth[known] = logs - logs.mean()
    mass = np.exp(PULL * (log_area - log_area.mean()))
    return Waters(points, log_area - log_area.mean(), log_depth, _access(points, mass))


def _access(points: Array, mass: Array) -> Array:
    """Accessibility of every lake, without a matrix of all lakes by all."""
    if len(points) < 2:
        return np.zeros(len(points))
    pull = mass.astype(np.float32)
    total = np.empty(len(points))
    everywhere = np.arange(len(points))
    for first in range(0, len(points), ROWS):
        rows = everywhere[first : first + ROWS]
        far = spaced(points[rows], points)
        np.divide(1.0, far, out=far)
        np.square(far, out=far)  # FALL
        far[np.arange(len(rows)), rows] = 0.0
        total[rows] = far @ pull
    log_total = np.log(total)
    return np.asarray(log_total - log_total.mean())


def spaced(origin_km: Array, destination_km: Array, dtype: type = np.float32) -> Array:
    """
    Distance of every pair plus 2 km, in units of 50 km.

    Parameters
    ----------
    origin_km, destination_km : array, shape (M, 2), (N, 2)
        Easting and northing.
    dtype : type
        Of the result.

    Returns
    -------
    spaced : array, shape (M, N)
        Above 0.

    Examples
    --------
    >>> spaced(np.zeros((1, 2)), np.array([[30.0, 40.0]]), np.float64)
    array([[1.04]])
    """
    middle = destination_km.mean(axis=0) if len(destination_km) else np.zeros(2)
    a: Array = (origin_km - middle).astype(dtype)
    b: Array = (destination_km - middle).astype(dtype)
    far = np.subtract.outer(a[:, 0], b[:, 0])
    np.square(far, out=far)
    north = np.subtract.outer(a[:, 1], b[:, 1])
    np.square(north, out=north)
    far += north
    np.sqrt(far, out=far)
    far += dtype(NEAREST_KM)
    far /= dtype(UNIT_KM)
    return far
