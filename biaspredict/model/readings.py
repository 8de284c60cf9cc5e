"""What was read at the bench, with which meter and under which conditions."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import Enum

from biaspredict.model.stage import Meter
from biaspredict.span import Span


class Quantity(Enum):
    VOLTS = "volts"  # power on, DC
    OHMS = "ohms"  # power off
    DROP = "drop"  # power off, diode range, volts
    GAIN = "gain"  # output over input, signal, ratio of amplitudes
    LEVEL = "level"  # signal volts rms
    RIPPLE = "ripple"  # volts peak to peak


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading.

    name, node: as written, and the canonical node (the probe); minus_name, minus: the other
        lead, None for ground. For OHMS and DROP the probe is the meter's positive lead.
    value: volts, ohms or a plain ratio, in the quantity's unit.
    about: the person wrote "about": the reading is taken 5 % wide.
    over: the meter showed overload or infinity; `value` is then a lower bound.
    meter: None means the file's meter. range_volts: of a needle meter, for this reading.
    hertz: for signals. celsius, line_volts, minutes: conditions where they differ from the
        file's (minutes since switch-on, or charging time on an ohms reading).
    remark: "drifting" and the like, kept and printed, widens nothing by itself.
    step: worth of the last digit as written ("1.90": 0.01, ".06": 0.01, "10": 1), 0 if unknown.
    """

    name: str
    node: str
    value: float
    quantity: Quantity = Quantity.VOLTS
    minus_name: str | None = None
    minus: str | None = None
    about: bool = False
    over: bool = False
    meter: Meter | None = None
    range_volts: float | None = None
    hertz: float | None = None
    celsius: float | None = None
    line_volts: float | None = None
    minutes: float | None = None
    remark: str = ""
    step: float = 0.0
    origin: Span | None = field(default=None, compare=False)


USUAL_METER = Meter()


@dataclass(frozen=True, slots=True)
class Readings:
    """A set of readings of one stage on one day.

    drive: generator (volts rms, source ohms, node) for signal readings, None where not given.
    skipped: names the person did not dare or could not reach.
    other: readings under the names of the other channel (Stage.twins), each at the node of
        this channel that is its fellow. They are evidence, not readings of this channel.
    fresh: references of parts put in before these readings were taken.
    """

    title: str
    entries: tuple[Reading, ...]
    day: date | None = None
    meter: Meter = USUAL_METER
    celsius: float | None = None
    line_volts: float | None = None
    minutes: float | None = None
    drive: tuple[float, float, str] | None = None
    skipped: tuple[str, ...] = ()
    other: tuple[Reading, ...] = ()
    fresh: tuple[str, ...] = ()
    file: str = field(default="", compare=False)
