"""From the text of a readings file, or of one line typed at the bench, to readings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import ParamSpec

from biaspredict.errors import InputError, Mistakes
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import Meter, Stage
from biaspredict.notation import outside, reason, syntax
from biaspredict.notation.channels import either
from biaspredict.notation.clauses import (
    Clause,
    Conditions,
    Entries,
    Entry,
    ForStage,
    Generator,
    ReadingsStatement,
    Skip,
    Title,
)
from biaspredict.notation.figures import Bench, Unknown, left_out, minutes
from biaspredict.notation.lines import Line, cut
from biaspredict.notation.names import Index
from biaspredict.notation.outside import METER_KEYS, misfit, single
from biaspredict.notation.statements import fail, start_of
from biaspredict.span import Span

P = ParamSpec("P")

HOW_CONDITIONS = "line 121 V, temperature 31 C, after 20 minutes or meter 10 MEG, each on its line"
HOW_GENERATOR = "generator 10 mV from 600 at IN"
HOW_TITLE = 'readings "channel A" 2026-11-20'
FEW = 3  # unknown names from which a file may belong to another stage


def read_readings(text: str, file: str, stage: Stage) -> Readings:
    """Read the text of a readings file; `file` is its name in messages.

    Raises Mistakes with every mistake of the file, or with one if it belongs to another stage.
    """
    lines, wrong = cut(text, file)
    _refuse_others(lines, wrong, text, file)
    book = _Book(Bench(stage, Index(stage)), list(wrong))
    said: list[tuple[Line, ReadingsStatement]] = []
    for line in lines:
        try:
            said.append((line, syntax.readings_statement(line)))
        except InputError as problem:
            book.wrong.append(problem)
    for line, what in said:
        if isinstance(what, ForStage):
            _same_stage(what, stage)
        elif isinstance(what, Title):
            book.attempt(book.title, what, line)
        elif isinstance(what, Conditions):
            book.attempt(book.conditions, what, line)
    if not book.titled and not lines[0].text.casefold().startswith("readings"):
        book.wrong.append(
            InputError(
                "the file does not begin with the title of the readings",
                remedy=f"Write {HOW_TITLE} in its first line.",
                place=start_of(text, file),
            )
        )
    for _, what in said:
        book.take(what)
    _strangers(book, text, file)
    fail(book.wrong)
    return Readings(
        title=book.name,
        entries=tuple(book.entries),
        meter=book.bench.meter,
        skipped=tuple(dict.fromkeys(book.skipped)),
        left_out=tuple(book.left_out),
        other=tuple(book.other),
        file=file,
        **book.values,  # type: ignore[arg-type]
    )


def parse_entry(text: str, stage: Stage) -> Reading:
    """Read one reading as typed at the bench, such as "Q1.base 3,1". Raises InputError.

    Under a name of the other channel it is a reading at the fellow of that node here.
    """
    lines, wrong = cut(text, "reading")
    if wrong:
        raise wrong[0]
    if not lines:
        raise InputError("nothing is typed", remedy="Write it like Q1.base 3.1.")
    said = syntax.readings_statement(lines[0])
    if len(lines) > 1 or not isinstance(said, Entries) or len(said.entries) > 1:
        raise InputError(
            "one reading at a time", remedy="Write it like Q1.base 3.1.", place=lines[0].span()
        )
    return either(said.entries[0], said.quantity, Bench(stage, Index(stage)))[0]


def _refuse_others(
    lines: tuple[Line, ...], wrong: tuple[InputError, ...], text: str, file: str
) -> None:
    """A file that holds no readings at all gets one message."""
    if not lines and not wrong:
        remedy = f"Readings begin with {HOW_TITLE}; see grammar/README.md."
        raise Mistakes(
            [InputError("the file says nothing", remedy=remedy, place=start_of(text, file))]
        )
    if not lines:
        raise Mistakes(wrong)
    if lines[0].text.split(maxsplit=1)[0].casefold() == "stage":
        remedy = "Name the stage file first, then the readings."
        raise Mistakes(
            [InputError("this is a stage, not readings", remedy=remedy, place=lines[0].span())]
        )


def _same_stage(said: ForStage, stage: Stage) -> None:
    wanted, title = (" ".join(t.casefold().split()) for t in (said.title.text, stage.title))
    if wanted != title:
        raise Mistakes(
            [
                InputError(
                    f'these readings are for "{said.title.text}", and the stage is "{stage.title}"',
                    remedy="Name the other stage file, or mend the line if it is a slip.",
                    place=said.title.place,
                )
            ]
        )


def _strangers(book: _Book, text: str, file: str) -> None:
    """Many unknown names are one mistake: the readings of another stage."""
    count, names = len(book.bench.unknown), book.bench.named
    if count >= FEW and 2 * count > names:
        raise Mistakes(
            [
                InputError(
                    f'{count} of {names} names are not in the stage "{book.bench.stage.title}"',
                    remedy="These readings belong to another stage: name that one's file. "
                    f"The first unknown name: {book.bench.unknown[0].fact}.",
                    place=book.bench.unknown[0].place or start_of(text, file),
                )
            ]
        )
    book.wrong += book.bench.unknown


@dataclass(slots=True)
class _Book:
    """The readings while they are collected; `values` are fields of the record Readings."""

    bench: Bench
    wrong: list[InputError]
    name: str = ""
    titled: bool = False
    values: dict[str, float | date | tuple[float, float, str]] = field(default_factory=dict)
    entries: list[Reading] = field(default_factory=list)
    other: list[Reading] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)
    left_out: list[Reading] = field(default_factory=list)
    metered: bool = False

    def attempt(self, act: Callable[P, None], *args: P.args, **named: P.kwargs) -> None:
        """Do it; its mistake goes to `wrong`, unknown names to where they are counted."""
        try:
            act(*args, **named)
        except Unknown:
            pass
        except InputError as problem:
            self.wrong.append(problem)

    def title(self, said: Title, line: Line) -> None:
        if self.titled:
            raise InputError(
                "a second set of readings begins here",
                remedy="Give it a file of its own.",
                place=line.span(),
            )
        self.titled = True
        self.name = said.text.text
        if said.day is not None:
            year, month, day = (int(piece) for piece in said.day.text.split("-"))
            try:
                self.values["day"] = date(year, month, day)
            except ValueError:
                raise InputError(
                    f"{said.day.text} is no day",
                    remedy="Write year, month, day like 2026-11-20.",
                    place=said.day.place,
                ) from None

    def conditions(self, said: Conditions, line: Line) -> None:
        of_meter: list[Clause] = []
        clauses = list(said.clauses)
        while clauses:
            clause = clauses.pop(0)
            if clause.key == "meter" or (of_meter and clause.key in ("", *METER_KEYS)):
                of_meter.append(clause)
            elif clause.key in _CONDITIONS:
                name, why = _CONDITIONS[clause.key]
                self._put(name, reason.value(single(clause, HOW_CONDITIONS), why), clause.place)
            elif clause.key == "after":
                self._put("minutes", minutes(clause, clauses, HOW_CONDITIONS), clause.place)
            else:
                raise misfit(clause, HOW_CONDITIONS, ("meter", "after", *_CONDITIONS))
        if of_meter:
            if self.metered:
                raise InputError(
                    "a second meter",
                    remedy="Write it behind the readings it took: Q1.base 3.1 meter 20 kohm/V.",
                    place=line.span(),
                )
            self.metered = True
            self.bench.meter = outside.meter(of_meter, Meter())

    def _put(self, name: str, value: float | tuple[float, float, str], place: Span) -> None:
        if name in self.values:
            raise InputError(
                "this is said twice",
                remedy="Where it differs, write it behind the reading.",
                place=place,
            )
        self.values[name] = value

    def take(self, said: ReadingsStatement) -> None:
        if isinstance(said, Skip):
            for quantity, entry in said.points:
                self.attempt(self._skip, entry, quantity)
        elif isinstance(said, Generator):
            self.attempt(self._generator, said)
        elif isinstance(said, Entries):
            for entry in said.entries:
                self.attempt(self._entry, entry, said.quantity)

    def _entry(self, entry: Entry, quantity: str) -> None:
        found, theirs = either(entry, quantity, self.bench)
        (self.other if theirs else self.entries).append(found)

    def _skip(self, entry: Entry, quantity: str) -> None:
        """A node that cannot be reached at all, or one reading that is not taken."""
        found = left_out(entry, quantity, self.bench)
        plain = found.quantity is Quantity.VOLTS and found.minus is None and not found.meanwhile
        if plain:
            self.skipped.append(found.name)
        else:
            self.left_out.append(found)

    def _generator(self, said: Generator) -> None:
        if said.key != "at" or (said.source is not None and said.source.key != "from"):
            raise InputError(
                "a generator is given by volts, ohms and its node",
                remedy=f"Write {HOW_GENERATOR}.",
                place=said.place,
            )
        volts = reason.value(said.amount, reason.SIGNAL)
        ohms = 0.0
        if said.source is not None:
            ohms = reason.value(single(said.source, HOW_GENERATOR), reason.SOURCE_OHMS)
        if where := self.bench.find(said.node):
            self._put("drive", (volts, ohms, where[1]), said.place)


_CONDITIONS = {
    "line": ("line_volts", reason.LINE_VOLTS),
    "temperature": ("celsius", reason.CELSIUS),
}
