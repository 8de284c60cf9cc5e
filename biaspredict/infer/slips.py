"""Slips of the pen: the single mistake in a transcription that a printed chart gives away."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from biaspredict.infer.chance import chi2_tail
from biaspredict.infer.components import NO_FAULT, Component, Task
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import Fault
from biaspredict.model.circuit import CLOSED, Load, Variation
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import GROUND, Chart, Stage

AGREES = 0.10  # a slip must explain at least this well to be named
LEAD = 2.0  # nats between the slip that is named and the next best
MOST_JOINTS = 24  # nodes up to which missed joints are tried


@dataclass(frozen=True, slots=True)
class Slip:
    """A mistake that would reconcile the stage with its chart.

    about: reference, node or chart name. words: what to look for on the sheet.
    chance: how often a true chart would fit worse under it. lead: nats over the next best.
    """

    about: str
    words: str
    chance: float
    lead: float


def slips(explainer: Explainer, chart: Chart) -> tuple[Slip, ...]:
    """Single slips of the sheet or of the chart under which the chart's figures fit, best first.

    explainer: explains the chart's figures, in the chart's order.
    """
    predictor = explainer.predictor
    tried = list(transcription_slips(predictor.stage))
    components = [Component((fault,), (1.0,), (0.0,), math.log(fault.chance)) for fault in tried]
    scores = explainer.score(components, keep=40)
    count = len(explainer.task.probes)
    ranked = [
        (float(scores.log_evidence[i] + components[i].log_prior), fault.part, fault.words,
         chi2_tail(float(scores.misfit[i]), count))
        for i, fault in enumerate(tried)
        if np.isfinite(scores.log_evidence[i])
    ]
    ranked.extend(_misprints(explainer, chart))
    good = sorted((r for r in ranked if r[3] >= AGREES), reverse=True)
    found = []
    for place, (score, about, words, chance) in enumerate(good[:5]):
        after = good[place + 1][0] if place + 1 < len(good) else -math.inf
        found.append(Slip(about, words, chance, score - after))
    return tuple(found)


def _misprints(
    explainer: Explainer, chart: Chart
) -> Iterator[tuple[float, str, str, float]]:
    """One figure of the chart taken as wrong: the others must agree without it."""
    task, predictor = explainer.task, explainer.predictor
    if len(task.probes) < 3:
        return
    for k, entry in enumerate(chart.entries):
        keep = np.arange(len(task.probes)) != k
        rest = Task(
            tuple(p for i, p in enumerate(task.probes) if i != k),
            task.values[keep], task.sigmas[keep],
            None if task.bounds is None else task.bounds[keep],
        )
        scores = Explainer(predictor, rest).score([NO_FAULT])
        # the dropped figure could have been anything within the rails: a flat density
        size = max(abs(rail.volts) for rail in predictor.stage.rails or ()) or 1.0
        flat = -math.log(2 * size) if chart.quantity == "volts" else -math.log(10.0)
        evidence = float(scores.log_evidence[0]) + flat + math.log(0.02)
        chance = chi2_tail(float(scores.misfit[0]), len(rest.probes))
        yield evidence, entry.name, f"the chart's figure for {entry.name} is a misprint", chance


def transcription_slips(stage: Stage) -> Iterator[Fault]:
    """Every single slip that is tried, with its relative plausibility as `chance`."""
    for part in stage.parts:
        if part.kind is Kind.RESISTOR and part.now:
            for factor, words in _FACTORS:
                yield _slip(part.ref, f"{part.ref} {words}", 0.05,
                            Variation(scales=((f"{part.ref}.ohms", factor),)))
        elif part.kind is Kind.TRANSISTOR:
            yield from _transistor(part)
        elif part.kind in (Kind.DIODE, Kind.ZENER):
            a, b = part.nodes
            moves = ((f"{part.ref}.anode", b), (f"{part.ref}.cathode", a))
            yield _slip(part.ref, f"{part.ref} was written the wrong way round", 0.05,
                        Variation(moves=moves))
    for rail in stage.rails:
        for factor in (10.0, 0.1):
            yield _slip(rail.name, f"{rail.name} has a slipped decimal", 0.02,
                        Variation(scales=((f"{rail.name}.volts", factor),)))
        yield _slip(rail.name, f"{rail.name} has the wrong sign", 0.02,
                    Variation(scales=((f"{rail.name}.volts", -1.0),)))
    yield from _joints(stage)


_FACTORS = (
    (10.0, "is ten times too low: a slipped decimal"),
    (0.1, "is ten times too high: a slipped decimal"),
    (1000.0, "is a thousand times too low: K for M, or ohms for K"),
    (1e-3, "is a thousand times too high: M for K, or K for ohms"),
)


def _slip(about: str, words: str, chance: float, variation: Variation) -> Fault:
    return Fault(about, words, words, chance, lambda _: variation)


def _transistor(part: Part) -> Iterator[Fault]:
    ref = part.ref
    yield _slip(ref, f"{ref} has the wrong polarity: NPN for PNP", 0.04,
                Variation(scales=((f"{ref}.polarity", -1.0),)))
    for a, b in (("collector", "emitter"), ("collector", "base"), ("base", "emitter")):
        moves = ((f"{ref}.{a}", part.node(b)), (f"{ref}.{b}", part.node(a)))
        yield _slip(ref, f"{ref} was written with {a} and {b} swapped", 0.04,
                    Variation(moves=moves))


def _joints(stage: Stage) -> Iterator[Fault]:
    """Joints missed on the sheet: two nodes that are one, or a lead that goes elsewhere."""
    nodes = [node for node in stage.nodes if node != GROUND]
    if len(nodes) > MOST_JOINTS:
        return
    rails = {rail.name for rail in stage.rails}
    pairs = [(a, b) for i, a in enumerate(nodes) for b in nodes[i + 1:]]
    for a, b in pairs:
        if a not in rails or b not in rails:
            yield _slip(a, f"a joint between {a} and {b} was missed", 0.1 / len(pairs),
                        Variation(loads=(Load(a, b, CLOSED * 10),)))
    moves = [
        (part, terminal, node)
        for part in stage.parts if part.kind is Kind.RESISTOR
        for terminal, here in zip(part.terminals, part.nodes, strict=True)
        for node in stage.nodes if node not in part.nodes and here != node
    ]
    for part, terminal, node in moves:
        words = f"{part.ref} goes to {node}, not to {part.node(terminal)}"
        yield _slip(part.ref, words, 0.1 / len(moves),
                    Variation(moves=((f"{part.ref}.{terminal}", node),)))


def best(slips: Sequence[Slip]) -> Slip | None:
    """The slip to name: the first, if it leads clearly."""
    return slips[0] if slips and slips[0].lead >= LEAD else None
