"""Writing the log: killed at any moment, locked, moved away, out of room."""

from __future__ import annotations

import errno
import os
import random
import signal
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path

import pytest

from biaspredict.errors import InputError
from biaspredict.model.log import Verb
from biaspredict.notation.log_writer import LogWriter
from biaspredict.notation.logbook import load_log, read_log

NOON = datetime(2026, 11, 20, 12, 0, 7)
WRITING = """
import sys
from datetime import datetime
from biaspredict.model.log import Verb
from biaspredict.notation.log_writer import LogWriter
with LogWriter(sys.argv[1], "set", datetime.now()) as log:
    number = int(sys.argv[2])
    while True:
        log.add(Verb.NOTE, f"entry {number} " + "x" * (number % 60), datetime.now())
        print(number, flush=True)
        number += 1
"""


def kills(path: Path, count: int, seed: int) -> tuple[int, int, int]:
    """Kill a process that appends, so many times; entries acknowledged, lost, lines cut off."""
    rng = random.Random(seed)
    told: list[int] = []
    for _ in range(count):
        start = told[-1] + 2 if told else 0
        child = subprocess.Popen(
            [sys.executable, "-c", WRITING, str(path), str(start)], stdout=subprocess.PIPE
        )
        assert child.stdout is not None
        told.append(int(child.stdout.readline()))
        time.sleep(rng.uniform(0.0, 0.05))
        child.send_signal(signal.SIGKILL)
        told += [int(line) for line in child.stdout.read().split()]
        child.stdout.close()
        child.wait()
    log = load_log(path)
    assert log.damage is None
    kept = [int(entry.body.split()[1]) for entry in log.entries]
    assert kept == sorted(set(kept)), "nothing twice, nothing out of order"
    return len(told), len(set(told) - set(kept)), len(log.cut)


def test_killed_while_writing(tmp_path: Path) -> None:
    told, lost, _ = kills(tmp_path / "set.log", 8, 1)
    assert told >= 8
    assert lost == 0


@pytest.mark.slow
def test_killed_two_hundred_times(tmp_path: Path) -> None:
    told, lost, cut = kills(tmp_path / "set.log", 200, 2)
    print(f"200 kills, {told} entries acknowledged, {lost} lost, {cut} lines cut off")
    assert lost == 0


def test_power_cut_at_any_byte_of_the_last_line(tmp_path: Path) -> None:
    """The disk holds any part of the last line, or that with zeros behind: all before is kept."""
    path = tmp_path / "set.log"
    with LogWriter(path, "set", NOON) as log:
        log.add(Verb.READ, "Q1.base 3.1", NOON)
        whole = path.read_bytes()
        log.add(Verb.READ, "Q1.emitter 2.45", NOON)
    full = path.read_bytes()
    for size in range(len(whole), len(full)):
        for tail in (b"", bytes(17)):
            path.write_bytes(full[:size] + tail)
            with LogWriter(path, "set", NOON) as log:
                log.add(Verb.READ, "Q1.collector 9", NOON)
            found = load_log(path)
            assert found.damage is None, (size, tail)
            bodies = [entry.body for entry in found.entries]
            assert bodies[0] == "Q1.base 3.1"
            assert bodies[-1] == "Q1.collector 9"
            assert bodies[1:-1] in ([], ["Q1.emitter 2.45"])


def test_a_first_line_cut_off_is_begun_again(tmp_path: Path) -> None:
    path = tmp_path / "set.log"
    for torn in (b"", b"lo", b'log "ha', b'log "hall mixer" 2026-11-20   #1'):
        path.write_bytes(torn)
        with LogWriter(path, "hall mixer", NOON) as log:
            log.add(Verb.NOTE, "here", NOON)
        found = load_log(path)
        assert found.title == "hall mixer"
        assert [entry.body for entry in found.entries] == ["here"]


def test_on_the_disk_before_it_returns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "set.log"
    real, synced = os.fsync, []

    def watched(file: int) -> None:
        synced.append(path.read_bytes())
        real(file)

    with LogWriter(path, "set", NOON) as log:
        monkeypatch.setattr(os, "fsync", watched)
        assert log.add(Verb.READ, "Q1.base 3.1", NOON) == 2
    assert synced == [path.read_bytes()]


def test_one_writer_at_a_time(tmp_path: Path) -> None:
    path = tmp_path / "set.log"
    with LogWriter(path, "set", NOON):
        with pytest.raises(InputError, match="another bench"):
            LogWriter(path, "set", NOON)
        assert load_log(path).entries == ()  # reading needs no lock
    LogWriter(path, "set", NOON).close()


def test_another_process_holds_the_lock(tmp_path: Path) -> None:
    path = tmp_path / "set.log"
    child = subprocess.Popen(
        [sys.executable, "-c", WRITING, str(path), "0"], stdout=subprocess.PIPE
    )
    try:
        assert child.stdout is not None
        child.stdout.readline()
        with pytest.raises(InputError, match="another bench"):
            LogWriter(path, "set", NOON)
    finally:
        child.kill()
        child.communicate()
    with LogWriter(path, "set", NOON) as log:  # the lock dies with its process
        log.add(Verb.NOTE, "mine now", NOON)


def test_an_editor_put_another_file_in_its_place(tmp_path: Path) -> None:
    path = tmp_path / "set.log"
    with LogWriter(path, "set", NOON) as log:
        log.add(Verb.NOTE, "one", NOON)
        copy = tmp_path / "copy"
        copy.write_bytes(path.read_bytes() + b"2026-11-20 12:01 note by hand\n")
        copy.replace(path)
        log.add(Verb.NOTE, "two", NOON)
        assert [e.body for e in load_log(path).entries] == ["one", "by hand", "two"]
        path.unlink()
        with pytest.raises(InputError, match="gone"):
            log.add(Verb.NOTE, "three", NOON)


def test_no_room_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half the line goes out, then the disk is full; later there is room again."""
    path = tmp_path / "set.log"
    real = os.write
    parts: list[bytes] = []

    def half(file: int, data: bytes) -> int:
        if parts:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        parts.append(data)
        return real(file, data[:20])

    with LogWriter(path, "set", NOON) as log:
        log.add(Verb.NOTE, "one", NOON)
        monkeypatch.setattr(os, "write", half)
        with pytest.raises(InputError, match="No space left"):
            log.add(Verb.NOTE, "two", NOON)
        monkeypatch.setattr(os, "write", real)
        log.add(Verb.NOTE, "three", NOON)
    found = load_log(path)
    assert [e.body for e in found.entries] == ["one", "three"]
    assert len(found.cut) == 1
    assert found.damage is None


def test_nothing_is_added_to_what_is_no_log_or_damaged(tmp_path: Path) -> None:
    path = tmp_path / "set.log"
    for data in (b'stage "line amplifier"\n', b'log "set"\nnonsense\n', b"\x00\x01"):
        path.write_bytes(data)
        with pytest.raises(InputError):
            LogWriter(path, "set", NOON)
        assert path.read_bytes() == data
    with pytest.raises(InputError):
        LogWriter(tmp_path / "no" / "such.log", "set", NOON)
    with pytest.raises(InputError):
        LogWriter(tmp_path, "set", NOON)


def test_title_with_quotes(tmp_path: Path) -> None:
    path = tmp_path / "set.log"
    LogWriter(path, 'the "hall" mixer', NOON).close()
    assert read_log(path.read_bytes(), "x").title == 'the "hall" mixer'
