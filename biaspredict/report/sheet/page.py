"""One stage's sheet, from its title to the hand-back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from biaspredict.findings import Gravity
from biaspredict.infer.progress import State
from biaspredict.infer.worksheet import Worksheet
from biaspredict.model.log import Log
from biaspredict.report.accusing import repair
from biaspredict.report.sheet import answer, desk, mending, power_off, power_on
from biaspredict.report.sheet.figure import Figure
from biaspredict.report.sheet.markup import Html, tag
from biaspredict.report.sheet.pieces import blank, fields, reason, sentences


def page(sheet: Worksheet, picture: Figure, place: int) -> Html:
    """The whole sheet. place: its number in the document, from 0."""
    return tag(
        "article",
        tag(
            "div",
            tag("h1", title(sheet)),
            fields(
                tag("span", tag("span", sheet.progress.state.value, class_="state")),
                blank("Set"), blank("Number"), blank("By"),
            ),
            tag("p", tag("strong", "Next: "), next_of(sheet)),
            [reason(line) for line in _damage(sheet.work.log)],
            desk.drawing(picture),
            class_="lying" if picture.paper.lying else None,
        ),
        desk.pieces(picture),
        desk.transcription(sheet),
        power_off.power_off(sheet),
        power_on.first_power(sheet),
        power_on.volts(sheet),
        answer.answer(sheet),
        mending.renewing(sheet),
        mending.record(sheet),
        mending.handing_back(sheet),
        tag("p", _foot(sheet), class_="foot"),
        class_="sheet", id=f"sheet{place}",
    )


def title(sheet: Worksheet) -> str:
    return " ".join(sheet.stage.title.split()) or "a stage without a title"


def next_of(sheet: Worksheet) -> str:
    """What comes next on this stage, in a sentence."""
    so_far, verdict = sheet.progress, sheet.verdict
    if sheet.bias is None:
        stop = next((f for f in sheet.findings if f.gravity is Gravity.STOP), None)
        return f"mend the transcription. {stop.fact if stop else sheet.withheld['volts']}"
    if so_far.owed is not None:
        return f"the recheck: {so_far.owed.body}."
    if so_far.state is State.RECHECKED:
        return "soak, listen, hand back."
    if so_far.state is State.REPAIRED:
        return "read again what was off."
    if verdict is not None and verdict.settled and not verdict.sound:
        return f"{repair(verdict)}, then reading again what was off."
    if so_far.state is State.SUSPECT and verdict is not None and verdict.splits:
        return f"{verdict.splits[0].touch.words}."
    if so_far.state is State.SOUND:
        return "renew what dries out, soak, listen, hand back."
    if so_far.state is State.UNREAD:
        return "power off, discharged: ohms."
    unread = [p for p in sheet.plan if p.touch.probe.node not in _read(sheet)]
    if unread and so_far.state is State.READING:
        return f"{unread[0].touch.words}."
    return "see what the readings say."


def _read(sheet: Worksheet) -> set[str]:
    latest = sheet.work.latest
    return set() if latest is None else {r.node for r in latest.entries}


def _damage(log: Log | None) -> Iterator[str]:
    if log is None:
        return
    for place in log.cut:
        yield f"Line {place.line} of the log was cut off while it was written, and is not used."
    if log.damage is not None:
        yield sentences(
            f"The log is damaged at line {log.damage.place.line}: {log.damage.fact}",
            f"Lines after it that are not read: {log.damage.unread}", log.damage.remedy,
        )


def _foot(sheet: Worksheet) -> str:
    assumed = sheet.stage.assumptions
    file = Path(sheet.stage.file).name
    source = f"Predicted from {file}" if file else "Predicted"
    return (
        f"{source} at {assumed.temperature:g} C. The bands hold 95 of 100 sound stages, with "
        "parts within their tolerance and the meter as it is. Whatever works on mains or charged "
        "capacitors: local rules and licensed practice come first."
    )
