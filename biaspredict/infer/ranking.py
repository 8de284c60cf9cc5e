"""Which faults explain the readings: weights that sum to one, groups, severities."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.infer.chance import chi2_tail, normal_mixture_range
from biaspredict.infer.components import NO_FAULT, Component, Scores
from biaspredict.infer.evidence import CELL, Explainer
from biaspredict.infer.faults import Fault, severities, to_renew

APART = 3.0  # nats: a fault that explains the readings 20 times worse is separated from them
UNEXPLAINED = 1e-3  # chance of a misfit this large under a true explanation
DOUBTFUL = 0.02  # below this the singles do not explain well enough to leave pairs out
FAINT = 1e-5  # weights below which a severity is not worked out


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
    shifts = max((len(c.faults) for c in components), default=0)
    prior = np.array([c.log_prior for c in components])
    total = prior + scores.log_evidence
    total = np.where(np.isfinite(total), total, -np.inf)
    top = total.max()
    weights: Floats = np.exp(total - top) if np.isfinite(top) else np.zeros(len(components))
    weights = weights / weights.sum() if weights.sum() > 0 else weights
    by_fault: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for row, component in enumerate(components):
        by_fault.setdefault(tuple(f.key for f in component.faults), []).append(row)
    suspects: list[Suspect] = []
    unsolved: list[Fault] = []
    for rows in by_fault.values():
        component = components[rows[0]]
        if not component.faults:
            continue
        if not scores.solved[rows].any():
            if len(component.faults) == 1:
                unsolved.append(component.faults[0])
            continue
        suspects.append(_suspect(components, scores, weights, rows, readings, shifts))
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
    readings: int, shifts: int,
) -> Suspect:
    here = np.array(rows)
    best = int(here[np.argmax(scores.log_evidence[here])])
    found = tuple(
        _severity(components, scores, here, which, float(weights[here].sum()), shifts)
        for which in range(len(components[best].faults))
    )
    return Suspect(
        components[best].faults,
        float(weights[here].sum()),
        float(scores.log_evidence[best]),
        chi2_tail(float(scores.misfit[here].min()), readings),
        found,
        tuple(rows),
    )


def _severity(
    components: Sequence[Component], scores: Scores, rows: NDArray[np.int64], which: int,
    weight: float, shifts: int,
) -> Severity | None:
    """Mixture over the cells of their posterior log severities."""
    fault = components[rows[0]].faults[which]
    if not fault.graded:
        return None
    if weight < FAINT:
        best = components[rows[np.argmax(scores.log_evidence[rows])]].severities[which]
        return Severity(best, fault.least or best, fault.most or best, fault.unit)
    means, sigmas, shares = [], [], []
    for row in rows:
        component = components[row]
        if not np.isfinite(scores.log_evidence[row]):
            continue
        mean, sigma = scores.severity(int(row), which, shifts)
        width = component.widths[which]
        means.append(math.log(component.severities[which]) + width * mean)
        sigmas.append(max(width * sigma, 1e-3))
        shares.append(component.log_prior + float(scores.log_evidence[row]))
    share = np.exp(np.array(shares) - max(shares))
    low, middle, high = normal_mixture_range(
        np.array(means), np.array(sigmas), share / share.sum(), (0.05, 0.5, 0.95)
    )
    assert fault.least is not None
    assert fault.most is not None
    inside = np.clip(np.exp([middle, low, high]), fault.least, fault.most)
    return Severity(float(inside[0]), float(inside[1]), float(inside[2]), fault.unit)


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
