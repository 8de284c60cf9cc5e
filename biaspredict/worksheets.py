"""Bench sheets: from files of stages, readings and logs to what each sheet holds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

from biaspredict.errors import BiaspredictError, EngineMissing, InputError, Mistakes
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Meter, Stage

if TYPE_CHECKING:
    from biaspredict.infer.priors import Priors
    from biaspredict.infer.touch_order import Order
    from biaspredict.infer.touches import Touch
    from biaspredict.infer.verdict import Verdict
    from biaspredict.infer.worksheet import Planned, Work, Worksheet
    from biaspredict.model.log import Log
    from biaspredict.predict.bias import Bias
    from biaspredict.predict.observe import Predictor

MOST_STAGES = 60
T = TypeVar("T")


def read_works(files: Sequence[str]) -> tuple[Work, ...]:
    """Stages in the order of the files, each with the readings files that follow it.

    The first readings file of a stage is from before the work, the second from after it. A bench
    log holds for every stage. Raises Mistakes with what is wrong in all of them.
    """
    from biaspredict.notation import load_readings, load_stage
    from biaspredict.notation.logbook import is_log, load_log

    logs: list[Log] = []
    stages: list[tuple[Stage, list[Readings]]] = []
    wrong: list[InputError] = []
    unread = False  # the stage that the next readings belong to could not be read
    for file in files:
        try:
            if is_log(file):
                logs.append(load_log(file))
            elif _first_word(file) == "readings":
                if stages and not unread:
                    stages[-1][1].append(load_readings(file, stages[-1][0]))
                elif not unread:
                    raise InputError(
                        f"{file} holds readings, and no stage stands before it",
                        remedy="Name the stage first, then its readings.",
                    )
            else:
                unread = True
                stages.append((load_stage(file), []))
                unread = False
        except Mistakes as problem:
            wrong.extend(problem.mistakes)
        except InputError as problem:
            wrong.append(problem)
    if wrong:
        raise Mistakes(wrong)
    _must_be_a_set(files, stages, logs)
    return tuple(_work(stage, readings, logs[0] if logs else None) for stage, readings in stages)


def _first_word(file: str) -> str:
    from biaspredict.notation.load import read_bytes

    for line in read_bytes(file).decode("utf-8", "replace").lstrip("\ufeff").splitlines():
        words = line.split(None, 1)
        if words and not words[0].startswith("#"):
            return words[0].casefold()
    return ""


def _must_be_a_set(
    files: Sequence[str], stages: Sequence[tuple[Stage, list[Readings]]], logs: Sequence[Log]
) -> None:
    if not stages:
        raise InputError(
            f"no stage among {', '.join(files)}", remedy="Name at least one stage file."
        )
    if len(stages) > MOST_STAGES:
        raise InputError(
            f"{len(stages)} stages are more than one document holds",
            remedy=f"Give at most {MOST_STAGES}, such as those of one board.",
        )
    if len(logs) > 1:
        raise InputError("two bench logs", remedy="Give the one log of this set.")
    titles = [" ".join(stage.title.casefold().split()) for stage, _ in stages]
    if logs and len(set(titles)) < len(titles):
        raise InputError(
            "two stages have the same title, and the log tells stages by their titles",
            remedy="Give each stage file a title of its own in its first line.",
        )
    for stage, readings in stages:
        if len(readings) > 2:
            raise InputError(
                f"{stage.title} has {len(readings)} files of readings",
                remedy="Give at most two: before the work, and after it.",
            )
        if readings and logs:
            raise InputError(
                f"{stage.title} has readings in {readings[0].file} and a log is given too",
                remedy="Give the log or the readings: which of them is later cannot be told.",
            )


def _work(stage: Stage, readings: Sequence[Readings], log: Log | None) -> Work:
    from biaspredict.infer.worksheet import Work, work_of_log

    if log is not None:
        return work_of_log(log, stage)
    return Work(
        stage, readings[0] if readings else None, readings[1] if len(readings) > 1 else None
    )


def worksheet(work: Work, priors: Priors | None = None, meter: Meter | None = None) -> Worksheet:
    """Everything on one stage's sheet; what cannot be had is withheld with its reason.

    meter: the one at hand; None: that of the readings, else a usual digital one. Raises
    EngineMissing.
    """
    from biaspredict import pipeline, replacing
    from biaspredict.infer import worksheet as sheets
    from biaspredict.infer.progress import progress
    from biaspredict.infer.touch_order import Order
    from biaspredict.notation.history import chapter_of

    stage, latest = work.stage, work.latest
    at_hand = meter or (latest.meter if latest is not None else Meter())
    withheld: dict[str, str] = {}
    found = pipeline.proof(stage)
    points: tuple[Planned, ...] | None
    if found.bias is None:
        withheld["volts"] = _sentence(found.unsolved)
        enough, points = 0, tuple(sheets.Planned(t) for t in _touches(stage, at_hand, {}))
        first = last = ohms = None
    else:
        bias = found.bias
        order = _withheld_or(
            withheld, "order", lambda: _order(bias, at_hand, priors),
        ) or Order(_touches(bias.stage, at_hand, bias.volts()), 0)
        enough = order.enough
        points = sheets.planned(_predictor(bias.stage, at_hand), order, bias)
        first = _verdict(withheld, "before", stage, work.before, priors)
        last = _verdict(withheld, "after", stage, work.after, priors)
        ohms = _withheld_or(withheld, "ohms", lambda: pipeline.ohms(stage, at_hand)[0])
    renewal = _withheld_or(withheld, "renewal", lambda: replacing.renew([stage])[0][0])
    so_far = (
        sheets.progress_without_log(work, last or first) if work.log is None
        else progress(chapter_of(work.log, stage))
    )
    return sheets.Worksheet(
        work, so_far, found.findings, found.bias, points, enough,
        sheets.forbidden(stage, found.bias), found.charts, ohms, renewal, first, last, withheld,
    )


def _verdict(
    withheld: dict[str, str], when: str, stage: Stage, readings: Readings | None,
    priors: Priors | None,
) -> Verdict | None:
    from biaspredict import benchwork, pipeline

    if readings is None:
        return None
    return _withheld_or(withheld, when, lambda: pipeline.suspect(
        stage, readings, priors, benchwork.others_or_none(None, stage, readings),
    ))


def _withheld_or(reasons: dict[str, str], what: str, make: Callable[[], T]) -> T | None:
    """What is made, or None with its reason among the reasons."""
    try:
        return make()
    except EngineMissing:
        raise
    except BiaspredictError as problem:
        reasons[what] = _sentence(f"{_sentence(problem.fact)} {problem.remedy}")
        return None


def _sentence(text: str) -> str:
    text = " ".join(text.split())
    return text if not text or text[-1] in ".!?" else f"{text}."


def _touches(stage: Stage, meter: Meter, volts: dict[str, float]) -> tuple[Touch, ...]:
    from biaspredict.infer.touches import touches

    return touches(stage, meter, (), (), (), volts)


def _predictor(stage: Stage, meter: Meter) -> Predictor:
    """Predicts the stage with nothing read yet; its windings have become rails before."""
    from biaspredict import pipeline
    from biaspredict.predict.conditions import axes_as_read
    from biaspredict.predict.observe import Predictor

    return Predictor(stage, pipeline.ranker(), axes_as_read(stage, Readings("", (), meter=meter)))


def _order(bias: Bias, meter: Meter, priors: Priors | None) -> Order:
    from biaspredict.infer.evidence import Explainer
    from biaspredict.infer.fuses import known_faults
    from biaspredict.infer.priors import standard_priors
    from biaspredict.infer.ranking import rank
    from biaspredict.infer.tasks import task_of
    from biaspredict.infer.touch_order import touch_order

    stage = bias.stage
    nothing = Readings("", (), meter=meter)
    explainer = Explainer(_predictor(stage, meter), task_of(nothing, stage))
    known = known_faults(explainer.predictor, priors or standard_priors())
    faults = [f for f in known if not f.silent]
    touches = _touches(stage, meter, bias.volts())
    return touch_order(explainer, rank(explainer, faults), touches)
