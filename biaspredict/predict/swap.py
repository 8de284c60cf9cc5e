"""Before and after a change of parts: DC, corners, response, turn-on, heat, working volts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.solver import Floats, Solver
from biaspredict.errors import TO_PROOF, InputError, Unsolved
from biaspredict.findings import Finding, Gravity
from biaspredict.graph.supply import mains
from biaspredict.model.circuit import SOUND
from biaspredict.model.devices import Bipolar
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.at_rest import ripple
from biaspredict.predict.bias import predict_bias
from biaspredict.predict.corners import Corners, corners_of
from biaspredict.predict.currents import currents
from biaspredict.predict.duties import decibels
from biaspredict.predict.path import Referee, signal_path_of
from biaspredict.predict.raw_rail import on_rails
from biaspredict.predict.steady import mains_hertz, settle
from biaspredict.predict.strain import strain
from biaspredict.predict.supply import watched_nodes
from biaspredict.predict.turn_on import TurnOn, turn_on
from biaspredict.quantities import Unit, value_text
from biaspredict.series import ELECTROLYTIC_SERIES, nearest, next_working_volts

MARKS = (20.0, 1e3, 20e3)  # hertz at which the gain is told
CURVE = np.geomspace(5.0, 50e3, 61)
HEADROOM = 0.9  # of the working volts; line and tolerance take the rest (common practice)
# Series in which parts are stocked (common practice, no source).
SHELVES = {Kind.ELECTROLYTIC: ELECTROLYTIC_SERIES, Kind.CAPACITOR: "E12", Kind.RESISTOR: "E24"}
CLOSE = 0.02  # tolerance from which resistors are stocked in E96
SAME = 1e-9
LEAST_MOVE = 0.05  # volts that a reading shows


@dataclass(frozen=True, slots=True)
class Matched:
    """A value off the list, and the one at hand that is taken for it."""

    ref: str
    asked: float
    taken: float
    series: str
    unit: Unit


@dataclass(frozen=True)
class Side:
    """The stage before or after, rails in place of what windings feed.

    volts: by node, ground included. watts: heat by part, where something tells it. across: DC
    volts of each capacitor. findings: what strains the parts. corners, gains (decibels at MARKS,
    by ngspice), curve (decibels at CURVE, by the linear stage): None where `withheld` says why no
    signal figures are given. turn_on: None where `no_turn_on` says why. ripple: volts peak to
    peak of the nodes that a supply in the stage feeds.
    """

    stage: Stage
    volts: Mapping[str, float]
    watts: Mapping[str, float]
    across: Mapping[str, float]
    findings: tuple[Finding, ...]
    corners: Corners | None
    gains: tuple[float, ...] | None
    curve: Floats | None
    withheld: str
    turn_on: TurnOn | None
    no_turn_on: str
    ripple: Mapping[str, float]


@dataclass(frozen=True)
class Swap:
    """parts: (before, after) of each part changed. moved: nodes that leave the band of sound
    stages as they were before. buy: capacitor to the working volts to ask for."""

    parts: tuple[tuple[Part, Part], ...]
    matched: tuple[Matched, ...]
    before: Side
    after: Side
    moved: tuple[str, ...]
    buy: Mapping[str, float]


def on_the_shelf(part: Part, sure: bool = False) -> tuple[Part, Matched | None]:
    """The part with the nearest value that is sold (IEC 60063), unless the person is sure."""
    name = SHELVES.get(part.kind)
    value = part.fitted if part.measured is None else None
    if name is None or sure or not value:
        return part, None
    if part.kind is Kind.RESISTOR and part.tolerance and part.tolerance.plus <= CLOSE:
        name = "E96"
    taken = nearest(value, name)
    if name == "E96" and abs(nearest(value, "E24") / value - 1.0) < SAME:
        taken = value
    if abs(taken / value - 1.0) < SAME:
        return part, None
    unit = Unit.FARAD if part.kind in CAPACITORS else Unit.OHM
    return replace(part, fitted=taken), Matched(part.ref, value, taken, name, unit)


def swap(
    stage: Stage,
    changes: Sequence[tuple[Part, bool]],
    referee: Referee,
    drawer: Solver,
    *,
    start: str | None = None,
    end: str | None = None,
) -> Swap:
    """Compare the stage with the one in which these parts stand.

    changes: (new part, whether its value is meant even if nobody sells it). Raises InputError
    where nothing changes; Unsolved where the stage as it is has no operating point, or has none
    after; EngineMissing.
    """
    new: dict[str, Part] = {}
    matched = []
    for part, sure in changes:
        new[part.ref], found = on_the_shelf(part, sure)
        if found is not None:
            matched.append(found)
    pairs = tuple((stage.part(ref), part) for ref, part in new.items())
    if all(_same(before, after) for before, after in pairs):
        raise InputError(
            "nothing changes: these are the parts the stage has",
            remedy="Give another value, like C3=47uF.",
        )
    then = replace(stage, parts=tuple(new.get(part.ref, part) for part in stage.parts))
    before = side(stage, referee, start, end)
    after = _after(then, referee, start, end)
    moved = _moved(before.stage, after, referee, drawer)
    buy = {
        ref: rated
        for ref, part in new.items()
        if part.kind in CAPACITORS
        and (rated := next_working_volts(_asked(part, stage.part(ref), after.across.get(ref, 0.0))))
    }
    return Swap(pairs, tuple(matched), before, after, moved, buy)


def _same(before: Part, after: Part) -> bool:
    def plain(part: Part) -> Part:
        return replace(part, printed=part.now, fitted=None, measured=None)

    return plain(before) == plain(after)


def _moved(stage: Stage, after: Side, referee: Referee, drawer: Solver) -> tuple[str, ...]:
    """Nodes that stand outside the band of sound stages as they were before."""
    levels = predict_bias(stage, referee, drawer).levels
    return tuple(
        node
        for node, level in levels.items()
        if node in after.volts
        and not level.low <= after.volts[node] <= level.high
        and abs(after.volts[node] - level.volts) > LEAST_MOVE
    )


def _asked(part: Part, old: Part, across: float) -> float:
    return max(part.volts or 0.0, old.volts or 0.0, abs(across) / HEADROOM)


def _after(stage: Stage, referee: Referee, start: str | None, end: str | None) -> Side:
    try:
        return side(stage, referee, start, end)
    except Unsolved as problem:
        raise Unsolved(
            "with that the stage has no operating point that could be verified",
            remedy="Do not power it so: check the values of the change.",
        ) from problem


def side(
    stage: Stage, referee: Referee, start: str | None = None, end: str | None = None
) -> Side:
    """Everything that is compared, of one stage. Raises Unsolved, EngineMissing, InputError."""
    ripples = _ripples(stage, referee)
    stage = on_rails(stage, referee).stage
    circuit = flatten(stage)
    found = referee.solve(circuit, [SOUND])
    if not found.solved[0]:
        raise Unsolved(
            "this stage has no operating point that could be verified",
            remedy=TO_PROOF,
        )
    volts = {GROUND: 0.0} | dict(zip(circuit.nodes, map(float, found.volts[0]), strict=False))
    flows = currents(stage, volts)
    watts = {ref: flow.watts for ref, flow in flows.parts.items() if flow.watts is not None}
    corners, gains, curve, withheld = _signal(stage, referee, start, end)
    try:
        on, off = turn_on(stage, referee), ""
    except Unsolved as problem:
        on, off = None, problem.fact
    return Side(
        stage, volts, watts, _across(stage, volts), strain(stage, volts, flows), corners, gains,
        curve, withheld, on, off, ripples,
    )


def _ripples(stage: Stage, referee: Referee) -> dict[str, float]:
    fed = mains(stage)
    if fed is None:
        return {}
    steady = settle(flatten(stage), fed, mains_hertz(stage, fed), referee)
    return {node: ripple(steady, node)[0] for node in watched_nodes(stage, fed)}


def _across(stage: Stage, volts: Mapping[str, float]) -> dict[str, float]:
    return {
        part.ref: volts[part.nodes[0]] - volts[part.nodes[1]]
        for part in stage.parts
        if part.kind in CAPACITORS
    }


def _signal(
    stage: Stage, referee: Referee, start: str | None, end: str | None
) -> tuple[Corners | None, tuple[float, ...] | None, Floats | None, str]:
    try:
        path = signal_path_of(stage, referee, start, end)
    except (InputError, Unsolved) as problem:
        return None, None, None, problem.fact
    marked, _ = path.swept(referee, MARKS)
    gains = tuple(decibels(float(abs(g))) for g in marked)
    curve = np.array([decibels(size) for size in abs(path.gain(CURVE)).tolist()])
    return corners_of(path, referee) if path.stores else None, gains, curve, ""


def changed_value(part: Part) -> str:
    """The value of a part as a sheet prints it; what it is where it has none."""
    if part.kind in CAPACITORS and part.now:
        return value_text(part.now, Unit.FARAD)
    if part.now is not None:
        return value_text(part.now, Unit.OHM)
    device = part.device
    if isinstance(device, Bipolar):
        low, high = device.gain.low, device.gain.high
        gain = f"{low:g}" if low == high else f"{low:g} to {high:g}"
        return f"{device.polarity.name} {device.material.value}, gain {gain}"
    return part.kind.value


def new_strain(swap: Swap) -> tuple[Finding, ...]:
    """What strains parts after but did not before."""
    known = {(finding.code, finding.about) for finding in swap.before.findings}
    return tuple(
        finding
        for finding in swap.after.findings
        if (finding.code, finding.about) not in known and finding.gravity is not Gravity.NOTE
    )
