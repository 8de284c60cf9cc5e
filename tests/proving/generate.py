"""Stages nobody drew: sensible designs with random E12 values, written as a person would."""

from __future__ import annotations

import math

import numpy as np

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)  # IEC 60063
FARADS = (1, 2, 5, 10, 25, 50, 100, 250)
VOLTS = (3, 6, 10, 15, 25, 35, 50)
GAINS = ("80..300", "100..400", "150..450", "60..240", "40..160")


def e12(ohms: float) -> float:
    decade = 10.0 ** math.floor(math.log10(ohms))
    steps = [decade * s for s in (*E12, 10.0)]
    return min(steps, key=lambda s: abs(math.log(s / ohms)))


def _ohms(ohms: float) -> str:
    for size, mark in ((1e6, "M"), (1e3, "K")):
        if ohms >= size:
            return f"{ohms / size:.3g}{mark}"
    return f"{ohms:.3g}"


class _Pen:
    """Writes one stage, numbering parts as it goes. pnp stages hang from a negative rail."""

    def __init__(self, rng: np.random.Generator, title: str, pnp: bool, germanium: bool) -> None:
        self.rng, self.pnp, self.germanium = rng, pnp, germanium
        self.counts: dict[str, int] = {}
        self.head = [f'stage "{title}"']
        self.body: list[str] = []

    def between(self, low: float, high: float) -> float:
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def ref(self, letter: str) -> str:
        self.counts[letter] = self.counts.get(letter, 0) + 1
        return f"{letter}{self.counts[letter]}"

    def rail(self, volts: float, via: float = 0.0) -> str:
        name = "B-" if self.pnp else "B+"
        back = f" via {_ohms(via)}" if via else ""
        self.head.append(f"rail {name} {'-' if self.pnp else ''}{volts:g} V 5%{back}")
        tolerance = self.rng.choice(["10%", "10%", "5%", "20%"])
        self.head.append(f"assume resistors {tolerance}, temperature 25 C")
        return name

    def transistor(self) -> str:
        ref = self.ref("Q")
        kind = "pnp" if self.pnp else "npn"
        gain = "40..160" if self.germanium else str(self.rng.choice(GAINS))
        self.head.append(f"{ref} {kind} {'germanium' if self.germanium else 'silicon'} gain {gain}")
        return ref

    def resistor(self, a: str, b: str, ohms: float) -> float:
        ohms = e12(ohms)
        self.body.append(f"{a} -- {self.ref('R')} {_ohms(ohms)} -- {b}")
        return ohms

    def electrolytic(self, high: str, low: str, across: float) -> None:
        """`high` is the end further from ground; on a negative rail the plus faces `low`."""
        volts = next((v for v in VOLTS if v >= 1.2 * across), 63)
        value = f"{self.ref('C')}+ {self.rng.choice(FARADS)} MFD {volts}V"
        one, other = (high, low) if self.pnp else (low, high)
        self.body.append(f"{one} -- {value} -- {other}")

    @property
    def vbe(self) -> float:
        return 0.2 if self.germanium else 0.63

    def text(self) -> str:
        return "\n".join((*self.head, "", *self.body)) + "\n"


def _common_emitter(
    pen: _Pen, top: str, supply: float, source: str, share: float, amps: float, stiff: float
) -> tuple[str, float]:
    """One divider-biased stage fed through a capacitor; returns its collector and volts there."""
    q = pen.transistor()
    emitter_volts = supply * pen.between(0.06, 0.15)
    collector_volts = emitter_volts + (supply - emitter_volts) * share
    base_volts = emitter_volts + pen.vbe
    re = pen.resistor(f"{q}.emitter", "ground", emitter_volts / amps)
    amps = emitter_volts / re
    pen.resistor(top, f"{q}.collector", (supply - collector_volts) / amps)
    drain = amps / stiff
    pen.resistor(top, f"{q}.base", (supply - base_volts) / drain)
    pen.resistor(f"{q}.base", "ground", base_volts / (0.9 * drain))
    if source == "IN":
        pen.electrolytic(f"{q}.base", source, base_volts)
    else:
        pen.electrolytic(source, f"{q}.base", supply)
    if pen.rng.random() < 0.7:
        pen.electrolytic(f"{q}.emitter", "ground", emitter_volts)
    return q, collector_volts


def _start(pen: _Pen) -> tuple[str, float]:
    """The rail and, mostly, a decoupled point below it: name and volts to design for."""
    supply = float(pen.rng.choice([9, 12, 15, 18, 22, 24, 30]))
    return pen.rail(supply), supply


def _decoupled(pen: _Pen, rail: str, supply: float, amps: float) -> tuple[str, float]:
    if pen.rng.random() < 0.4:
        return rail, supply
    pen.resistor(rail, "DEC", supply * pen.between(0.05, 0.15) / amps)
    pen.electrolytic("DEC", "ground", supply)
    return "DEC", supply * 0.9


def _ports(pen: _Pen, out: str, volts: float) -> None:
    pen.electrolytic(out, "OUT", volts)
    pen.body.append(f"input IN from {_ohms(e12(pen.between(200, 10e3)))}")
    pen.body.append(f"output OUT into {_ohms(e12(pen.between(10e3, 100e3)))}")


def single(rng: np.random.Generator, *, low: bool = False, germanium: bool = False) -> str:
    """Divider-biased single stage; `low` puts the collector close above the emitter."""
    name = "near saturation" if low else "germanium single stage" if germanium else "single stage"
    pen = _Pen(rng, f"generated {name}", pnp=germanium or rng.random() < 0.2, germanium=germanium)
    rail, supply = _start(pen)
    amps = pen.between(2e-4, 3e-3)
    top, volts = _decoupled(pen, rail, supply, amps)
    share = pen.between(0.05, 0.10) if low else pen.between(0.35, 0.6)
    stiff = pen.between(5, 20)
    q, out = _common_emitter(pen, top, volts, "IN", share, amps, stiff)
    _ports(pen, f"{q}.collector", out)
    return pen.text()


def high_impedance(rng: np.random.Generator) -> str:
    """A starved input stage whose base hangs on megohms."""
    pen = _Pen(rng, "generated high-impedance stage", pnp=False, germanium=False)
    rail, supply = _start(pen)
    q, out = _common_emitter(
        pen, rail, supply, "IN", pen.between(0.4, 0.6), pen.between(5e-5, 2e-4), pen.between(20, 40)
    )
    _ports(pen, f"{q}.collector", out)
    return pen.text()


def follower(rng: np.random.Generator) -> str:
    """Emitter follower on a divider or on one base resistor."""
    pen = _Pen(rng, "generated follower", pnp=rng.random() < 0.2, germanium=False)
    rail, supply = _start(pen)
    q = pen.transistor()
    half, amps = supply * pen.between(0.4, 0.6), pen.between(5e-4, 5e-3)
    pen.resistor(f"{q}.emitter", "ground", half / amps)
    base = half + pen.vbe
    if rng.random() < 0.7:
        drain = amps / pen.between(8, 30)
        pen.resistor(rail, f"{q}.base", (supply - base) / drain)
        pen.resistor(f"{q}.base", "ground", base / drain)
    else:
        pen.resistor(rail, f"{q}.base", (supply - base) / (amps / 150))
    pen.body.append(f"{q}.collector -- {rail}")
    pen.electrolytic(f"{q}.base", "IN", base)
    _ports(pen, f"{q}.emitter", half)
    return pen.text()


def coupled(rng: np.random.Generator) -> str:
    """Two divider-biased stages with a capacitor between them."""
    pen = _Pen(rng, "generated coupled pair", pnp=rng.random() < 0.2, germanium=False)
    rail, supply = _start(pen)
    amps = pen.between(2e-4, 1e-3)
    top, volts = _decoupled(pen, rail, supply, amps)
    first, _ = _common_emitter(pen, top, volts, "IN", pen.between(0.4, 0.6), amps, 12.0)
    second, out = _common_emitter(
        pen, rail, supply, f"{first}.collector", pen.between(0.35, 0.6), amps * 3, 10.0
    )
    _ports(pen, f"{second}.collector", out)
    return pen.text()


def feedback(rng: np.random.Generator) -> str:
    """Direct-coupled pair whose second emitter feeds the first base."""
    germanium = rng.random() < 0.2
    pen = _Pen(rng, "generated feedback pair", pnp=germanium, germanium=germanium)
    rail, supply = _start(pen)
    one, two = pen.transistor(), pen.transistor()
    i1, i2 = pen.between(5e-5, 3e-4), pen.between(5e-4, 2e-3)
    top, volts = _decoupled(pen, rail, supply, i1 + i2)
    e1 = pen.between(0.05, 0.3)
    pen.resistor(f"{one}.emitter", "ground", e1 / i1)
    loss = pen.between(0.15, 0.6)
    e2 = e1 + pen.vbe + loss
    pen.resistor(f"{two}.emitter", "ground", e2 / i2)
    pen.resistor(f"{two}.emitter", f"{one}.base", loss / (i1 / 120))
    pen.resistor(top, f"{one}.collector", (volts - e2 - pen.vbe) / i1)
    pen.body.append(f"{one}.collector -- {two}.base")
    out = e2 + (volts - e2) * pen.between(0.35, 0.6)
    pen.resistor(top, f"{two}.collector", (volts - out) / i2)
    pen.electrolytic(f"{one}.base", "IN", e1 + pen.vbe)
    pen.electrolytic(f"{two}.emitter", "ground", e2)
    _ports(pen, f"{two}.collector", out)
    return pen.text()


def hung(rng: np.random.Generator) -> str:
    """Collector feedback: one resistor from collector to base."""
    pen = _Pen(rng, "generated collector feedback", pnp=rng.random() < 0.2, germanium=False)
    rail, supply = _start(pen)
    q = pen.transistor()
    amps, out = pen.between(2e-4, 3e-3), supply * pen.between(0.35, 0.6)
    pen.resistor(rail, f"{q}.collector", (supply - out) / amps)
    pen.resistor(f"{q}.collector", f"{q}.base", (out - pen.vbe) / (amps / 150))
    pen.body.append(f"{q}.emitter -- ground")
    pen.electrolytic(f"{q}.base", "IN", pen.vbe)
    _ports(pen, f"{q}.collector", out)
    return pen.text()


KINDS = {
    "single": single,
    "near saturation": lambda rng: single(rng, low=True),
    "germanium": lambda rng: single(rng, germanium=True),
    "high impedance": high_impedance,
    "follower": follower,
    "coupled": coupled,
    "feedback": feedback,
    "hung": hung,
}


def generate(rng: np.random.Generator) -> tuple[str, str]:
    """A kind of stage by its name, and the text of one."""
    kind = list(KINDS)[int(rng.integers(len(KINDS)))]
    return kind, KINDS[kind](rng)
