"""A stage with a fault written into it, so that its currents can be told from its volts."""

from __future__ import annotations

from dataclasses import replace

from biaspredict.model.circuit import OPEN, Load, Variation
from biaspredict.model.devices import Bipolar, Polarity
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.stage import Rail, Stage

_OHMS = frozenset({Kind.RESISTOR, Kind.THERMISTOR, Kind.POT, Kind.TRIMMER, Kind.FUSE,
                   Kind.SWITCH, Kind.CONTACT})
_LEAKS = {
    "cb_leak": ("collector", "base"), "be_leak": ("base", "emitter"),
    "ce_leak": ("collector", "emitter"), "gs_leak": ("gate", "source"),
    "gd_leak": ("gate", "drain"), "ds_leak": ("drain", "source"),
}


def altered(stage: Stage, variation: Variation) -> Stage:
    """The stage as the variation leaves it, as far as its currents depend on it.

    A lead behind a joint hangs on a node of its own, "Q1.base (lead)"; a leak is a resistor of
    its own, "C1 (leak)". What devices are like inside is left as it was, but for their polarity.
    """
    parts = {part.ref: part for part in stage.parts}
    rails = {rail.name: rail for rail in stage.rails}
    added: list[Part] = []
    nodes = list(stage.nodes)
    changes = [(key, value, False) for key, value in variation.settings]
    changes += [(key, factor, True) for key, factor in variation.scales]
    for key, value, times in changes:
        ref, _, field = key.rpartition(".")
        if ref in rails and field == "volts":
            rails[ref] = _railed(rails[ref], value, times)
        elif ref in parts:
            part, more = _changed(parts[ref], field, value, times)
            parts[ref] = part
            added += more
    for lead, node in variation.moves:
        ref, _, terminal = lead.rpartition(".")
        if ref in parts:
            parts[ref] = _moved(parts[ref], terminal, node)
    for lead, ohms in variation.lifts:
        ref, _, terminal = lead.rpartition(".")
        if ref not in parts:
            continue
        spare = f"{lead} (lead)"
        there = parts[ref].node(terminal)
        parts[ref] = _moved(parts[ref], terminal, spare)
        nodes.append(spare)
        if ohms < OPEN:
            added.append(_resistor(f"{lead} (joint)", there, spare, ohms))
    added += [_bridge(load, k) for k, load in enumerate(variation.loads)]
    return replace(
        stage, parts=(*parts.values(), *added), rails=tuple(rails.values()), nodes=tuple(nodes)
    )


def _railed(rail: Rail, value: float, times: bool) -> Rail:
    return replace(rail, volts=rail.volts * value if times else value)


def _changed(part: Part, field: str, value: float, times: bool) -> tuple[Part, list[Part]]:
    """The part with one of its values changed, and what stands beside it now."""
    if field == "ohms" and part.kind in _OHMS:
        new = (part.now or 0.0) * value if times else value
        return replace(part, fitted=new, measured=None, closed=True), []
    if field == "ohms":
        new = (part.ohms or 0.0) * value if times else value
        return replace(part, ohms=new), []
    if field == "leak" and (part.kind in CAPACITORS or len(part.nodes) == 2):
        return part, [_resistor(f"{part.ref} (leak)", part.nodes[0], part.nodes[1], value)]
    device = part.device
    if field == "polarity" and isinstance(device, Bipolar):
        other = Polarity.PNP if device.polarity is Polarity.NPN else Polarity.NPN
        return replace(part, device=replace(device, polarity=other)), []
    if field in _LEAKS:
        a, b = (part.node(terminal) for terminal in _LEAKS[field])
        return part, [_resistor(f"{part.ref} (leak)", a, b, value)]
    return part, []


def _moved(part: Part, terminal: str, node: str) -> Part:
    place = part.terminals.index(terminal)
    return replace(part, nodes=(*part.nodes[:place], node, *part.nodes[place + 1 :]))


def _resistor(ref: str, a: str, b: str, ohms: float) -> Part:
    return Part(ref, Kind.RESISTOR, (a, b), fitted=ohms)


def _bridge(load: Load, k: int) -> Part:
    return _resistor(f"bridge {k + 1}", load.a, load.b, load.ohms)
