"""How finely a value is written: what its last digit is worth, and writing it so again."""

from __future__ import annotations

import re
from decimal import Decimal

from biaspredict.notation.reason import Reason, written
from biaspredict.numerals import clean_text
from biaspredict.quantities import Unit
from biaspredict.units import SPELLINGS

_VALUE = re.compile(r"[+-]?([0-9]*)(?:[.,]([0-9]*))?(?:/[0-9]+)? ?([^0-9]*)([0-9]*)(.*)")


def last_digit(text: str, unit: Unit) -> float:
    """Worth of the last digit of a value that reads: "1.90" 0.01, "310m" 0.001, "6K8" 100."""
    match = _VALUE.fullmatch(clean_text(text, SPELLINGS[unit].noun))
    if match is None:
        return 0.0
    decimals = len(match[2] or "") + len(match[4])
    return float(f"1e{_power(match[3] + match[5], unit) - decimals}")


def written_to(value: float, step: float, why: Reason) -> str:
    """The value as a file states it, its last digit worth `step` (0: as short as can be)."""
    text = written(value, why)
    if step <= 0 or last_digit(text.removesuffix("!"), why.unit) == step:
        return text
    place = Decimal(repr(step)).adjusted()
    usual = [
        rung for rung in SPELLINGS[why.unit].ladder if text.removesuffix("!").endswith(rung.mark)
    ]
    rungs = [*usual, *reversed(SPELLINGS[why.unit].ladder)]
    for rung in rungs:
        scaled = Decimal(repr(value)).scaleb(-rung.power)
        shown = f"{scaled:.{max(rung.power - place, 0)}f}"
        if rung.power >= place and Decimal(shown) == scaled:
            return shown + rung.mark + ("!" if text.endswith("!") else "")
    return text


def _power(mark: str, unit: Unit) -> int:
    spelling = SPELLINGS[unit]
    mark = re.sub("[ .]", "", mark)
    found = spelling.exact.get(mark)
    return spelling.folded.get(mark.lower(), 0) if found is None else found
