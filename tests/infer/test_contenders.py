"""What is seen only roughly does not lead by what a rough look leaves open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from biaspredict import pipeline
from biaspredict.engine.solver import Floats
from biaspredict.infer import contenders
from biaspredict.infer.components import NO_FAULT, Component, Scores
from biaspredict.infer.contenders import forgiven, hopeful
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.fuses import known_faults
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.ranking import components_of
from biaspredict.infer.tasks import task_of
from biaspredict.predict.look import Observed
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe
from tests.bench import boards
from tests.bench.cases import faulty

OPEN = 5.0  # volts


class Rough(Explainer):
    """One whose first looks leave the first reading open by volts, but for the sound stage."""

    def look(
        self, components: Sequence[Component], latents: Floats, shifts: int,
        probes: Sequence[Probe], *, start: Floats | None = None, solved: Floats | None = None,
    ) -> tuple[Observed, Floats]:
        seen, slopes = super().look(
            components, latents, shifts, probes, start=start, solved=solved)
        if solved is not None:
            doubt = seen.doubt.copy()
            doubt[[c is not NO_FAULT for c in components], 0] += OPEN
            seen = replace(seen, doubt=doubt)
        return seen, slopes


def test_only_the_looked_at_are_forgiven(monkeypatch: pytest.MonkeyPatch) -> None:
    """No other explains the readings better for 5 V left open at one of them than it does when
    every one is looked at again; and the best come out the same."""
    stage = boards.stage_of("demo")
    volts = faulty(stage, "demo", boards.DIGITAL)
    nodes = ["Q2.base", *(n for n in list(volts)[:4] if n != "Q2.base")]
    readings = boards.readings_of(stage, volts, nodes, boards.DIGITAL)
    predictor = Predictor(pipeline.fed(stage).stage, pipeline.ranker())
    faults = [f for f in known_faults(predictor, standard_priors()) if not f.silent]
    components = [NO_FAULT, *components_of(faults)]
    task = task_of(readings, predictor.stage)
    monkeypatch.setattr(contenders, "CONTENDERS", 1000)
    plain = Explainer(predictor, task).score(components, keep=1000)
    monkeypatch.setattr(contenders, "CONTENDERS", 30)
    rough = Rough(predictor, task).score(components, keep=10)
    leads = rough.log_evidence > rough.log_evidence.max() - 12.0
    assert leads.sum() > 10
    more = (rough.log_evidence - plain.log_evidence)[leads]
    assert more.max() < 1.0, "by a doubt nobody looked into"
    best = np.argsort(-plain.log_evidence)[:5]
    assert np.abs(rough.log_evidence - plain.log_evidence)[best].max() < 0.5


def scores(evidence: Floats, place: Sequence[int]) -> Scores:
    many = len(evidence)
    none = np.zeros((many, 1))
    return Scores(evidence, none, none, none[:, 0], np.ones(many, dtype=bool), none,
                  none, none[:, :, None].astype(np.float32), np.array(place))


def test_who_is_looked_at_once_more() -> None:
    """By hand: best seen -10; forgiven 8, 5 and 8 nats, of which one is 25 behind and one not
    kept; the last was forgiven next to nothing."""
    evidence = np.array([-10.0, -4.0, -12.0, -35.0, -6.0, -11.0])
    strict = evidence - np.array([0.0, 8.0, 5.0, 8.0, 8.0, 0.5])
    unseen = np.array([False, True, True, True, True, True])
    found = scores(evidence, [0, 1, 2, 3, -1, 4])
    assert forgiven(found, np.zeros(6), strict, unseen).tolist() == [1, 2]


def test_the_hopeful_are_the_likelier_of_those_that_fit() -> None:
    misfit = np.concatenate([np.linspace(0.0, 30.0, 400), [np.inf, 1e4]])
    prior = np.where(np.arange(402) % 2, -1.0, -30.0)
    rows = hopeful(prior, misfit, 0)
    assert len(rows) == contenders.CONTENDERS
    assert {400, 401}.isdisjoint(rows.tolist())
    assert (rows % 2 == 1).sum() == 200  # all of the likelier ones come first
