"""Hundreds of faults leave the readings of a sound stage alone: sound is looked at as closely."""

from __future__ import annotations

from pathlib import Path

import pytest

from biaspredict import pipeline
from biaspredict.infer.components import NO_FAULT
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import catalogue
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.ranking import rank
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


def test_a_sound_amplifier_read_by_a_needle_meter_is_sound() -> None:
    stage = pipeline.load_stage(AMPLIFIER)
    readings = read_readings(READINGS, "bench", stage)
    now = as_read(pipeline.fed(stage).stage, readings)
    predictor = Predictor(now, pipeline.ranker(), axes_as_read(now, readings))
    explainer = Explainer(predictor, task_of(readings, now))
    faults = [f for f in catalogue(now, standard_priors()) if not f.silent]
    ranking = rank(explainer, faults)
    alone = explainer.score([NO_FAULT], keep=1).log_evidence[0]
    assert ranking.sound_fit == pytest.approx(alone, abs=0.05)
    assert ranking.sound > 0.5
    assert max(s.weight for s in ranking.suspects) < 0.1
