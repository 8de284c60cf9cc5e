"""Where trimmers stand that were set for a reading, and how that depends on the specimen.

A person turned each until the manual's figure was read. So the wiper of a specimen whose V_BE or
resistors differ stands where these differences are made up for: every axis of the stage's spread
moves it along, and what it was set for spreads little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from biaspredict.engine.flatten import flatten, pin_quantity
from biaspredict.engine.solver import Floats, Solver
from biaspredict.errors import TO_PROOF, InputError
from biaspredict.model.circuit import SOUND, Axis, Circuit, Variation
from biaspredict.model.stage import GROUND, Setting, Stage
from biaspredict.predict.spread import axes

# How near a trimmer is set, and how far what it sets has crept since, warm and cold (common
# practice, no source): a share of the volts, and volts.
SET_SHARE, SET_VOLTS = 0.02, 5e-3
STEPS = 33  # positions tried at once
NARROWINGS = 4  # times that the interval between two of them is cut up again
SWEEPS = 25  # over several trimmers that work on each other
SETTLED = 1e-6  # of the track
REACHED = 0.1  # of how far off a trimmer is left; a computed one is nearer than that
SINGULAR = 1e6  # condition from which several trimmers cannot be told apart by what they set
NUDGE = 0.3  # standard deviations of a difference


def set_up(stage: Stage, solver: Solver) -> Stage:
    """The stage with every trimmer that was set for a reading in its place.

    Raises InputError where no position of one gives its reading.
    """
    left = [s for s in stage.settings if s.wide == 0.0]
    if not left:
        return stage
    circuit = flatten(stage)
    turns = _turned(circuit, left, solver)
    parts = tuple(
        replace(part, turn=turns[part.ref]) if part.ref in turns else part for part in stage.parts
    )
    placed = replace(stage, parts=parts)
    known = {s.ref: s for s in _following(placed, left, solver)}
    return replace(
        placed, settings=tuple(known.get(setting.ref, setting) for setting in stage.settings)
    )


def _turned(circuit: Circuit, settings: Sequence[Setting], solver: Solver) -> dict[str, float]:
    """The position of each trimmer: one after the other, until none moves any more."""
    turns = {setting.ref: 0.5 for setting in settings}
    for _ in range(SWEEPS):
        before = dict(turns)
        for setting in settings:
            turns[setting.ref] = _nearest(circuit, setting, turns, solver)
        if len(settings) == 1 or all(abs(turns[ref] - at) < SETTLED for ref, at in before.items()):
            break
    for setting in settings:
        (volts,) = _read(circuit, setting, turns, np.array([turns[setting.ref]]), solver)
        if not abs(volts - setting.volts) <= REACHED * _loose(setting):
            ends = _read(circuit, setting, turns, np.linspace(0.0, 1.0, STEPS), solver)
            raise _unreachable(setting, ends)
    return turns


def _nearest(
    circuit: Circuit, setting: Setting, turns: dict[str, float], solver: Solver
) -> float:
    """Where this trimmer comes nearest to its reading while the others stay."""
    low, high = 0.0, 1.0
    for _ in range(NARROWINGS):
        tried = np.linspace(low, high, STEPS)
        volts = _read(circuit, setting, turns, tried, solver)
        over = volts - setting.volts
        if not np.isfinite(over).any():
            raise _unreachable(setting, volts)
        ends = np.flatnonzero(np.sign(over[:-1]) * np.sign(over[1:]) <= 0)
        if not ends.size:
            return float(tried[np.nanargmin(np.abs(over))])
        # Of several positions the one nearest to the middle of the track.
        at = int(ends[np.argmin(np.abs((tried[ends] + tried[ends + 1]) / 2.0 - 0.5))])
        low, high = float(tried[at]), float(tried[at + 1])
    low_over, high_over = float(over[at]), float(over[at + 1])
    if low_over == high_over:
        return low
    return low + (high - low) * low_over / (low_over - high_over)


def _loose(setting: Setting) -> float:
    """How far from its volts a trimmer is left: a standard deviation."""
    return SET_SHARE * abs(setting.volts) + SET_VOLTS


def _unreachable(setting: Setting, volts: Floats) -> InputError:
    good = volts[np.isfinite(volts)]
    if not good.size:
        return InputError(
            f"the stage has no operating point, wherever {setting.ref} stands",
            remedy=TO_PROOF,
            place=setting.origin,
        )
    return InputError(
        f"no position of {setting.ref} gives {setting.volts:.3g} V {setting.place}: "
        f"from end to end {good.min():.3g} V to {good.max():.3g} V can be had",
        remedy="Check the figure, the trimmer's ohms and what its legs are wired to.",
        place=setting.origin,
    )


def _read(
    circuit: Circuit, setting: Setting, turns: dict[str, float], tried: Floats, solver: Solver
) -> Floats:
    others = tuple((f"{ref}.turn", turn) for ref, turn in turns.items() if ref != setting.ref)
    variations = [
        Variation(settings=(*others, (f"{setting.ref}.turn", float(turn)))) for turn in tried
    ]
    return _across(circuit, setting, solver.solve(circuit, variations).volts)


def _across(circuit: Circuit, setting: Setting, volts: Floats) -> Floats:
    """(B,) what the setting speaks of; NaN where unsolved."""
    column = {node: i for i, node in enumerate(circuit.nodes)}
    found: Floats = np.zeros(len(volts))
    for node, sign in ((setting.node, 1.0), (setting.minus or GROUND, -1.0)):
        if node != GROUND:
            found += sign * volts[:, column[node]]
    if setting.across:
        np.abs(found, out=found)
    return found


def _following(stage: Stage, settings: Sequence[Setting], solver: Solver) -> list[Setting]:
    """The settings with how their trimmers stand in specimens that differ.

    Rails, boxes and the temperature are today's and may have changed since: the trimmer does
    not make up for them, but neither is it known what they were on the day it was set.
    """
    circuit = flatten(stage)
    turns = [f"{setting.ref}.turn" for setting in settings]
    around = [axis for axis in axes(stage) if axis.name not in turns]
    track = [Axis((turn,), 0.01, True, turn) for turn in turns]
    slopes = _slopes(circuit, [*track, *around], settings, solver)
    by_turn, by_axis = slopes[:, : len(track)], slopes[:, len(track) :]
    if not np.linalg.cond(by_turn) < SINGULAR:
        raise _undetermined(settings)
    reach = np.linalg.inv(by_turn)
    follows = -reach @ by_axis  # (trimmers, axes)
    today = {f"{rail.name}.volts" for rail in stage.rails} | {"temperature"}
    today |= {f"{pin.name}.{pin_quantity(stage, pin)}" for pin in stage.pins}
    apart = np.array([axis.name in today for axis in around])
    sigmas = np.array([axis.sigma for axis in around])
    aim = np.array([_loose(setting) for setting in settings])
    wide = np.sqrt(
        ((reach * aim) ** 2).sum(axis=1) + ((follows[:, apart] * sigmas[apart]) ** 2).sum(axis=1)
    )
    return [
        replace(setting, wide=float(wide[t]), follows=tuple(
            (axis.name, float(follows[t, p]))
            for p, axis in enumerate(around) if not apart[p] and follows[t, p]
        ))
        for t, setting in enumerate(settings)
    ]


def _undetermined(settings: Sequence[Setting]) -> InputError:
    names = " and ".join(setting.ref for setting in settings)
    fact = f"{names} hardly moves what it is set for"
    if len(settings) > 1:
        fact = f"what {names} are set for does not say where each of them stands"
    return InputError(
        fact,
        remedy="Write for each trimmer the reading that the manual has it set by.",
        place=settings[-1].origin,
    )


def _slopes(
    circuit: Circuit, around: Sequence[Axis], settings: Sequence[Setting], solver: Solver
) -> Floats:
    """(settings, axes) change of each setting's volts per amount of each axis."""
    many = len(around)
    steps = NUDGE * np.diag([axis.sigma for axis in around])
    found = solver.solve(circuit, [SOUND] * (2 * many), around, np.concatenate((steps, -steps)))
    over = [_across(circuit, setting, found.volts) for setting in settings]
    rises: Floats = np.array([(v[:many] - v[many:]) / (2.0 * np.diag(steps)) for v in over])
    rises[~np.isfinite(rises)] = 0.0
    return rises
