"""The load line of a transistor: what the resistances around it allow, and where it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from biaspredict.predict.hand.beside import Solved
from biaspredict.predict.hand.feed import conductances
from biaspredict.predict.hand.net import HasLeads, Net, Transistor
from biaspredict.predict.hand.records import Key, What
from biaspredict.predict.states import Region

# With the others' currents held, a follower's line may end beyond its supply: that is no line.
BEYOND = 1.2
FLAT = 1.0  # ohms below which a load is no load


@dataclass(frozen=True, slots=True)
class LoadLine:
    """open_volts: V_CE at no current; ohms: what collector and emitter current meet in all.

    vce, amps: where the transistor stands, in the direction in which it conducts. up, down:
    volts that V_CE may swing along the line before the current ends, or the transistor
    saturates. left: V_CE then.
    """

    ref: str
    open_volts: float
    ohms: float
    vce: float
    amps: float
    left: float

    @property
    def full_amps(self) -> float:
        """The current at no V_CE."""
        return self.open_volts / self.ohms

    @property
    def up(self) -> float:
        return max(self.open_volts - self.vce, 0.0)

    @property
    def down(self) -> float:
        return max(self.vce - self.left, 0.0)


def load_lines(net: Net, solved: Solved, left: Mapping[str, float]) -> tuple[LoadLine, ...]:
    """The line of every transistor that amplifies into a resistance, at the solved currents.

    All other devices are held at the currents that they carry. left: V_CE of each one saturated.
    """
    found = []
    for t in net.transistors:
        line = _line(net, solved, t, left.get(t.ref, 0.2))
        if line is not None:
            found.append(line)
    return tuple(found)


def _line(net: Net, solved: Solved, t: Transistor, left: float) -> LoadLine | None:
    state = solved.states.get(t.ref)
    if state is None or t.region is not Region.ACTIVE or not state.ic or state.ie is None:
        return None
    names = [node for node in net.nodes if node not in net.fixed and net.arms_at.get(node)]
    place = {node: i for i, node in enumerate(names)}
    matrix, edges = conductances(net.arms, place)
    # An island that only this transistor feeds has no volts without it.
    if np.linalg.matrix_rank(matrix) < len(names):
        return None
    fed = np.zeros((len(names), 2))
    for row, node, siemens in edges:
        fed[row, 0] += siemens * net.fixed[node]
    for node, key, way in _currents(net, t):
        value = solved.value(key)
        if node in place and value is not None:
            fed[place[node], 0] += way * value
    own = {What.COLLECTOR: 1.0, What.EMITTER: state.ie / state.ic}
    for node, key, way in t.leads:
        if node in place and key.what in own:
            fed[place[node], 1] += way * own[key.what]
    answer = np.linalg.solve(matrix, fed)

    def at(node: str, column: int) -> float:
        if node in place:
            return float(answer[place[node], column])
        return net.fixed.get(node, 0.0) if column == 0 else 0.0

    open_volts = t.sign * (at(t.collector, 0) - at(t.emitter, 0))
    ohms = -t.sign * (at(t.collector, 1) - at(t.emitter, 1))
    span = max(net.fixed.values()) - min(net.fixed.values())
    if ohms < FLAT or not 0.0 < open_volts <= BEYOND * span:
        return None
    return LoadLine(t.ref, open_volts, ohms, t.sign * state.vce, state.ic, left)


def _currents(net: Net, t: Transistor) -> Sequence[tuple[str, Key, float]]:
    devices: tuple[HasLeads, ...] = (*net.transistors, *net.channels, *net.falls, *net.taken)
    others = [lead for device in devices if device is not t for lead in device.leads]
    base = [lead for lead in t.leads if lead[1].what is What.BASE]
    return (*others, *base)
