"""What the truth itself says: healthy spread, hard families, and what readings cannot tell apart."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.model.devices import Bipolar, Material
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Stage

from . import faults
from .draws import Draws
from .faults import RECIPES, Fault
from .meterman import Instrument, Point, Taken, loaded_volts
from .spice import Runner
from .truth import Solved, draw_specimen, solve

Floats = NDArray[np.float64]

SPREAD_DRAWS = 120
REFIT_DRAWS = 90
TELLING = 2 * math.log(19.0)  # odds of 19 to 1: readings that favour one so much do tell them apart


def healthy(runner: Runner, stage: Stage, rails: Mapping[str, float], seed: int) -> Floats:
    """Node volts of sound specimens with these rails, (draws, nodes of the stage)."""
    rng = np.random.default_rng(seed)
    drawn = [draw_specimen(stage, rng, rails=dict(rails)) for _ in range(SPREAD_DRAWS)]
    rows = [[s.volts[n] for n in stage.nodes] for s in solve(runner, drawn) if s is not None]
    if len(rows) < SPREAD_DRAWS // 2:
        raise ValueError(f"{stage.title}: sound specimens do not solve")
    return np.array(rows)


def half_bands(stage: Stage, spread: Floats, points: Iterable[Point]) -> list[float]:
    """Half the width of the healthy 95 % band between each pair of points."""
    column = {node: k for k, node in enumerate(stage.nodes)}
    found = []
    for point in points:
        volts = spread[:, column[point.node]] - spread[:, column[point.minus]]
        low, high = np.percentile(volts, (2.5, 97.5))
        found.append(max(float(high - low) / 2, 1e-3))
    return found


def shift(before: Sequence[float], after: Sequence[float], bands: Sequence[float]) -> float:
    """The largest move of a reading in units of half its healthy band."""
    return max((abs(b - a) / h for a, b, h in zip(before, after, bands, strict=True)), default=0.0)


def families(stage: Stage, nominal: Solved, ambient: float) -> tuple[str, ...]:
    """Which of the five hard families the stage belongs to, from its own sound volts."""
    volts, found = nominal.volts, []
    transistors = [p for p in stage.parts if isinstance(p.device, Bipolar)]
    if any(
        abs(volts[p.node("collector")] - volts[p.node("emitter")]) < 1.0
        and abs(volts[p.node("base")] - volts[p.node("emitter")]) > 0.1
        for p in transistors
    ):
        found.append("near saturation")
    if _feedback_pair(stage):
        found.append("feedback pairs")
    if any(_base_ohms(stage, p.node("base")) > 100e3 for p in transistors):
        found.append("high-impedance bases")
    signs = {rail.volts > 0 for rail in stage.rails}
    if len(signs) == 2 and len(transistors) >= 4:
        found.append("split-rail amplifiers")
    germanium = [p for p in transistors if isinstance(p.device, Bipolar)]
    if ambient >= 29.0 and any(
        isinstance(p.device, Bipolar) and p.device.material is Material.GERMANIUM
        for p in germanium
    ):
        found.append("germanium when warm")
    return tuple(found)


def _feedback_pair(stage: Stage) -> bool:
    """Collector wired to the next base, and a DC path of one resistor back to the first one."""
    transistors = [p for p in stage.parts if p.kind is Kind.TRANSISTOR]
    resistors = [set(p.nodes) for p in stage.parts if p.kind is Kind.RESISTOR]
    for one in transistors:
        for two in transistors:
            if one is two or one.node("collector") != two.node("base"):
                continue
            ends = {two.node("emitter"), two.node("collector")}
            starts = {one.node("base"), one.node("emitter")} - {GROUND}
            if any({a, b} in resistors for a in ends for b in starts if a != b):
                return True
    return False


def _base_ohms(stage: Stage, node: str) -> float:
    """Parallel ohms of the resistors at a base; a base fed by a junction counts as low."""
    total = 0.0
    for part, terminal in stage.at(node):
        if part.kind is Kind.RESISTOR and part.now:
            total += 1 / part.now
        elif part.kind in (Kind.TRANSISTOR, Kind.DIODE, Kind.ZENER) and terminal != "base":
            return 0.0
        elif part.kind in (Kind.COIL, Kind.WINDING, Kind.POT, Kind.TRIMMER):
            return 0.0
    held = {rail.name for rail in stage.rails} | {p.node for p in stage.inputs if not p.blocked}
    return 0.0 if node in held or total == 0.0 else 1 / total


@dataclass(frozen=True, slots=True)
class Fit:
    """How well a fault can be made to give the readings: twice the negative log likelihood."""

    fault: Fault
    badness: float


class Refitter:
    """Fits a fault's severity to readings, through sound spread and meter error.

    One set of draws serves every severity, so that fits compare smoothly.
    """

    def __init__(
        self,
        runner: Runner,
        stage: Stage,
        taken: Sequence[Taken],
        instrument: Instrument,
        ambient: float,
        seed: int,
    ) -> None:
        self.runner, self.stage, self.taken = runner, stage, taken
        self.instrument, self.ambient = instrument, ambient
        rng = np.random.default_rng(seed)
        self.drawn = [draw_specimen(stage, rng) for _ in range(REFIT_DRAWS)]
        # Everybody's rails are those that were read: a constant taken out of every fit alike.
        self.points = [t.point for t in taken]

    def badness(self, fault_set: Sequence[Fault]) -> float:
        """Of one fault set at its severities; infinite where too few specimens solve."""
        sick = self.drawn
        for fault in fault_set:
            sick = [faults.apply(s, fault) for s in sick]
        solved = [s for s in solve(self.runner, sick) if s is not None]
        if len(solved) < REFIT_DRAWS // 2:
            return math.inf
        loaded = loaded_volts(self.runner, solved[0], self.points, self.instrument)
        if loaded is None:
            return math.inf
        bare = [self._volts(solved[0], p) for p in self.points]
        loss = [m / b if abs(b) > 0.05 else 1.0 for m, b in zip(loaded, bare, strict=True)]
        rows = np.array([[self._volts(s, p) for p in self.points] for s in solved]) * np.array(loss)
        read = np.array([t.value for t in self.taken])
        meter = np.array([t.sigma for t in self.taken])
        middle = np.median(rows, axis=0)
        spread = rows - rows.mean(axis=0)
        covariance = spread.T @ spread / (len(rows) - 1) + np.diag(meter**2 + 1e-6)
        _, size = np.linalg.slogdet(covariance)
        off = read - middle
        return float(off @ np.linalg.solve(covariance, off) + size)

    def _volts(self, solved: Solved, point: Point) -> float:
        return solved.volts[point.node] - solved.volts[point.minus]

    def best(self, mode: Fault, bounds: tuple[float, float] | None) -> Fit:
        """The mode at the severity that fits the readings best."""
        if bounds is None:
            return Fit(mode, self.badness([mode]))
        low, high = (math.log(b) for b in bounds)
        grid = np.linspace(low, high, 7)
        step = float(grid[1] - grid[0])
        fits = {x: self.badness([_at(mode, x)]) for x in map(float, grid)}
        for _ in range(3):
            middle = min(fits, key=lambda x: fits[x])
            step /= 2
            for x in (middle - step, middle + step):
                if low <= x <= high and x not in fits:
                    fits[x] = self.badness([_at(mode, x)])
        found = min(fits, key=lambda x: fits[x])
        return Fit(_at(mode, found), fits[found])

    def can_be(self, part: str, truth: Sequence[Fault]) -> bool:
        """Whether some fault of the part fits the readings nearly as well as the true one does."""
        goal = self.badness(truth) + TELLING
        for fault in truth:
            if len(truth) == 1 and fault.severity is not None:
                goal = min(goal, self.best(fault, _around(fault)).badness + TELLING)
        return any(self.best(mode, bounds).badness <= goal for mode, bounds in every(self.stage, part))


def _at(mode: Fault, log_severity: float) -> Fault:
    return Fault(
        mode.group, mode.mode, mode.part, math.exp(log_severity), mode.unit, mode.lead, mode.also
    )


def _around(fault: Fault) -> tuple[float, float]:
    assert fault.severity is not None
    return fault.severity / 2, fault.severity * 2


# How far a refit may go: wider than any draw, so that nobody is acquitted by a limit.
_BOUNDS = {"ohm": (30.0, 3e7), "times": (0.02, 300.0)}
_TIMES = {
    "drift up": (1.02, 20.0),
    "drift down": (0.05, 0.98),
    "low gain": (0.01, 0.9),
    "icbo high": (1.5, 1e3),
    "high drop": (1.05, 2.0),
    "off volts": (0.4, 1.8),
    "low idss": (0.03, 0.9),
    "low": (0.2, 0.98),
    "high": (1.02, 1.8),
}


def every(stage: Stage, name: str) -> list[tuple[Fault, tuple[float, float] | None]]:
    """Every fault a named part, rail or piece of board can have, with the reach of its refit."""
    quiet = Draws(None)
    zero = dict.fromkeys(stage.nodes, 0.0)
    found: list[tuple[Fault, tuple[float, float] | None]] = []

    def add(group: str, mode: str, lead: str = "") -> None:
        fault = faults.draw_fault(stage, (group, mode, name, lead), zero, quiet)
        bounds = None
        if fault.severity is not None:
            bounds = _TIMES.get(mode, _BOUNDS[fault.unit])
        found.append((fault, bounds))

    if name.startswith("board "):
        node = name.removeprefix("board ")
        for rail in (GROUND, *(r.name for r in stage.rails)):
            fault = Fault("residue", f"leak to {rail}", name, 3e6, "ohm", node)
            found.append((fault, (1e5, 1e8)))
    elif any(rail.name == name for rail in stage.rails):
        for mode in ("missing", "low", "high"):
            add("rail", mode)
    elif any(pin.name == name for pin in stage.pins):
        add("pin", "off")
    else:
        part = stage.part(name)
        for group in faults.groups(part):
            for mode in RECIPES[group]:
                if faults.fits(part, mode) and not (mode in faults.BLIND and group in _DRY):
                    add(group, mode)
        for terminal in faults.joints(part):
            add("joint", "resistive", terminal)
            add("joint", "open", terminal)
    return found


_DRY = frozenset({"electrolytic", "tantalum", "paper", "plastic", "ceramic"})
