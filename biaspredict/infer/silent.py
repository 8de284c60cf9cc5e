"""Faults that DC cannot see: which of them a signal reading brings to light."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from biaspredict.infer.components import NO_FAULT, Component
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import Fault

SHOWS = 1.0  # standard deviations of a reading by which the worst degree must move it


def brought_to_light(explainer: Explainer, faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """Those of the silent `faults` that some signal reading taken would show at their worst.

    The others are as untested as before: to weigh them would only repeat what was believed
    beforehand.
    """
    probes = explainer.task.probes
    where = np.flatnonzero([probe.signal is not None for probe in probes])
    if not where.size or not faults:
        return ()
    asked = [probes[k] for k in where]
    worst = [Component((fault,), (_worst(fault),), (0.0,), 0.0) for fault in faults]
    components = [NO_FAULT, *worst]
    latents = np.zeros((len(components), explainer.width + 1))
    seen, slopes = explainer.look(components, latents, 1, asked)
    if not seen.solved[0]:
        return ()
    spread = np.sqrt((slopes[0] ** 2).sum(1) + explainer.task.sigmas[where] ** 2)
    moved = np.abs(seen.values[1:] - seen.values[0]) / spread
    return tuple(
        fault for fault, far, good in zip(faults, moved, seen.solved[1:], strict=True)
        if good and far.max() > SHOWS
    )


def _worst(fault: Fault) -> float:
    """The severity farthest from sound: times below one shrink, ohms in series grow."""
    if fault.least is None or fault.most is None:
        return 1.0
    return fault.least if fault.unit == "times" and fault.most < 1.0 else fault.most
