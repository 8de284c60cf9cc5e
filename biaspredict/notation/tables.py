"""The parsers of the grammars, built once and kept for the next start.

Working out a parser's tables takes longer than reading a stage, so they are kept in the user's
cache folder under a name that changes with the grammars, lark and Python. Whatever is wrong with
a kept file, the tables are worked out again; where none can be kept, they are every time.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import pickle
import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, NamedTuple

from biaspredict.errors import InputError
from biaspredict.notation import slips
from biaspredict.notation import stops as examples
from biaspredict.notation.stops import Stops, stops_of

if TYPE_CHECKING:
    from lark import Lark

_STARTS = {"stage": ["statement", "figures"], "readings": ["statement"]}


class Tables(NamedTuple):
    """A grammar at work, and where the known slips stop it."""

    parser: Lark
    stops: Stops


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
def tables(name: str) -> Tables:
    """Those of "stage" or "readings"."""
    kept = _kept(name)
    if kept is not None and (found := _load(kept)):
        return found
    built = _build(name)
    if kept is not None:
        _keep(built, kept)
    return built


def _build(name: str) -> Tables:
    from lark import Lark

    source = folder() / f"{name}.lark"
    parser = Lark(
        source.read_text(encoding="utf-8"),
        parser="lalr",
        lexer="contextual",
        start=_STARTS[name],
        maybe_placeholders=False,
        propagate_positions=False,
        source_path=str(source),
    )
    return Tables(parser, stops_of(parser))


def _kept(name: str) -> Path | None:
    """The file that keeps the tables, None where there is no home for it."""
    import lark

    try:
        home = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
        sources = [(folder() / f"{part}.lark").read_bytes() for part in (name, "words")]
        sources += [Path(str(module.__file__)).read_bytes() for module in (slips, examples)]
    except (RuntimeError, OSError):
        return None
    if not home.is_absolute():
        return None
    state = f"{lark.__version__} {sys.version_info[:2]} {_STARTS[name]}".encode()
    digest = hashlib.sha256(b"\0".join([*sources, state])).hexdigest()[:20]
    return home / "biaspredict" / f"{name}-{digest}.tables"


def _load(kept: Path) -> Tables | None:
    from lark import Lark

    try:
        with kept.open("rb") as file:
            # Loading runs what is kept, so nobody else may have written it.
            if not _ours(file) or not _ours_alone(kept.parent):
                return None
            return Tables(Lark.load(file), pickle.load(file))
    except Exception:
        # A file cut short or spoilt fails in as many ways as there are.
        return None


def _ours(file: BinaryIO) -> bool:
    found = os.fstat(file.fileno())
    return found.st_uid == os.getuid() and not found.st_mode & 0o022


def _ours_alone(place: Path) -> bool:
    found = place.stat()
    return found.st_uid == os.getuid() and not found.st_mode & 0o022


def _keep(built: Tables, kept: Path) -> None:
    """Write the tables, whole or not at all."""
    spare = kept.with_suffix(f".{os.getpid()}")
    try:
        kept.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with spare.open("xb") as file:
            os.fchmod(file.fileno(), 0o600)
            built.parser.save(file)
            pickle.dump(built.stops, file)
        spare.replace(kept)
    except OSError:
        with contextlib.suppress(OSError):
            spare.unlink(missing_ok=True)
