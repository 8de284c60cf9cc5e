"""The drawing as a file: SVG as it is, PNG and PDF through CairoSVG, which is an optional extra."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from biaspredict.errors import InputError
from biaspredict.report.drawing.svg import MADE_BY
from biaspredict.saving import save as save_file
from biaspredict.saving import unwritable

PIXELS = 2.0  # of a PNG for each unit of the SVG: about 190 dots an inch on paper
_MARK = f"\n%{MADE_BY}\n".encode()
_LOOK = 4096  # bytes at either end of a file that tell whose it is


def to_png(svg: str) -> bytes:
    """The drawing in pixels. Raises InputError where CairoSVG or cairo is not installed."""
    # The mark stands behind the end of the picture, where every reader passes over it.
    return bytes(_cairosvg().svg2png(bytestring=svg.encode(), scale=PIXELS)) + _MARK


def to_pdf(svg: str) -> bytes:
    """The drawing on one page of its own size. Raises InputError as `to_png`."""
    return bytes(_cairosvg().svg2pdf(bytestring=svg.encode())) + _MARK


def _as_it_is(svg: str) -> bytes:
    return svg.encode()


MAKERS: dict[str, Callable[[str], bytes]] = {".svg": _as_it_is, ".png": to_png, ".pdf": to_pdf}


def must_be_writable(path: Path) -> None:
    """Raises InputError for an ending that no drawing has, or where another's file stands."""
    if path.suffix.lower() not in MAKERS:
        raise InputError(
            f"a drawing cannot be written as {path.name}",
            remedy="Give the file the ending .svg, .png or .pdf.",
        )
    try:
        ours = not path.exists() or (path.is_file() and _ours(path))
    except (OSError, ValueError) as problem:
        raise unwritable(path, problem) from None
    if not ours:
        raise InputError(
            f"{path} is there already, and is no drawing of this program",
            remedy="Give another name, or move that file away.",
        )


def _ours(path: Path) -> bool:
    with path.open("rb") as file:
        start = file.read(_LOOK)
        file.seek(0, os.SEEK_END)
        file.seek(max(file.tell() - _LOOK, 0))
        return not start.strip() or MADE_BY.encode() in start or _MARK in file.read()


def save(svg: str, path: Path) -> None:
    """Write the drawing as the ending says: .svg, .png or .pdf; whole or not at all.

    Raises InputError as `must_be_writable`, for a missing library, or where the place cannot be
    written.
    """
    must_be_writable(path)
    data = MAKERS[path.suffix.lower()](svg)
    save_file(path, data)


def _cairosvg() -> Any:
    try:
        import cairosvg
    except ImportError:
        raise InputError(
            "PNG and PDF need the extra `pictures`, which is not installed",
            remedy="Run: pip install 'biaspredict[pictures]'. SVG works without it.",
        ) from None
    except OSError:
        raise InputError(
            "PNG and PDF need the cairo library, which is not installed",
            remedy="Install it (Debian: apt-get install libcairo2). SVG works without it.",
        ) from None
    return cairosvg
