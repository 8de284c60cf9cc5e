"""What was read at the bench, with which meter and under which conditions."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import Enum

from biaspredict.model.stage import Meter
from biaspredict.quantities import Unit, engineering
from biaspredict.span import Span


class Quantity(Enum):
    VOLTS = "volts"  # power on, DC
    OHMS = "ohms"  # power off
    DROP = "drop"  # power off, diode range, volts
    GAIN = "gain"  # output over input, signal, ratio of amplitudes
    LEVEL = "level"  # signal volts rms
    RIPPLE = "ripple"  # volts peak to peak


class Deed(Enum):
    """What may be done to a stage while a reading is taken."""

    LIFTED = "lifted"  # one leg out of the board
    WARM = "warm"  # by a fingertip or a warm cloth
    COOL = "cool"  # by a cold spray
    ACROSS = "across"  # a resistor put across the points that are read


@dataclass(frozen=True, slots=True)
class Meanwhile:
    """ref: the part ("C1"), or the leg of one with three ("Q1.base"). ohms: of what is put
    across the points read."""

    deed: Deed
    ref: str = ""
    ohms: float = 0.0

    @property
    def text(self) -> str:
        """As it is written behind a reading."""
        what = self.ref if self.deed is not Deed.ACROSS else engineering(self.ohms, Unit.OHM)
        return f"with {what} {self.deed.value}"


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
    meanwhile: what was done to the stage for this reading; empty: it was read as found.
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
    meanwhile: tuple[Meanwhile, ...] = ()
    remark: str = ""
    step: float = 0.0
    origin: Span | None = field(default=None, compare=False)


USUAL_METER = Meter()


@dataclass(frozen=True, slots=True)
class Readings:
    """A set of readings of one stage on one day.

    drive: generator (volts rms, source ohms, node) for signal readings, None where not given.
    skipped: names the person did not dare or could not reach. left_out: other readings that
        are not taken; their values mean nothing.
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
    left_out: tuple[Reading, ...] = ()
    other: tuple[Reading, ...] = ()
    fresh: tuple[str, ...] = ()
    file: str = field(default="", compare=False)

    @property
    def as_found(self) -> tuple[Reading, ...]:
        """The readings for which nothing was done to the stage."""
        return tuple(entry for entry in self.entries if not entry.meanwhile)
