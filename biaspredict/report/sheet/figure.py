"""The drawing on a sheet, marked with what was read and what is suspected."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from biaspredict.errors import BiaspredictError
from biaspredict.infer.verdict import Compared, Verdict
from biaspredict.infer.worksheet import Worksheet
from biaspredict.model.readings import Quantity
from biaspredict.model.stage import Stage
from biaspredict.report import words
from biaspredict.report.drawing.cache import known_layout
from biaspredict.report.drawing.draw import draw
from biaspredict.report.drawing.records import Mark, Next
from biaspredict.report.drawing.records import Verdict as Judged
from biaspredict.report.sheet.cutting import Paper, on_paper
from biaspredict.report.sheet.pieces import sentences

WORTH_A_FRAME = 0.05  # weight from which a suspect is framed


@dataclass(frozen=True, slots=True)
class Figure:
    """svg: the drawing, "" where it was declined; reason: why. paper: how it is printed."""

    svg: str
    reason: str = ""
    paper: Paper = field(default_factory=Paper)


def figure(sheet: Worksheet, folder: Path | None = None) -> Figure:
    """Draw the stage; a stage that cannot be drawn is declined with the reason.

    folder: where layouts are kept, None for the user's cache folder.
    """
    volts = sheet.bias.volts() if sheet.bias is not None else None
    verdict = sheet.verdict
    try:
        layout = known_layout(sheet.stage, volts, folder)
        svg = draw(
            sheet.stage, volts, layout=layout,
            bands={} if sheet.bias is None else {
                node: (level.low, level.high) for node, level in sheet.bias.levels.items()
            },
            readings=tuple(marks(verdict)) if verdict is not None else (),
            suspects=tuple(suspects(verdict, sheet.stage)) if verdict is not None else (),
            next_touch=next_touch(verdict) if verdict is not None else None,
        )
    except BiaspredictError as problem:
        return Figure("", reason=sentences(problem.fact, problem.remedy))
    return Figure(svg, paper=on_paper(svg, layout))


def marks(verdict: Verdict) -> Iterator[Mark]:
    """The volts that were read, each with its verdict."""
    for found in verdict.compared:
        if found.reading.quantity is Quantity.VOLTS and not found.reading.meanwhile:
            yield _mark(found)


def _mark(found: Compared) -> Mark:
    reading = found.reading
    if found.inside:
        return Mark(reading.node, words.volts(reading.value), reading.minus, Judged.INSIDE)
    away = reading.value - found.expected
    return Mark(
        reading.node, words.volts(reading.value), reading.minus, Judged.OUTSIDE,
        1 if away > 0 else -1, ("+" if away > 0 else "") + words.volts(away),
    )


def suspects(verdict: Verdict, stage: Stage) -> Iterator[tuple[str, ...]]:
    """References of the parts under suspicion, the likeliest group first."""
    if verdict.sound or not verdict.ranking.explained:
        return
    known = {part.ref for part in stage.parts}
    groups: dict[int, dict[str, None]] = {}
    for suspect in verdict.ranking.suspects:
        if suspect.weight < WORTH_A_FRAME:
            continue
        for part in suspect.parts:
            ref = part.split(".")[0]
            if ref in known and not any(ref in earlier for earlier in groups.values()):
                groups.setdefault(suspect.group, {})[ref] = None
    for group in sorted(groups):
        yield tuple(groups[group])


def next_touch(verdict: Verdict) -> Next | None:
    if verdict.settled or not verdict.splits:
        return None
    touch = verdict.splits[0].touch
    return Next(touch.probe.node, touch.probe.minus, touch.words)
