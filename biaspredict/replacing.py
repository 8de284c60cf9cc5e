"""New parts for old: what to order for a set, and what a change of values does."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from biaspredict import pipeline
from biaspredict.model.stage import Stage

if TYPE_CHECKING:
    from biaspredict.predict.renew import Renewal, Total
    from biaspredict.predict.swap import Swap


def renew(
    stages: Sequence[Stage], *, fellows: bool = True
) -> tuple[tuple[Renewal, ...], tuple[Total, ...]]:
    """What to order for a set of stages, each and all together. Raises EngineMissing."""
    from biaspredict.predict.renew import renewal, totals

    referee, drawer = pipeline.referee(), pipeline.ranker()
    found = tuple(renewal(_ready(stage), referee, drawer, fellows=fellows) for stage in stages)
    return found, totals(found)


def _ready(stage: Stage) -> Stage:
    """As `set_up`, or as it is where it cannot be predicted."""
    from biaspredict.errors import InputError, Unsolved

    try:
        pipeline.must_hang_together(stage)
        return pipeline.set_up(stage)
    except (InputError, Unsolved):
        return stage


def swap(
    stage: Stage, changes: Sequence[str], start: str | None = None, end: str | None = None
) -> Swap:
    """Before and after changes such as "C3=47uF". Raises InputError, Unsolved, EngineMissing."""
    from biaspredict.notation.change import read_changes
    from biaspredict.predict.swap import swap as swapped

    stage = pipeline.set_up(stage)  # what was set stays as it is while parts are changed
    read = [(change.after, change.sure) for change in read_changes(stage, changes)]
    return swapped(stage, read, pipeline.referee(), pipeline.ranker(), start=start, end=end)
