"""What can be read: where a meter or generator is put, and what is done meanwhile."""

from __future__ import annotations

from dataclasses import dataclass, replace

from biaspredict.model.circuit import SOUND, Variation
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import Meter
from biaspredict.predict.meters import put_across, range_above
from biaspredict.predict.signal_probe import Signal


@dataclass(frozen=True, slots=True)
class Probe:
    """One thing that can be read.

    ohms: meter input resistance on volts; internal resistance on ohms and drop.
    volts: open-circuit volts of the ohmmeter or diode range.
    name: as the person names the probe point ("Q1.base" may be the lead itself).
    doing: what is done to the stage meanwhile (a leg lifted, the can warmed), in words;
    extra: the same as a variation on top of whatever fault is supposed. until: where its
        degree is not known (how warm), the other end of it; `extra` is the one. until_ohms: where
        the meter's range is not known, its ohms on the other.
    signal: how a gain or level is made; a gain is that of node over minus.
    """

    node: str
    minus: str | None = None
    quantity: Quantity = Quantity.VOLTS
    ohms: float = 10e6
    volts: float = 0.0
    name: str = ""
    doing: str = ""
    extra: Variation = SOUND
    until: Variation | None = None
    signal: Signal | None = None
    until_ohms: float | None = None

    @property
    def other_end(self) -> Probe | None:
        """The same at the other end of what is not known; None where all is."""
        if self.until is None and self.until_ohms is None:
            return None
        ohms = self.ohms if self.until_ohms is None else self.until_ohms
        return replace(self, extra=self.until or self.extra, ohms=ohms)

    @property
    def powered(self) -> bool:
        return self.quantity not in (Quantity.OHMS, Quantity.DROP)


def probe_of(reading: Reading, meter: Meter, signal: Signal | None = None) -> Probe:
    """The probe behind a reading."""
    ohms, volts = put_across(reading, meter)
    above = None
    if reading.quantity is Quantity.OHMS and not reading.over:
        above = range_above(meter, reading.value)
    return Probe(reading.node, reading.minus, reading.quantity, ohms, volts, reading.name,
                 extra=SOUND if signal is None else signal.extra, signal=signal, until_ohms=above)
