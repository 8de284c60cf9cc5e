"""Checks of what stands around a stage: rails, inputs, outputs, test points."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.findings import Finding, Gravity
from biaspredict.graph.alternating import references
from biaspredict.graph.network import EVERY, Chain, Network, Way, where
from biaspredict.graph.wording import listed
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Port, Rail, Stage
from biaspredict.quantities import Unit, engineering

LOW_OHMS = 1.0  # a path of less is a short to a supply


def no_supply(stage: Stage, net: Network) -> Iterator[Finding]:
    """A stage without anything that feeds it."""
    powered = (
        stage.rails
        or any(pin.volts or pin.amps for pin in stage.pins)
        or any(part.kind is Kind.WINDING and part.volts for part in stage.parts)
    )
    if stage.parts and not powered:
        yield Finding(
            "no-supply",
            Gravity.CHECK,
            (),
            "No rail feeds this stage: every node is at 0 V.",
            "Write the supply as the sheet gives it, like `rail B+ 22 V via 470`.",
            stage.parts[0].origin,
        )


def rails_joined(stage: Stage, net: Network) -> Iterator[Finding]:
    """Rails that a wire joins to each other or to ground."""
    for node, rails in net.rails.items():
        names = [rail.name for rail in rails]
        if node == GROUND:
            yield Finding(
                "rail-grounded",
                Gravity.STOP,
                (*names, GROUND),
                f"A wire joins {listed(names)} to ground.",
                f"Look for a path in which {names[0]} and ground, or two names of them, stand "
                "in a row with no part between.",
                rails[0].origin,
            )
        elif len(rails) > 1:
            yield Finding(
                "rails-joined",
                Gravity.STOP,
                tuple(names),
                f"A wire joins the rails {listed(map(_rail, rails))}.",
                "Look for a path in which they stand in a row with no part between. If they "
                "are one rail, write one `rail` line.",
                rails[1].origin,
            )


def rail_shorted(stage: Stage, net: Network) -> Iterator[Finding]:
    """Rails that less than an ohm joins to ground or to a rail of another voltage."""
    done: set[str] = {GROUND}
    for node, rails in net.rails.items():
        if node in done:
            continue
        done.add(node)
        ends = [GROUND] + [
            other
            for other, others in net.rails.items()
            if other not in done and others[0].volts != rails[0].volts
        ]
        for end in ends:
            path = _low_path(net, node, end, {GROUND, *net.rails} - {node, end})
            if path is None:
                continue
            ohms = sum(branch.ohms or 0.0 for branch in path.branches)
            to = "ground" if end == GROUND else _rail(net.rails[end][0])
            stand = "stand" if len(path.refs) > 1 else "stands"
            yield Finding(
                "rail-shorted",
                Gravity.CHECK,
                (rails[0].name, end, *path.refs),
                f"Between {_rail(rails[0])} and {to} {stand} only {listed(path.refs)}, "
                f"{engineering(ohms, Unit.OHM)} ohm.",
                f"Check {listed(path.refs)}: a switch or contact entered closed that is open in "
                "use, a resistor read as ohms instead of K, or a wrong end.",
                stage.part(path.refs[0]).origin or rails[0].origin,
            )


def _low_path(net: Network, start: str, end: str, without: set[str]) -> Chain | None:
    """The path of fewest ohms between two nodes where it has less than LOW_OHMS."""
    import networkx

    graph = networkx.Graph()
    for vertex in net.along({Way.OHMIC}, without_nodes=without):
        if isinstance(vertex, str) or vertex.ohms is None or vertex.ohms > LOW_OHMS:
            continue
        if without.isdisjoint((vertex.a, vertex.b)):
            graph.add_edge(vertex.a, vertex, ohms=max(vertex.ohms, 0.0))
            graph.add_edge(vertex, vertex.b, ohms=0.0)
    if start not in graph or end not in graph:
        return None
    ohms, paths = networkx.single_source_dijkstra(graph, start, cutoff=LOW_OHMS, weight="ohms")
    if end not in ohms:
        return None
    return Chain(tuple(paths[end][::2]), tuple(paths[end][1::2]))


def rail_not_used(stage: Stage, net: Network) -> Iterator[Finding]:
    """Rails that feed nothing."""
    for node, rails in net.rails.items():
        if not net.legs[node] and node != GROUND:
            yield Finding(
                "rail-not-used",
                Gravity.CHECK,
                (rails[0].name,),
                f"The rail {_rail(rails[0])} feeds nothing.",
                "Is its name spelled in the same way in the paths? If this stage does not use "
                "it, take its line out.",
                rails[0].origin,
            )


def ports_misplaced(stage: Stage, net: Network) -> Iterator[Finding]:
    """Inputs and outputs on ground or a rail, or joined to no part."""
    for word, port in _ports(stage):
        node = where(stage, port.node)
        if node in references(net):
            held = "ground" if node == GROUND else f"the rail {node}"
            yield Finding(
                "port-on-rail",
                Gravity.CHECK,
                (port.node,),
                f"The {word} {port.node} is {held}, where no signal can be.",
                f"Name the node at which the signal {'comes in' if word == 'input' else 'leaves'}.",
                port.origin,
            )
        elif not net.legs[node] and node not in net.pins:
            yield Finding(
                "port-not-connected",
                Gravity.CHECK,
                (port.node,),
                f"No part is joined to the {word} {port.node}.",
                "Is its name spelled in the same way in the paths?",
                port.origin,
            )


def no_signal_path(stage: Stage, net: Network) -> Iterator[Finding]:
    """Outputs that no input reaches but through ground and rails.

    Silent where a box or a transformer stands on both sides: what is inside is not known here.
    """
    still = references(net)
    bridges = net.pins | {
        node for part in stage.parts if part.kind is Kind.WINDING for node in part.nodes
    }
    inputs = [node for node in net.inputs if node not in still]
    reached: set[str] = set()
    for node in inputs:
        reached |= net.reached(node, EVERY - {Way.OPEN}, without_nodes=still)
    for port in stage.outputs:
        node = where(stage, port.node)
        if not inputs or node in still or node in reached or not net.legs[node]:
            continue
        if not any(net.legs[node] for node in inputs):
            continue
        beside = net.reached(node, EVERY - {Way.OPEN}, without_nodes=still)
        if bridges & beside and bridges & reached:
            continue
        yield Finding(
            "no-signal-path",
            Gravity.CHECK,
            (*inputs, node),
            f"No signal can come from {listed(inputs)} to {node}.",
            "Follow the signal on the sheet: a coupling capacitor, a wire or a part between "
            "them was left out, or a switch was entered open.",
            port.origin,
        )


def unused_points(stage: Stage, net: Network) -> Iterator[Finding]:
    """Test points at which nothing stands."""
    for name, node in stage.points:
        at = where(stage, node)
        if at not in net.fed and not net.legs.get(at, ()):
            yield Finding(
                "test-point-not-used",
                Gravity.NOTE,
                (name, node),
                f"Test point {name} is on {node}, where no part stands.",
                "Is the node spelled in the same way in the paths?",
            )


def _ports(stage: Stage) -> Iterator[tuple[str, Port]]:
    for port in stage.inputs:
        yield "input", port
    for port in stage.outputs:
        yield "output", port


def _rail(rail: Rail) -> str:
    return f"{rail.name} ({engineering(rail.volts, Unit.VOLT)})"
