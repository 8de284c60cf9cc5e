"""What is lettered beside a part, a node, a stub."""

from __future__ import annotations

import math
from collections.abc import Mapping

from biaspredict.model.devices import Bipolar, Diode, Lamp, Material, Zener
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.stage import GROUND, Pin, Port, Rail, Stage
from biaspredict.quantities import engineering, value_text
from biaspredict.report.drawing.lettering import broken
from biaspredict.units import Unit

UNSEEN = 5e-4  # volts
LETTERS = 14  # longest line beside a part


def part_lines(part: Part) -> list[str]:
    """Reference first, then the value as the sheet prints it."""
    lines = [*broken(part.ref, LETTERS), *_values(part)]
    return [line for line in lines if line]


def _values(part: Part) -> list[str]:
    device = part.device
    if part.kind in CAPACITORS:
        return [*_printed(part, Unit.FARAD), _volts(part)]
    if part.kind is Kind.COIL:
        return [*_printed(part, Unit.HENRY), _ohms(part)]
    if part.kind is Kind.WINDING:
        return [_volts(part), _ohms(part)]
    if isinstance(device, Zener):
        return [_short(device.volts, Unit.VOLT)]
    if isinstance(device, Lamp):
        return [_short(device.volts, Unit.VOLT), _short(device.amps, Unit.AMPERE)]
    if part.kind in (Kind.TRANSISTOR, Kind.FET, Kind.DIODE, Kind.ZENER, Kind.LAMP):
        germanium = isinstance(device, Bipolar | Diode) and device.material is Material.GERMANIUM
        return ["Ge"] if germanium else []
    if part.kind is Kind.SWITCH:
        return [] if part.closed else ["open"]
    if part.kind in (Kind.FUSE, Kind.CONTACT):
        return _printed(part, Unit.OHM) if part.now else []
    return _printed(part, Unit.OHM)


def _printed(part: Part, unit: Unit) -> list[str]:
    """The printed value, and the one on the board where it differs."""
    lines = []
    printed = part.printed if part.printed is not None else part.now
    if printed is not None:
        lines.append(_written(printed, unit))
    if part.now is not None and part.now != printed:
        lines.append("now " + engineering(part.now, unit))
    return lines


def _written(value: float, unit: Unit) -> str:
    try:
        text = value_text(value, unit)
    except ValueError:
        return "?"
    return text if len(text) <= LETTERS else engineering(value, unit)


def _short(value: float, unit: Unit) -> str:
    return _written(value, unit)


def _volts(part: Part) -> str:
    return _written(part.volts, Unit.VOLT) if part.volts is not None else ""


def _ohms(part: Part) -> str:
    return _written(part.ohms, Unit.OHM) + " ohm" if part.ohms is not None else ""


def port_notes(port: Port, word: str) -> tuple[str, ...]:
    """ "from 600" or "into 47K"."""
    if port.ohms is None:
        return ()
    text = _written(port.ohms, Unit.OHM)
    return (f"{word} {text}",)


def pin_notes(pin: Pin) -> tuple[str, ...]:
    """What a pin of a black box holds or takes."""
    if pin.volts is not None:
        return (engineering(pin.volts, Unit.VOLT),)
    return (engineering(pin.amps, Unit.AMPERE),) if pin.amps else ()


def rail_name(rail: Rail) -> str:
    """The rail and the volts the sheet gives it."""
    text = f"{rail.name} {_written(rail.volts, Unit.VOLT)}"
    return text + (f" via {_written(rail.ohms, Unit.OHM)}" if rail.ohms else "")


def volts_text(value: float | None) -> str:
    """A predicted voltage, or "" where there is none; what no meter shows counts as 0."""
    if value is None or not math.isfinite(value):
        return ""
    return engineering(0.0 if abs(value) < UNSEEN else value, Unit.VOLT)


def node_names(stage: Stage) -> Mapping[str, str]:
    """The name shown at each node: a word of the sheet or a test point, never an invented one."""
    refs = {part.ref for part in stage.parts}
    ports = {port.node for port in (*stage.inputs, *stage.outputs)}
    rails = {rail.name for rail in stage.rails}
    shown = {}
    for node in stage.nodes:
        if node == GROUND or node in ports or node in rails:
            continue
        head = node.rpartition(".")[0]
        invented = head in refs or all(piece in refs for piece in node.split("/"))
        shown[node] = "" if invented else node
    for label, node in stage.points:
        place = stage.names.get(node, node)
        tag = f"TP {label}" if label[:1].isdigit() else label
        if place != GROUND and _bare(tag) not in _bare(shown.get(place, "")):
            shown[place] = f"{shown[place]} {tag}" if shown.get(place) else tag
    return {node: name for node, name in shown.items() if name}


def _bare(name: str) -> str:
    return name.replace(" ", "").casefold()
