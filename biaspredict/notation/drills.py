"""Drill files: read with all their mistakes together, and written back.

    drill "line amplifier"
    stage line-stage.stage
    level 2
    number 17
    meter 10 MEG 1% + 2 digits
    fault R2 opens              # a teacher's own choice; without it the number hides one

    read Q1.base 2.03
    named R1
    gave up
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from biaspredict.errors import InputError, Mistakes
from biaspredict.model.drill import Deed, Done, Drill
from biaspredict.model.stage import Meter
from biaspredict.notation.load import read_text
from biaspredict.notation.mistakes import near
from biaspredict.notation.typed import read_meter
from biaspredict.saving import save
from biaspredict.span import Span

HEAD = "drill"
LEVELS = (1, 2, 3)
MOST = 10**9  # a number that people still copy without a slip
_WORDS = ("drill", "stage", "level", "number", "meter", "fault", "read", "named", "gave up")


def is_drill(path: str | Path) -> bool:
    """Whether a file is a drill rather than a stage. Raises InputError where it cannot be read."""
    for line in read_text(path).splitlines():
        bare = _bare(line)
        if bare:
            return bare.split(None, 1)[0].casefold() == HEAD
    return False


def load_drill(path: str | Path) -> Drill:
    """Read a drill file. Raises InputError, Mistakes."""
    return read_drill(read_text(path), str(path))


def read_drill(text: str, file: str) -> Drill:
    """Read the text of a drill file; `file` is its name in messages. Raises Mistakes."""
    found = Drill("", "", 1, 1, file=file)
    wrong: list[InputError] = []
    seen: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        bare = _bare(line)
        if not bare:
            continue
        span = Span(file, number, 1, len(line) + 1, line)
        try:
            word, rest = _word(bare, span)
            if word not in ("read", "named", "gave up"):
                if word in seen:
                    raise InputError(f"{word} is said twice", place=span,
                                     remedy=f"It stands in line {seen[word]} too: keep one.")
                seen[word] = number
            found = _with(found, word, rest, span)
        except InputError as problem:
            wrong.append(problem)
    for word, sample in (("drill", 'drill "line amplifier"'), ("stage", "stage line.stage")):
        if word not in seen:
            wrong.append(InputError(f"{file} has no line `{word}`", remedy=f"Write: {sample}"))
    if wrong:
        raise Mistakes(wrong)
    return found


def _bare(line: str) -> str:
    """The line without its comment; # inside quotes is a character."""
    quoted = False
    for place, char in enumerate(line):
        if char == '"':
            quoted = not quoted
        elif char == "#" and not quoted:
            return line[:place].strip()
    return line.strip()


def _word(bare: str, span: Span) -> tuple[str, str]:
    folded = bare.casefold()
    for word in _WORDS:
        if folded == word or folded.startswith(f"{word} "):
            return word, bare[len(word) :].strip()
    first = bare.split()[0]
    raise InputError(
        f"{first!r} begins no line of a drill", place=span,
        remedy=near(first, _WORDS) or f"Lines begin with: {', '.join(_WORDS)}.",
    )


def _with(found: Drill, word: str, rest: str, span: Span) -> Drill:
    if word == "gave up":
        return replace(found, done=(*found.done, Done(Deed.GAVE_UP, origin=span)))
    if not rest:
        raise InputError(f"{word} what?", place=span, remedy=f"Say it behind {word}.")
    if word == "drill":
        return replace(found, title=_quoted(rest))
    if word == "stage":
        return replace(found, stage=_quoted(rest))
    if word == "level":
        level = _whole(rest, span, "a level", LEVELS[0], LEVELS[-1])
        return replace(found, level=level)
    if word == "number":
        return replace(found, number=_whole(rest, span, "a number", 1, MOST))
    if word == "meter":
        return replace(found, meter=_meter(rest, span), meter_text=rest)
    if word == "fault":
        return replace(found, fault=_quoted(rest))
    if word == "named":
        return replace(found, done=(*found.done, Done(Deed.NAMED, rest, origin=span)))
    text, _, shown = rest.rpartition(" ")
    if not text:
        raise InputError("read what, and what was shown?", place=span,
                         remedy="Write it like: read Q1.base 2.03")
    return replace(found, done=(*found.done, Done(Deed.READ, text.strip(), shown, origin=span)))


def _quoted(text: str) -> str:
    if len(text) >= 2 and text[0] == text[-1] == '"':
        return text[1:-1].replace('""', '"')
    return text


def _whole(text: str, span: Span, what: str, least: int, most: int) -> int:
    if text.isascii() and text.isdigit() and len(text) < 12 and least <= int(text) <= most:
        return int(text)
    raise InputError(
        f"{text!r} is not {what} of a drill", place=span,
        remedy=f"Write a whole number from {least} to {most}.",
    )


def _meter(text: str, span: Span) -> Meter:
    try:
        return read_meter(text)
    except InputError as problem:
        raise InputError(problem.fact, remedy=problem.remedy, place=span) from None


def write_drill(drill: Drill) -> str:
    """The text that reads back as the same drill."""
    title = drill.title.replace('"', '""')
    lines = [f'drill "{title}"', f"stage {_path(drill.stage)}", f"level {drill.level}",
             f"number {drill.number}"]
    if drill.meter_text:
        lines.append(f"meter {drill.meter_text}")
    if drill.fault:
        lines.append(f"fault {drill.fault}")
    if drill.done:
        lines.append("")
    lines += [f"{done.deed.value} {done.text} {done.shown}".strip() for done in drill.done]
    return "\n".join(lines) + "\n"


def _path(text: str) -> str:
    if '"' in text or "#" in text or text != text.strip():
        return '"' + text.replace('"', '""') + '"'
    return text


def save_drill(drill: Drill, path: str | Path) -> None:
    """Write it, so that a broken write leaves what was there. Raises InputError."""
    save(Path(path), write_drill(drill).encode("utf-8"))
