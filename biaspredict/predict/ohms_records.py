"""What an ohmmeter is put to on a stage that is switched off, and what it shows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from biaspredict.model.stage import Meter, Stage

BOTH_WAYS = 0.02  # share by which the two ways round differ and are called the same


@dataclass(frozen=True, slots=True)
class Place:
    """Where the leads go: names for the person, nodes for the circuit."""

    name: str
    node: str
    minus_name: str | None = None
    minus: str | None = None


@dataclass(frozen=True, slots=True)
class Climb:
    """A reading that capacitors hold down at first.

    starts: ohms as the leads touch, everything discharged. after: ohms after the stated time.
    seconds: until it is within 5 % of where it settles, None beyond half an hour.
    capacitors: those that hold it.
    """

    starts: float
    after: float
    seconds: float | None
    capacitors: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Way:
    """One way round: ohms settled, with the limits of 95 % of sound specimens.

    volts: across the leads then. range_ohms: mid-scale of a needle's range, full scale of a
    digital one.
    """

    ohms: float
    low: float
    high: float
    volts: float
    range_ohms: float
    climb: Climb | None


@dataclass(frozen=True, slots=True)
class OhmsAt:
    """A place with the red lead on it, and with the black lead on it. Red is positive."""

    place: Place
    red: Way
    black: Way

    @property
    def same(self) -> bool:
        """Both ways tell the same."""
        return abs(math.log(self.red.ohms / self.black.ohms)) < BOTH_WAYS and (
            (self.red.climb is None) == (self.black.climb is None)
        )


@dataclass(frozen=True, slots=True)
class Drop:
    """A junction on the diode range: volts with red on its anode, and the other way round.

    part, legs: "Q1", "base to emitter". None: the range shows overload. low, high: of the
    forward reading in 95 % of sound specimens.
    """

    part: str
    legs: str
    forward: float | None
    low: float
    high: float
    backward: float | None


@dataclass(frozen=True, slots=True)
class Ohms:
    """places in the order asked; drops of every junction; unknown: rails of which the stage
    does not say what they measure switched off; seconds: the stated time."""

    stage: Stage
    meter: Meter
    places: tuple[OhmsAt, ...]
    drops: tuple[Drop, ...]
    unknown: tuple[str, ...]
    seconds: float
