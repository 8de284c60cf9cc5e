"""Where the DC agrees: the one signal reading that tests the most of what is still untested."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.infer.components import NO_FAULT, Component, Scores
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import Fault
from biaspredict.infer.ranking import Ranking, components_of
from biaspredict.infer.splits import Split, splits
from biaspredict.infer.touches import Touch
from biaspredict.predict.observe import Predictor
from biaspredict.predict.spread import capacitances


def most_telling(
    explainer: Explainer, faults: Sequence[Fault], touches: Sequence[Touch]
) -> Split | None:
    """The touch that splits the silent `faults` from a sound stage, and each other, best.

    Belief before it: the sound specimens that explain the readings, and each silent fault as
    often as it is met. None where no touch tells anything of them.
    """
    if not faults or not touches:
        return None
    plain = explainer.predictor
    known = {axis.name for axis in plain.axes}
    more = tuple(a for a in capacitances(plain.stage) if a.name not in known)
    wide = Explainer(
        Predictor(plain.stage, plain.solver, (*plain.axes, *more)), explainer.task
    )
    components = (NO_FAULT, *components_of(faults))
    sound = wide.score([NO_FAULT], keep=1)
    if not sound.solved[0]:
        return None
    prior = np.exp(np.array([c.log_prior for c in components]))
    before = _all_alike(sound, components, prior / prior.sum())
    found = splits(wide, before, touches)
    return max(found, key=lambda split: split.gain, default=None)


def _all_alike(sound: Scores, components: tuple[Component, ...], weights: Floats) -> Ranking:
    """Silent faults explain every DC reading exactly as a sound stage does."""
    some = sound.taken([0] * len(components))
    shifts = max(len(c.faults) for c in components)
    return Ranking(
        float(weights[0]), float(sound.log_evidence[0]), 1.0, (), (), 1.0, components,
        some.widened(sound.total, shifts, sound.volts.shape[1]), weights,
    )
