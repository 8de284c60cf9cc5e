"""What the bench hands in: readings from a file or from the log, and the other channel's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from biaspredict.errors import InputError
from biaspredict.model.log import Log
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage

if TYPE_CHECKING:
    from biaspredict.infer.progress import Progress


def at_the_bench(
    path: str | Path | None, stage: Stage, at: str | None = None
) -> tuple[Stage, Readings]:
    """The stage and its readings as a readings file or a bench log has them.

    path: None: no readings yet. at: the point of a log's history, by line or by time. A log
    also tells which parts were fitted: the stage is the one that was read. Raises InputError.
    """
    from biaspredict.notation import load_readings
    from biaspredict.notation.history import as_logged
    from biaspredict.notation.logbook import is_log, load_log, upto

    if path is not None and is_log(path):
        log = load_log(path)
        return as_logged(log if at is None else upto(log, at), stage)
    if at is not None:
        raise InputError(
            "only a bench log has a history", remedy="Give --at with a log, not with readings."
        )
    if path is None:
        return stage, Readings("no readings yet", ())
    return stage, load_readings(path, stage)


def others_or_none(path: str | Path | None, stage: Stage, readings: Readings) -> Readings | None:
    """The other channel's readings: from a file of their own, else from this channel's file.

    Raises InputError where both are given, or where the file holds readings of both channels.
    """
    from biaspredict.predict.likeness import shared_rails

    if path is None:
        if not readings.other:
            return None
        title = f"{readings.title}, the other channel"
        theirs = replace(readings, title=title, entries=readings.other, other=())
        return replace(theirs, skipped=(), fresh=())
    _, found = at_the_bench(path, stage)
    common = shared_rails(stage)
    if readings.other or (found.other and any(r.node not in common for r in found.entries)):
        both = readings.file if readings.other else path
        raise InputError(
            f"{both} holds readings of both channels, and --other names a file for one of them",
            remedy="Leave --other out, or move the other channel's readings to its file.",
        )
    if not (found.entries or found.other):
        raise InputError(
            f"{path} holds no readings", remedy="Read the other channel at the same points first."
        )
    return as_others(found)


def as_others(readings: Readings) -> Readings:
    """All of a set of readings as the other channel's, under whichever channel's names."""
    return replace(readings, entries=(*readings.entries, *readings.other), other=())


def stages_of(path: str | Path, at: str | None = None) -> tuple[Log, tuple[Progress, ...]]:
    """A log and how far each of its stages has come. Raises InputError."""
    from biaspredict.infer.progress import progress
    from biaspredict.notation.history import chapters
    from biaspredict.notation.logbook import load_log, upto

    log = load_log(path)
    if at is not None:
        log = upto(log, at)
    return log, tuple(progress(chapter) for chapter in chapters(log))


def add_stages(path: str | Path, files: Sequence[str], title: str | None) -> None:
    """Name stages of the set in its log, which is begun where there is none. Raises InputError."""
    from biaspredict.model.log import Verb
    from biaspredict.notation import load_stage
    from biaspredict.notation.history import chapters, stage_body
    from biaspredict.notation.log_writer import LogWriter

    stages = [(load_stage(file), file) for file in files]
    now = datetime.now()
    with LogWriter(path, title or Path(path).stem, now) as writer:
        known = {" ".join(c.title.casefold().split()) for c in chapters(writer.log)}
        for stage, file in stages:
            if " ".join(stage.title.casefold().split()) not in known:
                writer.add(Verb.STAGE, stage_body(stage.title, file), now)
