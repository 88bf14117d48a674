"""The graph of lakes: exact carriage, the edges kept, streams, GraphML round trip."""

from dataclasses import replace

import networkx as nx
import numpy as np
import pandas as pd
import pytest
import scipy.sparse as sp
from made_trips import dense_trips

from spreadnet.model.spread.network import lake_flows, lake_network, trips_table
from spreadnet.model.spread.types import SpreadInputs


def three_lakes():
    """Lake 0 has two landings; trips and rates lopsided on purpose."""
    return SpreadInputs(
        trips=dense_trips(np.array([[0, 0, 30.0, 1], [0, 0, 10, 2], [5, 7, 0, 0], [0, 3, 4, 0]])),
        landing_lake=np.array([0, 0, 1, 2]),
        leaving=np.array([[0.5, 0.1, 0.2, 0.3], [0.2, 0.4, 0.1, 0.0]]),
        arriving=np.array([[1.0, 1.0, 2.0, 0.5], [1.0, 1.0, 1.0, 1.0]]),
        weights=np.array([0.4, 0.5]),
        outside_boats=np.zeros(4),
        outside_leaving=np.zeros(2),
        education_effect=np.ones(2),
        establish=0.1,
        allee_exponent=1.0,
        habitat=np.ones(3),
        streams=sp.csr_array((3, 3)),
        initial=np.array([1.0, 0.25, 0.0]),
        worth=np.ones(3),
    )


def test_lake_flows_worked_by_hand():
    """0 -> 1: 30 trips at 1-(1-.4)(1-.1) = .46 and 10 at 1-(1-.08)(1-.2) = .264."""
    flows = lake_flows({"weed": three_lakes()})
    assert flows.trips == pytest.approx(np.array([[0, 40, 3], [12, 0, 0], [3, 4, 0]]))
    carried = 30 * 0.46 + 10 * 0.264
    assert flows.carriage["weed"][0, 1] == pytest.approx(carried / 40)
    assert flows.introductions["weed"][0, 1] == pytest.approx(0.75 * carried)  # lake 1 free: 75%
    assert np.all(flows.introductions["weed"][:, 0] == 0)  # lake 0 has it already
    assert flows.carriage["weed"][1, 2] == 0  # no trips, no carriage


POINTS = np.array([[0.0, 0], [3000, 4000], [0, 8000]])


@pytest.mark.parametrize("lakes", [1, 2, 128])
def test_edges_kept_matter_to_one_of_their_ends(monkeypatch, lakes):
    """c -> a holds 3 of 7 trips out of c (43%) and 3 of 15 into a (20%), in any blocks."""
    monkeypatch.setattr("spreadnet.model.spread.network.LEAST_EDGES", 0)
    monkeypatch.setattr("spreadnet.model.spread.network.LAKES", lakes)
    ids = pd.Index(["a", "b", "c"])

    def pairs(share, inputs):
        edges = trips_table({"weed": inputs}, ids, points=POINTS, smallest_share=share)
        return list(edges["from_lake_id"] + edges["to_lake_id"])

    inputs = three_lakes()
    assert pairs(0.0, inputs) == ["ab", "ba", "cb", "ac", "ca"]
    assert "ca" in pairs(0.4, inputs)
    assert "ca" not in pairs(0.5, inputs)
    # It stays at 50% if it brings most introductions, however few its trips.
    brings = replace(inputs, initial=np.array([0.0, 0, 1]), leaving=inputs.leaving + 0.1)
    assert "ca" in pairs(0.5, brings)


def test_all_trips_are_kept_at_share_0():
    flows = lake_flows({"weed": three_lakes()})
    ids = pd.Index(["a", "b", "c"])
    whole = trips_table({"weed": three_lakes()}, ids, points=POINTS, smallest_share=0.0)
    assert whole["trips"].sum() == pytest.approx(flows.trips.sum())
    assert list(whole["distance_km"]) == [5, 5, 5, 8, 8]  # 3-4-5 triangles


def test_a_part_of_the_lakes_gives_a_part_of_the_flows():
    whole, part = (lake_flows({"weed": three_lakes()}, into=s) for s in (slice(None), slice(1, 3)))
    assert list(part.into) == [1, 2]
    assert np.array_equal(part.trips, whole.trips[:, 1:])
    assert np.array_equal(part.introductions["weed"], whole.introductions["weed"][:, 1:])


@pytest.mark.parametrize("share", [-0.1, 1.2])
def test_a_share_outside_0_to_1_is_refused(share):
    ids = pd.Index(["a", "b", "c"])
    with pytest.raises(ValueError, match="Invalid smallest_share"):
        trips_table({"weed": three_lakes()}, ids, points=POINTS, smallest_share=share)


def test_streams_are_edges_and_graphml_round_trips(tmp_path):
    lakes = pd.DataFrame(
        {"name": ["A", "B", "C"], "depth_m": [3.0, np.nan, 9.0]}, index=["007", "b", "c"]
    )
    edges = trips_table({"weed": three_lakes()}, lakes.index, points=POINTS, smallest_share=0.0)
    streams = pd.DataFrame(
        {
            "upstream_lake_id": ["007", "b"],
            "downstream_lake_id": ["b", "c"],
            "distance_km": [2.5, 4.0],
            "barrier": [False, True],
        }
    )
    network = lake_network(lakes, edges, streams=streams)
    assert network.edges["007", "b"]["stream"] is True
    assert network.edges["007", "b"]["trips"] == pytest.approx(40)
    assert network.edges["b", "c"]["trips"] == 0
    assert network.edges["b", "c"]["barrier"] is True
    assert "depth_m" not in network.nodes["b"]
    nx.write_graphml(network, tmp_path / "network.graphml")
    back = nx.read_graphml(tmp_path / "network.graphml")
    assert set(back.nodes) == {"007", "b", "c"}
    assert back.edges["007", "b"]["trips"] == pytest.approx(40)


def test_edge_to_an_unknown_lake_is_refused():
    edges = pd.DataFrame({"from_lake_id": ["a"], "to_lake_id": ["z"], "trips": [1.0]})
    none = pd.DataFrame(
        columns=["upstream_lake_id", "downstream_lake_id", "distance_km", "barrier"]
    )
    with pytest.raises(ValueError, match="'z' is not in lakes"):
        lake_network(pd.DataFrame(index=["a"]), edges, streams=none)


def test_lakes_without_a_landing_take_no_room():
    """A lake between the others that has no landing changes nothing but the positions."""
    inputs = three_lakes()
    wider = replace(
        inputs,
        landing_lake=np.array([0, 0, 2, 3]),
        habitat=np.ones(4),
        streams=sp.csr_array((4, 4)),
        initial=np.array([1.0, 0.5, 0.25, 0.0]),
        worth=np.ones(4),
    )
    flows, narrow = lake_flows({"weed": wider}), lake_flows({"weed": inputs})
    assert list(flows.lakes) == [0, 2, 3]
    assert flows.trips == pytest.approx(narrow.trips)
    assert flows.introductions["weed"] == pytest.approx(narrow.introductions["weed"])
    edges = trips_table({"weed": wider}, pd.Index(list("abcd")), points=np.ones((4, 2)))
    assert "b" not in set(edges["from_lake_id"]) | set(edges["to_lake_id"])


def test_no_lake_stands_alone_where_trips_are_spread_thin():
    """300 lakes with even trips: no edge reaches 1%, and the five largest of each are kept."""
    rng = np.random.default_rng(4)
    trips = rng.uniform(0.9, 1.1, (300, 300))
    np.fill_diagonal(trips, 0)
    inputs = SpreadInputs(
        trips=dense_trips(trips),
        landing_lake=np.arange(300),
        leaving=np.full((1, 300), 0.1),
        arriving=np.ones((1, 300)),
        weights=np.ones(1),
        outside_boats=np.zeros(300),
        outside_leaving=np.zeros(1),
        education_effect=np.ones(1),
        establish=0.1,
        allee_exponent=1.0,
        habitat=np.ones(300),
        streams=sp.csr_array((300, 300)),
        initial=np.full(300, 0.5),
        worth=np.ones(300),
    )
    ids = pd.Index([f"{i:03d}" for i in range(300)])
    edges = trips_table({"weed": inputs}, ids, points=np.zeros((300, 2)))
    assert set(edges["from_lake_id"].value_counts()) == {5}
    five = np.sort(np.argsort(-trips, axis=1)[:, :5], axis=1)
    got = edges.sort_values(["from_lake_id", "to_lake_id"])["to_lake_id"].astype(int)
    assert np.array_equal(got.to_numpy().reshape(300, 5), five)
