"""What each capacitor of a stage works at: DC with its band, ripple, corner, leakage allowed.

Everything here is wanted, nothing is needed: what cannot be had is left out, with the reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.signals import conductance
from biaspredict.engine.solver import Solver
from biaspredict.engine.stores import ohms_seen, stores
from biaspredict.errors import InputError, Unsolved
from biaspredict.findings import Gravity
from biaspredict.graph.alternating import large
from biaspredict.graph.checks import connectivity
from biaspredict.graph.network import floating
from biaspredict.graph.supply import mains
from biaspredict.model.circuit import SOUND
from biaspredict.model.parts import CAPACITORS, Part
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.at_rest import AtRest, at_rest
from biaspredict.predict.bias import Bias, Level, predict_bias
from biaspredict.predict.corners import corners
from biaspredict.predict.leakage import Leak, leakage
from biaspredict.predict.ordering import sheet_value
from biaspredict.predict.path import Referee
from biaspredict.predict.raw_rail import on_rails
from biaspredict.predict.rectifying import Stored


class Engine(Referee, Protocol):
    """ngspice at DC, over frequency and over time."""


@dataclass
class OnCapacitors:
    """By reference of the capacitor.

    levels: DC volts from first (plus) to second terminal, with their band. loose: those with an
    end whose DC nothing sets, taken as 0 V. stored: in a supply. seen: ohms that a capacitor
    sees with the others of its size as wire, and the farads there, those beside it included.
    duties: what it does, where the signal tells. leaks: what it may leak. supply: where a
    winding feeds the stage. withheld: why something is missing.
    """

    levels: dict[str, Level] = field(default_factory=dict)
    loose: set[str] = field(default_factory=set)
    stored: dict[str, Stored] = field(default_factory=dict)
    seen: dict[str, tuple[float, float]] = field(default_factory=dict)
    duties: dict[str, str] = field(default_factory=dict)
    leaks: Mapping[str, Leak] = field(default_factory=dict)
    supply: AtRest | None = None
    withheld: list[str] = field(default_factory=list)


def as_drawn(stage: Stage) -> Stage:
    """The stage with every capacitor at the value of the sheet, whatever stands there today."""
    return replace(stage, parts=tuple(_drawn(part) for part in stage.parts))


def _drawn(part: Part) -> Part:
    if part.kind not in CAPACITORS:
        return part
    return replace(part, printed=sheet_value(part), fitted=None, measured=None)


def on_capacitors(stage: Stage, engine: Engine, drawer: Solver) -> OnCapacitors:
    """Facts of every capacitor of a stage `as_drawn`. Raises EngineMissing."""
    found = OnCapacitors()
    stops = [f for f in connectivity(stage) if f.gravity is Gravity.STOP]
    if stops:
        found.withheld.append(f"The stage does not hang together as written: {stops[0].fact}")
        return found
    try:
        fed = on_rails(stage, engine)
        bias = predict_bias(fed.stage, engine, drawer)
    except (InputError, Unsolved) as problem:
        found.withheld.append(f"No volts could be predicted: {problem.fact}.")
    else:
        _levels(stage, bias, fed.swinging, found)
        found.leaks = {leak.ref: leak for leak in leakage(bias, drawer)}
        _corners(fed.stage, engine, found)
    if mains(stage) is not None:
        try:
            found.supply = at_rest(stage, engine)
        except (InputError, Unsolved) as problem:
            if not any(problem.fact in told for told in found.withheld):
                found.withheld.append(f"No ripple could be predicted: {problem.fact}.")
        else:
            found.stored = {stored.ref: stored for stored in found.supply.capacitors}
    return found


def _levels(stage: Stage, bias: Bias, swinging: frozenset[str], found: OnCapacitors) -> None:
    loose = floating(bias.stage)
    for part in stage.parts:
        if part.kind not in CAPACITORS or not swinging.isdisjoint(part.nodes):
            continue
        plus, minus = (GROUND if node in loose else node for node in part.nodes)
        if not loose.isdisjoint(part.nodes):
            found.loose.add(part.ref)
        if plus == minus:
            found.levels[part.ref] = Level(0.0, 0.0, 0.0)
        elif all(node == GROUND or node in bias.levels for node in (plus, minus)):
            found.levels[part.ref] = bias.band(plus, minus)


def _corners(stage: Stage, engine: Engine, found: OnCapacitors) -> None:
    """By the signal's way where there is one, else by the resistance at the operating point."""
    try:
        for corner in corners(stage, engine).corners:
            found.duties[corner.ref] = corner.duty.value
            if corner.ohms:
                beside = sum(sheet_value(stage.part(ref)) or 0.0 for ref in corner.beside)
                own = sheet_value(stage.part(corner.ref)) or 0.0
                found.seen[corner.ref] = corner.ohms, own + beside
    except (InputError, Unsolved):
        circuit = flatten(stage)
        solved = engine.solve(circuit, [SOUND])
        if not solved.solved[0]:
            return
        matrix = conductance(circuit, SOUND, solved.volts[0][: len(circuit.nodes)])
        if not np.isfinite(np.linalg.cond(matrix)):
            return
        every = stores(circuit)
        wires = [store for store in every if large(stage.part(store.name))]
        for store in wires:
            pair = {store.a, store.b}
            ohms = ohms_seen(matrix, store, [s for s in wires if {s.a, s.b} != pair])
            if ohms:
                beside = sum(s.farads for s in wires if {s.a, s.b} == pair)
                found.seen[store.name] = ohms, beside
