"""The page of `lesson`: each step by hand, the solved stage beside it, and why they differ."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from biaspredict.model.devices import Bipolar
from biaspredict.predict.hand.beside import Beside, Cause
from biaspredict.predict.hand.records import LEFT_OUT, Borrowed, Guess, What
from biaspredict.predict.lesson import SHORT_CUTS, Lesson
from biaspredict.quantities import Unit, engineering
from biaspredict.report import teaching_after, words

LEAKY = 3.0  # times the gain: more than any gain rises with current or heat
SECTIONS = ("bias", "lines", "parts", "sets", "steady", "signal", "chains")


def page(found: Lesson, sections: Collection[str] = SECTIONS) -> str:
    """The sections asked for, within 80 columns."""
    blocks = [words.wrapped(f"{found.stage.title}: a lesson")]
    if "bias" in sections:
        blocks.append("\n".join(_taken(found)))
        blocks.append("\n".join(steps(found)))
        blocks.append("\n".join(_short_cuts(found)))
    for name, told in teaching_after.BLOCKS.items():
        if name in sections:
            blocks.append("\n".join(told(found)))
    return "\n\n".join(block for block in blocks if block)


def _taken(found: Lesson) -> Iterator[str]:
    """What a person with a calculator takes for granted."""
    devices = [
        (part.ref, part.device) for part in found.stage.parts if isinstance(part.device, Bipolar)
    ]
    if devices:
        text = ", ".join(
            f"{ref} {words.volts(d.vbe)}, gain {d.gain.middle:.4g}" for ref, d in devices
        )
        yield words.wrapped(f"By hand a conducting V_BE is fixed, and so is the gain: {text}.")
    if found.lines:
        yield words.wrapped(
            "Leave each result in the calculator: worked on from the rounded figures printed here, "
            "the last digit may differ.")
    left_out = [text for name, text in LEFT_OUT.items() if not getattr(found.reckoning, name)]
    if left_out:
        yield words.wrapped(f"Left out throughout: {words.listed(left_out)}.")
    if found.asleep:
        verb = "carries" if len(found.asleep) == 1 else "carry"
        yield words.wrapped(
            f"{words.listed(found.asleep)} {verb} nothing in the solved stage, and "
            f"{'is' if len(found.asleep) == 1 else 'are'} left out.")
    if found.borrowed:
        yield words.wrapped(
            f"No short recipe gives {words.listed(found.borrowed)}: taken from the solved stage, "
            "and the rest follows along the chains.")


def steps(found: Lesson) -> Iterator[str]:
    """Every step, numbered, under the transistor it belongs to."""
    heading, number = "", 0
    refs = {part.ref for part in found.stage.parts if part.device is not None}
    for line in found.lines:
        if isinstance(line, Guess):
            yield ""
            yield from _guess(line, found.solved.volts.get(line.node))
            heading = ""
            continue
        if isinstance(line, Borrowed):
            yield ""
            yield words.wrapped(
                f"{line.node}, borrowed from the solved stage: {words.volts(line.volts)}.")
            heading = ""
            continue
        about = line.step.about
        if about in refs and about != heading:
            yield ""
            yield about
            heading = about
        number += 1
        yield from _step(number, line)


def _guess(guess: Guess, solved: float | None) -> Iterator[str]:
    yield words.wrapped(
        f"{guess.node} hangs on what it feeds, and that on {guess.node}. Guess twice, and follow "
        "the steps below each time:")
    for volts, one, other in guess.tries:
        if guess.unit is Unit.VOLT:
            told = f"V_BE of {guess.about} comes out as {words.volts(one)}"
        else:
            told = f"{words.amps(one)} flow in, {words.amps(other)} flow out"
        yield f"    {words.volts(volts)}: {told}"
    right = "in and out are alike"
    if guess.unit is Unit.VOLT:
        right = f"it is {words.volts(guess.wanted)}"
    beside = "" if solved is None else f" (solved: {words.volts(solved)})"
    yield words.wrapped(
        f"On a straight line through both guesses, {right} at {words.volts(guess.volts)}{beside}.",
        "    ")


def _step(number: int, line: Beside) -> Iterator[str]:
    step = line.step
    title = step.title[0].upper() + step.title[1:] if step.title[1:2] != "_" else step.title
    yield words.wrapped(f"{number:3}. {title}", "", "     ")
    result = step.key.text(step.hand)
    sums = step.sum if step.sum == result else f"{step.sum} = {result}"
    yield words.wrapped(sums, "       ", "         ")
    for note in step.notes:
        if "left out" not in note and "as one" not in note:
            yield words.wrapped(f"({note})", "       ", "        ")
    yield words.wrapped(_compared(line), "       ", "         ")


def _compared(line: Beside) -> str:
    if line.solved is None:
        return "The solved stage has no such figure."
    step = line.step
    there = step.key.text(line.solved)
    if line.agrees:
        return f"Solved: {there}. They agree."
    off = step.hand - line.solved
    if step.key.what is What.AMPS:
        off = abs(step.hand) - abs(line.solved)
    amount = f"{step.key.text(abs(off))} {'too much' if off > 0 else 'too little'}"
    if step.key.unit is Unit.VOLT and step.hand < 0:
        amount = f"{step.key.text(abs(off))} too {'high' if off > 0 else 'low'}"
    if step.key.unit is Unit.VOLT and step.hand >= 0:
        amount = f"{step.key.text(abs(off))} too {'high' if off > 0 else 'low'}"
    why = "; ".join(cause(c, line) for c in line.causes[:3])
    tail = f": {why}" if why else ""
    return f"Solved: {there}, so by hand {amount}{tail}."


def cause(found: Cause, line: Beside) -> str:
    """One reason why a hand result differs, with its share of the difference."""
    key, name = found.key, found.key.name
    real, taken = key.text(found.solved), key.text(found.taken)
    text = {
        What.VOLTS: f"{name} stands at {real}, reckoned {taken}",
        What.JUNCTION: f"V_BE of {name} is {real}, taken as {taken}",
        What.GAIN: _gain(name, found),
        What.DROP: f"{name} drops {real}, taken as {taken}",
        What.ACROSS: f"V_CE of {name} is {real}, taken as {taken}",
        What.BASE: f"the base of {name} takes {real}, reckoned {taken}",
        What.AMPS: f"{name} carries {real}, reckoned {taken}",
    }.get(key.what, f"the {key.what.value} of {name} is {real}, reckoned {taken}")
    if not found.taken and key.what in (What.BASE, What.AMPS):
        text = text.rsplit(", ", 1)[0] + ", left out here"
    if len(line.causes) > 1:
        text += f" ({line.step.key.text(abs(found.effect))} of it)"
    return text


def _gain(name: str, found: Cause) -> str:
    real, taken = map(words.ratio, (found.solved, found.taken))
    if found.solved > LEAKY * found.taken:
        return (f"the collector of {name} carries {real} times what its base takes, for its own "
                f"leakage feeds the base too; taken as {taken} times")
    return f"the gain of {name} is {real} there, taken as {taken}"


def _short_cuts(found: Lesson) -> Iterator[str]:
    if not found.nodes:
        return
    yield "The same nodes by the short cuts that books use"
    head = ["node", *(name for name, _ in SHORT_CUTS), "as above", "solved"]
    rows = [
        [cut.node, *map(words.volts, cut.short), words.volts(cut.hand), words.volts(cut.solved)]
        for cut in found.nodes
    ]
    yield from words.table([head, *rows], right=range(1, len(head)))


def degrees(value: float) -> str:
    return engineering(value, Unit.CELSIUS)
