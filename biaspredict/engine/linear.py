"""The linear stage at a solved operating point: what a small change of anything does."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.elimination import alike
from biaspredict.engine.laws import Group
from biaspredict.engine.metered import Metered, Meters, across, between
from biaspredict.engine.network import Network
from biaspredict.engine.partials import PARTS, PLAIN, partial, per_kelvin
from biaspredict.engine.plan import TEMPERATURE, Ints, Lot, Plan, Push, lot, plan_of
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import SOUND, Axis, Circuit, Variation

# Variations at once, and slopes of theirs; volts carried at once: they bound the memory.
LEAST, MOST, SLOPES, BLOCK = 64.0, 512.0, 1e6, 4e5
RELATIVE, LEAST = 1e-4, 1e-6  # half steps of differences, where there is no formula

Probes = Sequence[tuple[int, int]] | NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Linear:
    """shown: (B, K) volts between a probe's points, with the meter if there is one; slopes:
    (B, K, P) of that per axis amount; rises: (B, K, M) towards each variation nearby. Rows of NaN
    where the volts were. source_ohms: (B, K) resistance seen between the points without a meter.
    bent: (B, K) volts that curves add to what a meter shows, to first order: 0 without a meter,
    infinite where a junction changes its state under it."""

    shown: Floats
    slopes: Floats
    rises: Floats
    source_ohms: Floats
    bent: Floats


def linearise(
    circuit: Circuit,
    variations: Sequence[Variation],
    axes: Sequence[Axis],
    amounts: Floats | None,
    volts: Floats,
    probes: Probes,
    nearby: Sequence[Sequence[Variation]] = (),
    meters: Meters | None = None,
) -> Linear:
    """Slopes of probe volts along the axes, and source resistances, at solved points.

    amounts: (B, P) where on the axes the points lie, None for 0; volts: (B, n + spares) as
    solved there. probes: (plus, minus) columns of volts, -1 for ground; as an array (K, 2),
    or (B, K, 2) where each variation has its own. nearby: M times B variations of the same
    wiring as `variations` with values slightly different; what that does, to first order.
    meters: what is connected to the probes, if anything.
    """
    plan, many = plan_of(circuit), len(variations)
    pairs = np.asarray(probes, dtype=np.int64)
    if pairs.ndim < 3:
        pairs = np.broadcast_to(pairs.reshape(1, -1, 2), (many, pairs.size // 2, 2))
    count = pairs.shape[1]
    slopes = np.empty((many, count, len(axes)))
    rises = np.full((many, count, len(nearby)), np.nan)
    shown, ohms = np.full((2, many, count), np.nan)
    bent = np.zeros((many, count))
    most = max((len(v.lifts) for v in variations), default=0)
    good = np.isfinite(volts[:, : plan.size]).all(axis=1)
    slopes[~good] = np.nan
    wide = max(count, 1) * max(len(axes), plan.size)
    chunk = int(min(max(SLOPES / wide, LEAST), MOST))
    ways = [
        (form, alone[first : first + chunk])
        for form, alone in alike(plan, variations, np.flatnonzero(good))
        for first in range(0, len(alone), chunk)
    ]
    for kept, which in ways:
        some = [variations[i] for i in which]
        spares = kept.nodes - plan.size - 1 if kept else most
        part = None if amounts is None else np.asarray(amounts, dtype=float)[which]
        made = lot(plan, some, axes, part, spares)
        nodes = at_nodes(made, plan, volts[which])
        network = Network(plan, made, kept)
        leaving, matrix, _ = network.balance(nodes)
        ends = pairs[which] + 1
        form = network.form
        if meters is None:
            metered = None
            influence = form.turned(matrix, asked(ends, form.nodes))
            shown[which] = between(nodes, ends)
        else:
            influence, fed = form.both(matrix, asked(ends, form.nodes))
            metered = Metered(network, nodes, ends, meters.of(which), influence, fed)
            shown[which], bent[which] = metered.straight, metered.bent()
        ohms[which] = across(influence, ends)
        found = along(plan, made, network, nodes, influence, axes)
        if metered is not None:
            metered.more(made, plan.spread(axes).pushes, found)
            found *= metered.share.T
        slopes[which] = found.transpose(2, 1, 0)
        for m, others in enumerate(nearby):
            moved = np.flatnonzero([others[i] != variations[i] for i in which])
            rises[which, :, m] = 0.0
            if moved.size:
                there = [others[i] for i in which[moved]]
                at = None if part is None else part[moved]
                close = Network(plan, lot(plan, there, axes, at, spares), form)
                balance, other, _ = close.balance(nodes[:, moved])
                near = influence[:, :, moved]
                rise = -np.einsum("nkb,nb->bk", near, balance - leaving[:, moved])
                if metered is not None:
                    rise += metered.risen(moved, matrix[:, moved], other, form)
                    rise *= metered.share[moved]
                rises[which[moved], :, m] = rise
    return Linear(shown, slopes, rises, ohms, bent)


def transfer(circuit: Circuit, volts: Floats) -> Floats:
    """(n, n) volts at each node for an ampere into each, at the circuit's own solved volts (n,)."""
    plan = plan_of(circuit)
    made = lot(plan, [SOUND])
    network = Network(plan, made)
    slopes = network.balance(at_nodes(made, plan, volts[None]))[1]
    return np.asarray(np.linalg.inv(network.form.whole(slopes)[0, 1:, 1:]))


def at_nodes(made: Lot, plan: Plan, volts: Floats) -> Floats:
    """Node volts (N, B), ground first, 0 at spare nodes that a variation does not use."""
    nodes = np.zeros((plan.size + 1 + made.spares, made.many))
    given = np.nan_to_num(volts.T)
    nodes[1 : 1 + len(given)] = given[: len(nodes) - 1]
    return nodes


def asked(pairs: Ints, nodes: int) -> Floats:
    """(N, K, B): one ampere into the first and out of the second of pairs (B, K, 2) of nodes,
    ground 0. With the slopes transposed the answer is the influence: volts at probe k for an
    ampere fed into node n."""
    many, count = pairs.shape[:2]
    ask = np.zeros((nodes, count, many))
    columns, reach = np.arange(many)[:, None], np.arange(count)[None, :]
    ask[pairs[..., 0], reach, columns] += 1.0
    ask[pairs[..., 1], reach, columns] -= 1.0
    return ask


def along(
    plan: Plan, made: Lot, network: Network, nodes: Floats, influence: Floats, axes: Sequence[Axis]
) -> Floats:
    """(P, K, B) volts at the probes for each axis; influence (N, K, B): see `asked`."""
    found = np.zeros((len(axes), *influence.shape[1:]))
    moved = plan.spread(axes).pushes
    left = set(moved) - plan.unseen - {TEMPERATURE}
    for group in network.groups:
        for quantity, rows in group.rows.items():
            places = [d for d, row in enumerate(rows.tolist()) if row in moved]
            if places:
                left.difference_update(rows[places].tolist())
                whole = made.values[group.rows["ohms"]] if quantity in PARTS else None
                flows = partial(group, quantity, group.legs.volts(nodes), whole)
                for some in _blocks(places, found[0].size):
                    carried = _carried(group, some, flows[:, some], influence)
                    _put(found, carried, made.values, rows[some], moved, quantity not in PLAIN)
    if TEMPERATURE in moved:
        warmer = [per_kelvin(g, nodes, made.values) for g in network.groups]
        change = network.leaving(warmer)
        rise = -np.einsum("nkb,nb->kb", influence, change)[None]
        _put(found, rise, made.values, np.array([TEMPERATURE]), moved, False)
    for row in sorted(left):
        rise = _by_difference(plan, made, row, nodes, influence)[None]
        _put(found, rise, made.values, np.array([row]), moved, False)
    return found


def _blocks(places: Sequence[int], size: int) -> Iterator[Sequence[int]]:
    """The places so many at once as give BLOCK numbers, of `size` each."""
    step = max(int(BLOCK / max(size, 1)), 1)
    for first in range(0, len(places), step):
        yield places[first : first + step]


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
        across = group.legs.at(b, influence, places) - group.legs.at(a, influence, places)
        across *= flow[:, None]
        total += across
    return total


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
