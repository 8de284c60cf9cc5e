"""What each reading of a path ruled out, and the path that the splits would have taken."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from biaspredict.infer.components import Task
from biaspredict.infer.drill.asking import Asked, from_touch, priced
from biaspredict.infer.drill.specimen import Shown, Specimen
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import Fault
from biaspredict.infer.ranking import Ranking, rank
from biaspredict.infer.splits import SOUND_LABEL, Label, label_of, splits
from biaspredict.infer.tasks import LOGARITHMIC
from biaspredict.infer.touches import touches
from biaspredict.infer.verdict import SURE

SUSPECTED = 0.01  # share of belief from which a part counts as suspected
RULED_OUT = 0.1  # share of what it had, down to which a part is ruled out
LONGEST = 8  # readings of the cheapest path at most


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading of the specimen: what was asked, what it cost, what the meter showed."""

    asked: Asked
    cost: float
    shown: Shown


@dataclass(frozen=True, slots=True)
class Stride:
    """A reading on a path. out: parts it ruled out. left: suspected parts and their shares."""

    taken: Taken
    out: tuple[Label, ...]
    left: tuple[tuple[Label, float], ...]


@dataclass(frozen=True, slots=True)
class Path:
    """strides in order; sure: one part is left with nearly all belief."""

    strides: tuple[Stride, ...]
    sure: bool

    @property
    def cost(self) -> float:
        return sum(stride.taken.cost for stride in self.strides)

    @property
    def left(self) -> tuple[tuple[Label, float], ...]:
        return self.strides[-1].left if self.strides else ()


def reviewed(specimen: Specimen, faults: Sequence[Fault], taken: Sequence[Taken]) -> Path:
    """The learner's own path, belief worked out after each reading."""
    strides: list[Stride] = []
    before = _shares(_belief(specimen, faults, ()))
    for count in range(1, len(taken) + 1):
        after = _shares(_belief(specimen, faults, taken[:count]))
        strides.append(_stride(taken[count - 1], before, after))
        before = after
    return Path(tuple(strides), max(before.values(), default=0.0) >= SURE)


def cheapest(specimen: Specimen, faults: Sequence[Fault]) -> Path:
    """Always the reading that tells most for its cost, on the same specimen."""
    stage = specimen.predictor.stage
    taken: list[Taken] = []
    strides: list[Stride] = []
    power = True
    ranking = _belief(specimen, faults, ())
    before = _shares(ranking)
    while len(taken) < LONGEST and max(before.values(), default=0.0) < SURE:
        names = [part for s in ranking.suspects if s.weight > SUSPECTED for part in s.parts]
        probes = [t.asked.probe for t in taken]
        open_to = touches(stage, specimen.meter, probes, names)
        found = splits(_explainer(specimen, taken), ranking, open_to)
        if not found:
            break
        asked = from_touch(found[0].touch)
        taken.append(Taken(asked, priced(asked, power), specimen.shown(asked.probe)))
        power = asked.powered
        ranking = _belief(specimen, faults, taken)
        after = _shares(ranking)
        strides.append(_stride(taken[-1], before, after))
        before = after
    return Path(tuple(strides), max(before.values(), default=0.0) >= SURE)


def _explainer(specimen: Specimen, taken: Sequence[Taken]) -> Explainer:
    probes = tuple(t.asked.probe for t in taken)
    values = [
        np.log(max(abs(t.shown.value), 1e-9)) if p.quantity in LOGARITHMIC else t.shown.value
        for t, p in zip(taken, probes, strict=True)
    ]
    sigmas = [specimen.sigma(p, t.shown) for t, p in zip(taken, probes, strict=True)]
    task = Task(
        probes, np.array(values, dtype=float), np.array(sigmas, dtype=float),
        np.array([t.shown.over for t in taken], dtype=bool),
    )
    return Explainer(specimen.predictor, task)


def _belief(specimen: Specimen, faults: Sequence[Fault], taken: Sequence[Taken]) -> Ranking:
    return rank(_explainer(specimen, taken), faults)


def _shares(ranking: Ranking) -> dict[Label, float]:
    """Belief by what would be renewed. One part is known to have failed: sound is left out."""
    found: dict[Label, float] = {}
    for suspect in ranking.suspects:
        label = label_of(suspect.parts)
        found[label] = found.get(label, 0.0) + suspect.weight
    found.pop(SOUND_LABEL, None)
    total = sum(found.values())
    return {label: weight / total for label, weight in found.items()} if total > 0.0 else {}


def _stride(taken: Taken, before: dict[Label, float], after: dict[Label, float]) -> Stride:
    return Stride(taken, tuple(_out(before, after)), tuple(_left(after)))


def _out(before: dict[Label, float], after: dict[Label, float]) -> Iterator[Label]:
    for label, share in sorted(before.items(), key=lambda pair: -pair[1]):
        now = after.get(label, 0.0)
        if share >= SUSPECTED and now < SUSPECTED and now < RULED_OUT * share:
            yield label


def _left(shares: dict[Label, float]) -> Iterator[tuple[Label, float]]:
    for label, share in sorted(shares.items(), key=lambda pair: -pair[1]):
        if share >= SUSPECTED:
            yield label, share
