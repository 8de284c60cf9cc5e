"""A stage and readings from text, judged; the bench cases' line stage."""

from __future__ import annotations

from functools import cache

from biaspredict.infer.doubts import sorted_out
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import catalogue
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.ranking import Ranking, rank
from biaspredict.infer.silent import brought_to_light
from biaspredict.infer.tasks import task_of
from biaspredict.infer.verdict import Compared, Verdict, compared
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage
from biaspredict.notation import read_readings, read_stage
from biaspredict.pipeline import ranker, suspect
from biaspredict.predict.conditions import axes_as_read
from biaspredict.predict.observe import Predictor
from tests.circuits.files import ROOT

LINE = (ROOT / "tests" / "cases" / "silicon-line-stage.stage").read_text("utf-8")
# The same with the supply measured to ground, switched off.
LINE_OFF = LINE.replace("B+ 22 V 5%", "B+ 22 V 5% off 3.3K")
SOUND = """meter 10 MEG 1% + 2 digits
rail B+ 22.0
VA 17.58
Q1.collector 8.44
Q1.base 2.63
Q1.emitter 1.96
"""


@cache
def stage_of(text: str) -> Stage:
    return read_stage(text, "test.stage")


def readings_of(text: str, stage: Stage) -> Readings:
    return read_readings('readings "bench"\n' + text, "test.readings", stage)


@cache
def judged(stage: str, readings: str) -> Verdict:
    of = stage_of(stage)
    return suspect(of, readings_of(readings, of))


@cache
def ranked(stage: str, readings: str) -> tuple[Ranking, tuple[Compared, ...]]:
    """Single faults ranked, and the readings beside a sound stage: no pairs, no advice."""
    of = stage_of(stage)
    read, _ = sorted_out(of, readings_of(readings, of))
    explainer = Explainer(Predictor(of, ranker(), axes_as_read(of, read)), task_of(read, of))
    known = catalogue(of, standard_priors())
    silent = [fault for fault in known if fault.silent]
    seen = [fault for fault in known if not fault.silent]
    found = rank(explainer, [*seen, *brought_to_light(explainer, silent)])
    return found, compared(explainer, read)


def first(found: Verdict | Ranking) -> tuple[str, str]:
    ranking = found.ranking if isinstance(found, Verdict) else found
    return ranking.suspects[0].faults[0].key
