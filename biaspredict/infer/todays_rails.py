"""A sound stage on the rails as they were read."""

from __future__ import annotations

from functools import lru_cache

from biaspredict.infer.components import NO_FAULT, Scores, Task
from biaspredict.infer.evidence import Explainer
from biaspredict.model.readings import Quantity, Readings


@lru_cache(maxsize=1)
def on_todays_rails(today: Explainer, readings: Readings) -> tuple[Explainer, Scores]:
    """What the readings of rails alone say of a sound specimen: one row of scores.

    today: explains the readings, in their order.
    """
    rails = {rail.name for rail in today.predictor.stage.rails}
    keep = [
        k for k, r in enumerate(readings.entries)
        if r.quantity is Quantity.VOLTS and r.node in rails and r.minus is None
        and not r.meanwhile
    ]
    task = today.task
    fed = Task(tuple(task.probes[k] for k in keep), task.values[keep], task.sigmas[keep])
    explainer = Explainer(today.predictor, fed)
    return explainer, explainer.score([NO_FAULT], keep=1)
