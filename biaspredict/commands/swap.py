"""`swap`: what changes when other parts are put in, before the iron is hot."""

from __future__ import annotations

import argparse

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command


def add(subparsers: Subparsers) -> None:
    parser = command(subparsers, "swap", run, "compare the stage before and after a change",
                     "Before and after, side by side: DC, corners, gain, response, turn-on, heat,\n"
                     "working volts, and one sentence of verdict. Several changes at once:\n"
                     "  biaspredict swap FILE C3=47uF R4=1.2K Q1=\"npn silicon gain 200..400\"\n"
                     "Values that nobody sells are matched to IEC 60063; ! behind one keeps it.")
    parser.add_argument("changes", nargs="+", metavar="REF=VALUE", help="part and what it becomes")
    parser.add_argument("--from", dest="start", metavar="NODE", help="the input, of several")
    parser.add_argument("--to", dest="end", metavar="NODE", help="the output, of several")
    parser.add_argument("--all", action="store_true", help="print what does not change too")


def run(args: argparse.Namespace) -> int:
    from biaspredict import pipeline, replacing

    stage = pipeline.load_stage(args.stage)
    pipeline.must_hang_together(stage)
    from biaspredict.predict.verdict_of_swap import dangerous
    from biaspredict.report import data, data_swap, swapping

    with underway.shown():
        found = replacing.swap(stage, args.changes, args.start, args.end)
    if args.json:
        print(data.dumps(data_swap.swap_record(found)))
    else:
        print(swapping.page(found, everything=args.all))
    return FOUND if dangerous(found) else NOTHING
