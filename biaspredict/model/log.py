"""The bench log of a set: what was read, advised, done and fitted, in the order it happened."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum

from biaspredict.span import Span


class Verb(Enum):
    """What an entry records; the value is the word written."""

    STAGE = "stage"  # the entries that follow are about this stage
    WITH = "with"  # meter or conditions from here on
    READ = "read"  # a reading, as in a readings file
    NOTED = "noted"  # a reading that is kept but not reasoned with
    SKIP = "skip"  # a point not dared or not reached
    ADVISED = "advised"  # the reading asked for
    FOUND = "found"  # the answer at that point
    DID = "did"  # something done that is no reading
    PROMISED = "promised"  # what a point will read after the repair, said before it
    FITTED = "fitted"  # a part put in
    KEPT = "kept"  # the promised reading came as promised
    MISSED = "missed"  # it did not
    NOTE = "note"
    UNDO = "undo"  # takes back the entries of these lines


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the log.

    line: its number in the file. body: what stands behind the verb. column: where that begins.
    checked: the line carries the check it was written with; one typed by hand has none.
    """

    line: int
    when: datetime
    verb: Verb
    body: str
    column: int = 1
    checked: bool = True
    place: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Damage:
    """Where a log cannot be read on: the fact, the remedy, and the lines after it."""

    place: Span
    fact: str
    remedy: str
    unread: int


@dataclass(frozen=True, slots=True)
class Log:
    """A bench log as far as it can be read.

    cut: lines that a crash or a power cut ended in the middle; they are not used.
    unfinished: the last of them has not even been closed.
    """

    title: str
    begun: datetime | None
    entries: tuple[Entry, ...]
    file: str = field(default="", compare=False)
    cut: tuple[Span, ...] = ()
    unfinished: bool = False
    damage: Damage | None = None

    @property
    def standing(self) -> tuple[Entry, ...]:
        """The entries that have not been taken back, without the takings back."""
        gone = {int(n) for e in self.entries if e.verb is Verb.UNDO for n in e.body.split()}
        return tuple(
            e for e in self.entries if e.verb is not Verb.UNDO and e.line not in gone
        )
