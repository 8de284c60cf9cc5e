"""What each part of a stage is there for, told from where its ends lie."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from biaspredict.graph.alternating import (
    FOLLOWERS,
    INPUTS,
    OUTPUTS,
    STIFF_OHMS,
    alternating,
    references,
)
from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.graph.network import Branch, Network, Way, network
from biaspredict.graph.signal import signal_path
from biaspredict.model.devices import Bipolar, Fet
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.model.stage import GROUND, Stage
from biaspredict.quantities import Unit, engineering

HELD = 0.05  # volts from which a capacitor is said to hold DC back
IDLE_AMPS = 1e-9  # below which a resistor is said to carry nothing


@dataclass(frozen=True, slots=True)
class Purpose:
    """ref of a part, and what it is for, as a sentence without its end."""

    ref: str
    words: str


def purposes(
    stage: Stage, volts: Mapping[str, float], amps: Mapping[str, float]
) -> tuple[Purpose, ...]:
    """Every part's purpose, in the order of the sheet.

    volts: by node; amps: into the part at each lead, such as "R1.1".
    """
    net = network(stage)
    teller = _Teller(net, volts, amps)
    return tuple(Purpose(part.ref, teller.words(part)) for part in stage.parts)


class _Teller:
    def __init__(self, net: Network, volts: Mapping[str, float], amps: Mapping[str, float]) -> None:
        self.net, self.volts, self.amps = net, volts, amps
        self.stage = net.stage
        self.seen = alternating(net)
        self.hard = references(net)
        self.signal = signal_path(net.stage)

    def words(self, part: Part) -> str:
        if part.kind in CAPACITORS:
            return self._capacitor(part)
        if isinstance(part.device, Bipolar | Fet):
            return self._transistor(part)
        if part.kind in POTS:
            return self._pot(part)
        if part.kind in (Kind.RESISTOR, Kind.THERMISTOR, Kind.COIL, Kind.WINDING):
            return self._resistor(part)
        return _PLAIN.get(part.kind, "carries the current on")

    # -- resistors ------------------------------------------------------------------------

    def _resistor(self, part: Part) -> str:
        (branch,) = self.net.branches[part.ref]
        carried = abs(self.amps.get(f"{part.ref}.1", 0.0))
        if carried < IDLE_AMPS:
            return self._without_current(branch)
        found = next(self._carrying(part, branch), None)
        return found or f"carries current between {branch.a} and {branch.b}"

    def _carrying(self, part: Part, branch: Branch) -> Iterator[str]:
        held = self.hard | self.seen.still
        ends = ((branch.a, branch.b), (branch.b, branch.a))
        for here, there in ends:
            base, emitter, collector = (self._leg(here, legs) for legs in (
                INPUTS, FOLLOWERS, OUTPUTS))
            if base is not None and self._at(base, OUTPUTS) == there and there not in held:
                yield (f"feeds the base of {base.ref} from its own collector: more current lowers "
                       "the collector and with it the feed")
            if base is not None and self._at(base, FOLLOWERS) == there:
                yield f"drains the base of {base.ref}, so that leakage cannot turn it on"
            if base is not None and emitter is not None and base is not emitter:
                yield (f"takes the current of {emitter.ref} that the base of {base.ref} does not "
                       "need, and drains that base")
            if base is not None and collector is None and emitter is None:
                yield from self._base_feed(branch, base, here, there)
            if emitter is not None and here not in self.hard and there in held:
                yield self._emitter(here)
            if collector is not None and here not in held and self._supplies(there):
                also = "turns its current into volts"
                if base is not None and base is not collector:
                    also = f"its volts are those of the base of {base.ref}"
                yield f"collector load of {collector.ref}: {also}"
        yield from self._elsewhere(part, branch)

    def _elsewhere(self, part: Part, branch: Branch) -> Iterator[str]:
        """Away from what bases, emitters and collectors have of their own."""
        ends = ((branch.a, branch.b), (branch.b, branch.a))
        for here, _ in ends:
            if self._decoupled(here):
                yield f"with its capacitor keeps ripple and the signal of others out of {here}"
        for here, there in ends:
            emitter = self._leg(here, FOLLOWERS)
            if emitter is None or here in self.hard:
                continue
            if (part.now or 0.0) <= STIFF_OHMS:
                yield (f"in the emitter lead of {emitter.ref}: holds its current, and keeps it "
                       "from running away when warm")
            if len(self.net.legs[here]) <= len(self.net.legs[there]):
                yield (f"leads the emitter current of {emitter.ref} to {there}, and so ties the "
                       "two together at DC")
        for here, _ in ends:
            others = [
                other.ref for other in self.net.at(here)
                if other.way is Way.OHMIC and other.ref != part.ref and self._carries(other)
            ]
            if others and here not in self.hard and not self._active(here):
                yield f"with {' and '.join(others)} sets the volts of {here}"
        for node in (branch.a, branch.b):
            if node in self.net.outputs:
                yield "loads the output, and gives its capacitor a way to charge"

    def _leg(self, node: str, legs: Mapping[Kind, str]) -> Part | None:
        """A transistor with that leg at the node."""
        return next((p for p, t in self.net.legs[node] if t == legs.get(p.kind)), None)

    def _active(self, node: str) -> bool:
        return any(p.kind in INPUTS for p, _ in self.net.legs[node])

    def _base_feed(self, branch: Branch, base: Part, here: str, there: str) -> Iterator[str]:
        others = [
            other for other in self.net.at(here)
            if other.way is Way.OHMIC and other.ref != branch.ref and self._carries(other)
        ]
        emitter, collector = self._leg(there, FOLLOWERS), self._leg(there, OUTPUTS)
        held = self.hard | self._stores()
        if emitter is not None and emitter is not base and there not in self.hard:
            yield (f"brings the emitter volts of {emitter.ref} back to the base of {base.ref}: "
                   "each holds the other")
        if collector is not None and there not in held:
            yield (f"feeds the base of {base.ref} from the collector of {collector.ref}: "
                   "feedback that steadies the DC")
        if others:
            names = " and ".join(other.ref for other in others)
            yield (f"with {names} sets the volts at the base of {base.ref}, pulling them towards "
                   f"{there}")
        yield f"feeds the base of {base.ref}: what it brings is base current"

    def _stores(self) -> frozenset[str]:
        return frozenset(node for node in self.net.legs if self._decoupled(node))

    def _emitter(self, here: str) -> str:
        (emitter, *rest) = [p for p, t in self.net.legs[here] if t == FOLLOWERS.get(p.kind)]
        word = "source" if emitter.kind is Kind.FET else "emitter"
        if rest:
            names = " and ".join(p.ref for p in (emitter, *rest))
            return f"carries the current that {names} share"
        if emitter.node(OUTPUTS[emitter.kind]) in self.seen.still:
            return f"{word} load of {emitter.ref}: the signal comes out across it"
        bypassed = here in self.seen.still
        tail = " (a capacitor takes the signal past it)" if bypassed else ""
        return (f"{word} resistor of {emitter.ref}: more current lifts the {word} and takes drive "
                f"away, which steadies the current{tail}")

    def _without_current(self, branch: Branch) -> str:
        ends = (branch.a, branch.b)
        if any(end in self.net.outputs for end in ends) and GROUND in ends:
            return "carries no DC: bleeds the output capacitor, so that connecting makes no click"
        if any(end in self.net.inputs for end in ends) and GROUND in ends:
            return "carries no DC: holds the input at ground"
        if branch.ref in self.signal.way:
            return "carries no DC: the signal passes through it"
        gates = [p.ref for end in ends for p, t in self.net.legs[end] if t == "gate"]
        if gates:
            return f"carries no DC: holds the gate of {gates[0]} at {self._other_than_gate(branch)}"
        return "carries no DC: it works on the signal only"

    def _other_than_gate(self, branch: Branch) -> str:
        for end in (branch.a, branch.b):
            if not any(t == "gate" for _, t in self.net.legs[end]):
                return end
        return branch.b

    # -- other parts ------------------------------------------------------------------------

    def _capacitor(self, part: Part) -> str:
        role = capacitor_role(self.stage, part)
        a, b = part.nodes
        across = abs(self.volts.get(a, 0.0) - self.volts.get(b, 0.0))
        if role is Role.COUPLING:
            words = f"hands the signal on between {a} and {b}"
            if across > HELD:
                words += f", and holds {engineering(across, Unit.VOLT)} of DC back"
            return words
        if role is Role.BYPASS:
            still = a if b == GROUND else b if a == GROUND else f"{a} and {b}"
            return f"holds {still} still for the signal, so that no gain is lost there"
        if role is Role.DECOUPLING:
            return f"holds {b if a == GROUND else a} still: a store and a filter"
        return {
            Role.FEEDBACK: "brings signal back to an earlier point",
            Role.TONE: "shapes the response",
            Role.IDLE: "does nothing as drawn",
        }[role]

    def _transistor(self, part: Part) -> str:
        out, tail = part.node(OUTPUTS[part.kind]), part.node(FOLLOWERS[part.kind])
        gate = part.node(INPUTS[part.kind])
        still = self.seen.still
        fellows = [
            p.ref for p, t in self.net.legs[tail]
            if p is not part and t == FOLLOWERS.get(p.kind) and p.kind is part.kind
            and tail not in self.hard
        ]
        legs = ("base", "collector", "emitter")
        if part.kind is Kind.FET:
            legs = ("gate", "drain", "source")
        if fellows:
            return f"shares its {legs[2]} current with {' and '.join(fellows)}"
        if out in still and tail not in still:
            return f"follows: its {legs[2]} repeats the {legs[0]} with more current behind it"
        if out in still and tail in still and tail not in self.hard:
            return f"passes current on to {tail}, and holds it a junction below its base"
        if gate in still and tail not in still:
            return f"passes the current of its {legs[2]} on to its {legs[1]}"
        if gate in still:
            return "holds a current"
        if tail in still:
            return f"amplifies: small volts at the {legs[0]} move much current at the {legs[1]}"
        return f"amplifies, its {legs[2]} moving along: less gain, and steadier"

    def _pot(self, part: Part) -> str:
        ends = [self.volts.get(node, 0.0) for node in part.nodes]
        if max(ends) - min(ends) > 0.01:
            return "sets a share of the volts between its ends"
        return "carries no DC: sets the signal"

    # -- helpers ------------------------------------------------------------------------

    def _at(self, part: Part, legs: Mapping[Kind, str]) -> str:
        return part.node(legs[part.kind])

    def _carries(self, branch: Branch) -> bool:
        return abs(self.amps.get(branch.lead, 0.0)) >= IDLE_AMPS

    def _decoupled(self, node: str) -> bool:
        return node in self.seen.still and node not in self.hard and not any(
            t == FOLLOWERS.get(p.kind) for p, t in self.net.legs[node]
        )

    def _supplies(self, node: str) -> bool:
        return node in self.hard or self._decoupled(node) or not any(
            p.kind in INPUTS for p, _ in self.net.legs[node]
        )


_PLAIN = {
    Kind.DIODE: "drops the volts of a junction",
    Kind.ZENER: "holds its volts, whatever the current",
    Kind.LAMP: "carries the current, and lights by it",
    Kind.FUSE: "carries the current until there is too much",
    Kind.SWITCH: "makes or breaks the path",
    Kind.CONTACT: "carries the current from plug to socket",
}
