"""What long work is at, for whoever watches.

The work says where it stands with `at`; nothing is shown unless a command has opened `shown`.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TextIO

PATIENCE = 1.0  # seconds before the first word: short work says nothing
PAUSE = 0.2  # seconds between two words
WIDTH = 79

_TELL: ContextVar[Callable[[str], None] | None] = ContextVar("underway", default=None)


def at(doing: str, done: int = 0, of: int = 0) -> None:
    """Say what is being done; `done` of `of` where that is known."""
    tell = _TELL.get()
    if tell is not None:
        tell(f"{doing}, {done} of {of}" if of else doing)


@contextmanager
def shown(
    out: TextIO | None = None, patience: float = PATIENCE, pause: float = PAUSE, first: str = ""
) -> Iterator[None]:
    """One line on `out` or stderr, written over and over and wiped at the end, where that is a
    terminal. first: what stands there at once and all the time."""
    out = out or sys.stderr
    if not out.isatty():
        yield
        return
    due, wide = time.monotonic() + patience, 0

    def write(*words: str) -> None:
        nonlocal wide
        line = f"{'; '.join(filter(None, words))} ..."[:WIDTH]
        out.write(f"\r{line:<{wide}}")
        out.flush()
        wide = len(line)

    def tell(words: str) -> None:
        nonlocal due
        now = time.monotonic()
        if now >= due:
            write(first, words)
            due = now + pause

    if first:
        write(first)
    token = _TELL.set(tell)
    try:
        yield
    finally:
        _TELL.reset(token)
        if wide:
            out.write(f"\r{'':<{wide}}\r")
            out.flush()
