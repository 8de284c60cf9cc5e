"""From a stage and its readings to the whole answer."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from biaspredict.infer.charts import ChartToday, chart_today
from biaspredict.infer.components import NO_FAULT, whole_spread
from biaspredict.infer.doubts import Doubt
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import Fault, renewed
from biaspredict.infer.fuses import known_faults
from biaspredict.infer.joints import joints_read
from biaspredict.infer.ledger import Ledger, ledger
from biaspredict.infer.loading import Loading, loading
from biaspredict.infer.pairs import with_pairs
from biaspredict.infer.priors import Priors
from biaspredict.infer.ranking import Ranking, best_row, rank
from biaspredict.infer.signal_touches import signal_touches, worth_the_generator
from biaspredict.infer.silent import brought_to_light
from biaspredict.infer.splits import Split, believed, splits
from biaspredict.infer.standing import sound_elsewhere, suspects_elsewhere
from biaspredict.infer.tasks import LOGARITHMIC, probe_as_read, task_of
from biaspredict.infer.touches import touches
from biaspredict.infer.unknowns import Unknown, unknowns
from biaspredict.infer.untested import most_telling
from biaspredict.model.parts import Kind
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.meters import unlogged
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe

WORTH_A_LINE = 0.005  # weight from which a suspect is told in detail
MINDED = 0.1  # weight of suspects with a fuse from which a caution is worth its lines
SURE = 0.95  # weight at which one part is named and measuring stops
SOUND_ENOUGH = 0.5


@dataclass(frozen=True, slots=True)
class Compared:
    """A reading beside what a sound stage shows through the same meter.

    expected, low, high: 95 % band of sound specimens with meter and reader; off: standard
    deviations away from it.
    """

    reading: Reading
    expected: float
    low: float
    high: float
    off: float

    @property
    def inside(self) -> bool:
        """A lower bound is inside below the band too."""
        least = 0.0 if self.reading.over else self.low
        return least <= self.reading.value <= self.high


@dataclass(frozen=True, slots=True)
class Afterwards:
    """What a probe will read once the first suspect is repaired, from this very specimen."""

    probe: Probe
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Leak:
    """What a supposed leak passes in this very circuit: its volts and amps."""

    volts: float
    amps: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer: ranking, further readings, ledger, what stays untested, the recheck.

    leaks: by the suspect's place in the ranking, for its first leaking part.
    fuses: those that suspects of some weight would have renewed.
    settled: what one repair would put right, where nothing is left to tell apart: parts, or
    names of the stage where volts come in, which `fed` then repeats.
    testing: where the DC agrees, the signal reading that tests most of what is untested.
    doubts: readings that cannot be as written, set aside or only named. loading: those that
    the meter itself explains. charts: printed figures scaled to today, where they were read.
    unknowns: what the sheet leaves open, and what the readings say of it.
    worst: the reading that fits worst where nothing in the catalogue explains them all.
    states: node volts of each other state in which the sound stage can stand, farthest first;
    elsewhere: of a stage with one state, the same with a suspect's fault, by its place.
    """

    ranking: Ranking
    splits: tuple[Split, ...]
    ledger: Ledger
    compared: tuple[Compared, ...]
    untested: tuple[Fault, ...]
    afterwards: tuple[Afterwards, ...]
    settled: tuple[str, ...]
    worst: Reading | None
    leaks: Mapping[int, Leak]
    testing: Split | None = None
    doubts: tuple[Doubt, ...] = ()
    loading: tuple[Loading, ...] = ()
    charts: tuple[ChartToday, ...] = ()
    unknowns: tuple[Unknown, ...] = ()
    states: tuple[Mapping[str, float], ...] = ()
    elsewhere: Mapping[int, tuple[Mapping[str, float], ...]] = field(default_factory=dict)
    fed: tuple[str, ...] = ()
    fuses: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        return self.ranking.sound >= SOUND_ENOUGH


def judge(
    predictor: Predictor, readings: Readings, priors: Priors, expected: dict[str, float],
    explainer: Explainer | None = None, *, printed: Predictor | None = None,
    doubts: tuple[Doubt, ...] = (), soon: bool = False,
) -> Verdict:
    """Rank every fault against the readings and say what to do next.

    expected: sound node volts, for the choice of meter ranges and refusals.
    explainer: one that knows more of this specimen than its tolerances. printed: predicts the
    stage under the conditions of its charts. doubts: found before, with the readings that are
    not among these any more. soon: without what the next reading does not need.
    """
    stage = predictor.stage
    known = renewed(known_faults(predictor, priors), readings.fresh)
    known = (*known, *joints_read(stage, readings, priors))
    silent = tuple(fault for fault in known if fault.silent)
    explainer = explainer or Explainer(predictor, task_of(readings, stage))
    shown = brought_to_light(explainer, silent)
    seen = (*(fault for fault in known if not fault.silent), *shown)
    ranking = rank(explainer, seen)
    if readings.entries:
        ranking = with_pairs(explainer, seen, ranking)
    settled = _settled(ranking)
    further: tuple[Split, ...] = ()
    taken = explainer.task.probes
    left = tuple(_left_out(readings, stage))
    signals = signal_touches(
        predictor, readings.meter, taken, readings.skipped, readings.drive, left)
    if not settled:
        names = [p for s in ranking.suspects if s.weight > 0.01 for p in s.parts]
        open_to = touches(
            stage, readings.meter, (*taken, *left), names, readings.skipped, expected)
        if not any(probe.signal for probe in taken):
            outputs = [port.node for port in stage.outputs]
            open_to = (*open_to, *worth_the_generator(signals, outputs))
        else:
            open_to = (*open_to, *signals)
        further = splits(explainer, ranking, open_to)
    untested = tuple(f for f in silent if f not in shown)
    testing = None
    if readings.entries and ranking.sound >= SOUND_ENOUGH and not (soon and further):
        testing = most_telling(explainer, untested, signals)
    states = sound_elsewhere(predictor)
    return Verdict(
        ranking, further, ledger(stage, readings), compared(explainer, readings),
        untested, _afterwards(explainer, ranking), settled,
        _worst(explainer, ranking, readings), _leaks(explainer, ranking), testing,
        doubts, loading(explainer, readings),
        () if printed is None else chart_today(printed, explainer, readings),
        unknowns(explainer, ranking), states,
        {} if soon or states else suspects_elsewhere(explainer, ranking, WORTH_A_LINE),
        tuple(name for name in settled if name not in {part.ref for part in stage.parts}),
        _fuses(stage, ranking),
    )


def _fuses(stage: Stage, ranking: Ranking) -> tuple[str, ...]:
    """Fuses that are to be renewed by suspects of some weight together."""
    fuses = [part.ref for part in stage.parts if part.kind is Kind.FUSE]
    shares = {ref: sum(s.weight for s in ranking.suspects if ref in s.parts) for ref in fuses}
    return tuple(ref for ref, share in shares.items() if share >= MINDED)


def _left_out(readings: Readings, stage: Stage) -> Iterator[Probe]:
    """The readings that the person does not take; ohms neither way round."""
    for reading in readings.left_out:
        if reading.quantity in (Quantity.LEVEL, Quantity.RIPPLE):
            continue  # never advised
        asked = probe_as_read(reading, readings, stage)
        yield asked
        if not asked.powered and asked.minus is not None:
            yield replace(asked, node=asked.minus, minus=asked.node)


def _leaks(explainer: Explainer, ranking: Ranking) -> dict[int, Leak]:
    """Volts and amps of each leak that matters, solved with the fault at its best severity."""
    found: dict[int, Leak] = {}
    nodes = {node: i for i, node in enumerate(explainer.predictor.circuit.nodes)}
    for place, suspect in enumerate(ranking.suspects[:40]):
        which = next((i for i, f in enumerate(suspect.faults) if f.across), None)
        if which is None or suspect.weight < WORTH_A_LINE:
            continue
        row = best_row(ranking, suspect)
        latents = ranking.scores.latents_of([row])[0]
        component = ranking.components[row]
        variation = component.variation(latents[explainer.width:])
        volts = explainer.predictor.volts([variation], explainer.amounts(latents[None]))[0]
        ends = suspect.faults[which].across
        severity = suspect.severities[which]
        if ends is None or severity is None or not np.isfinite(volts).all():
            continue
        a, b = (0.0 if end == GROUND else float(volts[nodes[end]]) for end in ends)
        found[place] = Leak(abs(a - b), abs(a - b) / severity.value)
    return found


def compared(explainer: Explainer, readings: Readings) -> tuple[Compared, ...]:
    """Each reading beside the sound prediction through its own meter."""
    if not readings.entries:
        return ()
    latents = np.zeros((1, explainer.width))
    seen, slopes = explainer.look([NO_FAULT], latents, 0, explainer.task.probes)
    found = []
    for k, reading in enumerate(readings.entries):
        spread = float(np.sqrt((slopes[0, k] ** 2).sum() + explainer.task.sigmas[k] ** 2))
        value = float(seen.values[0, k])
        off = (float(explainer.task.values[k]) - value) / spread
        found.append(Compared(reading, *_limits(value, spread, reading.quantity), off))
    return tuple(found)


def _limits(value: float, sigma: float, quantity: Quantity) -> tuple[float, float, float]:
    """The value and the ends of its central 95 %, as the meter shows them."""
    limits = (value, value - 1.96 * sigma, value + 1.96 * sigma)
    if quantity not in LOGARITHMIC:
        return limits
    return unlogged(limits[0]), unlogged(limits[1]), unlogged(limits[2])


def _settled(ranking: Ranking) -> tuple[str, ...]:
    """Parts of one repair that holds nearly all belief: nothing is left to tell apart."""
    shares = believed(ranking)
    if not shares or not ranking.explained:
        return ()
    best = max(shares, key=lambda label: shares[label])
    return best if shares[best] >= SURE else ()


def _afterwards(explainer: Explainer, ranking: Ranking) -> tuple[Afterwards, ...]:
    """The same specimen without its fault, at every probe that was read."""
    best = ranking.suspects[0] if ranking.suspects else None
    if best is None or not explainer.task.probes:
        return ()
    row = best_row(ranking, best)
    scores = ranking.scores
    shifts = scores.total - explainer.width
    latents = scores.latents_of([row])
    seen, slopes = explainer.look([NO_FAULT], latents, shifts, explainer.task.probes)
    if not seen.solved[0]:
        return ()
    h = scores.slopes_of([row])[0]
    spread = whole_spread(h, scores.noise[row])
    covariance = np.eye(h.shape[1]) - h.T @ np.linalg.solve(spread, h)
    found = []
    for k, probe in enumerate(explainer.task.probes):
        if probe.doing or probe in explainer.task.probes[:k]:
            continue  # or read twice
        slope = slopes[0, k]
        sigma = math.sqrt(max(float(slope @ covariance @ slope), 0.0)
                          + float(explainer.task.sigmas[k]) ** 2)
        value = float(seen.values[0, k])
        found.append(Afterwards(probe, *_limits(value, sigma, probe.quantity)))
    return tuple(found)


def _worst(explainer: Explainer, ranking: Ranking, readings: Readings) -> Reading | None:
    """The reading that the best explanation fits worst, where no explanation fits."""
    if ranking.explained or not readings.entries:
        return None
    row = int(np.argmin(np.where(ranking.scores.solved, ranking.scores.misfit, np.inf)))
    miss = explainer.task.values - ranking.scores.values[row]
    return readings.entries[int(np.argmax(miss**2 / ranking.scores.noise[row]))]

