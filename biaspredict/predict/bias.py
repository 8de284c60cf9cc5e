"""Node volts with their 95 % bands: the referee's solve and tolerance draws about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.solver import Floats, Solver
from biaspredict.engine.standing import APART, Leaning, other_states
from biaspredict.errors import TO_PROOF, Unsolved
from biaspredict.model.circuit import SOUND, Axis
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.spread import axes

DRAWS = 1000
SEED = 1962
LEAST_SOLVED = 0.9  # share of draws that must solve before a band is given


@dataclass(frozen=True, slots=True)
class Level:
    """Volts of a node and the limits between which 95 % of sound specimens lie."""

    volts: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Bias:
    """levels: node -> Level. inner: volts of every circuit node, those inside parts included.

    draws: (D, n) volts of sound specimens in the order of `order`; draws that did not solve
    are left out and counted in `failed`. others: the stage as written can stand in further
    states; the volts of each, where they are others.
    """

    stage: Stage
    levels: Mapping[str, Level]
    inner: Mapping[str, float]
    order: tuple[str, ...]
    draws: Floats
    failed: int
    others: tuple[Mapping[str, float], ...] = ()

    def volts(self) -> dict[str, float]:
        """Predicted volts by node, ground included."""
        return {GROUND: 0.0, **{node: level.volts for node, level in self.levels.items()}}

    def band(self, plus: str, minus: str | None = None) -> Level:
        """The level between two nodes, its band from the same draws."""
        if minus is None or minus == GROUND:
            return self.levels[plus]
        if plus == GROUND:
            level = self.levels[minus]
            return Level(-level.volts, -level.high, -level.low)
        across = self.draws[:, self.order.index(plus)] - self.draws[:, self.order.index(minus)]
        low, high = np.quantile(across, (0.025, 0.975))
        return Level(self.inner[plus] - self.inner[minus], float(low), float(high))


def predict_bias(
    stage: Stage, referee: Solver, drawer: Solver, *, draws: int = DRAWS, seed: int = SEED,
    spread: Sequence[Axis] | None = None,
) -> Bias:
    """Solve the stage as written, and `draws` sound specimens of it.

    Raises Unsolved where the operating point, or too many specimens, did not converge.
    """
    circuit = flatten(stage)
    nominal = referee.solve(circuit, [SOUND])
    if not nominal.solved[0]:
        raise Unsolved(
            "this stage has no operating point that could be verified",
            remedy=TO_PROOF,
        )
    others = other_states(drawer, circuit, [SOUND], nominal.volts)[0]
    if others:
        drawer = Leaning(drawer, circuit, nominal.volts[0])
        again = referee.solve(circuit, [SOUND] * len(others), start=np.array(others))
        others = list(again.volts[again.solved])
    around = tuple(axes(stage) if spread is None else spread)
    amounts = specimens(around, draws, seed)
    found = drawer.solve(circuit, [SOUND] * draws, around, amounts)
    good = found.volts[found.solved][:, : len(circuit.nodes)]
    if len(good) < LEAST_SOLVED * draws:
        raise Unsolved(
            f"only {len(good)} of {draws} specimens within tolerance have an operating point",
            remedy="The stage sits on an edge: check the values that set its bias.",
        )
    low, high = np.quantile(good, (0.025, 0.975), axis=0)
    volts = nominal.volts[0]
    levels = {
        node: Level(float(volts[i]), float(min(low[i], volts[i])), float(max(high[i], volts[i])))
        for i, node in enumerate(circuit.nodes)
        if node in stage.nodes
    }
    inner = {GROUND: 0.0} | {node: float(volts[i]) for i, node in enumerate(circuit.nodes)}
    states = tuple(
        {
            node: float(there[i]) for i, node in enumerate(circuit.nodes)
            if node in stage.nodes and abs(there[i] - volts[i]) > APART
        }
        for there in others
    )
    return Bias(stage, levels, inner, circuit.nodes, good, draws - len(good), states)


def specimens(around: Sequence[Axis], draws: int, seed: int = SEED) -> Floats:
    """Amounts (draws, axes) of sound specimens: even within limits, else normal to 3 sigma."""
    random = np.random.default_rng(seed)
    amounts = np.empty((draws, len(around)))
    for k, axis in enumerate(around):
        if axis.limits is None:
            amounts[:, k] = np.clip(random.standard_normal(draws), -3.0, 3.0) * axis.sigma
        else:
            even = random.uniform(*axis.limits, draws)
            amounts[:, k] = even if axis.additive else np.log(even)
    return amounts
