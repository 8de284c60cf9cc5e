"""The trade's symbols, after IEEE 315 and IEC 60617 (from memory), as strokes.

Each is drawn about its middle with t along the part, from its first terminal at -REACH to its
last at +REACH, and s across it, towards the base, gate or wiper. Resistors are zigzags, as on
sheets of the time; with them go the curved minus plate and the ringed transistor.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from biaspredict.report.drawing.shapes import SIDE, reach_of

Point = tuple[float, float]


@dataclass(slots=True)
class Art:
    """Strokes of one symbol. curves: four points each. rings: middle and radius."""

    strokes: list[list[Point]] = field(default_factory=list)
    fills: list[list[Point]] = field(default_factory=list)
    curves: list[tuple[Point, Point, Point, Point]] = field(default_factory=list)
    rings: list[tuple[Point, float]] = field(default_factory=list)
    discs: list[tuple[Point, float]] = field(default_factory=list)

    def stroke(self, *points: Point) -> Art:
        self.strokes.append(list(points))
        return self

    def arrow(self, tail: Point, tip: Point, size: float = 0.17) -> Art:
        """A filled arrowhead at `tip`, pointing away from `tail`."""
        ds, dt = tip[0] - tail[0], tip[1] - tail[1]
        long = (ds * ds + dt * dt) ** 0.5
        us, ut = ds / long, dt / long
        back = (tip[0] - us * size, tip[1] - ut * size)
        half = size * 0.42
        self.fills.append(
            [
                tip,
                (back[0] - ut * half, back[1] + us * half),
                (back[0] + ut * half, back[1] - us * half),
            ]
        )
        return self


def art(shape: str) -> Art:
    """The strokes of a symbol: a Kind's value, or "npn", "p-channel", "switch closed" and so on."""
    return _ART[shape](reach_of(shape))


def _leads(a: Art, reach: float, body: float) -> Art:
    return a.stroke((0, -reach), (0, -body)).stroke((0, body), (0, reach))


def _zigzag(body: float, half: float = 0.17) -> list[Point]:
    step = body / 6
    points: list[Point] = [(0, -body)]
    points += [(half if k % 2 else -half, -body + step * (2 * k + 1)) for k in range(6)]
    return [*points, (0, body)]


def _resistor(reach: float) -> Art:
    return _leads(Art(), reach, 0.46).stroke(*_zigzag(0.46))


def _thermistor(reach: float) -> Art:
    a = _resistor(reach)
    a.stroke((-0.34, 0.42), (-0.22, 0.42), (0.30, -0.42))
    return a


def _pot(reach: float) -> Art:
    a = _resistor(reach)
    return a.stroke((SIDE, 0), (0.34, 0)).arrow((SIDE, 0), (0.20, 0))


def _trimmer(reach: float) -> Art:
    a = _resistor(reach)
    return a.stroke((SIDE, 0), (0.22, 0)).stroke((0.22, -0.15), (0.22, 0.15))


def _capacitor(reach: float) -> Art:
    return (
        _leads(Art(), reach, 0.085)
        .stroke((-0.36, -0.085), (0.36, -0.085))
        .stroke((-0.36, 0.085), (0.36, 0.085))
    )


def _electrolytic(reach: float) -> Art:
    """Straight plate plus, curved plate minus, and the sign."""
    a = _leads(Art(), reach, 0.085).stroke((-0.36, -0.085), (0.36, -0.085))
    a.curves.append(((-0.36, 0.20), (-0.18, 0.045), (0.18, 0.045), (0.36, 0.20)))
    a.stroke((-0.31, -0.22), (-0.17, -0.22)).stroke((-0.24, -0.29), (-0.24, -0.15))
    return a


def _coil(reach: float) -> Art:
    a = _leads(Art(), reach, 0.48)
    for k in range(4):
        low = -0.48 + 0.24 * k
        a.curves.append(((0, low), (0.26, low), (0.26, low + 0.24), (0, low + 0.24)))
    return a


def _winding(reach: float) -> Art:
    """A coil beside its core."""
    return _coil(reach).stroke((-0.12, -0.46), (-0.12, 0.46)).stroke((-0.19, -0.46), (-0.19, 0.46))


def _diode(reach: float) -> Art:
    a = _leads(Art(), reach, 0.19)
    a.fills.append([(-0.22, -0.19), (0.22, -0.19), (0, 0.19)])
    return a.stroke((-0.22, 0.19), (0.22, 0.19))


def _zener(reach: float) -> Art:
    a = _leads(Art(), reach, 0.19)
    a.fills.append([(-0.22, -0.19), (0.22, -0.19), (0, 0.19)])
    return a.stroke((-0.30, 0.27), (-0.22, 0.19), (0.22, 0.19), (0.30, 0.11))


def _bipolar(reach: float, *, npn: bool) -> Art:
    a = Art()
    bar, r = 0.20, 0.50
    a.rings.append(((0.09, 0), r))
    a.stroke((SIDE, 0), (bar, 0))
    a.strokes.append([(bar, -0.27), (bar, 0.27)])
    a.stroke((bar, -0.12), (0, -0.32), (0, -reach))
    a.stroke((bar, 0.12), (0, 0.32), (0, reach))
    tail, tip = (bar, 0.12), (0, 0.32)
    if npn:
        return a.arrow(tail, (0.03, 0.29), 0.19)
    return a.arrow(tip, (0.165, 0.155), 0.19)


def _fet(reach: float, *, n: bool) -> Art:
    """Gate opposite the source end; the arrow points to an N channel, away from a P channel."""
    a = Art()
    bar = 0.20
    a.rings.append(((0.09, 0), 0.50))
    a.strokes.append([(bar, -0.28), (bar, 0.28)])
    a.stroke((bar, -0.2), (0, -0.2), (0, -reach))
    a.stroke((bar, 0.2), (0, 0.2), (0, reach))
    a.stroke((SIDE, 0), (0.48, 0), (0.48, 0.2), (bar, 0.2))
    return a.arrow((0.48, 0.2), (bar + 0.02, 0.2)) if n else a.arrow((bar, 0.2), (0.42, 0.2))


def _lamp(reach: float) -> Art:
    a = _leads(Art(), reach, 0.32)
    a.rings.append(((0, 0), 0.32))
    d = 0.32 * 0.7071
    return a.stroke((-d, -d), (d, d)).stroke((-d, d), (d, -d))


def _fuse(reach: float) -> Art:
    """Box with the wire through it."""
    a = Art().stroke((0, -reach), (0, reach))
    a.strokes.append([(-0.14, -0.36), (0.14, -0.36), (0.14, 0.36), (-0.14, 0.36), (-0.14, -0.36)])
    return a


def _switch(reach: float) -> Art:
    a = _leads(Art(), reach, 0.30)
    a.rings += [((0, -0.25), 0.05), ((0, 0.25), 0.05)]
    return a.stroke((0.04, -0.22), (0.24, 0.22))


def _closed(reach: float) -> Art:
    a = _leads(Art(), reach, 0.30)
    a.rings += [((0, -0.25), 0.05), ((0, 0.25), 0.05)]
    return a.stroke((0.05, -0.25), (0.05, 0.25))


def _contact(reach: float) -> Art:
    """Socket and plug."""
    a = Art().stroke((0, -reach), (0, -0.13)).stroke((0, 0.0), (0, reach))
    a.curves.append(((-0.14, 0.03), (-0.14, -0.18), (0.14, -0.18), (0.14, 0.03)))
    a.fills.append([(-0.06, -0.03), (0.06, -0.03), (0.06, 0.2), (-0.06, 0.2)])
    return a


_ART = {
    "resistor": _resistor,
    "thermistor": _thermistor,
    "pot": _pot,
    "trimmer": _trimmer,
    "capacitor": _capacitor,
    "electrolytic": _electrolytic,
    "coil": _coil,
    "winding": _winding,
    "diode": _diode,
    "zener": _zener,
    "npn": lambda reach: _bipolar(reach, npn=True),
    "pnp": lambda reach: _bipolar(reach, npn=False),
    "n-channel": lambda reach: _fet(reach, n=True),
    "p-channel": lambda reach: _fet(reach, n=False),
    "lamp": _lamp,
    "fuse": _fuse,
    "switch": _switch,
    "switch closed": _closed,
    "contact": _contact,
}

_ALONG = {"down": (0, 1), "up": (0, -1), "right": (1, 0), "left": (-1, 0)}


def turned(points: Iterable[Point], along: str, side: str) -> list[Point]:
    """Points (s, t) as (x, y) about the middle, y downwards."""
    tx, ty = _ALONG[along]
    sx, sy = _ALONG[side] if side else (abs(ty), abs(tx))
    return [(s * sx + t * tx, s * sy + t * ty) for s, t in points]
