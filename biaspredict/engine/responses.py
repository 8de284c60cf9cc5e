"""Small signals of many variations at once, each at its own operating point, with slopes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.changes import Changes, reactive
from biaspredict.engine.elements import siemens
from biaspredict.engine.linear import along, at_nodes
from biaspredict.engine.network import Network
from biaspredict.engine.plan import Ints, Lot, Plan, lot, plan_of
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Axis, Circuit, Device, Load, Variation

Complexes = NDArray[np.complex128]
LEAST, MOST, PLACES = 8, 512, 4e5  # variations at once; slopes of theirs, which bounds the memory


@dataclass(frozen=True, slots=True)
class Responses:
    """volts: (B, K) at each point for one volt of the source, complex. slopes: (B, K, P) of
    those per axis amount, the operating point moving along. ohms: (B, K) impedance to ground
    seen at each point. NaN where the operating point was.

    bends: (B, K, Q) of the volts per unit of ln(conductances of one bipolar transistor), and
    siemens: (B, Q) its transconductance: what a resistance inside its leads would change."""

    volts: Complexes
    slopes: Complexes
    ohms: Complexes
    bends: Complexes
    siemens: Floats


def responses(
    circuit: Circuit,
    variations: Sequence[Variation],
    axes: Sequence[Axis],
    amounts: Floats | None,
    volts: Floats,
    source: str | Load,
    hertz: float,
    points: Ints,
    *,
    follow: bool = True,
) -> Responses:
    """See `signals.transfer`, which this is for B variations, one frequency and given points.

    volts: (B, n + spares) as solved with the axes at `amounts` (B, P). points: (B, K) columns
    of volts, -1 for ground. source: a SOURCE by name, or a generator connected for the purpose
    that carries no direct current. follow: False leaves out slopes and bends: they are 0.
    Raises KeyError where there is no such source.
    """
    plan, (many, count) = plan_of(circuit), points.shape
    if isinstance(source, str) and circuit.element(source).device is not Device.SOURCE:
        raise KeyError(f"{source} is not a source")
    placed = plan.placed.get(Device.BIPOLAR)
    bipolars = 0 if placed is None else len(placed.rows)
    unknown = np.nan if follow else 0.0
    found = Responses(
        np.full((many, count), np.nan, dtype=complex),
        np.full((many, count, len(axes)), unknown, dtype=complex),
        np.full((many, count), np.nan, dtype=complex),
        np.full((many, count, bipolars), unknown, dtype=complex),
        np.full((many, bipolars), unknown),
    )
    usable = np.flatnonzero(np.isfinite(volts[:, : plan.size]).all(axis=1))
    chunk = int(min(max(PLACES / (plan.size + 1) ** 2, LEAST), MOST))
    for first in range(0, len(usable), chunk):
        which = usable[first : first + chunk]
        part = None if amounts is None else np.asarray(amounts, dtype=float)[which]
        _chunk(
            plan, [variations[i] for i in which], axes, part, volts[which], source,
            2j * np.pi * hertz, points[which], found, which, follow,
        )
    return found


def _chunk(
    plan: Plan, variations: Sequence[Variation], axes: Sequence[Axis], amounts: Floats | None,
    volts: Floats, source: str | Load, speed: complex, points: Ints, found: Responses, which: Ints,
    follow: bool,
) -> None:
    spares = max((len(v.lifts) for v in variations), default=0)
    volts = volts[:, : plan.size + spares]
    made = lot(plan, variations, axes, amounts, spares)
    nodes = at_nodes(made, plan, volts)
    network = Network(plan, made)
    still = network.balance(nodes)[1]
    admittance, drive = _driven(plan, made, network.form.whole(still), variations, source, speed)
    columns = np.arange(made.many)[:, None]
    ask = np.zeros((made.many, len(nodes), points.shape[1]))
    ask[columns, points + 1, np.arange(points.shape[1])[None, :]] = 1.0
    inner = admittance[:, 1:, 1:]
    reach = np.zeros(ask.shape, dtype=complex)
    reach[:, 1:] = np.linalg.solve(inner.transpose(0, 2, 1), ask[:, 1:])
    found.volts[which] = np.einsum("bnk,bn->bk", reach, drive)
    found.ohms[which] = np.take_along_axis(
        reach, (points + 1)[:, None, :], axis=1
    )[:, 0, :]
    if not follow:
        return
    answer = np.zeros((made.many, len(nodes)), dtype=complex)
    answer[:, 1:] = np.linalg.solve(inner, drive[:, 1:, None])[..., 0]
    moved = Changes(plan, made, network, nodes, answer.T, reach.transpose(2, 1, 0))
    for bends, siemens_of in moved.of_bipolars():
        found.bends[which], found.siemens[which] = -bends.transpose(2, 0, 1), siemens_of.T
    if not axes:
        return
    pushes = plan.spread(axes).pushes
    own, followed = moved.rows(set(pushes), speed), moved.by_volts()
    shares = np.concatenate((followed.real, followed.imag)).transpose(1, 0, 2)
    drift = along(plan, made, network, nodes, network.form.turned(still, shares), axes)
    count = points.shape[1]
    slopes = (drift[:, :count] + 1j * drift[:, count:]).transpose(2, 1, 0)
    for row in own.keys() & pushes.keys():
        for push in pushes[row]:
            plain = made.values[row] if push.additive and row not in moved.plain else 1.0
            slopes[:, :, push.axis] += (own[row] * push.per / plain).T
    found.slopes[which] = -slopes


def _driven(
    plan: Plan, made: Lot, still: Floats, variations: Sequence[Variation], source: str | Load,
    speed: complex,
) -> tuple[Complexes, Complexes]:
    """Admittances (B, N, N) at that speed with the source connected, and its currents (B, N)."""
    admittance = still.astype(complex)
    drive = np.zeros(admittance.shape[:2], dtype=complex)
    every = np.arange(made.many)
    for a, b, value in reactive(plan, made, speed):
        _stamp(admittance, a, b, value)
    if isinstance(source, Load):
        own = siemens(np.full(made.many, source.ohms)).astype(complex)
        a, b = (
            np.array([_node(plan, v, name) for v in variations]) for name in (source.a, source.b)
        )
        _stamp(admittance, a, b, own)
        drive[every, a] += own
        drive[every, b] -= own
    else:
        leg = made.legs[plan.leg[f"{source}.1"]]
        drive[every, np.broadcast_to(leg, (made.many,))] += siemens(
            made.values[plan.row[f"{source}.ohms"]]
        )
    return admittance, drive


def _node(plan: Plan, variation: Variation, name: str) -> int:
    for k, (lead, _) in enumerate(variation.lifts):
        if name == f"{lead} (lead)":
            return plan.size + 1 + k
    return plan.node[name]


def _stamp(matrix: Complexes, a: Ints, b: Ints, value: Complexes) -> None:
    every = np.arange(len(matrix))
    for i, j, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
        matrix[every, i, j] += sign * value
