"""`lesson`: the bias of this very stage worked by hand, and why each voltage is what it is."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command

if TYPE_CHECKING:
    from biaspredict.model.stage import Stage

SECTIONS = {
    "bias": "the bias step by step, by hand and solved",
    "lines": "load lines, and where each transistor rests",
    "parts": "what each part is for",
    "sets": "what sets each voltage",
    "steady": "gain at both ends of its range, and warmer",
    "signal": "gain, input resistance, corners",
    "chains": "the currents along the chains",
}
# What may be left out of the reckoning, as many books do.
NEGLECT = {
    "base": "own", "next": "following", "difference": "difference",
}


def add(subparsers: Subparsers) -> None:
    parser = command(subparsers, "lesson", run, "work the bias by hand, and say why it is so",
                     "Every step in numbers for a pocket calculator, beside the solved stage and\n"
                     "why they differ; then what each part is for, what sets each voltage, how\n"
                     "steady it is, and the signal. Without a section named, all of them.\n"
                     "  biaspredict lesson FILE --if \"R2 opens\" --if \"C1 leaks 68K\"\n"
                     "answers what a fault would do, the reason first.")
    for name, words in SECTIONS.items():
        parser.add_argument(f"--{name}", action="store_true", help=words)
    parser.add_argument("--if", dest="supposed", metavar="FAULT", action="append", default=[],
                        help="a fault, like \"R2 opens\" or \"Q1 low gain 0.3\"")
    parser.add_argument("--neglect", choices=sorted(NEGLECT), action="append", default=[],
                        help="leave out: base currents; those of the next transistor; the "
                        "difference between emitter and collector current")
    parser.add_argument("--plot", metavar="FILE",
                        help="draw the load lines into a .svg, .png or .pdf (needs matplotlib)")
    parser.add_argument("--priors", metavar="FILE", help="your own table of fault priors")


def run(args: argparse.Namespace) -> int:
    from biaspredict import classroom, pipeline

    stage = pipeline.load_stage(args.stage)
    pipeline.must_hang_together(stage)
    if args.supposed:
        return _what_if(args, stage)
    from biaspredict.predict.hand.records import Reckoning
    from biaspredict.report import data, data_lesson, teaching

    left_out = {NEGLECT[name] for name in args.neglect}
    if "own" in left_out:  # without its own base current a transistor has none for others either
        left_out.add("following")
    counts = Reckoning(*(name not in left_out for name in ("own", "following", "difference")))
    with underway.shown():
        found = classroom.lesson(stage, counts)
    if args.plot is not None:
        from biaspredict.report import plots

        plots.save(plots.load_line_figure(found.loads), args.plot)
    if args.json:
        print(data.dumps(data_lesson.lesson_record(found)))
        return NOTHING
    asked = tuple(name for name in SECTIONS if getattr(args, name)) or tuple(SECTIONS)
    print(teaching.page(found, asked))
    return NOTHING


def _what_if(args: argparse.Namespace, stage: Stage) -> int:
    from biaspredict import classroom, pipeline
    from biaspredict.report import data, data_lesson, supposing

    found = classroom.what_if(stage, args.supposed, pipeline.priors_or_standard(args.priors))
    if args.json:
        print(data.dumps(data_lesson.what_if_record(stage, found)))
    else:
        print("\n\n".join(supposing.page(one) for one in found))
    return FOUND if any(one.moved or one.after is None for one in found) else NOTHING
