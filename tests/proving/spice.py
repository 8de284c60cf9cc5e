"""A bare runner of ngspice for the truth, in a process of its own.

The shared library holds one circuit for a whole process, so the truth must not live where the
tool may load it. Decks go over a pipe, operating points come back; a solve that did not succeed
comes back as None, and a hung or dead process is replaced.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import multiprocessing
import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess

# Loose defaults report wrong points as solved (measured); these do not.
OPTIONS = ".options reltol=1e-5 vntol=1e-8 abstol=1e-14 gmin=1e-12 itl1=300 rshunt=1e12 noacct"
JOBS_A_LIFE = 4000  # decks before the process is renewed: loading a deck leaks a little
PATIENCE = 30.0  # seconds for one job


class NoLibrary(RuntimeError):
    """The ngspice shared library cannot be loaded."""


@dataclass(frozen=True, slots=True)
class Job:
    """One deck, and the rounds to solve it in.

    lines: element and model lines, no title, no .end. reads: vectors ("n1", "@q1[ic]").
    rounds: commands before each solve, and commands that undo them after it.
    """

    lines: tuple[str, ...]
    reads: tuple[str, ...]
    rounds: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...] = (((), ()),)


Row = tuple[float, ...] | None


def _library() -> ctypes.CDLL:
    names = (
        os.environ.get("NGSPICE_LIBRARY_PATH"),
        "libngspice.so.0",
        ctypes.util.find_library("ngspice"),
        "/opt/homebrew/lib/libngspice.dylib",
        "/usr/local/lib/libngspice.dylib",
    )
    for name in names:
        if not name:
            continue
        try:
            return ctypes.CDLL(name)
        except OSError:
            continue
    raise NoLibrary("libngspice is not here: install the package libngspice0")


class _Vector(ctypes.Structure):
    _fields_ = (
        ("name", ctypes.c_char_p),
        ("type", ctypes.c_int),
        ("flags", ctypes.c_short),
        ("real", ctypes.POINTER(ctypes.c_double)),
        ("complex", ctypes.c_void_p),
        ("length", ctypes.c_int),
    )


_TEXT = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p)
_EXIT = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.c_int, ctypes.c_bool, ctypes.c_bool, ctypes.c_int, ctypes.c_void_p
)


class _Loaded:
    """The library inside the child process."""

    def __init__(self) -> None:
        self.library = _library()
        self.library.ngGet_Vec_Info.restype = ctypes.POINTER(_Vector)
        self.library.ngGet_Vec_Info.argtypes = (ctypes.c_char_p,)
        self.trouble = False
        # The callbacks must outlive the call: ngspice keeps their addresses.
        self.keep = (_TEXT(self._said), _TEXT(lambda *_: 0), _EXIT(lambda *_: 0))
        self.library.ngSpice_Init(*self.keep, None, None, None, None)
        self.count = 0

    def _said(self, text: bytes, _ident: int, _user: int) -> int:
        low = text.lower()
        if b"unknown" in low or b"not parsed" in low or b"fatal" in low or b"can't find" in low:
            self.trouble = True
        return 0

    def command(self, text: str) -> None:
        self.library.ngSpice_Command(text.encode())

    def value(self, name: str) -> float | None:
        found = self.library.ngGet_Vec_Info(name.encode())
        if not found or found.contents.length < 1 or not found.contents.real:
            return None
        return float(found.contents.real[0])

    def run(self, job: Job) -> list[Row]:
        self.trouble = False
        lines = ["truth", *job.lines, OPTIONS, ".end"]
        array = (ctypes.c_char_p * (len(lines) + 1))(*[s.encode() for s in lines], None)
        self.command("destroy all")
        self.library.ngSpice_Circ(array)
        if self.trouble:
            self.command("remcirc")
            return [None] * len(job.rounds)
        self.command("optran 1 1 1 0 0 0")
        rows: list[Row] = []
        for before, after in job.rounds:
            for text in before:
                self.command(text)
            # Old vectors must go first: a failed solve leaves them, and they look like an answer.
            self.command("destroy all")
            self.command("op")
            values = [self.value(name) for name in job.reads]
            whole = [v for v in values if v is not None]
            rows.append(tuple(whole) if len(whole) == len(values) else None)
            for text in after:
                self.command(text)
        self.command("destroy all")
        self.command("remcirc")
        self.count += 1
        if self.count % 100 == 0:
            self.library.ngSpice_Command(None)
        return rows


def _serve(pipe: Connection) -> None:
    os.chdir("/" if os.name == "posix" else os.curdir)  # a .spiceinit here would be executed
    try:
        loaded = _Loaded()
    except NoLibrary as problem:
        pipe.send(problem)
        return
    pipe.send(None)
    while True:
        try:
            jobs = pipe.recv()
        except EOFError:
            return
        pipe.send([loaded.run(job) for job in jobs])


@dataclass
class Runner:
    """Solves jobs in a child process; use as a context manager or call `close`."""

    _process: BaseProcess | None = None
    _pipe: Connection | None = None
    _served: int = 0
    lost: int = field(default=0)  # processes that hung or died

    def __enter__(self) -> Runner:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _start(self) -> Connection:
        context = multiprocessing.get_context("spawn")
        mine, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()
        self._pipe = mine
        self._served = 0
        if not mine.poll(PATIENCE):
            self.close()
            raise NoLibrary("the process that loads ngspice does not answer")
        try:
            problem = mine.recv()
        except EOFError:
            problem = NoLibrary("the process that loads ngspice ended before it answered")
        if problem is not None:
            self.close()
            raise problem
        return mine

    def close(self) -> None:
        if self._pipe is not None:
            self._pipe.close()
        if self._process is not None:
            self._process.join(0.5)
            if self._process.is_alive():
                self._process.kill()
                self._process.join()
        self._pipe = self._process = None

    def solve(self, jobs: Sequence[Job]) -> list[list[Row]]:
        """One list of rows for each job, one row for each of its rounds; None where unsolved."""
        if self._served > JOBS_A_LIFE:
            self.close()
        pipe = self._pipe or self._start()
        self._served += len(jobs)
        try:
            pipe.send(list(jobs))
            if pipe.poll(PATIENCE + 0.05 * len(jobs)):
                rows: list[list[Row]] = pipe.recv()
                return rows
        except (EOFError, OSError):
            pass
        self.lost += 1
        self.close()
        if len(jobs) == 1:
            return [[None] * len(jobs[0].rounds)]
        return [self.solve([job])[0] for job in jobs]
