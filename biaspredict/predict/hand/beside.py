"""Each step beside the solved stage: the same quantity there, and why the two differ."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from biaspredict.engine.flatten import flatten
from biaspredict.model.circuit import Device
from biaspredict.model.devices import Bipolar, Fet
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.currents import Flows, currents
from biaspredict.predict.hand.net import Net
from biaspredict.predict.hand.records import Key, Step, What
from biaspredict.predict.states import State, transistor_state

AGREES = 0.01  # share of the solved value up to which the two are said to agree
AGREES_VOLTS = 0.005
WORTH = 0.2  # share of a difference from which a cause of it is told
HIDDEN = 1e-15  # amps below which no gain is told


class Solved:
    """The quantities of a lesson as the solved stage has them.

    volts: by node of the circuit, inner ones and ground included.
    """

    def __init__(self, stage: Stage, volts: Mapping[str, float]) -> None:
        self.volts = {**volts, GROUND: 0.0}
        self.flows: Flows = currents(stage, self.volts)
        self.stage = stage
        self.states: dict[str, State] = {
            part.ref: state
            for part in stage.parts
            if isinstance(part.device, Bipolar | Fet)
            and (state := transistor_state(stage, part, self.volts, self.flows)) is not None
        }
        self._branches = _branches(stage, self.volts)

    def value(self, key: Key) -> float | None:
        """The quantity, or None where nothing tells it."""
        what, name = key.what, key.name
        if what is What.VOLTS:
            return self.volts.get(name, self._branches.get(name))
        if what in (What.AMPS, What.TAKEN):
            return self._branches.get(name)
        if what in (What.DROP, What.THROUGH):
            return self._junction(key)
        state = self.states.get(name)
        if state is None:
            return None
        sign = 1.0 if _forward(self.stage, name) else -1.0
        if what is What.GAIN:
            return state.ic / state.ib if state.ic and state.ib and state.ib > HIDDEN else None
        found = {
            What.BASE: state.ib, What.COLLECTOR: state.ic, What.EMITTER: state.ie,
            What.DRAIN: state.ic, What.JUNCTION: sign * state.vbe, What.ACROSS: sign * state.vce,
        }
        return found[what]

    def _junction(self, key: Key) -> float | None:
        part = self.stage.part(key.name)
        ends = [self.volts[node] for node in part.nodes]
        if isinstance(part.device, Bipolar):  # one that is tied to be a diode
            state = self.states[key.name]
            sign = 1.0 if _forward(self.stage, key.name) else -1.0
            return sign * state.vbe if key.what is What.DROP else state.ie
        if key.what is What.DROP:
            return abs(ends[0] - ends[1])
        flow = self.flows.parts.get(key.name)
        return None if flow is None else abs(flow.amps[0])


def _forward(stage: Stage, ref: str) -> bool:
    device = stage.part(ref).device
    if isinstance(device, Bipolar):
        return device.polarity.value == "npn"
    return isinstance(device, Fet) and device.channel.value == "n-channel"


def _branches(stage: Stage, volts: Mapping[str, float]) -> dict[str, float]:
    """Amps through each resistance of a net, by the name its arm has, and volts behind sources."""
    found: dict[str, float] = {}
    for element in flatten(stage).elements:
        at = [volts.get(node) for node in element.nodes]
        if any(value is None for value in at):
            continue
        ends = [float(value) for value in at if value is not None]
        if element.device in (Device.RESISTOR, Device.COIL, Device.WINDING):
            found[element.name] = (ends[0] - ends[1]) / element.value("ohms")
        elif element.device is Device.LAMP:
            found[element.name] = (ends[0] - ends[1]) / element.value("hot_ohms")
        elif element.device is Device.POT:
            total, turn = element.values
            if turn < 1.0:
                found[f"{element.name}.upper"] = (ends[0] - ends[1]) / (total * (1.0 - turn))
            if turn > 0.0:
                found[f"{element.name}.lower"] = (ends[1] - ends[2]) / (total * turn)
        elif element.device is Device.SOURCE:
            held, ohms = element.values
            away = held - ends[0]
            found[f"{element.name}, unloaded"] = held
            # Towards the node where the source holds volts, from it where it only is a path.
            found[element.name] = (away if held else -away) / ohms
    for pin in stage.pins:
        if pin.volts is None:
            found[pin.name] = pin.amps
    return found


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing the step took otherwise than it is, and what that does to the result.

    effect: hand result less what the step would give with the solved value of this alone.
    """

    key: Key
    taken: float
    solved: float
    effect: float


@dataclass(frozen=True, slots=True)
class Beside:
    """A step and the solved stage: the quantity there (None: nothing tells it), and the causes
    that make up the difference, largest first; none where the two agree."""

    step: Step
    solved: float | None
    agrees: bool
    causes: tuple[Cause, ...]


def beside(step: Step, solved: Solved) -> Beside:
    """Compare one step, and trace its difference to what it took for its inputs."""
    there = solved.value(step.key)
    if there is None:
        return Beside(step, None, False, ())
    off = step.hand - there
    near = AGREES * abs(there)
    if step.key.what in (What.VOLTS, What.ACROSS):
        near = max(near, AGREES_VOLTS)
    if abs(off) <= near:
        return Beside(step, there, True, ())
    taken = dict(step.inputs)
    causes = []
    for key, value in step.inputs:
        real = solved.value(key)
        if real is None or real == value:
            continue
        effect = step.hand - step.work({**taken, key: real})
        if abs(effect) >= WORTH * abs(off):
            causes.append(Cause(key, value, real, effect))
    causes.sort(key=lambda cause: -abs(cause.effect))
    return Beside(step, there, False, tuple(causes))


def solved_net(stage: Stage, volts: Mapping[str, float], order: tuple[str, ...]) -> Net:
    return Net(stage, {**volts, GROUND: 0.0}, order)
