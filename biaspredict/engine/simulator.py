"""One running ngspice library: commands in, vectors out.

Its return codes mean nothing and a failed run leaves the vectors of the one before. So every
run is marked: old vectors are destroyed, the node `key` is set to a fresh number, and a result
counts only when the key reads back.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.deck import KEY, Deck, Handles
from biaspredict.errors import Unsolved

COMMAND_LENGTH = 1000  # ngspice cuts a command at 1023 characters
RUNS_KEPT = 500  # runs between two clearings of ngspice's command history
MARKS = 1000  # used in turn; small, so that the key never is the largest voltage about
# How an operating point is sought: Newton, then GMIN in steps, then sources in steps. ngspice's
# last means, a run over time, would call a node solved at whatever voltage it drifted to.
SEARCH = "optran 1 1 1 0 0 0"


class Simulator:
    """A library and its C door `ffi`, as PySpice's binding opened them."""

    def __init__(self, binding: Any, ffi: Any) -> None:
        self.loaded: object = None  # whatever the user of the loaded deck wants to remember
        self._binding = binding
        self._ffi = ffi
        self._library = binding._ngspice_shared
        self._runs = 0
        self._interrupted = False

    def load(self, deck: Deck) -> None:
        """Replace whatever circuit is loaded. Success shows only in the runs that follow."""
        self.loaded = None
        self.command("destroy all")
        self.command("remcirc")
        lines = [self._ffi.new("char[]", line.encode("ascii")) for line in deck.lines]
        self._library.ngSpice_Circ(self._ffi.new("char *[]", [*lines, self._ffi.NULL]))
        self.command(SEARCH)

    def set(self, handles: Handles) -> None:
        """Set values in the loaded circuit."""
        line = ""
        for handle, value in handles.items():
            piece = f"{handle} = {float(value)!r}"
            if len(line) + len(piece) >= COMMAND_LENGTH:
                self.command(line)
                line = ""
            line = f"{line};{piece}" if line else piece
        if line:
            self.command(line)

    def run(self, analysis: str) -> bool:
        """Run an analysis; True only when its own vectors are there."""
        self._must_live()
        self._runs += 1
        if self._runs % RUNS_KEPT == 0:
            self._library.ngSpice_Command(self._ffi.NULL)
        mark = float(self._runs % MARKS + 1)
        self.command(f"destroy all;alter vkey dc = {mark!r}")
        self.command(analysis)
        read = self.vector(KEY)
        if read is None:
            return False
        # The key is a constant source: it has no part in what moves over frequency.
        return analysis.startswith("ac") or abs(float(read[-1]) - mark) < 1e-3

    def value(self, name: bytes) -> float:
        """The single number of a vector of an operating point; NaN where there is none."""
        info = self._library.ngGet_Vec_Info(name)
        if not info or info.v_length < 1 or not info.v_realdata:
            return float("nan")
        return float(info.v_realdata[0])

    def vector(self, name: str) -> NDArray[Any] | None:
        """A copy of a vector, real or complex, of the last run; None where there is none."""
        info = self._library.ngGet_Vec_Info(name.encode("ascii"))
        if not info or info.v_length < 1:
            return None
        if info.v_realdata:
            raw = self._ffi.buffer(info.v_realdata, info.v_length * 8)
            return np.frombuffer(raw, dtype=np.float64).copy()
        if info.v_compdata:
            raw = self._ffi.buffer(info.v_compdata, info.v_length * 16)
            return np.frombuffer(raw, dtype=np.complex128).copy()
        return None

    def command(self, line: str) -> None:
        """Hand one command to the library itself: PySpice's own way raises on mere notes."""
        self._must_live()  # a stopped library ends the process at the next command
        self._binding._stdout.clear()
        self._library.ngSpice_Command(line.encode("ascii"))
        if self._interrupted:
            self._interrupted = False
            raise KeyboardInterrupt
        self._must_live()

    def _must_live(self) -> None:
        if getattr(self._binding, "stopped", False):
            raise Unsolved(
                "ngspice stopped working in the middle of a run.",
                remedy="Start the command again; if it happens again, the circuit is to blame.",
            )

    @property
    def said(self) -> list[str]:
        """What ngspice printed during the last command."""
        return list(self._binding._stdout)

    @contextmanager
    def patient(self) -> Iterator[None]:
        """Keep Ctrl-C until ngspice is back: inside one of its callbacks it would be lost."""
        if (
            threading.current_thread() is not threading.main_thread()
            or signal.getsignal(signal.SIGINT) is not signal.default_int_handler
        ):
            yield
            return
        self._interrupted = False
        signal.signal(signal.SIGINT, self._later)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        if self._interrupted:
            self._interrupted = False
            raise KeyboardInterrupt

    def _later(self, number: int, frame: object) -> None:
        self._interrupted = True
