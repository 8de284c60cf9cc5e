"""From a bench log to one stage as it stood: its parts as fitted, and its readings since then."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from biaspredict.errors import InputError, Mistakes
from biaspredict.model.log import Entry, Log, Verb
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage
from biaspredict.notation.change import read_change
from biaspredict.notation.entries import read_readings

STAGE = re.compile(r'"((?:[^"]|"")*)"(?: in (\S.*))?')
_METER = re.compile(r"meter(?!\w)", re.I)
_CONDITION = re.compile(r"(line|temperature|after|meter|generator)(?!\w)", re.I)
_LASTS = re.compile(r"(meter|generator)(?!\w)", re.I)  # what a repair does not change
_EVERY_METER = "meter 10 MEG 1% + 2 digits"  # what is taken where none is said


@dataclass(frozen=True, slots=True)
class Chapter:
    """One stage's part of a log.

    file: the stage file as the log names it, "" where it does not. entries: all that stand.
    since: those since the last repair, which describe the stage as it is now.
    """

    title: str
    file: str
    entries: tuple[Entry, ...]

    @property
    def since(self) -> tuple[Entry, ...]:
        places = [i for i, e in enumerate(self.entries) if e.verb is Verb.FITTED]
        return self.entries[places[-1] + 1 :] if places else self.entries

    def of(self, *verbs: Verb) -> tuple[Entry, ...]:
        return tuple(entry for entry in self.entries if entry.verb in verbs)


def chapters(log: Log) -> tuple[Chapter, ...]:
    """The stages of a log in the order in which they came up. Raises InputError."""
    found: dict[str, Chapter] = {}
    key = ""
    for entry in log.standing:
        if entry.verb is Verb.STAGE:
            said = STAGE.fullmatch(entry.body)
            if said is None:
                raise InputError(
                    "a stage is named by its title",
                    remedy='Write stage "line amplifier" in line.stage', place=entry.place,
                )
            title = said[1].replace('""', '"')
            key = _key(title)
            known = found.get(key, Chapter(title, "", ()))
            found[key] = replace(known, file=said[2] or known.file)
        elif key:
            known = found[key]
            found[key] = replace(known, entries=(*known.entries, entry))
    return tuple(found.values())


def chapter_of(log: Log, stage: Stage) -> Chapter:
    """This stage's chapter, an empty one where the log has none yet."""
    return next(
        (c for c in chapters(log) if _key(c.title) == _key(stage.title)),
        Chapter(stage.title, "", ()),
    )


def stage_body(title: str, file: str) -> str:
    """What stands behind `stage`."""
    quoted = title.replace('"', '""')
    return f'"{quoted}"' + (f" in {file}" if file else "")


def as_logged(log: Log, stage: Stage) -> tuple[Stage, Readings]:
    """The stage with the parts that were fitted, and the readings taken since then.

    Raises Mistakes with the places in the log of all entries that the stage does not take.
    """
    chapter = chapter_of(log, stage)
    now, fresh = _fitted(stage, chapter.of(Verb.FITTED))
    since = chapter.since
    title = log.title.replace('"', '""')
    read = [entry for entry in since if entry.verb is Verb.READ]
    day = f" {read[-1].when.date().isoformat()}" if read else ""
    text = _masked(chapter, f'readings "{title}"{day}')
    readings = read_readings(text, log.file, now)
    return now, replace(readings, fresh=fresh)


def _key(title: str) -> str:
    return " ".join(title.casefold().split())


def _fitted(stage: Stage, entries: Sequence[Entry]) -> tuple[Stage, tuple[str, ...]]:
    """Parts as they are now, and the references of the new ones."""
    fresh: dict[str, None] = {}
    wrong: list[InputError] = []
    for entry in entries:
        ref, _, value = entry.body.partition(" ")
        try:
            part = next(p for p in stage.parts if p.ref.casefold() == ref.casefold())
        except StopIteration:
            wrong.append(
                InputError(
                    f"no part is called {ref}", remedy="The stage file has changed since.",
                    place=entry.place,
                )
            )
            continue
        fresh[part.ref] = None
        if not value.strip():
            continue
        try:
            after = read_change(stage, f"{part.ref}={value}").after
        except InputError as problem:
            wrong.append(InputError(problem.fact, remedy=problem.remedy, place=entry.place))
            continue
        stage = replace(stage, parts=tuple(after if p.ref == part.ref else p for p in stage.parts))
    if wrong:
        raise Mistakes(wrong)
    return stage, tuple(fresh)


def _masked(chapter: Chapter, head: str) -> str:
    """The chapter as a readings file in which every statement stands at its place in the log.

    So that a message about it names the log's own line and column.
    """
    since = chapter.since
    last = max((entry.line for entry in since), default=1)
    lines = [""] * (last + 1)
    lines[0] = head
    for entry, statement in _statements(chapter):
        lines[entry.line - 1] = " " * (entry.column - 1) + statement
    return "\n".join(lines) + "\n"


def _statements(chapter: Chapter) -> Iterator[tuple[Entry, str]]:
    """Readings, points left out and conditions; the meter in force is the file's meter."""
    since = chapter.since
    conditions = [
        e for e in chapter.entries if e.verb is Verb.WITH and (e in since or _LASTS.match(e.body))
    ]
    latest = {_word(entry): entry for entry in conditions}
    for entry in since:
        if entry.verb is Verb.SKIP:
            yield entry, f"skip {entry.body}"
        elif entry.verb is Verb.READ:
            yield entry, entry.body + _older_meter(entry, conditions, latest.get("meter"))
    first = min((entry.line for entry in since), default=2)
    spare = iter(range(2, first))
    for entry in latest.values():
        # the meter on the bench before the last repair is still there
        line = entry.line if entry in since else next(spare, None)
        if line is not None:
            yield replace(entry, line=line, column=entry.column), entry.body


def _word(entry: Entry) -> str:
    found = _CONDITION.match(entry.body)
    return found[1].casefold() if found else entry.body


def _older_meter(
    entry: Entry, conditions: Sequence[Entry], latest: Entry | None
) -> str:
    """The meter of a reading that was taken before the meter changed."""
    if latest is None or latest.line < entry.line or re.search(r"\smeter\s", entry.body, re.I):
        return ""
    before = [c for c in conditions if _METER.match(c.body) and c.line < entry.line]
    return f" {before[-1].body if before else _EVERY_METER}"
