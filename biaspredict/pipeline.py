"""The main job, wired: which engine predicts, which ranks, and what each command computes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from biaspredict.findings import Finding, Gravity
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Meter, Stage

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from biaspredict.engine.ngspice import Ngspice
    from biaspredict.engine.solver import Solver
    from biaspredict.infer.beside import Channels
    from biaspredict.infer.charts import ChartCheck
    from biaspredict.infer.doubts import Doubt
    from biaspredict.infer.evidence import Explainer
    from biaspredict.infer.priors import Priors
    from biaspredict.infer.verdict import Verdict
    from biaspredict.model.circuit import Axis
    from biaspredict.predict.bias import Bias
    from biaspredict.predict.capacitors import Capacitors
    from biaspredict.predict.observe import Predictor
    from biaspredict.predict.ohms_records import Ohms
    from biaspredict.predict.raw_rail import Fed
    from biaspredict.predict.supply import Supply
    from biaspredict.predict.supply_faults import SupplyFault


@lru_cache(maxsize=1)
def referee() -> Ngspice:
    """ngspice, which gives every printed prediction. Raises EngineMissing."""
    from biaspredict.engine.ngspice import Ngspice

    return Ngspice()


@lru_cache(maxsize=1)
def ranker() -> Solver:
    """The batched solver, which draws specimens and ranks faults."""
    from biaspredict.engine.batch import Batch

    return Batch()


def crew(executor: Executor | None) -> Solver:
    """The batched solver, shared out over an executor or over the processors of this machine."""
    from biaspredict.engine.batch import Batch
    from biaspredict.engine.crew import Crew

    return Crew(Batch, executor)


def load_stage(path: str | Path) -> Stage:
    """Read a stage file. Raises InputError with every mistake's place and remedy."""
    from biaspredict.notation import load_stage as load

    return load(path)


def load_stages(paths: Sequence[str | Path]) -> tuple[Stage, ...]:
    """Read a set of stage files. Raises InputError with the mistakes of all of them."""
    from biaspredict.errors import InputError, Mistakes

    stages: list[Stage] = []
    mistakes: list[InputError] = []
    seen: set[Path] = set()
    for path in paths:
        try:
            real = Path(path).resolve()
            if real in seen:
                raise InputError(f"{path} is given twice", remedy="Name each stage file once.")
            seen.add(real)
            stages.append(load_stage(path))
        except Mistakes as several:
            mistakes += several.mistakes
        except InputError as mistake:
            mistakes.append(mistake)
    if mistakes:
        raise Mistakes(mistakes)
    return tuple(stages)


def load_readings(path: str | Path, stage: Stage) -> Readings:
    """Read a readings file of that stage. Raises InputError."""
    from biaspredict.notation import load_readings as load

    return load(path, stage)


@dataclass(frozen=True, slots=True)
class Proof:
    """findings: connectivity and strain. charts: each printed chart beside the stage.

    bias: None where connectivity or the solve forbids a prediction; `unsolved` says why.
    """

    stage: Stage
    findings: tuple[Finding, ...]
    charts: tuple[ChartCheck, ...]
    bias: Bias | None
    unsolved: str = ""

    @property
    def clean(self) -> bool:
        return not any(f.gravity is not Gravity.NOTE for f in self.findings) and not any(
            chart.slips or chart.off for chart in self.charts
        )


def connectivity(stage: Stage) -> tuple[Finding, ...]:
    """Findings that need no solve."""
    from biaspredict.graph.checks import connectivity as check

    return check(stage)


def must_hang_together(stage: Stage) -> None:
    """Raises InputError with what forbids a prediction, if anything does."""
    from biaspredict.errors import InputError, Mistakes

    stops = [f for f in connectivity(stage) if f.gravity is Gravity.STOP]
    if stops:
        raise Mistakes(InputError(f.fact, remedy=f.remedy, place=f.place) for f in stops)


def priors_or_standard(path: str | None) -> Priors:
    """A user's table of fault priors, or the one that comes along. Raises InputError."""
    from biaspredict.infer.priors import load_priors, standard_priors

    return standard_priors() if path is None else load_priors(path)


@lru_cache(maxsize=8)
def fed(stage: Stage) -> Fed:
    """The stage with rails for what its windings feed, and trimmers where they were set.

    Raises InputError, Unsolved, EngineMissing.
    """
    from biaspredict.predict.raw_rail import on_rails
    from biaspredict.predict.settings import set_up

    found = on_rails(stage, referee())
    return replace(found, stage=set_up(found.stage, ranker()))


def set_up(stage: Stage) -> Stage:
    """The stage with its windings, and its trimmers where they were set.

    Raises InputError where one cannot give its reading, Unsolved, EngineMissing.
    """
    if not stage.settings:
        return stage
    ready = fed(stage).stage
    turned = {setting.ref: ready.part(setting.ref) for setting in ready.settings}
    parts = tuple(turned.get(part.ref, part) for part in stage.parts)
    return replace(stage, parts=parts, settings=ready.settings)


def supply(stage: Stage) -> tuple[Supply, tuple[SupplyFault, ...], tuple[Finding, ...]]:
    """A supply sound, with each of its faults, and what is amiss as drawn.

    Raises InputError where no winding feeds the stage, Unsolved, EngineMissing.
    """
    from biaspredict.predict.supply import supply as run
    from biaspredict.predict.supply_concerns import concerns
    from biaspredict.predict.supply_faults import supply_faults

    found = run(set_up(stage), referee())
    return found, supply_faults(found, referee()), concerns(found)


def bias(stage: Stage) -> Bias:
    """Predicted volts with bands, windings as `fed`. Raises InputError, Unsolved, EngineMissing."""
    from biaspredict.predict.bias import predict_bias

    return predict_bias(fed(stage).stage, referee(), ranker())


def proof(stage: Stage) -> Proof:
    """Read a transcription for slips. Raises EngineMissing."""
    from biaspredict.errors import InputError, Unsolved
    from biaspredict.infer.charts import check_chart
    from biaspredict.predict.latching import latching
    from biaspredict.predict.observe import Predictor
    from biaspredict.predict.spread import axes, rails_off
    from biaspredict.predict.strain import strain

    findings = connectivity(stage)
    if any(f.gravity is Gravity.STOP for f in findings):
        return Proof(stage, findings, (), None, "the stage does not hang together as written")
    try:
        found = bias(stage)
    except Unsolved as problem:
        return Proof(stage, findings, (), None, problem.fact)
    except InputError as problem:
        return Proof(stage, findings, (), None, f"{problem.fact}. {problem.remedy}")
    findings = (*findings, *latching(found))
    around = (*axes(found.stage), *rails_off(found.stage))
    predictor = Predictor(found.stage, ranker(), around)
    charts = tuple(check_chart(predictor, chart) for chart in found.stage.charts)
    strained = strain(stage, found.volts())
    if fed(stage).sources:
        from biaspredict.predict.at_rest import at_rest
        from biaspredict.predict.supply_concerns import concerns

        # Over time the same capacitors stand more than their mean volts: that is said instead.
        crests = concerns(at_rest(stage, referee()))
        told = {(f.code, f.about) for f in crests}
        strained = (*crests, *(f for f in strained if (f.code, f.about) not in told))
    return Proof(stage, (*findings, *strained), charts, found)


def ohms(
    stage: Stage, meter: Meter, places: Sequence[str] = (), seconds: float | None = None
) -> tuple[Ohms, tuple[ChartCheck, ...]]:
    """Ohms with the power off at every node, or at `places`; each printed ohms chart beside it.

    Raises InputError for a place that the stage does not have, Unsolved, EngineMissing.
    """
    from biaspredict.infer.charts import check_chart
    from biaspredict.notation.typed import read_place
    from biaspredict.predict.observe import Predictor
    from biaspredict.predict.ohms import SECONDS, predict_ohms
    from biaspredict.predict.ohms_records import Place
    from biaspredict.predict.spread import axes, rails_off

    stage = set_up(stage)
    asked = None
    if places:
        typed = [read_place(text, stage) for text in places]
        asked = [Place(r.name, r.node, r.minus_name, r.minus) for r in typed]
    found = predict_ohms(
        stage, referee(), ranker(), meter, asked, SECONDS if seconds is None else seconds
    )
    charts = [c for c in stage.charts if c.quantity == "ohms"] if asked is None else []
    predictor = Predictor(stage, ranker(), (*axes(stage), *rails_off(stage)))
    return found, tuple(check_chart(predictor, chart) for chart in charts)


def suspect(
    stage: Stage, readings: Readings, priors: Priors | None = None,
    others: Readings | None = None, *, soon: bool = False,
) -> Verdict:
    """Rank what explains the readings. Raises Unsolved where even the sound stage does not solve.

    others: the other channel's readings, taken as evidence where they are a sound channel's.
    soon: without what the next reading does not need.
    A transistor of unknown type that reads as the other material is taken as that.
    Of a stage that holds both channels, each pair of parts is taken to be alike.
    """
    from biaspredict.infer.evidence import Explainer
    from biaspredict.infer.lead_sense import as_the_leads_are
    from biaspredict.infer.tasks import task_of
    from biaspredict.infer.twins import TwinExplainer, both_within
    from biaspredict.infer.types import as_told, types

    if others is not None:
        return suspect_beside(
            stage, readings, others, priors, sharpened=False, soon=soon
        ).verdict
    usable, doubts = _sorted_out(stage, readings)
    predictor, expected = _predictor(stage, usable)
    usable, turned = as_the_leads_are(predictor, usable)
    doubts = (*doubts, *turned)
    told = types(Explainer(predictor, task_of(usable, predictor.stage)), usable)
    if told:
        stage = as_told(stage, told)
        predictor, expected = _predictor(stage, usable)
    lesson = both_within(predictor.stage, predictor.axes)
    explainer = None
    if lesson is not None:
        explainer = TwinExplainer(predictor, task_of(usable, predictor.stage), lesson)
    verdict = _judged(
        stage, usable, priors, (predictor, expected), explainer, doubts, soon=soon
    )
    return replace(verdict, unknowns=(*told, *verdict.unknowns)) if told else verdict


def suspect_beside(
    stage: Stage, readings: Readings, others: Readings, priors: Priors | None = None, *,
    sharpened: bool = True, soon: bool = False,
) -> Channels:
    """Rank what explains the readings, with the other channel's as evidence. Raises Unsolved.

    sharpened: also rank without the other channel, to show what it added.
    """
    from biaspredict.infer.beside import other_stage, side_by_side, taught
    from biaspredict.infer.lead_sense import as_the_leads_are
    from biaspredict.infer.priors import standard_priors

    usable, doubts = _sorted_out(stage, readings)
    theirs, doubts_there = _sorted_out(other_stage(stage), others)
    found = _predictor(stage, usable)
    good, _ = _predictor(other_stage(stage), theirs)
    usable, turned = as_the_leads_are(found[0], usable)
    theirs, _ = as_the_leads_are(good, theirs)
    doubts = (*doubts, *turned)
    known = taught(found[0], usable, good, theirs, priors or standard_priors())
    every = (*doubts, *doubts_there)
    verdict = _judged(stage, usable, priors, found, known.explainer, every, soon=soon)
    alone = verdict
    if sharpened and known.explainer is not None:
        alone = _judged(stage, usable, priors, found, None, doubts)
    printed = _printed(other_stage(stage))
    return side_by_side(verdict, alone, usable, theirs, known, printed)


def _judged(
    stage: Stage, readings: Readings, priors: Priors | None,
    found: tuple[Predictor, dict[str, float]], explainer: Explainer | None,
    doubts: tuple[Doubt, ...], *, soon: bool = False,
) -> Verdict:
    from biaspredict.infer.priors import standard_priors
    from biaspredict.infer.verdict import judge

    predictor, expected = found
    return judge(
        predictor, readings, priors or standard_priors(), expected, explainer,
        printed=_printed(stage), doubts=doubts, soon=soon,
    )


def _sorted_out(stage: Stage, readings: Readings) -> tuple[Readings, tuple[Doubt, ...]]:
    """The readings to infer from, and what is doubtful among them."""
    from biaspredict.infer.doubts import rails_said, sorted_out
    from biaspredict.predict.conditions import as_read

    direct = fed(stage).stage
    usable, doubts = sorted_out(as_read(direct, readings), readings)
    return usable, (*rails_said(direct, readings), *doubts)


def _printed(stage: Stage) -> Predictor | None:
    """Predicts the stage as its voltage chart was taken; None without such a chart."""
    from biaspredict.predict.spread import axes

    if not any(chart.quantity == "volts" for chart in stage.charts):
        return None
    direct = fed(stage).stage
    return _predictor_of(direct, tuple(axes(direct)))


@lru_cache(maxsize=8)
def _predictor_of(stage: Stage, spread: tuple[Axis, ...]) -> Predictor:
    """One that keeps what the next reading will not change."""
    from biaspredict.predict.observe import Predictor

    return Predictor(stage, ranker(), spread)


def _predictor(stage: Stage, readings: Readings) -> tuple[Predictor, dict[str, float]]:
    """A predictor under the readings' conditions, and the sound volts of every node."""
    from biaspredict.errors import Unsolved
    from biaspredict.infer.standing import leaning
    from biaspredict.model.circuit import SOUND
    from biaspredict.predict.conditions import as_read, axes_as_read
    from biaspredict.predict.raw_rail import must_be_direct

    found = fed(stage)
    must_be_direct(found, readings)
    now = as_read(found.stage, readings)
    predictor = leaning(_predictor_of(now, axes_as_read(now, readings)), readings)
    sound = predictor.volts([SOUND])
    if sound[0, 0] != sound[0, 0]:
        raise Unsolved(
            "the stage as transcribed has no operating point",
            remedy="Run `biaspredict proof` on it first.",
        )
    return predictor, dict(zip(predictor.circuit.nodes, map(float, sound[0]), strict=True))


def capacitors(
    stage: Stage,
    sections: Sequence[str],
    start: str | None = None,
    end: str | None = None,
    square: float | None = None,
) -> Capacitors:
    """What the capacitors do on the way from an input to an output. Raises InputError, Unsolved."""
    from biaspredict.predict.capacitors import capacitors as capacitors_of

    return capacitors_of(
        fed(stage).stage, referee(), ranker(),
        sections=tuple(sections), start=start, end=end, square=square,
    )
