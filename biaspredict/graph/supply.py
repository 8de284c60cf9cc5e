"""Where the mains comes in: windings, what swings with them, and what rectifiers feed from it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from biaspredict.graph.alternating import alternating
from biaspredict.graph.network import Network, Way, network
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import GROUND, Stage

RECTIFIERS = frozenset({Kind.DIODE, Kind.ZENER})
AMPLIFIERS = frozenset({Kind.TRANSISTOR, Kind.FET})


class Scheme(Enum):
    """How a node is fed from a winding."""

    HALF_WAVE = "half-wave"
    CENTRE_TAP = "full-wave with a centre tap"
    BRIDGE = "bridge"
    DOUBLER = "voltage doubler"
    OTHER = "rectifiers"


@dataclass(frozen=True, slots=True)
class Feed:
    """A node that the mains feeds through rectifiers, not ground.

    rectifiers: references of those that meet there. positive: which way they point.
    """

    node: str
    rectifiers: tuple[str, ...]
    positive: bool
    scheme: Scheme


@dataclass(frozen=True, slots=True)
class Mains:
    """The part of a stage that swings with the mains.

    windings: those with open-circuit volts. swinging: nodes that move with them.
    parts: references of what touches a swinging node, windings included; rectifiers: the
    diodes among them. feeds: in the order of the sheet. driven: transistors that the mains
    reaches without a rectifier.
    """

    windings: tuple[str, ...]
    swinging: frozenset[str]
    parts: frozenset[str]
    rectifiers: tuple[str, ...]
    feeds: tuple[Feed, ...]
    driven: tuple[str, ...]


def mains(stage: Stage) -> Mains | None:
    """The mains side of a stage; None where no winding with volts rectifies to anything.

    The walk goes from the windings' ends through whatever is no rectifier, and ends at ground,
    at rails and at what a large capacitor holds to them.
    """
    net = network(stage)
    windings = tuple(p for p in stage.parts if p.kind is Kind.WINDING and p.volts)
    if not windings:
        return None
    still = alternating(net).still
    groups = list(_groups(net, windings, still))
    swinging = frozenset(node for group in groups for node in group)
    touching = [p for p in stage.parts if p in windings or not swinging.isdisjoint(p.nodes)]
    rectifiers = tuple(p.ref for p in touching if p.kind in RECTIFIERS)
    feeds = tuple(_feeds(net, groups, swinging, touching))
    if not feeds:
        return None
    driven = tuple(p.ref for p in touching if p.kind in AMPLIFIERS)
    return Mains(
        tuple(p.ref for p in windings),
        swinging,
        frozenset(p.ref for p in touching),
        rectifiers,
        feeds,
        driven,
    )


def _groups(
    net: Network, windings: tuple[Part, ...], still: frozenset[str]
) -> Iterator[tuple[str, ...]]:
    """Sets of swinging nodes, each joined within itself."""
    seen: set[str] = set()
    for winding in windings:
        edge = [node for node in dict.fromkeys(winding.nodes) if node not in still | seen]
        for node in edge:  # grows while it is walked
            for way in net.at(node):
                other = way.other(node)
                walks = way.way in (Way.OHMIC, Way.CAPACITOR)
                if walks and other not in still and other not in edge and other not in seen:
                    edge.append(other)
        seen.update(edge)
        if edge:
            yield tuple(edge)


def _feeds(
    net: Network,
    groups: list[tuple[str, ...]],
    swinging: frozenset[str],
    touching: list[Part],
) -> Iterator[Feed]:
    into: dict[str, list[Part]] = {}
    for part in touching:
        if part.kind in AMPLIFIERS or len(part.nodes) != 2:
            continue
        if part.kind not in RECTIFIERS | {Kind.WINDING, Kind.RESISTOR, Kind.COIL}:
            continue
        for node in part.nodes:
            if node not in swinging and node != GROUND and node not in net.rails:
                into.setdefault(node, []).append(part)
    for node in net.sorted(into):
        rectifiers = [p for p in into[node] if p.kind in RECTIFIERS]
        positive = sum(1 if p.node("cathode") == node else -1 for p in rectifiers) >= 0
        scheme = _scheme(groups, node, rectifiers, touching)
        yield Feed(node, tuple(p.ref for p in rectifiers), positive, scheme)


def _scheme(
    groups: list[tuple[str, ...]], node: str, rectifiers: list[Part], touching: list[Part]
) -> Scheme:
    """How a node is fed, told by the swinging nodes that lead to it and by the way back."""
    fed = {end for part in rectifiers for end in part.nodes} - {node}
    joined = [set(group) for group in groups if not fed.isdisjoint(group)]
    if not fed or not fed <= set().union(*joined):
        return Scheme.OTHER
    # Leads of rectifiers from ground back to the windings, as (end at ground, swinging end).
    back = [
        (("anode", "cathode"), part.node("cathode"))
        if part.node("anode") == GROUND
        else (("cathode", "anode"), part.node("anode"))
        for part in touching
        if part.kind in RECTIFIERS and GROUND in part.nodes and part not in rectifiers
    ]
    if len(fed) == 1:
        leads = "anode" if rectifiers[0].node("cathode") == node else "cathode"
        doubled = any(end in fed and way[0] == leads for way, end in back)
        return Scheme.DOUBLER if doubled else Scheme.HALF_WAVE
    if len(fed) == 2:
        if all(_tapped(group, touching) for group in joined):
            return Scheme.CENTRE_TAP
        if len(joined) == 1 and fed <= {end for _, end in back}:
            return Scheme.BRIDGE
    return Scheme.OTHER


def _tapped(group: set[str], touching: list[Part]) -> bool:
    """Whether one end of a winding of the group holds still."""
    return any(
        part.kind is Kind.WINDING
        and not group.isdisjoint(part.nodes)
        and not group.issuperset(part.nodes)
        for part in touching
    )
