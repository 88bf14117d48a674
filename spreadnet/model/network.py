"""The directed graph of lakes: trips, carriage and introductions between them, and streams."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import networkx as nx
import numpy as np
import pandas as pd

from spreadnet.model.carriage import carriage
from spreadnet.model.incidence import collapse_matrix

if TYPE_CHECKING:
    from collections.abc import Mapping

    import scipy.sparse as sp
    from numpy.typing import NDArray

    from spreadnet.model.spread import SpreadInputs

    Array = NDArray[np.floating]

LEAST_EDGES = 5  # edges kept out of every lake, however its trips are spread
ROWS = 128  # landings a block, so that no second matrix as large as the trips is ever held


@dataclass(frozen=True, slots=True, eq=False)
class Flows:
    """
    Trips between the A lakes that have a landing, and what they bring.

    Attributes
    ----------
    lakes : array of int, shape (A,)
        Positions of these lakes among all lakes, in order.
    trips : array, shape (A, A)
        Trips a season from lake of the row to lake of the column.
    carriage : mapping of species to array, shape (A, A)
        Chance that one such trip brings a living introduction if the lake it leaves is infested.
    introductions : mapping of species to array, shape (A, A)
        Living introductions expected in the coming season to a lake that is free of the species,
        given how likely each lake is infested now.
    """

    lakes: NDArray[np.integer]
    trips: Array
    carriage: Mapping[str, Array]
    introductions: Mapping[str, Array]


def lake_flows(inputs: Mapping[str, SpreadInputs]) -> Flows:
    """
    Trips between landings summed to lakes, with the exact carriage of each species.

    Parameters
    ----------
    inputs : mapping of species to SpreadInputs
        One entry a species, all with the same trips and landings.

    Returns
    -------
    flows : Flows
        For the lakes that have a landing.

    Raises
    ------
    ValueError
        If there is no species.

    Notes
    -----
    Carriage of a pair of landings is 1 - prod over routes of (1 - leaving * arriving * weight);
    that of a pair of lakes is its mean over their trips.
    """
    if not inputs:
        message = "Invalid inputs. At least one species is needed."
        raise ValueError(message)
    first = next(iter(inputs.values()))
    lakes, of_landing = np.unique(first.landing_lake, return_inverse=True)
    collapse = collapse_matrix(of_landing, len(lakes))
    trips = _to_lakes(first, collapse)
    carried = {name: _carrying_trips(one, collapse) for name, one in inputs.items()}
    with np.errstate(invalid="ignore", divide="ignore"):
        carriage = {
            name: np.where(trips > 0, np.minimum(total / trips, 1.0), 0.0)
            for name, total in carried.items()
        }
    introductions = {
        name: carried[name] * one.initial[lakes, None] * (1 - one.initial[lakes])
        for name, one in inputs.items()
    }
    return Flows(lakes, trips, carriage, introductions)


def trips_table(
    flows: Flows, lake_ids: pd.Index, *, distance_km: Array, smallest_share: float = 0.01
) -> pd.DataFrame:
    """
    Edges between lakes that matter to one of their ends, most trips first.

    A region of thousands of lakes has millions of pairs, nearly all with next to no trips. An
    edge is kept if it holds at least the stated share of the trips leaving its origin, of those
    reaching its destination, or of the introductions to its destination by any species, or is
    among the largest out of its origin: so no lake loses what matters to it, no lake stands
    alone, and no lake has more than some dozens of edges.

    Parameters
    ----------
    flows : Flows
        Trips and introductions between lakes.
    lake_ids : Index, length L
        Ids of all lakes.
    distance_km : array, shape (A, A)
        Straight distance between the landings of the lakes in `flows`.
    smallest_share : float
        Share below which an edge is left out at both its ends, 0 to 1; 0 keeps every trip.

    Returns
    -------
    edges : DataFrame
        Columns `from_lake_id`, `to_lake_id`, `trips`, `distance_km`, and for each species
        `carriage_<species>` and `introductions_<species>`.

    Raises
    ------
    ValueError
        If `smallest_share` is outside 0 to 1.
    """
    if not 0 <= smallest_share <= 1:
        message = f"Invalid smallest_share '{smallest_share}'. It must lie between 0 and 1."
        raise ValueError(message)
    kept = flows.trips >= smallest_share * flows.trips.sum(axis=1, keepdims=True)
    kept |= flows.trips >= smallest_share * flows.trips.sum(axis=0)
    for introductions in flows.introductions.values():
        into = introductions.sum(axis=0)
        kept |= (introductions >= smallest_share * into) & (into > 0)
    kept |= _largest(flows.trips, LEAST_EDGES)
    kept &= flows.trips > 0
    origin, destination = np.nonzero(kept)
    edges = pd.DataFrame(
        {
            "from_lake_id": lake_ids[flows.lakes[origin]],
            "to_lake_id": lake_ids[flows.lakes[destination]],
            "trips": flows.trips[origin, destination],
            "distance_km": distance_km[origin, destination],
        }
    )
    for name in flows.carriage:
        edges[f"carriage_{name}"] = flows.carriage[name][origin, destination]
        edges[f"introductions_{name}"] = flows.introductions[name][origin, destination]
    return edges.sort_values(
        ["trips", "from_lake_id", "to_lake_id"], ascending=[False, True, True], ignore_index=True
    )


def lake_network(lakes: pd.DataFrame, edges: pd.DataFrame, *, streams: pd.DataFrame) -> nx.DiGraph:
    """
    Directed graph of lakes for network analysis and for other programs.

    Parameters
    ----------
    lakes : DataFrame, index lake_id
        Attributes of the nodes; missing values are left out of the node.
    edges : DataFrame
        `from_lake_id`, `to_lake_id` and attributes, as `trips_table` gives them.
    streams : DataFrame
        `upstream_lake_id`, `downstream_lake_id`, `distance_km`, `barrier`. A stream becomes an
        edge too, or joins the trips of the same pair.

    Returns
    -------
    network : networkx.DiGraph
        Edges carry `trips` (0 where only a stream joins the two), `stream` (yes or no) and, where
        it is one, `stream_km` and `barrier`. Every edge has the same trip attributes.

    Raises
    ------
    ValueError
        If an edge names a lake that is not in `lakes`.
    """
    network: nx.DiGraph = nx.DiGraph()
    for lake_id, row in zip(lakes.index, lakes.to_dict("records"), strict=True):
        network.add_node(lake_id, **_present(row))
    ends = pd.concat([edges["from_lake_id"], edges["to_lake_id"]])
    unknown = sorted(set(ends) - set(lakes.index))
    if unknown:
        message = f"Invalid edges. '{unknown[0]}' is not in lakes ({len(unknown)} such ids)."
        raise ValueError(message)
    for row in edges.to_dict("records"):
        origin, destination = row.pop("from_lake_id"), row.pop("to_lake_id")
        network.add_edge(origin, destination, **_present(row), stream=False)
    nothing = {c: 0.0 for c in edges.columns if c == "trips" or c.startswith(("carr", "intro"))}
    for row in streams.to_dict("records"):
        pair = (row["upstream_lake_id"], row["downstream_lake_id"])
        if not network.has_edge(*pair):
            network.add_edge(*pair, **nothing)
        network.edges[pair].update(
            stream=True, stream_km=float(row["distance_km"]), barrier=row["barrier"] is True
        )
    return network


def _to_lakes(inputs: SpreadInputs, collapse: sp.csr_array) -> Array:
    """Trips lake by lake, a block of origins at a time."""
    to_lakes = np.zeros((len(inputs.landing_lake), collapse.shape[0]))
    for start in range(0, len(to_lakes), ROWS):
        rows = slice(start, start + ROWS)
        to_lakes[rows] = inputs.trips.rows(rows) @ collapse.T
    return np.asarray(collapse @ to_lakes)


def _carrying_trips(inputs: SpreadInputs, collapse: sp.csr_array) -> Array:
    """Trips times exact carriage, lake by lake, a block of origins at a time."""
    n_landings = len(inputs.landing_lake)
    to_lakes = np.zeros((n_landings, collapse.shape[0]))
    for start in range(0, n_landings, ROWS):
        rows = slice(start, start + ROWS)
        by_pair = carriage(
            inputs.leaving[:, rows, None], inputs.arriving[:, None, :], inputs.weights
        )
        to_lakes[rows] = (inputs.trips.rows(rows) * by_pair) @ collapse.T
    return np.asarray(collapse @ to_lakes)


def _largest(trips: Array, number: int) -> NDArray[np.bool_]:
    """Mark the largest cells of each row."""
    kept = np.zeros(trips.shape, dtype=bool)
    if trips.size:
        first = np.argsort(-trips, axis=1, kind="stable")[:, :number]
        np.put_along_axis(kept, first, True, axis=1)
    return kept


def _present(row: dict) -> dict:
    """Attributes without the missing ones, as plain Python values (GraphML takes no others)."""
    kept = {}
    for name, value in row.items():
        if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
            continue
        kept[name] = value.item() if isinstance(value, np.generic) else value
    return kept
