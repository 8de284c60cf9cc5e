"""How a stage looks to the signal: what holds still, and which nodes move as one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from biaspredict.graph.network import Branch, Network, Way
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.stage import GROUND

# From here up a capacitor leaves no audio across the resistances of a transistor stage; below, it
# trims the treble (common practice, no source).
LARGE_FARADS = 1e-6
# Emitter resistors of output stages, base stoppers and output coils pass the signal on nearly
# whole, and join the emitters of a differential pair; a fuse or a contact holds a supply as still
# as its rail does (common practice, no source).
STIFF_OHMS = 120.0
CONTACT_OHMS = 1.0

INPUTS = {Kind.TRANSISTOR: "base", Kind.FET: "gate"}
FOLLOWERS = {Kind.TRANSISTOR: "emitter", Kind.FET: "source"}
OUTPUTS = {Kind.TRANSISTOR: "collector", Kind.FET: "drain"}


@dataclass(frozen=True, slots=True)
class Alternating:
    """still: nodes without signal: ground, rails, and what large capacitors hold to them.

    group: node to the first of the nodes that stiff paths and large capacitors join to it.
    drivers: first node of a group to the transistors that put their signal out there, by
    collector, emitter, drain or source.
    """

    still: frozenset[str]
    group: Mapping[str, str]
    drivers: Mapping[str, tuple[Part, ...]]

    def driven_by(self, node: str) -> tuple[Part, ...]:
        return self.drivers.get(self.group[node], ())

    def together(self, node: str) -> Iterator[str]:
        """Every node of the group of `node`."""
        return (other for other, first in self.group.items() if first == self.group[node])


def large(part: Part) -> bool:
    """Whether the signal passes a capacitor as if it were wire."""
    if part.kind not in CAPACITORS:
        return False
    return part.kind is Kind.ELECTROLYTIC or (part.now or 0.0) >= LARGE_FARADS


def passive(branch: Branch) -> bool:
    """Whether a way passes the signal in both directions."""
    return branch.way in (Way.OHMIC, Way.JUNCTION, Way.CAPACITOR)


def references(net: Network) -> frozenset[str]:
    """Ground, rails, and what fuses and contacts join to them."""
    moving = {part.ref for part in net.stage.parts if part.kind in (Kind.WINDING, Kind.COIL)}
    still = [GROUND, *net.rails]
    for node in still:  # grows while it is walked
        still += [
            branch.other(node)
            for branch in net.at(node)
            if _ohmic_below(branch, CONTACT_OHMS)
            and branch.ref not in moving
            and branch.other(node) not in still
        ]
    return frozenset(still)


def alternating(net: Network, without: Branch | None = None) -> Alternating:
    """The stage as the signal sees it, with one capacitor taken out where asked."""
    wires = {
        branch.ref: branch
        for part in net.stage.parts
        if large(part)
        for branch in net.branches[part.ref]
        if branch != without
    }
    still = list(references(net))
    for node in still:  # grows while it is walked
        still += [
            branch.other(node)
            for branch in net.at(node)
            if branch.ref in wires
            and branch.other(node) not in still
            and branch.other(node) not in net.ports
        ]
    held = frozenset(still)
    group: dict[str, str] = {}
    for first in net.legs:
        edge = [first] if first not in group else []
        for node in edge:  # grows while it is walked
            group[node] = first
            if node in held:
                continue
            for branch in net.at(node):
                other = branch.other(node)
                joined = branch.ref in wires or _ohmic_below(branch, STIFF_OHMS)
                if joined and other not in group and other not in held and other not in edge:
                    edge.append(other)
    drivers: dict[str, list[Part]] = {}
    for node, legs in net.legs.items():
        for part, terminal in legs:
            puts_out = terminal in (OUTPUTS.get(part.kind), FOLLOWERS.get(part.kind))
            if puts_out and node not in held:
                drivers.setdefault(group[node], []).append(part)
    return Alternating(held, group, {node: tuple(parts) for node, parts in drivers.items()})


def _ohmic_below(branch: Branch, most: float) -> bool:
    return branch.way is Way.OHMIC and branch.ohms is not None and branch.ohms <= most
