"""`suspect`: which faults explain the readings, and which reading to take next."""

from __future__ import annotations

import argparse

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command


def add(subparsers: Subparsers) -> None:
    parser = command(subparsers, "suspect", run, "name the faults that explain the readings",
                     "Ranks every single fault (and pairs, where no single one will do) by how\n"
                     "well it explains the readings, and says which reading to take next.")
    parser.add_argument("readings", nargs="?",
                        help="the readings file or bench log; without it: which reading to take "
                             "first")
    parser.add_argument("--at", metavar="POINT",
                        help="a log's history up to a line or a time (12, 19:45)")
    parser.add_argument("--other", metavar="READINGS",
                        help="readings of the other channel, known to be good: evidence")
    parser.add_argument("--priors", metavar="FILE", help="your own table of fault priors")
    parser.add_argument("--all", action="store_true", help="list faint suspects too")


def run(args: argparse.Namespace) -> int:
    from biaspredict import benchwork, pipeline
    stage, readings = benchwork.at_the_bench(
        args.readings, pipeline.load_stage(args.stage), args.at
    )
    pipeline.must_hang_together(stage)
    from biaspredict.report import (
        accusing,
        channels,
        data,
        data_asides,
        data_channels,
        data_supply,
        supplying,
    )

    others = benchwork.others_or_none(args.other, stage, readings)
    priors = pipeline.priors_or_standard(args.priors)
    beside = None
    with underway.shown():
        if others is None:
            verdict = pipeline.suspect(stage, readings, priors)
        else:
            beside = pipeline.suspect_beside(stage, readings, others, priors)
            verdict = beside.verdict
    fed = pipeline.fed(stage)
    if args.json:
        record = (
            data.suspect_records(stage, verdict) | data_asides.asides_record(verdict)
            | {"fed": data_supply.fed_records(fed)}
        )
        if beside is not None:
            record["other"] = data_channels.channels_record(beside)
        print(data.dumps(record))
    else:
        blocks = [accusing.page(stage, readings, verdict, everything=args.all)]
        if beside is not None:
            blocks.insert(0, channels.page(beside) + "\n")
        print("\n".join([*blocks, *supplying.fed_words(fed)]))
    return NOTHING if verdict.sound and verdict.ranking.explained else FOUND
