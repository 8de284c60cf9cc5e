"""Writing the bench log: one line an entry, on the disk before the next thing happens.

A line is handed to the system in one piece and forced to the disk before `add` returns, so that
a crash or a power cut costs at most the line being written. Whoever writes holds a lock.
"""

from __future__ import annotations

import fcntl
import os
from datetime import datetime
from pathlib import Path
from types import TracebackType

from biaspredict.errors import InputError
from biaspredict.model.log import Log, Verb
from biaspredict.notation.load import LARGEST
from biaspredict.notation.logbook import ending, entry_line, head_line, not_begun, read_log

SPARE = 20_000  # bytes below the largest size at which no new sitting is begun


class LogWriter:
    """Appends to one log file, and keeps it from other writers until it is closed.

    `log`: as it stood when it was opened. Raises InputError where the file is no log, is
    damaged, cannot be written, or is being written by another process.
    """

    def __init__(self, path: str | Path, title: str, now: datetime) -> None:
        self.path = Path(path)
        self._file = self._open()
        try:
            self._lock()
            self.log = self._begin(title, now)
        except BaseException:
            os.close(self._file)
            raise

    def __enter__(self) -> LogWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Gives the file and its lock back."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def add(self, verb: Verb, body: str, now: datetime) -> int:
        """Write one entry; returns the number of its line once it is on the disk."""
        line = entry_line(verb, body, now)
        self._follow()
        data = self._read()
        self._write(ending(data) + line.encode("utf-8") + b"\n")
        return self._read().count(b"\n")

    def _open(self) -> int:
        try:
            return os.open(self.path, os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except (OSError, ValueError) as problem:
            raise self._unwritable(problem) from None

    def _lock(self) -> None:
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise InputError(
                f"{self.path} is being written by another bench",
                remedy="Leave that one with quit first, or give another log.",
            ) from None
        except OSError as problem:
            raise self._unwritable(problem) from None

    def _begin(self, title: str, now: datetime) -> Log:
        data = self._read()
        if not_begun(data):
            self._write(ending(data) + head_line(title, now).encode("utf-8") + b"\n")
            self._name_kept()
            data = self._read()
        log = read_log(data, str(self.path))
        if log.damage is not None:
            raise InputError(
                f"nothing is added to a damaged log: {log.damage.fact}",
                remedy=log.damage.remedy, place=log.damage.place,
            )
        if len(data) > LARGEST - SPARE:
            raise InputError(f"{self.path} is full", remedy="Begin another log for this set.")
        if close := ending(data):
            self._write(close)
        return log

    def _follow(self) -> None:
        """An editor that saves by renaming leaves us with a file nobody sees: take the new one."""
        try:
            there = os.stat(self.path)
        except OSError:
            there = None
        here = os.fstat(self._file)
        if there is not None and (there.st_ino, there.st_dev) == (here.st_ino, here.st_dev):
            return
        if there is None:
            raise InputError(
                f"{self.path} is gone while it was being written",
                remedy="Put it back, then type the line again: it is not kept.",
            )
        os.close(self._file)
        self._file = self._open()
        self._lock()

    def _read(self) -> bytes:
        try:
            size = os.fstat(self._file).st_size
            return os.pread(self._file, size, 0)
        except OSError as problem:
            raise self._unwritable(problem) from None

    def _write(self, data: bytes) -> None:
        """All of it, on the disk; a part that went out before a failure is closed off next time."""
        try:
            while data:
                data = data[os.write(self._file, data):]
            os.fsync(self._file)
        except OSError as problem:
            raise self._unwritable(problem) from None

    def _name_kept(self) -> None:
        """A new file's name is on the disk only once its folder is."""
        folder = os.open(self.path.parent, os.O_RDONLY | os.O_CLOEXEC)
        try:
            os.fsync(folder)
        except OSError:
            pass  # some file systems cannot, and keep names by themselves
        finally:
            os.close(folder)

    def _unwritable(self, problem: Exception) -> InputError:
        reason = getattr(problem, "strerror", None) or "no file can have this name"
        return InputError(
            f"{self.path} cannot be written: {reason}",
            remedy="What was typed last is not kept. Make room or give another log, and type it "
            "again.",
        )
