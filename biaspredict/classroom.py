"""Seen and practised: the lesson of a stage, what a fault would do, and drills."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from biaspredict import pipeline
from biaspredict.model.stage import Stage

if TYPE_CHECKING:
    from biaspredict.infer.priors import Priors
    from biaspredict.infer.supposition import Outcome
    from biaspredict.predict.hand.records import Reckoning
    from biaspredict.predict.lesson import Lesson


def lesson(stage: Stage, counts: Reckoning | None = None) -> Lesson:
    """The bias of a stage by hand beside the solved one, windings as rails.

    counts: what is reckoned with; None: everything. Raises InputError, Unsolved, EngineMissing.
    """
    from biaspredict.predict.hand.records import FULL
    from biaspredict.predict.lesson import lesson as taught

    return taught(pipeline.fed(stage).stage, pipeline.referee(), counts or FULL)


def what_if(
    stage: Stage, texts: Sequence[str], priors: Priors | None = None
) -> tuple[Outcome, ...]:
    """The stage with each fault by itself. Raises InputError with the near miss, Unsolved."""
    from biaspredict.infer.priors import standard_priors
    from biaspredict.infer.supposition import outcome, suppose

    direct = pipeline.fed(stage).stage
    table = priors or standard_priors()
    supposed = [suppose(direct, text, table) for text in texts]
    return tuple(outcome(direct, one, pipeline.referee()) for one in supposed)
