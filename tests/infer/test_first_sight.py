"""What an advised reading says before everything is weighed again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from biaspredict import pipeline
from biaspredict.infer.first_sight import at_first_sight
from biaspredict.infer.splits import SOUND_LABEL, Foreseen, Split, believed
from biaspredict.infer.touches import Touch
from biaspredict.model.readings import Quantity, Readings
from biaspredict.model.stage import Meter
from biaspredict.notation import read_readings
from biaspredict.predict.meters import reading_sigma
from biaspredict.predict.probe import Probe
from tests.bench import boards
from tests.bench.cases import faulty

METER = Meter()


def readings(name: str, *lines: str) -> Readings:
    text = "\n".join(('readings "check"', *lines, ""))
    return read_readings(text, "typed", boards.stage_of(name))


def split(*lets: tuple[str, float, float, float], node: str = "Q1.base") -> Split:
    labels, weights, means, sigmas = zip(*lets, strict=True)
    foreseen = Foreseen(
        np.array(weights), tuple((label,) for label in labels), np.array(means),
        np.array(sigmas) ** 2,
    )
    return Split(Touch(Probe(node), 1.0, node, METER), 1.0, (), foreseen)


def test_bayes_rule_over_what_was_foreseen() -> None:
    """By hand with scipy's normal density; the tenth that was not foreseen stays as it is."""
    stage = boards.stage_of("small")
    asked = split(("R1", 0.5, 1.0, 0.1), ("R1", 0.1, 1.5, 0.3), ("C2", 0.3, 1.4, 0.2))
    more = readings("small", "Q1.base 1.3")
    (reading,) = more.entries
    found = dict(at_first_sight((asked,), stage, more, reading))
    meter = reading_sigma(reading, more.meter)
    density = [
        w * stats.norm.pdf(1.3, mean, np.hypot(sigma, meter))
        for w, mean, sigma in ((0.5, 1.0, 0.1), (0.1, 1.5, 0.3), (0.3, 1.4, 0.2))
    ]
    assert found[("R1",)] == pytest.approx(0.9 * sum(density[:2]) / sum(density))
    assert found[("C2",)] == pytest.approx(0.9 * density[2] / sum(density))


def test_nothing_is_said_of_what_was_not_foreseen() -> None:
    stage = boards.stage_of("small")
    asked = split(("R1", 0.5, 1.0, 0.1), ("C2", 0.5, 1.2, 0.1))
    for text in ("Q2.base 1.1", "Q1.base 3.0"):  # elsewhere, and far from both
        more = readings("small", text)
        assert at_first_sight((asked,), stage, more, more.entries[0]) == ()
    more = readings("small", "ohms Q1.base 2M")
    bound = replace(more.entries[0], over=True)
    ohms = replace(asked, touch=Touch(
        Probe("Q1.base", quantity=Quantity.OHMS), 1.0, "Q1.base", METER))
    assert at_first_sight((ohms,), stage, more, bound) == ()


def test_it_agrees_with_the_answer_that_follows() -> None:
    """Two advised readings of a pair with a resistor of three times its ohms: after each the same
    part leads, by a share no more than a tenth off."""
    stage = boards.stage_of("small")
    volts = faulty(stage, "small", boards.DIGITAL)
    have = ["KNEE"]
    verdict = pipeline.suspect(
        stage, boards.readings_of(stage, volts, have, boards.DIGITAL), soon=True)
    for _ in range(2):
        probes = [one.touch.probe for one in verdict.splits]
        have.append(next(
            p.node for p in probes
            if p.powered and p.minus is None and p.node in volts and p.node not in have
        ))
        more = boards.readings_of(stage, volts, have, boards.DIGITAL)
        sight = at_first_sight(verdict.splits, stage, more, more.entries[-1])
        verdict = pipeline.suspect(stage, more, soon=True)
        told = {SOUND_LABEL: verdict.ranking.sound} | believed(verdict.ranking)
        (label, share), *_ = sight
        assert label == max(told, key=lambda one: told[one])
        assert share == pytest.approx(told[label], abs=0.1)
