"""How each transistor stands: conducting, saturated, cut off or the wrong way round."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from biaspredict.model.devices import (
    REFERENCE_CELSIUS,
    Bipolar,
    Channel,
    Fet,
    Material,
    Polarity,
    thermal_volts,
)
from biaspredict.model.parts import Part
from biaspredict.model.stage import Stage
from biaspredict.predict.currents import Flows, currents, usable

# Collector to emitter volts below which a conducting transistor has run out of room
# (common practice, no source).
SATURATED = {Material.SILICON: 0.3, Material.GERMANIUM: 0.15}
REVERSED = 0.1  # volts the wrong way round from which it is no rounding
CUT_OFF = 1e-3  # share of the current at which V_BE is stated
PER_KELVIN = -2e-3  # V_BE of a transistor at constant current, near room temperature (textbooks)
GATE_OPENS = 0.4  # volts at which the gate of a JFET begins to conduct


class Region(Enum):
    """Where a transistor works, in a word."""

    ACTIVE = "active"
    SATURATED = "saturated"
    CUT_OFF = "cut off"
    REVERSED = "reversed"
    GATE_OPEN = "gate conducts"  # JFET only


@dataclass(frozen=True, slots=True)
class State:
    """One transistor at its operating point; for a JFET read gate, drain, source.

    vbe, vce: base and collector to emitter, as a meter shows them (a sound PNP: both below 0).
    ic, ib, ie, watts: amps in the normal direction, above 0 in a sound NPN and PNP alike, and
    heat; None where nothing tells them.
    """

    region: Region
    vbe: float
    vce: float
    ic: float | None
    ib: float | None
    ie: float | None
    watts: float | None


def transistor_state(
    stage: Stage, part: Part, volts: Mapping[str, float], flows: Flows | None = None
) -> State | None:
    """The state of a transistor or JFET of the stage, or None where its volts are not known.

    volts: node -> volts to ground. flows: `currents(stage, volts)`, where at hand. Raises
    ValueError for another part, InputError where `currents` does.
    """
    device = part.device
    if not isinstance(device, Bipolar | Fet):
        raise ValueError(f"{part.ref} is no transistor")
    known = usable(volts)
    if not all(node in known for node in part.nodes):
        return None
    at = [known[node] for node in part.nodes]
    if isinstance(device, Bipolar):
        sign = 1.0 if device.polarity is Polarity.NPN else -1.0
    else:
        sign = 1.0 if device.channel is Channel.N else -1.0
    vbe, vce = at[1] - at[2], at[0] - at[2]
    if isinstance(device, Bipolar):
        region = _region(device, sign * vbe, sign * vce, stage.assumptions.temperature)
    else:
        region = _fet_region(device, sign * vbe, sign * vce)
    flow = (currents(stage, volts) if flows is None else flows).parts.get(part.ref)
    if flow is None:
        return State(region, vbe, vce, None, None, None, None)
    ic, ib, into_emitter = (sign * a for a in flow.amps)
    return State(region, vbe, vce, ic, ib, -into_emitter, flow.watts)


def _region(device: Bipolar, vbe: float, vce: float, celsius: float) -> Region:
    """Region by the volts in the direction in which the transistor conducts."""
    if vce < -REVERSED:
        return Region.REVERSED
    drift = PER_KELVIN * (celsius - REFERENCE_CELSIUS)
    begins = device.vbe + drift + thermal_volts(REFERENCE_CELSIUS) * math.log(CUT_OFF)
    if vbe < begins:
        return Region.CUT_OFF
    return Region.SATURATED if vce < SATURATED[device.material] else Region.ACTIVE


def _fet_region(device: Fet, vgs: float, vds: float) -> Region:
    if vgs > GATE_OPENS:
        return Region.GATE_OPEN
    if vds < -REVERSED:
        return Region.REVERSED
    if vgs <= -device.pinch_off.high:
        return Region.CUT_OFF
    # Below the least pinch-off the channel is a resistance in every specimen.
    return Region.SATURATED if vds < device.pinch_off.low + min(vgs, 0.0) else Region.ACTIVE
