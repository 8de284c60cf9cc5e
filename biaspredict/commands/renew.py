"""`renew`: the electrolytics to order for one stage or a whole set, and what to leave alone."""

from __future__ import annotations

import argparse

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers


def add(subparsers: Subparsers) -> None:
    parser = subparsers.add_parser(
        "renew", help="list the electrolytics to order, and what to leave alone",
        description="For each electrolytic the value and working volts to buy, what they change,\n"
        "and which end is +; for all the stage files together the order.",
        formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False,
    )
    parser.add_argument("stages", nargs="+", metavar="stage", help="stage files of one set")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print a record for programs")
    form.add_argument("--csv", action="store_true", help="print a table for a spreadsheet")
    parser.add_argument("--one-channel", action="store_true",
                        help="do not count the parts that a stage maps to the other channel")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from biaspredict import pipeline, replacing

    stages = pipeline.load_stages(args.stages)
    from biaspredict.report import data, data_renew, renewing

    with underway.shown():
        found, order = replacing.renew(stages, fellows=not args.one_channel)
    if args.json:
        print(data.dumps(data_renew.renew_record(found, order)))
    elif args.csv:
        print(data_renew.renew_csv(found), end="")
    else:
        print(renewing.page(found, order))
    return FOUND if any(renewal.warned for renewal in found) else NOTHING
