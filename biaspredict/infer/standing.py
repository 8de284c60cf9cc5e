"""Stages and suspects that can stand in more than one way: in which, and where else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.engine.standing import APART, Leaning, other_states
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.ranking import Ranking, best_row
from biaspredict.model.circuit import SOUND
from biaspredict.model.readings import Quantity, Readings
from biaspredict.model.stage import GROUND
from biaspredict.predict.observe import Predictor

LOOKED_AT = 5  # suspects


def nearest(states: Sequence[Floats], nodes: Sequence[str], readings: Readings) -> int:
    """Number of the state (n,) that the volts read lie nearest to."""
    column = {node: k for k, node in enumerate(nodes)}
    misses = np.zeros(len(states))
    for reading in readings.entries:
        ends = [reading.node, reading.minus or GROUND]
        if reading.quantity is Quantity.VOLTS and all(e in column or e == GROUND for e in ends):
            for k, volts in enumerate(states):
                a, b = (0.0 if end == GROUND else volts[column[end]] for end in ends)
                misses[k] += abs(reading.value - (a - b))
    return int(np.argmin(misses))


@lru_cache(maxsize=4)
def states_of(predictor: Predictor) -> tuple[Floats, ...]:
    """Node volts (n,) of every state of the sound stage, the predicted one first."""
    sound = predictor.middle([SOUND])
    if not np.isfinite(sound).all():
        return ()
    others = other_states(predictor.solver, predictor.circuit, [SOUND], sound)[0]
    return (sound[0], *others)


def leaning(predictor: Predictor, readings: Readings) -> Predictor:
    """A predictor in that state of the sound stage that the readings lie nearest to."""
    states = states_of(predictor)
    if len(states) < 2:
        return predictor
    circuit = predictor.circuit
    volts = states[nearest(states, circuit.nodes, readings)]
    return Predictor(predictor.stage, Leaning(predictor.solver, circuit, volts), predictor.axes)


def sound_elsewhere(predictor: Predictor) -> tuple[Mapping[str, float], ...]:
    """Where else the sound stage can stand."""
    states = states_of(predictor)
    return where_else(predictor, states[0], states[1:]) if states else ()


def where_else(
    predictor: Predictor, volts: Floats, others: Sequence[Floats]
) -> tuple[Mapping[str, float], ...]:
    """The stage's nodes at which each other state differs, the farthest first."""
    nodes = predictor.circuit.nodes
    found = []
    for there in others:
        apart = np.abs(there[: len(nodes)] - volts[: len(nodes)])
        order = [int(i) for i in np.argsort(-apart) if nodes[i] in predictor.stage.nodes]
        found.append({nodes[i]: float(there[i]) for i in order if apart[i] > APART})
    return tuple(one for one in found if one)


def suspects_elsewhere(
    explainer: Explainer, ranking: Ranking, least: float
) -> dict[int, tuple[Mapping[str, float], ...]]:
    """By place in the ranking: where else the stage can stand with the suspect's fault.

    Only of the leading ones, of a weight of at least `least`, each at its best severity.
    """
    predictor = explainer.predictor
    places = [k for k, s in enumerate(ranking.suspects[:LOOKED_AT]) if s.weight >= least]
    rows = [best_row(ranking, ranking.suspects[k]) for k in places]
    moves = ranking.scores.latents_of(rows)[:, explainer.width :].tolist()
    variations = [
        ranking.components[row].variation(some) for row, some in zip(rows, moves, strict=True)
    ]
    found = predictor.solver.solve(predictor.circuit, variations)
    keep = np.flatnonzero(found.solved)
    volts = found.volts[keep]
    others = other_states(
        predictor.solver, predictor.circuit, [variations[i] for i in keep], volts
    )
    told = {
        places[i]: where_else(predictor, row, some)
        for i, row, some in zip(keep.tolist(), volts, others, strict=True) if some
    }
    return {place: states for place, states in told.items() if states}
