"""`bias`: what each node should read, and how far a sound stage may stray from it."""

from __future__ import annotations

import argparse

from biaspredict.commands.common import NOTHING, Subparsers, command


def add(subparsers: Subparsers) -> None:
    command(subparsers, "bias", run, "predict the volts at every node, with their bands",
            "Volts at every node with the band that 95 % of sound specimens keep to,\n"
            "transistor currents and regions, dissipation, capacitor volts.")


def run(args: argparse.Namespace) -> int:
    from biaspredict import pipeline

    stage = pipeline.load_stage(args.stage)
    pipeline.must_hang_together(stage)
    found = pipeline.bias(stage)
    fed = pipeline.fed(stage)
    if args.json:
        from biaspredict.report import data, data_supply

        print(data.dumps(data.bias_record(found) | {"fed": data_supply.fed_records(fed)}))
    else:
        from biaspredict.report import levels, supplying

        print("\n".join([levels.page(found), *supplying.fed_words(fed)]))
    return NOTHING
