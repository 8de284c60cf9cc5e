"""What already stands in a laid-out drawing, as boxes; y runs downwards here."""

from __future__ import annotations

from collections.abc import Iterable

from biaspredict.report.drawing import lettering
from biaspredict.report.drawing.records import Layout, Slot, Symbol, Text
from biaspredict.report.drawing.room import Box
from biaspredict.report.drawing.shapes import reach_of, width_of
from biaspredict.report.drawing.slots import DOWN
from biaspredict.report.drawing.symbols import turned

THIN = 0.03
GROWTH = 2.5
RING_SHIFT = 0.09  # the ring of a transistor stands off its middle line, towards the base


def text_box(text: Text) -> Box:
    """The room of a line of lettering."""
    size = 0.425 if text.style == "title" else lettering.SIZE
    wide = lettering.width(text.text, bold=text.style in ("ref", "name", "title"), size=size)
    left = {"start": text.x, "middle": text.x - wide / 2, "end": text.x - wide}[text.anchor]
    rise = lettering.RISE * size / lettering.SIZE
    return Box(left, left + wide, text.y - rise, text.y + lettering.FALL, f"text {text.text}")


def body_box(symbol: Symbol, margin: float = 0.0) -> Box:
    """The room of a symbol's body, without its leads."""
    half, reach = width_of(symbol.shape), reach_of(symbol.shape) * 0.78
    if symbol.along in ("left", "right"):
        half, reach = reach, half
    shift = 0.0
    if symbol.shape in ("npn", "pnp", "n-channel", "p-channel"):
        shift = RING_SHIFT if symbol.side == "right" else -RING_SHIFT
        reach = half
    return Box(
        symbol.x + shift - half - margin,
        symbol.x + shift + half + margin,
        symbol.y - reach - margin,
        symbol.y + reach + margin,
        f"body {symbol.ref}",
    )


def _plus_box(symbol: Symbol) -> Box:
    """The sign beside the plus plate."""
    ((x, y),) = turned([(-0.24, -0.22)], symbol.along, symbol.side)
    x, y = symbol.x + x, symbol.y + y
    return Box(x - 0.1, x + 0.1, y - 0.1, y + 0.1, f"plus {symbol.ref}")


def slot_box(slot: Slot) -> Box:
    """The room kept for a reading."""
    return Box(slot.x1, slot.x2, slot.y + 0.04, slot.y + DOWN, f"slot {slot.node}")


def wire_boxes(layout: Layout) -> list[Box]:
    """Every wire, as thin boxes."""
    return [
        Box(
            min(w.x1, w.x2) - THIN,
            max(w.x1, w.x2) + THIN,
            min(w.y1, w.y2) - THIN,
            max(w.y1, w.y2) + THIN,
            f"wire {w.node}",
        )
        for w in layout.wires
    ]


def standing(layout: Layout, *, slots: bool = True) -> list[Box]:
    """Everything that a mark must keep off."""
    found = [text_box(text) for text in layout.texts]
    found += [body_box(symbol) for symbol in layout.symbols]
    found += [_plus_box(symbol) for symbol in layout.symbols if symbol.shape == "electrolytic"]
    found += wire_boxes(layout)
    for end in layout.ends:
        if end.what == "ground":
            found.append(Box(end.x - 0.28, end.x + 0.28, end.y, end.y + 0.45, "ground"))
        else:
            found.append(Box(end.x - 0.12, end.x + 0.12, end.y - 0.12, end.y + 0.12, "ring"))
    if slots:
        found += [slot_box(slot) for slot in layout.slots]
    return found


def free(box: Box, taken: Iterable[Box], layout: Layout) -> bool:
    """Whether a box meets nothing and lies on the page, which may grow to the right."""
    inside = box.x1 > 0.05 and box.x2 < layout.width + GROWTH and box.y1 > 0.05
    return inside and box.y2 < layout.height and not any(box.meets(other) for other in taken)
