"""The room each column takes, as boxes about its middle line; heights run upwards."""

from __future__ import annotations

from dataclasses import dataclass

from biaspredict.report.drawing import lettering
from biaspredict.report.drawing.captions import LETTERS, part_lines
from biaspredict.report.drawing.costs import Column
from biaspredict.report.drawing.heights import Heights, Spans, ends
from biaspredict.report.drawing.room import (
    FLAT_LEAD,
    GROUND_STUB,
    ROUND,
    TURN,
    WIRE,
    Box,
    Lettered,
    block,
    bold_lines,
    own_ground,
    tall,
)
from biaspredict.report.drawing.shapes import REACH, half_width
from biaspredict.report.drawing.sketch import Sketch
from biaspredict.report.drawing.stack import stack_outline

NEAR = 1e-6


@dataclass(frozen=True, slots=True)
class Outline:
    """Boxes that other columns keep off, and the lettering that stands in them."""

    boxes: tuple[Box, ...]
    texts: tuple[Lettered, ...]


def outline(sketch: Sketch, column: Column, heights: Heights, spans: Spans, place: int) -> Outline:
    """The room of one column, which stands at `place`."""
    if column.kind == "s":
        return _stub(sketch, column, heights, towards=stub_side(sketch, column, spans, place))
    if column.kind == "f":
        return _flat(sketch, column, heights)
    return Outline(*stack_outline(sketch, column, heights))


def stub_side(sketch: Sketch, column: Column, spans: Spans, place: int) -> str:
    """Where the lettering of a stub goes: "left", "right", or "" where its line runs both ways."""
    stub = sketch.stubs[column.members[0]]
    at = 3 * place + 1
    free = {"left": spans.low[stub.line] == at, "right": spans.high[stub.line] == at}
    if own_ground(sketch, stub.line):
        return "left"
    wish = ("right", "left") if stub.what in ("output", "link out") else ("left", "right")
    return next((side for side in wish if free[side]), "")


def _flat(sketch: Sketch, column: Column, heights: Heights) -> Outline:
    flat = sketch.flats[column.members[0]]
    kind, ref = flat.part.kind, flat.part.ref
    body = heights.bodies["f", column.members[0]]
    half = half_width(kind)
    out = flat_out(sketch, column, heights)
    boxes = [Box(-out, out, body - half, body + half, f"body {ref}")]
    for line, x in zip(ends(sketch, column), (-out, out), strict=True):
        at = heights.lines[line]
        boxes.append(Box(x - WIRE, x + WIRE, min(at, body), max(at, body) + 1e-6, f"jog {ref}"))
        if own_ground(sketch, line):
            boxes.append(Box(out, out + TURN + 0.32, at - 0.5, at + WIRE, "ground"))
    above, below = flat_lettering(sketch, column, heights)
    texts: list[Lettered] = []
    bold = bold_lines(ref)
    for lines, sign in ((above, 1), (below, -1)):
        if lines:
            count = bold if lines[0] == part_lines(flat.part)[0] else 0
            y = body + sign * (half + 0.17 + (lettering.FALL if sign > 0 else 0) + tall(lines) / 2)
            made, box = block(lines, count, 0.0, y, "middle", ref)
            texts += made
            boxes.append(box)
    return Outline(tuple(boxes), tuple(texts))


def flat_out(sketch: Sketch, column: Column, heights: Heights) -> float:
    """How far from its middle the leads of a level part turn off.

    Clear of its lettering where one lead turns up and the other down.
    """
    flat = sketch.flats[column.members[0]]
    out = REACH[flat.part.kind] + FLAT_LEAD
    body = heights.bodies["f", column.members[0]]
    turns = [heights.lines[line] - body for line in ends(sketch, column)]
    if any(t > NEAR for t in turns) and any(t < -NEAR for t in turns):
        values = " ".join(part_lines(flat.part)[bold_lines(flat.part.ref) :])
        names = lettering.broken(flat.part.ref, LETTERS)
        wide = max([lettering.width(values), *(lettering.width(n, bold=True) for n in names)])
        out = max(out, round(wide / 2 + WIRE + 0.1, 2))
    return out


def flat_lettering(sketch: Sketch, column: Column, heights: Heights) -> tuple[list[str], list[str]]:
    """Lines above and below a level part: none on the side where its leads turn off."""
    flat = sketch.flats[column.members[0]]
    body = heights.bodies["f", column.members[0]]
    lines = part_lines(flat.part)
    bold = bold_lines(flat.part.ref)
    names, values = lines[:bold], [" ".join(lines[bold:])] if lines[bold:] else []
    turns = [heights.lines[line] - body for line in ends(sketch, column)]
    wide = lettering.width(values[0]) / 2 + WIRE if values else 0.0
    if wide < REACH[flat.part.kind] + FLAT_LEAD - WIRE:
        return names, values
    up, down = any(t > NEAR for t in turns), any(t < -NEAR for t in turns)
    if down and not up:
        return [*names, *values], []
    if up and not down:
        return [], [*names, *values]
    return names, values


def _stub(sketch: Sketch, column: Column, heights: Heights, *, towards: str) -> Outline:
    stub = sketch.stubs[column.members[0]]
    y = heights.lines[stub.line]
    name = lettering.broken(stub.name, LETTERS)
    boxes = [Box(-ROUND, ROUND, y - ROUND, y + ROUND, f"ring {stub.name}")]
    if own_ground(sketch, stub.line):
        boxes.append(Box(0.0, GROUND_STUB + 0.32, y - 0.5, y, "ground"))
    if towards:
        far = 0.26 + (0.10 if stub.what.startswith("link") else 0.0)
        x, anchor = (far, "start") if towards == "right" else (-far, "end")
        texts, box = block([*name, *stub.notes], len(name), x, y, anchor, stub.name)
        return Outline((*boxes, box), tuple(texts))
    # The line runs on behind the ring, so the lettering stands above and below it.
    rise = ROUND + 0.06 + lettering.FALL + tall(name) / 2
    texts, box = block(name, len(name), 0.0, y + rise, "middle", stub.name)
    boxes.append(box)
    if stub.notes:
        fall = ROUND + 0.08 + tall(stub.notes) / 2
        more, box = block(stub.notes, 0, 0.0, y - fall, "middle", stub.name)
        texts += more
        boxes.append(box)
    return Outline(tuple(boxes), tuple(texts))
