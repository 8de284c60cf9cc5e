"""Text files from disk: what cannot be read is refused with its reason."""

from __future__ import annotations

import difflib
import stat
from pathlib import Path

from biaspredict.errors import InputError
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage
from biaspredict.notation.build import read_stage
from biaspredict.notation.entries import read_readings
from biaspredict.span import Span

LARGEST = 1_000_000  # bytes
_BYTE_ORDER_MARKS = {b"\xff\xfe": "UTF-16", b"\xfe\xff": "UTF-16"}


def load_stage(path: str | Path) -> Stage:
    """Read a stage file. Raises InputError: no such file, no text, or every mistake in it."""
    return read_stage(read_text(path), str(path))


def load_readings(path: str | Path, stage: Stage) -> Readings:
    """Read a file of readings of that stage. Raises InputError as load_stage."""
    return read_readings(read_text(path), str(path), stage)


def read_text(path: str | Path) -> str:
    """The text of a UTF-8 file of at most a megabyte. Raises InputError."""
    data = read_bytes(path)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise _misencoded(data, problem.start, str(path)) from None


def read_bytes(path: str | Path) -> bytes:
    """The bytes of a text file of at most a megabyte. Raises InputError."""
    path = Path(path)
    name = str(path)
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise InputError(f"{name} is a folder", remedy=_inside(path))
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except FileNotFoundError:
        raise InputError(f"there is no file {name}", remedy=_neighbour(path)) from None
    except PermissionError:
        raise InputError(
            f"{name} may not be read", remedy="Its permissions forbid it: chmod u+r makes it yours."
        ) from None
    except (OSError, ValueError) as problem:
        # ValueError: a name with a zero byte in it.
        reason = getattr(problem, "strerror", None) or "no file can have this name"
        raise InputError(f"{name!r} cannot be read: {reason}") from None
    if len(data) > LARGEST:
        raise InputError(
            f"{name} is larger than {LARGEST // 1_000_000} MB",
            remedy="A stage takes a few kilobytes: is it the right file?",
        )
    if mark := _BYTE_ORDER_MARKS.get(data[:2]):
        raise InputError(
            f"{name} is saved as {mark}", remedy="Save it as UTF-8 in your text editor."
        )
    return data


def _misencoded(data: bytes, at: int, name: str) -> InputError:
    """The place of a byte that is not UTF-8, and the character it was most likely meant to be."""
    before = data[:at].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    line = before.count(b"\n") + 1
    start = before.rfind(b"\n") + 1
    column = len(before[start:].decode("utf-8", "replace")) + 1
    breaks = (data.find(b"\n", at), data.find(b"\r", at))
    end = min((place for place in breaks if place >= 0), default=len(data))
    source = before[start:].decode("utf-8", "replace") + data[at:end].decode("utf-8", "replace")
    byte = data[at]
    meant = bytes([byte]).decode("cp1252", "ignore")
    hint = f" In Windows-1252 it would be {meant}." if meant.isprintable() and meant else ""
    return InputError(
        f"the byte 0x{byte:02X} (number {at + 1} of the file) is not UTF-8 text",
        remedy="Save the file as UTF-8 in your text editor." + hint,
        place=Span(name, line, column, column + 1, source[:1000]),
    )


def _inside(folder: Path) -> str:
    try:
        found = sorted(entry.name for entry in folder.iterdir() if entry.suffix == ".stage")
    except OSError:
        found = []
    return f"Name a file in it, like {folder / found[0]}." if found else "Name a file in it."


def _neighbour(path: Path) -> str:
    """A file beside the missing one with almost its name."""
    try:
        beside = [entry.name for entry in path.parent.iterdir() if entry.is_file()]
    except OSError:
        return f"There is no folder {path.parent} either."
    close = difflib.get_close_matches(path.name, beside, n=1, cutoff=0.6)
    return f"Did you mean {path.parent / close[0]}?" if close else "Check the name and the folder."
