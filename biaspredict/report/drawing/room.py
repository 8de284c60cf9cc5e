"""Boxes and blocks of lettering, from which the room of every column is made up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from biaspredict.report.drawing import lettering
from biaspredict.report.drawing.captions import LETTERS
from biaspredict.report.drawing.sketch import Sketch

WIRE = 0.09  # half the room of a wire
ROUND = 0.13  # half the size of a terminal's ring
FLAT_LEAD = 0.12
GROUND_STUB = 0.55
BESIDE = 0.18  # from the edge of another body to its lettering
LETTERED = 0.60  # from the middle line of a transistor to its lettering
TURN = 0.35  # between two leads that turn off side by side
LOOP = 0.70  # from the middle line of a part shorted on itself to its way back


@dataclass(frozen=True, slots=True)
class Box:
    """Sides of a rectangle; y1 is the lower one."""

    x1: float
    x2: float
    y1: float
    y2: float
    what: str = ""

    def moved(self, x: float) -> Box:
        return Box(self.x1 + x, self.x2 + x, self.y1, self.y2, self.what)

    def meets(self, other: Box, gap: float = 0.0) -> bool:
        return (
            self.x1 < other.x2 + gap
            and other.x1 < self.x2 + gap
            and self.y1 < other.y2 + gap
            and other.y1 < self.y2 + gap
        )


@dataclass(frozen=True, slots=True)
class Lettered:
    """A line of lettering about the middle of a column."""

    text: str
    x: float
    y: float
    anchor: str
    style: str
    about: str


def block(
    lines: Sequence[str], bold: int, x: float, y: float, anchor: str, about: str
) -> tuple[list[Lettered], Box]:
    """Lines centred on height y, the first `bold` of them references."""
    size = [lettering.width(text, bold=k < bold) for k, text in enumerate(lines)]
    wide = max(size, default=0.0)
    tall = lettering.LINE * (len(lines) - 1) + lettering.RISE
    first = y + tall / 2 - lettering.RISE
    made = [
        Lettered(text, x, first - k * lettering.LINE, anchor, "ref" if k < bold else "value", about)
        for k, text in enumerate(lines)
    ]
    left = {"start": x, "middle": x - wide / 2, "end": x - wide}[anchor]
    box = Box(left, left + wide, y - tall / 2 - lettering.FALL, y + tall / 2, f"text {about}")
    return made, box


def bold_lines(ref: str) -> int:
    """How many of a part's lines hold its reference."""
    return len(lettering.broken(ref, LETTERS))


def tall(lines: Sequence[str]) -> float:
    return lettering.LINE * (len(lines) - 1) + lettering.RISE


def own_ground(sketch: Sketch, line: int) -> bool:
    return sketch.lines[line].ground and sketch.lines[line].track < 0


def ground_box(y: float, *, upper: bool) -> Box:
    """A ground symbol of its own: below the part, or beside the head of one that hangs from it."""
    if upper:
        return Box(-GROUND_STUB - 0.32, 0.0, y - 0.5, y + WIRE, "ground")
    return Box(-0.32, 0.32, y - 0.5, y, "ground")
