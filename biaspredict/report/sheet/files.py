"""Sheets as files: HTML as it is, PDF through WeasyPrint, which is an optional extra."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from biaspredict.errors import InputError
from biaspredict.report.sheet.document import MADE_BY
from biaspredict.saving import save as save_file
from biaspredict.saving import unwritable

ENDINGS = (".html", ".htm", ".pdf")
_LOOK = 4096  # bytes of a file that tell whose it is


def must_be_writable(path: Path) -> None:
    """Raises InputError for an ending that no sheet has, for a folder that cannot be written to,
    or where another's file stands."""
    if path.suffix.lower() not in ENDINGS:
        raise InputError(
            f"a sheet cannot be written as {path.name}",
            remedy="Give the file the ending .html or .pdf.",
        )
    try:
        if not path.parent.is_dir():
            raise FileNotFoundError(2, "no such folder")
        if not os.access(path.parent, os.W_OK):
            raise PermissionError(13, "the folder may not be written to")
        if not path.exists():
            return
        ours = path.is_file() and _ours(path)
    except (OSError, ValueError) as problem:
        raise unwritable(path, problem) from None
    if not ours:
        raise InputError(
            f"{path} is there already, and is no bench sheet",
            remedy="Give another name with --out, or move that file away.",
        )


def _ours(path: Path) -> bool:
    with path.open("rb") as file:
        start = file.read(_LOOK)
        if start.startswith(b"%PDF"):
            file.seek(0, os.SEEK_END)
            file.seek(max(file.tell() - _LOOK, 0))
            return MADE_BY.encode() in file.read()
    return not start.strip() or f'content="{MADE_BY}"'.encode() in start


def save(document: str, path: Path) -> None:
    """Write as the ending says, whole or not at all.

    Raises InputError as `must_be_writable`, where the library for PDF is missing, or where the
    place cannot be written.
    """
    must_be_writable(path)
    data = to_pdf(document) if path.suffix.lower() == ".pdf" else document.encode()
    save_file(path, data)


def to_pdf(document: str) -> bytes:
    """The document on A4. Raises InputError where WeasyPrint or what it needs is missing."""
    weasyprint = _weasyprint()
    made = weasyprint.HTML(string=document, url_fetcher=_nothing).write_pdf()
    # behind the end mark, where every reader passes over it: so that the next run knows its own
    return bytes(made) + f"\n%{MADE_BY}\n".encode()


def _nothing(url: str, *_: Any, **__: Any) -> Any:
    raise ValueError(f"a sheet fetches nothing: {url[:60]}")


def _weasyprint() -> Any:
    try:
        import weasyprint
    except ImportError:
        raise InputError(
            "PDF needs the extra `sheets`, which is not installed",
            remedy="Run: pip install 'biaspredict[sheets]'. Or print the HTML from a browser.",
        ) from None
    except OSError:
        raise InputError(
            "PDF needs the pango library, which is not installed",
            remedy="Install it (Debian: apt-get install libpango-1.0-0 libpangoft2-1.0-0). Or "
            "print the HTML from a browser.",
        ) from None
    return weasyprint
