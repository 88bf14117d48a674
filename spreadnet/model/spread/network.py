"""The directed graph of lakes: trips, carriage and introductions between them, and streams."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import networkx as nx
import numpy as np
import pandas as pd

from spreadnet.model.carriage import carriage
from spreadnet.model.spread.incidence import collapse_matrix
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from spreadnet.model.spread.types import SpreadInputs
    from spreadnet.model.trips import TripFlow

    Array = NDArray[np.floating]

LEAST_EDGES = 5  # edges kept out of every lake, however its trips are spread
LAKES = 128  # a block, so that no second matrix as large as the trips is ever held


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Flows:
    """
    Trips from the A lakes that have a landing into B of them, and what they bring.

    Attributes
    ----------
    lakes : array of int, shape (A,)
        Positions of the lakes with a landing among all lakes, in order.
    into : array of int, shape (B,)
        Places among `lakes` of those that the trips go to.
    trips : array, shape (A, B)
        Trips a season from lake of the row to lake of the column.
    carriage : mapping of species to array, shape (A, B)
        Chance that one such trip brings a living introduction if the lake it leaves is infested.
    introductions : mapping of species to array, shape (A, B)
        Living introductions expected in the coming season to a lake that is free of the species,
        given how likely each lake is infested now.
    """

    lakes: NDArray[np.integer]
    into: NDArray[np.integer]
    trips: Array
    carriage: Mapping[str, Array]
    introductions: Mapping[str, Array]


def lake_flows(inputs: Mapping[str, SpreadInputs], *, into: slice = slice(None)) -> Flows:
    """
    Trips between landings summed to lakes, with the exact carriage of each species.

    Parameters
    ----------
    inputs : mapping of species to SpreadInputs
        One entry a species, all with the same trips and landings.
    into : slice
        Lakes that the trips go to, as places among those with a landing; all when left out.

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
    lakes, of_landing = _lakes(inputs)
    some = np.arange(len(lakes))[into]
    landings = np.flatnonzero(np.isin(of_landing, some))
    first = next(iter(inputs.values()))
    origin = collapse_matrix(of_landing, len(lakes))
    destination = collapse_matrix(np.searchsorted(some, of_landing[landings]), len(some))
    between = first.trips.columns(landings)
    trips = origin @ between @ destination.T
    carriages, introductions = {}, {}
    for name, one in inputs.items():
        by_pair = carriage(one.leaving[:, :, None], one.arriving[:, None, landings], one.weights)
        carried = origin @ (between * by_pair) @ destination.T
        with np.errstate(invalid="ignore", divide="ignore"):
            carriages[name] = np.where(trips > 0, np.minimum(carried / trips, 1.0), 0.0)
        held = one.initial[lakes]
        introductions[name] = carried * held[:, None] * (1 - held[some])
    return Flows(lakes, some, trips, carriages, introductions)


def trips_table(
    inputs: Mapping[str, SpreadInputs],
    lake_ids: pd.Index,
    *,
    points: Array,
    smallest_share: float = 0.01,
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
    inputs : mapping of species to SpreadInputs
        As for `lake_flows`.
    lake_ids : Index, length L
        Ids of all lakes.
    points : array, shape (L, 2)
        Easting and northing, in metres, of where trips to each lake end.
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
        If there is no species or `smallest_share` is outside 0 to 1.
    """
    if not 0 <= smallest_share <= 1:
        message = f"Invalid smallest_share '{smallest_share}'. It must lie between 0 and 1."
        raise ValueError(message)
    lakes, of_landing = _lakes(inputs)
    flow = next(iter(inputs.values())).trips
    out = np.bincount(of_landing, flow.leaving(), minlength=len(lakes))
    blocks = [slice(i, i + LAKES) for i in range(0, len(lakes), LAKES)]
    largest = _largest(flow, of_landing, blocks, n_lakes=len(lakes))
    parts = []
    for block in blocks:
        flows = lake_flows(inputs, into=block)
        kept = flows.trips >= smallest_share * out[:, None]
        kept |= flows.trips >= smallest_share * flows.trips.sum(axis=0)
        for introductions in flows.introductions.values():
            into = introductions.sum(axis=0)
            kept |= (introductions >= smallest_share * into) & (into > 0)
        origin, place = np.nonzero((largest >= block.start) & (largest < block.stop))
        kept[origin, largest[origin, place] - block.start] = True
        parts.append(_edges(flows, kept & (flows.trips > 0), lake_ids, points))
    edges = pd.concat(parts, ignore_index=True)
    return edges.sort_values(
        ["trips", "from_lake_id", "to_lake_id"], ascending=[False, True, True], ignore_index=True
    )


def _edges(
    flows: Flows, kept: NDArray[np.bool_], lake_ids: pd.Index, points: Array
) -> pd.DataFrame:
    """Rows of the kept pairs of one block."""
    cells = np.nonzero(kept)
    ends = flows.lakes[cells[0]], flows.lakes[flows.into[cells[1]]]
    edges = pd.DataFrame(
        {
            "from_lake_id": lake_ids[ends[0]],
            "to_lake_id": lake_ids[ends[1]],
            "trips": flows.trips[cells],
            "distance_km": np.hypot(*(points[ends[0]] - points[ends[1]]).T) / 1000,
        }
    )
    for name in flows.carriage:
        edges[f"carriage_{name}"] = flows.carriage[name][cells]
        edges[f"introductions_{name}"] = flows.introductions[name][cells]
    return edges


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


def _lakes(
    inputs: Mapping[str, SpreadInputs],
) -> tuple[NDArray[np.integer], NDArray[np.integer]]:
    """Positions of the lakes with a landing, (A,), and each landing's place among them, (K,)."""
    if not inputs:
        message = "Invalid inputs. At least one species is needed."
        raise ValueError(message)
    landing_lake = next(iter(inputs.values())).landing_lake
    lakes, of_landing = np.unique(landing_lake, return_inverse=True)
    return lakes, of_landing


def _largest(
    trips: TripFlow, of_landing: NDArray[np.integer], blocks: Sequence[slice], *, n_lakes: int
) -> NDArray[np.integer]:
    """Lakes that most trips out of each lake go to, (A, `LEAST_EDGES`); the first of equal ones."""
    lakes = np.arange(n_lakes)
    origin = collapse_matrix(of_landing, n_lakes)
    most: Array = np.zeros((n_lakes, 0))
    where: NDArray[np.integer] = np.zeros((n_lakes, 0), np.intp)
    for block in blocks:
        some = lakes[block]
        landings = np.flatnonzero(np.isin(of_landing, some))
        destination = collapse_matrix(of_landing[landings] - some[0], len(some))
        into = origin @ trips.columns(landings) @ destination.T
        most = np.hstack([most, into])
        where = np.hstack([where, np.broadcast_to(some, into.shape)])
        first = np.argsort(-most, axis=1, kind="stable")[:, :LEAST_EDGES]
        most = np.take_along_axis(most, first, axis=1)
        where = np.take_along_axis(where, first, axis=1)
    return where


def _present(row: dict) -> dict:
    """Attributes without the missing ones, as plain Python values (GraphML takes no others)."""
    kept = {}
    for name, value in row.items():
        if value is None or value is pd.NA or value != value:
            continue
        kept[name] = value.item() if isinstance(value, np.generic) else value
    return kept
