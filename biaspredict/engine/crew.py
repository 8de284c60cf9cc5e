"""An engine whose work many workers share."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from biaspredict.engine.solver import Floats, Solutions, Solver
from biaspredict.model.circuit import Axis, Circuit, Variation
from biaspredict.workers import Lost, spread

LOT = 2048  # variations handed over together


@dataclass(frozen=True, slots=True)
class _Lot:
    engine: type[Solver]
    circuit: Circuit
    variations: Sequence[Variation]
    axes: Sequence[Axis]
    amounts: Floats | None
    start: Floats | None


class Crew:
    """Solver that spreads the variations of each call in lots; see `solver.Solver`.

    engine: `Batch` or `Ngspice`; each worker keeps one. executor, workers: see `workers.spread`.
    The rows of a lot that killed two workers are unsolved.
    """

    def __init__(
        self, engine: type[Solver], executor: Executor | None = None, *,
        workers: int | None = None, lot: int = LOT,
    ) -> None:
        self._engine, self._executor, self._workers = engine, executor, workers
        self._lot = lot

    def solve(
        self,
        circuit: Circuit,
        variations: Sequence[Variation],
        axes: Sequence[Axis] = (),
        amounts: Floats | None = None,
        *,
        start: Floats | None = None,
    ) -> Solutions:
        """As `solver.Solver.solve`. Raises what the engine raises, and WorkersLost."""
        parts = [slice(i, i + self._lot) for i in range(0, len(variations), self._lot)]
        lots = [
            _Lot(
                self._engine, circuit, variations[part], axes,
                None if amounts is None else amounts[part],
                None if start is None else start[part],
            )
            for part in parts
        ]
        columns = len(circuit.nodes) + max((len(v.lifts) for v in variations), default=0)
        volts = np.full((len(variations), columns), np.nan)
        solved = np.zeros(len(variations), dtype=np.bool_)
        for number, found in spread(_solve, lots, self._executor, workers=self._workers):
            if not isinstance(found, Lost):
                part = parts[number]
                volts[part, : found.volts.shape[1]] = found.volts
                solved[part] = found.solved
        return Solutions(volts, solved)


def _solve(lot: _Lot) -> Solutions:
    return _engine(lot.engine).solve(
        lot.circuit, lot.variations, lot.axes, lot.amounts, start=lot.start
    )


@lru_cache(maxsize=2)
def _engine(kind: type[Solver]) -> Solver:
    return kind()
