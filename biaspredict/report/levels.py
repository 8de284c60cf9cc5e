"""The page of `bias`."""

from __future__ import annotations

from biaspredict.predict.bias import Bias
from biaspredict.report import standing, words


def page(bias: Bias) -> str:
    """Node table with bands, and where else the stage can stand."""
    stage = bias.stage
    lines = [words.wrapped(stage.title), ""]
    rows = [("node", "volts", "95 % of sound stages")]
    rows += [
        (node, words.volts(level.volts), words.span(level.low, level.high))
        for node, level in bias.levels.items()
    ]
    lines += words.table(rows, right=(1,))
    told = list(standing.of_the_stage(bias.others))
    lines += ["", *told] if told else []
    return "\n".join(lines)
