"""Two channels side by side: whether the other one is sound, what it teaches, what it sharpens."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from biaspredict.infer.charts import ChartToday, chart_today
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.fuses import known_faults
from biaspredict.infer.priors import Priors
from biaspredict.infer.ranking import Ranking, rank
from biaspredict.infer.splits import Label, believed, label_of
from biaspredict.infer.tasks import task_of
from biaspredict.infer.twins import TwinExplainer, learn
from biaspredict.infer.verdict import SOUND_ENOUGH, Compared, Verdict, compared
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import Stage
from biaspredict.predict.likeness import likeness, shared_rails
from biaspredict.predict.observe import Predictor

UNLIKELY = 0.01  # a fit this bad is no sound channel's


@dataclass(frozen=True, slots=True)
class Sharpness:
    """How much an answer tells: parts in the first group, the best of them, bits left open."""

    parts: tuple[str, ...]
    best: Label
    weight: float
    bits: float


@dataclass(frozen=True, slots=True)
class Beside:
    """One place in both channels; either reading may be missing.

    low, high: where mine minus theirs lies in 95 % of sound pairs, given theirs; off: standard
    deviations from the middle of that. NaN where one of the two is missing or not comparable.
    """

    mine: Reading | None
    theirs: Reading | None
    low: float = math.nan
    high: float = math.nan
    off: float = math.nan

    @property
    def difference(self) -> float:
        if self.mine is None or self.theirs is None:
            return math.nan
        return self.mine.value - self.theirs.value

    @property
    def alike(self) -> bool:
        return not (self.difference < self.low or self.difference > self.high)


@dataclass(frozen=True, slots=True)
class Channels:
    """The answer with the other channel as evidence, beside the answer without it.

    verdict: the answer to go by; alone: without the other channel. used: the other channel is
    sound enough to teach; doubt: why not. sound_there: weight of no fault in it.
    charts: what is printed for the places where the other channel was read, scaled to today.
    """

    verdict: Verdict
    alone: Verdict
    others: Readings
    rows: tuple[Beside, ...]
    used: bool
    sound_there: float
    doubt: Reading | None
    charts: tuple[ChartToday, ...] = ()

    @property
    def before(self) -> Sharpness:
        return sharpness(self.alone.ranking)

    @property
    def after(self) -> Sharpness:
        return sharpness(self.verdict.ranking)


def other_stage(stage: Stage) -> Stage:
    """The other channel as far as the sheet knows it: what was fitted or measured here is not
    there."""
    parts = tuple(
        replace(part, fitted=None, measured=None) if part.printed is not None else part
        for part in stage.parts
    )
    return replace(stage, parts=parts)


@dataclass(frozen=True, slots=True)
class Taught:
    """What the other channel is worth: an explainer that knows it, None where it is not sound.

    there: explains the other channel's own readings. sound: weight of no fault in it. doubt:
    its reading that is farthest from a sound one.
    """

    explainer: TwinExplainer | None
    there: Explainer
    sound: float
    doubt: Reading | None


def taught(
    predictor: Predictor, readings: Readings, good: Predictor, others: Readings, priors: Priors
) -> Taught:
    """Hold the other channel's readings against a sound one, and learn from them if they agree.

    predictor: of this channel; good: of the other one.
    """
    there = Explainer(good, task_of(others, good.stage))
    known = tuple(f for f in known_faults(good, priors) if not f.silent)
    sound = rank(there, known).sound
    task = task_of(readings, predictor.stage)
    lesson = learn(
        there, others, predictor.axes, likeness(predictor.stage, predictor.axes), readings,
        task.probes,
    )
    if sound < SOUND_ENOUGH or lesson.fit < UNLIKELY:
        return Taught(None, there, sound, _worst(there, others))
    rails = shared_rails(predictor.stage)
    return Taught(TwinExplainer(predictor, task, lesson, there, rails), there, sound, None)


def side_by_side(
    verdict: Verdict, alone: Verdict, readings: Readings, others: Readings, known: Taught,
    printed: Predictor | None = None,
) -> Channels:
    """Both answers, and every place that was read in either channel.

    printed: predicts the stage under the conditions of its charts.
    """
    told = compared(known.explainer, readings) if known.explainer is not None else ()
    return Channels(
        verdict, alone, others, _rows(readings, others, told), known.explainer is not None,
        known.sound, known.doubt,
        () if printed is None else chart_today(printed, known.there, others),
    )


def _worst(there: Explainer, others: Readings) -> Reading | None:
    """The other channel's reading that is farthest from a sound one."""
    found = compared(there, others)
    return max(found, key=lambda c: abs(c.off)).reading if found else None


def _rows(
    readings: Readings, others: Readings, told: tuple[Compared, ...]
) -> tuple[Beside, ...]:
    """Every place that was read in either channel, in this channel's order, then the rest."""
    bands = {c.reading: c for c in told}
    left = list(others.entries)
    found = []
    for reading in readings.as_found:
        theirs = next((r for r in left if _place(r) == _place(reading)), None)
        if theirs is not None:
            left.remove(theirs)
        band = bands.get(reading)
        if theirs is None or band is None or reading.quantity is not Quantity.VOLTS:
            found.append(Beside(reading, theirs))
        else:
            low, high = band.low - theirs.value, band.high - theirs.value
            found.append(Beside(reading, theirs, low, high, band.off))
    return (*found, *(Beside(None, reading) for reading in left))


def _place(reading: Reading) -> tuple[str, str | None, Quantity]:
    return reading.node, reading.minus, reading.quantity


def sharpness(ranking: Ranking) -> Sharpness:
    """Of an answer: told apart are parts, as in the splits."""
    shares = believed(ranking)
    group = {p for s in ranking.suspects if s.group == 1 for p in label_of(s.parts)}
    best = max(shares, key=lambda label: shares[label], default=())
    every = np.array([ranking.sound, *shares.values()])
    every = every[every > 0] / every.sum()
    bits = float(-(every * np.log2(every)).sum()) if every.size else 0.0
    return Sharpness(tuple(sorted(group)), best, shares.get(best, 0.0), max(bits, 0.0))
