"""Which reading is asked for next: the promised one, ohms before power, rails, then as advised."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from biaspredict.infer.progress import BEFORE_POWER, owed
from biaspredict.infer.splits import Split
from biaspredict.infer.touches import DISCHARGE, FIRST_POWER, ONE_HAND
from biaspredict.infer.verdict import Verdict
from biaspredict.model.log import Verb
from biaspredict.model.readings import Quantity, Readings
from biaspredict.model.stage import GROUND, Stage
from biaspredict.notation.history import Chapter
from biaspredict.predict.probe import Probe
from biaspredict.quantities import Unit, engineering

LEFT_OUT = "left out"
SAFE_OHMS = 50.0  # below this a rail is not switched on (common practice, no source)


@dataclass(frozen=True, slots=True)
class Ask:
    """A point to read.

    begin: what stands before the value in a readings file ("Q1.base", "ohms B+"). words: the
    same for the person. why: one line on what it is for. powered: the set is on meanwhile.
    evidence: False where the reading is kept but nothing can be inferred from it.
    split: what each outcome would mean, where it was advised for that.
    """

    begin: str
    words: str
    why: str
    powered: bool = True
    evidence: bool = True
    cautions: tuple[str, ...] = ()
    split: Split | None = None


def next_ask(
    stage: Stage, chapter: Chapter, readings: Readings, verdict: Verdict | None
) -> Ask | None:
    """The next point, None where nothing more would tell.

    Without a verdict, only points that need none.
    """
    return next(_asks(stage, chapter, readings, verdict), None)


def needs_no_answer(stage: Stage, chapter: Chapter, readings: Readings) -> bool:
    """Whether the next point is known before anything is computed."""
    return next_ask(stage, chapter, readings, None) is not None


def _asks(
    stage: Stage, chapter: Chapter, readings: Readings, verdict: Verdict | None
) -> Iterator[Ask]:
    promise = owed(chapter)
    if promise is not None:
        name, _, expected = promise.body.partition(" is ")
        yield Ask(name, f"the recheck, {name}", f"It is to read {expected}.",
                  cautions=(FIRST_POWER, ONE_HAND))
    yield from _before_power(stage, chapter)
    yield from _rails(stage, chapter, readings)
    if verdict is not None:
        for split in _in_order(verdict):
            begin = beginning(stage, split.touch.probe)
            if begin:
                yield Ask(begin, split.touch.words, "", split.touch.probe.powered,
                          cautions=split.touch.cautions, split=split)
        if not verdict.ranking.explained:
            yield from _unread(stage, readings)


def _in_order(verdict: Verdict) -> Sequence[Split]:
    if verdict.settled:
        return ()
    if verdict.splits or verdict.testing is None:
        return verdict.splits
    return (verdict.testing,)


def _before_power(stage: Stage, chapter: Chapter) -> Iterator[Ask]:
    """Ohms at each rail before the first power of this log."""
    said = [e.body for e in chapter.of(Verb.READ, Verb.NOTED, Verb.DID)]
    powered = any(
        not body.startswith((BEFORE_POWER, "drop", LEFT_OUT)) for body in
        (e.body for e in chapter.of(Verb.READ))
    )
    if powered:
        return
    for rail in stage.rails:
        begin = f"ohms {rail.name}" if rail.volts >= 0 else f"ohms ground to {rail.name}"
        if any(body.removeprefix(f"{LEFT_OUT} ").startswith(begin) for body in said):
            continue
        yield Ask(
            begin, f"ohms from {rail.name} to ground, power off, red lead on the plus side",
            f"Below about {SAFE_OHMS:.0f} ohms do not switch on.", powered=False,
            evidence=rail.off_ohms is not None, cautions=(DISCHARGE,),
        )


def _rails(stage: Stage, chapter: Chapter, readings: Readings) -> Iterator[Ask]:
    read = {r.node for r in readings.as_found if r.quantity is Quantity.VOLTS and r.minus is None}
    left = set(readings.skipped)
    for rail in stage.rails:
        if rail.name not in read and rail.name not in left:
            yield Ask(f"rail {rail.name}", f"volts at {rail.name}",
                      "Rails before stages: a low rail lowers every node.",
                      cautions=(FIRST_POWER, ONE_HAND))


def _unread(stage: Stage, readings: Readings) -> Iterator[Ask]:
    """Where nothing explains the readings there is no best one: every node left."""
    read = {r.node for r in readings.as_found if r.quantity is Quantity.VOLTS and r.minus is None}
    left = {*readings.skipped, *read, GROUND}
    for node in stage.nodes:
        if node not in left:
            yield Ask(node, f"volts at {node}", "Nothing explains the readings so far.",
                      cautions=(ONE_HAND,))


def beginning(stage: Stage, probe: Probe) -> str:
    """How a reading at this probe begins in a readings file; "" where none can say it."""
    if probe.doing:
        found = _at_the_leg(stage, probe) or beginning(stage, replace(probe, doing=""))
        return f"{found} {probe.doing}" if found else ""
    to = f" to {probe.minus}" if probe.minus and probe.minus != GROUND else ""
    if probe.quantity is Quantity.VOLTS:
        rail = any(r.name == probe.node for r in stage.rails) and not to
        return f"rail {probe.node}" if rail else f"{probe.node}{to}"
    if probe.quantity in (Quantity.OHMS, Quantity.DROP):
        return f"{probe.quantity.value} {probe.node}{to}"
    if probe.signal is not None and probe.quantity is Quantity.GAIN and probe.minus:
        hertz = engineering(probe.signal.hertz, Unit.HERTZ)
        return f"gain at {hertz} {probe.node} over {probe.minus}"
    return ""


def _at_the_leg(stage: Stage, probe: Probe) -> str:
    """A part by itself, one leg of it out of the board; "" of any other reading."""
    for part in stage.parts:
        if probe.doing == f"with {part.ref} lifted" and probe.name.startswith(f"{part.ref}."):
            return f"{probe.quantity.value} across {part.ref}"
    return ""

