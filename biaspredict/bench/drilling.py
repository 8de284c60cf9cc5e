"""One sitting with a drill: readings asked for at their cost, a part named, the path reviewed."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from biaspredict.errors import BiaspredictError, InputError
from biaspredict.infer.drill.asking import NAMING, Asked, a_lift, a_place, a_warming, priced
from biaspredict.infer.drill.review import Path, Taken
from biaspredict.infer.drill.specimen import Specimen
from biaspredict.model.drill import Deed, Done, Drill
from biaspredict.model.stage import Meter, Stage
from biaspredict.notation.mistakes import near
from biaspredict.notation.typed import read_place
from biaspredict.report import practising, words

HELP = (
    ("Q1.base", "volts there; also Q1.base to Q1.emitter, across R3"),
    ("ohms across R3", "power off; also ohms Q1.base"),
    ("lift R3", "one leg lifted: the part by itself"),
    ("warm Q1", "a germanium can warmed by a fingertip"),
    ("it is R3", f"name the part; a wrong one costs {NAMING:g}, as if swapped for nothing"),
    ("points", "what can be read, and what it costs"),
    ("readings", "what has been read so far"),
    ("give up", "hear what it was"),
    ("quit", "leave; nothing is lost, and it goes on from here"),
)
_NAMED = re.compile(r"(?:it is|it's|name|named|i name|part)\s+(\S+)$", re.I)
_OHMS = re.compile(r"ohms\s+(.+)$", re.I)
_VOLTS = re.compile(r"(?:volts(?: at)?\s+)?(.+)$", re.I)
_DONE_TO = re.compile(r"(lift|warm)\s+(\S+)$", re.I)

Review = Callable[[Sequence[Taken]], tuple[Path, Path]]
Keep = Callable[[Drill], None]


@dataclass(frozen=True, slots=True)
class Said:
    """What is said to one typed line. over: the sitting has ended; found: the part was named."""

    lines: tuple[str, ...]
    over: bool = False
    found: bool = False


def asked_for(stage: Stage, meter: Meter, text: str) -> Asked:
    """The reading that a text asks for. Raises InputError with the near miss."""
    text = " ".join(text.split())
    if found := _DONE_TO.fullmatch(text):
        ref = known_part(stage, found[2])
        return (a_lift if found[1].casefold() == "lift" else a_warming)(stage, meter, ref)
    ohms = _OHMS.fullmatch(text)
    place = ohms[1] if ohms else _VOLTS.fullmatch(text)[1]  # type: ignore[index]
    refs = {part.ref.casefold(): part.ref for part in stage.parts}
    if place.casefold() in refs:
        ref = refs[place.casefold()]
        part = stage.part(ref)
        if len(part.nodes) == 2:
            place = f"across {ref}"
    where = read_place(place, stage)
    return a_place(stage, meter, f"ohms {place}" if ohms else place, where, bool(ohms))


def known_part(stage: Stage, name: str) -> str:
    """The reference meant. Raises InputError with the near miss."""
    refs = [part.ref for part in stage.parts]
    bare = name.strip(".,!?").partition(".")[0]
    for ref in refs:
        if ref.casefold() == bare.casefold():
            return ref
    raise InputError(
        f"no part is called {name}",
        remedy=near(name, refs) or f"The parts: {', '.join(refs[:12])}.",
    )


class Sitting:
    """A drill, its specimen, and what was done so far.

    keep: writes the drill down after every deed. review: belief along the learner's readings,
    and the cheapest path, worked out at the end.
    """

    def __init__(
        self, stage: Stage, drill: Drill, specimen: Specimen, keep: Keep, review: Review
    ) -> None:
        self.stage, self.drill, self.specimen = stage, drill, specimen
        self._keep, self._review = keep, review
        self.taken: list[Taken] = []
        self.wrong: list[str] = []
        self.power = True
        self.over = False
        self.found = False
        for done in drill.done:
            self._again(done)

    @property
    def cost(self) -> float:
        return sum(t.cost for t in self.taken) + NAMING * len(self.wrong)

    def _again(self, done: Done) -> None:
        """Go once more through what was kept. Raises InputError where it is not what it was."""
        if done.deed is Deed.GAVE_UP:
            self.over = True
        elif done.deed is Deed.NAMED:
            self._name(known_part(self.stage, done.text))
        else:
            taken = self._take(asked_for(self.stage, self.drill.meter, done.text))
            if practising.shown(taken) != done.shown:
                raise InputError(
                    f"{done.text} reads {practising.shown(taken)} on this specimen, and "
                    f"{done.shown} was kept",
                    remedy="The stage file or the program has changed since: begin the drill "
                    "again with the same number.",
                    place=done.origin,
                )

    def begin(self) -> Said:
        """The task, or where it stands."""
        if self.over:
            return self._end()
        lines = list(practising.task(self.stage, self.drill))
        if self.taken or self.wrong:
            lines += ["", f"Going on: {practising.so_far(self.taken, self.wrong)}, "
                      f"cost {self.cost:g}."]
        lines += ["", 'Ask for a reading, like Q1.collector; "it is R3" names the part; "help".']
        return Said(tuple(lines))

    def take(self, line: str) -> Said:
        """Act on one typed line; what cannot be understood is said, and nothing is lost."""
        text = " ".join(line.split())
        if not text or text.startswith("#"):
            return Said(())
        try:
            return self._act(text)
        except BiaspredictError as problem:
            told = [words.wrapped(problem.fact, "  ", "    ")]
            if problem.remedy:
                told.append(words.wrapped(problem.remedy, "    "))
            return Said(tuple(told))

    def _act(self, text: str) -> Said:
        word = text.casefold().rstrip(".!")
        if word in ("quit", "q", "exit"):
            return Said((f"  Kept, with cost {self.cost:g} so far.",), over=True)
        if word in ("help", "?"):
            return Said(tuple(words.table(HELP)))
        if word == "points":
            return Said(tuple(practising.points(self.stage, self.drill.meter)))
        if word == "readings":
            return Said(tuple(practising.readings(self.taken)))
        if word in ("give up", "gave up"):
            self._did(Done(Deed.GAVE_UP))
            self.over = True
            return self._end()
        if named := _NAMED.fullmatch(text):
            return self._named(known_part(self.stage, named[1]))
        asked = asked_for(self.stage, self.drill.meter, text)
        again = next((t for t in self.taken if t.asked.probe == asked.probe), None)
        if again is not None:
            return Said((f"  {practising.told(again)}, as before: it costs nothing again",))
        taken = self._take(asked)
        self._did(Done(Deed.READ, asked.text, practising.shown(taken)))
        line = f"  {practising.told(taken)}   cost {taken.cost:g}, {self.cost:g} in all"
        return Said((words.wrapped(line.strip(), "  ", "    "),))

    def _take(self, asked: Asked) -> Taken:
        taken = Taken(asked, priced(asked, self.power), self.specimen.shown(asked.probe))
        self.power = asked.powered
        self.taken.append(taken)
        return taken

    def _did(self, done: Done) -> None:
        self.drill = replace(self.drill, done=(*self.drill.done, done))
        self._keep(self.drill)

    def _name(self, ref: str) -> None:
        if ref == self.specimen.hidden.part:
            self.found = self.over = True
        elif ref not in self.wrong:
            self.wrong.append(ref)

    def _named(self, ref: str) -> Said:
        if ref in self.wrong:
            return Said((f"  {ref} was named before: it is sound.",))
        self._name(ref)
        self._did(Done(Deed.NAMED, ref))
        if self.over:
            return self._end()
        return Said((f"  {ref} is swapped, and every reading stays: it was sound.   "
                     f"cost {NAMING:g}, {self.cost:g} in all",))

    def _end(self) -> Said:
        own, best = self._review(self.taken)
        lines = practising.review(self.stage, self.specimen.hidden, own, best, self.wrong,
                                  found=self.found)
        return Said(tuple(lines), over=True, found=self.found)
