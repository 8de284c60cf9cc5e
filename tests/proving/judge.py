"""What the truth itself says: healthy spread, hard families, what readings cannot tell apart."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from biaspredict.model.devices import Bipolar, Material
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Stage

from . import faults
from .draws import Draws
from .faults import RECIPES, Fault
from .meterman import Instrument, Point, Taken, loaded_volts
from .specimen import Specimen
from .spice import Runner
from .truth import Solved, draw_specimen, solve

Floats = NDArray[np.float64]

SPREAD_DRAWS = 120
REFIT_DRAWS = 90
HOPELESS = 400.0  # ten times the sound spread at every reading cannot mend a fit this bad
FLOOR = 2e-3  # volts: nobody builds a case on less
TELLING = 2 * math.log(19.0)  # odds of 19 to 1: readings that favour one so much do tell them apart


def healthy(runner: Runner, stage: Stage, rails: Mapping[str, float], seed: int) -> Floats:
    """Node volts of sound specimens with these rails, (draws, nodes of the stage)."""
    rng = np.random.default_rng(seed)
    drawn = [draw_specimen(stage, rng, rails=dict(rails)) for _ in range(SPREAD_DRAWS)]
    rows = [[s.volts[n] for n in stage.nodes] for s in solve(runner, drawn) if s is not None]
    if len(rows) < SPREAD_DRAWS // 2:
        raise ValueError(f"{stage.title}: sound specimens do not solve")
    return np.array(rows)


def half_bands(
    stage: Stage, spread: Floats, points: Iterable[Point], loaded: Iterable[float]
) -> list[float]:
    """Half the width of the healthy 95 % band between each pair of points.

    loaded: what the meter shows there on one sound specimen; where it drags the point down it
    narrows the band as well.
    """
    column = {node: k for k, node in enumerate(stage.nodes)}
    found = []
    for point, shown in zip(points, loaded, strict=True):
        volts = spread[:, column[point.node]] - spread[:, column[point.minus]]
        low, middle, high = np.percentile(volts, (2.5, 50, 97.5))
        drag = min(1.0, abs(shown / middle)) if abs(middle) > 0.05 else 1.0
        found.append(max(float(high - low) / 2 * drag, 1e-3))
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


_LOW = frozenset(
    {Kind.TRANSISTOR, Kind.DIODE, Kind.ZENER, Kind.COIL, Kind.WINDING, Kind.POT, Kind.TRIMMER}
)


def _base_ohms(stage: Stage, node: str) -> float:
    """Parallel ohms of the resistors at a base; a base fed by a junction counts as low."""
    total = 0.0
    for part, terminal in stage.at(node):
        if part.kind is Kind.RESISTOR and part.now:
            total += 1 / part.now
        elif terminal != "base" and part.kind in _LOW:
            return 0.0
    held = {rail.name for rail in stage.rails} | {p.node for p in stage.inputs if not p.blocked}
    return 0.0 if node in held or total == 0.0 else 1 / total


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
        seed: int,
    ) -> None:
        self.runner, self.stage, self.instrument = runner, stage, instrument
        rng = np.random.default_rng(seed)
        self.drawn = [draw_specimen(stage, rng) for _ in range(REFIT_DRAWS)]
        self.middle = draw_specimen(stage, None)
        self.points = [replace(t.point, lead="") for t in taken]
        self.read = np.array([t.value for t in taken])
        self.meter = np.diag(np.array([t.sigma for t in taken]) ** 2 + FLOOR**2)
        self.sound = self._covariance(self._rows(self.drawn, ()) or [])

    def _rows(self, specimens: Sequence[Specimen], faulty: Sequence[Fault]) -> list[list[float]]:
        """Volts at the points for each specimen that solves, meter loading included."""
        for fault in faulty:
            specimens = [faults.apply(s, fault) for s in specimens]
        solved = [s for s in solve(self.runner, specimens) if s is not None]
        if 2 * len(solved) < len(specimens):
            return []
        loaded = loaded_volts(self.runner, solved[0], self.points, self.instrument)
        if loaded is None:
            return []
        bare = [_volts(solved[0], p) for p in self.points]
        # What the meter takes away hardly differs between specimens of one fault.
        loss = [m / b if abs(b) > 0.05 else 1.0 for (m, _), b in zip(loaded, bare, strict=True)]
        return [[_volts(s, p) * f for p, f in zip(self.points, loss, strict=True)] for s in solved]

    def _covariance(self, rows: Sequence[Sequence[float]]) -> Floats:
        if not rows:
            return self.meter
        spread = np.array(rows) - np.mean(rows, axis=0)
        return np.asarray(spread.T @ spread / max(1, len(rows) - 1) + self.meter)

    def _badness(self, middle: Floats, covariance: Floats) -> float:
        off = self.read - middle
        _, size = np.linalg.slogdet(covariance)
        return float(off @ np.linalg.solve(covariance, off) + size)

    def quick(self, faulty: Sequence[Fault]) -> float:
        """From the middle specimen alone, through the spread of the sound stage."""
        rows = self._rows([self.middle], faulty)
        return self._badness(np.array(rows[0]), self.sound) if rows else math.inf

    def badness(self, faulty: Sequence[Fault]) -> float:
        """Of these faults at their severities; infinite where too few specimens solve."""
        rows = self._rows(self.drawn, faulty)
        if not rows:
            return math.inf
        return self._badness(np.median(np.array(rows), axis=0), self._covariance(rows))

    def sought(self, mode: Fault, bounds: tuple[float, float] | None) -> tuple[float, list[Fault]]:
        """The mode's quick badness where it fits best, and the severities to try in full."""
        if bounds is None:
            return self.quick([mode]), [mode]
        grid = [float(x) for x in np.linspace(math.log(bounds[0]), math.log(bounds[1]), 25)]
        step = grid[1] - grid[0]
        fits = {x: self.quick([_at(mode, x)]) for x in grid}
        middle = min(grid, key=lambda x: fits[x])
        return fits[middle], [_at(mode, middle + k * step / 2) for k in (0, -1, 1)]

    def can_be(self, part: str, truth: Sequence[Fault]) -> bool:
        """Whether some fault of the part fits the readings nearly as well as the true one does."""
        goal = self.badness(truth)
        if len(truth) == 1 and truth[0].severity is not None:
            size = truth[0].severity
            near = [replace(truth[0], severity=size * f) for f in (0.7, 0.85, 1.2, 1.4)]
            goal = min([goal, *(self.badness([fault]) for fault in near)])
        modes = [self.sought(mode, bounds) for mode, bounds in every(self.stage, part)]
        modes.sort(key=lambda found: found[0])
        return any(
            self.badness([fault]) <= goal + TELLING
            for quick, faulty in modes
            if quick <= goal + HOPELESS
            for fault in faulty
        )


def _volts(solved: Solved, point: Point) -> float:
    return solved.volts[point.tip] - solved.volts[point.minus]


def _at(mode: Fault, log_severity: float) -> Fault:
    return replace(mode, severity=math.exp(log_severity))


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
