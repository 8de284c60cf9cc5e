"""Elements of one law, many at a time: their currents and how these follow the node volts.

A group holds D elements of one device in B variations. A flow runs from one terminal through the
element to another; every current of the element is a sum of flows.
"""

from __future__ import annotations

from copy import copy
from typing import ClassVar, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.junctions import channel, critical, exponential, filament, limited
from biaspredict.engine.legs import Legs
from biaspredict.engine.plan import Ints
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import GMIN

Held = NDArray[np.bool_]


WITHIN = 4.0  # thermal volts above its bend within which a junction may start

_Number = TypeVar("_Number", np.float64, np.int64)


def part_of(array: NDArray[_Number], keep: Ints) -> NDArray[_Number]:
    """The kept variations (last axis) of an array that may be the same for all."""
    return array if array.shape[-1] == 1 else array.take(keep, axis=-1)


class Group:
    """ends: terminals (from, to) of each flow, each from another; pairs: (equation, unknown) of
    each slope; taken: which flows a junction takes from what feeds it; steers: the terminals
    whose volts say how much flows.

    rows: value row (D,) behind each quantity of the law, -1 where there is none.
    """

    ends: ClassVar[tuple[tuple[int, int], ...]]
    pairs: ClassVar[tuple[tuple[int, int], ...]]
    fields: ClassVar[tuple[str, ...]]
    taken: ClassVar[tuple[int, ...]] = ()
    steers: ClassVar[tuple[int, int]] = (0, 1)

    def __init__(self, legs: Legs) -> None:
        self.legs = legs
        self.rows: dict[str, Ints] = {}
        self.count = legs.usual.shape[1]

    def alone(self, elements: Ints, variations: Ints) -> Self:
        """Some elements, each in one variation, as one element (1, M) in as many variations.

        It has flows for given volts; its legs and where its junctions stood are not its own.
        """
        found = copy(self)
        for name in self.fields:
            held = getattr(self, name)
            if held.ndim == 2:
                column = variations if held.shape[1] > 1 else 0
                setattr(found, name, held[elements, column][None])
        return found

    def keep(self, kept: Ints) -> None:
        """Drop every variation but the kept ones."""
        self.legs = self.legs.keep(kept)
        for name in self.fields:
            setattr(self, name, part_of(getattr(self, name), kept))

    bold = False  # see `junctions.limited`

    def start(self, nodes: Floats) -> None:
        """Take the node volts as where the last step ended."""

    def flows(self, volts: Floats, limit: bool) -> tuple[Floats, Floats, Held | None]:
        """Flows (f, D, B), slopes (m, D, B), and where a junction was held back (D, B).

        With `limit` the flows are the tangents at the held junction volts.
        """
        raise NotImplementedError


class Junctions(Group):
    """Exponential junctions from terminal 0 to 1: sat (exp(v/thermal) - 1) + GMIN v.

    v = sign (v0 - v1) - emf; all fields (D, B) or (D, 1).
    """

    ends = ((0, 1),)
    pairs = ((0, 0), (0, 1), (1, 0), (1, 1))
    fields = ("sign", "saturation", "thermal", "emf", "gmin", "bend", "old")
    taken = (0,)

    def __init__(
        self, legs: Legs, sign: Floats, saturation: Floats, thermal: Floats, emf: Floats
    ) -> None:
        super().__init__(legs)
        # A junction without breakdown has none of its current, not one of zero volts.
        absent = ~np.isfinite(emf)
        self.sign, self.thermal = sign, thermal
        self.emf = np.where(absent, 0.0, emf)
        self.bend = np.where(absent, np.inf, critical(thermal, saturation))
        self.saturation = np.where(absent, 0.0, saturation)
        self.gmin = np.where(absent, 0.0, GMIN)
        self.old = np.where(absent, 0.0, self.bend)

    def start(self, nodes: Floats) -> None:
        stood = self._across(self.legs.volts(nodes))
        self.old = np.minimum(stood, self.bend + WITHIN * self.thermal)

    def _across(self, volts: Floats) -> Floats:
        result: Floats = self.sign * (volts[0] - volts[1]) - self.emf
        return result

    def flows(self, volts: Floats, limit: bool) -> tuple[Floats, Floats, Held | None]:
        v = self._across(volts)
        at, held = v, None
        if limit:
            at, held = limited(v, self.old, self.thermal, self.bend, self.bold)
            self.old = at
        rise, slope = exponential(at / self.thermal)
        slope = self.saturation / self.thermal * slope + self.gmin
        current = self.saturation * rise + self.gmin * at
        if held is not None and held.any():
            current = current + slope * (v - at)
        return (
            (self.sign * current)[None],
            np.stack((slope, -slope, -slope, slope)),
            held,
        )


class Bipolars(Group):
    """Gummel-Poon with IS, BF, BR, VAF, ISC, NC = 2; terminals collector, base, emitter."""

    ends = ((0, 2), (1, 2))
    pairs = tuple((i, j) for i in range(3) for j in range(3))
    fields = (
        "sign", "saturation", "gain", "reverse", "flat", "icbo", "thermal", "bend", "old",
    )  # fmt: skip
    taken = (1,)
    steers = (1, 2)

    def __init__(
        self,
        legs: Legs,
        sign: Floats,
        saturation: Floats,
        gain: Floats,
        reverse: Floats,
        early: Floats,
        icbo: Floats,
        thermal: Floats,
    ) -> None:
        super().__init__(legs)
        self.sign, self.saturation, self.icbo, self.thermal = sign, saturation, icbo, thermal
        self.gain, self.reverse, self.flat = 1.0 / gain, 1.0 / reverse, 1.0 / early
        self.bend = critical(thermal, saturation)
        self.old = np.stack((self.bend, np.zeros_like(self.bend)))

    def start(self, nodes: Floats) -> None:
        stood = self.across(self.legs.volts(nodes))
        self.old = np.minimum(stood, self.bend + WITHIN * self.thermal)

    def across(self, volts: Floats) -> Floats:
        """(2, D, B): base to emitter and base to collector, positive conducts."""
        result: Floats = self.sign * (volts[1] - volts[[2, 0]])
        return result

    def currents(self, at: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
        """Transport by base-emitter and base-collector junction, and leak, each with slope."""
        rise, slope = exponential(at / self.thermal)
        forward, back = self.saturation * rise
        by_be, by_bc = self.saturation / self.thermal * slope
        half, half_slope = exponential(at[1] / (2.0 * self.thermal))
        leak = self.icbo * half
        by_leak = self.icbo / (2.0 * self.thermal) * half_slope
        return forward, back, leak, by_be, by_bc, by_leak

    def flows(self, volts: Floats, limit: bool) -> tuple[Floats, Floats, Held | None]:
        v = self.across(volts)
        at, held = v, None
        if limit:
            at, both = limited(v, self.old, self.thermal, self.bend, self.bold)
            self.old = at
            held = both[0] | both[1]
        forward, back, leak, by_be, by_bc, by_leak = self.currents(at)
        bent = 1.0 - at[1] * self.flat
        across = forward - back
        by_leak = by_leak + GMIN
        leak = leak + GMIN * at[1]
        collector = across * bent - back * self.reverse - leak
        base = forward * self.gain + GMIN * at[0] + back * self.reverse + leak
        c_be = by_be * bent
        c_bc = -by_bc * (bent + self.reverse) - across * self.flat - by_leak
        b_be = by_be * self.gain + GMIN
        b_bc = by_bc * self.reverse + by_leak
        if held is not None and held.any():
            past = v - at
            collector = collector + c_be * past[0] + c_bc * past[1]
            base = base + b_be * past[0] + b_bc * past[1]
        slopes = np.empty((9, *collector.shape))
        slopes[0], slopes[1], slopes[2] = -c_bc, c_be + c_bc, -c_be
        slopes[3], slopes[4], slopes[5] = -b_bc, b_be + b_bc, -b_be
        np.negative(slopes[:3] + slopes[3:6], out=slopes[6:])
        return self.sign * np.stack((collector, base)), slopes, held


class Channels(Group):
    """Channels of JFETs; terminals drain, gate, source. Their gates are Junctions."""

    ends = ((0, 2),)
    pairs = ((0, 0), (0, 1), (0, 2), (2, 0), (2, 1), (2, 2))
    fields = ("sign", "idss", "pinch_off", "slope")
    steers = (1, 2)

    def __init__(
        self, legs: Legs, sign: Floats, idss: Floats, pinch_off: Floats, slope: Floats
    ) -> None:
        super().__init__(legs)
        self.sign, self.idss, self.pinch_off, self.slope = sign, idss, pinch_off, slope

    def flows(self, volts: Floats, limit: bool) -> tuple[Floats, Floats, Held | None]:
        gate, across = self.sign * (volts[1] - volts[2]), self.sign * (volts[0] - volts[2])
        beta = self.idss / self.pinch_off**2
        current, by_gate, by_drain = channel(gate, across, beta, self.pinch_off, self.slope)
        row = np.stack((by_drain, by_gate, -by_gate - by_drain))
        return (self.sign * current)[None], np.concatenate((row, -row)), None


class Lamps(Group):
    ends = ((0, 1),)
    pairs = ((0, 0), (0, 1), (1, 0), (1, 1))
    fields = ("hot_ohms", "rated")

    def __init__(self, legs: Legs, hot_ohms: Floats, rated: Floats) -> None:
        super().__init__(legs)
        self.hot_ohms, self.rated = hot_ohms, rated

    def flows(self, volts: Floats, limit: bool) -> tuple[Floats, Floats, Held | None]:
        current, slope = filament(volts[0] - volts[1], self.hot_ohms, self.rated)
        return current[None], np.stack((slope, -slope, -slope, slope)), None


class Drains(Group):
    """Current sources: they take what they take."""

    ends = ((0, 1),)
    pairs = ()
    fields = ("amps",)

    def __init__(self, legs: Legs, amps: Floats) -> None:
        super().__init__(legs)
        self.amps = amps

    def flows(self, volts: Floats, limit: bool) -> tuple[Floats, Floats, Held | None]:
        shape = volts.shape[1:]
        return np.broadcast_to(self.amps, shape)[None], np.empty((0, *shape)), None


class Branches(Group):
    """Resistances with an open-circuit voltage: siemens (v0 - v1 - emf)."""

    ends = ((0, 1),)
    pairs = ((0, 0), (0, 1), (1, 0), (1, 1))
    fields = ("siemens", "emf")

    def __init__(self, legs: Legs, siemens: Floats, emf: Floats) -> None:
        super().__init__(legs)
        self.siemens, self.emf = siemens, emf

    def flows(self, volts: Floats, limit: bool) -> tuple[Floats, Floats, Held | None]:
        # The difference first: a sound joint carries thousands of siemens between equal volts.
        current = self.siemens * ((volts[0] - volts[1]) - self.emf)
        return current[None], np.empty((0, *current.shape)), None

    def slopes(self) -> Floats:
        """(4, D, B), constant."""
        return np.stack((self.siemens, -self.siemens, -self.siemens, self.siemens))
