"""The groups of elements of one lot: which laws, with which values, on which nodes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache

import numpy as np

from biaspredict.engine.laws import (
    Bipolars,
    Branches,
    Channels,
    Drains,
    Group,
    Junctions,
    Lamps,
)
from biaspredict.engine.legs import Legs, added, standing
from biaspredict.engine.plan import TEMPERATURE, Ints, Lot, Plan
from biaspredict.engine.solver import Floats
from biaspredict.engine.values import GATE_SATURATION, ZENER_SATURATION
from biaspredict.model.circuit import CLOSED, FIELDS, OPEN, Device
from biaspredict.model.devices import (
    BOLTZMANN_OVER_CHARGE,
    KELVIN,
    REFERENCE_CELSIUS,
    thermal_volts,
)

# A group, and the field behind each quantity of its law.
Made = tuple[Group, dict[str, str]]


def siemens(ohms: Floats) -> Floats:
    """Conductance, no better than a sound joint and no worse than an open one."""
    result: Floats = 1.0 / np.clip(ohms, CLOSED, OPEN)
    return result


def branches(plan: Plan, lot: Lot) -> Iterator[Branches]:
    """Every resistance: first the circuit's own, then what is connected or stands in a joint."""
    table, rows = _resistances(plan)
    emf = np.where(rows["emf"][:, None] >= 0, lot.values[rows["emf"]], 0.0)
    group = Branches(standing(lot, table), _siemens(plan, lot), emf)
    group.rows = rows
    yield group
    more = len(lot.load_ohms) + len(lot.lift_ohms)
    if not more:
        return
    ohms = np.concatenate((lot.load_ohms, lot.lift_ohms))
    spare = np.repeat((plan.size + 1 + np.arange(lot.spares))[:, None], lot.many, axis=1)
    ends = np.concatenate(
        (np.stack((lot.load_from, lot.load_to)), np.stack((spare, lot.lift_node))), axis=1
    )
    there = np.isfinite(ohms)
    volts = np.concatenate((lot.load_volts, np.zeros(lot.lift_ohms.shape)))
    group = Branches(added(ends, there), np.where(there, siemens(ohms), 0.0), volts)
    group.rows = dict.fromkeys(rows, np.full(more, -1))
    yield group


@lru_cache(maxsize=8)
def _resistances(plan: Plan) -> tuple[Ints, dict[str, Ints]]:
    """Legs (2, D) from and to, and value rows of the circuit's own resistances."""
    count = len(plan.branch_row)
    none = np.full(count, -1)
    rows = {"ohms": plan.branch_row, "emf": none.copy(), "upper": none, "lower": none}
    sources = plan.placed.get(Device.SOURCE)
    if sources is not None:
        rows["emf"][np.searchsorted(plan.branch_row, sources.rows + 1)] = sources.rows
    start, end = plan.branch_from, plan.branch_to
    pots = plan.placed.get(Device.POT)
    if pots is not None:
        start = np.concatenate((start, pots.legs, pots.legs + 1))
        end = np.concatenate((end, pots.legs + 1, pots.legs + 2))
        none, turn = np.full(len(pots.rows), -1), pots.rows + 1
        for name, upper, lower in (
            ("ohms", pots.rows, pots.rows),
            ("emf", none, none),
            ("upper", turn, none),
            ("lower", none, turn),
        ):
            rows[name] = np.concatenate((rows[name], upper, lower))
    return np.stack((start, end)), rows


def _siemens(plan: Plan, lot: Lot) -> Floats:
    """(D, B) of the circuit's own resistances."""
    conductance = siemens(lot.values[plan.branch_row])
    pots = plan.placed.get(Device.POT)
    if pots is None:
        return conductance
    return np.concatenate((conductance, siemens(pot_ohms(lot.values, pots.rows))))


def curves(plan: Plan, lot: Lot) -> Iterator[Group]:
    """Every element that is not a resistance."""
    for device, make in _MAKERS.items():
        placed = plan.placed.get(device)
        if placed is None:
            continue
        fields = [lot.values[placed.rows + i] for i in range(len(FIELDS[device]))]
        for group, quantities in make(placed.legs, fields, lot):
            group.rows = {
                quantity: placed.rows + FIELDS[device].index(field)
                for quantity, field in quantities.items()
            }
            yield group


def _legs(lot: Lot, *legs: Ints) -> Legs:
    return standing(lot, np.array(legs))


def pot_ohms(values: Floats, rows: Ints) -> Floats:
    """(2 D, B): from top to wiper, then from wiper to bottom; the wiper stays on its track."""
    turn = np.clip(values[rows + 1], 0.0, 1.0)
    ohms = values[rows]
    return np.concatenate((ohms * (1.0 - turn), ohms * turn))


def _heat(lot: Lot) -> tuple[Floats, Floats]:
    """Thermal volts and T/T0, each (B,)."""
    kelvin = lot.values[TEMPERATURE] + KELVIN
    return BOLTZMANN_OVER_CHARGE * kelvin, kelvin / (REFERENCE_CELSIUS + KELVIN)


def _junctions(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    saturation, ideality, gap, zener_volts, zener_amps, _ = f
    volts, ratio = _heat(lot)
    thermal = ideality * volts
    ones = np.ones((len(first), 1))
    hot = saturation * np.exp((ratio - 1.0) * gap / thermal)
    legs, zero = _legs(lot, first, first + 1), np.zeros_like(thermal)
    yield Junctions(legs, ones, hot, thermal, zero), {"saturation": "saturation"}
    if np.isfinite(zener_volts).any():
        # Breakdown: a diode the other way round behind a source (see values.breakdown_volts).
        bend = thermal_volts(REFERENCE_CELSIUS) * np.log(zener_amps / ZENER_SATURATION + 1.0)
        broken = Junctions(
            _legs(lot, first + 1, first),
            ones,
            np.full((len(first), lot.many), ZENER_SATURATION),
            np.broadcast_to(volts, zener_volts.shape).copy(),
            zener_volts - bend,
        )
        yield broken, {"emf": "zener_volts"}


def _bipolars(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    sign, saturation, gain, reverse, early, icbo, gap = f[:7]
    volts, ratio = _heat(lot)
    warm = ratio**1.5
    hotter = lot.values[TEMPERATURE] - REFERENCE_CELSIUS
    group = Bipolars(
        _legs(lot, first, first + 1, first + 2),
        np.sign(sign),
        saturation * np.exp((ratio - 1.0) * gap / volts),
        gain * warm,
        reverse * warm,
        early,
        icbo * np.exp2(hotter / 9.0),
        np.broadcast_to(volts, sign.shape).copy(),
    )
    yield group, {name: name for name in ("saturation", "gain", "reverse_gain", "early", "icbo")}


def _fets(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    sign, idss, pinch_off, slope = f[:4]
    sign = np.sign(sign)
    volts = np.broadcast_to(_heat(lot)[0], sign.shape).copy()
    gate = np.full(sign.shape, GATE_SATURATION)
    legs = _legs(lot, first, first + 1, first + 2)
    yield (
        Channels(legs, sign, idss, pinch_off, slope),
        {"idss": "idss", "pinch_off": "pinch_off"},
    )
    for far in (first + 2, first):
        yield Junctions(_legs(lot, first + 1, far), sign, gate, volts, np.zeros_like(volts)), {}


def _lamps(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    yield Lamps(_legs(lot, first, first + 1), *f), {"hot_ohms": "hot_ohms"}


def _drains(first: Ints, f: list[Floats], lot: Lot) -> Iterator[Made]:
    yield Drains(_legs(lot, first, first + 1), *f), {"amps": "amps"}


_MAKERS: dict[Device, Callable[[Ints, list[Floats], Lot], Iterator[Made]]] = {
    Device.JUNCTION: _junctions,
    Device.BIPOLAR: _bipolars,
    Device.JFET: _fets,
    Device.LAMP: _lamps,
    Device.CURRENT: _drains,
}
