"""The room of a stack of uprights: where their third leads turn and their lettering stands."""

from __future__ import annotations

from collections.abc import Mapping

from biaspredict.model.parts import Kind
from biaspredict.report.drawing import lettering
from biaspredict.report.drawing.captions import part_lines
from biaspredict.report.drawing.costs import LEFT, RIGHT, Column
from biaspredict.report.drawing.heights import Heights
from biaspredict.report.drawing.room import (
    BESIDE,
    LETTERED,
    LOOP,
    TURN,
    WIRE,
    Box,
    Lettered,
    block,
    bold_lines,
    ground_box,
    own_ground,
    tall,
)
from biaspredict.report.drawing.shapes import REACH, SIDE, half_width
from biaspredict.report.drawing.sketch import Sketch, Upright


def side_leads(sketch: Sketch, column: Column, heights: Heights) -> dict[int, float]:
    """How far out the third lead of each upright turns towards its line.

    Leads that would lie on each other, or meet a stranger's, turn further out.
    """
    found: dict[int, float] = {}
    done: list[tuple[int, float, float, float]] = []
    turning = []
    for k, side in zip(column.members, column.sides, strict=True):
        line = sketch.uprights[k].side
        if line is not None:
            body = heights.bodies["u", k]
            low, high = sorted((body, heights.lines[line]))
            rank = 2 if own_ground(sketch, line) else 1 if high - low > 1e-6 else 0
            turning.append((rank, high - low, k, side, low, high))
    for rank, _, k, side, low, high in sorted(turning):
        passed = any(
            other != k and s == side and low - TURN < heights.bodies["u", other] < high + TURN
            for _, _, other, s, *_ in turning
        )
        # A lead that turns past another's must leave that one's end free.
        out = SIDE + TURN if passed and high > low + 1e-6 else SIDE
        while any(
            s == side and low < top + TURN and foot < high + TURN and abs(o - at) < TURN / 2
            for s, o, foot, top in done
            for at in ((out, out + TURN) if rank == 2 else (out,))
        ):
            out += TURN
        found[k] = out
        done.append((side, out, low, high))
    return found


def captions_at(sketch: Sketch, column: Column, heights: Heights) -> dict[int, float]:
    """How far from the middle line the lettering of each upright begins; below 0 to the left.

    To the right as a rule; opposite a third lead; clear of the leads that turn off past it.
    """
    outs = side_leads(sketch, column, heights)
    turns = []
    for k, side in zip(column.members, column.sides, strict=True):
        line = sketch.uprights[k].side
        if line is not None:
            low, high = sorted((heights.bodies["u", k], heights.lines[line]))
            turns.append((k, 1 if side == RIGHT else -1, outs[k], low, high))
    found = {}
    for k, side in zip(column.members, column.sides, strict=True):
        u = sketch.uprights[k]
        start = _start(u)
        body = heights.bodies["u", k]
        half = tall(part_lines(u.part)) / 2 + lettering.FALL + WIRE

        def past(sign: int, body: float = body, half: float = half, k: int = k) -> float:
            met = [
                out
                for other, s, out, low, high in turns
                if s == sign and other != k and low < body + half and high > body - half
            ]
            return max(met, default=0.0)

        sign = 1 if u.side is None or side == LEFT else -1
        if past(sign) and u.side is None and not past(-sign):
            sign = -sign
        far = past(sign)
        found[k] = sign * (max(start, far + WIRE + 0.08) if far else start)
    return found


def _start(u: Upright) -> float:
    kind = u.part.kind
    start = LETTERED if kind in (Kind.TRANSISTOR, Kind.FET) else half_width(kind) + BESIDE
    return max(start, LOOP + WIRE + 0.08) if u.top == u.bottom else start


def stack_outline(
    sketch: Sketch, column: Column, heights: Heights
) -> tuple[tuple[Box, ...], tuple[Lettered, ...]]:
    """Boxes and lettering of a stack."""
    outs = side_leads(sketch, column, heights)
    starts = captions_at(sketch, column, heights)
    boxes: list[Box] = []
    texts: list[Lettered] = []
    y = heights.lines
    for k, side in zip(column.members, column.sides, strict=True):
        u = sketch.uprights[k]
        ref = u.part.ref
        body = heights.bodies["u", k]
        reach, half = REACH[u.part.kind], half_width(u.part.kind)
        low, high = min(y[u.bottom], body - reach), max(y[u.top], body + reach)
        boxes.append(Box(-WIRE, WIRE, low, high, f"wire {ref}"))
        boxes.append(Box(-half, half, body - reach * 0.9, body + reach * 0.9, f"body {ref}"))
        if u.top == u.bottom:
            loop = LOOP if side == LEFT else -LOOP
            boxes.append(Box(min(0.0, loop) - WIRE, max(0.0, loop) + WIRE, low, high, "loop"))
        start = starts[k]
        anchor = "start" if start > 0 else "end"
        made, box = block(part_lines(u.part), bold_lines(ref), start, body, anchor, ref)
        texts += made
        boxes.append(box)
        if u.side is not None:
            boxes += _side_boxes(sketch, u, outs[k] if side == RIGHT else -outs[k], body, y[u.side])
        for line, upper in ((u.top, True), (u.bottom, False)):
            if own_ground(sketch, line):
                boxes.append(ground_box(y[line], upper=upper))
    return tuple(boxes), tuple(texts)


def _side_boxes(sketch: Sketch, u: Upright, out: float, body: float, at: float) -> list[Box]:
    ref = u.part.ref
    boxes = [
        Box(min(out, 0.0), max(out, 0.0), body - WIRE, body + WIRE, f"lead {ref}"),
        Box(out - WIRE, out + WIRE, min(at, body), max(at, body) + 1e-6, f"jog {ref}"),
    ]
    if u.side is not None and own_ground(sketch, u.side):
        stub = out + (TURN if out > 0 else -TURN)
        boxes.append(Box(min(stub, out) - 0.32, max(stub, out) + 0.32, at - 0.5, at, "ground"))
    return boxes


def extents(
    sketch: Sketch, column: Column, heights: Heights
) -> Mapping[int, list[tuple[float, float, float]]]:
    """For each upright (from x, to x, half its height) of its body, lettering and third lead."""
    outs = side_leads(sketch, column, heights)
    found = {}
    for k, start in captions_at(sketch, column, heights).items():
        u = sketch.uprights[k]
        half = half_width(u.part.kind)
        rows = [(-half, half, REACH[u.part.kind] * 0.9)]
        lines = part_lines(u.part)
        bold = bold_lines(u.part.ref)
        wide = max(lettering.width(t, bold=i < bold) for i, t in enumerate(lines))
        over = tall(lines) / 2 + lettering.FALL
        rows.append((start, start + wide, over) if start > 0 else (start - wide, start, over))
        if u.side is not None:
            right = column.sides[column.members.index(k)] == RIGHT
            rows.append((0.0, outs[k], WIRE) if right else (-outs[k], 0.0, WIRE))
        found[k] = rows
    return found
