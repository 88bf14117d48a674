"""GraphML: the same bytes as the writer of networkx 3, which holds a whole tree of elements."""

import networkx as nx
import numpy as np
import pytest

from spreadnet.outputs.files.graphml import write_graphml


def made_network():
    network = nx.DiGraph()
    network.add_node("007", name='Duck & "Drake" <deep>', trips=1.5, landings=2, open=True)
    network.add_node("a\nb", name="Ström\ttwo\nlines", trips=1e-300)
    network.add_node("alone")
    network.add_node("other type", landings=2.5)
    network.add_edge("007", "a\nb", trips=0.1 + 0.2, stream=False)
    network.add_edge("a\nb", "007", stream=True, stream_km=3.0, barrier=False)
    network.add_edge("007", "alone")
    return network


@pytest.mark.parametrize("which", ["made", "one", "demo"])
def test_it_gives_the_bytes_that_networkx_gives(which, request, tmp_path):
    network = made_network()
    if which == "one":
        network.remove_nodes_from(["a\nb", "alone", "other type"])
    if which == "demo":
        network = request.getfixturevalue("demo_result").network
    nx.write_graphml(network, tmp_path / "theirs.graphml", named_key_ids=True)
    ours = write_graphml(network, tmp_path / "ours.graphml").read_bytes()
    assert ours == (tmp_path / "theirs.graphml").read_bytes()


def test_what_is_written_comes_back(tmp_path):
    network = made_network()
    network.remove_node("other type")  # networkx reads an attribute in one type only
    back = nx.read_graphml(write_graphml(network, tmp_path / "network.graphml"))
    assert dict(back.nodes(data=True)) == dict(network.nodes(data=True))
    assert list(back.edges(data=True)) == list(network.edges(data=True))


def test_characters_that_no_xml_may_hold_are_left_out(tmp_path):
    network = nx.DiGraph()
    network.add_node("L\x0001", name="Am\x1bber \ud800<&]]>")
    network.add_edge("L\x0001", "L02", note="\ufffe")
    back = nx.read_graphml(write_graphml(network, tmp_path / "network.graphml"))
    assert back.nodes["L01"] == {"name": "Amber <&]]>"}
    assert list(back.edges) == [("L01", "L02")]


@pytest.mark.parametrize("value", [None, np.float64(1), [1]])
def test_types_that_graphml_has_not_are_refused(value, tmp_path):
    network = nx.DiGraph()
    network.add_node("L01", depth=value)
    with pytest.raises(ValueError, match="Invalid attribute 'depth'"):
        write_graphml(network, tmp_path / "network.graphml")
