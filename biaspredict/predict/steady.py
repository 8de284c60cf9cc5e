"""A supply once it has settled: whole periods of the mains, found without waiting for every
time constant behind it.

A few periods are run, what the rectifiers feed is taken as a source of its mean volts, the stage
behind is solved at DC, and its capacitors are set to where that leads; then again, until nothing
moves. Where the stage behind is as good as linear that is exact; where it is not, the last rounds
run on without help.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Protocol

import numpy as np

from biaspredict.engine.moving import winding_amps
from biaspredict.engine.solver import Floats, Solver
from biaspredict.engine.values import applied
from biaspredict.errors import InputError, Unsolved
from biaspredict.graph.supply import Mains
from biaspredict.model.circuit import CLOSED, SOUND, Circuit, Device, Element, Load, Variation
from biaspredict.model.stage import GROUND, Stage

STEPS = 200  # of a period, at least
RUN = 8  # periods of one round
WINDOW = 4  # periods that are kept
ROUNDS, HELPED = 24, 8
NEAR = 2e-4  # of its volts, within which a mean is the same as the round before
QUITE = 0.1  # of that, where there is no more to be seen of a trend
FLOOR = 1e-4  # of the peak of the winding, within which any two means are the same
GUESS = 0.9  # of that peak, where the first round begins
SLOW = (0.2, 0.99)  # share of its way left after a round, between which a capacitor is sent ahead
# Reactance of a choke at twice the mains over its losses. Without any, a choke whose current is
# cut off rings for ever with a picofarad (common practice, no source).
LOSSLESS = 20.0


class OverTime(Solver, Protocol):
    """What is asked of ngspice here; see `engine.ngspice.Ngspice`."""

    def transient(
        self,
        circuit: Circuit,
        variation: Variation,
        stop: float,
        step: float,
        *,
        start: Literal["off", "operating"] = "off",
        drives: Mapping[str, tuple[float, float]] | None = None,
        charges: Mapping[str, float] | None = None,
        degrees: float = 0.0,
    ) -> tuple[Floats, Floats]: ...


@dataclass(frozen=True)
class Steady:
    """Whole periods of a supply at rest.

    seconds (T,) from the first to the last of `periods` periods; volts (T, n) in the order of
    circuit.nodes. charges: volts of capacitors and amps of coils at the end.
    """

    circuit: Circuit
    hertz: float
    periods: int
    seconds: Floats
    volts: Floats
    charges: Mapping[str, float]

    def at(self, node: str) -> Floats:
        """(T,) volts of a node."""
        if node == GROUND:
            return np.zeros_like(self.seconds)
        return np.asarray(self.volts[:, self.circuit.nodes.index(node)])

    def across(self, plus: str, minus: str) -> Floats:
        """(T,) volts between two nodes."""
        return self.at(plus) - self.at(minus)

    def mean(self, values: Floats) -> float:
        """Mean over time of values (T,)."""
        return float(np.trapezoid(values, self.seconds) / (self.seconds[-1] - self.seconds[0]))

    def rms(self, values: Floats) -> float:
        return math.sqrt(self.mean(values**2))

    def ripple_rms(self, values: Floats) -> float:
        """RMS of what is left of the values without their mean."""
        return self.rms(values - self.mean(values))

    def ripple_hertz(self, values: Floats) -> float:
        """Frequency of the strongest part of the ripple."""
        even = np.linspace(self.seconds[0], self.seconds[-1], 512 * self.periods + 1)[:-1]
        strength = np.abs(np.fft.rfft(np.interp(even, self.seconds, values)))
        strongest = int(strength[1:].argmax()) + 1
        return strongest * self.hertz / self.periods

    @cached_property
    def means(self) -> Mapping[str, float]:
        """Mean volts of every node, ground included."""
        return {node: self.mean(self.at(node)) for node in self.circuit.nodes} | {GROUND: 0.0}

    def winding(self, name: str) -> Floats:
        """(T,) amps out of terminal 1 of a winding."""
        return winding_amps(self.circuit, name, self.seconds, self.volts)


def mains_hertz(stage: Stage, side: Mains) -> float:
    """The frequency of the windings. Raises InputError where it is not said, or not one."""
    parts = [stage.part(ref) for ref in side.windings]
    for part in parts:
        if not part.hertz:
            raise InputError(
                f"{part.ref} has volts but no frequency",
                remedy=f"Write the mains behind it, as in `{part.ref} winding 18 V 50 Hz 3 ohms`.",
                place=part.origin,
            )
    if len({part.hertz for part in parts}) > 1:
        raise InputError(
            "the windings have different frequencies: "
            + ", ".join(f"{part.ref} {part.hertz:g} Hz" for part in parts),
            remedy="One mains feeds them all: give every winding the same hertz.",
            place=parts[-1].origin,
        )
    assert parts[0].hertz
    return parts[0].hertz


def behind(circuit: Circuit, side: Mains) -> Circuit:
    """The circuit without what swings; a SOURCE "supply NODE" stands at each fed node."""
    gone = side.swinging | {f"{ref} (slope)" for ref in side.parts}
    kept = tuple(
        e for e in circuit.elements if gone.isdisjoint(e.nodes) and e.name not in side.windings
    )
    sources = tuple(
        Element(_source(feed.node), Device.SOURCE, (feed.node,), (0.0, CLOSED))
        for feed in side.feeds
    )
    nodes = tuple(node for node in circuit.nodes if node not in gone)
    return Circuit(nodes, kept + sources, circuit.celsius)


def _source(node: str) -> str:
    return f"supply {node}"


def _remaining(variation: Variation, rest: Circuit) -> Variation:
    """What of a variation concerns the circuit behind."""
    names = {e.name for e in rest.elements}
    nodes = {*rest.nodes, GROUND}

    def there(parameter: str) -> bool:
        return parameter == "temperature" or parameter.rpartition(".")[0] in names

    return Variation(
        tuple(s for s in variation.settings if there(s[0])),
        tuple(s for s in variation.scales if there(s[0])),
        tuple(s for s in variation.lifts if there(s[0])),
        tuple(s for s in variation.moves if there(s[0]) and s[1] in nodes),
        tuple(load for load in variation.loads if {load.a, load.b} <= nodes),
    )


def solve_behind(
    rest: Circuit, volts: Mapping[str, float], variation: Variation, engine: Solver
) -> dict[str, float] | None:
    """Node volts behind the rectifiers with the fed nodes held at `volts`; None if unsolved."""
    held = tuple((f"{_source(node)}.volts", v) for node, v in volts.items())
    found = engine.solve(rest, [_remaining(variation, rest).plus(Variation(settings=held))])
    if not found.solved[0]:
        return None
    return dict(zip(rest.nodes, map(float, found.volts[0]), strict=False)) | {GROUND: 0.0}


def amps_delivered(
    rest: Circuit, volts: Mapping[str, float], variation: Variation, engine: Solver
) -> dict[str, float] | None:
    """Amps that each fed node gives to the stage behind, held at `volts`; None if unsolved."""
    found = solve_behind(rest, volts, variation, engine)
    if found is None:
        return None
    return {node: (v - found[node]) / CLOSED for node, v in volts.items()}


def settle(
    circuit: Circuit,
    side: Mains,
    hertz: float,
    engine: OverTime,
    variation: Variation = SOUND,
    near: Steady | None = None,
) -> Steady:
    """Run the circuit until it repeats itself.

    near: a steady state not far away, to begin from. Raises Unsolved where it does not come to
    rest, and where the mains drives a transistor without a rectifier; EngineMissing.
    """
    if side.driven:
        raise Unsolved(
            f"the winding reaches {side.driven[0]} without a rectifier, so the stage has no DC "
            "of its own",
            remedy="Leave that winding out, or give the stage behind it a rail.",
        )
    variation = variation.plus(_losses(circuit, hertz))
    period = 1.0 / hertz
    peak = math.sqrt(2.0) * max(circuit.element(ref).value("rms") for ref in side.windings)
    rest = behind(circuit, side)
    concrete = applied(circuit, variation)
    charges: Mapping[str, float] = {}
    if near is not None:
        charges = near.charges
    else:
        guess = {f.node: (1.0 if f.positive else -1.0) * GUESS * peak for f in side.feeds}
        target = solve_behind(rest, guess, variation, engine)
        if target is not None:
            charges = _resting(rest, target)
    seen: list[Floats] = []
    trail: list[dict[str, float]] = []
    for turn in range(ROUNDS):
        seconds, volts = engine.transient(
            circuit, variation, RUN * period, period / STEPS, charges=charges
        )
        coils = _coils(concrete, charges, seconds, volts)
        ends = _ends(concrete, volts[-1]) | {name: float(i[-1]) for name, i in coils.items()}
        last = Steady(circuit, hertz, WINDOW, *_window(seconds, volts, WINDOW * period), ends)
        means = np.array([last.means[node] for node in circuit.nodes])
        allowed = np.maximum(NEAR * np.abs(means), FLOOR * peak)
        seen.append(means)
        if _at_rest(seen, allowed):
            return last
        trail.append(ends)
        charges = ends
        if len(trail) == 3:
            charges = ends | _ahead(trail, rest)
            trail, seen = [], []  # what follows a leap tells nothing of what went before
        if turn < HELPED:
            fed = {feed.node: last.means[feed.node] for feed in side.feeds}
            target = solve_behind(rest, fed, variation, engine)
            if target is not None:
                charges = {**charges, **_helped(rest, target, last, coils)}
    raise Unsolved(
        f"the supply had not come to rest after {ROUNDS * RUN} periods of the mains",
        remedy="A stage behind it that oscillates, or a value far out of reason: run the stage "
        "behind it from a rail, and check the capacitors.",
    )


def _at_rest(seen: list[Floats], allowed: Floats) -> bool:
    """Whether what the rounds' means (n,) have still to go is no more than allowed."""
    if len(seen) < 2:
        return False
    step = np.abs(seen[-1] - seen[-2])
    if (step < QUITE * allowed).all():
        return True
    if len(seen) < 3:
        return False
    left = step / np.maximum(np.abs(seen[-2] - seen[-3]), 1e-12)
    going = step * left / np.maximum(1.0 - left, 1e-3)
    return bool(((step < QUITE * allowed) | ((step < allowed) & (going < allowed))).all())


def _window(seconds: Floats, volts: Floats, length: float) -> tuple[Floats, Floats]:
    """The last `length` seconds, beginning exactly there."""
    start = seconds[-1] - length
    first = int(np.searchsorted(seconds, start, side="right"))
    share = (start - seconds[first - 1]) / (seconds[first] - seconds[first - 1])
    row = volts[first - 1] * (1.0 - share) + volts[first] * share
    return np.append(start, seconds[first:]), np.vstack([row, volts[first:]])


def _ends(circuit: Circuit, row: Floats) -> dict[str, float]:
    """Volts of every capacitor, from node volts (n,)."""
    column = {node: float(v) for node, v in zip(circuit.nodes, row, strict=True)} | {GROUND: 0.0}
    return {
        e.name: column[e.nodes[0]] - column[e.nodes[1]]
        for e in circuit.elements
        if e.device is Device.CAPACITOR
    }


def _resting(rest: Circuit, volts: Mapping[str, float]) -> dict[str, float]:
    """Volts of capacitors and amps of coils at DC."""
    found = {}
    for e in rest.elements:
        if e.device is Device.CAPACITOR:
            found[e.name] = volts[e.nodes[0]] - volts[e.nodes[1]]
        elif e.device is Device.COIL:
            found[e.name] = (volts[e.nodes[0]] - volts[e.nodes[1]]) / max(e.value("ohms"), CLOSED)
    return found


def _helped(
    rest: Circuit, target: Mapping[str, float], last: Steady, coils: Mapping[str, Floats]
) -> dict[str, float]:
    """Charges of what stands behind, their means moved to where DC would have them."""
    charges = {}
    fed = _fed(rest)
    for name, level in _resting(rest, target).items():
        nodes = rest.element(name).nodes
        if name in coils:
            mean = last.mean(coils[name][-len(last.seconds) :])
        elif fed.issuperset(nodes):
            continue  # held by the sources that stand for the rectifiers, so DC tells nothing new
        else:
            mean = last.means[nodes[0]] - last.means[nodes[1]]
        charges[name] = last.charges[name] + level - mean
    return charges


def _fed(rest: Circuit) -> set[str]:
    """Nodes held from outside."""
    return {GROUND} | {e.nodes[0] for e in rest.elements if e.name == _source(e.nodes[0])}


def _ahead(trail: list[dict[str, float]], rest: Circuit) -> dict[str, float]:
    """Charges at fed and swinging nodes where three rounds show them to be going.

    Each round leaves the same share of the way, so the rest is a geometric series (Aitken).
    """
    behind_them = {
        e.name
        for e in rest.elements
        if e.device is Device.CAPACITOR and not _fed(rest).issuperset(e.nodes)
    }
    found = {}
    for name, third in trail[2].items():
        first, second = trail[0].get(name), trail[1].get(name)
        if name in behind_them or first is None or second is None or first == second:
            continue
        left = (third - second) / (second - first)
        if SLOW[0] < left < SLOW[1]:
            found[name] = third + (third - second) * left / (1.0 - left)
    return found


def _losses(circuit: Circuit, hertz: float) -> Variation:
    """A resistance across every choke."""
    return Variation(
        loads=tuple(
            Load(e.nodes[0], e.nodes[1], LOSSLESS * 4.0 * math.pi * hertz * e.value("henries"))
            for e in circuit.elements
            if e.device is Device.COIL and e.value("henries") > 0.0
        )
    )


def _coils(
    circuit: Circuit, charges: Mapping[str, float], seconds: Floats, volts: Floats
) -> dict[str, Floats]:
    """(T,) amps of every coil: L di/dt = v - R i, by the trapezoidal rule as ngspice has it."""
    column = {node: volts[:, k] for k, node in enumerate(circuit.nodes)}
    column[GROUND] = np.zeros(len(seconds))
    steps = np.diff(seconds)
    found = {}
    for e in circuit.elements:
        if e.device is not Device.COIL or e.value("henries") <= 0.0:
            continue
        ohms, henries = max(e.value("ohms"), CLOSED), e.value("henries")
        across = column[e.nodes[0]] - column[e.nodes[1]]
        amps = np.empty(len(seconds))
        amps[0] = charges.get(e.name, 0.0)
        for k, step in enumerate(steps):
            half = step / (2.0 * henries)
            push = half * (across[k] + across[k + 1])
            amps[k + 1] = (amps[k] * (1.0 - half * ohms) + push) / (1.0 + half * ohms)
        found[e.name] = amps
    return found
