"""A stage as a graph of its nodes and of the ways through its parts.

The graph has two sides. On one stand the nodes, on the other the ways: one `Branch` for each pair
of terminals between which a part carries something. A resistor is one way, a pot two, a
transistor two (collector to emitter, and the junction that controls it). A path therefore reads
node, part, node, part, node, just as a finger follows it on the sheet, and what is asked of it
(DC only, no junctions) is a choice of ways.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from functools import cached_property, lru_cache
from typing import Any

from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.model.stage import GROUND, Port, Rail, Stage


class Way(Enum):
    """What a part does between two of its terminals."""

    OHMIC = "ohmic"
    JUNCTION = "junction"  # diode, zener
    CHANNEL = "channel"  # collector to emitter, drain to source
    CONTROL = "control"  # base to emitter, gate to source: a transistor's own junction
    CAPACITOR = "capacitor"
    OPEN = "open"  # open switch


# A base is not held up by its own junction, nor by that of another transistor.
BIAS = frozenset({Way.OHMIC, Way.JUNCTION, Way.CHANNEL})
DC = BIAS | {Way.CONTROL}
EVERY = frozenset(Way)


@dataclass(frozen=True, slots=True)
class Branch:
    """One way through a part, from its terminal `first` at node `a` to `second` at node `b`.

    ohms: of an OHMIC way, None where the sheet does not say.
    """

    ref: str
    first: str
    second: str
    a: str
    b: str
    way: Way
    ohms: float | None = None

    @property
    def lead(self) -> str:
        """Name of the lead whose current this way carries, such as "R1.1" or "Q1.collector"."""
        # The middle of a pot carries the sum of both ways, so the lower way is named by its end.
        return f"{self.ref}.{self.second if self.first == 'wiper' else self.first}"

    def other(self, node: str) -> str:
        return self.b if node == self.a else self.a


@dataclass(frozen=True, slots=True)
class Chain:
    """A path: nodes in order, and the branch between each two neighbours of them."""

    nodes: tuple[str, ...]
    branches: tuple[Branch, ...]

    @property
    def refs(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(branch.ref for branch in self.branches))


@dataclass(frozen=True, slots=True)
class Neighbour:
    """What stands at a node: a part, its terminal here, its terminal and node at the far end."""

    part: Part
    here: str
    there: str
    node: str
    way: Way


class Network:
    """The wiring of one stage; made once by `network`, never changed.

    legs: every node with the (part, terminal) pairs that meet there.
    rails: node to the rails that feed it; ports: node to the inputs and outputs on it;
        inputs, outputs: nodes of each.
    held: nodes whose DC is set from outside: ground, rails, pins that hold volts, and ports with
        a DC path. fed: the same, and pins that take or give a current.
    """

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        legs: dict[str, list[tuple[Part, str]]] = {node: [] for node in (GROUND, *stage.nodes)}
        for part in stage.parts:
            for terminal, node in zip(part.terminals, part.nodes, strict=True):
                legs.setdefault(node, []).append((part, terminal))
        rails: dict[str, list[Rail]] = {}
        for rail in stage.rails:
            rails.setdefault(where(stage, rail.name), []).append(rail)
        ports: dict[str, list[Port]] = {}
        for port in (*stage.inputs, *stage.outputs):
            ports.setdefault(where(stage, port.node), []).append(port)
        self.inputs = tuple(dict.fromkeys(where(stage, port.node) for port in stage.inputs))
        self.outputs = tuple(dict.fromkeys(where(stage, port.node) for port in stage.outputs))
        pins = [(where(stage, pin.node), pin) for pin in stage.pins]
        for node in (*rails, *ports, *(node for node, _ in pins)):
            legs.setdefault(node, [])

        self.legs: Mapping[str, tuple[tuple[Part, str], ...]] = {
            node: tuple(met) for node, met in legs.items()
        }
        self.rails: Mapping[str, tuple[Rail, ...]] = {n: tuple(r) for n, r in rails.items()}
        self.ports: Mapping[str, tuple[Port, ...]] = {n: tuple(p) for n, p in ports.items()}
        self.pins = frozenset(node for node, _ in pins)
        self.held = frozenset(
            {GROUND, *rails}
            | {node for node, pin in pins if pin.volts is not None}
            | {node for node, at in ports.items() for port in at if carries_dc(port)}
        )
        self.fed = self.held | self.pins
        self.branches: Mapping[str, tuple[Branch, ...]] = {
            part.ref: tuple(_branches(part)) for part in stage.parts
        }

    @cached_property
    def graph(self) -> Any:
        """networkx.Graph: node names (str) on one side, `Branch` on the other."""
        import networkx

        graph = networkx.Graph()
        graph.add_nodes_from(self.legs)
        for branches in self.branches.values():
            for branch in branches:
                graph.add_edge(branch.a, branch)
                graph.add_edge(branch, branch.b)
        return graph

    @cached_property
    def _order(self) -> Mapping[str, int]:
        return {node: place for place, node in enumerate(self.legs)}

    def sorted(self, nodes: Collection[str]) -> tuple[str, ...]:
        """Nodes in the order in which the stage names them."""
        return tuple(sorted(nodes, key=self._order.__getitem__))

    def along(
        self,
        ways: Collection[Way],
        *,
        without_parts: Collection[str] = (),
        without_nodes: Collection[str] = (),
    ) -> Any:
        """The graph with these ways only: a networkx view of `graph`."""
        import networkx

        def kept(vertex: str | Branch) -> bool:
            if isinstance(vertex, str):
                return vertex not in without_nodes
            return vertex.way in ways and vertex.ref not in without_parts

        return networkx.subgraph_view(self.graph, filter_node=kept)

    def islands(self, ways: Collection[Way]) -> tuple[tuple[str, ...], ...]:
        """Sets of nodes joined along these ways; what is held is joined at ground."""
        import networkx

        graph = networkx.Graph(self.along(ways))
        graph.add_edges_from((GROUND, node) for node in self.held)
        found = (
            self.sorted([v for v in component if isinstance(v, str)])
            for component in networkx.connected_components(graph)
        )
        return tuple(sorted(found, key=lambda nodes: self._order[nodes[0]]))

    def reached(
        self,
        node: str,
        ways: Collection[Way],
        *,
        without_parts: Collection[str] = (),
        without_nodes: Collection[str] = (),
    ) -> frozenset[str]:
        """Nodes that a path from `node` along these ways reaches, itself included."""
        import networkx

        graph = self.along(ways, without_parts=without_parts, without_nodes=without_nodes)
        found = networkx.node_connected_component(graph, node)
        return frozenset(vertex for vertex in found if isinstance(vertex, str))

    def feeds(self, node: str, ways: Collection[Way], without_part: str = "") -> frozenset[str]:
        """Fed nodes at which paths from `node` along these ways end, through no other of them."""
        seen, edge = {node}, [node]
        for here in edge:  # grows while it is walked
            if here in self.fed:
                continue
            for branch in self.at(here):
                if branch.way in ways and branch.ref != without_part:
                    other = branch.other(here)
                    if other not in seen:
                        seen.add(other)
                        edge.append(other)
        return frozenset(seen & self.fed)

    def at(self, node: str) -> tuple[Branch, ...]:
        """Every branch with an end at `node`, those shorted on themselves left out."""
        met = dict.fromkeys(part.ref for part, _ in self.legs[node])
        return tuple(
            branch
            for ref in met
            for branch in self.branches[ref]
            if node in (branch.a, branch.b) and branch.a != branch.b
        )


@lru_cache(maxsize=32)
def network(stage: Stage) -> Network:
    """The wiring of a stage."""
    return Network(stage)


def where(stage: Stage, name: str) -> str:
    """The node that a name stands for; the name itself where the stage joins it to nothing."""
    return name if name in stage.nodes else stage.names.get(name, name)


def carries_dc(port: Port) -> bool:
    """Whether the source or load behind a port sets the DC of its node."""
    return port.ohms is not None and not port.blocked


def _branches(part: Part) -> Iterator[Branch]:
    def branch(first: str, second: str, way: Way, ohms: float | None = None) -> Branch:
        return Branch(part.ref, first, second, part.node(first), part.node(second), way, ohms)

    kind = part.kind
    if kind in CAPACITORS:
        first, second = part.terminals
        yield branch(first, second, Way.CAPACITOR)
    elif kind in (Kind.DIODE, Kind.ZENER):
        yield branch("anode", "cathode", Way.JUNCTION)
    elif kind is Kind.TRANSISTOR:
        yield branch("collector", "emitter", Way.CHANNEL)
        yield branch("base", "emitter", Way.CONTROL)
    elif kind is Kind.FET:
        yield branch("drain", "source", Way.CHANNEL)
        yield branch("gate", "source", Way.CONTROL)
    elif kind in POTS:
        total, turn = part.now, 0.5 if part.turn is None else part.turn
        parts = (None, None) if total is None else (total * (1 - turn), total * turn)
        yield branch("top", "wiper", Way.OHMIC, parts[0])
        yield branch("wiper", "bottom", Way.OHMIC, parts[1])
    elif kind is Kind.SWITCH and not part.closed:
        yield branch("1", "2", Way.OPEN)
    elif kind in (Kind.COIL, Kind.WINDING):
        yield branch("1", "2", Way.OHMIC, part.ohms)
    elif kind in (Kind.FUSE, Kind.SWITCH, Kind.CONTACT):
        yield branch("1", "2", Way.OHMIC, part.now or 0.0)
    else:
        yield branch("1", "2", Way.OHMIC, part.now)


def neighbours(stage: Stage, node: str) -> tuple[Neighbour, ...]:
    """What stands one part away from a node, in the order of the sheet.

    Raises KeyError where the stage has no such node.
    """
    net = network(stage)
    found = []
    for branch in net.at(stage.node(node)):
        part = stage.part(branch.ref)
        for here, there, near, far in (
            (branch.first, branch.second, branch.a, branch.b),
            (branch.second, branch.first, branch.b, branch.a),
        ):
            if near == stage.node(node):
                found.append(Neighbour(part, here, there, far, branch.way))
    return tuple(found)


@lru_cache(maxsize=32)
def floating(stage: Stage) -> frozenset[str]:
    """Nodes whose DC nothing sets: only capacitors, open switches or nothing lead there."""
    islands = network(stage).islands(DC)
    return frozenset(node for nodes in islands if GROUND not in nodes for node in nodes)


@lru_cache(maxsize=32)
def direct_coupled(stage: Stage) -> Mapping[str, int]:
    """How many transistors every node is joined with by DC, not by way of ground or a rail."""
    import networkx

    net = network(stage)
    found = dict.fromkeys(net.legs, 0)
    for together in networkx.connected_components(net.along(DC, without_nodes=net.held)):
        count = len({b.ref for b in together if isinstance(b, Branch) and b.way is Way.CONTROL})
        found.update((v, count) for v in together if isinstance(v, str))
    return found


def dc_paths(stage: Stage, node: str) -> tuple[Chain, ...]:
    """Where the DC of a node comes from: the path of fewest parts to each feed that it reaches.

    Feeds are ground, rails, pins and ports with a DC path. A path ends at the first feed, and
    does not run through the base or gate of a transistor. Raises KeyError for an unknown node.
    """
    import networkx

    net, start = network(stage), stage.node(node)
    chains = []
    for feed in net.sorted(net.fed - {start}):
        graph = net.along(BIAS, without_nodes=net.fed - {start, feed})
        if networkx.has_path(graph, start, feed):
            path = networkx.shortest_path(graph, start, feed)
            chains.append(Chain(tuple(path[::2]), tuple(path[1::2])))
    return tuple(chains)
