"""One sitting with one stage: each typed line goes into the log, and the answer changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from biaspredict.bench import promises
from biaspredict.bench.asking import LEFT_OUT, SAFE_OHMS, Ask, needs_no_answer, next_ask
from biaspredict.bench.typed import HELP, Act, Typed, read_typed
from biaspredict.errors import BiaspredictError, InputError
from biaspredict.infer.first_sight import at_first_sight
from biaspredict.infer.progress import State, progress
from biaspredict.infer.splits import Label
from biaspredict.infer.verdict import Verdict
from biaspredict.model.log import Entry, Verb
from biaspredict.model.readings import Deed, Quantity, Reading, Readings
from biaspredict.model.stage import Stage
from biaspredict.notation import parse_entry, read_readings
from biaspredict.notation.change import read_change
from biaspredict.notation.history import Chapter, as_logged, chapter_of, stage_body
from biaspredict.notation.log_writer import LogWriter
from biaspredict.notation.logbook import load_log
from biaspredict.report import accusing, entering, words

Judge = Callable[[Stage, Readings], Verdict]
TAKEN_BACK = (Verb.READ, Verb.NOTED, Verb.SKIP, Verb.DID, Verb.FITTED, Verb.WITH, Verb.NOTE)


@dataclass(frozen=True, slots=True)
class Step:
    """What the bench says to one typed line. over: the sitting has ended."""

    said: tuple[str, ...]
    over: bool = False


class Sitting:
    """A stage, its log, and what is asked for now.

    judge: ranks the readings. clock: the time of each entry.
    """

    def __init__(
        self, stage: Stage, file: str, writer: LogWriter, judge: Judge,
        clock: Callable[[], datetime] = datetime.now,
    ) -> None:
        self.printed = stage
        self.writer = writer
        self._judge = judge
        self._clock = clock
        self._power: bool | None = None
        self._told: set[str] = set()
        self.verdict: Verdict | None = None
        self.first_sight = ""  # what the last reading says, while its answer is worked out
        self.asked: Ask | None = None
        self._read_log()
        if not self.chapter.entries:
            writer.add(Verb.STAGE, stage_body(stage.title, file), clock())
        elif _last_stage(writer) != stage.title:
            writer.add(Verb.STAGE, stage_body(stage.title, self.chapter.file or file), clock())

    def _read_log(self) -> None:
        """Everything follows from the log, so that a sitting resumed is the same sitting."""
        log = load_log(self.writer.path)
        self.chapter: Chapter = chapter_of(log, self.printed)
        self.stage, self.readings = as_logged(log, self.printed)

    def _add(self, verb: Verb, body: str) -> int:
        return self.writer.add(verb, body, self._clock())

    @property
    def state(self) -> State:
        return progress(self.chapter).state

    @property
    def prompt(self) -> str:
        """What stands before the cursor."""
        return f"{self.asked.begin} > " if self.asked is not None else "> "

    def begin(self) -> Step:
        """Where the work stands, and the first point."""
        said: list[str] = []
        if self.readings.entries:
            count = len(self.readings.entries)
            said.append(f"Going on with {count} reading{'s' if count > 1 else ''} of this stage.")
            said += self._answer(None)
        elif not self.chapter.entries:
            said.append(words.wrapped(f"Caution: {entering.OPENING}"))
        said.append('Type a reading, or "help".')
        return Step((*said, *self._ask()))

    def take(self, line: str) -> Step:
        """Act on one typed line; what cannot be understood is said, and nothing is lost."""
        typed = read_typed(line)
        try:
            return self._act(typed)
        except BiaspredictError as problem:
            return Step(tuple(_complaint(problem)))

    def _act(self, typed: Typed) -> Step:
        if typed.act is Act.QUIT:
            return Step((f"Kept in {self.writer.path}.",), over=True)
        if typed.act is Act.NOTHING:
            return Step(())
        if typed.act is Act.HELP:
            return Step(tuple(words.table(HELP)))
        if typed.act is Act.MORE:
            return Step(tuple(self._more()))
        if typed.act is Act.NOTE:
            self._add(Verb.NOTE, _needed(typed.text, "note R9 looks cooked"))
            return Step(("  noted",))
        if typed.act is Act.UNDO:
            return self._undo()
        if typed.act is Act.SKIP:
            return self._skip(typed.text)
        if typed.act is Act.DONE:
            return self._done(typed.text)
        if typed.act is Act.WITH:
            return self._with(typed.text)
        return self._reading(typed)

    # --- readings ----------------------------------------------------------------------------

    def _reading(self, typed: Typed) -> Step:
        ask = self.asked
        text = typed.text
        if typed.act is Act.VALUE:
            if ask is None:
                raise InputError("no point is asked for", remedy="Name it: Q1.base 3.1")
            text = f"{ask.begin} {typed.text}"
        reading = parse_entry(text, self.stage)
        evidence = ask is None or ask.evidence or typed.act is not Act.VALUE
        self._add(Verb.READ if evidence else Verb.NOTED, text)
        said = [f"  kept, not reasoned with: {entering.named(reading)} "
                f"{words.measured(reading.value, reading.quantity)}"] if not evidence else []
        said += self._dangerous(reading, ask)
        said += promises.kept_or_missed(self.stage, self.chapter, reading, self._add)
        return self._after(said, reading if evidence else None)

    def _dangerous(self, reading: Reading, ask: Ask | None) -> list[str]:
        """A rail with next to no ohms to ground."""
        low = reading.quantity is Quantity.OHMS and reading.value < SAFE_OHMS and not reading.over
        if ask is None or ask.powered or not low:
            return []
        return [words.wrapped(
            f"Do not switch on: {words.ohms(reading.value)} from a rail to ground is a short. "
            "Find it with the power off, one board unplugged at a time.", "  ", "  ")]

    def _skip(self, name: str) -> Step:
        if not name and self.asked is None:
            raise InputError("no point is asked for", remedy="Name it: skip Q1.base")
        if name:
            read_readings(f'readings "check"\nskip {name}\n', "typed", self.stage)
            self._add(Verb.SKIP, name)
        elif self.asked is not None and self.asked.split is not None:
            self._add(Verb.SKIP, self.asked.begin)
        elif self.asked is not None and not self.asked.powered:
            self._add(Verb.DID, f"{LEFT_OUT} {self.asked.begin}")
        elif self.asked is not None:
            self._add(Verb.SKIP, self.asked.begin)
        return self._after(["  left out"], None)

    def _undo(self) -> Step:
        mine = [e for e in self.chapter.entries if e.verb in TAKEN_BACK]
        if not mine:
            raise InputError("there is nothing to take back", remedy="Type a reading.")
        last = mine[-1]
        lines = [str(entry.line) for entry in _with_it(self.chapter.entries, last)]
        self._add(Verb.UNDO, " ".join(lines))
        return self._after([f"  taken back: {last.verb.value} {last.body}"], None)

    def _with(self, text: str) -> Step:
        """A meter or condition; it must read as a line of a readings file."""
        read_readings(f'readings "check"\n{text}\n', "typed", self.stage)
        self._add(Verb.WITH, text)
        return self._after([f"  from here on: {text}"], None)

    # --- repairs -----------------------------------------------------------------------------

    def _done(self, text: str) -> Step:
        ref, _, value = _needed(text, "done C1 10uF fitted").partition(" ")
        part = next((p for p in self.stage.parts if p.ref.casefold() == ref.casefold()), None)
        if part is None:
            read_change(self.stage, f"{ref}=1")  # raises with the near miss
            raise InputError(f"no part is called {ref}")
        if value.strip():
            read_change(self.stage, f"{part.ref}={value}")
        promise = promises.promise(self._current_or_none(), part.ref)
        if promise:
            self._add(Verb.PROMISED, promise)
        self._add(Verb.FITTED, f"{part.ref} {value}".strip())
        said = [f"  {part.ref} fitted" + (f": {value.strip()}" if value.strip() else
                                          ", the same value")]
        said.append(words.wrapped(f"Caution: {entering.FITTING}", "  ", "  "))
        self._power = False
        return self._after(said, None)

    # --- answers -----------------------------------------------------------------------------

    def _after(self, said: list[str], reading: Reading | None) -> Step:
        """Take the log in again, say what changed, and ask for the next point."""
        before = self.verdict
        self._read_log()
        self.verdict = None
        self.first_sight = ""
        if reading is not None:
            self.first_sight = entering.first_sight(self._foreseen(before, reading))
            if any(_same(other, reading) for other in self.readings.other):
                said.append(f"  {entering.named(reading)}: kept as the other channel's")
            said += self._answer(before, reading)
        return Step((*said, *self._ask()))

    def _foreseen(
        self, before: Verdict | None, reading: Reading
    ) -> tuple[tuple[Label, float], ...]:
        """Belief after a reading that the answer before it had foreseen."""
        taken = [r for r in self.readings.entries if _same(r, reading)]
        if before is None or not taken:
            return ()
        return at_first_sight(before.splits, self.stage, self.readings, taken[-1])

    def _current(self) -> Verdict:
        """The answer to the readings as they stand. Raises Unsolved and the like."""
        if self.verdict is None:
            self.verdict = self._judge(self.stage, self.readings)
        return self.verdict

    def _current_or_none(self) -> Verdict | None:
        try:
            return self._current()
        except BiaspredictError:
            return None

    def _answer(self, before: Verdict | None, reading: Reading | None = None) -> list[str]:
        try:
            verdict = self._current()
        except BiaspredictError as problem:
            return list(_complaint(problem))
        said = []
        if reading is not None:
            for found in verdict.compared:
                if _same(found.reading, reading):
                    said = list(entering.compared_lines(found))
            for doubt in verdict.doubts:
                if reading.name in doubt.finding.about:
                    said.append(words.wrapped(
                        f"{doubt.finding.fact}. {doubt.finding.remedy}", "  ", "  "))
            self._add(Verb.FOUND, entering.short_answer(verdict))
            self._read_log()
        return [*said, *entering.answer_lines(verdict, before)]

    def _more(self) -> Iterable[str]:
        verdict = self._current()
        return accusing.page(self.stage, self.readings, verdict).split("\n")

    def _ask(self) -> list[str]:
        """Choose the next point and say it; the advice goes into the log."""
        verdict = self.verdict
        if not needs_no_answer(self.stage, self.chapter, self.readings):
            try:
                verdict = self._current()
            except BiaspredictError as problem:
                self.asked = None
                return list(_complaint(problem))
        self.asked = next_ask(self.stage, self.chapter, self.readings, verdict)
        if self.asked is None:
            back = [f"  Caution: {text}" for text in _put_back(self.readings, "")]
            return [*back, *_NOTHING_MORE]
        advised = self.chapter.of(Verb.ADVISED)
        if not advised or advised[-1].body != self.asked.begin:
            self._add(Verb.ADVISED, self.asked.begin)
        ask = self.asked
        fresh = [c for c in ask.cautions if self._power != ask.powered or c not in self._told]
        fresh = [*_put_back(self.readings, ask.begin), *fresh]
        self._power = ask.powered
        self._told.update(fresh)
        return list(entering.asked_lines(ask.words, ask.why, fresh, ask.split))


def _put_back(readings: Readings, begin: str) -> Iterator[str]:
    """What was done for the last reading and is not for the next, which begins so."""
    last = readings.entries[-1] if readings.entries else None
    for deed in last.meanwhile if last is not None else ():
        if deed.text in begin:
            continue
        if deed.deed is Deed.LIFTED:
            yield f"Power off and discharged, solder {deed.ref} back first."
        elif deed.deed is Deed.ACROSS:
            yield "Power off and discharged, take the resistor off again first."
        else:
            yield f"Let {deed.ref} come back to the temperature of the rest first."


_NOTHING_MORE = ("Nothing more is asked for. Type a reading, done PART VALUE, more or quit.",)


def _same(first: Reading, second: Reading) -> bool:
    """One reading, whether or not its range was set right meanwhile."""
    return (first.name, first.minus_name, first.quantity, first.value, first.meanwhile) == (
        second.name, second.minus_name, second.quantity, second.value, second.meanwhile)


def _with_it(entries: Iterable[Entry], last: Entry) -> list[Entry]:
    """An entry and what was written because of it."""
    follow = (Verb.FOUND, Verb.KEPT, Verb.MISSED)
    rest = [e for e in entries if e.line > last.line and e.verb in follow]
    if last.verb is Verb.FITTED:
        rest += [e for e in entries if e.verb is Verb.PROMISED and e.line == last.line - 1]
    return [last, *rest]


def _last_stage(writer: LogWriter) -> str:
    from biaspredict.notation.history import STAGE

    entries = [e for e in load_log(writer.path).standing if e.verb is Verb.STAGE]
    said = STAGE.fullmatch(entries[-1].body) if entries else None
    return said[1].replace('""', '"') if said else ""


def _needed(text: str, sample: str) -> str:
    if not text.strip():
        raise InputError("something is missing behind it", remedy=f"Write it like {sample}.")
    return text.strip()


def _complaint(problem: BiaspredictError) -> Iterable[str]:
    """What was not understood, without the place in a line that stands just above."""
    mistakes = getattr(problem, "mistakes", (problem,))
    for mistake in mistakes[:3]:
        yield words.wrapped(f"Not taken: {mistake.fact}.", "  ", "  ")
        if mistake.remedy:
            yield words.wrapped(mistake.remedy, "  ", "  ")
