"""What a drill says: the task, readings, the path reviewed, a sheet for a class, and its key."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from biaspredict.infer.drill.asking import (
    NAMING,
    Asked,
    a_place,
)
from biaspredict.infer.drill.hidden import Hidden
from biaspredict.infer.drill.review import Path, Stride, Taken
from biaspredict.infer.splits import Label
from biaspredict.infer.touches import LIFT, OHMS, POWER_CHANGE, TOUCH
from biaspredict.model.drill import Drill
from biaspredict.model.parts import Kind
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import GROUND, Meter, Stage
from biaspredict.predict.bias import Bias
from biaspredict.quantities import Unit, engineering
from biaspredict.report import words

LEVEL_WORDS = {1: "easy", 2: "middling", 3: "hard"}
OUT_SHOWN = 10


def task(stage: Stage, drill: Drill) -> Iterator[str]:
    """What is to be found, and what it costs to look."""
    level = f"level {drill.level}, {LEVEL_WORDS[drill.level]}"
    if drill.fault:
        level = "chosen by your teacher"
    yield words.wrapped(f"{stage.title}: drill {drill.number}, {level}")
    yield words.wrapped(
        "One part of this stage has failed, and its DC volts show it. Find the part for the least "
        f"cost. Volts at a node cost {TOUCH:g}, ohms {OHMS:g}, switching the set off or on "
        f"{POWER_CHANGE:g}, lifting a leg {LIFT:g}, swapping a sound part {NAMING:g}.")
    yield words.wrapped(f"The meter: {meter_words(drill)}.")


def meter_words(drill: Drill) -> str:
    return drill.meter_text or f"{engineering(drill.meter.ohms, Unit.OHM)} ohm, digital"


def shown(taken: Taken) -> str:
    """What the meter shows, as it is kept in a file."""
    if taken.shown.over:
        return "over"
    value = taken.shown.value
    if taken.asked.probe.quantity is Quantity.OHMS:
        return engineering(value, Unit.OHM).replace("k", "K")
    return f"{value:.{_decimals(taken.shown.step)}f}"


def _decimals(step: float) -> int:
    places = 0
    while places < 6 and abs(round(step, places) - step) > 1e-9:
        places += 1
    return places


def told(taken: Taken) -> str:
    """The same for a reader, with its unit."""
    text = shown(taken)
    unit = "" if text == "over" else (
        " ohm" if taken.asked.probe.quantity is Quantity.OHMS else " V")
    return f"{taken.asked.words}: {text}{unit}"


def so_far(taken: Sequence[Taken], wrong: Sequence[str]) -> str:
    text = f"{len(taken)} reading{'' if len(taken) == 1 else 's'}"
    return f"{text}, {words.listed(wrong)} named for nothing" if wrong else text


def readings(taken: Sequence[Taken]) -> Iterator[str]:
    if not taken:
        yield "  nothing yet"
    for one in taken:
        yield words.wrapped(f"{told(one)} (cost {one.cost:g})", "  ", "    ")


def points(stage: Stage, meter: Meter) -> Iterator[str]:
    """What can be read, with its cost while the set is on."""
    rows = []
    for node in stage.nodes:
        if node == GROUND:
            continue
        asked = a_place(stage, meter, node, Reading(node, node, 1.0), False)
        rows.append((node, "volts", f"{asked.cost:g}"))
    refs = [part.ref for part in stage.parts if len(part.nodes) == 2]
    yield from words.table(rows, right=(2,))
    yield words.wrapped(
        f"Across {words.listed(refs)}: volts {TOUCH:g} (power transistors more), ohms {OHMS:g} "
        f"with the power off. Switching costs {POWER_CHANGE:g}.", "  ")


def review(
    stage: Stage, hidden: Hidden, own: Path, best: Path, wrong: Sequence[str], *, found: bool
) -> Iterator[str]:
    """The path that was taken beside the one that the splits would have taken."""
    degree = ""
    if hidden.fault.graded:
        degree = f", {words.severity(hidden.severity, hidden.fault.unit)}"
    begin = "Yes" if found else "It was this"
    yield ""
    yield words.wrapped(f"{begin}: {hidden.fault.words}{degree}.")
    yield ""
    total = own.cost + NAMING * len(wrong)
    yield f"Your path: {len(own.strides)} readings, cost {total:g}"
    yield from _path(own)
    if wrong:
        yield words.wrapped(
            f"Named for nothing: {words.listed(wrong)}, {NAMING * len(wrong):g}.", "  ")
    if own.strides and not own.sure and found:
        yield words.wrapped(
            "The readings had not yet left one part alone: there was luck in the name.", "  ")
    yield ""
    yield f"The cheapest by expectation: {len(best.strides)} readings, cost {best.cost:g}"
    yield from _path(best)
    if not best.sure:
        yield words.wrapped(
            "No further reading within reach would tell the rest apart.", "  ")
    yield from _verdict(total, best.cost, found)


def _verdict(total: float, best: float, found: bool) -> Iterator[str]:
    if not found:
        return
    yield ""
    if total <= best:
        yield "No dearer than the cheapest by expectation."
    else:
        yield f"You paid {total / best:.2g} times as much." if best else ""


def _path(path: Path) -> Iterator[str]:
    for place, stride in enumerate(path.strides, start=1):
        yield words.wrapped(f"{place}. {told(stride.taken)} (cost {stride.taken.cost:g})",
                            "  ", "     ")
        yield words.wrapped(_ruled_out(stride), "     ", "       ")


def _ruled_out(stride: Stride) -> str:
    out = [_label(label) for label in stride.out]
    if len(out) > OUT_SHOWN:
        out = [*out[:OUT_SHOWN], f"{len(out) - OUT_SHOWN} more"]
    text = f"rules out {words.listed(out)}" if out else "rules out nothing"
    left = [f"{_label(label)} ({words.percent(share)})" for label, share in stride.left[:5]]
    if len(stride.left) > 5:
        left.append(f"{len(stride.left) - 5} more")
    return f"{text}; left: {words.listed(left)}" if left else text


def _label(label: Label) -> str:
    return " with ".join(label)


# --- for a class ----------------------------------------------------------------------------


def class_page(stage: Stage, drill: Drill, sound: Bias) -> Iterator[str]:
    """The page handed out: the task, the sound volts, and room to write."""
    yield from task(stage, drill)
    yield ""
    yield "Sound, 95 % of such stages read:"
    rows = [
        (node, words.volts(level.volts), words.span(level.low, level.high))
        for node, level in sound.levels.items()
    ]
    yield from words.table([("node", "volts", "between"), *rows], right=(1,))
    yield ""
    yield "Ask your teacher for one reading at a time, and write down before you hear it"
    yield "what you expect, and afterwards what it rules out."
    yield ""
    line = f"  {'reading':<22} {'cost':>5}  {'shows':<10}  {'rules out':<34}"
    yield line.rstrip()
    for _ in range(10):
        yield f"  {'_' * 22} {'_' * 5}  {'_' * 10}  {'_' * 34}"
        yield ""
    yield "  The part: ____________   cost in all: ________   name: ______________________"


def key_page(
    stage: Stage, drill: Drill, hidden: Hidden, every: Sequence[Taken], best: Path
) -> Iterator[str]:
    """The teacher's page: what it is, every reading that may be asked for, the cheapest path."""
    degree = ""
    if hidden.fault.graded:
        degree = f", {words.severity(hidden.severity, hidden.fault.unit)}"
    yield words.wrapped(f"{stage.title}: key to drill {drill.number}")
    yield words.wrapped(f"{hidden.fault.words}{degree}.")
    if hidden.left:
        others = [_label(label) for label in hidden.left[1:]]
        tail = f"node volts alone leave {words.listed(others)} beside it" if others else (
            "node volts alone tell it from every other part")
        yield words.wrapped(
            f"Level {hidden.level}: {hidden.needed} readings at least, and {tail}.")
    yield ""
    yield "Every reading that may be asked for (cost with the set on before)"
    rows = [(t.asked.text, f"{t.cost:g}", f"{shown(t)} {_unit(t)}".strip()) for t in every]
    yield from words.table([("reading", "cost", "shows"), *rows], right=(1,))
    yield ""
    yield f"The cheapest path by expectation: {len(best.strides)} readings, cost {best.cost:g}"
    yield from _path(best)


def _unit(taken: Taken) -> str:
    if taken.shown.over:
        return ""
    return "ohm" if taken.asked.probe.quantity is Quantity.OHMS else "V"


def every_question(stage: Stage, meter: Meter) -> Iterator[Asked]:
    """All readings that a class may well ask for."""
    for node in stage.nodes:
        if node != GROUND:
            yield a_place(stage, meter, node, Reading(node, node, 1.0), False)
    for part in stage.parts:
        if part.kind is Kind.TRANSISTOR and len(set(part.nodes)) == 3:
            where = Reading(f"{part.ref}.base", part.node("base"), 1.0,
                            minus_name=f"{part.ref}.emitter", minus=part.node("emitter"))
            yield a_place(stage, meter, f"{part.ref}.base to {part.ref}.emitter", where, False)
    for ohms in (False, True):
        for part in stage.parts:
            if len(part.nodes) != 2 or part.nodes[0] == part.nodes[1]:
                continue
            first, second = part.nodes if part.nodes[0] != GROUND else part.nodes[::-1]
            where = Reading(f"{part.ref}.1", first, 1.0, minus_name=f"{part.ref}.2", minus=second)
            text = f"across {part.ref}"
            yield a_place(stage, meter, f"ohms {text}" if ohms else text, where, ohms)
