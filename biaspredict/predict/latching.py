"""A stage that can stand in more than one way, as a finding."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.findings import Finding, Gravity
from biaspredict.predict.bias import Bias
from biaspredict.quantities import Unit, engineering


def latching(found: Bias) -> Iterator[Finding]:
    """One finding for each further state."""
    volts = found.volts()
    for state in found.others:
        moved = sorted(state, key=lambda node: -abs(state[node] - volts[node]))
        node = moved[0]
        yield Finding(
            "two-states", Gravity.CHECK, tuple(moved),
            f"the stage can stand in another way as well: {node} at "
            f"{engineering(volts[node], Unit.VOLT)} or at {engineering(state[node], Unit.VOLT)}.",
            "Right for a flip-flop or a trigger. In an amplifier look for feedback taken to the "
            "wrong side, or a transistor drawn upside down.",
        )
