"""The truth's faults in the words in which an answer names them."""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.model.parts import POTS, Kind
from biaspredict.model.stage import Stage

from .adapter import Suspect
from .faults import Fault


def key(stage: Stage, fault: Fault) -> tuple[str, str]:
    """(part, mode) of a fault; a joint in series with a part is a fault of that part."""
    if fault.group != "joint":
        return fault.part, fault.mode
    kind = stage.part(fault.part).kind
    legged = kind in (Kind.TRANSISTOR, Kind.FET) or kind in POTS
    if fault.mode == "open":
        return fault.part, f"{fault.lead} open" if legged else "open"
    if kind in POTS:
        return fault.part, "bad wiper" if fault.lead == "wiper" else f"{fault.lead} joint"
    if legged or kind in (Kind.DIODE, Kind.ZENER):
        return fault.part, f"{fault.lead} joint"
    if kind in (Kind.COIL, Kind.WINDING, Kind.FUSE):
        return fault.part, "joint"
    return fault.part, "drift up"


def accepted(truth: Sequence[Fault]) -> frozenset[str]:
    """Parts whose naming is right: the faulty ones, and those across the very same nodes."""
    return frozenset(name for fault in truth for name in (fault.part, *fault.also))


def names(suspect: Suspect, truth: Sequence[Fault]) -> bool:
    """Whether the suspect blames nothing but truly faulty parts."""
    return bool(suspect.parts) and suspect.parts <= accepted(truth)


def holds(stage: Stage, suspect: Suspect, truth: Sequence[Fault]) -> bool:
    """Whether what the suspect says is true, be there other faults besides."""
    known = {key(stage, fault) for fault in truth}
    return set(suspect.faults) <= known or is_it(stage, suspect, truth)


def is_it(stage: Stage, suspect: Suspect, truth: Sequence[Fault]) -> bool:
    """Whether the suspect is the truth: the same faults of the same parts."""
    wanted = sorted(key(stage, fault) for fault in truth)
    if sorted(suspect.faults) == wanted:
        return True
    # A residue across a part is that part reading low: nobody can say which.
    return len(truth) == 1 and bool(truth[0].also) and names(suspect, truth)
