"""Width of lettering, and long words broken into lines.

The table holds the advance widths of DejaVu Sans, in hundredths of the letter size; it is among
the widest of the common sans-serif faces, so that what fits here fits with the others too.
"""

from __future__ import annotations

import unicodedata

SIZE = 0.30  # letter size in units
LINE = 0.36  # from baseline to baseline
RISE = 0.23  # height of a capital
FALL = 0.07  # below the baseline

_FIRST = 32
_WIDTHS = (
    32, 40, 46, 84, 64, 95, 78, 27, 39, 39, 50, 84, 32, 36, 32, 34, 64, 64, 64, 64, 64, 64, 64, 64,
    64, 64, 34, 34, 84, 84, 84, 53, 100, 68, 69, 70, 77, 63, 58, 77, 75, 29, 29, 66, 56, 86, 75, 79,
    60, 79, 69, 63, 61, 73, 68, 99, 69, 61, 69, 39, 34, 39, 84, 50, 50, 61, 63, 55, 63, 62, 35, 63,
    63, 28, 28, 58, 28, 97, 63, 61, 63, 63, 41, 52, 39, 63, 59, 82, 59, 59, 52, 64, 34, 64, 84,
)  # fmt: skip
_BOLD = 1.12
_OTHER = 84
_WIDE = 104


def width(text: str, *, bold: bool = False, size: float = SIZE) -> float:
    """Width of one line in units."""
    total = sum(_letter(char) for char in text) * size / 100
    return total * _BOLD if bold else total


def _letter(char: str) -> int:
    place = ord(char) - _FIRST
    if 0 <= place < len(_WIDTHS):
        return _WIDTHS[place]
    if unicodedata.combining(char):
        return 0
    return _WIDE if unicodedata.east_asian_width(char) in "WF" else _OTHER


def broken(text: str, letters: int) -> list[str]:
    """The text in lines of at most `letters` characters, broken at blanks and marks if possible."""
    lines: list[str] = []
    left = " ".join(text.split())
    while len(left) > letters:
        cut = max(left.rfind(mark, 0, letters + 1) for mark in " -_/.")
        if cut <= letters // 3:
            cut = letters
        elif left[cut] != " ":
            cut = min(cut + 1, letters)
        lines.append(left[:cut].rstrip())
        left = left[cut:].lstrip()
    return [*lines, left] if left or not lines else lines
