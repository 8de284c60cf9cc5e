"""What was read, what is suspected and what to touch next, set into a finished layout.

Nothing here moves anything. A mark that finds no room on the drawing goes into the list below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

from biaspredict.model.stage import GROUND, Stage
from biaspredict.report.drawing import lettering
from biaspredict.report.drawing.boxes import body_box, free, slot_box, standing
from biaspredict.report.drawing.records import Layout, Mark, Next, Slot, Symbol, Verdict
from biaspredict.report.drawing.room import Box
from biaspredict.report.drawing.svg import attr, clean, number

SIGN = 0.30  # width of the tick or arrow before a reading
PAD = 0.07
TALL = 0.36  # height of a chip
FRAME = 0.09  # from a body to its frame
BADGE = 0.19
STROKES = (4.0, 2.6, 1.6)  # frames of the first, the second and further suspects
FLAG = "NEXT"


@dataclass(slots=True)
class Marks:
    """SVG elements, and lines for the list below the drawing."""

    elements: list[str] = field(default_factory=list)
    listed: list[str] = field(default_factory=list)
    signs: set[str] = field(default_factory=set)
    right: float = 0.0  # how far to the right the page must reach


class Marker:
    """Sets marks into one layout, keeping them off each other."""

    def __init__(self, stage: Stage, layout: Layout) -> None:
        self.stage = stage
        self.layout = layout
        self.made = Marks()
        self.taken = standing(layout)
        self.slots: dict[str, list[Slot]] = {}
        for slot in layout.slots:
            self.slots.setdefault(slot.node, []).append(slot)
        self.symbols = {symbol.ref: symbol for symbol in layout.symbols}

    def run(
        self,
        readings: Sequence[Mark],
        suspects: Sequence[Sequence[str]],
        next_touch: Next | None,
    ) -> Marks:
        for mark in readings:
            self._reading(mark)
        for place, refs in enumerate(suspects, start=1):
            for ref in refs:
                self._frame(ref, place)
        if next_touch is not None:
            self._next(next_touch)
        return self.made

    # --- readings ----------------------------------------------------------------------------

    def _reading(self, mark: Mark) -> None:
        if mark.minus is None or mark.minus == GROUND:
            for slot in self.slots.get(mark.node, ()):
                box = slot_box(slot)
                if box in self.taken:
                    self.taken.remove(box)
                    self.taken.append(self._write(mark, slot.x1, slot.x2, slot.y, slot.anchor))
                    return
        elif self._across(mark):
            return
        self._list(mark)

    def _list(self, mark: Mark) -> None:
        known = {*self.stage.nodes, GROUND}
        where = mark.node + (f" to {mark.minus}" if mark.minus not in (None, GROUND) else "")
        words = {
            Verdict.INSIDE: "inside the band",
            Verdict.OUTSIDE: f"outside the band, {mark.deviation}".rstrip(", "),
            Verdict.UNJUDGED: "nothing to hold it against",
        }[mark.verdict]
        if mark.node not in known or (mark.minus is not None and mark.minus not in known):
            words = "no such node on this drawing"
        self.made.listed.append(f"Read {where}: {mark.value}, {words}")

    def _size(self, mark: Mark, before: str) -> tuple[float, float]:
        """Width and height of a reading's mark."""
        wide = PAD + SIGN + lettering.width(before + mark.value, bold=True) + PAD
        tall = TALL
        if mark.verdict is Verdict.OUTSIDE and mark.deviation:
            wide = max(wide, lettering.width(mark.deviation))
            tall += lettering.LINE
        return wide, tall

    def _write(
        self, mark: Mark, x1: float, x2: float, y: float, anchor: str, before: str = ""
    ) -> Box:
        """The mark with its top just below y; returns the room it took."""
        text = before + mark.value
        wide, tall = self._size(mark, before)
        left = x1 if anchor == "start" else x2 - wide
        top = y + 0.09
        foot = top + (TALL + lettering.RISE) / 2 - 0.01
        lettered = escape(clean(text))
        name = attr(mark.node if mark.minus is None else f"{mark.node} {mark.minus}")
        out = [
            f'<g class="reading" data-node={name} data-verdict="{mark.verdict.value}"'
            f" data-value={attr(mark.value)}>"
        ]
        at = f'x="{number(left + PAD + SIGN)}" y="{number(foot)}" font-size="12"'
        middle = left + PAD + SIGN / 2 - 0.02
        if mark.verdict is Verdict.OUTSIDE:
            chip = PAD + SIGN + lettering.width(text, bold=True) + PAD
            out.append(
                f'<rect x="{number(left)}" y="{number(top)}" width="{number(chip)}"'
                f' height="{number(TALL)}" rx="2" fill="#000" stroke="none"/>'
            )
            out.append(_arrow(middle, top + TALL / 2, mark.arrow))
            out.append(f'<text {at} font-weight="bold" fill="#fff" stroke="none">{lettered}</text>')
            if mark.deviation:
                out.append(
                    f'<text x="{number(left)}" y="{number(foot + lettering.LINE)}" font-size="12"'
                    f' fill="#000" stroke="none">{escape(clean(mark.deviation))}</text>'
                )
        else:
            if mark.verdict is Verdict.INSIDE:
                out.append(_tick(middle, top + TALL / 2))
            out.append(f'<text {at} font-weight="bold" fill="#000" stroke="none">{lettered}</text>')
        out.append("</g>")
        self.made.elements.append("".join(out))
        self.made.signs.add(mark.verdict.value)
        return Box(left, left + wide, top, top + tall, "reading")

    def _across(self, mark: Mark) -> bool:
        """A reading across a part, beside the part."""
        for part in self.stage.parts:
            pair = {mark.node, mark.minus}
            if part.ref not in self.symbols or not pair <= set(part.nodes):
                continue
            before = f"{part.ref} "
            if len(part.terminals) == 3:
                ends = [
                    next(t for t, n in zip(part.terminals, part.nodes, strict=True) if n == node)
                    for node in (mark.node, mark.minus)
                ]
                before += "".join(e[0].upper() for e in ends) + " "
            wide, tall = self._size(mark, before)
            for x, y in self._around(self.symbols[part.ref], wide, tall):
                box = Box(x, x + wide, y, y + tall, "reading")
                if free(box, self.taken, self.layout):
                    self._write(mark, x, x + wide, y - 0.09, "start", before)
                    self._take(box)
                    return True
        return False

    def _around(self, symbol: Symbol, wide: float, tall: float) -> list[tuple[float, float]]:
        """Upper left corners to try, nearest first."""
        body = body_box(symbol, 0.16)
        level = symbol.y - tall / 2
        near = [
            (body.x1 - wide, level),
            (body.x1 - wide, level + 0.3),
            (body.x1 - wide, level - 0.3),
            (body.x2, level),
            (body.x2, level + 0.75),
            (body.x2, level - 0.75),
            (body.x2 + 0.9, level),
            (symbol.x - wide / 2, body.y2 + 0.1),
            (symbol.x - wide / 2, body.y1 - tall - 0.1),
        ]
        far = [
            (body.x1 - wide - dx, level + dy)
            for dx in (0.0, 0.3, 0.6)
            for dy in (-0.6, 0.6, -0.9, 0.9)
        ]
        far += [
            (body.x2 + dx, level + dy) for dx in (0.1, 0.5, 1.0) for dy in (-0.9, 0.9, -1.2, 1.2)
        ]
        wider = [
            (symbol.x + dx - wide / 2, level + dy)
            for dy in (0.0, 0.45, -0.45, 0.9, -0.9, 1.35, -1.35, 1.8, -1.8)
            for dx in (1.4, -1.4, 1.8, -1.8, 2.2, -2.2, 2.6, -2.6)
        ]
        return near + far + wider

    # --- suspects ------------------------------------------------------------------------------

    def _frame(self, ref: str, place: int) -> None:
        symbol = self.symbols.get(ref)
        if symbol is None:
            self.made.listed.append(f"Suspect {place}: {ref}, which is not on this drawing")
            return
        box = body_box(symbol, FRAME)
        stroke = STROKES[min(place, len(STROKES)) - 1]
        xs = (box.x1, (box.x1 + box.x2) / 2, box.x2)
        ys = (box.y1, (box.y1 + box.y2) / 2, box.y2)
        far = 0.12
        corners = [(xs[i], ys[j]) for i, j in ((0, 0), (0, 2), (2, 0), (2, 2), (0, 1), (2, 1))]
        corners += [(x - far, y) for x, y in corners[:2]] + [(x + far, y) for x, y in corners[2:4]]
        corners += [(xs[0], ys[0] - far), (xs[0], ys[2] + far), (xs[2], ys[0] - far)]
        corners += [(xs[1] + s * 0.3, ys[j]) for s in (-1, 1) for j in (0, 2)]
        own = {f"body {ref}"}
        best = min(
            range(len(corners)),
            key=lambda k: (self._hits(corners[k], own), k),
        )
        x, y = corners[best]
        self.taken.append(Box(x - BADGE, x + BADGE, y - BADGE, y + BADGE, "badge"))
        size = 12 if place < 10 else 10
        self.made.elements.append(
            f'<g class="suspect" data-ref={attr(ref)} data-place="{place}">'
            f'<rect x="{number(box.x1)}" y="{number(box.y1)}" width="{number(box.x2 - box.x1)}"'
            f' height="{number(box.y2 - box.y1)}" rx="6" stroke-width="{stroke:g}"/>'
            f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(BADGE)}" fill="#000"'
            ' stroke="#fff" stroke-width="1"/>'
            f'<text x="{number(x)}" y="{number(y + 0.11)}" font-size="{size}" font-weight="bold"'
            f' text-anchor="middle" fill="#fff" stroke="none">{place}</text></g>'
        )
        self.made.signs.add("suspect")

    def _hits(self, at: tuple[float, float], own: set[str]) -> int:
        x, y = at
        box = Box(x - BADGE, x + BADGE, y - BADGE, y + BADGE)
        weight = {"text": 4, "body": 3, "badge": 9, "reading": 4, "slot": 2}
        return sum(
            weight.get(other.what.split(" ")[0], 1)
            for other in self.taken
            if other.what not in own and box.meets(other)
        )

    # --- the next touch ------------------------------------------------------------------------

    def _next(self, touch: Next) -> None:
        if touch.words:
            self.made.listed.append(f"{FLAG}: {touch.words}")
        pair = touch.minus is not None and touch.minus != GROUND
        self._flag(touch.node, f"{FLAG} +" if pair else FLAG)
        if pair and touch.minus is not None:
            self._flag(touch.minus, f"{FLAG} -")

    def _take(self, box: Box) -> None:
        self.taken.append(box)
        self.made.right = max(self.made.right, box.x2 + 0.2)

    def _flag(self, node: str, word: str) -> None:
        """Below a wire of the node, above one, or beside an upright one; in the list if nowhere."""
        wide = lettering.width(word, bold=True) + 0.24
        tries = []
        for x, y in self._flag_places(node, wide):
            points = _pennant(x, y, wide, TALL, 1)
            tries.append((Box(x, x + wide, y + 0.02, y + 0.60), points))
        for x, y in self._flag_places(node, wide):
            points = _pennant(x, y - 0.10, wide, TALL, -1)
            tries.append((Box(x, x + wide, y - 0.72, y - 0.12), points))
        broad, tall = wide + 0.20, 0.40
        for x, y, left in self._side_places(node, broad):
            points = _side_pennant(x, y, broad, tall, left=left)
            tries.append((Box(x, x + broad, y - tall / 2, y + tall / 2), points))
        for box, points in tries:
            if free(box, self.taken, self.layout):
                self._take(box)
                self.made.elements.append(_flag(node, word, points))
                self.made.signs.add("next")
                return
        self.made.listed.append(f"{word} at {node}")

    def _flag_places(self, node: str, wide: float) -> list[tuple[float, float]]:
        """Left end and wire height of places below the node's wires, its slot first."""
        places = []
        for slot in self.slots.get(node, ()):
            box = slot_box(slot)
            if box in self.taken:
                self.taken.remove(box)
                x = slot.x1 if slot.anchor == "start" else slot.x2 - wide
                places.append((x, slot.y + 0.02))
        for wire in self.layout.wires:
            if wire.node == node and wire.y1 == wire.y2:
                left, right = sorted((wire.x1, wire.x2))
                steps = int((right - left) / 0.3)
                places += [(left + 0.3 * k - 0.15, wire.y1 + 0.05) for k in range(steps + 1)]
        return places

    def _side_places(self, node: str, wide: float) -> list[tuple[float, float, bool]]:
        """Left end, height, and whether the point is to the left, beside the node's uprights."""
        places = []
        for wire in self.layout.wires:
            if wire.node == node and wire.x1 == wire.x2:
                high, low = sorted((wire.y1, wire.y2))
                for k in range(int((low - high) / 0.2) + 1):
                    places.append((wire.x1 + 0.05, high + 0.2 * k, True))
                    places.append((wire.x1 - 0.05 - wide, high + 0.2 * k, False))
        return places


Points = list[tuple[float, float]]


def _pennant(x: float, y: float, wide: float, tall: float, down: int) -> Points:
    """A sign with its point up to a wire at y, or (down -1) down to it from above."""
    top, foot = y + 0.20 * down, y + (0.20 + tall) * down
    return [
        (x, top), (x + 0.16, top), (x + 0.28, y), (x + 0.40, top), (x + wide, top),
        (x + wide, foot), (x, foot),
    ]  # fmt: skip


def _side_pennant(x: float, y: float, wide: float, tall: float, *, left: bool) -> Points:
    """A sign with its point on an upright wire at its left or at its right."""
    tip, near, far = (x, x + 0.2, x + wide) if left else (x + wide, x + wide - 0.2, x)
    high, low = y - tall / 2, y + tall / 2
    return [(near, high), (far, high), (far, low), (near, low), (tip, y)]


def _tick(x: float, y: float) -> str:
    points = f"M{number(x - 0.09)} {number(y)}L{number(x - 0.02)} {number(y + 0.09)}"
    return f'<path d="{points}L{number(x + 0.11)} {number(y - 0.10)}" stroke-width="2.2"/>'


def _arrow(x: float, y: float, way: int) -> str:
    sign = -1 if way >= 0 else 1
    tip = f"M{number(x)} {number(y + sign * 0.11)}"
    foot = number(y - sign * 0.09)
    return (
        f'<path d="{tip}L{number(x + 0.10)} {foot}H{number(x - 0.10)}Z" fill="#fff" stroke="none"/>'
    )


def _flag(node: str, word: str, points: Points) -> str:
    """The sign, lettered in the middle of its box."""
    d = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    box = [p for p in points if abs(p[1] - points[-1][1]) < 1e-9] if len(points) > 5 else points[:4]
    xs, ys = [p[0] for p in box], [p[1] for p in (*box, points[0])]
    x, y = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    return (
        f'<g class="next" data-node={attr(node)}><path d="M{d}Z" stroke-width="2.4" fill="#fff"/>'
        f'<text x="{number(x)}" y="{number(y + 0.11)}" font-size="12" font-weight="bold"'
        f' text-anchor="middle" fill="#000" stroke="none">{escape(word)}</text></g>'
    )


def key_line(signs: set[str]) -> str:
    """What the marks mean, in words, one sentence."""
    words = []
    if Verdict.INSIDE.value in signs:
        words.append("tick: read inside the predicted band")
    if Verdict.OUTSIDE.value in signs:
        words.append("black: read outside it, above or below, with the difference")
    if "suspect" in signs:
        words.append("frames: suspects, number 1 first")
    if "next" in signs:
        words.append("NEXT: what to measure next")
    said = "; ".join(words)
    return said and f"{said[0].upper()}{said[1:]}."
