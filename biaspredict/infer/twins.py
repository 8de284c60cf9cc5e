"""The other channel as evidence: what its readings say of this specimen's rails, parts and model.

The good channel is fitted as sound. The posterior of its latents, with two errors that both
channels share (the model's own at each probe, and the steady part of one meter on one range),
is carried over by the correlation of each axis (predict/likeness.py): with x the latents there
and R their correlations, this channel's latents are R x + sqrt(1 - R^2) e, e standard normal.
That is again a normal law; its root turns it into the standard latents that everything behind
`Explainer` works with. Conditioning of normals: Bishop 2006, section 2.3.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.infer.chance import chi2_tail
from biaspredict.infer.components import NO_FAULT, Component, Scores, Task, whole_spread
from biaspredict.infer.evidence import Explainer
from biaspredict.model.circuit import SOUND, Axis
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import Meter, Stage
from biaspredict.predict.likeness import likeness
from biaspredict.predict.look import Observed
from biaspredict.predict.meters import meter_of, reading_sigma
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe

# Share of an error's variance that both channels have alike (common practice, no source).
MODEL_ALIKE = 0.8  # the same circuit with the same types, described by the same equations
NEARBY, NEARBY_VOLTS = 0.15, 0.1  # while the node stands so near the other channel's volts
METER_ALIKE = 0.9  # one meter on one range
EVEN = 1.0 / math.sqrt(3.0)
TINY = 1e-9

Where = tuple[str, str | None, Quantity]


@dataclass(frozen=True, slots=True)
class Lesson:
    """What is known of this channel before it is read: latents = mean + root @ standard ones.

    mean (W,), root (W, W): first the spread axes, then the model's error at each place in
    `places`, then the steady error of the other channel's readings in turn.
    places: where the other channel was read: the column, and the value there.
    steady: probes of this channel's readings with the column and standard deviation of the
    meter error that they share.
    fit: the chance that a sound channel fits the other one's readings worse.
    """

    mean: Floats
    root: Floats
    places: dict[Where, tuple[int, float]]
    steady: dict[Probe, tuple[int, float]]
    fit: float


class TwinExplainer(Explainer):
    """Scores components of one channel with what the other channel has taught."""

    def __init__(
        self, predictor: Predictor, task: Task, lesson: Lesson, other: Explainer | None = None,
        rails: frozenset[str] = frozenset(),
    ) -> None:
        """other: the good channel's explainer, whose evidence a fault of a rail in `rails`
        that feeds both must stand up to."""
        self.plain = Explainer(predictor, task)
        own = np.array([lesson.steady.get(probe, (0, 0.0))[1] for probe in task.probes])
        rest = np.sqrt(np.maximum(task.sigmas**2 - own**2, TINY))
        super().__init__(predictor, replace(task, sigmas=rest))
        self.width = len(lesson.mean)
        self.lesson = lesson
        self.other = other
        self.rails = rails
        self._there: dict[object, tuple[float, float]] = {}

    def _latents(self, latents: Floats) -> Floats:
        """The latents (B, W) of the specimen itself, of standard ones (B, W + M)."""
        return np.asarray(self.lesson.mean + latents[:, : self.width] @ self.lesson.root.T)

    def amounts(self, latents: Floats) -> Floats:
        return self.plain.amounts(self._latents(latents))

    def look(
        self, components: Sequence[Component], latents: Floats, shifts: int,
        probes: Sequence[Probe], *, start: Floats | None = None, solved: Floats | None = None,
    ) -> tuple[Observed, Floats]:
        axes = self.plain.width
        known = self._latents(latents)
        inner = np.concatenate([known[:, :axes], latents[:, self.width :]], axis=1)
        seen, slopes = self.plain.look(
            components, inner, shifts, probes, start=start, solved=solved
        )
        root = self.lesson.root
        mine = slopes[:, :, :axes] @ root[:axes]
        values = seen.values.copy()
        for k, probe in enumerate(probes):
            for column, size in self._errors(probe, seen.values[:, k]):
                values[:, k] += size * known[:, column]
                mine[:, k] += size[:, None] * root[column]
        return replace(seen, values=values), np.concatenate([mine, slopes[:, :, axes:]], axis=2)

    def _errors(self, probe: Probe, values: Floats) -> list[tuple[int, Floats]]:
        """Columns of the errors shared at a probe, and their sizes (B,)."""
        found: list[tuple[int, Floats]] = []
        place = self._place(probe)
        if place is not None:
            variance = super().model_noise(values[:, None], [probe])[:, 0]
            found.append((place[0], np.sqrt(_alike(values, place[1], probe.quantity) * variance)))
        if probe in self.lesson.steady:
            column, sigma = self.lesson.steady[probe]
            found.append((column, np.full(len(values), sigma)))
        return found

    def _place(self, probe: Probe) -> tuple[int, float] | None:
        if probe.doing or probe.extra != SOUND:
            return None
        return self.lesson.places.get((probe.node, probe.minus, probe.quantity))

    def model_noise(self, values: Floats, probes: Sequence[Probe]) -> Floats:
        noise = super().model_noise(values, probes)
        for k, probe in enumerate(probes):
            place = self._place(probe)
            if place is not None:
                noise[:, k] *= 1.0 - _alike(values[:, k], place[1], probe.quantity)
        return noise

    def score(
        self, components: Sequence[Component], keep: int = 0, *, start: Floats | None = None
    ) -> Scores:
        found = super().score(components, keep, start=start)
        if self.other is None or not self.other.task.probes:
            return found
        evidence, misfit = found.log_evidence.copy(), found.misfit.copy()
        for row, (less, worse) in self._at_the_other(components).items():
            evidence[row] += less
            misfit[row] += worse
        return replace(found, log_evidence=evidence, misfit=misfit)

    def _at_the_other(self, components: Sequence[Component]) -> dict[int, tuple[float, float]]:
        """Row -> what a fault of a common rail does to the other channel's evidence, misfit."""
        assert self.other is not None
        parts: dict[int, Component] = {}
        for row, component in enumerate(components):
            which = [i for i, f in enumerate(component.faults) if f.part in self.rails]
            if which:
                parts[row] = Component(
                    tuple(component.faults[i] for i in which),
                    tuple(component.severities[i] for i in which),
                    tuple(component.widths[i] for i in which), 0.0,
                )
        keys = {row: (tuple(f.key for f in c.faults), c.severities) for row, c in parts.items()}
        fresh = {keys[row]: c for row, c in parts.items() if keys[row] not in self._there}
        if fresh:
            scores = self.other.score([NO_FAULT, *fresh.values()], keep=len(fresh) + 1)
            for key, evidence, misfit in zip(
                fresh, scores.log_evidence[1:], scores.misfit[1:], strict=True
            ):
                less = float(evidence - scores.log_evidence[0])
                self._there[key] = (less, max(float(misfit - scores.misfit[0]), 0.0))
        return {row: self._there[key] for row, key in keys.items()}


def learn(
    good: Explainer, others: Readings, axes: Sequence[Axis], alike: Sequence[float],
    mine: Readings, probes: Sequence[Probe],
) -> Lesson:
    """Fit the good channel as sound and carry what that says over to this one.

    good: explains the readings `others`. axes, alike: this channel's spread and its likeness
    to the other's. mine, probes: this channel's readings, which may share the meter.
    """
    scores = good.score([NO_FAULT], keep=1)
    steady = np.array([_steady(r, meter_of(r, others.meter)) for r in others.entries])
    places = {where: i for i, where in enumerate(dict.fromkeys(map(_where, good.task.probes)))}
    read = dict(zip(map(_where, good.task.probes), map(float, good.task.values), strict=True))
    mean, covariance = _posterior(good, scores, places, steady)
    across = _across(good.predictor.axes, axes, alike, len(places) + len(steady))
    spread = across @ covariance @ across.T
    spread += np.diag(1.0 - (across**2).sum(1) + TINY)
    begin = len(axes)
    return Lesson(
        across @ mean, _root(spread),
        {where: (begin + i, read[where]) for where, i in places.items()},
        _common(mine, others, probes, begin + len(places)),
        chi2_tail(float(scores.misfit[0]), len(good.task.probes)),
    )


def _alike(values: Floats, there: float, quantity: Quantity) -> Floats:
    """Share of the model's error variance that is the other channel's too.

    A node that a fault has driven elsewhere stands on another part of the curves.
    """
    volts = quantity in (Quantity.VOLTS, Quantity.DROP)
    near = NEARBY * abs(there) + NEARBY_VOLTS if volts else NEARBY
    away = np.nan_to_num((values - there) / near, nan=10.0)
    return np.asarray(MODEL_ALIKE * np.exp(-np.minimum(away**2, 50.0)))


def _where(probe: Probe) -> Where:
    return probe.node, probe.minus, probe.quantity


def _posterior(
    good: Explainer, scores: Scores, places: dict[Where, int], steady: Floats
) -> tuple[Floats, Floats]:
    """Mean (W,) and covariance (W, W) of the good channel's axes, model and meter errors."""
    task = good.task
    slopes = scores.slopes_of([0])[0]
    model = good.model_noise(scores.values[:1], task.probes)[0]
    count = len(task.probes)
    errors = np.zeros((count, len(places) + count))
    for k, probe in enumerate(task.probes):
        errors[k, places[_where(probe)]] = math.sqrt(MODEL_ALIKE * model[k])
        errors[k, len(places) + k] = steady[k]
    h = np.concatenate([slopes, errors], axis=1)
    own = (1.0 - MODEL_ALIKE) * model + np.maximum(task.sigmas**2 - steady**2, TINY)
    spread = whole_spread(h, own)
    miss = task.values - scores.values[0] + slopes @ scores.latents_of([0])[0]
    gain = np.linalg.solve(spread, h).T
    return gain @ miss, np.eye(h.shape[1]) - gain @ h


def _across(
    theirs: Sequence[Axis], mine: Sequence[Axis], alike: Sequence[float], errors: int
) -> Floats:
    """Correlations (W of mine, W of theirs), 1 for the errors that both share."""
    column = {axis.name: i for i, axis in enumerate(theirs)}
    found = np.zeros((len(mine) + errors, len(theirs) + errors))
    for row, (axis, rho) in enumerate(zip(mine, alike, strict=True)):
        if axis.name in column:
            found[row, column[axis.name]] = rho
    for k in range(errors):
        found[len(mine) + k, len(theirs) + k] = 1.0
    return found


def _steady(reading: Reading, meter: Meter) -> float:
    """Standard deviation of the part of a meter's error that stays on one range."""
    if reading.quantity is not Quantity.VOLTS:
        return 0.0
    size = meter.scale(reading.value, reading.range_volts) if meter.of_range else abs(reading.value)
    most = reading_sigma(reading, meter)
    return math.sqrt(METER_ALIKE) * min(meter.accuracy * size * EVEN, most)


def _common(
    mine: Readings, others: Readings, probes: Sequence[Probe], begin: int
) -> dict[Probe, tuple[int, float]]:
    """This channel's readings taken with the meter and range of one of the other's."""
    found: dict[Probe, tuple[int, float]] = {}
    for reading, probe in zip(mine.entries, probes, strict=True):
        meter = meter_of(reading, mine.meter)
        for j, there in enumerate(others.entries):
            same = (reading.node, reading.minus, reading.quantity) == (
                there.node, there.minus, there.quantity
            ) and meter == meter_of(there, others.meter)
            ranges = {meter.scale(r.value, r.range_volts) for r in (reading, there)}
            if same and not reading.meanwhile and len(ranges) == 1:
                sigma = _steady(reading, meter)
                if sigma > 0:
                    found.setdefault(probe, (begin + j, sigma))
    return found


def both_within(stage: Stage, axes: Sequence[Axis]) -> Lesson | None:
    """For a stage that holds both channels: the likeness of each pair; None for any other."""
    refs = {part.ref for part in stage.parts}
    pairs = [(t.mine, t.other) for t in stage.twins if t.mine in refs and t.other in refs]
    if not pairs:
        return None
    column = {axis.name: i for i, axis in enumerate(axes)}
    alike = likeness(stage, axes)
    spread: NDArray[np.float64] = np.eye(len(axes))
    for mine, other in pairs:
        for name, i in column.items():
            ref, _, what = name.rpartition(".")
            j = column.get(f"{other}.{what}") if ref == mine else None
            if j is not None and j != i:
                spread[i, j] = spread[j, i] = math.copysign(min(alike[i], alike[j]), 1.0)
    return Lesson(np.zeros(len(axes)), _root(spread), {}, {}, 1.0)



def _root(spread: Floats) -> Floats:
    """The lower triangle whose square is a covariance."""
    return np.asarray(np.linalg.cholesky(spread), dtype=np.float64)
