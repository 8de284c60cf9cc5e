"""What a learner may read, and what each reading costs at the bench."""

from __future__ import annotations

from dataclasses import dataclass

from biaspredict.errors import InputError
from biaspredict.infer.touches import CROWDED, LIFT, OHMS, POWER_CHANGE, TOUCH, Touch, touches
from biaspredict.model.devices import Bipolar, Size
from biaspredict.model.parts import Kind
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import GROUND, Meter, Stage
from biaspredict.predict.probe import Probe, probe_of

USUAL_OHMS = 10e3  # for which a range is chosen where nothing says more
NAMING = 20.0  # bench units of swapping a part for nothing (common practice, no source)


@dataclass(frozen=True, slots=True)
class Asked:
    """text: as a learner writes it. words: what is done. cost: in bench units, the power being
    as it has to be. powered: whether the set is on while it is read. off_first: the power goes
    off for it before."""

    text: str
    words: str
    probe: Probe
    cost: float
    powered: bool
    off_first: bool = False


def priced(asked: Asked, power: bool) -> float:
    """Its cost where the set is on (`power`) or off before: changing that costs too."""
    changes = 0
    if asked.off_first and power:
        changes += 1
        power = False
    if asked.powered != power:
        changes += 1
    return asked.cost + POWER_CHANGE * changes


def a_place(stage: Stage, meter: Meter, text: str, where: Reading, ohms: bool) -> Asked:
    """Volts, or ohms with the power off, at a place as `where` says it (its value counts not)."""
    minus = None if where.minus in (None, GROUND) else where.minus
    name = where.name if where.minus_name is None else f"{where.name} to {where.minus_name}"
    across = text.removeprefix("ohms ").startswith("across ")
    said = text.removeprefix("ohms ") if across else f"at {name}"
    if where.node == (where.minus or GROUND):
        raise InputError(
            f"{text}: both leads would stand on {where.node}, and read nothing",
            remedy="Name another point, like Q1.base or across R3.",
        )
    if ohms:
        near = Reading(name, where.node, _near(stage, where), Quantity.OHMS, minus=minus)
        probe = probe_of(near, meter)
        return Asked(text, f"ohms {said}, power off", probe, OHMS, False)
    if minus is None:
        for touch in touches(stage, meter, (), ()):
            if touch.probe.node == where.node and touch.probe.minus is None:
                probe = Probe(
                    touch.probe.node, None, touch.probe.quantity, touch.probe.ohms,
                    touch.probe.volts, where.name, touch.probe.doing, touch.probe.extra,
                    touch.probe.until, until_ohms=touch.probe.until_ohms)
                return Asked(text, touch.words, probe, touch.cost, True)
    near = Reading(name, where.node, 1.0, Quantity.VOLTS, minus=minus)
    crowded = any(
        isinstance(part.device, Bipolar) and part.device.size is Size.POWER
        for node in (where.node, minus) if node is not None
        for part, _ in stage.at(node)
    )
    return Asked(text, f"volts {said}", probe_of(near, meter), CROWDED if crowded else TOUCH,
                 True)


def _near(stage: Stage, where: Reading) -> float:
    """Ohms that a range is chosen for: those of what stands there, or a usual value."""
    for part in stage.parts:
        across = len(part.nodes) == 2 and set(part.nodes) == {where.node, where.minus or GROUND}
        if across and part.now and part.kind is Kind.RESISTOR:
            return part.now
    return USUAL_OHMS


def a_lift(stage: Stage, meter: Meter, ref: str) -> Asked:
    """One leg of a part lifted: a resistor by itself, or the stage without a capacitor."""
    found = _done_to(stage, meter, ref, f"with {ref} lifted")
    if found is None:
        raise InputError(
            f"{ref} cannot be lifted here",
            remedy="Resistors and capacitors can, those with a leg at a DC point.",
        )
    powered = found.probe.powered
    return Asked(f"lift {ref}", found.words, found.probe, LIFT, powered, off_first=True)


def a_warming(stage: Stage, meter: Meter, ref: str) -> Asked:
    """The can of a germanium transistor warmed by a fingertip."""
    found = _done_to(stage, meter, ref, f"with {ref} warm")
    if found is None:
        raise InputError(
            f"warming {ref} tells nothing",
            remedy="Warm a germanium transistor: its leakage doubles every 9 C.",
        )
    return Asked(f"warm {ref}", found.words, found.probe, found.cost, True)


def _done_to(stage: Stage, meter: Meter, ref: str, doing: str) -> Touch | None:
    for touch in touches(stage, meter, (), (ref,)):
        if touch.probe.doing == doing:
            return touch
    return None


def from_touch(touch: Touch) -> Asked:
    """A touch that the splits advise, priced in the same way."""
    probe = touch.probe
    if probe.doing.endswith(" lifted"):
        ref = probe.doing.removeprefix("with ").removesuffix(" lifted")
        return Asked(f"lift {ref}", touch.words, probe, LIFT, probe.powered, off_first=True)
    if not probe.powered:
        return Asked(f"ohms {probe.name}", touch.words, probe, OHMS, False)
    return Asked(probe.name, touch.words, probe, touch.cost, True)
