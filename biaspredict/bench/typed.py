"""What a person types at the bench: a value, a reading, or one of a few words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum


class Act(Enum):
    NOTHING = "nothing"
    VALUE = "value"  # for the point that is asked for
    READING = "reading"  # of a point that is named
    SKIP = "skip"
    UNDO = "undo"
    DONE = "done"
    WITH = "with"
    NOTE = "note"
    MORE = "more"
    HELP = "help"
    QUIT = "quit"


@dataclass(frozen=True, slots=True)
class Typed:
    """text: what belongs to the act: the value, the reading, the node, the part and its value."""

    act: Act
    text: str = ""


HELP = (
    ("3.1  3,1  310m  ~3.1", "the reading asked for; ~ or about: 5 % wide"),
    ("42.4k  over", "the same in ohms; over: beyond the range"),
    ("Q1.base 3.1", "another point, as in a readings file"),
    ("Q1.base with C1 lifted 2.8", "with something done: lifted, warm, cool, across"),
    ("skip", "leave this point out; skip Q1.base: that one"),
    ("undo", "take back the last thing typed"),
    ("done C1 10uF fitted", "a part was put in; then one recheck is asked for"),
    ("meter 20 kohm/V range 10 V", "from here on; also line, temperature, after"),
    ("note ...", "kept in the log as it is"),
    ("more", "the whole answer"),
    ("quit", "leave; nothing is lost, and it goes on from here"),
)
_WORDS = {
    "skip": Act.SKIP, "undo": Act.UNDO, "done": Act.DONE, "note": Act.NOTE, "more": Act.MORE,
    "help": Act.HELP, "?": Act.HELP, "quit": Act.QUIT, "q": Act.QUIT, "exit": Act.QUIT,
    "fitted": Act.DONE, "replaced": Act.DONE,
}  # fmt: skip
_CONDITIONS = re.compile(r"(meter|line|temperature|after|generator)\s+\S", re.I)
_VALUE = re.compile(r"(?:~|about\b|over\b|[+-]?[.,]?\d)", re.I)
_SIGNED_NODE = re.compile(r"[+-]\d+\s*V\w*\s+(?:~|about\b|[+-]?[.,]?\d)", re.I)
_ENDS = re.compile(r"\s+(?:fitted|replaced|in|put in|new)$", re.I)


def read_typed(line: str) -> Typed:
    """What one typed line asks for. It never fails: what is no word is taken as a reading."""
    text = " ".join(line.split())
    if not text or text.startswith("#"):
        return Typed(Act.NOTHING)
    word, _, rest = text.partition(" ")
    act = _WORDS.get(word.casefold())
    if act is Act.DONE:
        return Typed(act, _ENDS.sub("", rest))
    if act in (Act.SKIP, Act.NOTE):
        return Typed(act, rest)
    if act is not None and not rest:
        return Typed(act)
    if _CONDITIONS.match(text):
        return Typed(Act.WITH, text)
    # "-12V 11.8" is the rail -12V, "-12V" alone is a value
    if _VALUE.match(text) and not _SIGNED_NODE.match(text):
        return Typed(Act.VALUE, text)
    return Typed(Act.READING, text)
