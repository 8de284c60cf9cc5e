"""The page of `bias`."""

from __future__ import annotations

from biaspredict.model.stage import Setting, Stage
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
    lines += ["", *(_set(stage, setting) for setting in stage.settings)] if stage.settings else []
    told = list(standing.of_the_stage(bias.others))
    lines += ["", *told] if told else []
    return "\n".join(lines)


def _set(stage: Stage, setting: Setting) -> str:
    turn = stage.part(setting.ref).turn or 0.0
    return words.wrapped(
        f"{setting.ref} set for {words.volts(setting.volts)} {setting.place}: its wiper stands at "
        f"{100.0 * turn:.0f} % of the track, from the bottom.")
