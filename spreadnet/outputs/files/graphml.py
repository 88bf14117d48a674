"""The graph of lakes as GraphML, a node or edge at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from spreadnet.outputs.safe import for_xml

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    import networkx as nx

HEAD = """\
<?xml version='1.0' encoding='utf-8'?>
<graphml xmlns="http://graphml.graphdrawing.org/xmlns" \
xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" \
xsi:schemaLocation="http://graphml.graphdrawing.org/xmlns \
http://graphml.graphdrawing.org/xmlns/1.0/graphml.xsd">
"""
KINDS = {str: "string", bool: "boolean", int: "long", float: "double"}


def write_graphml(network: nx.DiGraph, path: Path) -> Path:
    """
    Write a directed graph for programs that analyse or draw networks.

    The writer of networkx holds every value as an element of a tree first: for a state that takes
    six seconds and more memory than the run before it. This one gives the same bytes as
    `networkx.write_graphml(..., named_key_ids=True)` and holds a line at a time.

    Parameters
    ----------
    network : networkx.DiGraph
        Attributes are text, yes or no, whole or decimal numbers. Characters that no XML may hold
        are left out.
    path : Path
        File to write.

    Returns
    -------
    path : Path
        The file written.

    Raises
    ------
    ValueError
        If an attribute is of another type.
    """
    nodes, edges = network.nodes(data=True), network.edges(data=True)
    node_keys = _keys("node", (facts for _, facts in nodes))
    edge_keys = _keys("edge", (facts for *_, facts in edges))
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(HEAD)
        file.writelines(reversed([*node_keys, *edge_keys]))  # the order networkx gives them
        file.write('  <graph edgedefault="directed">\n')
        ends = ((f'node id="{_quoted(node)}"', facts) for node, facts in nodes)
        file.writelines(_elements("node", ends))
        ends = (
            (f'edge source="{_quoted(origin)}" target="{_quoted(destination)}"', facts)
            for origin, destination, facts in edges
        )
        file.writelines(_elements("edge", ends))
        file.write("  </graph>\n</graphml>\n")
    return path


def _keys(scope: str, all_facts: Iterable[dict[str, Any]]) -> list[str]:
    """One line for every attribute and type of it, in the order in which they first appear."""
    seen = dict.fromkeys(
        (name, type(value)) for facts in all_facts for name, value in facts.items()
    )
    lines = []
    for name, kind in seen:
        if kind not in KINDS:
            message = f"Invalid attribute '{name}'. GraphML can't hold the type {kind.__name__}."
            raise ValueError(message)
        word = _quoted(name)
        lines.append(
            f'  <key id="{word}" for="{scope}" attr.name="{word}" attr.type="{KINDS[kind]}" />\n'
        )
    return lines


def _elements(name: str, given: Iterable[tuple[str, dict[str, Any]]]) -> Iterator[str]:
    """Nodes or edges with their attributes, one text each."""
    tags: dict[str, str] = {}
    for start, facts in given:
        if not facts:
            yield f"    <{start} />\n"
            continue
        for key in facts.keys() - tags.keys():
            tags[key] = f'      <data key="{_quoted(key)}">'
        data = "".join([f"{tags[key]}{_shown(value)}</data>\n" for key, value in facts.items()])
        yield f"    <{start}>\n{data}    </{name}>\n"


def _shown(value: object) -> str:
    """An attribute as it stands between two tags."""
    return for_xml(value) if isinstance(value, str) else str(value)


def _quoted(text: object) -> str:
    """A text as it stands between quotation marks."""
    return for_xml(text, in_quotes=True)
