"""Faults that look hopeless from the middle of the spread, looked at again from elsewhere.

Of many transistors in one loop the least offset takes the output to a rail, and what the
slopes say there leads nowhere near the readings. As good a place to begin as any is where the
same specimen would stand if it were sound, as far as its readings let it: there most faults
leave the loop in command.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.graph.network import direct_coupled
from biaspredict.infer.components import NO_FAULT, Component, Scores, Task
from biaspredict.predict.look import Observed
from biaspredict.predict.observe import Predictor
from biaspredict.predict.points import Ints
from biaspredict.predict.probe import Probe

LOOP = 4  # transistors joined by DC from which a stage is looked at twice
MOST = 400  # components of one such look
HOPELESS = 40.0  # nats below the best at which a component is left after its first look
BEYOND = 20.0  # the same as seen from the sound specimen
LONGEST = 3.0  # standard deviations that any latent moves in one step
NEAR = 1.0  # standard deviations from where sound is aimed at, within which the loop bends alike


class Looker(Protocol):
    """What an explainer does for its scouts; see there."""

    predictor: Predictor
    task: Task
    width: int

    def score(self, components: Sequence[Component], keep: int = 0) -> Scores: ...

    def look(
        self, components: Sequence[Component], latents: Floats, shifts: int,
        probes: Sequence[Probe], *, start: Floats | None = None, solved: Floats | None = None,
    ) -> tuple[Observed, Floats]: ...

    def amounts(self, latents: Floats) -> Floats: ...

    def at_rest(
        self, components: Sequence[Component], amounts: Floats, start: Floats | None
    ) -> Floats: ...

    def noise(self, values: Floats) -> Floats: ...

    def aim(
        self, values: Floats, slopes: Floats, noise: Floats, latents: Floats
    ) -> tuple[Floats, Floats, Floats]: ...


def hopeless_from(nearest: float, nats: float = HOPELESS) -> float:
    """The misfit from which a component is left after a look; nearest: the least of all."""
    return 1.5 * nearest + 2.0 * nats


def scouted(
    explainer: Looker, components: Sequence[Component], first: Scores, rows: Ints
) -> tuple[Scores, Ints, Floats, Floats]:
    """Scores, rows worth more steps, the latents (len(rows), P + M) where each was seen last, and
    those where to look next.

    first: of a look from the middle; rows: what is hopeful after it. What aims about where the
    sound specimen was aimed at is drawn along to where that came to stand.
    """
    usual, aims = np.zeros((len(rows), first.total)), stride(first.latents_of(rows))
    if max(direct_coupled(explainer.predictor.stage).values(), default=0) < LOOP:
        return first, rows, usual, aims
    if len(components) < 2 or NO_FAULT not in components or not explainer.task.probes:
        return first, rows, usual, aims
    sound = explainer.score([NO_FAULT], keep=1)
    if not sound.solved[0]:
        return first, rows, usual, aims
    there, width = np.zeros(first.total), explainer.width
    there[:width] = sound.latents_of([0])[0][:width]
    mine = components.index(NO_FAULT)
    if first.place[mine] >= 0:
        aimed, own = first.latents_of([mine])[0], first.latents_of(rows)
        near = np.abs(own - aimed)[:, :width].max(axis=1, initial=0.0) < NEAR
        aims[near] = own[near] + there - aimed
    seen = set(rows.tolist())
    volts = sound.volts_of([0])[0]
    asked = _one_each(components, first, seen)
    found, revived = _seen_from(explainer, components, first, asked, there, volts)
    asked = _the_rest(components, first, seen | set(revived), revived)
    found, more = _seen_from(explainer, components, found, asked, there, volts)
    late = np.array([*revived, *more], dtype=np.int64)
    begun = np.tile(there, (len(late), 1))
    late_aims = begun + stride(found.latents_of(late) - begun)
    return (
        found, np.concatenate([rows, late]), np.concatenate([usual, begun]),
        np.concatenate([aims, late_aims]),
    )


def _one_each(components: Sequence[Component], first: Scores, seen: set[int]) -> list[int]:
    """The nearest degree of each fault of which none is hopeful."""
    nearest: dict[object, int] = {}
    for row in np.argsort(first.misfit, kind="stable").tolist():
        if first.solved[row]:
            nearest.setdefault(_fault(components[row]), row)
    limit = hopeless_from(float(first.misfit.min()))
    return [r for r in nearest.values() if first.misfit[r] >= limit and r not in seen][:MOST]


def _the_rest(
    components: Sequence[Component], first: Scores, seen: set[int], revived: Sequence[int]
) -> list[int]:
    """The other degrees of the faults that one degree has brought back."""
    keys = {_fault(components[row]) for row in revived}
    return [
        row for row, component in enumerate(components)
        if row not in seen and first.solved[row] and _fault(component) in keys
    ][:MOST]


def _fault(component: Component) -> object:
    return tuple(map(id, component.faults)), component.at_lead


def _seen_from(
    explainer: Looker, components: Sequence[Component], found: Scores, asked: Sequence[int],
    there: Floats, volts: Floats,
) -> tuple[Scores, list[int]]:
    """The scores with those asked for that come near enough as seen from there, and which."""
    if not asked:
        return found, []
    rows, some = np.array(asked), [components[row] for row in asked]
    latents = np.tile(there, (len(rows), 1))
    shifts = found.total - explainer.width
    start = np.full((len(rows), found.volts.shape[1]), np.nan)
    start[:, : len(volts)] = volts
    solved = explainer.at_rest(some, explainer.amounts(there[None]), start)
    looked, slopes = explainer.look(some, latents, shifts, explainer.task.probes, solved=solved)
    explainer.task.meet(looked.values, slopes)
    noise = explainer.noise(looked.values) + looked.doubt**2
    good = np.flatnonzero(looked.solved)
    aims, evidence, misfit = explainer.aim(
        looked.values[good], slopes[good], noise[good], latents[good]
    )
    nearest = min(float(found.misfit.min()), float(misfit.min(initial=np.inf)))
    close = misfit < hopeless_from(nearest, BEYOND)
    good = good[close]
    if not good.size:
        return found, []
    late = rows[good]
    kept = len(found.slopes)
    near = np.full((len(late), found.volts.shape[1]), np.nan)
    near[:, : looked.volts.shape[1]] = looked.volts[good]
    place = found.place.copy()
    place[late] = kept + np.arange(len(late))
    grown = replace(
        found, place=place, latents=np.concatenate([found.latents, aims[close]]),
        volts=np.concatenate([found.volts, near]),
        slopes=np.concatenate([found.slopes, slopes[good].astype(np.float32)]),
    )
    grown.values[late], grown.noise[late] = looked.values[good], noise[good]
    grown.log_evidence[late], grown.misfit[late] = evidence[close], misfit[close]
    return grown, late.tolist()


def stride(step: Floats) -> Floats:
    """A step (B, P) no longer than the linearisation may be believed."""
    longest = np.abs(step).max(axis=1, initial=0.0, keepdims=True)
    return np.asarray(step * np.minimum(1.0, LONGEST / np.maximum(longest, LONGEST)))
