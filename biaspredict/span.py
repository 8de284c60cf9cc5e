"""Where something stands in a text file, and how to show that place to a reader."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

TAB = 4
WINDOW = 72
_CUT = "..."


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of one source line.

    `line` and `column` count from 1; `end_column` is one past the last character, so a word of four
    letters at column 7 ends at 11. `text` is the whole source line, columns counted before tabs are
    expanded.
    """

    file: str
    line: int
    column: int
    end_column: int
    text: str = ""

    def place(self) -> str:
        """The place in words: `preamp.stage, line 4, column 7`."""
        name = "".join(_visible(c) for c in self.file)
        return f"{name}, line {self.line}, column {self.column}"

    def caret(self) -> str:
        """The source line with carets underneath, at most 72 columns wide; empty without a line.

        Tabs are expanded, characters that a terminal would act on show as `?`, and a long line is
        cut to a window round the marked stretch, cuts shown as `...`.
        """
        source = self.text.split("\n", 1)[0].rstrip("\r")
        if not source:
            return ""
        first = min(max(self.column - 1, 0), len(source))
        last = min(max(self.end_column - 1, first + 1), max(len(source), first + 1))
        cells, starts = _cells(source)
        left, right = starts[first], starts[last] if last < len(starts) else len(cells) + 1
        start, stop = _window(len(cells), left, right)
        shown = cells[start:stop]
        if start > 0:
            shown[: len(_CUT)] = _CUT
        if stop < len(cells):
            shown[-len(_CUT) :] = _CUT
        # A two-column character occupies a cell and an empty one; half of one at a cut is a blank.
        if shown and shown[0] == "":
            shown[0] = " "
        marks = " " * (left - start) + "^" * max(min(right, start + WINDOW) - left, 1)
        return "".join(shown).rstrip() + "\n" + marks


def _visible(char: str) -> str:
    return char if char.isprintable() and not unicodedata.combining(char) else "?"


def _cells(source: str) -> tuple[list[str], list[int]]:
    """Screen columns of a line, and the one at which each source character, and the end, starts."""
    cells: list[str] = []
    starts: list[int] = []
    for char in source:
        starts.append(len(cells))
        if char == "\t":
            cells.extend(" " * (TAB - len(cells) % TAB))
        else:
            cells.append(_visible(char))
            if unicodedata.east_asian_width(char) in "WF":
                cells.append("")
    starts.append(len(cells))
    return cells, starts


def _window(width: int, left: int, right: int) -> tuple[int, int]:
    """The columns to show so that the marked stretch, or at least its start, is in sight."""
    if width < WINDOW or (width == WINDOW and right <= WINDOW):
        return 0, width
    middle = (left + min(right, left + WINDOW // 2)) // 2
    start = max(0, min(middle - WINDOW // 2, width + 1 - WINDOW))
    return start, min(width, start + WINDOW)
