"""`draw`: the stage drawn from its text, each node at the height of its voltage."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command

if TYPE_CHECKING:
    from biaspredict.infer.priors import Priors
    from biaspredict.infer.verdict import Verdict
    from biaspredict.model.readings import Readings
    from biaspredict.model.stage import Stage
    from biaspredict.predict.bias import Bias
    from biaspredict.report.drawing.records import Layout, Mark

PAUSE = 0.3  # seconds between two looks at the files that are watched


def add(subparsers: Subparsers) -> None:
    parser = command(
        subparsers,
        "draw",
        run,
        "draw the stage, to hold against the sheet",
        "Draws the stage from its text alone: higher is more positive, and the signal\n"
        "runs left to right. Predicted volts stand above each line, readings below:\n"
        "a tick inside the band, black with an arrow outside it. Suspects are framed\n"
        "and numbered, the next touch is flagged. A stage that does not solve yet is\n"
        "drawn in the order that its wiring suggests.",
    )
    parser.add_argument("readings", nargs="?", help="the readings file or bench log")
    parser.add_argument(
        "-o",
        "--out",
        metavar="FILE",
        help="where to write: .svg, .png or .pdf; else STAGE.svg here",
    )
    parser.add_argument(
        "--watch", action="store_true", help="draw again whenever a file changes, until Ctrl-C"
    )
    parser.add_argument("--priors", metavar="FILE", help="your own table of fault priors")


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing and what it rests on. bias: None where unsolved, and `reason` says why."""

    stage: Stage
    svg: str
    layout: Layout
    bias: Bias | None
    verdict: Verdict | None
    reason: str


def run(args: argparse.Namespace) -> int:
    from biaspredict import pipeline
    from biaspredict.report import data
    from biaspredict.report.drawing import pictures

    out = Path(args.out or f"{Path(args.stage).stem}.svg")
    pictures.must_be_writable(out)
    priors = pipeline.priors_or_standard(args.priors)
    if args.watch:
        files = [Path(name) for name in (args.stage, args.readings) if name is not None]
        return watch(files, lambda: _once(args, out, priors))
    with underway.shown():
        found = drawn(args.stage, args.readings, priors)
    pictures.save(found.svg, out)
    if args.json:
        print(data.dumps(record(found, str(out))))
    else:
        print("\n".join(lines(found, str(out))))
    return FOUND if _amiss(found) else NOTHING


def drawn(file: str, readings_file: str | None, priors: Priors) -> Drawn:
    """Read, predict, compare and draw. Raises InputError where the files cannot be used."""
    from biaspredict import benchwork, pipeline
    from biaspredict.errors import BiaspredictError
    from biaspredict.report.drawing.cache import known_layout
    from biaspredict.report.drawing.draw import draw
    from biaspredict.said import in_a_sentence

    stage, readings = benchwork.at_the_bench(readings_file, pipeline.load_stage(file))
    bias, verdict, reason = None, None, ""
    try:
        pipeline.must_hang_together(stage)
        bias = pipeline.bias(stage)
        if readings.entries:
            verdict = pipeline.suspect(stage, readings, priors, soon=True)
    except BiaspredictError as problem:
        reason = in_a_sentence(problem)
    volts = bias.volts() if bias is not None else None
    layout = known_layout(stage, volts)
    if verdict is None:
        svg = draw(
            stage, volts, layout=layout, bands=_bands(bias), readings=tuple(_unjudged(readings))
        )
    else:
        from biaspredict.report.sheet import figure

        svg = draw(
            stage, volts, layout=layout, bands=_bands(bias),
            readings=tuple(figure.marks(verdict)),
            suspects=tuple(figure.suspects(verdict, stage)),
            next_touch=figure.next_touch(verdict),
        )  # fmt: skip
    return Drawn(stage, svg, layout, bias, verdict, reason)


def _bands(bias: Bias | None) -> dict[str, tuple[float, float]]:
    return {} if bias is None else {n: (x.low, x.high) for n, x in bias.levels.items()}


def _unjudged(readings: Readings) -> Iterator[Mark]:
    """Readings of a stage that is not solved: shown, with nothing to hold them against."""
    from biaspredict.model.readings import Quantity
    from biaspredict.report import words
    from biaspredict.report.drawing.records import Mark

    for reading in readings.as_found:
        if reading.quantity is Quantity.VOLTS:
            yield Mark(reading.node, words.volts(reading.value), reading.minus)


def _amiss(found: Drawn) -> bool:
    return found.bias is None or (found.verdict is not None and not found.verdict.sound)


def lines(found: Drawn, path: str) -> list[str]:
    """What was drawn, in words of at most 80 columns."""
    import textwrap

    parts, hops = len(found.stage.parts), len(found.layout.hops)
    said = [
        f"{path}: {parts} part{'s' if parts != 1 else ''}, "
        f"{hops or 'no'} crossing{'s' if hops != 1 else ''}"
    ]
    if found.bias is None:
        said.append("Drawn without volts, in the order that the wiring suggests:")
    elif found.reason:
        said.append("The readings could not be judged:")
    if found.reason:
        said += textwrap.wrap(found.reason, 76, initial_indent="  ", subsequent_indent="  ")
    return said


def record(found: Drawn, path: str) -> dict[str, object]:
    """The record of `draw`, for programs."""
    from biaspredict.report import data

    return {
        "record": "biaspredict draw",
        "version": data.VERSION,
        "stage": found.stage.title,
        "written": path,
        "parts": len(found.stage.parts),
        "crossings": len(found.layout.hops),
        "solved": found.bias is not None,
        "judged": found.verdict is not None,
        "reason": found.reason,
    }


def _once(args: argparse.Namespace, out: Path, priors: Priors) -> None:
    """Draw once while watching: what cannot be read is told, and the last drawing stays."""
    from biaspredict.errors import BiaspredictError
    from biaspredict.report.drawing import pictures
    from biaspredict.said import said

    try:
        with underway.shown():
            found = drawn(args.stage, args.readings, priors)
        pictures.save(found.svg, out)
        print("\n".join(lines(found, str(out))), flush=True)
    except BiaspredictError as problem:
        print(said(problem), file=sys.stderr, flush=True)


def watch(
    files: list[Path],
    redraw: Callable[[], None],
    *,
    pause: float = PAUSE,
    looks: int | None = None,
) -> int:
    """Redraw now, and whenever one of the files changes, until Ctrl-C or so many looks."""
    seen: list[tuple[float, int]] | None = None
    try:
        while looks is None or looks > 0:
            now = [_stamp(file) for file in files]
            if now != seen:
                seen = now
                redraw()
            if looks is not None:
                looks -= 1
            time.sleep(pause)
    except KeyboardInterrupt:
        print("stopped")
    return NOTHING


def _stamp(file: Path) -> tuple[float, int]:
    """When a file was last written, and its size; zeros while an editor has taken it away."""
    try:
        found = file.stat()
    except OSError:
        return 0.0, 0
    return found.st_mtime_ns / 1e9, found.st_size
