"""How a drawing goes on A4: upright or lying, and in pieces where the whole is too small."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from biaspredict.report.drawing.records import Layout
from biaspredict.report.drawing.svg import UNIT

# Room on A4 in CSS pixels (96 an inch): below a sheet's title, and on a side of its own.
UPRIGHT, LYING = (703.0, 860.0), (1032.0, 530.0)
UPRIGHT_ALONE, LYING_ALONE = (703.0, 930.0), (1032.0, 600.0)
# Lettering is 12 of the drawing's units. At a scale of 0.65 its small letters are 1.1 mm high,
# which at 65 cm is 6 minutes of arc; a sharp eye reads 5 (Snellen's line of 20/20).
LEAST = 0.65
GOOD = 0.8  # from which an upright side will do
SIDE = 2.5  # lengths kept free beside what stands outermost: lettering has a width
OVERLAP = 1.5  # lengths of the layout that pieces beside each other share
_SIZE = re.compile(r' width="([0-9.]+)" height="([0-9.]+)" viewBox="0 0 [0-9.]+ [0-9.]+"')

Stretch = tuple[float, float]  # from, to


@dataclass(frozen=True, slots=True)
class Paper:
    """width, height: of the drawing in its own units. lying: it wants a side that lies.

    pieces: the same in parts that can be read; pieces_lie: how those want their paper.
    """

    width: float = 0.0
    height: float = 0.0
    lying: bool = False
    pieces: tuple[str, ...] = ()
    pieces_lie: bool = False


def on_paper(svg: str, layout: Layout) -> Paper:
    """How to print a drawing of that layout."""
    found = _SIZE.search(svg)
    if found is None:
        raise ValueError("the drawing does not say its size")
    width, height = float(found[1]), float(found[2])
    upright, lying = (min(room[0] / width, room[1] / height) for room in (UPRIGHT, LYING))
    lies = upright < GOOD and lying > upright
    if max(upright, lying) >= LEAST:
        return Paper(width, height, lies)
    high = [*_rows(layout), height]
    one, other = (
        list(_grid(layout, width, high, room)) for room in (UPRIGHT_ALONE, LYING_ALONE)
    )
    best = other if len(other) <= len(one) else one
    pieces = tuple(
        svg.replace(
            found[0],
            f' width="{w:.0f}" height="{h:.0f}" viewBox="{x:.1f} {y:.1f} {w:.1f} {h:.1f}"', 1,
        )
        for x, y, w, h in best
    )
    return Paper(width, height, lies, pieces, best is other)


def _grid(
    layout: Layout, width: float, feet: Sequence[float], room: tuple[float, float]
) -> Iterator[tuple[float, float, float, float]]:
    """Pieces (x, y, width, height) that fit the room, row by row; feet: where rows end."""
    top = 0.0
    for foot in feet:
        for y, bottom in _cut((top, foot), room[1] / LEAST, ()):
            busy = [at[0] * UNIT for at in _places(layout) if y <= at[1] * UNIT <= bottom]
            sides = (min(busy, default=0.0) - SIDE * UNIT, max(busy, default=width) + SIDE * UNIT)
            row = (max(sides[0], 0.0), min(sides[1], width))
            for x, end in _cut(row, room[0] / LEAST, busy):
                yield x, y, end - x, bottom - y
        top = foot


def _places(layout: Layout) -> Iterator[tuple[float, float]]:
    """Middles of what stands in the layout."""
    yield from ((one.x, one.y) for one in layout.symbols)
    yield from ((one.x, one.y) for one in layout.texts)
    yield from ((one.x, one.y) for one in layout.ends)


def _cut(whole: Stretch, most: float, busy: Sequence[float]) -> Iterator[Stretch]:
    """Stretches of at most `most` that overlap, cut where little stands."""
    start, end = whole
    share = OVERLAP * UNIT
    while end - start > most:
        left = math.ceil((end - start - share) / (most - share))
        ideal = start + (end - start) / left
        last = start + most - share / 2
        places = [ideal + k * UNIT / 4 for k in range(-16, 17)]
        cut = min(
            (p for p in places if start + share < p <= last), default=last,
            key=lambda p: (sum(abs(p - b) < UNIT for b in busy), abs(p - ideal)),
        )
        yield start, cut + share / 2
        start = cut - share / 2
    yield start, end


def _rows(layout: Layout) -> list[float]:
    """Heights between the layout's rows, in the drawing's units."""
    spans: list[Stretch] = [(w.y1, w.y2) if w.y1 <= w.y2 else (w.y2, w.y1) for w in layout.wires]
    for symbol in layout.symbols:
        ends = [y for _, _, y in symbol.points]
        spans.append((min([symbol.y - 0.7, *ends]), max([symbol.y + 0.7, *ends])))
    spans += [(text.y - 0.3, text.y + 0.1) for text in layout.texts if text.style != "title"]
    spans += [(slot.y - 0.4, slot.y + 0.8) for slot in layout.slots]
    spans += [(end.y - 0.3, end.y + 0.5) for end in layout.ends]
    found, reach = [], math.inf
    for low, high in sorted(spans):
        if low > reach + 0.5:
            found.append((low + reach) / 2 * UNIT)
        reach = high if math.isinf(reach) else max(reach, high)
    return found
