"""Two faults at once, searched from the single faults that explain most of the readings."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from biaspredict.infer.components import Component, Scores, joined
from biaspredict.infer.evidence import CELL, Explainer
from biaspredict.infer.faults import Fault, severities
from biaspredict.infer.ranking import DOUBTFUL, Ranking, weigh

COARSE = 2.5  # severity cells a decade of the first sweep over partners
SEEDS = 8  # single faults from which partners are sought
PARTNERS = 24  # best pairs whose severities are sought again, each in turn


def with_pairs(explainer: Explainer, faults: Sequence[Fault], singles: Ranking) -> Ranking:
    """The ranking with pairs added, or unchanged where a single fault explains the readings."""
    if singles.best_misfit >= DOUBTFUL or len(explainer.task.probes) < 2:
        return singles
    seeds = _seeds(singles)
    first = [
        (component, i)
        for i, (seed, severity) in enumerate(seeds)
        for other in faults
        if other.part.split(".")[0] != seed.part.split(".")[0] and other.key != seed.key
        for component in _pair(seed, other, (severity,), severities(other, COARSE))
    ]
    if not first:
        return singles
    components = [component for component, _ in first]
    start = explainer.predictor.middle([seed.act(severity) for seed, severity in seeds])
    scores = explainer.score(components, keep=60, start=start[[i for _, i in first]])
    best = _best_pairs(components, scores)
    second = [
        component
        for seed, other, at in best
        for component in _pair(other, seed, (at,), severities(seed))
    ]
    refined = explainer.score(second, keep=60) if second else None
    return _merged(explainer, singles, components, scores, second, refined)


def _seeds(singles: Ranking) -> list[tuple[Fault, float]]:
    """The best explaining single faults, one of each part's kind of fault, with severity."""
    found: list[tuple[Fault, float]] = []
    for suspect in sorted(singles.suspects, key=lambda s: -s.fit):
        severity = suspect.severities[0]
        found.append((suspect.faults[0], severity.value if severity else 1.0))
        if len(found) == SEEDS:
            break
    return found


def _odds(fault: Fault) -> float:
    return math.log(fault.chance / (1.0 - fault.chance))


def _pair(
    held: Fault, swept: Fault, at: tuple[float], cells: tuple[float, ...]
) -> list[Component]:
    """Components with `held` about one severity and `swept` over its cells."""
    wide = 0.0
    share = _odds(held) + _odds(swept) - math.log(len(cells))
    own = severities(held)
    if len(own) > 1:
        wide = CELL * math.log(own[1] / own[0]) * 1.5
        share -= math.log(max(len(own) / 3.0, 1.0))  # the wide cell covers about three
    width = CELL * math.log(cells[1] / cells[0]) if len(cells) > 1 else 0.0
    return [Component((held, swept), (at[0], cell), (wide, width), share) for cell in cells]


def _best_pairs(
    components: Sequence[Component], scores: Scores
) -> list[tuple[Fault, Fault, float]]:
    """(held, swept, best severity of swept) of the best pairs."""
    total = scores.log_evidence + np.array([c.log_prior for c in components])
    found: list[tuple[Fault, Fault, float]] = []
    seen: set[frozenset[tuple[str, str]]] = set()
    for row in np.argsort(-total):
        if not np.isfinite(total[row]):
            break
        held, swept = components[row].faults
        key = frozenset((held.key, swept.key))
        if key in seen or not severities(held)[1:]:
            continue
        seen.add(key)
        shift = scores.latents_of([int(row)])[0, -1]
        at = components[row].severities[1] * math.exp(components[row].widths[1] * shift)
        found.append((held, swept, at))
        if len(found) == PARTNERS:
            break
    return found


def _merged(
    explainer: Explainer, singles: Ranking, first: Sequence[Component], scores: Scores,
    second: Sequence[Component], refined: Scores | None,
) -> Ranking:
    """Singles, pairs of the first sweep, and for the best pairs the better of both sweeps."""
    chosen: dict[frozenset[tuple[str, str]], tuple[list[Component], list[int], Scores]] = {}
    for components, found in ((first, scores), (second, refined)):
        if found is None:
            continue
        groups: dict[tuple[tuple[str, str], ...], list[int]] = {}
        for row, component in enumerate(components):
            groups.setdefault(tuple(f.key for f in component.faults), []).append(row)
        for keys, rows in groups.items():
            best = found.log_evidence[rows].max()
            if not np.isfinite(best):
                continue
            key = frozenset(keys)
            held = chosen.get(key)
            if held is None or best > held[2].log_evidence[held[1]].max():
                chosen[key] = ([components[i] for i in rows], rows, found)
    components = list(singles.components)
    parts = [singles.scores]
    strong = sorted(
        chosen.values(), key=lambda g: -float(g[2].log_evidence[g[1]].max() + g[0][0].log_prior)
    )[:200]
    for some, rows, found in strong:
        components.extend(some)
        parts.append(found.taken(rows))
    return weigh(explainer, components, joined(parts, explainer.width))

