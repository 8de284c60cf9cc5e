"""What a lesson is made of: quantities, steps that work one out of others, and guesses."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum

from biaspredict.quantities import Unit, engineering


class What(Enum):
    """What a quantity is; its name is that of a node, of a part, or of a lead."""

    VOLTS = "volts"  # a node to ground
    AMPS = "amps"  # through a resistance, from its first end to its second
    BASE = "base current"
    COLLECTOR = "collector current"
    EMITTER = "emitter current"
    JUNCTION = "V_BE"  # of a transistor, above 0 where it conducts
    ACROSS = "V_CE"  # of a transistor, above 0 in its normal direction
    GAIN = "gain"  # collector current over base current
    DROP = "drop"  # of a diode or zener in the direction in which it conducts
    THROUGH = "through"  # the current of a diode or zener
    DRAIN = "drain current"
    TAKEN = "taken"  # by a pin


UNITS = {
    What.VOLTS: Unit.VOLT,
    What.JUNCTION: Unit.VOLT,
    What.ACROSS: Unit.VOLT,
    What.DROP: Unit.VOLT,
    What.GAIN: Unit.RATIO,
}


@dataclass(frozen=True, slots=True)
class Key:
    """One quantity of a stage. Currents of transistors count in their normal direction."""

    what: What
    name: str

    @property
    def unit(self) -> Unit:
        return UNITS.get(self.what, Unit.AMPERE)

    def text(self, value: float) -> str:
        """The value for the bench: three digits and its unit; through a resistance its size."""
        return engineering(abs(value) if self.what is What.AMPS else value, self.unit)


def volts(node: str) -> Key:
    return Key(What.VOLTS, node)


Values = Mapping[Key, float]
Work = Callable[[Values], float]


@dataclass(frozen=True, slots=True)
class Reckoning:
    """What is counted. All False is the quickest way to reckon, all True the fullest.

    own: a transistor's base current, where the base is fed through resistors.
    following: the base current of the next transistor, where it hangs on a collector or emitter.
    difference: that between emitter and collector current.
    """

    own: bool = True
    following: bool = True
    difference: bool = True


FULL = Reckoning()
QUICK = Reckoning(False, False, False)
LEFT_OUT = {
    "own": "base currents",
    "following": "the base current of a following transistor",
    "difference": "the difference between emitter and collector current",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One piece of arithmetic.

    about: the transistor or node it belongs to. title: what is worked out. sum: the arithmetic in
    numbers. hand: its result. inputs: quantities it uses with the values taken for them; those
    left out stand with the value they are taken to have. work: the same arithmetic for any values
    of the inputs. rough: a later step betters it. notes: what is simplified, in words. assumes:
    inputs that no step before has to give, since they are taken for granted.
    """

    about: str
    title: str
    sum: str
    key: Key
    hand: float
    inputs: tuple[tuple[Key, float], ...]
    work: Work
    rough: bool = False
    notes: tuple[str, ...] = ()
    assumes: tuple[Key, ...] = ()


@dataclass(frozen=True, slots=True)
class Guess:
    """What two supposed volts of a node lead to.

    key: what has to come out right: amps (0 is balance) or volts of a junction (`wanted`).
    tries: supposed volts, and what comes out; (in, out) amps where that is a balance.
    """

    node: str
    volts: float
    about: str
    unit: Unit
    wanted: float
    tries: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True)
class Borrowed:
    """Volts of a node that no short recipe gives, taken from the solved stage."""

    node: str
    volts: float


Entry = Step | Guess | Borrowed
