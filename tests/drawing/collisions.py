"""What stands on what in a finished picture, measured on the SVG itself."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from xml.etree import ElementTree

from biaspredict.report.drawing import lettering

SVG = "{http://www.w3.org/2000/svg}"
NUMBERS = re.compile(r"-?\d+\.?\d*")
SLACK = 0.5  # pixels that may touch


@dataclass(frozen=True, slots=True)
class Patch:
    """A rectangle in pixels that something covers. owner: the part or text it belongs to."""

    kind: str
    owner: str
    x1: float
    y1: float
    x2: float
    y2: float

    def meets(self, other: Patch) -> bool:
        return (
            self.x1 + SLACK < other.x2
            and other.x1 + SLACK < self.x2
            and self.y1 + SLACK < other.y2
            and other.y1 + SLACK < self.y2
        )


def _texts(root: ElementTree.Element) -> Iterator[Patch]:
    for element in root.iter(f"{SVG}text"):
        text = element.text or ""
        size = float(element.attrib["font-size"])
        bold = element.get("font-weight") == "bold"
        wide = lettering.width(text, bold=bold, size=size)
        x, y = float(element.attrib["x"]), float(element.attrib["y"])
        left = (
            x - {"start": 0.0, "middle": wide / 2, "end": wide}[element.get("text-anchor", "start")]
        )
        yield Patch("text", text, left, y - 0.74 * size, left + wide, y + 0.2 * size)


def _wires(root: ElementTree.Element) -> Iterator[Patch]:
    for element in root.iter(f"{SVG}path"):
        if element.get("class") != "wire":
            continue
        d = re.sub(r"A[^HLMV]*", "", element.attrib["d"])
        at = (0.0, 0.0)
        for letter, rest in re.findall(r"([MHL])([^MHL]*)", d):
            values = [float(v) for v in rest.split()]
            to = (values[0], at[1] if letter == "H" else values[1])
            if letter != "M":
                x1, x2 = sorted((at[0], to[0]))
                y1, y2 = sorted((at[1], to[1]))
                yield Patch(
                    "wire", element.attrib["data-node"], x1 - 0.7, y1 - 0.7, x2 + 0.7, y2 + 0.7
                )
            at = to


def _bodies(root: ElementTree.Element) -> Iterator[Patch]:
    """The strokes of each symbol but its leads: what is drawn off the line between its ends."""
    for element in root.iter(f"{SVG}g"):
        if element.get("class") != "part":
            continue
        ends = [
            tuple(map(float, p.split(",")[1:])) for p in element.attrib["data-points"].split(";")
        ]
        upright = abs(ends[0][0] - ends[-1][0]) < 1e-3
        xs: list[float] = []
        ys: list[float] = []
        middle = ends[0][0] if upright else ends[0][1]
        for path in element.iter(f"{SVG}path"):
            values = [float(v) for v in NUMBERS.findall(path.attrib["d"])]
            for x, y in zip(values[::2], values[1::2], strict=True):
                on_lead = any(abs(x - a) + abs(y - b) < 1e-3 for a, b in ends)
                if not on_lead and abs((x if upright else y) - middle) > 1.0:
                    xs.append(x)
                    ys.append(y)
        for ring in element.iter(f"{SVG}circle"):
            x, y, r = (float(ring.attrib[k]) for k in ("cx", "cy", "r"))
            xs += [x - r, x + r]
            ys += [y - r, y + r]
        yield Patch("body", element.attrib["data-ref"], min(xs), min(ys), max(xs), max(ys))


def _marks(root: ElementTree.Element) -> Iterator[Patch]:
    for element in root.iter(f"{SVG}g"):
        name = element.get("class")
        if name == "reading":
            for rect in element.iter(f"{SVG}rect"):
                x, y, w, h = (float(rect.attrib[k]) for k in ("x", "y", "width", "height"))
                yield Patch("chip", element.attrib["data-value"], x, y, x + w, y + h)
        elif name == "suspect":
            for ring in element.iter(f"{SVG}circle"):
                x, y, r = (float(ring.attrib[k]) for k in ("cx", "cy", "r"))
                yield Patch("badge", element.attrib["data-place"], x - r, y - r, x + r, y + r)
        elif name == "next":
            (path,) = element.iter(f"{SVG}path")
            values = [float(v) for v in NUMBERS.findall(path.attrib["d"])]
            xs, ys = values[::2], values[1::2]
            # Its point stands on a wire: the box behind the point counts.
            yield Patch("flag", element.attrib["data-node"], min(xs), min(ys), max(xs), max(ys))


def collisions(svg: str) -> list[str]:
    """Pairs that stand on each other, in words. A badge may stand on a wire or on its own frame."""
    root = ElementTree.fromstring(svg)
    marks = list(_marks(root))
    badges = [mark for mark in marks if mark.kind == "badge"]
    texts = [t for t in _texts(root) if not any(_inside(t, badge) for badge in badges)]
    patches = [*texts, *_wires(root), *_bodies(root), *marks]
    found = []
    for a, b in combinations(patches, 2):
        kinds = {a.kind, b.kind}
        if kinds == {"wire"} or not a.meets(b):
            continue
        if kinds in ({"badge", "wire"}, {"badge", "body"}, {"flag", "wire"}):
            continue
        if kinds in ({"chip", "text"}, {"flag", "text"}, {"badge", "text"}) and _inside(a, b):
            continue
        if kinds == {"wire", "body"} and _own_wire(root, a, b):
            continue
        found.append(f"{a.kind} {a.owner} on {b.kind} {b.owner}")
    return found


def _inside(a: Patch, b: Patch) -> bool:
    """Lettering that belongs to a mark: its middle lies in the mark."""
    text, mark = (a, b) if a.kind == "text" else (b, a)
    x, y = (text.x1 + text.x2) / 2, (text.y1 + text.y2) / 2
    return mark.x1 <= x <= mark.x2 and mark.y1 <= y <= mark.y2


def _own_wire(root: ElementTree.Element, a: Patch, b: Patch) -> bool:
    """A wire that ends at a lead of the body it touches."""
    wire, body = (a, b) if a.kind == "wire" else (b, a)
    for element in root.iter(f"{SVG}g"):
        if element.get("class") == "part" and element.attrib["data-ref"] == body.owner:
            for point in element.attrib["data-points"].split(";"):
                x, y = map(float, point.split(",")[1:])
                if wire.x1 <= x <= wire.x2 and wire.y1 <= y <= wire.y2:
                    return True
    return False
