"""Gains and ratios that a generator and a meter could tell of this stage."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.infer.touches import ONE_HAND, Touch
from biaspredict.model.circuit import SOUND, Axis
from biaspredict.model.parts import Kind
from biaspredict.model.readings import Quantity
from biaspredict.model.stage import GROUND, Meter, Stage
from biaspredict.predict.meters import signal_ohms
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe
from biaspredict.predict.signal_probe import USUAL_OHMS, signal_of
from biaspredict.predict.spread import capacitances
from biaspredict.quantities import Unit, engineering

FIRST, FURTHER = 4.0, 1.0  # bench units of the first signal reading, and of each one more
LOW, MIDDLE = 20.0, 1e3  # hertz
LOUDEST = 0.3  # volts rms that no node of a small stage should pass
LEAST, MOST = 1e-4, 0.1  # volts rms of the generator
ATTENUATED = 1e-3  # below which it goes through an attenuator (common practice, no source)
READABLE = 0.5e-3  # volts rms that a plain meter still shows
STEPS = (1.0, 2.0, 5.0)


def worth_the_generator(some: Sequence[Touch], outputs: Sequence[str]) -> tuple[Touch, ...]:
    """Those that may split what DC sees: gains to the outputs in the middle of the band, and
    emitters over their bases."""
    return tuple(
        touch for touch in some
        if touch.probe.signal is not None and touch.probe.signal.hertz == MIDDLE
        and (touch.probe.node in outputs or touch.probe.name.endswith(".emitter"))
    )


def signal_touches(
    predictor: Predictor, meter: Meter, taken: Sequence[Probe], refused: Sequence[str] = (),
    drive: tuple[float, float, str] | None = None, left: Sequence[Probe] = (),
) -> tuple[Touch, ...]:
    """Every signal reading that could still be taken with a generator at the input.

    drive: the generator in use (volts rms, ohms, node), None where none was connected yet.
    left: readings that the person does not take.
    """
    stage = predictor.stage
    node = drive[2] if drive else (stage.inputs[0].node if stage.inputs else None)
    if node is None:
        return ()
    ohms = drive[1] if drive else stage.inputs[0].ohms or USUAL_OHMS
    asked = [p for hertz in (MIDDLE, LOW) for p in _probes(stage, meter, node, hertz, ohms)]
    done = {(p.node, p.minus, p.signal.hertz) for p in taken if p.signal is not None}
    out = {(p.node, p.minus, p.signal.hertz) for p in left if p.signal is not None}
    asked = [
        p for p in asked
        if p.signal and (p.node, p.minus, p.signal.hertz) not in {*done, *out}
        and p.node not in refused and p.minus not in refused
    ]
    if not asked:
        return ()
    sound = _when_sound(predictor, tuple(asked))
    if sound is None:
        return ()
    gains, spread = sound
    volts = drive[0] if drive else _generator(asked, gains, node)
    cost = FURTHER if done else FIRST
    level = {
        (p.node, p.signal.hertz): float(gain) * volts
        for p, gain in zip(asked, gains, strict=True) if p.minus == node and p.signal
    }
    return tuple(
        _touch(probe, volts, node, cost, meter, float(spread[k]))
        for k, probe in enumerate(asked)
        if probe.signal and min(
            level.get((end, probe.signal.hertz), volts) for end in (probe.node, probe.minus or "")
            if end != node  # there it is set, before an attenuator, and not read
        ) >= READABLE
    )


@lru_cache(maxsize=4)
def _when_sound(
    predictor: Predictor, probes: tuple[Probe, ...]
) -> tuple[Floats, Floats] | None:
    """Gains (K,) of the sound stage, and how far capacitors spread their logarithms; None where
    it does not solve. Kept, since no reading of volts moves them."""
    wide = Predictor(predictor.stage, predictor.solver, (*predictor.axes, *_missing(predictor)))
    seen = wide.observe([SOUND], np.zeros((1, len(wide.axes))), probes)
    if not seen.solved[0]:
        return None
    own = len(predictor.axes)
    spread = np.sqrt(((seen.slopes[0, :, own:] * wide.sigmas[own:]) ** 2).sum(1))
    return np.exp(seen.values[0]), spread


def _missing(predictor: Predictor) -> tuple[Axis, ...]:
    """Axes of the capacitors, where the predictor does not have them yet."""
    known = {axis.name for axis in predictor.axes}
    return tuple(a for a in capacitances(predictor.stage) if a.name not in known)


def _probes(
    stage: Stage, meter: Meter, start: str, hertz: float, ohms: float
) -> Iterator[Probe]:
    """Every node over the input, and each emitter over its base."""
    signal = signal_of(stage, hertz, (MOST, ohms, start))
    assert signal is not None
    load = signal_ohms(meter)
    outputs = [port.node for port in stage.outputs]
    nodes = [*outputs, *(n for n in stage.nodes if n not in outputs)]
    for node in nodes:
        if node not in (GROUND, start) and not node.endswith("(slope)"):
            yield Probe(node, start, Quantity.GAIN, load, name=node, extra=signal.extra,
                        signal=signal)
    for part in stage.parts:
        if part.kind is Kind.TRANSISTOR:
            base, emitter = part.node("base"), part.node("emitter")
            if GROUND not in (base, emitter) and base not in (emitter, start):
                yield Probe(emitter, base, Quantity.GAIN, load, name=f"{part.ref}.emitter",
                            extra=signal.extra, signal=signal)


def _generator(asked: Sequence[Probe], gains: Floats, start: str) -> float:
    """Volts rms that drive no node too far: 1, 2 or 5 millivolts and so on."""
    loudest = max((float(g) for p, g in zip(asked, gains, strict=True) if p.minus == start),
                  default=1.0)
    aim = min(max(LOUDEST / max(loudest, 1e-3), LEAST), MOST)
    power = 10.0 ** math.floor(math.log10(aim))
    return max(s * power for s in STEPS if s * power <= aim * 1.001)


def _touch(
    probe: Probe, volts: float, start: str, cost: float, meter: Meter, spread: float
) -> Touch:
    signal = probe.signal
    assert signal is not None
    assert probe.minus is not None
    hertz = engineering(signal.hertz, Unit.HERTZ)
    generator = f"generator {engineering(volts, Unit.VOLT)} at {start}"
    if volts < ATTENUATED:
        generator += " through an attenuator"
    if probe.minus == start:
        words = f"gain from {start} to {probe.node} at {hertz}, {generator}"
    else:
        base = probe.name.replace(".emitter", ".base")
        words = f"signal at {probe.name} over {base} at {hertz}, {generator}"
    sounding = replace(probe, signal=replace(signal, volts=volts))
    return Touch(sounding, cost, words, meter, (ONE_HAND,), spread)
