"""Layouts kept between runs in the user's cache folder, so that a known stage draws at once.

Nothing depends on it: a folder that cannot be written, and a file that cannot be read, only cost
the time of laying out again.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from biaspredict.model.stage import Stage
from biaspredict.report.drawing.draw import lay_out, layout_key
from biaspredict.report.drawing.records import Layout

KEPT = 200  # files; the oldest go first
MOST_BYTES = 4_000_000


def cache_folder() -> Path | None:
    """Where layouts are kept, by the XDG base directory specification; None if nowhere."""
    base = os.environ.get("XDG_CACHE_HOME", "")
    if not os.path.isabs(base):
        try:
            base = str(Path.home() / ".cache")
        except RuntimeError:
            return None
    return Path(base) / "biaspredict" / "drawings"


def known_layout(
    stage: Stage, volts: Mapping[str, float] | None = None, folder: Path | None = None
) -> Layout:
    """The stage's layout, from the folder where it is there, else laid out and put there.

    folder: None for the user's cache folder. Raises InputError as `lay_out` does.
    """
    place = folder if folder is not None else cache_folder()
    key = layout_key(stage, volts)
    if place is None:
        return lay_out(stage, volts)
    file = place / f"{key}.layout"
    if (kept := _read(file, key)) is not None:
        return kept
    layout = lay_out(stage, volts)
    _write(file, layout.to_text())
    return layout


def _read(file: Path, key: str) -> Layout | None:
    try:
        if file.stat().st_size > MOST_BYTES:
            return None
        layout = Layout.from_text(file.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return layout if layout.key == key else None


def _write(file: Path, text: str) -> None:
    """Whole or not at all: written beside its place, then moved there."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(dir=file.parent, suffix=".part")
    except OSError:
        return
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            out.write(text)
        os.replace(beside, file)
    except OSError:
        with suppress(OSError):
            os.unlink(beside)
        return
    _thin(file.parent)


def _thin(folder: Path) -> None:
    with suppress(OSError):
        files = sorted(folder.glob("*.layout"), key=lambda f: f.stat().st_mtime)
        for old in files[:-KEPT]:
            old.unlink()
