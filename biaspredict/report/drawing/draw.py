"""A stage as a picture: laid out from its predicted volts, then marked with what was read.

The layout knows nothing of readings, so that nothing moves while they come in.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace

from biaspredict import underway
from biaspredict.errors import InputError
from biaspredict.model.devices import Bipolar, Diode, Fet, Zener
from biaspredict.model.parts import Part
from biaspredict.model.stage import GROUND, Stage
from biaspredict.report.drawing import lettering
from biaspredict.report.drawing.captions import (
    node_names,
    part_lines,
    rail_name,
    volts_text,
)
from biaspredict.report.drawing.facts import Facts, facts
from biaspredict.report.drawing.marks import Marker, key_line
from biaspredict.report.drawing.records import Layout, Mark, Next, Text
from biaspredict.report.drawing.row import Row, lay_row
from biaspredict.report.drawing.rows import plan_rows
from biaspredict.report.drawing.sketch import Sketch, sketch
from biaspredict.report.drawing.slots import Label
from biaspredict.report.drawing.svg import MARGIN, write_svg

TITLE_LINE = 0.5
TITLE_LETTER = 0.30  # width of a letter of the title, on the safe side
VERSION = "2"  # to be raised whenever the same stage would be laid out otherwise than before
MOST_PARTS = 400
NARROWEST = 10.0  # page, so that the notes below the drawing keep some width


def lay_out(stage: Stage, volts: Mapping[str, float] | None = None) -> Layout:
    """Lay the stage out by its predicted volts, or where there are none by its wiring.

    Raises InputError where there is nothing to draw, or more than a drawing can hold.
    """
    if not stage.parts:
        raise InputError(
            "the stage has no parts, so there is nothing to draw",
            remedy="Write at least one path of parts, such as B+ -- R1 100K -- ground.",
        )
    if len(stage.parts) > MOST_PARTS:
        raise InputError(
            f"a stage of {len(stage.parts)} parts is more than one drawing can hold",
            remedy=f"Divide it into stages of at most {MOST_PARTS} parts, best of fewer than 45.",
        )
    known = facts(stage, volts)
    rows = []
    for plan in plan_rows(known):
        underway.at(f"laying out {len(plan.parts)} parts")
        made = sketch(known, plan.parts, plan.stubs)
        rows.append(lay_row(made, _labels(stage, volts, made)))
    return _joined(stage, layout_key(stage, volts), rows, _notes(known, volts))


def draw(
    stage: Stage,
    volts: Mapping[str, float] | None = None,
    *,
    bands: Mapping[str, tuple[float, float]] | None = None,
    readings: Sequence[Mark] = (),
    suspects: Sequence[Sequence[str]] = (),
    next_touch: Next | None = None,
    layout: Layout | None = None,
) -> str:
    """The stage as an SVG document.

    volts: predicted, by node; None where the stage is not solved. bands: lowest and highest volts
    of a sound stage, by node, shown when a pointer rests on the volts. readings: marks at nodes
    and parts. suspects: references of parts, the likeliest group first. layout: what `lay_out`
    gave for this stage, where it is known already. Raises InputError as `lay_out` does.
    """
    if layout is None:
        layout = lay_out(stage, volts)
    marks = Marker(stage, layout).run(readings, suspects, next_touch)
    key = key_line(marks.signs)
    told = {
        node: f"{node}: {volts_text(low)} to {volts_text(high)} in a sound stage"
        for node, (low, high) in (bands or {}).items()
    }
    listed = [*marks.listed, *([key] if key else [])]
    return write_svg(
        layout, marks=marks.elements, listed=listed, bands=told, least_width=marks.right
    )


def layout_key(stage: Stage, volts: Mapping[str, float] | None) -> str:
    """Digest of all that a layout depends on: wiring, lettering, and volts to three digits."""
    told = [VERSION, stage.title, repr(stage.nodes)]
    told += [_told(part) for part in stage.parts]
    told += [repr(replace(rail, origin=None)) for rail in stage.rails]
    told += [repr(replace(pin, origin=None)) for pin in stage.pins]
    for word, ports in (("in", stage.inputs), ("out", stage.outputs)):
        told += [f"{word} {replace(port, origin=None)!r}" for port in ports]
    told += [repr((label, stage.names.get(node, node))) for label, node in stage.points]
    told += [f"{node} {volts_text(v)}" for node, v in sorted((volts or {}).items())]
    return hashlib.sha256("\n".join(told).encode("utf-8", "surrogatepass")).hexdigest()[:32]


def _told(part: Part) -> str:
    """All of a part that its drawing depends on, in an order that no hashing changes."""
    device = part.device
    if isinstance(device, Bipolar | Diode | Zener | Fet):
        device = replace(device, given=frozenset())
    return repr((part_lines(part), replace(part, origin=None, device=None), device))


def _labels(stage: Stage, volts: Mapping[str, float] | None, made: Sketch) -> list[Label]:
    names = node_names(stage)
    rails = {rail.name: rail for rail in stage.rails}
    labels = []
    for line in made.lines:
        node, number = line.node, line.number
        if node == GROUND:
            continue
        value = volts_text((volts or {}).get(node))
        rail = rails.get(node)
        if rail is not None:
            texts = [("name", rail_name(rail))]
            if rail.ohms:
                texts.append(("volts", value))
        else:
            texts = [("name", text) for text in lettering.broken(names.get(node, ""), 16)]
            if len(texts) == 1 and len(texts[0][1]) <= 6 and value:
                texts = [("volts", f"{texts[0][1]} {value}".strip())]
            else:
                texts.append(("volts", value))
        shown = tuple((style, text) for style, text in texts if text)
        labels.append(Label(number, node, shown or (("volts", ""),), rail is not None))
    return labels


def _notes(known: Facts, volts: Mapping[str, float] | None) -> list[str]:
    notes = []
    if not volts:
        notes.append("Not solved: the order of heights is guessed from the wiring.")
    else:
        notes.append(
            "Higher is more positive; heights show the order of the volts, not their size."
        )
    if known.dashed:
        notes.append(
            "Dashed: no path for DC leads there; drawn at the height of what it meets."
        )
    return notes


def _joined(stage: Stage, key: str, rows: Sequence[Row], notes: Sequence[str]) -> Layout:
    """Rows below each other, y turned to run down the page."""
    width = max(max(row.right - row.left for row in rows) + 2 * MARGIN, NARROWEST)
    symbols, wires, dots, hops, ends, texts, slots = ([] for _ in range(7))
    title = " ".join(stage.title.split())
    lines = (
        lettering.broken(title, max(int((width - 2 * MARGIN) / TITLE_LETTER), 8)) if title else []
    )
    texts += [
        Text(line, MARGIN, MARGIN + 0.3 + k * TITLE_LINE, "start", "title", "")
        for k, line in enumerate(lines)
    ]
    top = MARGIN + 0.4 + TITLE_LINE * len(lines)
    for row in rows:
        dx, dy = round(MARGIN - row.left, 2), round(top + row.high, 2)
        p = row.placed
        symbols += [
            replace(
                s,
                x=_r(s.x + dx),
                y=_r(dy - s.y),
                points=tuple((t, _r(x + dx), _r(dy - y)) for t, x, y in s.points),
            )
            for s in p.symbols
        ]
        wires += [
            replace(w, x1=_r(w.x1 + dx), x2=_r(w.x2 + dx), y1=_r(dy - w.y1), y2=_r(dy - w.y2))
            for w in p.wires
        ]
        dots += [replace(d, x=_r(d.x + dx), y=_r(dy - d.y)) for d in p.dots]
        hops += [replace(h, x=_r(h.x + dx), y=_r(dy - h.y)) for h in p.hops]
        ends += [replace(e, x=_r(e.x + dx), y=_r(dy - e.y)) for e in p.ends]
        texts += [replace(t, x=_r(t.x + dx), y=_r(dy - t.y)) for t in row.texts]
        slots += [replace(s, x1=_r(s.x1 + dx), x2=_r(s.x2 + dx), y=_r(dy - s.y)) for s in row.slots]
        top += row.high - row.low + 2 * MARGIN
    return Layout(
        key, title, _r(width), _r(top), tuple(symbols), tuple(wires), tuple(dots), tuple(hops),
        tuple(ends), tuple(texts), tuple(slots), tuple(notes),
    )  # fmt: skip


def _r(value: float) -> float:
    return round(value, 3) + 0.0


__all__ = ["Layout", "Mark", "draw", "lay_out", "layout_key"]
