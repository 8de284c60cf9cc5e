"""Five bench cases, invented: what was read, what was behind it, what one would wrongly blame.

The volts were first worked out with ngspice 39 apart from this package. The stories are trade
judgement (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from biaspredict.model.circuit import SOUND, Variation

HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class Wrong:
    """A part that would be blamed too soon, and the volts it would give instead."""

    words: str
    mode: tuple[str, str]
    fault: Variation
    volts: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Next:
    """The touch that separates what the first readings cannot, with what it shows either way.

    name: point or ratio; sound, faulty: what it shows without and with the culprit.
    """

    words: str
    name: str
    sound: float
    faulty: float


@dataclass(frozen=True, slots=True)
class Case:
    """culprit: part and fault as the catalogue of faults calls it, None where nothing is wrong.

    fault: the same as a variation of the circuit.
    """

    name: str
    stage: str
    culprit: tuple[str, str] | None
    fault: Variation
    wrong: tuple[Wrong, ...]
    next: Next

    @property
    def stage_file(self) -> Path:
        return HERE / f"{self.stage}.stage"

    @property
    def readings_file(self) -> Path:
        return HERE / f"{self.name}.readings"


def _set(parameter: str, value: float) -> Variation:
    return Variation(settings=((parameter, value),))


CASES = (
    Case(
        "scratchy-pot",
        "silicon-line-stage",
        ("C1", "leak"),
        _set("C1.leak", 68e3),
        (
            Wrong(
                "R1 has gone high",
                ("R1", "drift up"),
                _set("R1.ohms", 330e3),
                (
                    ("VA", 18.90),
                    ("Q1.collector", 12.51),
                    ("Q1.base", 2.03),
                    ("Q1.emitter", 1.37),
                ),
            ),
            Wrong(
                "Q1 has lost its gain",
                ("Q1", "low gain"),
                _set("Q1.gain", 40.0),
                (
                    ("VA", 18.75),
                    ("Q1.collector", 12.16),
                    ("Q1.base", 2.09),
                    ("Q1.emitter", 1.43),
                ),
            ),
        ),
        Next("DC on the wiper, control at middle; at minimum it hides", "P1.wiper", 0.0, 0.32),
    ),
    Case(
        "thin-sound",
        "silicon-line-stage",
        ("C3", "dry"),
        _set("C3.farads", 1e-6),
        (),
        Next("signal at 1 kHz, emitter over base", "Q1.emitter over Q1.base", 0.21, 0.98),
    ),
    Case(
        "chart-reads-low",
        "silicon-line-stage",
        None,
        _set("B+.volts", 23.3),
        (),
        Next("200K across the base to ground: the chart times 1.06", "Q1.base", 2.48, 2.48),
    ),
    Case(
        "worse-when-warm",
        "germanium-line-stage",
        ("Q1", "icbo high"),
        _set("Q1.icbo", 150e-6),
        (
            Wrong(
                "R2 has gone high",
                ("R2", "drift up"),
                _set("R2.ohms", 6.8e3),
                (("Q1.collector", -6.67), ("Q1.base", -2.65), ("Q1.emitter", -2.44)),
            ),
        ),
        Next("warm or cool the can by 10 C and read again", "Q1.collector", -8.02, -6.68),
    ),
    Case(
        "volts-on-the-speaker",
        "output-capacitor",
        None,
        SOUND,
        (),
        Next("100 ohms across the terminals, on again, read after a minute", "OUT", 0.0, 0.0),
    ),
)

BY_NAME = {case.name: case for case in CASES}
