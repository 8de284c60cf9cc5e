"""A drill as it is kept: which stage, which fault, what has been read and named so far."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from biaspredict.model.stage import Meter
from biaspredict.span import Span


class Deed(Enum):
    """What a learner did."""

    READ = "read"  # a reading was taken, and showed something
    NAMED = "named"  # a part was named
    GAVE_UP = "gave up"


@dataclass(frozen=True, slots=True)
class Done:
    """One deed. text: the reading as asked for, or the part named. shown: what the meter showed,
    as written ("2.03", "4.65K", "over")."""

    deed: Deed
    text: str = ""
    shown: str = ""
    origin: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Drill:
    """title: of the stage. stage: path of its file, as seen from the drill's own folder.

    level: 1 easy to 3 hard. number: stands for the hidden fault and the specimen's tolerances.
    fault: where a teacher chose it, in words such as "R2 opens"; then the number stands for the
    tolerances alone.
    """

    title: str
    stage: str
    level: int
    number: int
    meter: Meter = field(default_factory=Meter)
    meter_text: str = ""
    fault: str = ""
    done: tuple[Done, ...] = ()
    file: str = field(default="", compare=False)
