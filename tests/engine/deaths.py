"""Work and an engine that end their process, for tests of what becomes of the rest."""

from __future__ import annotations

import ctypes
import os
import signal
import time
from collections.abc import Sequence
from pathlib import Path

from biaspredict.engine.ngspice import Ngspice, using
from biaspredict.engine.solver import Floats, Solutions
from biaspredict.model.circuit import Axis, Circuit, Variation

DEADLY = 13.0  # ohms of R1 at which the engine below dies


def killed_once(task: tuple[int, str]) -> int:
    """The square; number 3 is killed in the middle, the first time."""
    number, mark = task
    if number == 3 and not Path(mark).exists():
        Path(mark).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def crashing(number: int) -> int:
    """The square; number 3 reads memory that is not there, whenever."""
    if number == 3:
        ctypes.string_at(0)
    return number * number


def failing(number: int) -> int:
    if number == 3:
        raise ValueError("three")
    return number


def slow(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


class Deadly:
    """The referee, killed while ngspice holds a circuit with that resistor."""

    def solve(
        self, circuit: Circuit, variations: Sequence[Variation], axes: Sequence[Axis] = (),
        amounts: Floats | None = None, *, start: Floats | None = None,
    ) -> Solutions:
        found = Ngspice().solve(circuit, variations, axes, amounts)
        if any(("R1.ohms", DEADLY) in v.settings for v in variations):
            with using() as simulator:
                simulator.command("alter r1 = 1.0")
                os.kill(os.getpid(), signal.SIGKILL)
        return found
