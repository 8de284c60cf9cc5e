"""What each capacitor does to the signal: told from the wiring, then from the linear stage."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cached_property

from biaspredict.engine.stores import Store, impedance_seen, level_gain
from biaspredict.graph.alternating import large as is_large
from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.model.parts import Kind, Part
from biaspredict.predict.path import SignalPath

# A large capacitor is wire in the middle of the band if its reactance has fallen below what it
# sees at this frequency; one that shapes the response, if at the middle of the audio band.
WIRE_BY = 5e3
MIDDLE = math.sqrt(20.0 * 20e3)
INAUDIBLE = 0.01  # decibels that no capacitor without a signal in it exceeds
SPREAD = (1.0, 5.0, 20.0, 100.0, 632.0, 5e3, 20e3, 100e3)  # hertz at which that is looked for


class Duty(Enum):
    """What a capacitor is there for."""

    COUPLING = "coupling"  # hands the signal on
    BYPASS = "bypass"  # holds an emitter, a base or a feedback leg still
    DECOUPLING = "decoupling"  # holds a supply or a bias point still
    MILLER = "Miller"  # from a transistor's collector back to its own base
    FEEDBACK = "feedback"
    TONE = "tone"
    IDLE = "idle"


SHAPING = frozenset({Duty.TONE, Duty.FEEDBACK, Duty.MILLER})


def duty_of(path: SignalPath, part: Part) -> Duty:
    """The duty of a capacitor by its wiring."""
    role = capacitor_role(path.stage, part)
    if role is not Role.FEEDBACK:
        return Duty(role.value)
    own = any(
        other.kind is Kind.TRANSISTOR
        and {other.node("collector"), other.node("base")} == set(part.nodes)
        for other in path.stage.parts
    )
    return Duty.MILLER if own else Duty.FEEDBACK


@dataclass(frozen=True)
class Sorted:
    """The capacitors of a path by what they are in the middle of the band.

    bass: wire there, and set the low end. treble: open there, and set the high end. shaping:
    small ones of either kind that shape the response on purpose.
    """

    path: SignalPath
    duties: Mapping[str, Duty]
    bass: tuple[Store, ...]
    treble: tuple[Store, ...]
    shaping: tuple[Store, ...]

    @cached_property
    def losing(self) -> tuple[Store, ...]:
        """Those of the bass that are not meant to shape it."""
        return tuple(s for s in self.bass if s not in self.shaping)

    def beside(self, store: Store) -> tuple[Store, ...]:
        """Other bass capacitors across the same two nodes."""
        return tuple(s for s in self.bass if s is not store and beside(s, store))

    @cached_property
    def middle(self) -> float:
        """Gain in the middle of the band, bass capacitors wire and treble ones open."""
        return level_gain(self.path.matrix, self.path.drive, self.path.out, self.bass)

    def alone(self, hertz: Sequence[float], real: Sequence[Store]) -> list[float]:
        """Decibels that these add to the gain, the others as in the middle of the band."""
        kept = {store.name for store in real}
        opened = _open([s for s in self.treble if s.name not in kept])
        wire = [s for s in self.bass if s.name not in kept]
        sizes = abs(self.path.gain(hertz, opened, wire)).tolist()
        return [decibels(size) - decibels(abs(self.middle)) for size in sizes]


def _open(some: Sequence[Store]) -> Variation:
    return Variation(settings=tuple((f"{s.name}.farads", 0.0) for s in some))


def sort(path: SignalPath) -> Sorted:
    """Tell bass from treble capacitors."""
    duties: dict[str, Duty] = {}
    bass: list[Store] = []
    treble: list[Store] = []
    shaping: list[Store] = []
    for store in path.stores:
        part = path.stage.part(store.name)
        duty, large = duty_of(path, part), is_large(part)
        if duty in SHAPING and not large:
            shaping.append(store)
        at = MIDDLE if store in shaping else WIRE_BY
        others = [s for s in path.stores if s is not store and not beside(s, store)]
        reactance = 1.0 / (2.0 * math.pi * at * store.farads)
        wire = reactance < abs(impedance_seen(path.matrix, store, others, at))
        (bass if wire else treble).append(store)
        # Too small to hold anything still or to hand on more than treble: it trims the high end.
        small = not wire and not large and duty in (Duty.BYPASS, Duty.COUPLING)
        duties[store.name] = Duty.TONE if small else duty
    return Sorted(path, duties, tuple(bass), tuple(treble), tuple(shaping))


def beside(one: Store, other: Store) -> bool:
    """Whether two capacitors lie across the same two nodes."""
    return {one.a, one.b} == {other.a, other.b}


def crossed(path: SignalPath, store: Store) -> bool:
    """Whether it makes any difference to the signal that the capacitor is there."""
    with_it, without = (abs(path.gain(SPREAD, v)) for v in (SOUND, _open([store])))
    return any(
        abs(decibels(a) - decibels(b)) > INAUDIBLE
        for a, b in zip(with_it.tolist(), without.tolist(), strict=True)
    )


def decibels(ratio: float) -> float:
    """20 log of a ratio of amplitudes; -400 for none."""
    return 20.0 * math.log10(max(ratio, 1e-20))
