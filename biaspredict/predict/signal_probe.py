"""Gain and level readings: which generator sounds, and what the meter shows of it.

The signal is small: every variation is taken as linear about its own operating point. Values
are natural logarithms, since gains spread by factors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.plan import Ints
from biaspredict.engine.responses import Responses, responses
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import SOUND, Axis, Circuit, Load, Variation
from biaspredict.model.readings import Quantity
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.meters import EVEN, SIGNAL_FLOOR
from biaspredict.predict.path import signal_circuit

USUAL_VOLTS = 10e-3  # rms of a generator of which nothing is said
USUAL_OHMS = 600.0  # its resistance (common practice, no source)
# Ohms in the emitter lead that the transistor equations leave out: the emitter's own and the
# base's over the gain. Against richer devices gains of fully bypassed stages then come out 2 to
# 14 % too high, of stages with feedback less than 1 %: see tests/predict.
LEFT_OUT = 1.5
# What the leads, the meter and the junctions put across a point beside the meter's ohms; nobody
# knows it, but it is not more than this (common practice, no source).
STRAY = 100e-12
HISS_LOG = 1.0  # log spread of hum and hiss


@dataclass(frozen=True, slots=True)
class Signal:
    """How a signal reading is made.

    source: SOURCE of the stage's signal circuit, or a generator put on through a capacitor.
    volts: rms, open-circuit. extra: what the generator changes of the stage itself.
    """

    hertz: float
    source: str | Load
    volts: float = USUAL_VOLTS
    extra: Variation = SOUND


def signal_of(
    stage: Stage, hertz: float, drive: tuple[float, float, str] | None, minus: str | None = None
) -> Signal | None:
    """The signal behind a reading, None where nothing says where it comes in.

    drive: (volts, ohms, node) of the generator. Without one it stands at the stage's first
    input, or, for a ratio, at its second node.
    """
    if drive is None:
        node = stage.inputs[0].node if stage.inputs else minus
        if node is None:
            return None
        volts, ohms = USUAL_VOLTS, None
    else:
        volts, ohms, node = drive
    port = next((p for p in stage.inputs if p.node == node), None)
    if port is None:
        return Signal(hertz, Load(node, GROUND, USUAL_OHMS if ohms is None else ohms), volts)
    name = f"input {node}"
    if ohms is None or ohms == (port.ohms or 0.0):
        return Signal(hertz, name, volts)
    settings = ((f"{name}.ohms", ohms),)
    return Signal(hertz, name, volts, Variation(settings=settings))


@dataclass(frozen=True, slots=True)
class Ask:
    """One signal reading: its points are columns (B, 2) of the flat circuit's volts, -1 for
    ground; ohms: the meter's."""

    signal: Signal
    quantity: Quantity
    points: Ints
    ohms: float


class Sounded(Protocol):
    """A probe as far as it says what a signal meter reads; see `probe.Probe`."""

    @property
    def signal(self) -> Signal | None: ...
    @property
    def quantity(self) -> Quantity: ...
    @property
    def ohms(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Shown:
    """values (B,) logarithms; slopes (B, P) per axis amount; doubt (B,) of the model."""

    values: Floats
    slopes: Floats
    doubt: Floats


class SignalStage:
    """A stage with the sources and loads of its blocked ports, for signals."""

    def __init__(self, stage: Stage) -> None:
        self.still = flatten(stage)
        self.circuit: Circuit = signal_circuit(stage)
        self.outside = len(self.circuit.nodes) - len(self.still.nodes)

    def read(
        self, probes: Sequence[Sounded], points: Ints, variations: Sequence[Variation],
        axes: Sequence[Axis], amounts: Floats, volts: Floats, *, follow: bool = True,
    ) -> tuple[Floats, Floats, Floats]:
        """Values (B, K), slopes (B, K, P) and doubt (B, K) of probes at points (B, K, 2); see
        `shown`."""
        asks = [
            Ask(probe.signal, probe.quantity, points[:, k], probe.ohms)
            for k, probe in enumerate(probes) if probe.signal is not None
        ]
        found = self.shown(asks, variations, axes, amounts, volts, follow=follow)
        return (
            np.stack([one.values for one in found], axis=1),
            np.stack([one.slopes for one in found], axis=1),
            np.stack([one.doubt for one in found], axis=1),
        )

    def shown(
        self, asks: Sequence[Ask], variations: Sequence[Variation], axes: Sequence[Axis],
        amounts: Floats, volts: Floats, *, follow: bool = True,
    ) -> list[Shown]:
        """What the meter shows. volts: (B, n + spares) of the flat circuit, solved. follow: False
        leaves out slopes, and of the doubt what transistors add."""
        size = len(self.still.nodes)
        # what stands behind a capacitor outside the stage rests at ground
        rest = np.zeros((len(volts), self.outside))
        wide = np.concatenate([volts[:, :size], rest, volts[:, size:]], axis=1)
        found: list[Shown] = []
        known: dict[tuple[float, str | Load], tuple[Responses, dict[int, int]]] = {}
        by_source: dict[tuple[float, str | Load], list[int]] = {}
        for k, ask in enumerate(asks):
            by_source.setdefault((ask.signal.hertz, ask.signal.source), []).append(k)
        for key, members in by_source.items():
            points = np.concatenate([asks[k].points for k in members], axis=1)
            points = np.where(points >= size, points + self.outside, points)
            hertz, source = key
            answer = responses(
                self.circuit, variations, axes, amounts, wide, source, hertz, points,
                follow=follow,
            )
            known[key] = answer, {k: 2 * i for i, k in enumerate(members)}
        for k, ask in enumerate(asks):
            answer, place = known[ask.signal.hertz, ask.signal.source]
            found.append(_shown(ask, answer, place[k]))
        return found


def _shown(ask: Ask, answer: Responses, first: int) -> Shown:
    if ask.quantity is Quantity.GAIN and (ask.points[:, 1] >= 0).all():
        top, bottom = (_level(ask, answer, first + i) for i in (0, 1))
        return _put_together(top, bottom, answer)
    if ask.quantity is Quantity.GAIN:
        value, *rest = _level(ask, answer, first)
        return _put_together((value - np.log(ask.signal.volts), *rest), None, answer)
    return _put_together(_level(ask, answer, first, difference=True), None, answer)


_Level = tuple[Floats, Floats, Floats, Floats]


def _put_together(top: _Level, bottom: _Level | None, answer: Responses) -> Shown:
    value, slopes, bends, buried = top
    if bottom is not None:
        value, slopes, bends = value - bottom[0], slopes - bottom[1], bends - bottom[2]
        buried = np.hypot(buried, bottom[3])
    inside = np.minimum(answer.siemens * LEFT_OUT, 0.5)
    return Shown(value, slopes, np.sqrt(((bends * inside) ** 2).sum(1) + buried**2))


def _level(ask: Ask, answer: Responses, k: int, *, difference: bool = False) -> _Level:
    """ln(volts as shown) (B,), its slopes (B, P), bends (B, Q) and doubt (B,).

    The meter stands across the point, and shows what hum and hiss leave without a signal: how
    much that is nobody knows within a factor of three.
    """
    volts, slopes, bends = answer.volts[:, k], answer.slopes[:, k], answer.bends[:, k]
    seen = answer.ohms[:, k]
    if difference and (ask.points[:, 1] >= 0).all():
        volts = volts - answer.volts[:, k + 1]
        slopes, bends = slopes - answer.slopes[:, k + 1], bends - answer.bends[:, k + 1]
        seen = seen + answer.ohms[:, k + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.abs(volts / (1.0 + seen / ask.ohms)) * ask.signal.volts
        whole = size**2 + SIGNAL_FLOOR**2
        share = np.where(np.abs(volts) > 0.0, size**2 / whole, 0.0)
        by = np.where(np.abs(volts) > 0.0, 1.0 / volts, 0.0)
    stray = seen / (1.0 + seen / ask.ohms) * 2j * np.pi * ask.signal.hertz * STRAY
    return (
        0.5 * np.log(whole),
        share[:, None] * (slopes * by[:, None]).real,
        share[:, None] * (bends * by[:, None]).real,
        np.hypot((1.0 - share) * HISS_LOG, np.log1p(np.abs(stray)) * EVEN),
    )
