"""Small change for findings: lists of names, and where a node was written."""

from __future__ import annotations

from collections.abc import Iterable

from biaspredict.graph.network import Network
from biaspredict.span import Span

MOST_NAMES = 6  # more would not be read


def listed(names: Iterable[str]) -> str:
    """Names as a sentence lists them, each once: `R1, R2 and C3`, `R1, ... and 4 more`."""
    each = list(dict.fromkeys(names))
    if len(each) > MOST_NAMES + 1:
        each = [*each[:MOST_NAMES], f"{len(each) - MOST_NAMES} more"]
    return " and ".join(filter(None, (", ".join(each[:-1]), *each[-1:])))


def parts_at(net: Network, nodes: Iterable[str]) -> tuple[str, ...]:
    """References of the parts that touch any of the nodes, in the order of the sheet."""
    touching = {part.ref for node in nodes for part, _ in net.legs[node]}
    return tuple(part.ref for part in net.stage.parts if part.ref in touching)


def place_of(net: Network, nodes: Iterable[str]) -> Span | None:
    """Where the first part or port at one of the nodes was written."""
    for node in nodes:
        written = [port.origin for port in net.ports.get(node, ())]
        written += [part.origin for part, _ in net.legs[node]]
        for origin in written:
            if origin is not None:
                return origin
    return None


def lone(net: Network, node: str) -> bool:
    """Whether one lead of one part stands at the node and nothing else."""
    return len(net.legs[node]) == 1 and node not in net.ports and node not in net.fed


def unplaced(net: Network) -> frozenset[str]:
    """References of parts that are described but touch nothing."""
    return frozenset(
        part.ref for part in net.stage.parts if all(lone(net, node) for node in part.nodes)
    )
