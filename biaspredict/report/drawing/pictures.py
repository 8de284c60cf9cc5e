"""The drawing as a file: SVG as it is, PNG and PDF through CairoSVG, which is an optional extra."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from biaspredict.errors import InputError

PIXELS = 2.0  # of a PNG for each unit of the SVG: about 190 dots an inch on paper


def to_png(svg: str) -> bytes:
    """The drawing in pixels. Raises InputError where CairoSVG or cairo is not installed."""
    return bytes(_cairosvg().svg2png(bytestring=svg.encode(), scale=PIXELS))


def to_pdf(svg: str) -> bytes:
    """The drawing on one page of its own size. Raises InputError as `to_png`."""
    return bytes(_cairosvg().svg2pdf(bytestring=svg.encode()))


def save(svg: str, path: str | Path) -> None:
    """Write the drawing as the ending says: .svg, .png or .pdf; whole or not at all.

    Raises InputError for another ending, a missing library, or a place that cannot be written.
    """
    file = Path(path)
    makers: dict[str, Callable[[str], bytes]] = {".svg": _as_it_is, ".png": to_png, ".pdf": to_pdf}
    make = makers.get(file.suffix.lower())
    if make is None:
        raise InputError(
            f"a drawing cannot be written as {file.name}",
            remedy="Give the file the ending .svg, .png or .pdf.",
        )
    data = make(svg)
    beside = ""
    try:
        handle, beside = tempfile.mkstemp(dir=file.parent, suffix=".part")
        with os.fdopen(handle, "wb") as out:
            out.write(data)
        os.chmod(beside, 0o644)
        os.replace(beside, file)
    except OSError as problem:
        if beside:
            with suppress(OSError):
                os.unlink(beside)
        raise InputError(
            f"{file} cannot be written: {problem.strerror or problem}",
            remedy="Choose a folder that exists and that you may write to.",
        ) from None


def _as_it_is(svg: str) -> bytes:
    return svg.encode()


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
