"""All that `corners` tells of a stage's capacitors, each part of it withheld with its reason."""

from __future__ import annotations

from dataclasses import dataclass

from biaspredict.engine.solver import Solver
from biaspredict.errors import BiaspredictError, InputError, Unsolved
from biaspredict.model.parts import CAPACITORS, Kind
from biaspredict.model.stage import Stage
from biaspredict.predict.bias import predict_bias
from biaspredict.predict.corners import Corners, corners
from biaspredict.predict.dryness import Drying, drying
from biaspredict.predict.leakage import Leak, leakage
from biaspredict.predict.path import Referee, ports_of
from biaspredict.predict.settling import Settling, settling

SECTIONS = ("bass", "dry", "leakage", "waiting")


@dataclass(frozen=True)
class Capacitors:
    """Each section, or None where it was not asked for or `withheld` says why it is missing."""

    stage: Stage
    corners: Corners | None
    drying: Drying | None
    leaks: tuple[Leak, ...] | None
    settling: Settling | None
    withheld: dict[str, BiaspredictError]


def capacitors(
    stage: Stage,
    referee: Referee,
    drawer: Solver,
    *,
    sections: tuple[str, ...] = SECTIONS,
    start: str | None = None,
    end: str | None = None,
    square: float | None = None,
) -> Capacitors:
    """What the capacitors of a stage do.

    Raises InputError where there is none, or no such port; what withholds every section asked
    for; EngineMissing.
    """
    if not any(part.kind in CAPACITORS for part in stage.parts):
        raise InputError(
            "the stage has no capacitor, so nothing in it has a corner",
            remedy="Write its capacitors down, those at the edge of the stage too.",
        )
    if stage.inputs and stage.outputs:
        ports_of(stage, start, end)  # a name that is not there is no reason to withhold, but a slip
    withheld: dict[str, BiaspredictError] = {}
    found, dried, leaks, waits = None, None, None, None
    if "bass" in sections or "dry" in sections:
        try:
            found = corners(stage, referee, start=start, end=end, square=square)
            dried = drying(found.path) if "dry" in sections else None
        except (InputError, Unsolved) as problem:
            withheld |= {name: problem for name in ("bass", "dry") if name in sections}
    if "leakage" in sections:
        try:
            _needs_rails(stage)
            leaks = leakage(predict_bias(stage, referee, drawer), drawer)
        except Unsolved as problem:
            withheld["leakage"] = problem
    if "waiting" in sections:
        try:
            _needs_rails(stage)
            waits = settling(stage, referee)
        except Unsolved as problem:
            withheld["waiting"] = problem
    if withheld and len(withheld) == len(sections):
        raise next(reversed(withheld.values()))
    return Capacitors(
        stage, found if "bass" in sections else None, dried, leaks, waits, withheld
    )


def _needs_rails(stage: Stage) -> None:
    """Raises Unsolved for a stage whose DC comes from a winding through rectifiers."""
    if any(part.kind is Kind.WINDING and part.volts for part in stage.parts):
        raise Unsolved(
            "a transformer winding feeds this stage, so its volts never quite rest and no single "
            "operating point holds",
            remedy="Look at the supply by itself, and give the rest of the stage a rail instead.",
        )
