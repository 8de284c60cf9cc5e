"""What accumulates: things noticed about a stage, each with place, fact and remedy."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from biaspredict.span import Span


class Gravity(Enum):
    """How much a finding matters to the person at the bench."""

    STOP = "stop"  # the stage cannot be predicted as written
    CHECK = "check"  # probably a slip, or a danger to a part
    NOTE = "note"  # worth knowing


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing noticed.

    code: stable short name, e.g. "no-path-to-ground".
    about: references or node names concerned.
    fact: what was noticed; remedy: what to look at or do.
    """

    code: str
    gravity: Gravity
    about: tuple[str, ...]
    fact: str
    remedy: str = ""
    place: Span | None = None
