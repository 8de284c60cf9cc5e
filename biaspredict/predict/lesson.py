"""A stage explained: its bias by hand beside the solved one, and what holds it there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from biaspredict.engine.flatten import flatten
from biaspredict.engine.solver import Solver
from biaspredict.errors import TO_PROOF, InputError, Unsolved
from biaspredict.graph.chains import chains
from biaspredict.graph.network import Chain
from biaspredict.graph.signal import signal_path
from biaspredict.model.circuit import SOUND
from biaspredict.model.devices import Bipolar
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.corners import Corners, corners
from biaspredict.predict.hand.beside import Beside, Solved, beside
from biaspredict.predict.hand.entangled import LEFT
from biaspredict.predict.hand.net import Net
from biaspredict.predict.hand.records import (
    FULL,
    QUICK,
    Borrowed,
    Guess,
    Key,
    Reckoning,
    Step,
    What,
)
from biaspredict.predict.hand.signal import SignalByHand, signal_by_hand
from biaspredict.predict.hand.work import reckon
from biaspredict.predict.load_line import LoadLine, load_lines
from biaspredict.predict.path import Referee
from biaspredict.predict.purposes import Purpose, purposes
from biaspredict.predict.sway import Steady, Sway, steadiness, sways

TRACE = 1e-9  # amps below which a path is said to carry nothing
ALIKE = Reckoning(True, True, False)
# Ways of reckoning that books use, beside the fullest one.
SHORT_CUTS: tuple[tuple[str, Reckoning], ...] = (
    ("no base currents", QUICK),
    ("IE = IC", ALIKE),
)

Line = Beside | Guess | Borrowed


@dataclass(frozen=True, slots=True)
class ShortCut:
    """A node by every way of reckoning: as in this lesson, by each of SHORT_CUTS, and solved."""

    node: str
    hand: float
    short: tuple[float, ...]
    solved: float


@dataclass(frozen=True)
class Lesson:
    """lines: the steps in order, each beside the solved stage. nodes: every way of reckoning.

    asleep: transistors that carry nothing, left out of the reckoning. chains: DC paths, the
    fullest first; solved: the quantities of the solved stage. loads: load lines. signal: None
    where `withheld` says why there are no signal figures; corners the same.
    """

    stage: Stage
    reckoning: Reckoning
    lines: tuple[Line, ...]
    nodes: tuple[ShortCut, ...]
    asleep: tuple[str, ...]
    chains: tuple[Chain, ...]
    solved: Solved
    loads: tuple[LoadLine, ...]
    purposes: tuple[Purpose, ...]
    sways: tuple[Sway, ...]
    steady: tuple[Steady, ...]
    signal: SignalByHand | None
    corners: Corners | None
    withheld: str

    @property
    def borrowed(self) -> tuple[str, ...]:
        return tuple(line.node for line in self.lines if isinstance(line, Borrowed))


def solve(stage: Stage, referee: Solver) -> dict[str, float]:
    """Volts of every node of the circuit, ground included. Raises Unsolved."""
    circuit = flatten(stage)
    found = referee.solve(circuit, [SOUND])
    if not found.solved[0]:
        raise Unsolved(
            "this stage has no operating point that could be verified",
            remedy=TO_PROOF,
        )
    return {GROUND: 0.0} | dict(zip(circuit.nodes, map(float, found.volts[0]), strict=False))


def lesson(stage: Stage, referee: Referee, reckoning: Reckoning = FULL) -> Lesson:
    """The lesson of a stage with rails. Raises InputError, Unsolved, EngineMissing."""
    if not any(
        part.device is not None or part.kind is Kind.RESISTOR for part in stage.parts
    ):
        raise InputError(
            "the stage has neither transistors nor resistors, so there is no bias to work out",
            remedy="Write a path from a rail to ground, such as B+ -- R1 100K -- ground.",
        )
    volts = solve(stage, referee)
    solved = Solved(stage, volts)
    net = Net(stage, volts, signal_path(stage).order)
    sheet, entries = reckon(net, reckoning)
    lines: list[Line] = [
        beside(entry, solved) if isinstance(entry, Step) else entry for entry in entries
    ]
    found, withheld, signal = None, "", None
    try:
        found = corners(stage, referee)
        signal = signal_by_hand(net, sheet.amps, found.order)
        if signal is None:
            withheld = (
                "the signal goes round transistors in a way that no short formula follows"
            )
    except (InputError, Unsolved) as problem:
        withheld = problem.fact
    flows = solved.flows.leads
    left = {
        part.ref: LEFT[part.device.material]
        for part in stage.parts if isinstance(part.device, Bipolar)
    }
    return Lesson(
        stage, reckoning, tuple(lines), _short_cuts(net, reckoning, sheet.volts, volts),
        net.asleep, _carrying(stage, flows), solved, load_lines(net, solved, left),
        purposes(stage, volts, flows), sways(stage, _told_nodes(net), volts),
        steadiness(stage, referee), signal, found, withheld,
    )


def _carrying(stage: Stage, flows: Mapping[str, float]) -> tuple[Chain, ...]:
    """The chains that carry more than a trace."""
    return tuple(
        chain for chain in chains(stage, flows)
        if max(abs(flows.get(branch.lead, 0.0)) for branch in chain.branches) > TRACE
    )


def _told_nodes(net: Net) -> list[str]:
    """For each transistor the collector, or where that is held, the emitter."""
    found = [t.emitter if t.collector in net.fixed else t.collector for t in net.transistors]
    found += [fet.source if fet.drain in net.fixed else fet.drain for fet in net.channels]
    return [node for node in dict.fromkeys(found) if node not in net.fixed]


def _short_cuts(
    net: Net, reckoning: Reckoning, hand: Mapping[str, float], solved: Mapping[str, float]
) -> tuple[ShortCut, ...]:
    columns = [reckon(net, way)[0].volts for _, way in SHORT_CUTS]
    active = [
        node for node in net.nodes
        if node in net.leads_at and node not in net.fixed and node in solved
    ]
    return tuple(
        ShortCut(node, hand[node], tuple(column[node] for column in columns), solved[node])
        for node in active
    )


def hand_value(found: Lesson, key: Key) -> float | None:
    """The hand result for one quantity, None where no step gives it."""
    for line in reversed(found.lines):
        if isinstance(line, Beside) and line.step.key == key and not line.step.rough:
            return line.step.hand
        if isinstance(line, Guess | Borrowed) and key == Key(What.VOLTS, line.node):
            return line.volts
    return None
