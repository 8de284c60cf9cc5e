"""What the readings tell of a quantity that the sheet leaves open: a wiper, a gain."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from biaspredict.infer.components import NO_FAULT, whole_spread
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.ranking import Ranking
from biaspredict.model.circuit import Axis
from biaspredict.model.devices import Bipolar, Fet
from biaspredict.model.parts import POTS, Part

DETERMINED = 0.5  # share of its spread beforehand to which readings must bring an unknown
WIDE = 2.0  # ratio of its limits from which a parameter counts as unknown
CENTRAL = 1.645  # standard deviations of the central 90 %


@dataclass(frozen=True, slots=True)
class Unknown:
    """One quantity. what: "wiper", "gain", "IDSS", "pinch-off" or (see `types`) "type".

    value, low, high: of the best explanation, central 90 %; a wiper from 0 (bottom) to 1.
    determined: the readings tell it. says: of a type, in a word. stated: the sheet gives
    limits for it.
    """

    part: str
    what: str
    value: float
    low: float
    high: float
    determined: bool
    says: str = ""
    stated: bool = False


def unknowns(explainer: Explainer, ranking: Ranking) -> tuple[Unknown, ...]:
    """Every open quantity, under the explanation that holds most belief.

    A quantity that this explanation itself says is amiss is left to the list of suspects.
    """
    if not explainer.task.probes or not ranking.weights.size:
        return ()
    best = ranking.suspects[0] if ranking.suspects else None
    if best is None or ranking.sound >= best.weight:
        row, accused = ranking.components.index(NO_FAULT), frozenset[str]()
    else:
        rows = np.array(best.rows)
        row = int(rows[np.argmax(ranking.weights[rows])])
        accused = frozenset(part.split(".")[0] for part in best.parts)
    h = ranking.scores.slopes_of([row])[0]
    spread = whole_spread(h, ranking.scores.noise[row])
    covariance = np.eye(h.shape[1]) - h.T @ np.linalg.solve(spread, h)
    latents = ranking.scores.latents_of([row])
    amounts = explainer.amounts(latents)[0]
    # amounts follow the latents in a straight line, whatever an explainer knows beforehand
    steps = explainer.amounts(latents + np.eye(h.shape[1])) - amounts
    variance = np.einsum("lp,lm,mp->p", steps, covariance, steps)
    stage = explainer.predictor.stage
    parts = {part.ref: part for part in stage.parts}
    found = []
    for p, axis in enumerate(explainer.predictor.axes):
        ref, _, field = axis.name.rpartition(".")
        part = parts.get(ref)
        if part is None or ref in accused or not _open(part, field):
            continue
        share = math.sqrt(max(float(variance[p]), 0.0)) / axis.sigma
        found.append(_unknown(part, field, axis, float(amounts[p]), share))
    return tuple(found)


_WHAT = {"turn": "wiper", "gain": "gain", "idss": "IDSS", "pinch_off": "pinch-off"}


def _open(part: Part, field: str) -> bool:
    """Whether the sheet leaves this open by more than a tolerance."""
    device = part.device
    if field == "turn":
        return part.kind in POTS and part.turn is None
    if field == "gain" and isinstance(device, Bipolar):
        return device.gain.high / device.gain.low >= WIDE
    if isinstance(device, Fet) and field in ("idss", "pinch_off"):
        limits = device.idss if field == "idss" else device.pinch_off
        return limits.high / limits.low >= WIDE
    return False


def _unknown(part: Part, field: str, axis: Axis, amount: float, share: float) -> Unknown:
    """share: the spread that is left, as a share of that beforehand."""
    reach = CENTRAL * share * axis.sigma
    ends = (amount, amount - reach, amount + reach)
    if field == "turn":
        value, low, high = (min(max(0.5 + x, 0.0), 1.0) for x in ends)
    else:
        middle = _middle(part, field)
        value, low, high = (middle * math.exp(x) for x in ends)
    stated = part.device is not None and field in getattr(part.device, "given", ())
    return Unknown(
        part.ref, _WHAT[field], value, low, high, share <= DETERMINED, stated=stated
    )


def _middle(part: Part, field: str) -> float:
    device = part.device
    if isinstance(device, Bipolar):
        return device.gain.middle
    assert isinstance(device, Fet)
    return (device.idss if field == "idss" else device.pinch_off).middle
