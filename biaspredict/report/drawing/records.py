"""What the drawing is handed and what a laid-out stage consists of.

Lengths are in units of about one letter's width times three; y runs downwards, as in SVG.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields
from enum import Enum
from typing import Any

from biaspredict.report.drawing.shapes import reach_of


class Verdict(Enum):
    """What a reading says of its prediction."""

    INSIDE = "inside"  # within the band
    OUTSIDE = "outside"
    UNJUDGED = "unjudged"  # nothing predicted to hold it against


@dataclass(frozen=True, slots=True)
class Next:
    """What to measure next: canonical nodes of both leads, minus None for ground.

    words: the whole touch ("ohms across C2, power off"), said below the drawing.
    """

    node: str
    minus: str | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A reading to be shown: at a node, or between two of them.

    node, minus: canonical nodes of the probe and of the other lead, None for ground.
    value: as read, in its unit ("1.90 V"). arrow: +1 read above the band, -1 below, 0 inside.
    deviation: reading less prediction, in its unit and with its sign ("-0.73 V"), or "".
    """

    node: str
    value: str
    minus: str | None = None
    verdict: Verdict = Verdict.UNJUDGED
    arrow: int = 0
    deviation: str = ""


@dataclass(frozen=True, slots=True)
class Symbol:
    """A part in its place.

    x, y: middle of the body. along: the way from the first terminal to the last, one of "down",
    "up", "left", "right". side: the way the base, gate or wiper points, or "".
    points: terminal name and where its lead ends.
    """

    ref: str
    shape: str
    x: float
    y: float
    along: str
    side: str
    points: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True)
class Wire:
    """A straight piece of wire of one node. dashed: the node's DC is set by nothing."""

    node: str
    x1: float
    y1: float
    x2: float
    y2: float
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Dot:
    """Where more than two wires of a node join."""

    node: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Hop:
    """Where a level wire of one node passes over an upright wire of another."""

    over: str
    under: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class End:
    """Where the outside begins: ground, a rail, an input, an output, a pin, or a link.

    A link carries a node on in another row, under the same `name`.
    """

    what: str
    name: str
    node: str
    x: float
    y: float
    towards: str


@dataclass(frozen=True, slots=True)
class Text:
    """One line of lettering. anchor: "start", "middle", "end" at x; y is the baseline.

    style: "ref", "value", "volts", "name", "note" or "title". about: reference or node.
    """

    text: str
    x: float
    y: float
    anchor: str
    style: str
    about: str


@dataclass(frozen=True, slots=True)
class Slot:
    """Room kept at a node for the prediction (above y) and the reading (below y).

    x1..x2: its stretch. anchor: "start" where lettering begins at x1, "end" where it ends at x2.
    """

    node: str
    x1: float
    x2: float
    y: float
    anchor: str


@dataclass(frozen=True, slots=True)
class Layout:
    """A stage laid out: nothing in it depends on readings.

    key: digest of all that the layout depends on.
    """

    key: str
    title: str
    width: float
    height: float
    symbols: tuple[Symbol, ...]
    wires: tuple[Wire, ...]
    dots: tuple[Dot, ...]
    hops: tuple[Hop, ...]
    ends: tuple[End, ...]
    texts: tuple[Text, ...]
    slots: tuple[Slot, ...]
    notes: tuple[str, ...]

    def to_text(self) -> str:
        """The layout as text, for keeping; `from_text` gives it back."""
        record = {f.name: _plain(getattr(self, f.name)) for f in fields(self)}
        return json.dumps(record, ensure_ascii=True, separators=(",", ":")) + "\n"

    @classmethod
    def from_text(cls, text: str) -> Layout:
        """Raises ValueError where the text is no layout."""
        try:
            record = json.loads(text, parse_constant=_refused)
            lists = {name: tuple(_row(kind, row) for row in record[name]) for name, kind in _LISTS}
            lists["notes"] = tuple(str(note) for note in record["notes"])
            return cls(
                str(record["key"]),
                str(record["title"]),
                float(record["width"]),
                float(record["height"]),
                **lists,
            )
        except (TypeError, KeyError, AttributeError) as problem:
            raise ValueError(f"not a layout: {problem}") from None


_LISTS: tuple[tuple[str, type], ...] = (
    ("symbols", Symbol),
    ("wires", Wire),
    ("dots", Dot),
    ("hops", Hop),
    ("ends", End),
    ("texts", Text),
    ("slots", Slot),
)

_TYPES = {"str": str, "float": float, "bool": bool}


def _refused(word: str) -> float:
    raise ValueError(f"{word} is no length")


def _plain(value: Any) -> Any:
    if not isinstance(value, tuple):
        return value
    return [row if isinstance(row, str) else astuple(row) for row in value]


def _row(kind: type, row: Iterable[Any]) -> Any:
    values = list(row)
    names = [f for f in fields(kind) if f.init]
    if len(values) != len(names):
        raise KeyError(f"{kind.__name__} has {len(names)} fields")
    made: list[Any] = []
    for field, value in zip(names, values, strict=True):
        if field.name == "points":
            made.append(tuple((str(t), float(x), float(y)) for t, x, y in value))
            continue
        wanted = _TYPES[str(field.type)]
        if wanted is float and isinstance(value, int) and not isinstance(value, bool):
            value = float(value)
        if not isinstance(value, wanted):
            raise TypeError(f"{kind.__name__}.{field.name} is {value!r}")
        if field.name == "shape":
            reach_of(str(value))
        made.append(value)
    return kind(*made)
