"""Where along its line a node gets its volts lettered, with room for a reading below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from biaspredict.report.drawing import lettering
from biaspredict.report.drawing.costs import LEFT, MIDDLE, RIGHT, Column
from biaspredict.report.drawing.heights import Heights, Spans, leads
from biaspredict.report.drawing.outline import flat_out
from biaspredict.report.drawing.room import ROUND, WIRE, Box
from biaspredict.report.drawing.shapes import SIDE, half_width
from biaspredict.report.drawing.sketch import Sketch
from biaspredict.report.drawing.stack import side_leads

ABOVE = 0.10  # from the wire to the foot of the lettering
DOWN = 0.84  # room below the wire for a reading and its deviation
READING = 1.60  # width of a reading
CLEAR = 0.10
RAIL_RING = 0.40  # from the ring of a rail to its lettering's start

GROWTH = 1.0  # cost of a unit of width
OFF_WIRE = 0.8  # cost of lettering beside a line instead of on it
AT_RIGHT = 1.0  # cost of a rail's ring at its right end
BLOCKED = 2.5  # cost of standing on a lead or another label of the same column
TIGHT = 0.35  # cost of spreading the heights


@dataclass(frozen=True, slots=True)
class Label:
    """What is to be lettered at a line, top line first."""

    line: int
    node: str
    texts: tuple[tuple[str, str], ...]  # (style, text)
    rail: bool = False

    @property
    def wide(self) -> float:
        sizes = [lettering.width(t, bold=style in ("ref", "name")) for style, t in self.texts]
        return max([READING, *sizes]) + (RAIL_RING if self.rail else 0.0)

    @property
    def tall(self) -> float:
        return ABOVE + lettering.LINE * (len(self.texts) - 1) + lettering.RISE + 0.06


@dataclass(frozen=True, slots=True)
class Chosen:
    """A label's place: at a column, from x1 to x2 of its middle, on the side named."""

    label: Label
    place: int
    side: int
    sub: int
    x1: float
    x2: float
    on_wire: bool

    def box(self, y: float) -> Box:
        return Box(self.x1, self.x2, y - DOWN, y + self.label.tall, f"slot {self.label.node}")


def choose(
    sketch: Sketch,
    columns: Sequence[Column],
    spans: Spans,
    heights: Heights,
    x: Sequence[float],
    boxes: Sequence[Sequence[Box]],
    labels: Sequence[Label],
) -> list[Chosen]:
    """A place for every label, the one that spreads the drawing least."""
    taken = [[box.moved(x[p]) for box in held] for p, held in enumerate(boxes)]
    chosen = []
    for label in sorted(labels, key=lambda one: (not one.rail, -heights.lines[one.line])):
        tries = [
            (_cost(one, sketch, columns, heights, x, taken), one)
            for one in _candidates(sketch, columns, spans, heights, label)
        ]
        if not tries:
            continue
        _, best = min(tries, key=lambda pair: (round(pair[0], 6), pair[1].place, pair[1].side))
        chosen.append(best)
        y = heights.lines[label.line]
        taken[best.place].append(best.box(y).moved(x[best.place]))
    return chosen


def _candidates(
    sketch: Sketch, columns: Sequence[Column], spans: Spans, heights: Heights, label: Label
) -> list[Chosen]:
    found = []
    wide = label.wide
    for place, column in enumerate(columns):
        for line, sub in dict.fromkeys(leads(sketch, column)):
            if line != label.line:
                continue
            at = 3 * place + sub
            if label.rail:
                found += _rail_ends(sketch, column, spans, heights, label, place, sub)
                continue
            for side in (LEFT, RIGHT):
                end = _lead_end(sketch, column, heights, label.line, sub)
                if sub not in (MIDDLE, side):
                    continue
                if sub == MIDDLE and (line, side) in leads(sketch, column):
                    continue
                on_wire = spans.low[line] < at if side == LEFT else spans.high[line] > at
                if column.kind == "s" and not on_wire:
                    continue
                if side == LEFT:
                    near = end - CLEAR - (ROUND if column.kind == "s" else WIRE)
                    found.append(Chosen(label, place, side, sub, near - wide, near, on_wire))
                else:
                    near = end + CLEAR + (ROUND if column.kind == "s" else WIRE)
                    found.append(Chosen(label, place, side, sub, near, near + wide, on_wire))
                if sub == MIDDLE and column.kind == "u" and on_wire:
                    # Clear of the body too, which spreads the width instead of the height.
                    far = max(half_width(sketch.uprights[k].part.kind) for k in column.members)
                    last = found[-1]
                    shift = (far + CLEAR - abs(near)) * (1 if side == RIGHT else -1)
                    found.append(replace(last, x1=last.x1 + shift, x2=last.x2 + shift))
    return found


def _rail_ends(
    sketch: Sketch,
    column: Column,
    spans: Spans,
    heights: Heights,
    label: Label,
    place: int,
    sub: int,
) -> list[Chosen]:
    """A rail runs out to its ring at its left or right end, past no level part of its own."""
    at = 3 * place + sub
    found = []
    for side, edge in ((LEFT, spans.low[label.line]), (RIGHT, spans.high[label.line])):
        if at != edge or (column.kind == "f" and sub != side) or column.kind == "s":
            continue
        out = CLEAR
        if sub == MIDDLE and column.kind == "u":
            out += max(half_width(sketch.uprights[k].part.kind) for k in column.members)
        end = _lead_end(sketch, column, heights, label.line, sub)
        if side == LEFT:
            found.append(Chosen(label, place, side, sub, end - out - label.wide, end - out, True))
        else:
            found.append(Chosen(label, place, side, sub, end + out, end + out + label.wide, True))
    if not found and at == spans.low[label.line]:
        # Level parts at both ends: the ring sits on the wire between them.
        end = _lead_end(sketch, column, heights, label.line, sub) + CLEAR
        found.append(Chosen(label, place, RIGHT, sub, end, end + label.wide, True))
    return found


def _lead_end(sketch: Sketch, column: Column, heights: Heights, line: int, sub: int) -> float:
    if sub == MIDDLE:
        return 0.0
    if column.kind == "f":
        out = flat_out(sketch, column, heights)
    else:
        leads_out = side_leads(sketch, column, heights)
        mine = [out for k, out in leads_out.items() if sketch.uprights[k].side == line]
        out = max(mine, default=SIDE)
    return out if sub == RIGHT else -out


def _cost(
    one: Chosen,
    sketch: Sketch,
    columns: Sequence[Column],
    heights: Heights,
    x: Sequence[float],
    taken: Sequence[Sequence[Box]],
) -> float:
    y = heights.lines[one.label.line]
    box = one.box(y).moved(x[one.place])
    growth = 0.0
    for place, held in enumerate(taken):
        if place == one.place:
            continue
        for other in held:
            if box.y1 < other.y2 + CLEAR and other.y1 < box.y2 + CLEAR:
                if place > one.place:
                    growth = max(growth, box.x2 + 2 * CLEAR - other.x1)
                else:
                    growth = max(growth, other.x2 + 2 * CLEAR - box.x1)
    cost = GROWTH * max(growth, 0.0) + (0.0 if one.on_wire else OFF_WIRE)
    if one.label.rail and one.side == RIGHT:
        cost += AT_RIGHT
    own = [b for b in taken[one.place] if not b.what.startswith(("wire", "ring"))]
    met = [other for other in own if box.meets(other, 0.02)]
    if met:
        # Bodies and their lettering can make way upwards and downwards, other things not.
        cost += TIGHT if all(b.what.startswith(("body", "text")) for b in met) else BLOCKED
    for line, height in enumerate(heights.lines):
        if line != one.label.line and y - DOWN < height < y and _passes(sketch, columns, one, line):
            cost += TIGHT
    return cost


def _passes(sketch: Sketch, columns: Sequence[Column], one: Chosen, line: int) -> bool:
    places = [p for p, c in enumerate(columns) for other, _ in leads(sketch, c) if other == line]
    edge = one.place + (0.4 if one.side == RIGHT else -0.4)
    return bool(places) and min(places) <= edge <= max(places)


def extra_room(
    sketch: Sketch,
    columns: Sequence[Column],
    spans: Spans,
    chosen: Sequence[Chosen],
) -> dict[tuple[int, int], float]:
    """(upper line, lower line) to the distance that the lettering between them needs."""
    extra: dict[tuple[int, int], float] = {}
    for one in chosen:
        at = 3 * one.place + one.sub
        reach = (at, at + 3) if one.side == RIGHT else (at - 3, at)
        for line in range(len(sketch.lines)):
            if line == one.label.line:
                continue
            if spans.low[line] <= reach[1] and spans.high[line] >= reach[0]:
                under, over = (one.label.line, line), (line, one.label.line)
                extra[under] = max(extra.get(under, 0.0), DOWN + CLEAR)
                extra[over] = max(extra.get(over, 0.0), one.label.tall + CLEAR)
    return extra


def moved_clear(
    chosen: Sequence[Chosen], boxes: Sequence[Sequence[Box]], heights: Heights
) -> list[Chosen]:
    """The labels moved outwards past whatever of their own column still stands in their way."""
    placed: dict[int, list[Box]] = {}
    clear = []
    for one in chosen:
        y = heights.lines[one.label.line]
        own = [b for b in boxes[one.place] if not b.what.startswith(("wire", "ring"))]
        own += placed.get(one.place, [])
        for _ in range(len(own)):
            met = [b for b in own if one.box(y).meets(b, 0.02)]
            if not met:
                break
            if one.side == RIGHT:
                by = max(b.x2 for b in met) + CLEAR - one.x1
            else:
                by = min(b.x1 for b in met) - CLEAR - one.x2
            one = replace(one, x1=one.x1 + by, x2=one.x2 + by)
        placed.setdefault(one.place, []).append(one.box(y))
        clear.append(one)
    return clear
