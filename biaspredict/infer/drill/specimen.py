"""The specimen on the bench: what the meter shows on it, rounded as the meter shows it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from biaspredict.errors import Unsolved
from biaspredict.infer.drill.hidden import Hidden
from biaspredict.infer.tasks import LOGARITHMIC
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import Meter
from biaspredict.predict.meters import (
    LEADS,
    NEEDLE_READING,
    OHMS_READING,
    display_step,
    reading_sigma,
    unlogged,
)
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe

MOST_OHMS = 20e6  # what a usual meter shows before it says that there is more
USUAL_ERROR = 0.5  # share of its promised error that a meter makes


@dataclass(frozen=True, slots=True)
class Shown:
    """What the meter shows: volts or ohms, and the worth of its last digit; over: more than it
    can show."""

    value: float
    step: float
    over: bool = False


class Specimen:
    """One hidden fault in one specimen, read with one meter."""

    def __init__(self, predictor: Predictor, hidden: Hidden, meter: Meter, number: int) -> None:
        self.predictor, self.hidden, self.meter = predictor, hidden, meter
        random = np.random.default_rng([number, 7])
        # A meter errs the same way each time on one kind of range.
        self._volts = 1.0 + USUAL_ERROR * meter.accuracy * float(random.uniform(-1.0, 1.0))
        self._ohms = 1.0 + USUAL_ERROR * OHMS_READING * float(random.uniform(-1.0, 1.0))

    def true(self, probe: Probe) -> float:
        """What a perfect display behind this meter's resistance would show. Raises Unsolved."""
        amounts = self.hidden.amounts[None]
        seen = self.predictor.observe([self.hidden.variation], amounts, [probe])
        if not seen.solved[0]:
            raise Unsolved(
                "with that done the specimen has no operating point that could be verified",
                remedy="Take another reading.",
            )
        value = float(seen.values[0, 0])
        return unlogged(value) if probe.quantity in LOGARITHMIC else value

    def shown(self, probe: Probe) -> Shown:
        """The same on the display. Raises Unsolved."""
        value = self.true(probe)
        if probe.quantity is Quantity.OHMS:
            value = value * self._ohms + LEADS
            if value > MOST_OHMS:
                return Shown(MOST_OHMS, 0.0, True)
            step = display_step(value)
        else:
            value *= self._volts
            step = display_step(value) if abs(value) >= 5e-4 else 1e-3
            if self.meter.needle:
                step = NEEDLE_READING * self.meter.scale(value)
        return Shown(round(value / step) * step, step)

    def sigma(self, probe: Probe, shown: Shown) -> float:
        """Error of what is shown, of its logarithm for ohms."""
        reading = Reading(probe.name, probe.node, shown.value, probe.quantity, step=shown.step)
        sigma = reading_sigma(reading, self.meter)
        if probe.quantity in LOGARITHMIC:
            return sigma / max(abs(shown.value), LEADS)
        return sigma
