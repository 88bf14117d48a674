"""Expected spread and its adjoint by way of the rates between lakes, with nobody covered."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread import Gradient, Path

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.model.flows import Trips
    from spreadnet.model.lake_rates import LakeRates
    from spreadnet.model.spread import SpreadInputs

    Array = NDArray[np.floating]


def path_by_lake(inputs: SpreadInputs, rates: LakeRates, *, seasons: int) -> Path:
    """
    Expected course with nobody covered, as `expected_spread` gives it.

    Where the rates between lakes are known already, a season is one product with them, and what
    is asked of landings and routes is worked out for all seasons together.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region; its trips must be `Trips`.
    rates : LakeRates
        `lake_rates(inputs, establish=1.0)`.
    seasons : int
        Seasons to look ahead, 1 or more.

    Returns
    -------
    path : Path
        To the last bits that of `expected_spread`, but for `carried` of routes with weight 0,
        which hold only boats from outside: nobody reads them.

    Raises
    ------
    ValueError
        If `seasons` is below 1.
    """
    if seasons < 1:
        message = f"Invalid seasons '{seasons}'. It must be 1 or more."
        raise ValueError(message)
    trips: Trips = inputs.trips  # type: ignore[assignment]
    at, dtype = rates.lakes, rates.between.dtype
    hazards = np.zeros((seasons + 1, len(inputs.initial)))
    infested = np.empty_like(hazards)
    introductions = np.zeros((seasons, len(inputs.initial)))
    downstream = inputs.streams.T.tocsr()
    infested[0] = inputs.initial
    for season in range(seasons):
        sent = infested[season, at].astype(dtype) @ rates.between
        introductions[season, at] = inputs.establish * (rates.outside + sent)
        hazard = inputs.habitat * (
            introductions[season] ** inputs.allee_exponent + downstream @ infested[season]
        )
        hazards[season + 1] = hazards[season] + hazard
        infested[season + 1] = inputs.initial - (1 - inputs.initial) * np.expm1(
            -hazards[season + 1]
        )
    used = np.flatnonzero(inputs.weights > 0)
    left = trips.leaving_mean(inputs.leaving[used].T)
    of_group = _lake_of_group(inputs, trips)
    columns = infested[:-1, of_group].T[:, :, None] * left[:, None, :]
    whole = trips.by_origin @ columns.reshape(len(columns), -1).astype(dtype)
    carried = np.empty((seasons, len(inputs.landing_lake), len(inputs.weights)))
    carried[:] = inputs.outside_boats[:, None] * inputs.outside_leaving
    carried[:, :, used] += whole.reshape(len(whole), seasons, -1).transpose(1, 0, 2)
    return Path(hazards, infested, introductions, carried)


def gradient_by_lake(inputs: SpreadInputs, path: Path, rates: LakeRates) -> Gradient:
    """
    What coverage at each landing avoids, as `gradient` gives it with nobody covered.

    Parameters
    ----------
    inputs : SpreadInputs
        The inputs that made the path.
    path : Path
        Result of `path_by_lake` or `expected_spread` with nobody covered.
    rates : LakeRates
        `lake_rates(inputs, establish=1.0)`.

    Returns
    -------
    gradient : Gradient
        To the last bits that of `gradient`.
    """
    trips: Trips = inputs.trips  # type: ignore[assignment]
    used = np.flatnonzero(inputs.weights > 0)
    at, dtype, seasons = rates.lakes, rates.between.dtype, path.seasons
    free, exponent = 1 - inputs.initial, inputs.allee_exponent
    by_hazard = inputs.worth * free * np.exp(-path.cumulative_hazard[-1])
    initial = inputs.worth * np.expm1(-path.cumulative_hazard[-1])
    lake_value = np.empty_like(path.introductions)
    for season in reversed(range(seasons)):
        by_habitat = by_hazard * inputs.habitat
        slope = exponent * path.introductions[season] ** (exponent - 1) if exponent != 1 else 1.0
        lake_value[season] = by_habitat * slope
        by_state = inputs.streams @ by_habitat
        valued = (inputs.establish * lake_value[season, at]).astype(dtype)
        by_state[at] += rates.between @ valued
        still_free = np.exp(-path.cumulative_hazard[season])
        initial = initial + by_state * still_free
        by_hazard = by_hazard + by_state * free * still_free
    by_landing = inputs.establish * lake_value[:, inputs.landing_lake]
    by_leaving, by_arriving = np.zeros_like(inputs.leaving), np.zeros_like(inputs.arriving)
    arrived = np.einsum("tk,tkr->rk", by_landing, path.carried[:, :, used], optimize=True)
    by_arriving[used] = arrived * inputs.weights[used, None]
    weighted = by_landing[:, None, :] * (inputs.weights[used, None] * inputs.arriving[used])
    back = weighted.reshape(seasons * len(used), -1).astype(dtype) @ trips.by_origin
    infested = path.infested[:-1][:, _lake_of_group(inputs, trips)]
    by_group = np.einsum("trg,tg->rg", back.reshape(seasons, len(used), -1), infested)
    by_leaving[used] = by_group[:, trips.group] * trips.split
    effect = inputs.education_effect[:, None]
    return Gradient(
        leaving_routes=effect * inputs.leaving * by_leaving,
        arriving_routes=effect * inputs.arriving * by_arriving,
        initial=initial,
        lake_value=lake_value,
    )


def _lake_of_group(inputs: SpreadInputs, trips: Trips) -> NDArray[np.integer]:
    """Position of the lake that each group of origins belongs to."""
    of_group = np.empty(trips.by_origin.shape[1], np.intp)
    of_group[trips.group] = inputs.landing_lake
    return of_group
