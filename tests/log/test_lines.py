"""A log's lines: what they say, what tells that one is whole, and where a damaged log ends."""

from __future__ import annotations

import re
import zlib
from datetime import datetime
from pathlib import Path

import pytest

from biaspredict.errors import InputError
from biaspredict.model.log import Verb
from biaspredict.notation.logbook import CUT, check, entry_line, head_line, read_log, upto

NOON = datetime(2026, 11, 20, 12, 0, 7)


def text(*bodies: tuple[Verb, str]) -> bytes:
    lines = [head_line("hall mixer", NOON)]
    lines += [
        entry_line(verb, body, NOON.replace(minute=k)) for k, (verb, body) in enumerate(bodies)
    ]
    return ("\n".join(lines) + "\n").encode()


THREE = text((Verb.READ, "Q1.base 3.1"), (Verb.NOTE, "what # is that"), (Verb.UNDO, "2"))


def test_check_is_the_lower_half_of_the_crc() -> None:
    """CRC-32 of "123456789" is CBF43926: the check value of ISO 3309 (ITU-T V.42)."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    assert check("123456789") == "3926"


def test_what_was_written_reads_back() -> None:
    log = read_log(THREE, "set.log")
    assert log.title == "hall mixer"
    assert log.begun == datetime(2026, 11, 20)
    assert [(e.line, e.verb, e.body, e.checked) for e in log.entries] == [
        (2, Verb.READ, "Q1.base 3.1", True),
        (3, Verb.NOTE, "what # is that", True),
        (4, Verb.UNDO, "2", True),
    ]
    assert [e.line for e in log.standing] == [3]
    assert log.damage is None
    assert not log.cut


def test_lines_typed_by_hand_need_no_check() -> None:
    log = read_log(
        b'log "set" 2026-11-20\r\n\r\n# a remark\r\n'
        b"2026-11-20 19:42 read Q1.base 3,1   # shaky\r\n", "set.log",
    )
    (entry,) = log.entries
    assert (entry.line, entry.body, entry.checked) == (4, "Q1.base 3,1", False)


@pytest.mark.parametrize("place", range(3, 24))
def test_one_changed_character_is_damage(place: int) -> None:
    """Whatever character of an entry changes, the log ends there and says so."""
    lines = THREE.split(b"\n")
    line = bytearray(lines[1])
    line[place] = ord("7") if line[place] != ord("7") else ord("8")
    log = read_log(b"\n".join([lines[0], bytes(line), *lines[2:]]), "set.log")
    assert log.entries == ()
    assert log.damage is not None
    assert (log.damage.place.line, log.damage.unread) == (2, 2)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b"\x00\x00\x00\x00", "no text"),
        (b"\xff\xfe read Q1.base 3.1", "is no text"),
        (b"Q1.base 3.1", "no entry"),
        (b"2026-11-20 19:42 guessed C1", "no entry begins with 'guessed'"),
        (b"2026-13-20 19:42 read Q1.base 3.1", "no time"),
        (b"2026-11-20 19:42 read", "stands alone"),
        (b"2026-11-20 19:42 undo 9", "no entry 9"),
        (b"2026-11-20 19:42 undo x", "no entry x"),
    ],
)
def test_read_up_to_the_damage(line: bytes, said: str) -> None:
    first = text((Verb.READ, "Q1.base 3.1"))
    after = entry_line(Verb.NOTE, "after", NOON).encode()
    log = read_log(first + line + b"\n" + after + b"\n", "set.log")
    assert [e.line for e in log.entries] == [2]
    assert log.damage is not None
    assert said in log.damage.fact
    assert log.damage.place.line == 3
    assert log.damage.unread == 1
    # put aside as the remedy says, the rest is read
    mended = read_log(first + b"# " + line.replace(b"\x00", b"").replace(b"\xff\xfe", b"") + b"\n"
                      + after + b"\n", "set.log")
    assert mended.damage is None
    assert [e.line for e in mended.entries] == [2, 4]


def test_every_way_of_ending_early_loses_only_the_last_line() -> None:
    """Cut after any byte: all lines before the cut are there, and nothing else."""
    ends = [i + 1 for i, byte in enumerate(THREE) if byte == ord("\n")]
    for size in range(ends[0], len(THREE)):
        log = read_log(THREE[:size], "set.log")
        whole = sum(end <= size for end in ends) - 1
        full = size + 1 in ends  # only the line's end is missing
        assert len(log.entries) == whole + full, size
        assert log.damage is None
        assert log.unfinished == (size not in ends)


def test_a_line_closed_after_a_crash_is_passed_over_and_told() -> None:
    log = read_log(THREE + b"2026-11-20 19:42:11 read Q1.ba" + f" {CUT}\n".encode()
                   + entry_line(Verb.NOTE, "on", NOON).encode() + b"\n", "set.log")
    assert [place.line for place in log.cut] == [5]
    assert log.entries[-1].body == "on"


@pytest.mark.parametrize("data", [b"", b"\n", b"readings \"x\"\n", b"log hall\n", b"\x00\n"])
def test_what_is_no_log(data: bytes) -> None:
    with pytest.raises(InputError):
        read_log(data, "set.log")


def test_history_by_line_and_by_time() -> None:
    log = read_log(THREE, "set.log")
    assert [e.line for e in upto(log, "3").entries] == [2, 3]
    assert [e.line for e in upto(log, "12:01").entries] == [2, 3]
    assert [e.line for e in upto(log, "2026-11-20").entries] == [2, 3, 4]
    assert [e.line for e in upto(log, "2026-11-20 12:00:08").entries] == [2]
    for at in ("1", "11:59", "2026-11-19", "lunch", "25:00"):
        with pytest.raises(InputError):
            upto(log, at)


def test_nothing_that_breaks_a_line_goes_into_it() -> None:
    with pytest.raises(InputError):
        entry_line(Verb.NOTE, "one\ntwo", NOON)


def test_the_guide_s_own_log_reads() -> None:
    """The example of the guide, its checks included."""
    guide = (Path(__file__).parents[2] / "grammar" / "README.md").read_text("utf-8")
    section = guide.partition("# The bench log")[2].partition("\n# ")[0]
    lines = [line[4:] for line in section.splitlines() if line.startswith("    ")]
    log = read_log("\n".join([*lines, ""]).encode(), "guide")
    assert log.damage is None
    assert [e.verb for e in log.entries] == [Verb.STAGE, Verb.WITH, Verb.ADVISED, Verb.READ]
    assert all(e.checked for e in log.entries)
    words = {row.split("|")[1] for row in section.splitlines() if row.startswith("| `")}
    told = {word for cell in words for word in re.findall(r"`(\w+)`", cell)}
    assert told == {verb.value for verb in Verb}


def test_a_slipped_year_is_written_as_it_was_read() -> None:
    early = datetime(26, 11, 20, 19, 2)
    lines = [head_line("hall mixer", early), entry_line(Verb.READ, "Q1.base 2.6", early)]
    log = read_log(("\n".join(lines) + "\n").encode(), "set.log")
    assert log.damage is None
    assert log.begun == datetime(26, 11, 20)
    assert [entry.when for entry in log.entries] == [early]
