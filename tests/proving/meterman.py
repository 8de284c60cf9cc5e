"""The person with the meter: which points, through which meter, written down how."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Stage

from .draws import Draws
from .specimen import Branch, write
from .spice import Job, Runner
from .truth import Solved

ZERO = 1.5e-3  # volts of leads and contacts on the lowest ranges (common practice, no source)
RANGES = (0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0)


@dataclass(frozen=True, slots=True)
class Instrument:
    """A meter as made. ohms fixed, or per volt of range; accuracy of reading or of range."""

    name: str
    line: str
    ohms: float = 0.0
    ohms_per_volt: float = 0.0
    accuracy: float = 0.01
    of_range: bool = False
    counts: int = 0  # of a digital display; 0: a needle

    def range_for(self, volts: float) -> float:
        if self.counts:
            return next((r for r in (0.2, 2.0, 20.0, 200.0) if r >= abs(volts)), 1000.0)
        return next((r for r in RANGES if r >= abs(volts) * 1.02), RANGES[-1])

    def load(self, scale: float) -> float:
        return self.ohms or self.ohms_per_volt * scale


INSTRUMENTS = (
    Instrument("digital", "meter 10 MEG 1% + 2 digits", ohms=10e6, accuracy=0.01, counts=2000),
    Instrument("digital", "meter 10 MEG 0.5% + 2 digits", ohms=10e6, accuracy=0.005, counts=2000),
    Instrument("valve", "meter 11 MEG 3% of range", ohms=11e6, accuracy=0.03, of_range=True),
    Instrument(
        "needle", "meter 20 kohm/V 2.5% of range", ohms_per_volt=20e3, accuracy=0.025, of_range=True
    ),
)


@dataclass(frozen=True, slots=True)
class Point:
    """Where a person puts the leads. name: as the person writes it, "rail B+" for a rail.

    lead: where the tip really rests, if not on the node but on the lead behind a bad joint.
    """

    name: str
    node: str
    minus: str = GROUND
    lead: str = ""

    @property
    def tip(self) -> str:
        return self.lead or self.node


@dataclass(frozen=True, slots=True)
class Taken:
    """One reading: what stood on the paper, and what a perfect meter of that load had shown.

    ohms: what the meter put across the points. sigma: standard deviation of value from exact.
    """

    point: Point
    text: str
    value: float
    exact: float
    ohms: float
    sigma: float


@dataclass(frozen=True, slots=True)
class Habit:
    """One person's meter and hand on one day.

    gains: the meter's own error on each range. zero: volts it shows with its leads together.
    """

    instrument: Instrument
    gains: dict[float, float]
    draw: Draws
    zero: float = 0.0
    sloppy: float = 0.05


def draw_habit(draw: Draws) -> Habit:
    """Half of the people have a digital meter; errors of a range stay for the day."""
    assert draw.rng is not None
    share = draw.uniform(0.0, 1.0)
    place = 0 if share < 0.35 else 1 if share < 0.55 else 2 if share < 0.75 else 3
    instrument = INSTRUMENTS[place]
    scales = (0.2, 2.0, 20.0, 200.0, 1000.0, *RANGES)
    gains = {s: draw.uniform(-0.8, 0.8) * instrument.accuracy for s in scales}
    return Habit(instrument, gains, draw, draw.uniform(-ZERO, ZERO) if instrument.counts else 0.0)


def points(stage: Stage) -> tuple[Point, ...]:
    """What a person reads: the rails, then the legs of transistors and diodes, each node once."""
    found = {rail.name: Point(f"rail {rail.name}", rail.name) for rail in stage.rails}
    order = (Kind.TRANSISTOR, Kind.FET, Kind.ZENER, Kind.DIODE)
    for kinds in (order[:2], order[2:]):
        for part in stage.parts:
            if part.kind in kinds:
                for terminal, node in zip(part.terminals, part.nodes, strict=True):
                    if node != GROUND and node not in found:
                        found[node] = Point(f"{part.ref}.{terminal}", node)
    return tuple(found.values())


def everywhere(stage: Stage) -> tuple[Point, ...]:
    """Every node of the stage, those a person reads first."""
    usual = points(stage)
    known = {p.node for p in usual}
    others = [Point(n, n) for n in stage.nodes if n != GROUND and n not in known]
    return (*usual, *others)


def touched(where: Sequence[Point], sick: Solved, draw: Draws) -> list[Point]:
    """At a bad joint the person's tip lands on the lead as often as on the pad.

    A part that is open inside has its whole lead on the pad's side.
    """
    found = []
    for point in where:
        on_lead = point.name in sick.specimen.joints and draw.chance(0.5)
        found.append(replace(point, lead=f"{point.name} lead") if on_lead else point)
    return found


def read(
    runner: Runner, solved: Solved, where: Sequence[Point], habit: Habit
) -> list[Taken] | None:
    """Readings at these points, each with the meter in the circuit; None if one will not solve."""
    loaded = loaded_volts(runner, solved, where, habit.instrument)
    if loaded is None:
        return None
    return [_written(p, v, s, habit) for p, (v, s) in zip(where, loaded, strict=True)]


def loaded_volts(
    runner: Runner, solved: Solved, where: Sequence[Point], instrument: Instrument
) -> list[tuple[float, float]] | None:
    """Volts across each pair of points with this meter there, and the range the person chose."""
    volts = [solved.volts[p.tip] - solved.volts[p.minus] for p in where]
    scales = [instrument.range_for(v) for v in volts]
    volts = across(runner, solved, where, [instrument.load(s) for s in scales])
    if not instrument.ohms and all(map(math.isfinite, volts)):
        # The person comes from above, and goes back up where a lower range drags the point down.
        lower = [instrument.range_for(v) for v in volts]
        again = across(runner, solved, where, [instrument.load(s) for s in lower])
        for k, (old, new) in enumerate(zip(volts, again, strict=True)):
            if abs(new) > 0.8 * abs(old):
                scales[k], volts[k] = lower[k], new
    if not all(map(math.isfinite, volts)):
        return None
    return list(zip(volts, scales, strict=True))


def across(
    runner: Runner, solved: Solved, where: Sequence[Point], ohms: Sequence[float]
) -> list[float]:
    """Volts across each pair of points with so many ohms there; NaN where it will not solve."""
    jobs = []
    for point, load in zip(where, ohms, strict=True):
        deck = write(solved.specimen, Branch(point.tip, point.minus, load))
        ends = [deck.numbers[n] for n in (point.tip, point.minus)]
        jobs.append(Job(tuple(deck.lines), tuple(n for n in ends if n != "0")))
    volts = []
    for point, (row,) in zip(where, runner.solve(jobs), strict=True):
        if row is None:
            volts.append(math.nan)
        else:
            both = iter(row)
            high = 0.0 if point.tip == GROUND else next(both)
            volts.append(high - (0.0 if point.minus == GROUND else next(both)))
    return volts


def _written(point: Point, exact: float, scale: float, habit: Habit) -> Taken:
    draw, meter = habit.draw, habit.instrument
    if meter.counts:
        step = scale / meter.counts
        shown = exact * (1 + habit.gains[scale]) + draw.uniform(-1.0, 1.0) * step + habit.zero
        shown = round(shown / step) * step
        sigma = abs(exact) * meter.accuracy / 2 + step + ZERO
    else:
        half = scale / 100  # a scale of fifty divisions
        shown = exact + habit.gains[scale] * (scale if meter.of_range else exact)
        shown = round((shown + draw.normal(half / 2)) / half) * half
        size = scale if meter.of_range else abs(exact)
        sigma = math.hypot(meter.accuracy * size / 2, half / 1.5)
    about = draw.chance(habit.sloppy)
    if about:
        shown *= 1 + draw.normal(0.025)
        sigma = math.hypot(sigma, 0.025 * abs(exact))
    digits = 2 if about else 3 if draw.chance(0.7) else 4
    value = three(shown, digits)
    sigma = math.hypot(sigma, 10.0 ** (_power(value) - digits + 1) / 3.5)
    range_ = "" if meter.counts else f" range {_plain(scale)} V"
    text = f"{point.name} {'about ' if about else ''}{_plain(value)}{range_}"
    if point.minus != GROUND:
        text = text.replace(point.name, f"{point.node} to {point.minus}", 1)
    return Taken(point, text, value, exact, meter.load(scale), sigma)


def _power(value: float) -> int:
    return math.floor(math.log10(abs(value))) if abs(value) > 1e-3 else -3


def three(value: float, digits: int = 3) -> float:
    """Rounded as a person writes it: so many digits, and no finer than a millivolt."""
    return round(value, min(3, digits - 1 - _power(value)))


def _plain(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def sheet(taken: Sequence[Taken], habit: Habit, celsius: float | None = None) -> str:
    """The readings file as the person would write it."""
    lines = ['readings "bench"', habit.instrument.line]
    if celsius is not None:
        lines.append(f"temperature {celsius:.0f} C")
    return "\n".join([*lines, "", *(t.text for t in taken)]) + "\n"
