"""Which further reading would tell the remaining suspects apart, and what it would mean.

Expected reduction of entropy over cost (de Kleer and Williams, Diagnosing multiple faults,
Artificial Intelligence 32, 1987: minimum-entropy probing). What is to be told apart are the
parts to be renewed: two faults of one part need no telling apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.infer.chance import fast_cdf
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import to_renew
from biaspredict.infer.ranking import Ranking
from biaspredict.infer.touches import Touch
from biaspredict.model.readings import Quantity
from biaspredict.predict.meters import top_ohms, unlogged

MOST_COMPONENTS = 160
LEAST_WEIGHT = 1e-4
NEARLY_ALL = 0.98  # share of the belief in faults that is weighed; the rest changes no choice
# Beyond so many readings foreseen (components times touches) the touches are sifted first, with
# the likeliest components only.
WIDE, SIFTING, SIFTED = 8000, 24, 32
WORTH = 0.02  # bits below which a reading decides nothing
EDGES = 160
DEAR = 3.0  # bench units from which a reading must be able to decide something
STRONG, DECIDES = 0.3, 6.0  # a share of belief that counts, and the change of odds that decides
NOBODY = -1  # leads in a bin where next to nothing falls
OVER = 0.02  # spread of the logarithm at which readings beyond the range stand
NAMED = 0.05  # share of an outcome from which a part is named for it
LIKELY = 0.02  # outcomes rarer than this are not listed
SOUND_LABEL = ("sound",)

Label = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """If the reading falls between low and high, with that chance, belief is as in `means`."""

    low: float
    high: float
    chance: float
    means: tuple[tuple[Label, float], ...]


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What each of R components lets a reading be: its belief, part, mean and variance (R,),
    without the meter's error; ohms, gains and levels as logarithms. The belief that is left to
    one is in components not looked at."""

    weights: Floats
    labels: tuple[Label, ...]
    means: Floats
    variances: Floats


@dataclass(frozen=True, slots=True)
class Split:
    """A further reading: its expected gain in bits, cost in bench units, outcomes, and what they
    were made from."""

    touch: Touch
    gain: float
    outcomes: tuple[Outcome, ...]
    foreseen: Foreseen

    @property
    def worth(self) -> float:
        return self.gain / self.touch.cost


def label_of(parts: Sequence[str]) -> Label:
    """What would be renewed: the part, whichever of its faults or joints it is."""
    return tuple(sorted({p.split(".")[0] for p in parts})) or SOUND_LABEL


def summed(shares: Iterable[tuple[Label, float]]) -> dict[Label, float]:
    """Shares of the same label added up."""
    found: dict[Label, float] = {}
    for label, share in shares:
        found[label] = found.get(label, 0.0) + share
    return found


def believed(ranking: Ranking) -> dict[Label, float]:
    """Belief in each repair."""
    return summed((label_of(suspect.parts), suspect.weight) for suspect in ranking.suspects)


def splits(explainer: Explainer, ranking: Ranking, touches: Sequence[Touch]) -> tuple[Split, ...]:
    """Every touch worth making, best worth first."""
    rows = counting(ranking)
    if len(rows) * len(touches) > WIDE:
        sifted = _weighed(explainer, ranking, touches, rows[:SIFTING])
        if sifted:
            touches = [split.touch for split in sifted[:SIFTED]]
    return tuple(_distinct(_weighed(explainer, ranking, touches, rows)))


def counting(ranking: Ranking) -> NDArray[np.int64]:
    """Components that carry nearly all of the belief, heaviest first."""
    rows = np.argsort(-ranking.weights, kind="stable")[:MOST_COMPONENTS]
    rows = rows[ranking.weights[rows] > LEAST_WEIGHT]
    faulty = np.array([bool(ranking.components[i].faults) for i in rows], dtype=bool)
    shares = np.where(faulty, ranking.weights[rows], 0.0)
    return np.asarray(rows[~faulty | (np.cumsum(shares) - shares < NEARLY_ALL * shares.sum())])


def _weighed(
    explainer: Explainer, ranking: Ranking, touches: Sequence[Touch], rows: NDArray[np.int64]
) -> list[Split]:
    """The touches that tell something, best worth first."""
    if not rows.size or not touches:
        return []
    labels = [label_of(to_renew(ranking.components[i].faults)) for i in rows]
    names = sorted(set(labels))
    if len(names) < 2:
        return []
    which = np.array([names.index(label) for label in labels])
    probes = [touch.probe for touch in touches]
    means, variances = explainer.foresee(ranking.components, ranking.scores, rows, probes)
    found: list[Split] = []
    for c, touch in enumerate(touches):
        good = np.isfinite(means[:, c])
        if good.sum() < 2:
            continue
        foreseen = Foreseen(
            ranking.weights[rows][good], tuple(names[k] for k in which[good]), means[good, c],
            variances[good, c],
        )
        split = _split(touch, foreseen, which[good], names)
        if split is not None:
            found.append(split)
    return sorted(found, key=lambda split: -split.worth)


def _within_reach(touch: Touch, means: Floats, sigma: Floats) -> tuple[Floats, Floats]:
    """Ohms beyond the meter's highest range all look alike."""
    if touch.probe.quantity is not Quantity.OHMS:
        return means, sigma
    top = math.log(top_ohms(touch.meter))
    over = means > top
    return np.where(over, top + 4 * OVER, means), np.where(over, OVER, sigma)


def _distinct(found: Sequence[Split]) -> Iterator[Split]:
    """Without the second lead polarity where it tells no more than the first."""
    told: dict[tuple[frozenset[str | None], str], float] = {}
    for split in found:
        probe = split.touch.probe
        if probe.powered:
            yield split
            continue
        key = (frozenset((probe.node, probe.minus)), probe.doing)
        if split.gain > told.get(key, 0.0) * 1.1:
            told[key] = split.gain
            yield split


def _split(
    touch: Touch, foreseen: Foreseen, which: NDArray[np.int64], names: Sequence[Label]
) -> Split | None:
    weights, error = foreseen.weights / foreseen.weights.sum(), touch.sigmas(foreseen.means)
    means, sigma = _within_reach(
        touch, foreseen.means, np.sqrt(foreseen.variances + error**2))
    edges = _edges(means, sigma, weights)
    cdf = fast_cdf((edges[:, None] - means) / sigma)
    mass = np.diff(np.vstack([np.zeros(len(means)), cdf, np.ones(len(means))]), axis=0) * weights
    table = np.stack([mass[:, which == k].sum(1) for k in range(len(names))], axis=1)
    prior = table.sum(0)
    outcome = table.sum(1)
    likely = table > 1e-15
    ratio = np.ones_like(table)
    np.divide(table, outcome[:, None] * prior, out=ratio, where=likely)
    gain = float((np.where(likely, table, 0.0) * np.log2(ratio)).sum())
    if gain < WORTH:
        return None
    bounds = np.concatenate([[edges[0]], edges, [edges[-1]]])
    outcomes = _outcomes(bounds, table, names)
    if touch.cost >= DEAR and not decides(outcomes, dict(zip(names, prior, strict=True))):
        return None
    if touch.probe.quantity not in (Quantity.VOLTS, Quantity.DROP):
        outcomes = tuple(
            Outcome(unlogged(o.low), unlogged(o.high), o.chance, o.means) for o in outcomes
        )
    return Split(touch, gain, outcomes, foreseen)


def decides(outcomes: Sequence[Outcome], before: Mapping[Label, float]) -> bool:
    """Whether some outcome multiplies or divides the odds of a strong suspect by `DECIDES`.

    A reading whose outcomes lie closer together than the tolerances spread them only costs time.
    """
    for outcome in outcomes:
        after = dict(outcome.means)
        for label, share in before.items():
            now = after.get(label, 0.0)
            if now >= STRONG and _odds(now) >= DECIDES * _odds(share):
                return True
            if share >= STRONG and _odds(now) <= _odds(share) / DECIDES:
                return True
    return False


def _odds(share: float) -> float:
    return share / max(1.0 - share, 1e-9)


def _edges(means: Floats, sigma: Floats, weights: Floats) -> Floats:
    """Outcome boundaries where the predictions are, thinned to a fixed number."""
    strong = np.argsort(-weights)[:60]
    offsets = np.array([-3.0, -2.0, -1.0, -0.4, 0.4, 1.0, 2.0, 3.0])
    every = np.unique((means[strong, None] + sigma[strong, None] * offsets).ravel())
    if len(every) > EDGES:
        every = every[np.linspace(0, len(every) - 1, EDGES).astype(int)]
    return np.asarray(every)


def _outcomes(bounds: Floats, table: Floats, names: Sequence[Label]) -> tuple[Outcome, ...]:
    """Neighbouring bins in which the same parts lead, told together."""
    found: list[Outcome] = []
    start = 0
    leaders = np.where(table.sum(1) > 1e-9, np.argmax(table, axis=1), NOBODY).tolist()
    for place in range(1, len(table) + 1):
        if place < len(table) and leaders[place] == leaders[start]:
            continue
        part = table[start:place].sum(0)
        chance = float(part.sum())
        if chance >= LIKELY:
            share = part / chance
            likeliest = [(names[k], float(share[k])) for k in np.argsort(-share)[:4]]
            low, high = _core(bounds, table, start, place)
            found.append(Outcome(low, high, chance, _named(likeliest)))
        start = place
    return _merged(found)


def _core(bounds: Floats, table: Floats, start: int, stop: int) -> tuple[float, float]:
    """Limits of a run of bins without the outer 2 % of its own mass."""
    mass = table[start:stop].sum(1)
    share = np.cumsum(mass) / mass.sum()
    first = int(np.searchsorted(share, 0.02))
    last = int(np.searchsorted(share, 0.98))
    return float(bounds[start + first]), float(bounds[start + min(last, stop - start - 1) + 1])


def _merged(outcomes: Sequence[Outcome]) -> tuple[Outcome, ...]:
    """Neighbours led by the same part, told once."""
    found: list[Outcome] = []
    for outcome in outcomes:
        if found and found[-1].means[0][0] == outcome.means[0][0]:
            last = found[-1]
            chance = last.chance + outcome.chance
            shares = summed(
                (label, share * one.chance) for one in (last, outcome) for label, share in one.means
            )
            means = tuple(
                sorted(((k, v / chance) for k, v in shares.items()), key=lambda kv: -kv[1])
            )
            found[-1] = Outcome(last.low, outcome.high, chance, means)
        else:
            found.append(outcome)
    return tuple(replace(outcome, means=_named(outcome.means)) for outcome in found)


def _named(means: Sequence[tuple[Label, float]]) -> tuple[tuple[Label, float], ...]:
    """The likeliest however faint, for of a large board none may come to NAMED, and the others
    from there on."""
    first, *others = means
    return (first, *(one for one in others if one[1] >= NAMED))
