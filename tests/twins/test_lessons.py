"""What the other channel teaches, against the same law of normals conditioned in one step."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.batch import Batch
from biaspredict.infer.components import NO_FAULT
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.tasks import task_of
from biaspredict.infer.twins import METER_ALIKE, MODEL_ALIKE, TwinExplainer, both_within, learn
from biaspredict.model.circuit import Axis
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage
from biaspredict.notation import read_readings, read_stage
from biaspredict.predict.likeness import likeness, shared_rails
from biaspredict.predict.observe import Predictor

# Nothing but resistors: readings are nearly linear in the spread, so that the linear law is one.
DIVIDER = """stage "two dividers"
rail B+ 20 V 5%
assume resistors 10%
B+ -- R1 10K -- MID -- R2 10K -- ground
other channel R1 = R101, R2 = R102, MID = MID-R
"""


@pytest.fixture(scope="module")
def stage() -> Stage:
    return read_stage(DIVIDER, "divider.stage")


def explainer(stage: Stage, text: str) -> tuple[Explainer, Readings]:
    readings = read_readings(f'readings "x"\nmeter 10 MEG 1% + 2 digits\n{text}\n', "x", stage)
    return Explainer(Predictor(stage, Batch()), task_of(readings, stage)), readings


def test_a_lesson_is_the_joint_law_conditioned(stage: Stage) -> None:
    """Both channels' latents and readings as one normal law, conditioned on the good readings.

    Source of the rule: C. M. Bishop, Pattern Recognition and Machine Learning (2006), 2.3.1.
    """
    good, others = explainer(stage, "rail B+ 20.9\nMID 10.1")
    bad, mine = explainer(stage, "rail B+ 20.8\nMID 9.1")
    axes: tuple[Axis, ...] = good.predictor.axes
    alike = likeness(stage, axes)
    lesson = learn(good, others, axes, alike, mine, bad.task.probes)

    fit = good.score([NO_FAULT], keep=1)
    slopes = fit.slopes_of(np.array([0]))[0]
    model = good.model_noise(fit.values[:1], good.task.probes)[0]
    # the meter's 1 % of reading as even limits, the part of it that stays on a range
    steady = np.sqrt(METER_ALIKE) * 0.01 * np.array([20.9, 10.1]) / math.sqrt(3.0)
    axes_count, count = len(axes), 2
    both = np.eye(2 * axes_count + 2 * count)  # mine, theirs, model errors, meter errors
    for k, rho in enumerate(alike):
        both[k, axes_count + k] = both[axes_count + k, k] = rho
    seen = np.zeros((count, len(both)))
    seen[:, axes_count : 2 * axes_count] = slopes
    seen[:, 2 * axes_count : 2 * axes_count + count] = np.diag(np.sqrt(MODEL_ALIKE * model))
    seen[:, 2 * axes_count + count :] = np.diag(steady)
    own = (1 - MODEL_ALIKE) * model + good.task.sigmas**2 - steady**2
    spread = seen @ both @ seen.T + np.diag(own)
    gain = both @ seen.T @ np.linalg.inv(spread)
    miss = good.task.values - fit.values[0] + slopes @ fit.latents[0]
    keep = [*range(axes_count), *range(2 * axes_count, len(both))]
    assert lesson.mean == pytest.approx((gain @ miss)[keep], abs=1e-6)
    left = (both - gain @ seen @ both)[np.ix_(keep, keep)]
    assert lesson.root @ lesson.root.T == pytest.approx(left, abs=1e-6)


def test_evidence_is_that_of_both_channels_less_that_of_the_one(stage: Stage) -> None:
    """p(mine | theirs) = p(mine, theirs) / p(theirs), the two together taken as one normal law."""
    good, others = explainer(stage, "rail B+ 20.9\nMID 10.1")
    bad, mine = explainer(stage, "rail B+ 20.8\nMID 9.1")
    axes = good.predictor.axes
    alike = np.array(likeness(stage, axes))
    lesson = learn(good, others, axes, tuple(alike), mine, bad.task.probes)
    twin = TwinExplainer(bad.predictor, bad.task, lesson)
    found = float(twin.score([NO_FAULT], keep=1).log_evidence[0])

    here, there = bad.score([NO_FAULT], keep=1), good.score([NO_FAULT], keep=1)
    h, g = here.slopes_of(np.array([0]))[0], there.slopes_of(np.array([0]))[0]
    model = [e.model_noise(s.values[:1], e.task.probes)[0] for e, s in ((bad, here), (good, there))]
    away = (here.values[0] - good.task.values) / (0.15 * good.task.values + 0.1)
    share = MODEL_ALIKE * np.exp(-(away**2))
    steady = METER_ALIKE * 0.01**2 / 3.0 * bad.task.values * good.task.values
    common = np.sqrt(share * model[0] * MODEL_ALIKE * model[1]) + steady
    tops = h @ h.T + np.diag(model[0] + bad.task.sigmas**2)
    ends = g @ g.T + np.diag(model[1] + good.task.sigmas**2)
    cross = (h * alike) @ g.T + np.diag(common)
    joint = np.block([[tops, cross], [cross.T, ends]])
    miss_here = bad.task.values - here.values[0] + h @ here.latents[0]
    miss_there = good.task.values - there.values[0] + g @ there.latents[0]

    def log_normal(miss: np.ndarray, spread: np.ndarray) -> float:
        _, size = np.linalg.slogdet(spread)
        square = miss @ np.linalg.solve(spread, miss)
        return float(-0.5 * (square + size + len(miss) * math.log(2 * math.pi)))

    expected = log_normal(np.append(miss_here, miss_there), joint) - log_normal(miss_there, ends)
    assert found == pytest.approx(expected, abs=0.05)


def test_same_readings_speak_louder_for_sound_with_the_other_channel(stage: Stage) -> None:
    """A rail 4 % high in both channels is the rail; 4 % high in one alone is not."""
    alike, others = explainer(stage, "rail B+ 20.8\nMID 10.4")
    bad, mine = explainer(stage, "rail B+ 20.8\nMID 10.4")
    axes = bad.predictor.axes

    def fit(good: Explainer, read: Readings) -> float:
        lesson = learn(good, read, axes, likeness(stage, axes), mine, bad.task.probes)
        return float(TwinExplainer(bad.predictor, bad.task, lesson).score([NO_FAULT]).misfit[0])

    apart, elsewhere = explainer(stage, "rail B+ 20.0\nMID 10.0")
    assert fit(alike, others) < fit(apart, elsewhere)


def test_what_is_not_of_one_batch_teaches_nothing(stage: Stage) -> None:
    text = DIVIDER.replace("R1 10K", "R1 10K fitted 9K1")
    axes = Predictor(read_stage(text, "x"), Batch()).axes
    shares = dict(zip((a.name for a in axes), likeness(read_stage(text, "x"), axes), strict=True))
    assert shares["R1.ohms"] == 0.0
    assert 0.0 < shares["R2.ohms"] < 1.0
    assert shares["B+.volts"] > 0.95
    assert shared_rails(stage) == {"B+"}
    own = read_stage(DIVIDER.replace("R1 = R101", "B+ = B+R, R1 = R101"), "x")
    assert shared_rails(own) == frozenset()


def test_a_stage_that_holds_both_channels() -> None:
    """Each pair of parts is correlated; nothing else is."""
    stage = read_stage(
        'stage "both"\nrail B+ 20 V 5%\nB+ -- R1 10K -- A -- R2 10K -- ground\n'
        "B+ -- R101 10K -- B -- R102 10K -- ground\nother channel offset 100\n", "both.stage",
    )
    axes = Predictor(stage, Batch()).axes
    lesson = both_within(stage, axes)
    assert lesson is not None
    spread = lesson.root @ lesson.root.T
    names = [axis.name for axis in axes]
    pair = spread[names.index("R1.ohms"), names.index("R101.ohms")]
    assert pair == pytest.approx(dict(zip(names, likeness(stage, axes), strict=True))["R1.ohms"])
    assert spread[names.index("R1.ohms"), names.index("R2.ohms")] == 0.0
    assert np.diag(spread) == pytest.approx(1.0)
    assert both_within(read_stage(DIVIDER, "x"), axes) is None
