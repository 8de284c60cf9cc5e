"""What one more reading says at first sight: before anything is solved again.

An advised reading was foreseen from every explanation that counts, each with its spread given the
readings so far. What it turns out to be shifts their belief by Bayes' rule at once. None is
linearised afresh, and those that did not count keep their share until all are weighed again.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from biaspredict.infer.splits import Label, Split, summed
from biaspredict.infer.tasks import task_of
from biaspredict.model.readings import Reading, Readings
from biaspredict.model.stage import Stage
from biaspredict.predict.probe import Probe

STRANGE = 4.0  # standard deviations from the nearest explanation at which none is meant


def at_first_sight(
    splits: tuple[Split, ...], stage: Stage, readings: Readings, reading: Reading
) -> tuple[tuple[Label, float], ...]:
    """Belief in each part (or sound) after one more reading, the greatest first; it sums to what
    was foreseen at all.

    splits: of the answer before it; readings: with their meter and conditions. Nothing where the
    reading was not foreseen, is only a bound, or lies far from all that was foreseen.
    """
    if reading.over:
        return ()
    try:
        task = task_of(replace(readings, entries=(reading,)), stage)
    except ValueError:  # a signal that nothing drives
        return ()
    asked = _key(task.probes[0])
    foreseen = next((s.foreseen for s in splits if _key(s.touch.probe) == asked), None)
    if foreseen is None:
        return ()
    variance = foreseen.variances + task.sigmas[0] ** 2
    off = (task.values[0] - foreseen.means) ** 2 / variance
    if off.min() > STRANGE**2:
        return ()
    with np.errstate(divide="ignore"):
        belief = np.log(foreseen.weights) - 0.5 * (off + np.log(variance))
    after = np.exp(belief - belief.max())
    after *= foreseen.weights.sum() / after.sum()
    shares = summed(zip(foreseen.labels, after.tolist(), strict=True))
    return tuple(sorted(shares.items(), key=lambda item: -item[1]))


def _key(probe: Probe) -> object:
    return probe.node, probe.minus, probe.quantity, probe.doing, probe.extra
