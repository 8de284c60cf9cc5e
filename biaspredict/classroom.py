"""Seen and practised: the lesson of a stage, what a fault would do, and drills."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import TYPE_CHECKING

from biaspredict import pipeline
from biaspredict.errors import InputError
from biaspredict.model.drill import Drill
from biaspredict.model.stage import Stage

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import numpy as np
    from numpy.typing import NDArray

    from biaspredict.infer.drill.review import Path, Taken
    from biaspredict.infer.drill.specimen import Specimen
    from biaspredict.infer.faults import Fault
    from biaspredict.infer.priors import Priors
    from biaspredict.infer.supposition import Outcome
    from biaspredict.predict.hand.records import Reckoning
    from biaspredict.predict.lesson import Lesson

MANY = 100_000  # specimens from which on further processes are worth their start


def lesson(stage: Stage, counts: Reckoning | None = None) -> Lesson:
    """The bias of a stage by hand beside the solved one, windings as rails.

    counts: what is reckoned with; None: everything. Raises InputError, Unsolved, EngineMissing.
    """
    from biaspredict.predict.hand.records import FULL
    from biaspredict.predict.lesson import lesson as taught

    return taught(pipeline.fed(stage).stage, pipeline.referee(), counts or FULL)


def specimens(
    stage: Stage, count: int, seed: int, executor: Executor | None = None
) -> dict[str, NDArray[np.float64]]:
    """See `front.specimens`."""
    from biaspredict.model.circuit import SOUND
    from biaspredict.predict.bias import specimens as drawn
    from biaspredict.predict.observe import Predictor

    shared = executor is not None or count >= MANY
    solver = pipeline.crew(executor) if shared else pipeline.ranker()
    predictor = Predictor(pipeline.fed(stage).stage, solver)
    amounts = drawn(predictor.axes, count, seed)
    volts = predictor.volts([SOUND] * count, amounts)
    return dict(zip(predictor.circuit.nodes, volts.T, strict=True))


def what_if(
    stage: Stage, texts: Sequence[str], priors: Priors | None = None
) -> tuple[Outcome, ...]:
    """The stage with each fault by itself. Raises InputError with the near miss, Unsolved."""
    from biaspredict.infer.fuses import as_met
    from biaspredict.infer.priors import standard_priors
    from biaspredict.infer.supposition import outcome, suppose
    from biaspredict.predict.observe import Predictor

    direct = pipeline.fed(stage).stage
    table = priors or standard_priors()
    predictor = Predictor(direct, pipeline.ranker())
    supposed = [as_met(predictor, suppose(direct, text, table)) for text in texts]
    return tuple(outcome(direct, one, pipeline.referee()) for one in supposed)


@dataclass(frozen=True, slots=True)
class Practice:
    """A drill ready to be sat: its stage with rails, the faults it may hide, the specimen."""

    drill: Drill
    stage: Stage
    faults: tuple[Fault, ...]
    specimen: Specimen


def drill_of(
    path: str | FilePath, level: int | None, number: int | None, meter: str | None
) -> Drill:
    """A new drill of a stage file, or the drill that a drill file holds.

    Raises InputError: of a drill that is begun, neither level, number nor meter can change.
    """
    from biaspredict.notation.drills import is_drill, load_drill
    from biaspredict.notation.typed import read_meter

    if is_drill(path):
        if level is not None or number is not None or meter is not None:
            raise InputError(
                "a drill file has its level, number and meter already",
                remedy="Leave --level, --number and --meter out, or name the stage file instead.",
            )
        return load_drill(path)
    stage = pipeline.load_stage(path)
    found = Drill(stage.title, str(path), level or 1, 1 if number is None else number)
    if meter is not None:
        found = replace(found, meter=read_meter(meter), meter_text=meter)
    return found


def practice(drill: Drill, priors: Priors | None = None) -> Practice:
    """Hide the fault. Raises InputError, Unsolved, EngineMissing."""
    from biaspredict.infer.drill.hidden import hide, hide_this
    from biaspredict.infer.drill.specimen import Specimen
    from biaspredict.infer.fuses import as_met, known_faults
    from biaspredict.infer.priors import standard_priors
    from biaspredict.infer.supposition import suppose
    from biaspredict.predict.observe import Predictor
    from biaspredict.predict.spread import axes, rails_off

    stage = pipeline.load_stage(_beside(drill))
    if drill.title != stage.title:
        raise InputError(
            f"the drill is of the stage {drill.title!r}, and {drill.stage} is {stage.title!r}",
            remedy="Put the right stage file behind `stage`, or correct the title.",
        )
    pipeline.must_hang_together(stage)
    direct = pipeline.fed(stage).stage
    predictor = Predictor(direct, pipeline.ranker(), (*axes(direct), *rails_off(direct)))
    table = priors or standard_priors()
    every = known_faults(predictor, table)
    faults = tuple(fault for fault in every if not fault.silent)
    if drill.fault:
        chosen = as_met(predictor, suppose(direct, drill.fault, table))
        hidden = hide_this(predictor, chosen, drill.meter, drill.number)
    else:
        hidden = hide(predictor, faults, drill.meter, drill.level, drill.number)
    specimen = Specimen(predictor, hidden, drill.meter, drill.number)
    return Practice(drill, direct, faults, specimen)


def _beside(drill: Drill) -> FilePath:
    """The stage file, seen from the folder of the drill's own file."""
    path = FilePath(drill.stage)
    if drill.file and not path.is_absolute():
        return FilePath(drill.file).parent / path
    return path


def review(of: Practice, taken: Sequence[Taken]) -> tuple[Path, Path]:
    """The learner's path, and the one that the splits would have taken."""
    from biaspredict.infer.drill.review import cheapest, reviewed

    return reviewed(of.specimen, of.faults, taken), cheapest(of.specimen, of.faults)
