"""The sheet on which a stage is reckoned: what is known so far, and the steps that led there."""

from __future__ import annotations

from collections.abc import Iterable

from biaspredict.predict.hand.feed import Feed, feed
from biaspredict.predict.hand.net import Arm, Net, Transistor
from biaspredict.predict.hand.records import Entry, Key, Reckoning, Step, What, volts
from biaspredict.predict.states import Region
from biaspredict.quantities import Unit, engineering

# Across fewer volts than this no current is told from volts reckoned with a fixed V_BE.
TOO_FEW = 0.2
TRANSISTOR = frozenset({What.BASE, What.COLLECTOR, What.EMITTER, What.DRAIN})


class Sheet:
    """volts: by node; amps: by current; both grow with each step put down."""

    def __init__(self, net: Net, reckoning: Reckoning) -> None:
        self.net = net
        self.reckoning = reckoning
        self.volts: dict[str, float] = dict(net.fixed)
        self.amps: dict[Key, float] = {pin.key: pin.amps for pin in net.taken}
        self.entries: list[Entry] = []
        self.seen: set[tuple[Key, bool]] = set()
        self.supposing = False
        self.closed: set[str] = set()  # nodes whose balance has been used with a base left out
        self.guessed: set[str] = set()  # nodes whose balance is what tells whether a guess is right
        for transistor in net.transistors:
            if transistor.region is Region.CUT_OFF:
                for _, key, _ in transistor.leads:
                    self.amps[key] = 0.0

    def copy(self) -> Sheet:
        other = Sheet(self.net, self.reckoning)
        other.volts, other.amps = dict(self.volts), dict(self.amps)
        other.entries, other.seen = list(self.entries), set(self.seen)
        other.supposing = self.supposing
        other.closed, other.guessed = set(self.closed), set(self.guessed)
        return other

    def put(self, steps: Iterable[Step]) -> bool:
        """Put steps down, those that were not there before; whether there was any."""
        fresh = False
        for step in steps:
            if (step.key, step.rough) in self.seen or self._backwards(step):
                continue
            self.seen.add((step.key, step.rough))
            fresh = True
            if step.hand or step.notes or step.about not in self.net.nodes:
                self.entries.append(step)  # what rests at 0 V by itself needs no arithmetic
            if step.rough:
                continue
            self._close(step)
            if step.key.what is What.VOLTS:
                self.volts[step.key.name] = step.hand
            elif step.key.unit is Unit.AMPERE:
                self.amps[step.key] = step.hand
        return fresh

    def _backwards(self, step: Step) -> bool:
        """A current against its normal direction is a small difference gone wrong; while a guess
        is tried it only says that the guess was."""
        return step.key.what in TRANSISTOR and step.hand < 0.0 and not self.supposing

    def _close(self, step: Step) -> None:
        """A base whose current was left out is not asked for it afterwards."""
        left_out = {key.name for key, amps in step.inputs if key.what is What.BASE and not amps}
        self.closed.update(t.base for t in self.net.transistors if t.ref in left_out)

    @property
    def missing(self) -> tuple[str, ...]:
        return tuple(node for node in self.net.nodes if node not in self.volts)

    def feed(self, node: str, left_out: Iterable[Key] = ()) -> Feed | None:
        """The feed of a node; a known node is its own feed, without resistance."""
        if node in self.volts:
            key = volts(node)
            value = self.volts[node]
            return Feed(node, value, 0.0, ((key, 1.0),), {key: value}, (), ())
        return feed(self.net, node, self.volts, self.amps, tuple(left_out))

    def following(self, but: Transistor | None = None) -> tuple[Key, ...]:
        """Base currents not known yet that this way of reckoning leaves out."""
        if self.reckoning.following:
            return ()
        return self.bases(but)

    def bases(self, but: Transistor | None = None) -> tuple[Key, ...]:
        """All base currents not known yet."""
        return tuple(
            key
            for t in self.net.transistors
            if t is not but and (key := t.key(What.BASE)) not in self.amps
        )

    def through(self, arm: Arm) -> float | None:
        """Amps from a to b of a resistance, where the volts at its ends tell them."""
        if arm.key in self.amps:
            return self.amps[arm.key]
        if self.net.dead.get(arm.a) == arm.b or self.net.dead.get(arm.b) == arm.a:
            return 0.0
        if arm.a not in self.volts or arm.b not in self.volts:
            return None
        across = self.volts[arm.a] - self.volts[arm.b]
        held = arm.a in self.net.fixed and arm.b in self.net.fixed
        return across / arm.ohms if held or abs(across) > TOO_FEW else None


def ohms(value: float) -> str:
    """Ohms inside a sum: `4.7k`."""
    return engineering(value, Unit.OHM)


def v(value: float) -> str:
    return engineering(value, Unit.VOLT)


def a(value: float) -> str:
    return engineering(value, Unit.AMPERE)

