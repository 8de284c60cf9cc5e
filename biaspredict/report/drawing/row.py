"""One row of the drawing, laid out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from biaspredict.report.drawing import lettering
from biaspredict.report.drawing.columns import arrange
from biaspredict.report.drawing.compact import compact
from biaspredict.report.drawing.costs import LEFT, Column
from biaspredict.report.drawing.heights import Heights, Stack, leads
from biaspredict.report.drawing.outline import Outline, outline
from biaspredict.report.drawing.place import Placed, Placer
from biaspredict.report.drawing.records import Dot, End, Slot, Text
from biaspredict.report.drawing.room import GROUND_STUB, Box, ground_box
from biaspredict.report.drawing.sketch import Sketch
from biaspredict.report.drawing.slots import (
    ABOVE,
    DOWN,
    RAIL_RING,
    Chosen,
    Label,
    choose,
    extra_room,
    moved_clear,
)
from biaspredict.report.drawing.stack import extents


@dataclass(frozen=True, slots=True)
class Row:
    """A row in its own coordinates: x from 0, heights upwards."""

    placed: Placed
    texts: tuple[Text, ...]
    slots: tuple[Slot, ...]
    low: float
    high: float
    left: float
    right: float


def lay_row(sketch: Sketch, labels: Sequence[Label]) -> Row:
    """Columns, heights, lettering, distances: in that order, then once more with the lettering."""
    columns = arrange(sketch)
    stack = Stack(sketch, columns)
    heights = stack.place()
    outlines = [outline(sketch, c, heights, stack.spans, p) for p, c in enumerate(columns)]
    boxes: list[list[Box]] = [list(o.boxes) for o in outlines]
    x = compact(sketch, columns, boxes)
    chosen: list[Chosen] = []
    for _ in range(2):
        chosen = choose(sketch, columns, stack.spans, heights, x, boxes, labels)
        extra = extra_room(sketch, columns, stack.spans, chosen)
        heights = stack.place(extra, _beside(sketch, columns, chosen, heights))
        outlines = [outline(sketch, c, heights, stack.spans, p) for p, c in enumerate(columns)]
        boxes = [list(o.boxes) for o in outlines]
        chosen = moved_clear(chosen, boxes, heights)
        full = [list(held) for held in boxes]
        for line in sketch.lines:
            if line.ground and line.track >= 0:
                place = _hanging(sketch, columns, line.number)
                if place is not None:
                    full[place].append(ground_box(heights.lines[line.number], upper=True))
        for one in chosen:
            full[one.place].append(one.box(heights.lines[one.label.line]))
        x = compact(sketch, columns, full)
    x = [round(value, 2) for value in x]
    return _finish(sketch, columns, heights, x, outlines, full, chosen)


def _beside(
    sketch: Sketch, columns: Sequence[Column], chosen: Sequence[Chosen], heights: Heights
) -> Mapping[tuple[int, int], float]:
    """Distances from a line to the bodies next to it that lettering at the line needs."""
    found: dict[tuple[int, int], float] = {}
    for one in chosen:
        column = columns[one.place]
        if column.kind != "u":
            continue
        for k, rows in extents(sketch, column, heights).items():
            u = sketch.uprights[k]
            tall = 0.0
            for x1, x2, half in rows:
                if x1 < one.x2 + 0.02 and one.x1 < x2 + 0.02:
                    tall = max(tall, half + 0.05)
            if tall and u.top == one.label.line:
                found[k, u.top] = DOWN + tall
            if tall and u.bottom == one.label.line:
                found[k, u.bottom] = one.label.tall + tall
    return found


def _finish(
    sketch: Sketch,
    columns: Sequence[Column],
    heights: Heights,
    x: Sequence[float],
    outlines: Sequence[Outline],
    boxes: Sequence[Sequence[Box]],
    chosen: Sequence[Chosen],
) -> Row:
    texts = [
        Text(t.text, t.x + x[place], t.y, t.anchor, t.style, t.about)
        for place, o in enumerate(outlines)
        for t in o.texts
    ]
    slots = []
    reach: dict[int, tuple[float, float]] = {}
    ends: list[End] = []
    for one in chosen:
        label = one.label
        x1, x2, y = x[one.place] + one.x1, x[one.place] + one.x2, heights.lines[label.line]
        if label.rail:
            at_left = one.side == LEFT
            reach[label.line] = (x1, x2)
            ring, towards = (x1, "left") if at_left else (x2, "right")
            ends.append(End("rail", label.node, label.node, ring, y, towards))
            x1, x2 = (x1 + RAIL_RING, x2) if at_left else (x1, x2 - RAIL_RING)
        anchor = "end" if one.side == LEFT and not label.rail else "start"
        slots.append(Slot(label.node, x1, x2, y, anchor))
        texts += _lettered(label, slots[-1])
    for line in sketch.lines:
        if line.ground and line.track >= 0:
            place = _hanging(sketch, columns, line.number)
            if place is not None:
                reach[line.number] = (x[place] - GROUND_STUB, x[place])
    placer = Placer(sketch, columns, heights, x)
    placed = placer.run(reach)
    placed.ends += ends
    _ground_line(sketch, columns, heights, placer, placed)
    every = [box.moved(x[p]) for p, held in enumerate(boxes) for box in held]
    low = min([b.y1 for b in every] + [e.y - 0.6 for e in placed.ends])
    high = max([b.y2 for b in every] + [e.y + 0.2 for e in placed.ends])
    left = min([b.x1 for b in every] + [e.x - 0.4 for e in placed.ends])
    right = max([b.x2 for b in every] + [e.x + 0.4 for e in placed.ends])
    return Row(placed, tuple(texts), tuple(slots), low, high, left, right)


def _lettered(label: Label, slot: Slot) -> list[Text]:
    at = slot.x1 if slot.anchor == "start" else slot.x2
    first = slot.y + ABOVE + lettering.LINE * (len(label.texts) - 1)
    return [
        Text(text, at, first - k * lettering.LINE, slot.anchor, style, label.node)
        for k, (style, text) in enumerate(label.texts)
    ]


def _ground_line(
    sketch: Sketch,
    columns: Sequence[Column],
    heights: Heights,
    placer: Placer,
    placed: Placed,
) -> None:
    """The symbol of a ground that is one line: below it, or at its end when it runs on top."""
    for line in sketch.lines:
        if not line.ground or line.track < 0:
            continue
        y = heights.lines[line.number]
        met = placer.meets[line.number]
        if not met:
            continue
        x = min(met)
        if (place := _hanging(sketch, columns, line.number)) is not None:
            placed.ends.append(
                End("ground", "", line.node, placer.x[place] - GROUND_STUB, y, "down")
            )
            continue
        placed.ends.append(End("ground", "", line.node, x, y, "down"))
        if len(set(met)) > 1 and not any(d.x == x and d.y == y for d in placed.dots):
            placed.dots.append(Dot(line.node, x, y))


def _hanging(sketch: Sketch, columns: Sequence[Column], line: int) -> int | None:
    """The column left of which a ground that runs on top ends, None for one at the bottom."""
    if line == 0:
        return None
    return next(
        (p for p, c in enumerate(columns) for at, _ in leads(sketch, c) if at == line), None
    )
