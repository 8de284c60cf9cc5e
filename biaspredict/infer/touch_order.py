"""In which order to touch the points of a stage that nobody has measured yet.

On paper the order is fixed before the first reading, so each point is chosen as if every point
before it had read as a sound stage does: the reading that then tells most for its cost comes
next (minimum-entropy probing, see `splits`). Rails come first, since every node hangs on them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.infer.components import Component, Scores
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.ranking import Ranking
from biaspredict.infer.splits import counting, splits
from biaspredict.infer.touches import Touch
from biaspredict.predict.probe import Probe


@dataclass(frozen=True, slots=True)
class Order:
    """Every touch once. enough: how many of them tell something, if those before read as sound."""

    touches: tuple[Touch, ...]
    enough: int


def touch_order(explainer: Explainer, ranking: Ranking, touches: Sequence[Touch]) -> Order:
    """Rails, then what tells something, best first, then the others as the stage has them.

    ranking: before any reading.
    """
    rails = {rail.name for rail in explainer.predictor.stage.rails}
    first = [t for t in touches if t.probe.minus is None and t.probe.node in rails]
    rest = [t for t in touches if t not in first]
    if not rest:
        return Order(tuple(first), len(first))
    rows = counting(ranking)
    known = _Foreseen(explainer, ranking, rows, [*first, *rest])
    weights = np.zeros_like(ranking.weights)
    weights[rows] = ranking.weights[rows]
    sound = next((i for i, c in enumerate(ranking.components) if not c.faults), None)
    for touch in first:
        weights = known.as_sound(weights, sound, touch)
    told: list[Touch] = []
    while rest:
        best = splits(known, replace(ranking, weights=weights), rest)
        if not best:
            break
        told.append(best[0].touch)
        rest.remove(best[0].touch)
        weights = known.as_sound(weights, sound, best[0].touch)
    return Order((*first, *told, *rest), len(first) + len(told))


class _Foreseen(Explainer):
    """Remembers what every component foresees, so that it is worked out only once."""

    def __init__(
        self, base: Explainer, ranking: Ranking, rows: NDArray[np.int64], touches: Sequence[Touch]
    ) -> None:
        super().__init__(base.predictor, base.task)
        probes = [touch.probe for touch in touches]
        self._means, self._variances = base.foresee(
            ranking.components, ranking.scores, rows, probes
        )
        self._rows = rows
        self._row = {int(row): place for place, row in enumerate(rows)}
        self._column = {probe: place for place, probe in enumerate(probes)}

    def foresee(
        self, components: Sequence[Component], scores: Scores, rows: NDArray[np.int64],
        probes: Sequence[Probe],
    ) -> tuple[Floats, Floats]:
        """As Explainer's, from memory."""
        at = np.ix_([self._row[int(r)] for r in rows], [self._column[p] for p in probes])
        return self._means[at], self._variances[at]

    def as_sound(self, weights: Floats, sound: int | None, touch: Touch) -> Floats:
        """The weights after this touch has read what a sound stage shows.

        Readings count as independent of each other here: good enough to choose an order by.
        """
        if sound not in self._row:
            return weights
        column = self._column[touch.probe]
        means, variances = self._means[:, column], self._variances[:, column]
        middle = means[self._row[sound]]
        if not np.isfinite(middle):
            return weights
        spread = variances + touch.sigma(float(middle)) ** 2
        log = -0.5 * ((middle - means) ** 2 / spread + np.log(spread))
        log = np.where(np.isfinite(log), log, -np.inf)
        found = np.zeros_like(weights)
        found[self._rows] = weights[self._rows] * np.exp(log - log.max())
        total = found.sum()
        return found / total if total > 0 else weights
