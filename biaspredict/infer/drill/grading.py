"""How hard each fault of a stage is to find by its DC volts.

Every supposed fault is predicted at every node, with the spread of sound specimens. A fault is
hard where many readings are needed before other parts fall away, and where parts are left that
no node's volts can tell from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.infer.components import NO_FAULT, Component, Task
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import Fault, to_renew
from biaspredict.infer.ranking import components_of
from biaspredict.infer.splits import SOUND_LABEL, Label, label_of
from biaspredict.model.readings import Quantity
from biaspredict.model.stage import GROUND, Meter, Stage
from biaspredict.predict.meters import MODEL_FRACTION, MODEL_VOLTS
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe

APART = 3.0  # standard deviations from which one reading tells two faults apart
LEVELS = (1, 2, 3)
# At most so many parts left at the end, and so many readings to get there.
EASY, MIDDLING = (2, 2), (4, 3)


@dataclass(frozen=True, slots=True)
class Grade:
    """component: a fault at a degree. off: standard deviations by which the node that shows it
    best stands away from sound. left: what would be renewed by all faults that node volts leave,
    its own part first. needed: readings until no more fall away. level: 1 easy to 3 hard.
    """

    component: Component
    off: float
    left: tuple[Label, ...]
    needed: int
    level: int

    @property
    def fault(self) -> Fault:
        return self.component.faults[0]


def node_probes(stage: Stage, meter: Meter) -> tuple[Probe, ...]:
    """Volts at every node to ground."""
    return tuple(
        Probe(node, quantity=Quantity.VOLTS, ohms=meter.input_ohms(1.0), name=node)
        for node in stage.nodes if node != GROUND
    )


def grades(predictor: Predictor, faults: Sequence[Fault], meter: Meter) -> tuple[Grade, ...]:
    """A grade for each fault at each of its degrees that DC volts show at all."""
    explainer = Explainer(predictor, Task((), np.zeros(0), np.zeros(0)))
    probes = node_probes(predictor.stage, meter)
    components = [NO_FAULT, *components_of(faults)]
    solved = predictor.middle([c.centre for c in components])
    latents = np.zeros((len(components), explainer.width + 1))
    seen, slopes = explainer.look(components, latents, 1, probes, solved=solved)
    good = seen.solved & np.isfinite(seen.values).all(axis=1)
    if not good[0]:
        return ()
    rows = np.flatnonzero(good)
    values = seen.values[rows]
    spread = (slopes[rows] ** 2).sum(axis=2) + seen.doubt[rows] ** 2
    spread += MODEL_VOLTS**2 + (MODEL_FRACTION * values) ** 2
    labels = [label_of(to_renew(components[row].faults)) for row in rows]
    names = sorted(set(labels))
    which = np.array([names.index(label) for label in labels])
    one = (which[None, :] == np.arange(len(names))[:, None]).astype(float)
    found = []
    for i, row in enumerate(rows):
        component = components[row]
        if not component.faults or component.at_lead:
            continue
        apart = np.abs(values - values[i]) / np.sqrt(spread + spread[i])
        off = float(apart[0].max())
        if off < APART:
            continue
        told, needed = _told(apart, one, int(which[i]))
        others = [names[k] for k in told if names[k] != labels[i]]
        left = (labels[i], *sorted(others, key=lambda label: label == SOUND_LABEL))
        found.append(Grade(component, off, left, needed, _level(len(left), needed)))
    return tuple(found)


def _told(apart: Floats, labels: Floats, own: int) -> tuple[list[int], int]:
    """The labels that all readings leave, and the readings after which no more fall.

    apart (B, K): standard deviations between this fault and every other at each node. labels
    (N, B): 1 where a component has that label.
    """
    near = apart < APART
    final = labels @ near.all(axis=1) > 0
    final[own] = True
    left = np.ones(len(apart), dtype=bool)
    needed = 0
    while needed < apart.shape[1] and ((labels @ left > 0) & ~final).any():
        still = (labels @ (left[:, None] & near) > 0).sum(axis=0)
        best = int(np.argmin(still))
        if not (left & ~near[:, best]).any():
            break
        left &= near[:, best]
        needed += 1
    return [int(k) for k in np.flatnonzero(final)], needed


def _level(left: int, needed: int) -> int:
    for level, (most, readings) in zip(LEVELS, (EASY, MIDDLING), strict=False):
        if left <= most and needed <= readings:
            return level
    return LEVELS[-1]
