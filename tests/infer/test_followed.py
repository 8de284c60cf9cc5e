"""What is weighed in a loop of many transistors is where it was found, not where it aims."""

from __future__ import annotations

import numpy as np
import pytest

from biaspredict import pipeline
from biaspredict.engine.batch import Batch
from biaspredict.infer.components import NO_FAULT, Component, whole_spread
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import catalogue
from biaspredict.infer.followed import UNREACHED, followed
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.ranking import components_of
from biaspredict.infer.tasks import task_of
from biaspredict.predict.observe import Predictor
from tests.bench import boards
from tests.bench.cases import faulty


@pytest.fixture(scope="module")
def explainer() -> Explainer:
    """Twelve readings of a split-rail amplifier in which a resistor has drifted to three times."""
    stage = boards.stage_of("power")
    volts = faulty(stage, "power", boards.DIGITAL)
    picked = [str(n) for n in np.random.default_rng(3).permutation(list(volts))[:12]]
    readings = boards.readings_of(stage, volts, picked)
    predictor = Predictor(pipeline.fed(stage).stage, Batch())
    return Explainer(predictor, task_of(readings, predictor.stage))


def _there(explainer: Explainer, component: Component, latents: np.ndarray, start: np.ndarray,
           shifts: int) -> float:
    """Log evidence by Laplace's method about just these latents (1, L): Bishop, Pattern
    Recognition and Machine Learning, 2006, equation 4.137."""
    task = explainer.task
    seen, h = explainer.look([component], latents, shifts, task.probes, start=start)
    noise = explainer.noise(seen.values) + seen.doubt**2
    miss = task.values - seen.values
    logdet = float(np.linalg.slogdet(whole_spread(h, noise))[1][0])
    exponent = float((latents**2).sum() + (miss**2 / noise).sum())
    return -0.5 * (exponent + logdet + len(task.probes) * np.log(2.0 * np.pi))


def test_belief_is_where_the_readings_were_reached(explainer: Explainer) -> None:
    known = [f for f in catalogue(explainer.predictor.stage, standard_priors()) if not f.silent]
    components = [NO_FAULT, *components_of(known)]
    scores = explainer.score(components, keep=40)
    belief = scores.log_evidence + np.array([c.log_prior for c in components])
    rows = [r for r in np.argsort(-belief)[:60].tolist() if belief[r] > belief.max() - 6.0]
    assert len(rows) > 10
    shifts = scores.total - explainer.width
    apart = {}
    for row in rows:
        there = _there(explainer, components[row], scores.latents_of([row]),
                       scores.volts_of([row]), shifts)
        apart[components[row].faults, components[row].severities] = (
            float(scores.log_evidence[row]) - there)
    assert max(apart.values()) < UNREACHED + 1.0
    # steps settle within a hundredth of a nat where they reach what they aim at
    assert float(np.median(list(apart.values()))) < 0.1


def test_a_fault_followed_from_sound_fits_where_steps_to_it_lead_nowhere(
    explainer: Explainer,
) -> None:
    """R7 at 1.5 times: a step from the middle ends at a rail, hundreds of nats away."""
    known = catalogue(explainer.predictor.stage, standard_priors())
    high = next(f for f in known if f.words == "R7 has drifted high")
    components = [NO_FAULT, Component((high,), (1.48,), (0.0,), 0.0)]
    scores = explainer.score([NO_FAULT], keep=1).taken([0, 0])
    scores = scores.widened(explainer.width, 1, 0)
    latents, volts = followed(explainer, components, scores, np.array([1]))
    there = _there(explainer, components[1], latents, volts, 1)
    sound = _there(explainer, NO_FAULT, scores.latents_of([0]), scores.volts_of([0]), 1)
    assert sound - 60.0 < there < sound
