"""The command at a terminal, as a person has it: 80 columns, typed keys, nothing that waits for
ever."""

import contextlib
import os
import pty
import select
import signal
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PATIENCE = 60.0  # s for words that must come, or for an end


class Terminal:
    """`biaspredict` with these arguments; skips the test where no terminal is to be had."""

    def __init__(self, *args: object, at: Path) -> None:
        try:
            self.pid, self.end = pty.fork()
        except OSError as problem:
            pytest.skip(f"no terminal to be had here: {problem}")
        if self.pid == 0:
            os.chdir(at)
            signal.signal(signal.SIGINT, signal.SIG_DFL)  # whatever the tests were started with
            os.environ.update(TERM="vt100", COLUMNS="80", LINES="24", PYTHONPATH=str(ROOT))
            os.execv(sys.executable, [sys.executable, "-m", "biaspredict", *map(str, args)])
        self.seen = ""

    def until(self, words: str) -> str:
        """Everything shown up to these words; fails where they do not come."""
        stop = time.monotonic() + PATIENCE
        while words not in self.seen:
            if time.monotonic() > stop:
                raise AssertionError(f"{words!r} never came:\n{self.seen}")
            if not self._read(1.0):
                raise AssertionError(f"it ended before {words!r}:\n{self.seen}")
        said, _, self.seen = self.seen.partition(words)
        return said + words

    def type(self, keys: str) -> None:
        os.write(self.end, keys.encode())

    def interrupt(self) -> None:
        """Ctrl-C, and again for as long as it does not end, as a person would.

        Let what was typed be shown first: Ctrl-C takes back keys not yet read, and `input` of
        CPython, told of a key that is gone, waits for the next and heeds no signal. It also
        loses one that comes just before it waits.
        """
        stop = time.monotonic() + PATIENCE
        self.type("\x03")
        while self._read(1.0):
            if time.monotonic() > stop:
                raise AssertionError(f"Ctrl-C did not end it:\n{self.seen}")
            if not select.select([self.end], [], [], 1.0)[0]:
                self.type("\x03")

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)

    def code(self) -> int:
        """The exit code, once it has ended by itself."""
        stop = time.monotonic() + PATIENCE
        while self._read(1.0):
            if time.monotonic() > stop:
                self.kill()
        _, status = os.waitpid(self.pid, 0)
        os.close(self.end)
        return os.waitstatus_to_exitcode(status)

    def _read(self, seconds: float) -> bool:
        """Takes what has been shown; False at the end."""
        if not select.select([self.end], [], [], seconds)[0]:
            return True
        with contextlib.suppress(OSError):  # how Linux says that the other end is closed
            shown = os.read(self.end, 4096)
            self.seen += shown.decode("utf-8", "replace")
            return bool(shown)
        return False
