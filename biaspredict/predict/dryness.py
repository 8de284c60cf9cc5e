"""What a dried or resistive capacitor costs: faults that no DC reading shows, in a signal reading.

Drying leaves the DC alone, so that one operating point serves for all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from biaspredict.model.circuit import SOUND, Variation
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.predict.duties import decibels
from biaspredict.predict.path import SignalPath

LEFT = (0.5, 0.1, 0.02)  # share of its value that a dried capacitor keeps (common practice)
# Ohms in series of a 10 uF electrolytic that is poor and bad, and of a 1000 uF one
# (common practice, no source); others lie on a line through both on logarithmic scales.
POOR = (10.0, 0.5)
BAD = (100.0, 2.0)
SIZES = (10e-6, 1000e-6)
HERTZ = (20.0, 1e3)
# Ripple of a full-wave rectifier on 50 Hz; on 60 Hz capacitors filter it a sixth better.
HUM = 100.0
SEEN = 1.0  # decibels that a gain reading shows beyond doubt (common practice, no source)


@dataclass(frozen=True, slots=True)
class Cost:
    """Decibels added to the gain at 20 Hz and at 1 kHz, and to the hum from `rail` (or None)."""

    low: float
    middle: float
    hum: float | None


@dataclass(frozen=True, slots=True)
class Dryness:
    """Costs of one capacitor.

    left: (share of its value, Cost), falling. poor, bad: (series ohms, Cost).
    """

    ref: str
    left: tuple[tuple[float, Cost], ...]
    poor: tuple[float, Cost]
    bad: tuple[float, Cost]

    @property
    def seen(self) -> tuple[bool, bool]:
        """Whether a gain reading at 20 Hz, at 1 kHz, shows it dried to a tenth."""
        cost = next(cost for share, cost in self.left if share <= 0.1)
        return abs(cost.low) >= SEEN, abs(cost.middle) >= SEEN


@dataclass(frozen=True, slots=True)
class Drying:
    """gains: sound sizes at 20 Hz and 1 kHz; rail: whose hum is told, or None; hum: its size at
    the output for a volt on the rail."""

    capacitors: tuple[Dryness, ...]
    gains: tuple[float, float]
    rail: str | None
    hum: float | None


def dries(part: Part) -> bool:
    """Whether a capacitor has an electrolyte to lose."""
    return part.kind is Kind.ELECTROLYTIC or (
        part.kind in CAPACITORS and "non-polar" in part.dielectric
    )


def series_ohms(farads: float, ends: tuple[float, float]) -> float:
    """Ohms on the logarithmic line through `ends`, given for 10 and 1000 uF."""
    slope = math.log(ends[1] / ends[0]) / math.log(SIZES[1] / SIZES[0])
    return ends[0] * math.exp(slope * math.log(farads / SIZES[0]))


def drying(path: SignalPath) -> Drying:
    """The cost of each electrolytic of the stage, others sound, by the linear stage."""
    rail = _noisiest(path)
    sound = _sizes(path, SOUND, rail)

    def cost(variation: Variation) -> Cost:
        now = _sizes(path, variation, rail)
        low, middle, hum = (decibels(a) - decibels(b) for a, b in zip(now, sound, strict=True))
        return Cost(low, middle, None if rail is None else hum)

    found = []
    for part in path.stage.parts:
        if not dries(part) or not part.now:
            continue
        left = tuple(
            (share, cost(Variation(scales=((f"{part.ref}.farads", share),)))) for share in LEFT
        )
        poor, bad = (
            (ohms, cost(Variation(settings=((f"{part.ref}.series", ohms),))))
            for ohms in (series_ohms(part.now, POOR), series_ohms(part.now, BAD))
        )
        found.append(Dryness(part.ref, left, poor, bad))
    return Drying(tuple(found), sound[:2], rail, None if rail is None else sound[2])


def _noisiest(path: SignalPath) -> str | None:
    """The rail whose hum comes through most."""
    sizes = {rail.name: _sizes(path, SOUND, rail.name)[2] for rail in path.stage.rails}
    return max(sizes, key=sizes.__getitem__) if sizes else None


def _sizes(path: SignalPath, variation: Variation, rail: str | None) -> tuple[float, float, float]:
    """Gain at 20 Hz and 1 kHz, and hum at the output for a volt on the rail."""
    low, middle = abs(path.gain(HERTZ, variation)).tolist()
    hum = 0.0 if rail is None else float(abs(path.gain_from(rail, [HUM], variation)[0]))
    return low, middle, hum
