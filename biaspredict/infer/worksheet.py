"""What a bench sheet holds: one stage, its plan, its readings before and after the work."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from biaspredict.findings import Finding
from biaspredict.infer.charts import ChartCheck
from biaspredict.infer.progress import Progress, State
from biaspredict.infer.tasks import USUAL_HERTZ
from biaspredict.infer.touch_order import Order
from biaspredict.infer.touches import DANGEROUS, Touch
from biaspredict.infer.verdict import Verdict
from biaspredict.model.circuit import SOUND
from biaspredict.model.log import Entry, Log, Verb
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import GROUND, Stage
from biaspredict.notation.history import Chapter, as_logged, chapter_of
from biaspredict.predict.bias import Bias
from biaspredict.predict.meters import SIGNALS
from biaspredict.predict.observe import Predictor
from biaspredict.predict.ohms_records import Ohms
from biaspredict.predict.renew import Renewal

CENTRAL = 1.96  # standard deviations of the central 95 %
DONE = (Verb.DID, Verb.FITTED, Verb.PROMISED, Verb.KEPT, Verb.MISSED, Verb.NOTE)

Point = tuple[Quantity, str, str | None, float | None]


@dataclass(frozen=True, slots=True)
class Work:
    """A stage as it is now, and what the bench handed in.

    before: readings before any repair; after: those since the last one; None where there are
    none. entries: what was done, from a log. log: the log itself, None without one.
    """

    stage: Stage
    before: Readings | None = None
    after: Readings | None = None
    entries: tuple[Entry, ...] = ()
    log: Log | None = None

    @property
    def latest(self) -> Readings | None:
        return self.after or self.before


@dataclass(frozen=True, slots=True)
class Planned:
    """A point of the volts, in the order to touch it; volts through the meter, None if unsolved."""

    touch: Touch
    expected: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Recheck:
    """One point before and after the work, with every reading of it.

    expected: what it should read once repaired: from this very specimen where the answer says
    so, else from sound stages; None where neither is known.
    """

    before: tuple[Reading, ...]
    after: tuple[Reading, ...]
    expected: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def name(self) -> Reading:
        """Any reading of the point, for its name."""
        return (*self.before, *self.after)[0]

    @property
    def inside(self) -> bool | None:
        """Whether all readings after the work came as expected; None before there is one."""
        if not self.after or self.low is None or self.high is None:
            return None
        return all(self.low <= reading.value <= self.high for reading in self.after)


@dataclass(frozen=True, slots=True)
class Worksheet:
    """One stage's sheet.

    plan: the points in order; enough: after so many, a stage that read as expected is sound as
    far as DC can tell. forbidden: nodes of more volts than a touch is advised at.
    first, last: the answers before and after the work. withheld: part of the sheet -> why it is
    not there, in a sentence.
    """

    work: Work
    progress: Progress
    findings: tuple[Finding, ...]
    bias: Bias | None
    plan: tuple[Planned, ...]
    enough: int
    forbidden: tuple[str, ...]
    charts: tuple[ChartCheck, ...]
    ohms: Ohms | None
    renewal: Renewal | None
    first: Verdict | None
    last: Verdict | None
    withheld: Mapping[str, str] = field(default_factory=dict)

    @property
    def stage(self) -> Stage:
        return self.work.stage

    @property
    def fitted(self) -> frozenset[str]:
        """References of the parts that are new already."""
        latest = self.work.latest
        said = [body.split(" ")[0] for body in self.progress.fitted]
        return frozenset(
            part.ref for part in self.stage.parts
            if part.ref.casefold() in {ref.casefold() for ref in said}
            or (latest is not None and part.ref in latest.fresh)
        )

    @property
    def to_order(self) -> Renewal | None:
        """The renewal list without what is fitted already."""
        if self.renewal is None:
            return None
        left = tuple(item for item in self.renewal.items if item.ref not in self.fitted)
        return replace(self.renewal, items=left)

    @property
    def verdict(self) -> Verdict | None:
        """The answer as it stands now."""
        return self.last or self.first


def work_of_log(log: Log, stage: Stage) -> Work:
    """A stage's part of a log: readings before its first repair and since its last.

    Raises Mistakes where the stage does not take the log's entries.
    """
    chapter = chapter_of(log, stage)
    fitted = chapter.of(Verb.FITTED)
    now, since = as_logged(log, stage)
    if not fitted:
        return Work(now, _or_none(since), None, chapter.of(*DONE), log)
    early = tuple(e for e in log.standing if e.line < fitted[0].line)
    _, before = as_logged(replace(log, entries=early), stage)
    return Work(now, _or_none(before), _or_none(since), chapter.of(*DONE), log)


def _or_none(readings: Readings) -> Readings | None:
    return readings if readings.entries or readings.other or readings.skipped else None


def progress_without_log(work: Work, verdict: Verdict | None) -> Progress:
    """How far a stage has come, from its readings alone.

    Whoever has read volts has had the power on, so the ohms before it lie behind.
    """
    latest = work.latest
    state = State.UNREAD
    if latest is not None:
        state = State.READING
        if verdict is not None:
            sound = verdict.sound and verdict.ranking.explained
            state = State.SUSPECT
            if sound:
                state = State.RECHECKED if work.after is not None else State.SOUND
    return Progress(
        Chapter(work.stage.title, work.stage.file, ()), state, latest is not None,
        latest is not None, tuple(latest.fresh) if latest else (), None, "",
    )


def planned(predictor: Predictor, order: Order, bias: Bias) -> tuple[Planned, ...]:
    """The points of an order with what each should show, loaded by the meter that will read it.

    The band is that of the specimens drawn, widened by the meter's own error.
    """
    if not order.touches:
        return ()
    probes = [touch.probe for touch in order.touches]
    seen = predictor.observe([SOUND], np.zeros((1, len(predictor.axes))), probes)
    return tuple(
        _planned(touch, float(value), bias)
        for touch, value in zip(order.touches, seen.values[0], strict=True)
    )


def _planned(touch: Touch, value: float, bias: Bias) -> Planned:
    if not math.isfinite(value):
        return Planned(touch)
    level = bias.band(touch.probe.node, touch.probe.minus)
    error = CENTRAL * touch.sigma(value)
    return Planned(
        touch, value, value - math.hypot(level.volts - level.low, error),
        value + math.hypot(level.high - level.volts, error),
    )


def forbidden(stage: Stage, bias: Bias | None) -> tuple[str, ...]:
    """Nodes, or without a prediction rails, of more volts than a touch is advised at."""
    volts = (
        {rail.name: rail.volts for rail in stage.rails} if bias is None
        else {node: level.volts for node, level in bias.levels.items()}
    )
    return tuple(node for node, value in volts.items() if abs(value) > DANGEROUS)


def point_of(reading: Reading) -> Point:
    """What makes two readings readings of one point."""
    hertz = reading.hertz
    if hertz is None and reading.quantity in SIGNALS:
        hertz = USUAL_HERTZ
    return reading.quantity, reading.node, _minus(reading.minus), hertz


def _minus(node: str | None) -> str | None:
    return None if node == GROUND else node


def rechecks(sheet: Worksheet) -> tuple[Recheck, ...]:
    """Every point read before or after the work, in the order first read."""
    work = sheet.work
    before = by_point(work.before)
    after = by_point(work.after)
    known = _expected(sheet)
    return tuple(
        Recheck(before.get(point, ()), after.get(point, ()), *known.get(point, (None,) * 3))
        for point in dict.fromkeys((*before, *after))
    )


def by_point(readings: Readings | None) -> dict[Point, tuple[Reading, ...]]:
    """The readings by their points: two readings of one node are both kept."""
    found: dict[Point, tuple[Reading, ...]] = {}
    for reading in readings.as_found if readings is not None else ():
        found[point_of(reading)] = (*found.get(point_of(reading), ()), reading)
    return found


def _expected(sheet: Worksheet) -> dict[Point, tuple[float, float, float]]:
    """What each point that was read comes to once the stage is right."""
    found = {
        point_of(c.reading): (c.expected, c.low, c.high)
        for verdict in (sheet.first, sheet.last) if verdict is not None
        for c in verdict.compared if not c.reading.meanwhile
    }
    first = sheet.first
    if first is None or first.sound or not first.ranking.explained:
        return found
    for promise in first.afterwards:
        probe = promise.probe
        hertz = probe.signal.hertz if probe.signal is not None else None
        point = (probe.quantity, probe.node, _minus(probe.minus), hertz)
        found[point] = (promise.value, promise.low, promise.high)
    return found
