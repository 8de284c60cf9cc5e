"""Work spread over processes of this machine, or over whatever executor a caller passes."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager, nullcontext
from multiprocessing.process import BaseProcess
from typing import TypeVar

from biaspredict.errors import WorkersLost

Task = TypeVar("Task")
Result = TypeVar("Result")


class Lost:
    """In place of the result of a task whose worker died of it, twice."""


LOST = Lost()


def spread(
    work: Callable[[Task], Result],
    tasks: Sequence[Task],
    executor: Executor | None = None,
    *,
    workers: int | None = None,
) -> Iterator[tuple[int, Result | Lost]]:
    """The number and the result of each task, as they come in.

    work, tasks: what the executor can hand over; `pickle` decides where it is of processes.
    executor: the caller's, left open. None: `workers` processes (one for each processor),
    replaced where one dies and stopped when the last result is out, or at an error, at once.

    What `work` raises is raised. Raises WorkersLost where the caller's executor broke.
    """
    if executor is not None:
        try:
            yield from _results(executor, work, tasks, range(len(tasks)), shared=True)
        except BrokenExecutor as problem:
            raise WorkersLost(
                "a worker of the executor in use stopped, and the executor with it",
                remedy="Start again with a new executor, of fewer workers where memory is short.",
            ) from problem
        return
    missing = set(range(len(tasks)))
    with _Processes(workers or os.cpu_count() or 1) as pool:
        try:
            for number, result in _results(pool.executor, work, tasks, sorted(missing)):
                missing.discard(number)
                yield number, result
        except BrokenExecutor:
            pass
    # A broken pool does not tell whose task broke it: one at a time shows.
    for number in sorted(missing):
        with _Processes(1) as pool:
            try:
                yield from _results(pool.executor, work, tasks, [number])
            except BrokenExecutor:
                yield number, LOST


def _results(
    executor: Executor, work: Callable[[Task], Result], tasks: Sequence[Task],
    numbers: Sequence[int], *, shared: bool = False,
) -> Iterator[tuple[int, Result]]:
    futures: dict[Future[Result], int] = {}
    try:
        with nullcontext() if shared else _no_interrupt():
            for number in numbers:
                futures[executor.submit(work, tasks[number])] = number
        for future in as_completed(futures):
            yield futures[future], future.result()
    finally:
        for future in futures:
            future.cancel()


@contextmanager
def _no_interrupt() -> Iterator[None]:
    """Ctrl-C waits: a process started meanwhile would die of it before it can leave it alone."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _Processes:
    """A pool of processes that is gone when the `with` ends, however it ends."""

    def __init__(self, workers: int) -> None:
        # Spawned: a fork would copy locks that another thread holds.
        self.executor = ProcessPoolExecutor(
            workers, mp_context=multiprocessing.get_context("spawn"), initializer=_begin
        )

    def __enter__(self) -> _Processes:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is not None:
            # What runs is of no use any more; the pool itself would wait for it.
            for process in list((self.executor._processes or {}).values()):
                process.kill()
        self.executor.shutdown(cancel_futures=True)


def _begin() -> None:
    """In each process: Ctrl-C is the parent's to answer, and none outlives the parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)
