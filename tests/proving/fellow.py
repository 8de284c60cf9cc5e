"""The other channel of a specimen: sound, of the same batch, in the same case, on the same rails.

How much two channels have in common is drawn anew for every case, on laws of the proving
ground's own (common practice, no source): a reel of resistors may have crept as one or not at
all, transistors of one type share what the type gives and little of what the bag gives.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from biaspredict.model.parts import Kind
from biaspredict.model.stage import Stage

from .adjusting import set_and_solved
from .draws import Draws
from .specimen import Body, Specimen
from .spice import Runner
from .truth import Solved, draw_specimen

BAG = frozenset({"bf", "ise", "icbo", "own_heat", "kelvin_per_watt"})  # strays within one bag
TRIES = 20


def fellow(
    runner: Runner, stage: Stage, mine: Specimen, rng: np.random.Generator
) -> Solved | None:
    """A verified sound specimen of the other channel, None where none was found."""
    draw = Draws(rng)
    reel, bag, kind = draw.uniform(0.0, 0.9), draw.uniform(0.0, 0.6), draw.uniform(0.7, 0.98)
    middle = draw_specimen(stage, None)
    for _ in range(TRIES):
        fresh = draw_specimen(stage, rng, ambient=mine.ambient + draw.normal(0.4))
        bodies = {
            ref: _body(stage, middle.bodies[ref], mine.bodies[ref], body, (reel, bag, kind))
            for ref, body in fresh.bodies.items()
        }
        rails = {n: (v * (1 + draw.normal(0.002)), r) for n, (v, r) in mine.rails.items()}
        other = replace(fresh, bodies=bodies, rails=rails, sources=mine.sources)
        found = set_and_solved(runner, other, draw, check=True)
        if found is not None:
            return found
    return None


def _body(
    stage: Stage, middle: Body, mine: Body, fresh: Body, shares: tuple[float, float, float]
) -> Body:
    reel, bag, kind = shares
    part = fresh.part
    if part.kind is Kind.RESISTOR:
        values = _mixed(middle.values, mine.values, fresh.values, lambda _: reel)
        spread, nominal = stage.tolerance(part), part.now or 1.0
        inside = nominal * (1 - spread.minus) <= values["ohms"] <= nominal * (1 + spread.plus)
        return replace(fresh, values=values) if inside else fresh
    if part.kind in (Kind.POT, Kind.TRIMMER):
        # the tracks of one control stand alike, whatever their ohms
        turn = mine.values["lower"] / (mine.values["lower"] + mine.values["upper"])
        whole = fresh.values["lower"] + fresh.values["upper"]
        if part.kind is Kind.TRIMMER:
            return fresh
        return fresh.but(lower=whole * turn, upper=whole * (1 - turn))
    if part.kind in (Kind.TRANSISTOR, Kind.FET, Kind.DIODE, Kind.ZENER):
        values = _mixed(
            middle.values, mine.values, fresh.values, lambda name: bag if name in BAG else kind
        )
        return replace(fresh, values=values)
    return fresh


def _mixed(
    middle: Mapping[str, float], mine: Mapping[str, float], fresh: Mapping[str, float],
    share: Callable[[str], float],
) -> dict[str, float]:
    """Each value with a share in common, its spread about the middle kept."""
    found = dict(fresh)
    for name, value in fresh.items():
        here, there = mine[name], middle[name]
        alike = share(name)
        if min(value, here, there) > 0 and math.isfinite(value + here + there):
            common = alike * math.log(here / there)
            own = math.sqrt(1 - alike**2) * math.log(value / there)
            found[name] = there * math.exp(common + own)
    return found
