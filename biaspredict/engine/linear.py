"""The linear stage at a solved operating point: what a small change of anything does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.elimination import Form, alike
from biaspredict.engine.laws import Bipolars, Group, Junctions
from biaspredict.engine.network import Network
from biaspredict.engine.partials import PLAIN, partial, per_kelvin
from biaspredict.engine.plan import TEMPERATURE, Ints, Lot, Plan, Push, lot, plan_of
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Axis, Circuit, Variation

CHUNK = 512
RELATIVE, LEAST = 1e-4, 1e-6  # half steps of differences, where there is no formula

Probes = Sequence[tuple[int, int]] | NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Linear:
    """slopes: (B, K, P) volts between a probe's points per axis amount; source_ohms: (B, K)
    resistance seen between them; rises: (B, K, M) volts towards each variation nearby. Rows of
    NaN where the volts were. base_amps: (B, K, 2) what bases and junctions take from either
    point; firm: (B, K, 2) siemens of what is linear there."""

    slopes: Floats
    source_ohms: Floats
    rises: Floats
    base_amps: Floats
    firm: Floats


def linearise(
    circuit: Circuit,
    variations: Sequence[Variation],
    axes: Sequence[Axis],
    amounts: Floats | None,
    volts: Floats,
    probes: Probes,
    nearby: Sequence[Sequence[Variation]] = (),
) -> Linear:
    """Slopes of probe volts along the axes, and source resistances, at solved points.

    amounts: (B, P) where on the axes the points lie, None for 0; volts: (B, n + spares) as
    solved there. probes: (plus, minus) columns of volts, -1 for ground; as an array (K, 2),
    or (B, K, 2) where each variation has its own. nearby: M times B variations of the same
    wiring as `variations` with values slightly different; what that does, to first order.
    """
    plan, many = plan_of(circuit), len(variations)
    pairs = np.asarray(probes, dtype=np.int64)
    if pairs.ndim < 3:
        pairs = np.broadcast_to(pairs.reshape(1, -1, 2), (many, pairs.size // 2, 2))
    count = pairs.shape[1]
    slopes = np.empty((many, count, len(axes)))
    ohms = np.full((many, count), np.nan)
    rises = np.full((many, count, len(nearby)), np.nan)
    base_amps, firm = np.full((2, many, count, 2), np.nan)
    most = max((len(v.lifts) for v in variations), default=0)
    good = np.isfinite(volts[:, : plan.size]).all(axis=1)
    slopes[~good] = np.nan
    ways = [
        (form, alone[first : first + CHUNK])
        for form, alone in alike(plan, variations, np.flatnonzero(good))
        for first in range(0, len(alone), CHUNK)
    ]
    for form, which in ways:
        some = [variations[i] for i in which]
        spares = form.nodes - plan.size - 1 if form else most
        part = None if amounts is None else np.asarray(amounts, dtype=float)[which]
        made = lot(plan, some, axes, part, spares)
        nodes = at_nodes(made, plan, volts[which])
        network = Network(plan, made, form)
        leaving, matrix, _ = network.balance(nodes)
        influence = influence_of(matrix, pairs[which] + 1, network.form)
        columns = np.arange(len(which))[:, None]
        plus, minus = pairs[which, :, 0] + 1, pairs[which, :, 1] + 1
        reach = np.arange(count)[None, :]
        ends = pairs[which] + 1, columns[..., None]
        base_amps[which] = _into_bases(network, nodes)[ends]
        firm[which] = network.form.diagonal(network.base)[ends]
        ohms[which] = influence[plus, reach, columns] - influence[minus, reach, columns]
        slopes[which] = along(plan, made, network, nodes, influence, axes).transpose(2, 1, 0)
        for m, others in enumerate(nearby):
            moved = np.flatnonzero([others[i] != variations[i] for i in which])
            rises[which, :, m] = 0.0
            if moved.size:
                there = [others[i] for i in which[moved]]
                at = None if part is None else part[moved]
                close = Network(plan, lot(plan, there, axes, at, spares), form)
                change = close.balance(nodes[:, moved])[0] - leaving[:, moved]
                near = influence[:, :, moved]
                rises[which[moved], :, m] = -np.einsum("nkb,nb->bk", near, change)
    return Linear(slopes, ohms, rises, base_amps, firm)


def _into_bases(network: Network, nodes: Floats) -> Floats:
    """(N, B) amperes that bases and junctions take from each node; 0 for ground."""
    found = np.zeros_like(nodes)
    columns = np.arange(nodes.shape[1])
    for group in network.curves:
        if isinstance(group, Bipolars):
            flows = group.flows(group.volts(nodes), False)[0]
            np.add.at(found, (group.legs[1], columns), flows[1])
        elif isinstance(group, Junctions):
            flow = group.flows(group.volts(nodes), False)[0][0]
            np.add.at(found, (group.legs[0], columns), flow)
            np.subtract.at(found, (group.legs[1], columns), flow)
    found[0] = 0.0
    return found


def at_nodes(made: Lot, plan: Plan, volts: Floats) -> Floats:
    """Node volts (N, B), ground first, 0 at spare nodes that a variation does not use."""
    nodes = np.zeros((plan.size + 1 + made.spares, made.many))
    given = np.nan_to_num(volts.T)
    nodes[1 : 1 + len(given)] = given[: len(nodes) - 1]
    return nodes


def influence_of(matrix: Floats, pairs: Ints, form: Form) -> Floats:
    """(N, K, B): volts at probe k for an ampere fed into node n; pairs (B, K, 2) count ground 0.

    matrix: slopes as the form keeps them.
    """
    many, count = pairs.shape[:2]
    ask = np.zeros((form.nodes, count, many))
    columns, reach = np.arange(many)[:, None], np.arange(count)[None, :]
    ask[pairs[..., 0], reach, columns] += 1.0
    ask[pairs[..., 1], reach, columns] -= 1.0
    return form.turned(matrix, ask)


def along(
    plan: Plan, made: Lot, network: Network, nodes: Floats, influence: Floats, axes: Sequence[Axis]
) -> Floats:
    """(P, K, B) volts at the probes for each axis; influence (N, K, B): see `influence_of`."""
    found = np.zeros((len(axes), *influence.shape[1:]))
    moved = plan.axes_of_rows(axes)
    left = set(moved) - plan.unseen - {TEMPERATURE}
    for group in network.groups:
        for quantity, rows in group.rows.items():
            places = [d for d, row in enumerate(rows.tolist()) if row in moved]
            if places:
                left.difference_update(rows[places].tolist())
                flows = partial(group, quantity, nodes, made.values)[:, places]
                carried = _carried(group, places, flows, influence)
                _put(found, carried, made.values, rows[places], moved, quantity not in PLAIN)
    if TEMPERATURE in moved:
        warmer = [per_kelvin(g, nodes, made.values) for g in network.groups]
        change = network.leaving(warmer)
        rise = -np.einsum("nkb,nb->kb", influence, change)[None]
        _put(found, rise, made.values, np.array([TEMPERATURE]), moved, False)
    for row in sorted(left):
        rise = _by_difference(plan, made, row, nodes, influence)[None]
        _put(found, rise, made.values, np.array([row]), moved, False)
    return found


def _put(
    found: Floats, rises: Floats, values: Floats, rows: Ints,
    moved: Mapping[int, Sequence[Push]], relative: bool,
) -> None:
    """Add rises (D, K, B) by values of `rows`, or (relative) by their logarithms, to their axes.

    An axis is of the value itself where it is additive, else of its logarithm.
    """
    for rise, row in zip(rises, rows.tolist(), strict=True):
        for push in moved[row]:
            if relative == (not push.additive):
                found[push.axis] += rise * push.per
            else:
                plain = rise / values[row] if relative else rise * values[row]
                found[push.axis] += plain * push.per


def _carried(group: Group, places: Sequence[int], flows: Floats, influence: Floats) -> Floats:
    """(D, K, B) volts at the probes for extra flows (f, D, B) in some elements of a group."""
    total = np.zeros((len(places), *influence.shape[1:]))
    for (a, b), flow in zip(group.ends, flows, strict=True):
        across = _at(group, b, places, influence) - _at(group, a, places, influence)
        across *= flow[:, None]
        total += across
    return total


def _at(group: Group, terminal: int, places: Sequence[int], influence: Floats) -> Floats:
    """(D, K, B) influence at the nodes of a terminal."""
    where = group.legs[terminal][places]
    if group.shared:
        result: Floats = influence[where[:, 0]]
        return result
    return influence[where, :, np.arange(influence.shape[2])].transpose(0, 2, 1)


def _by_difference(plan: Plan, made: Lot, row: int, nodes: Floats, influence: Floats) -> Floats:
    """(K, B) volts at the probes per unit of one value, by central differences of the balance."""
    value = made.values[row]
    half = np.abs(value) * RELATIVE
    half = np.where(np.isfinite(half) & (half > 0.0), half, LEAST)
    leaving = []
    for side in (half, -half):
        moved = made.part(np.arange(made.many))
        moved.values[row] += side
        leaving.append(Network(plan, moved).balance(nodes)[0])
    change = (leaving[0] - leaving[1]) / (2.0 * half)
    result: Floats = -np.einsum("nkb,nb->kb", influence, np.nan_to_num(change))
    return result
