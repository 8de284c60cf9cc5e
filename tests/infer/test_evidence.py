"""The integral over sound spread against the exact one, and planted latents recovered."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from biaspredict.engine.batch import Batch
from biaspredict.infer.components import NO_FAULT
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import catalogue
from biaspredict.infer.model_error import model_variance
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.ranking import components_of, rank
from biaspredict.infer.tasks import task_of
from biaspredict.model.circuit import SOUND
from biaspredict.model.readings import Quantity
from biaspredict.predict.meters import MODEL_FRACTION, MODEL_MOVED, MODEL_VOLTS
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe

from .stages import DIVIDER, LINEAR, readings, stage


def _explainer(text: str, read: str) -> Explainer:
    of = stage(text)
    return Explainer(Predictor(of, Batch()), task_of(readings(read, of), of))


def test_evidence_of_a_linear_stage_is_the_multivariate_normal_density() -> None:
    """Resistor spreads small enough to be linear: scipy's density is exact there."""
    explainer = _explainer(LINEAR.replace("10%", "0.1%").replace("5%", "0.1%"), "A 6.68\nB 3.33")
    scores = explainer.score([NO_FAULT])
    seen, slopes = explainer.look(
        [NO_FAULT], np.zeros((1, explainer.width)), 0, explainer.task.probes
    )
    noise = explainer.task.sigmas**2 + model_variance(seen.values[0], Quantity.VOLTS)
    covariance = slopes[0] @ slopes[0].T + np.diag(noise)
    exact = stats.multivariate_normal(seen.values[0], covariance).logpdf(explainer.task.values)
    assert scores.log_evidence[0] == pytest.approx(exact, abs=1e-3)


def test_evidence_of_a_transistor_stage_agrees_with_sampling() -> None:
    """Importance sampling over 20,000 sound specimens, each weighed by the meter's density."""
    explainer = _explainer(DIVIDER, "Q1.base 3.4\nQ1.emitter 2.75\nQ1.collector 7.6")
    scores = explainer.score([NO_FAULT])
    random = np.random.default_rng(3)
    latents = random.standard_normal((20_000, explainer.width))
    predictor = explainer.predictor
    seen = predictor.observe(
        [NO_FAULT.variation(())] * len(latents), latents * predictor.sigmas,
        explainer.task.probes,
    )
    noise = explainer.task.sigmas**2 + explainer.model_noise(seen.values, explainer.task.probes)
    each = stats.norm(seen.values, np.sqrt(noise)).logpdf(explainer.task.values).sum(1)
    assert seen.solved.all()
    sampled = np.logaddexp.reduce(each) - np.log(len(each))
    effective = np.exp(each - each.max()).sum()
    assert effective > 50, "too few specimens near the readings for a comparison"
    assert scores.log_evidence[0] == pytest.approx(sampled, abs=0.3)


@pytest.mark.parametrize(("factor", "mode"), [(1.6, "drift up"), (0.5, "drift down")])
def test_a_planted_drift_is_found_with_its_factor(factor: float, mode: str) -> None:
    of = stage(DIVIDER)
    predictor = Predictor(of, Batch())
    fault = next(f for f in catalogue(of, standard_priors()) if f.key == ("R3", mode))
    volts = dict(zip(predictor.circuit.nodes, predictor.volts([fault.act(factor)])[0],
                     strict=True))
    read = "\n".join(f"{n} {volts[n]:.3f}" for n in ("B+", "Q1.base", "Q1.emitter", "Q1.collector"))
    ranking = rank(Explainer(predictor, task_of(readings(read, of), of)),
                   [f for f in catalogue(of, standard_priors()) if not f.silent])
    found = next(s for s in ranking.suspects if s.faults[0].key == ("R3", mode))
    severity = found.severities[0]
    assert found.group == 1
    assert severity is not None
    assert severity.low <= factor <= severity.high


def test_weights_sum_to_one_and_sound_readings_are_called_sound() -> None:
    explainer = _explainer(DIVIDER, "B+ 20.0\nQ1.base 3.38\nQ1.emitter 2.72\nQ1.collector 7.4")
    of = explainer.predictor.stage
    ranking = rank(explainer, [f for f in catalogue(of, standard_priors()) if not f.silent])
    total = ranking.sound + sum(s.weight for s in ranking.suspects)
    assert total == pytest.approx(1.0, abs=1e-9)
    assert ranking.sound > 0.8


def test_every_component_of_a_fault_shares_its_prior() -> None:
    """The cells and the touched lead split a fault's odds between them."""
    of = stage(DIVIDER)
    for fault in catalogue(of, standard_priors()):
        shares = [np.exp(c.log_prior) for c in components_of([fault])]
        assert sum(shares) == pytest.approx(fault.chance / (1 - fault.chance), rel=1e-9)


def test_where_a_joint_was_touched_shows_only_where_its_lead_is_read() -> None:
    """A lead's own reading tells which side of a joint was touched; any other does not."""
    of = stage(DIVIDER)
    fault = next(f for f in catalogue(of, standard_priors()) if f.key == ("Q1.base", "joint"))
    components = components_of([fault])
    assert [c.at_lead for c in components].count(True) == len(components) / 2
    for read, alike in (("Q1.emitter 2.7", True), ("Q1.base 3.4", False)):
        scores = _explainer(DIVIDER, read).score(components, keep=len(components))
        here, lead = (
            scores.log_evidence[[c.at_lead is touched for c in components]]
            for touched in (False, True)
        )
        assert (here == lead).all() == alike


def test_the_model_s_error_grows_with_the_move_and_with_what_is_direct_coupled() -> None:
    """A share of the move for each transistor; none where none is, and none at the sound volts."""
    explainer = _explainer(DIVIDER, "B+ 20")
    probes = [Probe(node, name=node) for node in ("Q1.collector", "B+")]
    sound = explainer.predictor.observe(
        [SOUND], np.zeros((1, explainer.width)), probes
    ).values
    near, far = explainer.model_noise(np.vstack([sound, sound + 3.0]), probes)
    plain = MODEL_VOLTS**2 + (MODEL_FRACTION * (sound[0] + 3.0)) ** 2
    assert near == pytest.approx(MODEL_VOLTS**2 + (MODEL_FRACTION * sound[0]) ** 2)
    assert far == pytest.approx(plain + np.array([(3.0 * MODEL_MOVED) ** 2, 0.0]))
