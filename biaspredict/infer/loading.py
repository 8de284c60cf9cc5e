"""Where a reading strays from the unloaded volts because the meter itself takes them down."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from biaspredict.infer.components import NO_FAULT
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.todays_rails import on_todays_rails
from biaspredict.model.circuit import OPEN
from biaspredict.model.readings import Quantity, Reading, Readings

WORTH = 0.05  # share of the unloaded volts from which loading is worth a word
LEAST = 0.02  # volts, the same
EXPLAINS = 0.5  # the least share of the deviation that the meter must make up


@dataclass(frozen=True, slots=True)
class Loading:
    """A reading that the meter explains.

    alone: volts of a sound stage without the meter; shown: with it, low to high in 95 % of
    specimens. ohms: of the meter.
    """

    reading: Reading
    alone: float
    shown: float
    low: float
    high: float
    ohms: float


def loading(explainer: Explainer, readings: Readings) -> tuple[Loading, ...]:
    """Readings that stray from the unloaded volts about as far as their own meter takes them.

    explainer: explains the readings, in their order.
    """
    task, entries = explainer.task, readings.entries
    places = [
        k for k, r in enumerate(entries) if r.quantity is Quantity.VOLTS and not r.over
    ]
    if not places:
        return ()
    probes = [task.probes[k] for k in places]
    free = [replace(probe, ohms=OPEN) for probe in probes]
    plain, scores = on_todays_rails(explainer, readings)
    seen, slopes = plain.look([NO_FAULT], scores.latents_of([0]), 0, [*probes, *free])
    if not seen.solved[0]:
        return ()
    count = len(probes)
    noise = plain.model_noise(seen.values[:, :count], probes)[0]
    found = []
    for i, k in enumerate(places):
        shown, alone = float(seen.values[0, i]), float(seen.values[0, count + i])
        taken, strays = alone - shown, alone - entries[k].value
        variance = (slopes[0, i] ** 2).sum() + noise[i] + task.sigmas[k] ** 2
        spread = 1.96 * math.sqrt(float(variance))
        if abs(taken) < max(WORTH * abs(alone), LEAST) or taken * strays <= 0.0:
            continue
        if not EXPLAINS <= taken / strays <= 1.0 / EXPLAINS:
            continue
        if abs(entries[k].value - shown) <= spread:
            found.append(Loading(
                entries[k], alone, shown, shown - spread, shown + spread, probes[i].ohms
            ))
    return tuple(found)
