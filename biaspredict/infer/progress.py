"""How far the work on a set has come, and what comes next: from the log alone, nothing solved."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

from biaspredict.model.log import Entry, Verb
from biaspredict.notation.history import Chapter

SOUND = "sound"  # how a `found` entry of a sound stage begins
BEFORE_POWER = "ohms"  # how entries of the safety readings begin


class State(Enum):
    UNREAD = "unread"
    READING = "being read"
    SOUND = "sound"
    SUSPECT = "suspect"
    REPAIRED = "repaired"
    RECHECKED = "rechecked"


@dataclass(frozen=True, slots=True)
class Progress:
    """One stage of the set: its state, whether ohms and rails are behind it, what was fitted.

    open_promises: the rechecks still owed. last: the latest answer in words.
    """

    chapter: Chapter
    state: State
    ohms_done: bool
    rails_done: bool
    fitted: tuple[str, ...]
    owed: Entry | None
    last: str

    @property
    def open(self) -> bool:
        return self.state in (State.READING, State.SUSPECT, State.REPAIRED)


def progress(chapter: Chapter) -> Progress:
    """How far one stage has come."""
    fitted = tuple(entry.body for entry in chapter.of(Verb.FITTED))
    answers = chapter.of(Verb.FOUND)
    return Progress(
        chapter, _state(chapter.entries), bool(_first(chapter, BEFORE_POWER)),
        bool(_first(chapter, "rail")), fitted, owed(chapter),
        answers[-1].body if answers else "",
    )


def _first(chapter: Chapter, word: str) -> Entry | None:
    """The first reading that begins with a word, or that was left out on purpose."""
    for entry in chapter.of(Verb.READ, Verb.NOTED, Verb.DID):
        said = entry.body.removeprefix("left out").split()
        if said and said[0].casefold() == word:
            return entry
    return None


def _state(entries: Sequence[Entry]) -> State:
    state = State.UNREAD
    for entry in entries:
        if entry.verb is Verb.READ and state in (State.UNREAD, State.SOUND):
            state = State.READING
        elif entry.verb is Verb.FITTED:
            state = State.REPAIRED
        elif entry.verb is Verb.KEPT:
            state = State.RECHECKED
        elif entry.verb is Verb.MISSED:
            state = State.SUSPECT
        elif entry.verb is Verb.FOUND:
            state = _found(state, entry)
    return state


def _found(state: State, entry: Entry) -> State:
    """The state once an answer is there: a repair stays one until its recheck."""
    if not entry.body.startswith(SOUND):
        return State.SUSPECT
    return state if state in (State.REPAIRED, State.RECHECKED) else State.SOUND


def owed(chapter: Chapter) -> Entry | None:
    """The promise of the last repair, while neither kept nor missed."""
    said = promise = None
    for entry in chapter.entries:
        if entry.verb is Verb.PROMISED:
            said = entry
        elif entry.verb is Verb.FITTED:
            said, promise = None, said
        elif entry.verb in (Verb.KEPT, Verb.MISSED):
            promise = None
    return promise


_STEPS: tuple[tuple[Callable[[Progress], bool], str], ...] = (
    (lambda s: s.ohms_done, "Power off, discharged: ohms at the rails of"),
    (lambda s: s.rails_done, "Power on: the rails of"),
)


def next_step(stages: Sequence[Progress]) -> str:
    """What comes next: ohms before power, rails before stages, one board at a time."""
    if not stages:
        return "Name the set's stages: biaspredict log LOG --add STAGE ..."
    for done, words in _STEPS:
        waiting = [s.chapter.title for s in stages if not done(s)]
        if waiting:
            return f"{words} {_named(waiting)}."
    begun = [s for s in stages if s.open]
    if begun:
        latest = max(begun, key=lambda s: max((e.line for e in s.chapter.entries), default=0))
        if latest.owed is not None:
            return f"The recheck of {latest.chapter.title}: {latest.owed.body}."
        return f"Finish {latest.chapter.title} before another board is begun."
    unread = [s for s in stages if s.state is State.UNREAD]
    if unread:
        return f"Read {unread[0].chapter.title}."
    return "Every stage is sound or rechecked."


def _named(titles: Sequence[str]) -> str:
    return titles[0] if len(titles) == 1 else f"{titles[0]}, then of {', '.join(titles[1:])}"
