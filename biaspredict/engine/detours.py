"""Ways to an operating point that plain Newton steps miss.

From the sound circuit to the faulted one by degrees; and through pretended time, each node held
back by a pretended capacitor, as a circuit would settle after switch-on.
"""

from __future__ import annotations

import numpy as np

from biaspredict.engine.network import Network
from biaspredict.engine.newton import Outcome, newton
from biaspredict.engine.plan import Lot, Plan
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import CLOSED, OPEN

TRIES = 12  # rounds of Newton for one degree
FINEST = 1e-3  # smallest degree
FIRST, STIFFEST, LOOSEST = 1e-2, 1e3, 1e-15  # siemens of the pretended capacitors
LONGER, SHORTER = 0.1, 5.0  # what a moment that Newton followed, or did not, makes of them
CALM = 1e-3  # volts that no node moves any more in one moment
NUDGE = 1e-3  # volts
PATIENCE = 150


def by_degrees(plan: Plan, sound: Floats, target: Lot, nodes: Floats) -> Outcome:
    """Move every faulted value from sound (rows, B) to target; `nodes` (N, B) solve sound."""
    many = target.many
    done, pace = np.zeros(many), np.full(many, 0.25)
    at = nodes.copy()
    solved, stable = np.zeros(many, dtype=bool), np.ones(many, dtype=bool)
    active = np.arange(many)
    first = True
    for _ in range(PATIENCE):
        goal = np.zeros(len(active)) if first else np.minimum(done[active] + pace[active], 1.0)
        lot = _between(sound[:, active], target.part(active), goal)
        network = Network(plan, lot)
        network.start(at[:, active])
        got = newton(network, at[:, active], TRIES)
        good, bad = active[got.solved], active[~got.solved]
        at[:, good] = got.nodes[:, got.solved]
        if first:
            active, first = good, False
        else:
            done[good] = goal[got.solved]
            pace[good] *= 2.0
            pace[bad] *= 0.3
            stable[good] = got.stable[got.solved]
            solved[good] = done[good] >= 1.0
            active = active[(pace[active] > FINEST) & ~solved[active]]
        if not len(active):
            break
    return Outcome(at, solved, stable)


def _between(sound: Floats, target: Lot, share: Floats) -> Lot:
    """Values a share (B,) of the way: by factors where both ends are above zero."""
    goal = target.values
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        factors = sound * (goal / sound) ** share
        values = np.where((sound > 0.0) & (goal > 0.0), factors, sound + share * (goal - sound))
    values = np.where(np.isfinite(values), values, goal)
    values = np.where((sound == goal) | (sound * goal < 0.0), goal, values)
    blend = target.part(np.arange(target.many))
    blend.values = values
    blend.lift_ohms = _geometric(CLOSED, target.lift_ohms, share)
    blend.load_ohms = _geometric(OPEN, target.load_ohms, share)
    return blend


def _geometric(start: float, end: Floats, share: Floats) -> Floats:
    held = np.clip(end, CLOSED, OPEN)
    return np.where(np.isfinite(end), start * (held / start) ** share, end)


def through_time(plan: Plan, target: Lot, nodes: Floats) -> Outcome:
    """Let each node settle from `nodes` (N, B), tied to where it was a moment before.

    The moments grow as long as Newton follows, but never so long that they would step over a
    state which the circuit runs away from. Once nothing moves any more, a plain solve must
    confirm the end. A nudge at the beginning keeps equal sides from balancing for ever.
    """
    many = target.many
    tie = np.full(many, FIRST)
    at = nodes + NUDGE * np.cos(2.4 * np.arange(len(nodes)))[:, None]
    at[0] = 0.0
    end = Outcome(nodes.copy(), np.zeros(many, dtype=bool), np.ones(many, dtype=bool))
    active = np.arange(many)
    for _ in range(PATIENCE):
        network = Network(plan, target.part(active))
        network.start(at[:, active])
        got = newton(network, at[:, active], TRIES, hold=tie[active], anchor=at[:, active])
        moved = np.abs(got.nodes - at[:, active]).max(axis=0)
        followed = got.solved & got.stable
        good, bad = active[followed], active[~followed]
        at[:, good] = got.nodes[:, followed]
        tie[good] *= LONGER
        tie[bad] *= SHORTER
        calm = active[followed & ((moved < CALM) | (tie[active] < LOOSEST))]
        if len(calm):
            network = Network(plan, target.part(calm))
            network.start(at[:, calm])
            last = newton(network, at[:, calm], TRIES)
            done = calm[last.solved & last.stable]
            end.nodes[:, done] = last.nodes[:, last.solved & last.stable]
            end.solved[done] = True
        active = active[(tie[active] >= LOOSEST) & (tie[active] <= STIFFEST) & ~end.solved[active]]
        if not len(active):
            break
    return end
