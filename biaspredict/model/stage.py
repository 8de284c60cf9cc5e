"""A transcribed stage: parts, rails, ports, charts and what is assumed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from biaspredict.model.parts import Kind, Part
from biaspredict.quantities import Tolerance
from biaspredict.span import Span

GROUND = "ground"
NEEDLE_RANGES = (0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0)


@dataclass(frozen=True, slots=True)
class Rail:
    """An open-circuit voltage behind a resistance (0: stiff), at the node of the same name.

    off_ohms: what the rail measures to ground with the power off; None: not known (open).
    """

    name: str
    volts: float
    tolerance: Tolerance | None = None
    ohms: float = 0.0
    off_ohms: float | None = None
    origin: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin of a black box: holds `volts` behind `ohms`, or (volts None) takes `amps`."""

    name: str
    node: str
    volts: float | None = None
    ohms: float = 0.0
    amps: float = 0.0
    origin: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Port:
    """Signal input (source resistance, DC path to ground) or output (load).

    ohms None: input driven by a stiff source, output unloaded. blocked: the source or load
    stands behind a capacitor outside the stage and carries no DC.
    """

    node: str
    ohms: float | None = None
    blocked: bool = False
    origin: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Meter:
    """The meter behind a chart or a reading.

    ohms: input resistance on volts, fixed; or ohms_per_volt with `range_volts` (20 kohm/V on
    the 10 V range is 200 kohm). accuracy: fraction of reading (of range where of_range).
    digits: counts of the last digit to add. open_volts, middle_ohms: the ohms ranges of a
    needle meter; test_volts: of a digital one. given: which of these were written.
    """

    ohms: float = 10e6
    ohms_per_volt: float | None = None
    range_volts: float | None = None
    accuracy: float = 0.01
    of_range: bool = False
    digits: int = 2
    open_volts: float | None = None
    middle_ohms: float | None = None
    test_volts: float | None = None
    given: frozenset[str] = frozenset()

    @property
    def needle(self) -> bool:
        """Whether it is read off a scale: a multimeter's, or a valve voltmeter's, whose errors are
        shares of a range too but whose resistance is fixed."""
        return self.ohms_per_volt is not None or (self.of_range and "digits" not in self.given)

    @property
    def ohms_by_needle(self) -> bool:
        """Whether its ohms are read off a scale: so it is where their battery was written."""
        return self.needle or self.open_volts is not None

    def scale(self, volts: float, range_volts: float | None = None) -> float:
        """The range on which it reads `volts`, where none is stated the smallest usual one that
        holds them: in steps of 1, 3 and 10 of a needle, of 2 and 20 of a display (common practice,
        no source)."""
        stated = range_volts or self.range_volts
        if stated is not None:
            return stated
        size = abs(volts)
        if self.needle:
            return next((step for step in NEEDLE_RANGES if step >= size), NEEDLE_RANGES[-1])
        return 2.0 * 10.0 ** math.ceil(math.log10(max(size, 0.02) / 2.0))

    def input_ohms(self, volts: float, range_volts: float | None = None) -> float:
        """Ohms this meter puts across the points while it reads `volts`."""
        if self.ohms_per_volt is None:
            return self.ohms
        return self.ohms_per_volt * self.scale(volts, range_volts)


@dataclass(frozen=True, slots=True)
class ChartEntry:
    """One printed figure, node to ground (or to `minus`): volts, or ohms on an ohms chart."""

    name: str
    node: str
    value: float
    minus_name: str | None = None
    minus: str | None = None
    about: bool = False
    origin: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Chart:
    """The manual's voltage (or, quantity "ohms", resistance) chart for this stage."""

    quantity: str
    entries: tuple[ChartEntry, ...]
    tolerance: float = 0.20
    meter: Meter = Meter(ohms=11e6, accuracy=0.03, digits=0)
    line_volts: float | None = None
    origin: Span | None = field(default=None, compare=False)


# What old sheets leave unsaid (common practice, no source).
RESISTORS = Tolerance(0.10, 0.10)
CAPACITORS = Tolerance(0.20, 0.20)
ELECTROLYTICS = Tolerance(0.10, 0.50)
RAILS = Tolerance(0.05, 0.05)
POTS = Tolerance(0.20, 0.20)


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What holds where the sheet says nothing; `given` names those the file states itself."""

    resistors: Tolerance = RESISTORS
    capacitors: Tolerance = CAPACITORS
    electrolytics: Tolerance = ELECTROLYTICS
    rails: Tolerance = RAILS
    pots: Tolerance = POTS
    temperature: float = 25.0
    age_years: float | None = None
    bare_capacitors: float | None = None
    given: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Twin:
    """The other channel's name for one of this stage's references or nodes."""

    mine: str
    other: str


@dataclass(frozen=True, slots=True)
class Setting:
    """What a trimmer was set for while all was sound: `volts` at `node`, to `minus` or ground.

    across: these are the ends of that part, and only the size of the volts counts; "": a node.
    wide, follows: once worked out, how far the wiper may stand from where it was computed (a
    standard deviation, share of its track), and (axis, share of the track per amount of it) how
    it was set otherwise where the specimen differs.
    """

    ref: str
    volts: float
    name: str
    node: str
    minus_name: str | None = None
    minus: str | None = None
    across: bool = False
    wide: float = 0.0
    follows: tuple[tuple[str, float], ...] = ()
    origin: Span | None = field(default=None, compare=False)

    @property
    def place(self) -> str:
        """As a person says it: "across R20", "at OUT", "at Q1.base to Q1.emitter"."""
        if self.across:
            return f"across {self.name}"
        return f"at {self.name}" + (f" to {self.minus_name}" if self.minus_name else "")


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage as transcribed.

    nodes: canonical names, ground first. names: every other name of a node (terminals such
    as "Q1.base", test points, wire colours) to its canonical name.
    """

    title: str
    parts: tuple[Part, ...]
    rails: tuple[Rail, ...]
    nodes: tuple[str, ...]
    names: Mapping[str, str] = field(default_factory=dict, hash=False)
    pins: tuple[Pin, ...] = ()
    inputs: tuple[Port, ...] = ()
    outputs: tuple[Port, ...] = ()
    points: tuple[tuple[str, str], ...] = ()
    charts: tuple[Chart, ...] = ()
    assumptions: Assumptions = Assumptions()
    notes: tuple[str, ...] = ()
    twins: tuple[Twin, ...] = ()
    settings: tuple[Setting, ...] = ()
    file: str = field(default="", compare=False)

    def part(self, ref: str) -> Part:
        """The part of that reference; KeyError where there is none."""
        for part in self.parts:
            if part.ref == ref:
                return part
        raise KeyError(ref)

    def node(self, name: str) -> str:
        """Canonical node of any of its names; KeyError where the stage has none."""
        if name in self.nodes:
            return name
        return self.names[name]

    def tolerance(self, part: Part) -> Tolerance:
        """The part's own tolerance, else what the stage assumes for its kind."""
        if part.tolerance is not None:
            return part.tolerance
        assumed = self.assumptions
        if part.kind is Kind.ELECTROLYTIC:
            return assumed.electrolytics
        if part.kind is Kind.CAPACITOR:
            return assumed.capacitors
        if part.kind in (Kind.POT, Kind.TRIMMER):
            return assumed.pots
        return assumed.resistors

    def at(self, node: str) -> tuple[tuple[Part, str], ...]:
        """Every (part, terminal) that meets at a node."""
        return tuple(
            (part, terminal)
            for part in self.parts
            for terminal, where in zip(part.terminals, part.nodes, strict=True)
            if where == node
        )
