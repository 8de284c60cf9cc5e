"""Which faults explain the readings: weights that sum to one, groups, severities."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.infer.chance import chi2_tail, mixture_quantiles
from biaspredict.infer.components import NO_FAULT, Component, Scores
from biaspredict.infer.evidence import CELL, Explainer
from biaspredict.infer.faults import Fault, severities, to_renew

APART = 3.0  # nats: a fault that explains the readings 20 times worse is separated from them
UNEXPLAINED = 1e-3  # chance of a misfit this large under a true explanation
DOUBTFUL = 0.02  # below this the singles do not explain well enough to leave pairs out
FAINT = 1e-5  # weights below which a severity is not worked out
RANGE = np.array([0.05, 0.5, 0.95])  # what a severity's range takes in
AT_ONCE = 256  # suspects


@dataclass(frozen=True, slots=True)
class Severity:
    """Best value and central 90 % range of a fault's degree."""

    value: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True, slots=True)
class Suspect:
    """A fault, or a pair, with the share of belief it has.

    rows: components of the ranking that suppose it. fit: the best component's log evidence
    without prior. chance_of_misfit: how often a true explanation would fit worse.
    group: 1 for those that explain the readings best and alike, then 2, 3 ...
    """

    faults: tuple[Fault, ...]
    weight: float
    fit: float
    chance_of_misfit: float
    severities: tuple[Severity | None, ...]
    rows: tuple[int, ...]
    group: int = 0

    @property
    def parts(self) -> tuple[str, ...]:
        return to_renew(self.faults)

    @property
    def words(self) -> str:
        return ", and ".join(fault.words for fault in self.faults)


@dataclass(frozen=True, slots=True)
class Ranking:
    """sound: weight of no fault. suspects by falling weight. unsolved: faults with no solution.

    best_misfit: the chance that a true explanation fits worse than the best one found.
    components, scores, weights (B,): what it was made from, for the splits.
    """

    sound: float
    sound_fit: float
    sound_misfit: float
    suspects: tuple[Suspect, ...]
    unsolved: tuple[Fault, ...]
    best_misfit: float
    components: tuple[Component, ...]
    scores: Scores
    weights: Floats

    @property
    def explained(self) -> bool:
        return self.best_misfit >= UNEXPLAINED


def components_of(
    faults: Sequence[Fault], log_prior: float | None = None
) -> tuple[Component, ...]:
    """One component a severity cell (and a touched lead) of each supposed single fault."""
    return _components_of(tuple(faults), log_prior)


@lru_cache(maxsize=4)
def _components_of(faults: tuple[Fault, ...], log_prior: float | None) -> tuple[Component, ...]:
    found: list[Component] = []
    for fault in faults:
        odds = math.log(fault.chance / (1.0 - fault.chance)) if log_prior is None else log_prior
        cells = severities(fault)
        width = 0.0
        if len(cells) > 1:
            width = CELL * math.log(cells[1] / cells[0])
        share = odds - math.log(len(cells))
        touched = fault.joint / 2.0 if fault.lead is not None else 0.0
        pad = share + math.log1p(-touched)
        found.extend(Component((fault,), (cell,), (width,), pad) for cell in cells)
        if touched > 0:
            lead = share + math.log(touched)
            found.extend(Component((fault,), (cell,), (width,), lead, True) for cell in cells)
    return tuple(found)


def rank(explainer: Explainer, faults: Sequence[Fault]) -> Ranking:
    """Score sound and every single fault against the readings."""
    components = [NO_FAULT, *components_of(faults)]
    return weigh(explainer, components, explainer.score(components, keep=40))


def weigh(explainer: Explainer, components: Sequence[Component], scores: Scores) -> Ranking:
    """Turn scores into weights, suspects and groups."""
    readings = len(explainer.task.probes)
    prior = np.array([c.log_prior for c in components])
    total = prior + scores.log_evidence
    total = np.where(np.isfinite(total), total, -np.inf)
    top = total.max()
    weights: Floats = np.exp(total - top) if np.isfinite(top) else np.zeros(len(components))
    weights = weights / weights.sum() if weights.sum() > 0 else weights
    by_fault: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for row, component in enumerate(components):
        by_fault.setdefault(tuple(f.key for f in component.faults), []).append(row)
    met: list[list[int]] = []
    unsolved: list[Fault] = []
    for rows in by_fault.values():
        component = components[rows[0]]
        if not component.faults:
            continue
        if scores.solved[rows].any():
            met.append(rows)
        elif len(component.faults) == 1:
            unsolved.append(component.faults[0])
    degrees = _severities(components, scores, weights, met)
    suspects = [
        _suspect(components, scores, weights, rows, degree)
        for rows, degree in zip(met, degrees, strict=True)
    ]
    suspects.sort(key=lambda s: (-s.weight, -s.fit))
    sound_rows = by_fault.get((), [])
    sound_fit = max((float(scores.log_evidence[i]) for i in sound_rows), default=-math.inf)
    grouped = _grouped(suspects, sound_fit)
    sound_misfit = min((float(scores.misfit[i]) for i in sound_rows), default=math.inf)
    best = min([sound_misfit, *(float(scores.misfit[list(s.rows)].min()) for s in suspects)])
    return Ranking(
        float(sum(weights[i] for i in sound_rows)),
        sound_fit,
        chi2_tail(sound_misfit, readings),
        grouped,
        tuple(unsolved),
        chi2_tail(best, readings),
        tuple(components),
        scores,
        weights,
    )


def _suspect(
    components: Sequence[Component], scores: Scores, weights: Floats, rows: Sequence[int],
    degrees: tuple[Severity | None, ...],
) -> Suspect:
    here = np.array(rows)
    best = int(here[np.argmax(scores.log_evidence[here])])
    return Suspect(
        components[best].faults,
        float(weights[here].sum()),
        float(scores.log_evidence[best]),
        chi2_tail(float(scores.misfit[here].min()), scores.values.shape[1]),
        degrees,
        tuple(rows),
    )


def _severities(
    components: Sequence[Component], scores: Scores, weights: Floats,
    suspects: Sequence[Sequence[int]],
) -> list[tuple[Severity | None, ...]]:
    """The degrees of each suspect's faults, from its rows: mixtures over the cells of their
    posterior log severities."""
    shifts = max((len(c.faults) for c in components), default=0)
    found: list[list[Severity | None]] = [[] for _ in suspects]
    for which in range(shifts):
        asked: list[tuple[int, NDArray[np.int64]]] = []
        for k, rows in enumerate(suspects):
            faults = components[rows[0]].faults
            if which >= len(faults):
                continue
            if not faults[which].graded or weights[rows].sum() < FAINT:
                found[k].append(_nearest(components, scores, rows, which))
                continue
            there = [row for row in rows if np.isfinite(scores.log_evidence[row])]
            asked.append((k, np.array(there)))
            found[k].append(None)  # until all are worked out together
        for first in range(0, len(asked), AT_ONCE):
            some = asked[first : first + AT_ONCE]
            ranges = _ranges(components, scores, [rows for _, rows in some], which, shifts)
            for (k, mine), (low, middle, high) in zip(some, ranges, strict=True):
                fault = components[mine[0]].faults[which]
                found[k][which] = Severity(middle, low, high, fault.unit)
    return [tuple(degrees) for degrees in found]


def _nearest(
    components: Sequence[Component], scores: Scores, rows: Sequence[int], which: int
) -> Severity | None:
    """The cell that fits best, of a fault whose degree nobody will ask for."""
    fault = components[rows[0]].faults[which]
    if not fault.graded:
        return None
    best = components[rows[int(np.argmax(scores.log_evidence[rows]))]].severities[which]
    return Severity(best, fault.least or best, fault.most or best, fault.unit)


def _ranges(
    components: Sequence[Component], scores: Scores, suspects: Sequence[NDArray[np.int64]],
    which: int, shifts: int,
) -> list[list[float]]:
    """Low, middle and high degree of each suspect, inside what its fault can have."""
    every = np.concatenate(suspects)
    widths = np.array([components[row].widths[which] for row in every])
    centres = np.log([components[row].severities[which] for row in every])
    means, sigmas = scores.severities(every, which, shifts)
    priors = np.array([components[row].log_prior for row in every])
    counts = [len(rows) for rows in suspects]
    there = np.arange(max(counts)) < np.array(counts)[:, None]
    table = np.zeros((3, *there.shape))
    table[0][there] = centres + widths * means
    table[1][there] = np.maximum(widths * sigmas, 1e-3)
    table[1][~there] = 1.0
    table[2][~there] = -np.inf
    table[2][there] = priors + scores.log_evidence[every]
    shares = np.exp(table[2] - table[2].max(axis=1, keepdims=True))
    shares /= shares.sum(axis=1, keepdims=True)
    found = np.exp(mixture_quantiles(table[0], table[1], shares, RANGE))
    faults = [components[rows[0]].faults[which] for rows in suspects]
    least = np.array([[fault.least] for fault in faults], dtype=float)
    most = np.array([[fault.most] for fault in faults], dtype=float)
    ranges: list[list[float]] = np.clip(found, least, most).tolist()
    return ranges


def _grouped(suspects: Sequence[Suspect], sound_fit: float) -> tuple[Suspect, ...]:
    """Number the groups: within one, no reading so far tells the faults apart.

    The best explanation opens the first group and draws in all that explain the readings
    nearly as well; the best of the rest opens the next.
    """
    left = list(suspects)
    numbered: dict[int, int] = {}
    group = 0
    while left:
        group += 1
        leader = max(left, key=lambda s: s.fit)
        members = [s for s in left if s.fit >= leader.fit - APART]
        for member in members:
            numbered[id(member)] = group
        left = [s for s in left if id(s) not in numbered]
    return tuple(
        Suspect(s.faults, s.weight, s.fit, s.chance_of_misfit, s.severities, s.rows,
                numbered[id(s)])
        for s in suspects
    )


def best_row(ranking: Ranking, suspect: Suspect) -> int:
    """The component that gives the suspect most of its weight."""
    rows = np.array(suspect.rows)
    return int(rows[np.argmax(ranking.weights[rows])])
