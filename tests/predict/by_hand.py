"""A stage in text, and the same stage solved by hand for small signals: the textbook transistor.

gm = Ic / Vt, r_pi = gain / gm, nothing else; node equations written out and solved by numpy.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import SOUND
from biaspredict.model.devices import thermal_volts
from biaspredict.model.stage import GROUND, Stage
from biaspredict.notation import read_stage

REFEREE = Ngspice()
GAIN = 150.0

# Early voltage none and ICBO 0, so that gm and r_pi are all there is to the transistor.
DIVIDER = f"""stage "divider stage"
rail B+ 22 V
Q1 npn silicon gain {GAIN:g} early none icbo 0
B+ -- R5 2.2K -- VA -- +C4 100 MFD 25V -- ground
VA -- R1 220K -- Q1.base -- R2 47K -- ground
VA -- R3 4.7K -- Q1.collector -- +C2 5 MFD 25V -- OUT
Q1.emitter -- R4 1K -- ground
Q1.emitter -- +C3 50 MFD 6V -- ground
IN -- C1+ 5 MFD 15V -- Q1.base
input IN from 600
output OUT into 47K
"""


def stage_of(text: str) -> Stage:
    return read_stage(text)


def solved(stage: Stage) -> Mapping[str, float]:
    """Volts of every node by ngspice, by all names."""
    circuit = flatten(stage)
    found = REFEREE.solve(circuit, [SOUND])
    assert found.solved[0]
    volts = dict(zip(circuit.nodes, map(float, found.volts[0]), strict=False)) | {GROUND: 0.0}
    return volts | {name: volts[node] for name, node in stage.names.items()}


Capacitances = Mapping[str, float]
ENDS = {"C1": ("in", "b"), "C2": ("c", "out"), "C3": ("e", "0"), "C4": ("va", "0")}
NODES = ("in", "b", "c", "e", "va", "out")


class Divider:
    """The stage of DIVIDER about its operating point; capacitances may be given otherwise."""

    def __init__(self) -> None:
        volts = solved(stage_of(DIVIDER))
        collector = (volts["VA"] - volts["Q1.collector"]) / 4.7e3
        self.gm = collector / thermal_volts(25.0)
        self.farads = {"C1": 5e-6, "C2": 5e-6, "C3": 50e-6, "C4": 100e-6}

    def admittance(self, hertz: float, farads: Capacitances) -> NDArray[np.complex128]:
        place = {name: i for i, name in enumerate(NODES)}
        matrix = np.zeros((len(NODES), len(NODES)), dtype=complex)

        def join(a: str, b: str, value: complex) -> None:
            for one, two, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
                if one != "0" and two != "0":
                    matrix[place[one], place[two]] += sign * value

        for a, b, ohms in (
            ("in", "0", 600.0), ("va", "0", 2.2e3), ("va", "b", 220e3), ("b", "0", 47e3),
            ("va", "c", 4.7e3), ("e", "0", 1e3), ("out", "0", 47e3), ("b", "e", GAIN / self.gm),
        ):  # fmt: skip
            join(a, b, 1.0 / ohms)
        for row, sign in (("c", 1.0), ("e", -1.0)):
            matrix[place[row], place["b"]] += sign * self.gm
            matrix[place[row], place["e"]] -= sign * self.gm
        for name, size in farads.items():
            join(*ENDS[name], 2j * math.pi * hertz * size)
        return matrix

    def gain(self, hertz: float, farads: Capacitances | None = None) -> complex:
        """Volts at the output for a volt behind the 600 ohms."""
        drive = np.zeros(len(NODES), dtype=complex)
        drive[0] = 1.0 / 600.0
        matrix = self.admittance(hertz, self.farads if farads is None else farads)
        return complex(np.linalg.solve(matrix, drive)[NODES.index("out")])

    def middle(self) -> complex:
        """All capacitors so large that nothing is left across them."""
        return self.gain(1e3, dict.fromkeys(self.farads, 10.0))

    def seen(self, name: str) -> float:
        """Ohms that a capacitor sees with the others as wire: a test current in its place."""
        others = {other: 1e3 for other in self.farads if other != name}
        drive = np.zeros(len(NODES), dtype=complex)
        a, b = ENDS[name]
        drive[NODES.index(a)] = 1.0
        if b != "0":
            drive[NODES.index(b)] = -1.0
        volts = np.linalg.solve(self.admittance(1e3, others), drive)
        across = volts[NODES.index(a)] - (volts[NODES.index(b)] if b != "0" else 0.0)
        return float(across.real)

    def three_down(self) -> float:
        level = abs(self.middle()) / math.sqrt(2.0)
        low, high = 1.0, 1e4
        for _ in range(60):
            centre = math.sqrt(low * high)
            low, high = (low, centre) if abs(self.gain(centre)) > level else (centre, high)
        return math.sqrt(low * high)

    def square_top(self, hertz: float, harmonics: int = 4000) -> tuple[float, float]:
        """Output just after and just before the steps of a square wave of one volt.

        By its harmonics; the step itself, which they render badly, is the middle gain's.
        """
        first = last = self.middle().real
        for k in range(1, 2 * harmonics, 2):
            rest = 4.0 / (math.pi * k) * (self.gain(k * hertz) - self.middle()).imag
            first += rest
            last -= rest
        return first, last


def decibels(values: Sequence[complex]) -> list[float]:
    return [20.0 * math.log10(abs(value)) for value in values]
