"""How the currents of the elements follow their own parameters at fixed node volts."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from biaspredict.engine.junctions import exponential
from biaspredict.engine.laws import Bipolars, Branches, Channels, Drains, Group, Junctions, Lamps
from biaspredict.engine.plan import TEMPERATURE
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import CLOSED, FIELDS, OPEN, Device
from biaspredict.model.devices import BOLTZMANN_OVER_CHARGE, KELVIN

_BIPOLAR = FIELDS[Device.BIPOLAR]
GAP_BEHIND = _BIPOLAR.index("gap") - _BIPOLAR.index("saturation")
LEAK_GROWTH = math.log(2.0) / 9.0  # per kelvin, of collector leakage
# Quantities whose derivative is by the value itself; all others by its logarithm.
PARTS = frozenset({"upper", "lower"})  # of a track
PLAIN = PARTS | {"emf", "amps"}


def partial(group: Group, quantity: str, volts: Floats, whole: Floats | None = None) -> Floats:
    """(f, D, B): each flow's derivative by the logarithm of a quantity, or (PLAIN) by itself.

    volts: (k, D, B) at the terminals; whole: (D, B) ohms of a track, of which an upper or lower
    part is meant.
    """
    if isinstance(group, Branches) and quantity in PARTS:
        current = -_branch(group, "ohms", volts)
        share = np.asarray(whole) * group.siemens
        return current * share if quantity == "upper" else -current * share
    return _OF[type(group)](group, quantity, volts)


def _branch(group: Branches, quantity: str, volts: Floats) -> Floats:
    if quantity == "emf":
        return -group.siemens[None]
    # Held at a sound joint or an open one, a resistance no longer follows its value.
    free = (group.siemens < 1.0 / CLOSED) & (group.siemens > 1.0 / OPEN)
    current = np.where(free, group.flows(volts, False)[0][0], 0.0)
    result: Floats = -current[None]
    return result


def _junction(group: Junctions, quantity: str, volts: Floats) -> Floats:
    at = group.sign * (volts[0] - volts[1]) - group.emf
    rise, slope = exponential(at / group.thermal)
    if quantity == "saturation":
        return (group.sign * group.saturation * rise)[None]
    return -(group.sign * (group.saturation / group.thermal * slope + group.gmin))[None]


def _bipolar(group: Bipolars, quantity: str, volts: Floats) -> Floats:
    at = group.across(volts)
    forward, back, leak, _, _, _ = group.currents(at)
    none = np.zeros_like(forward)
    if quantity == "saturation":
        collector = (forward - back) * (1.0 - at[1] * group.flat) - back * group.reverse
        base = forward * group.gain + back * group.reverse
    elif quantity == "gain":
        collector, base = none, -forward * group.gain
    elif quantity == "reverse_gain":
        collector, base = back * group.reverse, -back * group.reverse
    elif quantity == "early":
        collector, base = (forward - back) * at[1] * group.flat, none
    else:
        collector, base = -leak, leak
    return np.stack((group.sign * collector, group.sign * base))


def _channel(group: Channels, quantity: str, volts: Floats) -> Floats:
    flows, slopes, _ = group.flows(volts, False)
    if quantity == "idss":
        return flows
    # i = idss/p^2 h(vg + p, vd): the pinch-off acts as gate volts, and by its square. The
    # slope by gate is that of the current as seen from outside, sign included.
    result: Floats = (group.sign * slopes[1] * group.pinch_off - 2.0 * flows[0])[None]
    return result


def _lamp(group: Lamps, quantity: str, volts: Floats) -> Floats:
    return -group.flows(volts, False)[0]


def _drain(group: Drains, quantity: str, volts: Floats) -> Floats:
    return np.ones((1, *volts.shape[1:]))


def per_kelvin(group: Group, nodes: Floats, values: Floats) -> Floats:
    """(f, D, B): each flow's derivative by the temperature (see values.device_at)."""
    volts = group.legs.volts(nodes)
    kelvin = values[TEMPERATURE] + KELVIN
    if isinstance(group, Junctions):
        at = group.sign * (volts[0] - volts[1]) - group.emf
        rise, slope = exponential(at / group.thermal)
        current = -group.saturation / group.thermal * slope * at / kelvin
        if "saturation" in group.rows:
            first = group.rows["saturation"]
            gap, ideality = values[first + 2], values[first + 1]
            growth = gap / (ideality * BOLTZMANN_OVER_CHARGE * kelvin**2)
            current = current + group.saturation * rise * growth
        result: Floats = (group.sign * current)[None]
        return result
    if isinstance(group, Bipolars):
        at = group.across(volts)
        forward, back, leak, by_be, by_bc, by_leak = group.currents(at)
        growth = values[group.rows["saturation"] + GAP_BEHIND] / (BOLTZMANN_OVER_CHARGE * kelvin**2)
        more_forward = forward * growth - by_be * at[0] / kelvin
        more_back = back * growth - by_bc * at[1] / kelvin
        more_leak = leak * LEAK_GROWTH - by_leak * at[1] / kelvin
        # Gains grow by the power 1.5: what is divided by them grows that much less.
        less = 1.5 / kelvin
        lost = (more_back - back * less) * group.reverse
        collector = (more_forward - more_back) * (1.0 - at[1] * group.flat) - lost - more_leak
        base = (more_forward - forward * less) * group.gain + lost + more_leak
        return np.stack((group.sign * collector, group.sign * base))
    return np.zeros((len(group.ends), group.count, nodes.shape[1]))


_OF: dict[type[Group], Callable[..., Floats]] = {
    Branches: _branch,
    Junctions: _junction,
    Bipolars: _bipolar,
    Channels: _channel,
    Lamps: _lamp,
    Drains: _drain,
}
