"""What one statement says, as plain records: names, amounts and clauses with their places."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from biaspredict.span import Span


@dataclass(frozen=True, slots=True)
class Mark:
    """A stretch of text as written, and where."""

    text: str
    place: Span


@dataclass(frozen=True, slots=True)
class Amount:
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


@dataclass(frozen=True, slots=True)
class Clause:
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


@dataclass(frozen=True, slots=True)
class Item:
    """One stop of a path: a node or a part, with the marks before and behind its name."""

    name: Mark
    before: str
    after: str
    clauses: tuple[Clause, ...]
    place: Span


@dataclass(frozen=True, slots=True)
class Path:
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Title:
    text: Mark
    day: Mark | None = None


@dataclass(frozen=True, slots=True)
class Note:
    text: str


@dataclass(frozen=True, slots=True)
class Alias:
    name: Mark
    of: Mark


@dataclass(frozen=True, slots=True)
class Outside:
    """A rail, an input, an output or a pin, whichever `what` says."""

    what: str
    name: Mark
    clauses: tuple[Clause, ...]


@dataclass(frozen=True, slots=True)
class Assume:
    groups: tuple[tuple[Clause, ...], ...]


@dataclass(frozen=True, slots=True)
class ChartHead:
    clauses: tuple[Clause, ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a chart; `over` where it is printed as infinite."""

    name: Mark
    minus: Mark | None
    about: bool
    over: bool
    amount: Amount | None
    place: Span


@dataclass(frozen=True, slots=True)
class Other:
    """The other channel: pairs of names, or an offset."""

    pairs: tuple[Alias, ...]
    offset: Clause | None


@dataclass(frozen=True, slots=True)
class ForStage:
    title: Mark


@dataclass(frozen=True, slots=True)
class Conditions:
    clauses: tuple[Clause, ...]


@dataclass(frozen=True, slots=True)
class Skip:
    names: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Generator:
    amount: Amount
    source: Clause | None
    key: str
    node: Mark
    place: Span


@dataclass(frozen=True, slots=True)
class Entry:
    """One reading as written; over: "over" stands before the figure or in its place."""

    name: Mark
    minus: Mark | None
    across: bool
    about: bool
    over: bool
    clauses: tuple[Clause, ...]
    remark: str
    place: Span


@dataclass(frozen=True, slots=True)
class Entries:
    """quantity: the leading word in small letters, "" for plain volts."""

    quantity: str
    entries: tuple[Entry, ...]


StageStatement = Title | Note | Path | Alias | Outside | Assume | ChartHead | Other
ReadingsStatement = Title | ForStage | Conditions | Skip | Generator | Entries
