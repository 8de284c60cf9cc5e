"""A trimmer is turned on the specimen itself, warm, until a person reads about what is wanted."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from biaspredict.model.stage import GROUND, Setting

from .draws import Draws
from .specimen import Specimen
from .spice import Runner
from .truth import Solved, at_rest, solve

NEAR, CREPT = 0.05, 0.003  # share, and volts, by which it is off today (from memory)
TRIED = 13
NARROWINGS = 4
SWEEPS = 3  # over trimmers that work on each other


def set_and_solved(
    runner: Runner, specimen: Specimen, draw: Draws, *, check: bool = False
) -> Solved | None:
    """The specimen with its trimmers set, solved; None where one cannot be set."""
    wanted = {
        s.ref: s.volts * (1.0 + draw.normal(NEAR)) + draw.normal(CREPT)
        for s in specimen.stage.settings
    }
    for _ in range(SWEEPS if len(wanted) > 1 else 1):
        for setting in specimen.stage.settings:
            found = _set(runner, specimen, setting, wanted[setting.ref])
            if found is None:
                return None
            specimen = found
    (solved,) = solve(runner, [specimen], check=check)
    return solved


def _set(
    runner: Runner, specimen: Specimen, setting: Setting, volts: float
) -> Specimen | None:
    low, high = 0.0, 1.0
    for _ in range(NARROWINGS):
        turns = np.linspace(low, high, TRIED).tolist()
        found = at_rest(runner, [_turned(specimen, setting.ref, turn) for turn in turns])
        over = [math.nan if f is None else _reads(f, setting) - volts for f in found]
        at = _crossing(over)
        if at is None:
            return None
        low, high = turns[at], turns[at + 1]
    share = over[at] / (over[at] - over[at + 1]) if over[at] != over[at + 1] else 0.5
    return _turned(specimen, setting.ref, low + share * (high - low))


def _crossing(over: Sequence[float]) -> int | None:
    """The interval nearest to the middle in which the sign changes."""
    found = [i for i, (a, b) in enumerate(itertools.pairwise(over)) if a * b <= 0.0]
    return min(found, key=lambda i: abs(i + 1.0 - len(over) / 2.0), default=None)


def _turned(specimen: Specimen, ref: str, turn: float) -> Specimen:
    values = specimen.bodies[ref].values
    ohms = values["upper"] + values["lower"]
    return specimen.but(ref, upper=ohms * (1.0 - turn), lower=ohms * turn)


def _reads(found: Solved, setting: Setting) -> float:
    volts = found.volts | {GROUND: 0.0}
    across = volts[setting.node] - volts[setting.minus or GROUND]
    return abs(across) if setting.across else across
