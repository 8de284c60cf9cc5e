"""Cutting a text into statements: comments off, split lines joined, places kept."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from biaspredict.errors import InputError
from biaspredict.span import TAB, Span

LONGEST_LINE = 1000

_BREAK = re.compile(r"\r\n|\n|\r")
_DASH = re.compile(r"--|[\u2013\u2014]")
# What may hold a # or a -- that means nothing to us.
_FREE_TEXT = re.compile(r"(?:note|stage|readings|for)(?!\w)", re.I)
_QUOTES = {'"': '"', "\u201c": "\u201d"}
_BLANKS = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " "})


@dataclass(frozen=True, slots=True)
class Piece:
    """One source line's share of a statement: it begins at `start` there, at `column` here."""

    start: int
    number: int
    column: int
    source: str


@dataclass(frozen=True, slots=True)
class Line:
    """One statement, perhaps joined from several source lines; `indent` in screen columns."""

    file: str
    text: str
    pieces: tuple[Piece, ...]
    indent: int

    def span(self, start: int = 0, end: int | None = None) -> Span:
        """The place of text[start:end] in the source; of all of it if not said."""
        stop = len(self.text) if end is None else end
        piece = next((p for p in reversed(self.pieces) if p.start <= start), self.pieces[0])
        first = piece.column + start - piece.start
        last = min(piece.column + stop - piece.start, len(piece.source))
        return Span(self.file, piece.number, first + 1, max(last, first + 1) + 1, piece.source)


def cut(text: str, file: str) -> tuple[tuple[Line, ...], tuple[InputError, ...]]:
    """The statements of a text, and what is wrong with its characters."""
    lines: list[Line] = []
    wrong: list[InputError] = []
    open_end = False
    sources = _BREAK.split(text.removeprefix("\ufeff"))
    for number, source in enumerate(sources, start=1):
        if problem := _unreadable(source, number, file):
            wrong.append(problem)
            open_end = False
            continue
        bare = _uncommented(source.translate(_BLANKS))
        body = bare.strip()
        if not body:
            # A comment between two halves of a path does not part them, an empty line does.
            open_end = open_end and bool(source.strip())
            continue
        column = len(bare) - len(bare.lstrip())
        free = _FREE_TEXT.match(body) is not None
        joined = lines and not free and (open_end or _DASH.match(body))
        if joined and not _FREE_TEXT.match(lines[-1].text):
            before = lines[-1]
            if open_end and (twice := _DASH.match(body)):
                # Cut at both ends, `A --` then `-- B`: once will do.
                body = " " * twice.end() + body[twice.end() :]
            piece = Piece(len(before.text) + 1, number, column, source)
            lines[-1] = Line(file, f"{before.text} {body}", (*before.pieces, piece), before.indent)
        else:
            indent = len(bare[:column].expandtabs(TAB))
            lines.append(Line(file, body, (Piece(0, number, column, source),), indent))
        open_end = not free and bool(re.search(r"(?:--|[\u2013\u2014])$", body))
    return tuple(lines), tuple(wrong)


def _uncommented(source: str) -> str:
    closing = ""
    for place, char in enumerate(source):
        if closing:
            closing = "" if char == closing else closing
        elif char in _QUOTES:
            closing = _QUOTES[char]
        elif char == "#":
            return source[:place]
    # A quote left open must not swallow the comment with it.
    return source.partition("#")[0] if closing else source


def _unreadable(source: str, number: int, file: str) -> InputError | None:
    if len(source) > LONGEST_LINE:
        return InputError(
            f"a line of {len(source)} characters; {LONGEST_LINE} are the most",
            remedy="Break it: a line that ends in -- goes on in the next one.",
            place=Span(file, number, 1, 2, source[:LONGEST_LINE]),
        )
    if source.replace("\t", "").isprintable():
        return None
    for place, char in enumerate(source):
        if char != "\t" and unicodedata.category(char) in ("Cc", "Cf", "Co", "Cn", "Zl", "Zp"):
            return InputError(
                f"a character that does not show (U+{ord(char):04X})",
                remedy="Delete it, and type the line again if it was copied from elsewhere.",
                place=Span(file, number, place + 1, place + 2, source),
            )
    return None
