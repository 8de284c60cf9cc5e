"""The recheck after a repair: said before it, compared after it."""

from __future__ import annotations

import re
from collections.abc import Callable

from biaspredict.infer.progress import owed
from biaspredict.infer.verdict import Verdict
from biaspredict.model.log import Verb
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import Stage
from biaspredict.notation import find_node
from biaspredict.notation.history import Chapter
from biaspredict.quantities import Unit, parse_value
from biaspredict.report import words

BODY = re.compile(r"(?P<name>.+) is (?P<value>.+) from (?P<low>.+) to (?P<high>.+)")


def promise(verdict: Verdict | None, ref: str) -> str:
    """What the reading that the repair moves most will be; "" where nothing can be said.

    From the answer's own repair where that is the part, else from what sound sets read.
    """
    if verdict is None or not verdict.compared:
        return ""
    volts = {
        c.reading.node: c for c in verdict.compared
        if c.reading.quantity is Quantity.VOLTS and c.reading.minus is None
        and not c.reading.meanwhile
    }
    best = verdict.ranking.suspects[0] if verdict.ranking.suspects else None
    repaired = best is not None and ref in {part.split(".")[0] for part in best.parts}
    found: list[tuple[float, str, float, float, float]] = []
    if repaired:
        for after in verdict.afterwards:
            plain = after.probe.minus is None and not after.probe.doing
            now = volts.get(after.probe.node) if plain else None
            if now is not None and after.probe.quantity is Quantity.VOLTS:
                half = max((after.high - after.low) / 2, 1e-6)
                move = abs(after.value - now.reading.value) / half
                found.append((move, now.reading.name, after.value, after.low, after.high))
    else:
        found = [
            (abs(c.off), c.reading.name, c.expected, c.low, c.high) for c in volts.values()
        ]
    if not found:
        return ""
    _, name, value, low, high = max(found)
    return f"{name} is {words.volts(value)} from {words.volts(low)} to {words.volts(high)}"


def kept_or_missed(
    stage: Stage, chapter: Chapter, reading: Reading, add: Callable[[Verb, str], int]
) -> list[str]:
    """Compare a reading with the promise that is owed, and put the result into the log."""
    owing = owed(chapter)
    said = BODY.fullmatch(owing.body) if owing is not None else None
    if said is None or reading.quantity is not Quantity.VOLTS or reading.minus is not None:
        return []
    if reading.meanwhile:
        return []
    if reading.node != find_node(stage, said["name"])[1]:
        return []
    low, high = (parse_value(said[what], Unit.VOLT) for what in ("low", "high"))
    shown = words.volts(reading.value)
    if low <= reading.value <= high:
        add(Verb.KEPT, f"{reading.name} {shown}")
        return [f"  Rechecked: {reading.name} reads {shown}, as promised."]
    add(Verb.MISSED, f"{reading.name} {shown}")
    return [words.wrapped(
        f"Not as promised: {reading.name} reads {shown}, and {words.span(low, high)} was to come "
        "of the repair. The part was not the fault, or not the only one.", "  ", "  ")]
