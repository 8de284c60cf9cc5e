"""How alike two channels of one set are: for each spread axis, the correlation between them.

A part of one channel and its fellow in the other share a latent quantity (one batch, one type,
one room) and each have an own one. The figure is the correlation of the two standard latents.
All figures here are common practice, no source; `tests/twins` shows what the answer gains, and
what it does not lose where they are wrong.
"""

from __future__ import annotations

from collections.abc import Iterable

from biaspredict.model.circuit import Axis
from biaspredict.model.parts import Kind
from biaspredict.model.stage import Stage

# Parts of one type and one delivery, bought and aged together.
BY_FIELD = {
    "ohms": 0.5,  # resistors of one reel creep alike; within it each strays on its own
    "hot_ohms": 0.5,
    "gain": 0.3,  # strays over its whole range within one bag
    "saturation": 0.9,  # the junction is the type's
    "reverse_gain": 0.9,
    "icbo": 0.5,
    "idss": 0.4,
    "pinch_off": 0.4,
    "zener_volts": 0.4,
    "volts": 0.8,  # rails and pins of their own, from one transformer on one line
    "amps": 0.5,
}
GANGED = 0.9  # the two tracks of one volume control
SAME_RAIL = 0.98  # one rail feeds both; the line moves a little between two readings
TEMPERATURE = 0.95  # one case, two minutes apart


def shared_rails(stage: Stage) -> frozenset[str]:
    """Rails and pins that the map of the other channel does not give a name of their own."""
    apart = {twin.mine for twin in stage.twins}
    held = [rail.name for rail in stage.rails] + [pin.name for pin in stage.pins]
    return frozenset(name for name in held if name not in apart)


def likeness(stage: Stage, axes: Iterable[Axis]) -> tuple[float, ...]:
    """Correlation of each axis of this channel with the same axis of the other one."""
    rails = shared_rails(stage)
    return tuple(_of_axis(stage, rails, axis.name) for axis in axes)


def _of_axis(stage: Stage, rails: frozenset[str], name: str) -> float:
    if name == "temperature":
        return TEMPERATURE
    ref, _, what = name.rpartition(".")
    if ref in rails:
        return SAME_RAIL
    part = next((p for p in stage.parts if p.ref == ref), None)
    if part is not None:
        if part.measured is not None or part.fitted is not None:
            return 0.0  # this one is not of the set's own batch
        if what == "turn":
            return GANGED if part.kind is Kind.POT else 0.0
    return BY_FIELD.get(what, 0.0)
