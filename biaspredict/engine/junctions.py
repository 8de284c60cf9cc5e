"""Laws of junctions, channels and filaments, and how far one step may move a junction.

Arrays of any matching shapes. The exponential's tail is that of the Gummel-Poon implementation
in ngspice, so that both engines solve the same equations.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats

TAIL = -3.0  # thermal volts below which the exponential gives way to a cubic
_TAIL_SCALE = (3.0 / math.e) ** 3
_AT_TAIL = math.exp(TAIL)
_STEEP = 200.0  # thermal volts above which no solution lies; keeps exp() finite
# Of a junction's step, in thermal volts: from where it conducts; what it is granted near its
# bend; beyond what it is held up, and below what down, but not where it falls lower by itself.
CONDUCTS, GRANTED, RUSHED, STARVED = 5.0, 2.0, 4.0, -0.6
LEFT = 0.07  # share of its current that it keeps at least
LOWEST = math.log(LEFT)


def exponential(x: Floats) -> tuple[Floats, Floats]:
    """exp(x) - 1 and its derivative; below TAIL -1 - (3/(e x))**3, which never goes flat."""
    rise = np.exp(np.minimum(np.maximum(x, TAIL), _STEEP))
    # Above the tail `far` is TAIL, where cubic and exponential agree: no branches are needed.
    far = np.minimum(x, TAIL)
    cubic = _TAIL_SCALE / (far * far * far)
    return rise - (1.0 + _AT_TAIL) - cubic, rise + (3.0 * cubic / far - _AT_TAIL)


def critical(thermal: Floats, saturation: Floats) -> Floats:
    """Volts above which a junction's curve bends sharply enough to need limiting."""
    result: Floats = thermal * np.log(thermal / (math.sqrt(2.0) * saturation))
    return result


def limited(
    new: Floats, old: Floats, thermal: Floats, bend: Floats, bold: bool = False
) -> tuple[Floats, NDArray[np.bool_]]:
    """Junction volts after a step from `old` to `new`, held to where the old slope means
    anything; and where they were held. Source: Nagel, SPICE2, 1975 (from memory), with both
    limits made continuous.

    bold: where a junction conducts, take it that what feeds it gives its current. The slope says
    by what factor that changes, and the volts go by its logarithm: a step up would come far too
    high, and steps down, of one thermal volt each, would be as many as there are nepers. Where
    many junctions steer each other this may lead nowhere.
    """
    step = (new - old) / thermal
    up = (new > bend) & (np.abs(step) > GRANTED)
    down = None
    if bold:
        conducts = old > CONDUCTS * thermal
        up |= conducts & (step > RUSHED)
        down = conducts & (step < STARVED) & (step > LOWEST)
    held = up if down is None else up | down
    if not held.any():
        return new, held
    found = new.copy()
    old, thermal = (np.broadcast_to(some, new.shape) for some in (old, thermal))
    # Two thermal volts are granted, the rest by its logarithm; continuous where limiting starts.
    before, by, heat = old[up], step[up], thermal[up]
    more = GRANTED + np.log(np.maximum(np.abs(by), GRANTED) - 1.0)
    from_on = before + np.sign(by) * heat * more
    from_off = heat * np.log(np.maximum(new[up] / heat, 1e-30))
    found[up] = np.where(before > 0.0, from_on, from_off)
    if down is not None:
        found[down] = old[down] + thermal[down] * np.log(np.maximum(1.0 + step[down], LEFT))
    return found, held


def channel(
    gate: Floats, across: Floats, beta: Floats, pinch_off: Floats, slope: Floats
) -> tuple[Floats, Floats, Floats]:
    """Drain current of a JFET and its derivatives by gate and by drain volts.

    gate: volts gate to source (a drain below the source acts as source: then gate to drain,
    and the current reverses); across: volts drain to source; slope: lambda, per volt.
    Source: Shichman & Hodges 1968, the level 1 JFET of ngspice.
    """
    back = across < 0.0
    width = np.abs(across)
    drive = np.where(back, gate - across, gate) + pinch_off
    drive = np.maximum(drive, 0.0)
    reach = np.minimum(width, drive)  # beyond pinch-off the channel stays as it is there
    body = reach * (2.0 * drive - reach)
    bent = beta * (1.0 + slope * width)
    current = bent * body
    by_gate = 2.0 * bent * reach
    by_drain = 2.0 * bent * (drive - reach) + beta * slope * body
    return (
        np.where(back, -current, current),
        np.where(back, -by_gate, by_gate),
        np.where(back, by_gate + by_drain, by_drain),
    )


def filament(volts: Floats, hot_ohms: Floats, rated: Floats) -> tuple[Floats, Floats]:
    """Current of a lamp and its slope: cold it has a tenth of its hot ohms."""
    share = np.abs(volts) / rated
    root = np.sqrt(0.01 + 0.99 * share)
    return volts / (hot_ohms * root), (0.01 + 0.495 * share) / (hot_ohms * root**3)
