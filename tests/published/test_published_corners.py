"""Low-frequency corners: each capacitor by itself, against the books.

Each book gives a capacitor's corner with all others taken as short circuits. Here the same is
read off a frequency run: the others are made a farad, and the frequency is sought where the
gain has fallen by 3 dB.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import Variation
from biaspredict.model.devices import thermal_volts
from biaspredict.model.parts import CAPACITORS
from biaspredict.model.stage import Stage
from tests.circuits.files import ENGINES, ROOT, load, volts
from tests.published.bias_rows import BOYLESTAD, FLOYD, MALVINO, PAGE

HUGE = 1.0  # farads
MIDBAND = 1e6  # hertz: no device here has a capacitance of its own


def beside(*ohms: float) -> float:
    """Resistances in parallel."""
    return 1.0 / sum(1.0 / r for r in ohms)


def emitter_ohms(base_volts: float, base_ohms: float, ohms: float, gain: float) -> float:
    """kT/q over the emitter current by hand, base current counted; VBE 0.7 V, 25 C."""
    return 25.69e-3 / ((base_volts - 0.7) / (ohms + base_ohms / (gain + 1.0)))


# The books neglect the base current where they set the emitter current, and take 26 or 25 mV for
# kT/q, and carry resistances through the base by the gain instead of the gain plus one. What that
# costs is worked out by hand, and is all that is allowed beside the last digit.
BOOK_20, TRUE_20 = 15.76, emitter_ohms(4.0, 8e3, 2e3, 100.0)
BOOK_10, TRUE_10 = 22.7, emitter_ohms(10 * 2.2 / 12.2, 10e3 * 2.2 / 12.2, 1e3, 150.0)
BOOK_12, TRUE_12 = 12.0, emitter_ohms(12.2 * 22 / 84, 62e3 * 22 / 84, 1e3, 100.0)


def into_base(source: float, base: float, gain: float, emitter: float) -> float:
    return source + beside(base, gain * emitter)


def at_emitter(source: float, base: float, gain: float, emitter: float, ohms: float) -> float:
    return beside(ohms, emitter + beside(source, base) / gain)


def off(true: float, book: float) -> float:
    return abs(true / book - 1.0)


@dataclass(frozen=True, slots=True)
class Corner:
    """cost: how far off, as a fraction, the book's emitter resistance puts it."""

    file: str
    ref: str
    output: str
    hertz: float
    cost: float
    source: str


CORNERS = (
    Corner(
        "corners-20-volts",
        "CS",
        "OUT",
        6.87,
        off(into_base(1e3, 8e3, 101, TRUE_20), into_base(1e3, 8e3, 100, BOOK_20)),
        f"{BOYLESTAD}, 10th ed., Ex 9.11, {PAGE}",
    ),
    Corner("corners-20-volts", "CC", "OUT", 25.68, 0.0, "the same"),
    Corner(
        "corners-20-volts",
        "CE",
        "OUT",
        327.0,
        off(at_emitter(1e3, 8e3, 101, TRUE_20, 2e3), at_emitter(1e3, 8e3, 100, BOOK_20, 2e3)),
        "the same",
    ),
    Corner(
        "corners-10-volts",
        "C1",
        "OUT",
        190.4,
        off(into_base(600, 1803, 151, TRUE_10), into_base(600, 1803, 150, BOOK_10)),
        f"{MALVINO}, Ex 16-19, {PAGE}",
    ),
    Corner("corners-10-volts", "C2", "OUT", 5.32, 0.0, "the same"),
    Corner(
        "corners-10-volts",
        "C3",
        "OUT",
        631.6,
        # 631.6 Hz is 25.2 ohms with 10 uF.
        off(at_emitter(600, 1803, 151, TRUE_10, 1e3), 25.2),
        "the same",
    ),
    Corner(
        "corner-of-a-bypass",
        "C2",
        "Q1.collector",
        75.9,
        off(
            at_emitter(1e3, 16.24e3, 101, TRUE_12, 1e3),
            at_emitter(1e3, 16.24e3, 100, BOOK_12, 1e3),
        ),
        f"{FLOYD}, Ex 10.6, {PAGE}",
    ),
)
LAST_DIGIT = 0.002  # 0.005 of 5.32, and less elsewhere


def gain(stage: Stage, variation: Variation, output: str, hertz: Sequence[float]) -> list[float]:
    """Size of the signal at `output` for one volt behind the source resistance at IN."""
    circuit = flatten(stage)
    phasors = Ngspice().sweep(circuit, variation, "input IN", hertz)
    column = circuit.nodes.index(stage.node(output))
    return [abs(complex(row[column])) for row in phasors]


def three_decibels_down(stage: Stage, variation: Variation, output: str) -> float:
    """Hertz, by halving the interval on a logarithmic scale."""
    level = gain(stage, variation, output, [MIDBAND])[0] / math.sqrt(2.0)
    low, high = 0.1, 1e5
    while high / low > 1.0001:
        middle = math.sqrt(low * high)
        below = gain(stage, variation, output, [middle])[0] < level
        low, high = (middle, high) if below else (low, middle)
    return math.sqrt(low * high)


@pytest.mark.parametrize("corner", CORNERS, ids=lambda c: f"{c.file} {c.ref}")
def test_a_capacitors_own_corner(corner: Corner) -> None:
    stage = load(ROOT / "circuits" / "published" / f"{corner.file}.stage")
    others = [p.ref for p in stage.parts if p.kind in CAPACITORS and p.ref != corner.ref]
    alone = Variation(settings=tuple((f"{ref}.farads", HUGE) for ref in others))
    found = three_decibels_down(stage, alone, corner.output)
    assert found == pytest.approx(corner.hertz, rel=corner.cost + LAST_DIGIT), corner.source


@pytest.mark.parametrize(
    ("file", "ref", "by_hand"),
    [
        ("corners-20-volts", "RE", TRUE_20),
        ("corners-10-volts", "RE", TRUE_10),
        ("corner-of-a-bypass", "R4", TRUE_12),
    ],
)
def test_the_emitter_current_is_as_by_hand(file: str, ref: str, by_hand: float) -> None:
    stage = load(ROOT / "circuits" / "published" / f"{file}.stage")
    ohms = stage.part(ref).now
    assert ohms is not None
    for engine in ENGINES.values():
        amps = volts(stage, engine)["Q1.emitter"] / ohms
        # VBE is 0.7 V at the book's current, a few per cent beside this one: 1 mV.
        assert thermal_volts(25.0) / amps == pytest.approx(by_hand, rel=2e-3)
