"""The parsers of the grammars, built once and kept for the next start.

Working out a parser's tables takes longer than reading a stage, so they are kept in the user's
cache folder under a name that changes with the grammars, lark and Python. Whatever is wrong with
a kept file, the tables are worked out again; where none can be kept, they are every time.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from biaspredict.errors import InputError

if TYPE_CHECKING:
    from lark import Lark

_STARTS = {"stage": ["statement", "figures"], "readings": ["statement"]}


def folder() -> Path:
    """Where the grammars are: inside an installed package, beside it in a checkout.

    Raises InputError where they are in neither.
    """
    package = Path(__file__).parents[1]
    for place in (package / "_grammar", package.parent / "grammar"):
        if (place / "stage.lark").is_file():
            return place
    raise InputError(
        "the grammar of stages is missing from this installation of biaspredict",
        remedy="Install it again: pip install --force-reinstall biaspredict.",
    )


@cache
def parser(name: str) -> Lark:
    """The parser of "stage" or "readings"."""
    kept = _kept(name)
    if kept is not None and (found := _load(kept)):
        return found
    built = _build(name)
    if kept is not None:
        _keep(built, kept)
    return built


def _build(name: str) -> Lark:
    from lark import Lark

    source = folder() / f"{name}.lark"
    return Lark(
        source.read_text(encoding="utf-8"),
        parser="lalr",
        lexer="contextual",
        start=_STARTS[name],
        maybe_placeholders=False,
        propagate_positions=False,
        source_path=str(source),
    )


def _kept(name: str) -> Path | None:
    """The file that keeps the tables, None where there is no home for it."""
    import lark

    try:
        home = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
        sources = [(folder() / f"{part}.lark").read_bytes() for part in (name, "words")]
    except (RuntimeError, OSError):
        return None
    if not home.is_absolute():
        return None
    state = f"{lark.__version__} {sys.version_info[:2]} {_STARTS[name]}".encode()
    digest = hashlib.sha256(b"\0".join([*sources, state])).hexdigest()[:20]
    return home / "biaspredict" / f"{name}-{digest}.tables"


def _load(kept: Path) -> Lark | None:
    from lark import Lark

    try:
        with kept.open("rb") as file:
            # Loading runs what is kept, so nobody else may have written it.
            return Lark.load(file) if _ours(file) and _ours_alone(kept.parent) else None
    except Exception:
        # A file cut short or spoilt fails in as many ways as there are.
        return None


def _ours(file: BinaryIO) -> bool:
    found = os.fstat(file.fileno())
    return found.st_uid == os.getuid() and not found.st_mode & 0o022


def _ours_alone(place: Path) -> bool:
    found = place.stat()
    return found.st_uid == os.getuid() and not found.st_mode & 0o022


def _keep(built: Lark, kept: Path) -> None:
    """Write the tables, whole or not at all."""
    spare = kept.with_suffix(f".{os.getpid()}")
    try:
        kept.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with spare.open("xb") as file:
            os.fchmod(file.fileno(), 0o600)
            built.save(file)
        spare.replace(kept)
    except OSError:
        with contextlib.suppress(OSError):
            spare.unlink(missing_ok=True)
