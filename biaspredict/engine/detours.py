"""The way to an operating point that plain Newton steps miss: through pretended time.

Each node is held back by a pretended capacitor, as a circuit would settle after switch-on or
after a part has failed. (Source: pseudo-transient continuation, Kelley & Keyes 1998, from
memory.) It also tells the states of a circuit that has two apart from the point between them.
"""

from __future__ import annotations

import numpy as np

from biaspredict.engine.network import Network
from biaspredict.engine.newton import Outcome, newton
from biaspredict.engine.plan import Lot, Plan
from biaspredict.engine.solver import Floats

TRIES = 40  # rounds of Newton for one moment
FIRST, STIFFEST, LOOSEST = 1e-2, 1e3, 1e-15  # siemens of the pretended capacitors
LONGER, SHORTER = 0.1, 5.0  # what a moment that Newton followed, or did not, makes of them
CALM = 1e-3  # volts that no node moves any more in one moment
NUDGE = 1e-3  # volts
PATIENCE = 150


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
