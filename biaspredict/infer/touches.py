"""What the person may do next on this stage, what it costs, and with which caution."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.graph.network import floating
from biaspredict.infer.tasks import LOGARITHMIC
from biaspredict.model.devices import Bipolar, Material, Size
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.readings import Deed, Meanwhile, Quantity, Reading
from biaspredict.model.stage import GROUND, Meter, Stage
from biaspredict.predict.doings import while_done
from biaspredict.predict.meters import ohmmeter, reading_sigma, unlogged
from biaspredict.predict.probe import Probe

# Bench units (common practice, no source): a clipped powered touch is 1.
TOUCH = 1.0
CROWDED = 4.0
WARM = 2.0
OHMS = 3.0
POWER_CHANGE = 3.0
LIFT = 10.0
BRIDGE = 4.0
# A node that only a meter discharges is bridged: resistors at hand, seconds of time constant
# that are quick, and slow with a 10 Mohm meter (common practice, no source).
BRIDGES = (100.0, 1e3, 10e3, 100e3)
QUICK, SLOW, SLOW_OHMS = 0.2, 60.0, 10e6
DANGEROUS = 50.0  # volts above which a touch is not advised; low-voltage limit of common rules

DISCHARGE = (
    "Power off, discharge every reservoir through about 100 ohm 5 W and measure that it is "
    "discharged, before any ohms reading."
)
FIRST_POWER = (
    "First power through a series lamp or a variable transformer, speakers off and a dummy load "
    "on. A lamp limits the current, it does not isolate. Set no bias and keep no reading through "
    "it."
)
ONE_HAND = "One hand, clipped ground, insulated tip."
NEVER_BRIDGE = "Do not let the tip bridge base and collector."


@dataclass(frozen=True, slots=True)
class Touch:
    """One possible reading: the probe, its cost in bench units, words and cautions.

    spread: standard deviation of what the prediction does not know of a sound specimen.
    """

    probe: Probe
    cost: float
    words: str
    meter: Meter
    cautions: tuple[str, ...] = ()
    spread: float = 0.0

    def sigma(self, value: float) -> float:
        """Error to expect when `value` is read, both logarithms but for volts."""
        if self.probe.quantity in LOGARITHMIC:
            shown = unlogged(value)
            reading = Reading(self.probe.name, self.probe.node, shown, self.probe.quantity)
            return math.hypot(reading_sigma(reading, self.meter) / shown, self.spread)
        reading = Reading(self.probe.name, self.probe.node, value, self.probe.quantity)
        return reading_sigma(reading, self.meter)

    def sigmas(self, values: Floats) -> Floats:
        """`sigma` of each value; of volts, to the fourth digit."""
        if self.probe.quantity in LOGARITHMIC:
            return np.array([self.sigma(value) for value in values.tolist()])
        digits = np.floor(np.log10(np.maximum(np.abs(values), 1e-6)))
        unit = 10.0 ** (digits - 3)
        some, place = np.unique(np.round(values / unit) * unit, return_inverse=True)
        return np.array([self.sigma(value) for value in some.tolist()])[place]


def touches(
    stage: Stage, meter: Meter, taken: Sequence[Probe], suspects: Sequence[str],
    refused: Sequence[str] = (), expected: dict[str, float] | None = None,
) -> tuple[Touch, ...]:
    """Every reading that could still be taken.

    suspects: references worth lifting or measuring on their own, most suspect first.
    refused: nodes the person skipped. expected: sound volts by node, for the meter's range and
    for declining dangerous points.
    """
    volts = expected or {}
    done = {(p.node, p.minus, p.quantity, p.doing) for p in taken}
    found: list[Touch] = []
    for touch in _all(stage, meter, suspects, volts):
        probe = touch.probe
        key = (probe.node, probe.minus, probe.quantity, probe.doing)
        if key in done or probe.node in refused or probe.minus in refused:
            continue
        if abs(volts.get(probe.node, 0.0)) > DANGEROUS and probe.powered:
            continue
        done.add(key)
        found.append(touch)
    return tuple(found)


def _all(
    stage: Stage, meter: Meter, suspects: Sequence[str], volts: dict[str, float]
) -> Iterator[Touch]:
    loose = floating(stage)
    for node in stage.nodes:
        if node != GROUND and not node.endswith("(slope)"):
            bridge = _bridge(stage, node) if node in loose else None
            if bridge is None:
                yield _node(stage, meter, node, volts)
            else:
                yield _bridged(stage, meter, node, bridge)
    for part in stage.parts:
        if part.kind is Kind.TRANSISTOR and len(set(part.nodes)) == 3:
            yield _junction(part, meter)
    refs = list(dict.fromkeys(s.split(".")[0] for s in suspects))
    for part in stage.parts:
        if part.kind is Kind.TRANSISTOR and part.ref in refs:
            yield from _warm(stage, part, meter, volts)
    known = {part.ref: part for part in stage.parts}
    for part in (known[ref] for ref in refs[:8] if ref in known):
        yield from _off(part, meter)
        yield from _lifted(stage, part, meter, volts)


def _load(meter: Meter, volts: float) -> float:
    return meter.input_ohms(volts)


def _node(stage: Stage, meter: Meter, node: str, volts: dict[str, float]) -> Touch:
    name = node
    probe = Probe(node, ohms=_load(meter, volts.get(node, 1.0)), name=name)
    crowded = any(
        isinstance(p.device, Bipolar) and p.device.size is Size.POWER for p, _ in stage.at(node)
    )
    cautions = (ONE_HAND, NEVER_BRIDGE) if crowded else ()
    return Touch(probe, CROWDED if crowded else TOUCH, f"volts at {name}", meter, cautions)


def _bridge(stage: Stage, node: str) -> float | None:
    """Ohms that discharge a node at once which a meter alone would take minutes over."""
    farads = sum(part.now or 0.0 for part, _ in stage.at(node) if part.kind in CAPACITORS)
    if farads * SLOW_OHMS < SLOW:
        return None
    return max((ohms for ohms in BRIDGES if ohms * farads <= QUICK), default=BRIDGES[0])


def _bridged(stage: Stage, meter: Meter, node: str, ohms: float) -> Touch:
    size = f"{ohms:.0f} ohm" if ohms < 1e3 else f"{ohms / 1e3:.0f}k"
    probe = while_done(Probe(node, ohms=_load(meter, 1.0), name=node), stage,
                       (Meanwhile(Deed.ACROSS, ohms=ohms),))
    words = (f"volts at {node} with {size} 5 W across it (put on with the power off), a minute "
             "after switching on")
    return Touch(probe, BRIDGE, words, meter, (ONE_HAND,))


def _junction(part: Part, meter: Meter) -> Touch:
    name = f"{part.ref}.base"
    probe = Probe(
        part.node("base"), part.node("emitter"), ohms=_load(meter, 0.7),
        name=f"{name} to {part.ref}.emitter",
    )
    return Touch(probe, TOUCH, f"volts from {name} to {part.ref}.emitter", meter, (NEVER_BRIDGE,))


def _warm(
    stage: Stage, part: Part, meter: Meter, volts: dict[str, float]
) -> Iterator[Touch]:
    device = part.device
    if not isinstance(device, Bipolar) or device.material is not Material.GERMANIUM:
        return
    for terminal in ("collector", "emitter"):
        node = part.node(terminal)
        if node == GROUND:
            continue
        name = f"{part.ref}.{terminal}"
        probe = while_done(Probe(node, ohms=_load(meter, volts.get(node, 1.0)), name=name),
                           stage, (Meanwhile(Deed.WARM, part.ref),))
        yield Touch(probe, WARM, f"volts at {name} with the can of {part.ref} warmed by a "
                                 f"fingertip or a warm cloth", meter)


def _off(part: Part, meter: Meter) -> Iterator[Touch]:
    """Ohms across a part in place, both lead polarities where a junction may conduct."""
    if len(part.nodes) != 2 or part.nodes[0] == part.nodes[1]:
        return
    near = part.now if part.kind not in CAPACITORS and part.now else 1e5
    ohms, test = ohmmeter(meter, near)
    ends = ((part.nodes[0], part.nodes[1]), (part.nodes[1], part.nodes[0]))
    for (plus, minus), word in zip(ends, ("", ", leads reversed"), strict=True):
        minus_node = None if minus == GROUND else minus
        if plus == GROUND:
            continue
        probe = Probe(plus, minus_node, Quantity.OHMS, ohms, test,
                      name=f"across {part.ref}{word}")
        yield Touch(probe, OHMS + POWER_CHANGE, f"ohms across {part.ref}, power off{word}",
                    meter, (DISCHARGE,))


def _lifted(
    stage: Stage, part: Part, meter: Meter, volts: dict[str, float]
) -> Iterator[Touch]:
    """One leg lifted: the suspect alone, or the stage without it."""
    if len(part.nodes) != 2:
        return
    lifted = (Meanwhile(Deed.LIFTED, part.ref),)
    if part.kind in CAPACITORS:
        for node in part.nodes:
            if node == GROUND or any(rail.name == node for rail in stage.rails):
                continue
            probe = while_done(Probe(node, ohms=_load(meter, volts.get(node, 1.0)), name=node),
                               stage, lifted)
            yield Touch(probe, LIFT + POWER_CHANGE,
                        f"volts at {node} with one leg of {part.ref} lifted", meter, (DISCHARGE,))
    elif part.kind is Kind.RESISTOR and part.now:
        lead = f"{part.ref}.1"
        ohms, test = ohmmeter(meter, part.now)
        minus = part.nodes[1] if part.nodes[1] != GROUND else None
        probe = while_done(
            Probe(part.nodes[0], minus, Quantity.OHMS, ohms, test, name=lead), stage, lifted)
        yield Touch(probe, LIFT + POWER_CHANGE, f"ohms of {part.ref} with one leg lifted", meter,
                    (DISCHARGE,))

