"""The referee engine: ngspice through PySpice's shared-library binding, whose only home this is.

One ngspice lives in a process, behind one lock.
"""

from __future__ import annotations

import logging
import threading
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from biaspredict import underway
from biaspredict.engine.library import find_library, plain_numbers, remedy, undisturbed
from biaspredict.engine.moving import Start, swept, traced
from biaspredict.engine.point import Case, by_structure, point
from biaspredict.engine.simulator import Simulator
from biaspredict.engine.solver import Floats, Solutions
from biaspredict.engine.standing import Audit, audit, beside
from biaspredict.engine.trial import must_be_trusted
from biaspredict.engine.values import applied, sensible
from biaspredict.errors import EngineMissing
from biaspredict.model.circuit import SOUND, Axis, Circuit, Variation

ROWS = 512  # variations looked at together, so that those of one structure share a deck

_lock = threading.RLock()
_simulator: Simulator | None = None


def ngspice_or_error() -> Ngspice:
    """The referee, once ngspice is known to load; EngineMissing says what to install."""
    with using():
        return Ngspice()


@contextmanager
def using() -> Iterator[Simulator]:
    """The process's one simulator, to oneself. Raises EngineMissing."""
    global _simulator
    with _lock, plain_numbers():
        if _simulator is None:
            _simulator = _started()
        with _simulator.patient():
            yield _simulator


def _started() -> Simulator:
    path = find_library()
    log = logging.getLogger("PySpice")
    level = log.level
    log.setLevel(logging.CRITICAL)  # "Unsupported Ngspice version" means nothing here
    try:
        with undisturbed(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            simulator = _bound(path)
            must_be_trusted(simulator)
            return simulator
    except ImportError as error:
        raise EngineMissing(
            f"The Python package PySpice cannot be imported ({error}).",
            remedy="Install it with: python -m pip install PySpice",
        ) from error
    except OSError as error:
        raise EngineMissing(f"ngspice cannot be loaded ({error}).", remedy=remedy()) from error
    finally:
        log.setLevel(level)


def _bound(path: str) -> Simulator:
    from PySpice.Spice.NgSpice.Shared import NgSpiceShared, ffi

    class Quiet(NgSpiceShared):  # type: ignore[misc]
        """PySpice's binding without its log: what ngspice prints is kept, not shown."""

        LIBRARY_PATH = path.replace("{", "{{").replace("}", "}}")  # PySpice formats it
        stopped = False

        @staticmethod
        def _send_char(message: Any, number: int, handle: Any) -> int:
            text = ffi.string(message).decode("utf-8", "replace")
            ffi.from_handle(handle)._stdout.append(text.partition(" ")[2])
            return 0

        @staticmethod
        def _send_stat(message: Any, number: int, handle: Any) -> int:
            return 0

        @staticmethod
        def _exit(status: int, at_once: bool, asked: bool, number: int, handle: Any) -> int:
            ffi.from_handle(handle).stopped = True
            return 0

    # Kept where PySpice keeps it: whoever else uses PySpice in this process gets the same one.
    binding = NgSpiceShared._instances.get(0)
    if binding is None:
        binding = NgSpiceShared._instances[0] = Quiet()
    return Simulator(binding, ffi)


class Ngspice:
    """Solver that keeps a circuit loaded and alters its values; new structure, new deck.

    Values need no new deck; lifts, moves, loads and what changes a device's kind do, one for
    all rows of a call that share them. Nothing is remembered between calls but what is loaded.
    """

    def solve(
        self,
        circuit: Circuit,
        variations: Sequence[Variation],
        axes: Sequence[Axis] = (),
        amounts: Floats | None = None,
        *,
        start: Floats | None = None,
    ) -> Solutions:
        """See `Solver.solve`. Raises EngineMissing; a row that does not verify is unsolved.

        A row with a `start` gets a deck of its own: that is slow. Points at which the circuit
        cannot stay, or whose currents do not add up, are sought again.
        """
        count, n = len(variations), len(circuit.nodes)
        spare = max((len(v.lifts) for v in variations), default=0)
        volts = np.full((count, n + spare), np.nan)
        solved = np.zeros(count, dtype=np.bool_)
        draws = [[]] * count if amounts is None or not axes else amounts.tolist()
        sound = sensible(circuit, SOUND)
        with using() as simulator:
            for begin in range(0, count, ROWS):
                underway.at("solving operating points", begin, count)
                cases = []
                for row in range(begin, min(begin + ROWS, count)):
                    variation = variations[row]
                    concrete = applied(circuit, variation, axes if draws[row] else (), draws[row])
                    if sensible(concrete, variation, circuit if sound else None):
                        near = () if start is None else tuple(start[row].tolist())
                        cases.append(Case(row, variation, concrete, circuit, near))
                for case, structure in by_structure(cases):
                    found = point(simulator, case, structure)
                    if found is not None:
                        volts[case.row, : len(found)] = found
                        solved[case.row] = True
                cases = [case for case in cases if solved[case.row]]
                _mend(simulator, cases, axes, amounts, volts)
                solved[[case.row for case in cases if np.isnan(volts[case.row, :n]).any()]] = False
        return Solutions(volts, solved)

    def sweep(
        self, circuit: Circuit, variation: Variation, source: str, hertz: Sequence[float]
    ) -> NDArray[np.complex128]:
        """Node phasors (F, nodes) for unit amplitude at the SOURCE element `source`.

        Linear about the operating point. Raises EngineMissing, Unsolved, InputError.
        """
        with using() as simulator:
            return swept(simulator, circuit, variation, source, hertz)

    def transient(
        self,
        circuit: Circuit,
        variation: Variation,
        stop: float,
        step: float,
        *,
        start: Start = "off",
        drives: Mapping[str, tuple[float, float]] | None = None,
        charges: Mapping[str, float] | None = None,
        degrees: float = 0.0,
    ) -> tuple[Floats, Floats]:
        """Seconds (T,) from 0 to `stop`, at most `step` apart, and node volts (T, nodes).

        start "off": everything discharged, all sources rise within a thousandth of a step.
        start "operating": from the operating point. Windings swing at their hertz either way,
        beginning at `degrees` of their sine.
        charges: volts of capacitors (plus to minus) and amps of coils (into terminal 1) to start
        from, all others none, sources on; `start` then does not count.
        drives: peak volts and hertz of a sine added to a SOURCE. Raises as `sweep` does.
        """
        with using() as simulator:
            return traced(
                simulator, circuit, variation, stop, step, start, drives or {}, charges, degrees
            )


def _mend(
    simulator: Simulator, cases: Sequence[Case], axes: Sequence[Axis], amounts: Floats | None,
    volts: Floats,
) -> None:
    """Seek again, nearby, the points that cannot stay and those that stopped short.

    A row of `volts` is NaN afterwards where no other point was found.
    """
    if not cases:
        return
    circuit = cases[0].circuit
    rows = [case.row for case in cases]

    def audited(rows: list[int], found: Floats) -> Audit:
        along = None if amounts is None else amounts[rows]
        return audit(circuit, [every[row] for row in rows], axes, along, found)

    every = {case.row: case.variation for case in cases}
    first = audited(rows, volts[rows])
    for place, case in enumerate(cases):
        leaves, row = bool(first.leaves[place]), case.row
        if not leaves and not first.short[place]:
            continue
        there: Floats | None = first.better[place]
        if leaves:
            along = None if amounts is None else amounts[[row]]
            there = beside(circuit, case.variation, axes, along, volts[row])
        volts[row] = np.nan
        if there is None:
            continue
        case = replace(case, near=tuple(there.tolist()))
        found = point(simulator, case, case.structure())
        if found is None:
            continue
        again = audited([row], np.array([found]))
        if not again.leaves[0] and not again.short[0]:
            volts[row, : len(found)] = found
