"""The bench log as text: one line an entry, each with a check that tells whether it is whole.

    log "hall mixer" 2026-11-20                                     #5e0c
    2026-11-20 19:42:07 stage "microphone channel 2" in preamp.stage #81d3
    2026-11-20 19:42:31 read Q1.base 3.1                            #0b77

The guide is grammar/README.md. The check is the lower half of the CRC-32 (ISO 3309) of all
that stands before it, in four hexadecimal digits.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from biaspredict.errors import InputError
from biaspredict.model.log import Damage, Entry, Log, Verb
from biaspredict.notation.load import read_bytes
from biaspredict.span import Span

CUT = "<-- cut off"  # closes a line that a crash left open
HEAD = re.compile(r'log "((?:[^"]|"")*)"(?: (\d{4}-\d\d-\d\d))?\s*')
LINE = re.compile(r"(\d{4}-\d\d-\d\d) (\d\d:\d\d(?::\d\d)?)\s+([a-z]+)(?:\s+(\S.*?))?\s*")
CHECK = re.compile(r"\s#([0-9a-f]{4})\s*$")
FORM = "A line is a day, a time, a word and what belongs to it: 2026-11-20 19:42 read Q1.base 3.1"
BEGINS = 'It begins with a line such as log "hall mixer" 2026-11-20'
KEEP = "Put # before the line to have it passed over, or mend it; what follows is then read too."
_WORDLESS = frozenset({Verb.ADVISED, Verb.FOUND})


def check(text: str) -> str:
    """Four hexadecimal digits that another text hardly ever has."""
    return f"{zlib.crc32(text.encode('utf-8')) & 0xFFFF:04x}"


def head_line(title: str, now: datetime) -> str:
    """The first line of a new log."""
    return _checked(f'log "{title.replace(chr(34), chr(34) * 2)}" {now.date().isoformat()}')


def entry_line(verb: Verb, body: str, now: datetime) -> str:
    """One line, without its end. Raises InputError where the body would break it."""
    if any(ord(char) < 32 or ord(char) == 127 for char in body):
        raise InputError(
            "a character that does not show cannot go into the log",
            remedy="Delete it, and type the line again.",
        )
    return _checked(f"{now.isoformat(' ', 'seconds')} {verb.value} {body}".rstrip())


def _checked(text: str) -> str:
    return f"{text:<70} #{check(text)}"


def is_log(path: str | Path) -> bool:
    """Whether a file begins as a log does. Raises InputError where it cannot be read."""
    return read_bytes(path).removeprefix(b"\xef\xbb\xbf").lstrip()[:5] == b'log "'


def not_begun(data: bytes) -> bool:
    """Whether a file is empty, or holds nothing but a first line that a crash cut off."""
    *lines, last = data.split(b"\n")
    head = b'log "'
    torn = last[: len(head)] == head[: len(last)] and not _carries_check(last)
    return torn and all(_is_cut(line) or not line.strip() for line in lines)


def ending(data: bytes) -> bytes:
    """What must be written behind these bytes before the next line: nothing, or the end of the
    last one, marked as cut off where it is not whole."""
    last = data.rpartition(b"\n")[2]
    if not last.strip():
        return b"\n" if last else b""
    return b"\n" if _carries_check(last) else f" {CUT}\n".encode()


def load_log(path: str | Path) -> Log:
    """Read a log up to its end or its first damage. Raises InputError where it is none at all."""
    return read_log(read_bytes(path), str(path))


def read_log(data: bytes, file: str) -> Log:
    """Read the bytes of a log; `file` is its name in messages."""
    pieces = data.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    unfinished = bool(pieces[-1].strip())
    lines = pieces[:-1]
    last = pieces[-1]
    if _carries_check(last):
        # only the end of the line is missing
        lines, last = [*lines, last], b""
    start = next((i for i, raw in enumerate(lines) if not _is_cut(raw)), None)
    if start is None:
        raise InputError(f"{file} has no first line yet", remedy=BEGINS)
    title, begun = _head(lines[start], start + 1, file)
    entries: list[Entry] = []
    cut: list[Span] = [_span(raw, i, file) for i, raw in enumerate(lines[:start], start=1)]
    damage = None
    for number, raw in enumerate(lines[start + 1 :], start=start + 2):
        try:
            found = _line(raw.rstrip(b"\r"), number, file)
        except InputError as problem:
            rest = sum(bool(line.strip()) for line in lines[number:])
            place = problem.place or _span(raw, number, file)
            damage = Damage(place, problem.fact, problem.remedy, rest)
            break
        if isinstance(found, Entry):
            entries.append(found)
        elif found is not None:
            cut.append(found)
    if last.strip() and damage is None:
        cut.append(_span(last, len(pieces), file))
    return Log(title, begun, tuple(entries), file, tuple(cut), unfinished, damage)


def _carries_check(raw: bytes) -> bool:
    """Whether a line is whole by its own check."""
    text = raw.decode("utf-8", "replace")
    found = CHECK.search(text)
    return found is not None and check(text[: found.start()].rstrip()) == found[1]


def _is_cut(raw: bytes) -> bool:
    return raw.rstrip().endswith(CUT.encode())


def _head(raw: bytes, number: int, file: str) -> tuple[str, datetime | None]:
    place = _span(raw, number, file)
    found = HEAD.fullmatch(_whole(place.text, place))
    if found is None:
        raise InputError(
            "this is no bench log: its first line does not say so", remedy=BEGINS, place=place
        )
    day = None
    if found[2]:
        try:
            day = datetime.strptime(found[2], "%Y-%m-%d")
        except ValueError:
            raise InputError(
                f"{found[2]} is no day", remedy="Write year, month, day.", place=place
            ) from None
    return found[1].replace('""', '"'), day


def _line(raw: bytes, number: int, file: str) -> Entry | Span | None:
    """The entry of a line, the place of one cut off, or None where nothing stands."""
    place = _span(raw, number, file)
    if _is_cut(raw):
        return place
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise InputError(
            f"the byte 0x{raw[problem.start]:02X} is no text", remedy=KEEP, place=place
        ) from None
    if any(ord(char) < 32 and char != "\t" for char in text):
        raise InputError("bytes that are no text", remedy=KEEP, place=place)
    if not text.strip() or text.lstrip().startswith("#"):
        return None
    bare = _whole(text, place)
    found = LINE.fullmatch(bare)
    if found is None:
        raise InputError("this is no entry of a log", remedy=f"{FORM}. {KEEP}", place=place)
    day, time, word, body = found.groups()
    try:
        when = datetime.fromisoformat(f"{day} {time}")
    except ValueError:
        raise InputError(
            f"{day} {time} is no time", remedy=f"{FORM}. {KEEP}", place=place
        ) from None
    try:
        verb = Verb(word)
    except ValueError:
        known = ", ".join(v.value for v in Verb)
        raise InputError(
            f"no entry begins with '{word}'", remedy=f"One of: {known}. {KEEP}", place=place
        ) from None
    if not body and verb not in _WORDLESS:
        raise InputError(f"'{word}' stands alone", remedy=f"{FORM}. {KEEP}", place=place)
    _undone(verb, body or "", number, place)
    column = found.start(4) + 1 if body else len(bare) + 1
    return Entry(number, when, verb, body or "", column, CHECK.search(text) is not None, place)


def _whole(text: str, place: Span) -> str:
    """The line without its check, which must be right, or without its comment."""
    found = CHECK.search(text)
    if found is None:
        return _uncommented(text)
    bare = text[: found.start()].rstrip()
    if check(bare) != found[1]:
        raise InputError(
            "this line is not as it was written",
            remedy=f"If you changed it yourself, take off #{found[1]} at its end. {KEEP}",
            place=place,
        )
    return bare


def _uncommented(text: str) -> str:
    """A line typed by hand, without the remark behind #."""
    quoted = False
    for at, char in enumerate(text):
        if char == '"':
            quoted = not quoted
        elif char == "#" and not quoted:
            return text[:at]
    return text


def _undone(verb: Verb, body: str, line: int, place: Span) -> None:
    """What takes back names lines before its own."""
    if verb is not Verb.UNDO:
        return
    for number in body.split():
        if not (number.isdecimal() and 1 < int(number) < line):
            raise InputError(
                f"there is no entry {number} to take back",
                remedy=f"Write the number of an earlier line: undo 12. {KEEP}", place=place,
            )


def _span(raw: bytes, number: int, file: str) -> Span:
    text = raw.decode("utf-8", "replace").rstrip("\r")
    return Span(file, number, 1, len(text) + 1, text)


def upto(log: Log, at: str) -> Log:
    """The log as it stood after a line ("12") or at a time ("19:45", "2026-11-20 19:45").

    Raises InputError where the log has no such point.
    """
    kept = tuple(_upto(log, at.strip()))
    if not kept:
        first = log.entries[0].when.isoformat(" ", "minutes") if log.entries else "nowhere"
        raise InputError(
            f"{log.file} has nothing yet at {at}", remedy=f"Its first entry is of {first}."
        )
    return Log(log.title, log.begun, kept, log.file, log.cut, log.unfinished, log.damage)


def _upto(log: Log, at: str) -> Iterator[Entry]:
    if at.isdecimal():
        yield from (entry for entry in log.entries if entry.line <= int(at))
        return
    text = at
    if re.fullmatch(r"\d\d?:\d\d(:\d\d)?", at) and log.entries:
        text = f"{log.entries[-1].when.date().isoformat()} {at.zfill(len(at) + (at[1] == ':'))}"
    try:
        moment = datetime.fromisoformat(text.replace("T", " "))
    except ValueError:
        raise InputError(
            f"{at} is no line and no time",
            remedy="Write the number of a line, or a time like 19:45 or 2026-11-20 19:45.",
        ) from None
    if len(text) == len("2026-11-20"):
        moment = moment.replace(hour=23, minute=59, second=59)
    elif text.count(":") == 1:
        moment = moment.replace(second=59)
    yield from (entry for entry in log.entries if entry.when <= moment)
