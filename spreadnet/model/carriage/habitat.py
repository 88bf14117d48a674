"""Whether a lake can hold a species, what streams bring, and the chance of establishing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import scipy.sparse as sp

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from spreadnet.evidence.species import Species

    Array = NDArray[np.float64]

# Whittier et al. 2008, Front Ecol Environ 6:180: very low, low, moderate and high calcium
CALCIUM_EDGES_MG_L = (12.0, 20.0, 28.0)
CALCIUM_CLASSES = (
    "calcium_below_12",
    "calcium_12_to_20",
    "calcium_20_to_28",
    "calcium_above_28",
)
# Caffrey et al., Florida lakes: log10 of the deepest plants (m) on log10 of Secchi depth (m)
PLANT_DEPTH_SLOPE = 0.66
PLANT_DEPTH_INTERCEPT = 0.31


def plant_depth_m(secchi_m: ArrayLike) -> Array:
    """
    Greatest depth at which rooted plants grow, from water clarity.

    Parameters
    ----------
    secchi_m : array-like
        Secchi depth, m.

    Returns
    -------
    depth : array
        Greatest depth of plants, m.

    Notes
    -----
    log10 MDC = 0.66 log10 SD + 0.31 (Caffrey et al., 279 lake-years, R2 0.68).

    Examples
    --------
    >>> plant_depth_m(2.0).round(2)
    np.float64(3.23)
    """
    return 10**PLANT_DEPTH_INTERCEPT * np.asarray(secchi_m, dtype=float) ** PLANT_DEPTH_SLOPE


def plant_share(secchi_m: ArrayLike, depth_m: ArrayLike) -> Array:
    """
    Share of a lake's area that rooted plants can use.

    Parameters
    ----------
    secchi_m : array-like
        Secchi depth, m.
    depth_m : array-like
        Greatest depth of the lake, m.

    Returns
    -------
    share : array
        0 to 1; NaN where either is not known.

    Notes
    -----
    The basin is taken as a cone with its point at the greatest depth: the area deeper than z is
    (1 - z / depth)^2 of the whole, so the usable share is 1 - (1 - MDC / depth)^2, and all of the
    lake where plants reach the bottom (an assumption: real basins are often flatter).

    Examples
    --------
    >>> plant_share([2.0, 2.0], [6.46, 3.0]).round(2)
    array([0.75, 1.  ])
    """
    deepest = np.asarray(depth_m, dtype=float)
    reach = plant_depth_m(secchi_m)
    deep = deepest > reach
    ratio = np.divide(reach, deepest, out=np.ones_like(reach + deepest), where=deep)
    share = 1 - (1 - ratio) ** 2
    return np.where(np.isnan(reach) | np.isnan(deepest), np.nan, share)


def habitat(species: Species, lakes: pd.DataFrame) -> Array:
    """
    How well each lake suits a species, from 0 (not at all) to 1.

    Boats bring species to many lakes that can't hold them; leaving those out keeps hours from
    being spent where nothing would establish.

    Parameters
    ----------
    species : Species
        The species; its `habitat_rule` says what counts.
    lakes : DataFrame
        With `calcium_mg_l` for the rule `calcium`, `secchi_m` and `depth_m` (greatest depth) for
        the rule `clarity`.

    Returns
    -------
    habitat : array, shape (L,)
        `habitat_missing` where the lake's water is not described, and everywhere for the rule
        `none`.

    Notes
    -----
    Calcium classes below 12, from 12, from 20, and above 28 mg/L (Whittier et al. 2008); what
    each class is worth is an assumption. Rooted plants: see `plant_share`.

    Examples
    --------
    >>> import pandas as pd
    >>> from spreadnet.evidence.species.species import read_species
    >>> lakes = pd.DataFrame({"calcium_mg_l": [5.0, 15.0, 25.0, 35.0, float("nan")]})
    >>> habitat(read_species()["dreissenid_mussel"], lakes)
    array([0.02, 0.2 , 0.6 , 1.  , 0.6 ])
    """
    missing = species.values["habitat_missing"]
    if species.habitat_rule == "calcium":
        return _by_calcium(species, lakes["calcium_mg_l"].to_numpy(dtype=float))
    if species.habitat_rule == "clarity":
        secchi = lakes["secchi_m"].to_numpy(dtype=float)
        share = plant_share(secchi, lakes["depth_m"].to_numpy(dtype=float))
        return np.where(np.isnan(share), missing, share)
    return np.full(len(lakes), missing)


def _by_calcium(species: Species, calcium_mg_l: Array) -> Array:
    """Worth of each lake's calcium class; 12 and 20 belong to the class above, 28 below."""
    low, moderate, high = CALCIUM_EDGES_MG_L
    worth = np.array([species.values[name] for name in CALCIUM_CLASSES])
    position = (
        (calcium_mg_l >= low).astype(int) + (calcium_mg_l >= moderate) + (calcium_mg_l > high)
    )
    return np.where(np.isnan(calcium_mg_l), species.values["habitat_missing"], worth[position])


def stream_rates(species: Species, streams: pd.DataFrame, lakes: pd.Index) -> sp.csr_array:
    """
    Founding events a year that streams bring from each lake to the next.

    Parameters
    ----------
    species : Species
        The species.
    streams : DataFrame
        `upstream_lake_id`, `downstream_lake_id`, `distance_km`, `barrier`.
    lakes : Index
        All `lake_id`, in the order of the model.

    Returns
    -------
    rates : sparse array, shape (L, L)
        Row: the infested lake upstream; column: the lake downstream. Nothing flows upstream, past
        a barrier or beyond `stream_stop_km`; a lake in between passes it on once infested.

    Raises
    ------
    ValueError
        If a stream names a lake that is not in `lakes`.

    Notes
    -----
    rate = stream_per_year exp(-distance / stream_efold_km). That adults fall off with distance
    from the lake: Bobeldyk et al. 2005, Ecoscience 12:339.

    Examples
    --------
    >>> import pandas as pd
    >>> from spreadnet.evidence.species.species import read_species
    >>> streams = pd.DataFrame({"upstream_lake_id": ["a"], "downstream_lake_id": ["b"],
    ...     "distance_km": [8.0], "barrier": [False]})
    >>> mussel = read_species()["dreissenid_mussel"]
    >>> stream_rates(mussel, streams, pd.Index(["a", "b"])).toarray().round(2)
    array([[0.  , 0.11],
           [0.  , 0.  ]])
    """
    above = lakes.get_indexer(pd.Index(streams["upstream_lake_id"]))
    below = lakes.get_indexer(pd.Index(streams["downstream_lake_id"]))
    if (above < 0).any() or (below < 0).any():
        message = "Invalid streams. Every stream must join two known lakes."
        raise ValueError(message)
    distance_km = streams["distance_km"].to_numpy(dtype=float)
    barrier = streams["barrier"].astype("boolean").fillna(False).to_numpy(dtype=bool)
    open_ = ~barrier & (distance_km <= species.values["stream_stop_km"])
    rate = species.values["stream_per_year"] * np.exp(
        -distance_km[open_] / species.values["stream_efold_km"]
    )
    size = (len(lakes), len(lakes))
    return sp.csr_array((rate, (above[open_], below[open_])), shape=size)
