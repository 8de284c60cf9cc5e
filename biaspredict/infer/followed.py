"""Faults that no step has reached, followed to their degree from where the sound specimen stands.

In a loop of many transistors a fault that is only supposed takes the output to a rail, and what the
slopes say there is no guide: any reading seems within reach, and none is reached. But where the
sound specimen stands the loop is in command, and from there it keeps it while a part drifts.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from biaspredict import underway
from biaspredict.engine.solver import Floats
from biaspredict.graph.network import direct_coupled
from biaspredict.infer.components import NO_FAULT, Component, Scores
from biaspredict.infer.contenders import within_sight
from biaspredict.infer.scouts import LOOP, Looker, stride
from biaspredict.predict.points import Ints

UNREACHED = 3.0  # nats that one more step promises, beyond which a component is not where it aims
COUNTS = 8.0  # nats behind the best within which such a component is followed
STAGES, LOOKS = 4, 2  # of the way, and looks at each
BETTER = 1e-3  # nats


def may_be_followed(explainer: Looker, components: Sequence[Component]) -> NDArray[np.bool_]:
    """(B,) single faults of degrees, in a loop of many transistors."""
    most = max(direct_coupled(explainer.predictor.stage).values(), default=0)
    if most < LOOP or NO_FAULT not in components or not explainer.task.probes:
        return np.zeros(len(components), dtype=bool)
    return np.array([_graded(component) for component in components])


def unreached(
    components: Sequence[Component], found: Scores, rows: Ints, belief: Floats, gain: Floats
) -> Ints:
    """Which of some rows count by what they have not reached; none without a sound specimen."""
    if not rows.size:
        return rows
    sound = components.index(NO_FAULT)
    if found.place[sound] < 0 or not found.solved[sound] or not gain[sound] < UNREACHED:
        return rows[:0]
    near = within_sight(belief, found) & (belief > belief.max() - COUNTS)
    which: Ints = rows[(gain[rows] > UNREACHED) & near[rows]]
    return which


def _graded(component: Component) -> bool:
    fault = component.faults[0] if len(component.faults) == 1 else None
    return fault is not None and fault.least is not None and fault.most is not None


def followed(
    explainer: Looker, components: Sequence[Component], found: Scores, rows: Ints
) -> tuple[Floats, Floats]:
    """Latents (len(rows), P + M) of each component when it has come to its degree, and volts
    (len(rows), n + spares) there, NaN where unsolved."""
    sound, width = components.index(NO_FAULT), explainer.width
    best = np.zeros((len(rows), found.total))
    best[:, :width] = found.latents_of([sound])[0][:width]
    volts = np.repeat(found.volts_of([sound]), len(rows), axis=0)
    some = [components[row] for row in rows.tolist()]
    ends = _harmless(explainer, some)
    for stage in range(1, STAGES + 1):
        underway.at("following faults", stage, STAGES)
        part = [
            _at(c, end * (c.severities[0] / end) ** (stage / STAGES))
            for c, end in zip(some, ends, strict=True)
        ]
        best, volts = _settled(explainer, part, best, volts, found.total - width)
    return best, volts


def _at(component: Component, severity: float) -> Component:
    return Component(component.faults, (severity,), (0.0,), 0.0, component.at_lead)


def _harmless(explainer: Looker, components: Sequence[Component]) -> list[float]:
    """The end of each fault's severities that moves the volts of the middle the less."""
    ends = [(c.faults[0].least or 1.0, c.faults[0].most or 1.0) for c in components]
    asked = [_at(c, end).centre for c, two in zip(components, ends, strict=True) for end in two]
    size = len(explainer.predictor.circuit.nodes)
    middle = explainer.predictor.middle([NO_FAULT.centre, *asked])[:, :size]
    away = np.abs(middle[1:] - middle[0]).sum(axis=1).reshape(-1, 2)
    nearer = np.argmin(np.where(np.isfinite(away), away, np.inf), axis=1)
    return [two[k] for two, k in zip(ends, nearer.tolist(), strict=True)]


def _settled(
    explainer: Looker, components: Sequence[Component], latents: Floats, volts: Floats, shifts: int
) -> tuple[Floats, Floats]:
    """Latents and volts after a few steps, each kept only where it is the better."""
    least = np.full(len(components), np.inf)
    best, there, aims = latents.copy(), volts.copy(), latents
    task = explainer.task
    for _ in range(LOOKS):
        seen, slopes = explainer.look(components, aims, shifts, task.probes, start=there)
        task.meet(seen.values, slopes)
        noise = explainer.noise(seen.values) + seen.doubt**2
        miss = task.values - seen.values
        cost = 0.5 * ((aims**2).sum(1) + (miss**2 / noise + np.log(noise)).sum(1))
        better = seen.solved & (cost < least - BETTER)
        least[better], best[better] = cost[better], aims[better]
        there[better, : seen.volts.shape[1]] = seen.volts[better]
        on, _, _ = explainer.aim(seen.values, slopes, noise, aims)
        aims = np.where(better[:, None], aims + stride(on - aims), best + 0.4 * (aims - best))
    return aims, there
