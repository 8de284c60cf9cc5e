"""`log`: the bench log of a set: the state of each stage, and what comes next."""

from __future__ import annotations

import argparse

from biaspredict.commands.common import FOUND, NOTHING, Subparsers


def add(subparsers: Subparsers) -> None:
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "log", help="the stages of a set, their state, and what comes next",
        description=(
            "Lists the stages of a bench log with their state: unread, being read, sound,\n"
            "suspect, repaired, rechecked; and the next step: ohms before power, rails\n"
            "before stages, one board at a time. A damaged log is read up to the damage."
        ),
        formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False,
    )
    parser.add_argument("log", help="the log file")
    parser.add_argument("--at", metavar="POINT", help="up to a line or a time (12, 19:45)")
    parser.add_argument("--add", nargs="+", metavar="STAGE",
                        help="name stage files of the set, in the order of the work")
    parser.add_argument("--title", help="of a log that --add begins")
    parser.add_argument("--all", action="store_true", help="print every entry")
    parser.add_argument("--json", action="store_true", help="print a record for programs")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from biaspredict import benchwork
    from biaspredict.infer.progress import next_step
    from biaspredict.report import data, data_log, logged

    if args.add:
        benchwork.add_stages(args.log, args.add, args.title)
    log, stages = benchwork.stages_of(args.log, args.at)
    following = next_step(stages)
    if args.json:
        print(data.dumps(data_log.log_record(log, stages, following)))
    else:
        print(logged.page(log, stages, following, everything=args.all))
    return FOUND if log.damage is not None or any(s.open for s in stages) else NOTHING
