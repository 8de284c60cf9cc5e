"""The picture as SVG text: strokes and lettering in black on white, nothing told by colour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

from biaspredict.report.drawing.lettering import broken
from biaspredict.report.drawing.records import End, Hop, Layout, Symbol, Text, Wire
from biaspredict.report.drawing.symbols import art, turned

MADE_BY = "biaspredict draw"
UNIT = 40.0
NOTE = 0.40  # from one line of notes to the next
MARGIN = 0.5
HOP = 0.13  # radius of a hop
DOT = 0.075
RING = 0.10

_STYLES = {
    "ref": (12.0, "bold"),
    "value": (12.0, "normal"),
    "volts": (12.0, "normal"),
    "name": (12.0, "bold"),
    "note": (11.0, "normal"),
    "title": (17.0, "bold"),
}

FONT = "'DejaVu Sans', sans-serif"


def number(value: float) -> str:
    """A coordinate in the picture's own units."""
    text = f"{value * UNIT:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def clean(text: str) -> str:
    """Text that XML can hold: characters it forbids become question marks."""
    return "".join(c if _allowed(ord(c)) else "?" for c in text)


def _allowed(code: int) -> bool:
    if code in (9, 10, 13):
        return True
    return 32 <= code <= 0xD7FF or 0xE000 <= code <= 0xFFFD or 0x10000 <= code <= 0x10FFFF


def attr(text: str) -> str:
    """Text as a quoted attribute."""
    return quoteattr(clean(text))


def write_svg(
    layout: Layout,
    *,
    marks: Sequence[str] = (),
    listed: Sequence[str] = (),
    bands: Mapping[str, str] | None = None,
    least_width: float = 0.0,
) -> str:
    """The laid-out stage as one SVG document.

    marks: elements to set over it. listed: lines to add below it. bands: node to what a pointer
    resting on its volts is told. least_width: the page's, where marks stand beyond the layout.
    """
    wide = max(layout.width, least_width)
    foot = [line for text in (*layout.notes, *listed) for line in _wrapped(text, wide)]
    width, height = number(wide), number(layout.height + NOTE * len(foot))
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"'
        f' viewBox="0 0 {width} {height}" font-family="{FONT}" fill="none" stroke="#000"'
        ' stroke-width="1.4" stroke-linecap="round" stroke-linejoin="round" role="img"'
        f' data-made-by="{MADE_BY}">',
        f"<title>{escape(clean(layout.title))}</title>",
        f'<rect width="{width}" height="{height}" fill="#fff" stroke="none"/>',
        '<g class="wires">',
    ]
    out += [_wire(wire, layout.hops) for wire in layout.wires]
    out.append('</g><g class="dots" fill="#000" stroke="none">')
    out += [
        f'<circle class="dot" data-node={attr(d.node)} cx="{number(d.x)}" cy="{number(d.y)}"'
        f' r="{number(DOT)}"/>'
        for d in layout.dots
    ]
    out.append('</g><g class="parts">')
    out += [_symbol(symbol) for symbol in layout.symbols]
    out.append('</g><g class="ends">')
    out += [_end(end) for end in layout.ends]
    out.append('</g><g class="lettering" fill="#000" stroke="none">')
    told = bands or {}
    for text in layout.texts:
        shown = text_element(text)
        if text.style in ("volts", "name") and text.about in told:
            shown = f"<g><title>{escape(clean(told[text.about]))}</title>{shown}</g>"
        out.append(shown)
    for k, line in enumerate(foot):
        at = Text(line, MARGIN, layout.height - 0.1 + NOTE * k, "start", "note", "")
        out.append(text_element(at))
    out.append("</g>")
    out += marks
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _wrapped(text: str, wide: float) -> list[str]:
    """A note in lines that fit the page."""
    size = _STYLES["note"][0] / UNIT
    letters = max(int((wide - 2 * MARGIN) / (0.58 * size)), 24)
    return broken(text, letters)


def _wire(wire: Wire, hops: Sequence[Hop]) -> str:
    level = wire.y1 == wire.y2
    across = sorted(
        h.x
        for h in hops
        if level and h.y == wire.y1 and min(wire.x1, wire.x2) < h.x < max(wire.x1, wire.x2)
    )
    d = f"M{number(wire.x1)} {number(wire.y1)}"
    if wire.x1 <= wire.x2:
        r = number(HOP)
        for x in across:
            d += f"H{number(x - HOP)}A{r} {r} 0 0 1 {number(x + HOP)} {number(wire.y1)}"
    d += f"L{number(wire.x2)} {number(wire.y2)}"
    dash = ' stroke-dasharray="5 3.5"' if wire.dashed else ""
    return f'<path class="wire" data-node={attr(wire.node)} d="{d}"{dash}/>'


def _symbol(symbol: Symbol) -> str:
    points = ";".join(f"{name},{number(x)},{number(y)}" for name, x, y in symbol.points)
    body = art(symbol.shape)

    def at(places: Sequence[tuple[float, float]]) -> list[str]:
        moved = turned(places, symbol.along, symbol.side)
        return [f"{number(symbol.x + x)} {number(symbol.y + y)}" for x, y in moved]

    d = "".join("M" + "L".join(at(stroke)) for stroke in body.strokes)
    for curve in body.curves:
        a, b, c, e = at(curve)
        d += f"M{a}C{b} {c} {e}"
    out = [
        f'<g class="part" data-ref={attr(symbol.ref)} data-shape="{symbol.shape}"'
        f' data-points="{points}">'
    ]
    for (s, t), r in body.rings:
        cx, cy = at([(s, t)])[0].split()
        out.append(f'<circle cx="{cx}" cy="{cy}" r="{number(r)}"/>')
    out.append(f'<path d="{d}"/>')
    out += [f'<path fill="#000" d="M{"L".join(at(fill))}Z"/>' for fill in body.fills]
    out.append("</g>")
    return "".join(out)


def _end(end: End) -> str:
    x, y = end.x, end.y
    head = (
        f'<g class="end" data-what="{end.what}" data-name={attr(end.name)}'
        f' data-node={attr(end.node)} data-at="{number(x)},{number(y)}">'
    )
    if end.what == "ground":
        d = f"M{number(x)} {number(y)}V{number(y + 0.22)}"
        for k, half in enumerate((0.26, 0.17, 0.08)):
            level = number(y + 0.22 + 0.09 * k)
            d += f"M{number(x - half)} {level}H{number(x + half)}"
        return f'{head}<path d="{d}"/></g>'
    if end.what == "link":
        # An arrow head: out of the row at its right, into it at its left.
        far = 0.26 if end.towards == "right" else 0.0
        d = f"M{number(x + far)} {number(y)}L{number(x + far - 0.26)} {number(y - 0.13)}"
        return f'{head}<path fill="#000" d="{d}V{number(y + 0.13)}Z"/></g>'
    if end.what == "pin":
        corner = f'x="{number(x - RING)}" y="{number(y - RING)}"'
        side = number(2 * RING)
        return f'{head}<rect {corner} width="{side}" height="{side}" fill="#fff"/></g>'
    return f'{head}<circle cx="{number(x)}" cy="{number(y)}" r="{number(RING)}" fill="#fff"/></g>'


def text_element(text: Text) -> str:
    """One line of lettering."""
    size, weight = _STYLES[text.style]
    anchor = "" if text.anchor == "start" else f' text-anchor="{text.anchor}"'
    bold = "" if weight == "normal" else f' font-weight="{weight}"'
    return (
        f'<text class="{text.style}" data-about={attr(text.about)} x="{number(text.x)}"'
        f' y="{number(text.y)}" font-size="{size:g}"{bold}{anchor}>'
        f"{escape(clean(text.text))}</text>"
    )
