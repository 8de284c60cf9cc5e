"""What one statement says, as plain records: names, amounts and clauses with their places.

Tuples with names, since a score of dataclasses would take longer to define than a stage to read.
"""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple

from biaspredict.span import Span


class Mark(NamedTuple):
    """A stretch of text as written, and where."""

    text: str
    place: Span


class Amount(NamedTuple):
    """A value as written; `sure` where a ! behind it confirms that it is meant."""

    text: str
    place: Span
    sure: bool = False


class Form(Enum):
    """What a clause consists of."""

    WORD = "a word"  # carbon
    AMOUNT = "a value"  # 100K
    SPAN = "two limits"  # 80..300
    TOLERANCE = "a tolerance"  # 5%
    BARE = "nothing"  # a keyword without anything behind it
    PER_VOLT = "ohms per volt"
    DIGITS = "digits"
    OF_RANGE = "of range"


class Clause(NamedTuple):
    """One thing said behind a name.

    key: the keyword in small letters with single blanks ("reverse gain"), "" where there is none.
    amounts: one for AMOUNT, two for SPAN. text: the word, tolerance or other text.
    place: all of it.
    """

    key: str
    form: Form
    place: Span
    amounts: tuple[Amount, ...] = ()
    text: str = ""

    @property
    def word(self) -> str:
        """The bare word in small letters, "" where the clause is something else."""
        return self.text.casefold() if self.form is Form.WORD and not self.key else ""


class Item(NamedTuple):
    """One stop of a path: a node or a part, with the marks before and behind its name."""

    name: Mark
    before: str
    after: str
    clauses: tuple[Clause, ...]
    place: Span


class Path(NamedTuple):
    items: tuple[Item, ...]


class Title(NamedTuple):
    text: Mark
    day: Mark | None = None


class Note(NamedTuple):
    text: str


class Alias(NamedTuple):
    name: Mark
    of: Mark


class Outside(NamedTuple):
    """A rail, an input, an output or a pin, whichever `what` says."""

    what: str
    name: Mark
    clauses: tuple[Clause, ...]


class Assume(NamedTuple):
    groups: tuple[tuple[Clause, ...], ...]


class ChartHead(NamedTuple):
    clauses: tuple[Clause, ...]


class Figure(NamedTuple):
    """A figure of a chart; `over` where it is printed as infinite."""

    name: Mark
    minus: Mark | None
    about: bool
    over: bool
    amount: Amount | None
    place: Span


class Other(NamedTuple):
    """The other channel: pairs of names, or an offset."""

    pairs: tuple[Alias, ...]
    offset: Clause | None


class Adjusted(NamedTuple):
    """What a trimmer was set for: volts across a part, or at a node, to ground or to `minus`."""

    ref: Mark
    amount: Amount
    across: bool
    name: Mark
    minus: Mark | None
    place: Span


class ForStage(NamedTuple):
    title: Mark


class Conditions(NamedTuple):
    clauses: tuple[Clause, ...]


class Skip(NamedTuple):
    """What is left out: its quantity, "" for plain volts, and where, without a figure."""

    points: tuple[tuple[str, Entry], ...]


class Generator(NamedTuple):
    amount: Amount
    source: Clause | None
    key: str
    node: Mark
    place: Span


class Doing(NamedTuple):
    """What is done meanwhile: `word` to the part or leg `name`, or `amount` put across."""

    word: str
    name: Mark | None
    amount: Amount | None
    place: Span


class Entry(NamedTuple):
    """One reading as written; over: "over" stands before the figure or in its place."""

    name: Mark
    minus: Mark | None
    across: bool
    about: bool
    over: bool
    clauses: tuple[Clause, ...]
    remark: str
    place: Span
    doings: tuple[Doing, ...] = ()


class Entries(NamedTuple):
    """quantity: the leading word in small letters, "" for plain volts."""

    quantity: str
    entries: tuple[Entry, ...]


StageStatement = Title | Note | Path | Alias | Outside | Assume | ChartHead | Other | Adjusted
ReadingsStatement = Title | ForStage | Conditions | Skip | Generator | Entries
