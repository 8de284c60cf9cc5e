"""Hundreds of faults leave the readings of a sound stage alone: sound is looked at as closely."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from biaspredict import pipeline
from biaspredict.infer.components import NO_FAULT
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import catalogue
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.ranking import Ranking, rank
from biaspredict.infer.tasks import task_of
from biaspredict.notation import read_readings
from biaspredict.predict.conditions import as_read, axes_as_read
from biaspredict.predict.observe import Predictor

AMPLIFIER = Path(__file__).parents[2] / "circuits" / "split-rail-amplifier.stage"
# A sound specimen of richer devices (tests/proving), by a needle meter that loads every base.
READINGS = '''readings "bench"
meter 20 kohm/V 2.5% of range

rail V+ 27.9 range 30 V
rail V- -29.1 range 30 V
Q1.collector -28.2 range 30 V
Q1.base 0.024 range 0.3 V
Q1.emitter 0.72 range 1 V
Q2.base about 0.11 range 0.3 V
Q2.emitter 0.7 range 1 V
Q3.collector 0.81 range 1 V
Q3.base 26.1 range 30 V
Q3.emitter 27 range 30 V
Q4.collector -0.64 range 1 V
Q4.emitter -28.8 range 30 V
Q5.collector 1.26 range 3 V
Q5.base 0.075 range 0.3 V
Q6.emitter 27 range 30 V
Q7.collector 27.6 range 30 V
Q7.base 1.26 range 3 V
Q7.emitter 0.63 range 1 V
Q8.collector -28.5 range 30 V
Q8.base -0.64 range 1 V
Q8.emitter -0.015 range 0.3 V
Q9.emitter 0.042 range 0.3 V
Q10.collector 0.021 range 0.3 V
Q10.emitter -29.1 range 30 V
Q11.collector 0.71 range 1 V
Q11.base 0.036 range 0.3 V
Q11.emitter 0.03 range 0.3 V
Q12.collector -0.144 range 0.3 V
Q12.base about 0.02 range 0.3 V
D1.cathode 27 range 30 V
'''


def _ranked(sheet: str) -> tuple[Explainer, Ranking]:
    stage = pipeline.load_stage(AMPLIFIER)
    readings = read_readings(sheet, "bench", stage)
    now = as_read(pipeline.fed(stage).stage, readings)
    predictor = Predictor(now, pipeline.ranker(), axes_as_read(now, readings))
    explainer = Explainer(predictor, task_of(readings, now))
    faults = [f for f in catalogue(now, standard_priors()) if not f.silent]
    return explainer, rank(explainer, faults)


def test_a_sound_amplifier_read_by_a_needle_meter_is_sound() -> None:
    explainer, ranking = _ranked(READINGS)
    alone = explainer.score([NO_FAULT], keep=1).log_evidence[0]
    assert ranking.sound_fit == pytest.approx(alone, abs=0.05)
    assert ranking.sound > 0.5
    assert max(s.weight for s in ranking.suspects) < 0.1


def test_what_is_held_of_the_likeliest_among_thousands_is_what_it_is_alone() -> None:
    explainer, ranking = _ranked("\n".join(READINGS.splitlines()[:7]) + "\n")
    rows = np.argsort(-ranking.weights)[:40]
    assert ranking.components.index(NO_FAULT) in rows
    few = [ranking.components[i] for i in rows]
    alone = explainer.score(few, keep=len(few))
    assert (ranking.scores.place[rows] >= 0).all()
    assert ranking.scores.log_evidence[rows] == pytest.approx(alone.log_evidence, abs=0.02)
    many = np.arange(len(few))
    assert ranking.scores.slopes_of(rows) == pytest.approx(alone.slopes_of(many), abs=0.02)
