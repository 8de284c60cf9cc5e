"""Files written whole or not at all."""

from __future__ import annotations

import errno
import os
import tempfile
from contextlib import suppress
from pathlib import Path

from biaspredict.errors import InputError

ELSEWHERE = "Choose a folder that is there and that you may write to."
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def save(path: Path, data: bytes) -> None:
    """Write beside the file and then put it in its place: what was there stays if this fails.

    Raises InputError.
    """
    beside = ""
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, suffix=".part")
        with os.fdopen(handle, "wb") as out:
            out.write(data)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(beside, 0o666 & ~mask)
        os.replace(beside, path)
    except (OSError, ValueError) as problem:
        raise unwritable(path, problem) from None
    finally:
        with suppress(OSError, ValueError):
            os.unlink(beside)


def unwritable(path: Path, problem: Exception) -> InputError:
    """The error for a file that cannot be written."""
    said = getattr(problem, "strerror", None) or "no file can have this name"
    full = getattr(problem, "errno", None) in NO_ROOM
    remedy = "Make room there, or choose another folder." if full else ELSEWHERE
    return InputError(f"{path} cannot be written: {said}", remedy=remedy)
