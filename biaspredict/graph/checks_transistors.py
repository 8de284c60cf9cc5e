"""Checks of transistors and JFETs: leads without DC, no supply, terminals joined."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.findings import Finding, Gravity
from biaspredict.graph.alternating import FOLLOWERS, INPUTS, OUTPUTS
from biaspredict.graph.network import BIAS, DC, EVERY, Network, network
from biaspredict.graph.wording import listed, lone
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import GROUND, Stage

# What to look for where a lead has no DC: code, remedy.
_LEADS = {
    "base": ("no-bias-path", "a bias resistor, or a wire from the transistor before it"),
    "collector": ("no-collector-path", "the collector resistor, or a wire to the rail"),
    "emitter": ("no-emitter-path", "the emitter resistor, or a wire to ground"),
    "gate": ("no-bias-path", "the resistor from the gate to ground, often 470k to 10M"),
    "drain": ("no-drain-path", "the drain resistor, or a wire to the rail"),
    "source": ("no-source-path", "the source resistor, or a wire to ground"),
}


def starved(stage: Stage) -> frozenset[str]:
    """References of transistors and JFETs that cannot work as wired, whatever the values."""
    net = network(stage)
    return frozenset(
        part.ref
        for part in stage.parts
        if part.kind in INPUTS
        and (any(True for _ in _unfed(net, part)) or len(_supplies(net, part)) < 2)
    )


def _unfed(net: Network, part: Part) -> Iterator[str]:
    """Leads to which no DC comes but through the part itself.

    A base is not fed by the junction of another transistor; an emitter may feed another base.
    """
    for terminal, node in zip(part.terminals, part.nodes, strict=True):
        ways = BIAS if terminal == INPUTS[part.kind] else DC
        if not net.feeds(node, ways, part.ref):
            yield terminal


def _supplies(net: Network, part: Part) -> set[float | str]:
    """Volts of the feeds that reach collector and emitter; a name where they are not known."""
    found: set[float | str] = set()
    for terminal in (OUTPUTS[part.kind], FOLLOWERS[part.kind]):
        for feed in net.feeds(part.node(terminal), DC, part.ref):
            rails = net.rails.get(feed)
            if rails:
                found.add(rails[0].volts)
            else:
                found.add(feed if feed in net.pins else 0.0)
    return found


def unfed_leads(stage: Stage, net: Network) -> Iterator[Finding]:
    """Leads of transistors to which no DC comes but through the transistor."""
    joined = next(nodes for nodes in net.islands(EVERY) if GROUND in nodes)
    found: dict[tuple[str, str], list[str]] = {}
    for part in stage.parts:
        if part.kind in INPUTS:
            for terminal in _unfed(net, part):
                node = part.node(terminal)
                if not lone(net, node) and node in joined:
                    found.setdefault((node, terminal), []).append(part.ref)
    for (node, terminal), refs in found.items():
        code, look_for = _LEADS[terminal]
        own = refs[0] if len(refs) == 1 else "themselves"
        yield Finding(
            code,
            Gravity.CHECK,
            (*refs, node),
            f"No DC comes to {listed(f'{ref}.{terminal}' for ref in refs)} but through {own}.",
            f"Look on the sheet for {look_for}.",
            stage.part(refs[0]).origin,
        )


def no_supply_path(stage: Stage, net: Network) -> Iterator[Finding]:
    """Transistors whose collector and emitter lead to the same voltage only."""
    if not net.rails and not net.pins:
        return  # said of the whole stage
    for part in stage.parts:
        if part.kind is not Kind.TRANSISTOR or any(True for _ in _unfed(net, part)):
            continue
        supplies = _supplies(net, part)
        if len(supplies) == 1 and len(set(part.nodes)) == 3:
            (volts,) = supplies
            to = "ground" if volts == 0.0 else "the same supply"
            yield Finding(
                "no-supply-path",
                Gravity.CHECK,
                (part.ref,),
                f"Collector and emitter of {part.ref} both lead to {to} only.",
                "Look on the sheet for the resistor or wire that brings it its supply. Right "
                "only for a muting switch.",
                part.origin,
            )


_JOINED = {
    ("base", "collector"): (
        Gravity.NOTE,
        "it works as a diode",
        "Right where the sheet joins them, as in a bias diode; otherwise a wire is wrong.",
    ),
    ("base", "emitter"): (
        Gravity.CHECK,
        "it can never conduct",
        "Look which of the two leads goes elsewhere on the sheet.",
    ),
    ("collector", "emitter"): (
        Gravity.CHECK,
        "it controls nothing",
        "Look which of the two leads goes elsewhere on the sheet.",
    ),
    ("gate", "source"): (
        Gravity.NOTE,
        "it works as a constant current",
        "Right where the sheet joins them; otherwise the source resistor is missing.",
    ),
    ("drain", "gate"): (
        Gravity.CHECK,
        "it works as a diode",
        "Right in a clamp; otherwise a wire is wrong.",
    ),
    ("drain", "source"): (
        Gravity.CHECK,
        "it controls nothing",
        "Look which of the two leads goes elsewhere on the sheet.",
    ),
}


def terminals_joined(stage: Stage, net: Network) -> Iterator[Finding]:
    """Transistors with two or three terminals on one node."""
    for part in stage.parts:
        if part.kind not in (Kind.TRANSISTOR, Kind.FET):
            continue
        if len(set(part.nodes)) == 1:
            yield Finding(
                "terminals-joined",
                Gravity.CHECK,
                (part.ref, part.nodes[0]),
                f"All three leads of {part.ref} are at {part.nodes[0]}: it does nothing.",
                "Follow each lead on the sheet once more.",
                part.origin,
            )
            continue
        for pair, (gravity, effect, remedy) in _JOINED.items():
            if set(pair) <= set(part.terminals) and part.node(pair[0]) == part.node(pair[1]):
                yield Finding(
                    "terminals-joined",
                    gravity,
                    (part.ref, part.node(pair[0])),
                    f"{pair[0].capitalize()} and {pair[1]} of {part.ref} are joined: {effect}.",
                    remedy,
                    part.origin,
                )
