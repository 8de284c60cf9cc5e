"""`supply`: DC, ripple and currents behind a transformer's rectifiers, sound and failed."""

from __future__ import annotations

import argparse

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command


def add(subparsers: Subparsers) -> None:
    command(subparsers, "supply", run, "run a mains supply: volts, ripple, peak currents",
            "DC, ripple, rectifier and switch-on currents and working volts behind a\n"
            "winding with rectifiers and reservoirs, and what a failed rectifier or a dried\n"
            "reservoir makes of them. The winding is written by its open-circuit volts.")


def run(args: argparse.Namespace) -> int:
    from biaspredict import pipeline

    stage = pipeline.load_stage(args.stage)
    pipeline.must_hang_together(stage)
    from biaspredict.report import data, data_supply, supplying

    with underway.shown():
        found, faults, findings = pipeline.supply(stage)
    if args.json:
        print(data.dumps(data_supply.supply_record(found, faults, findings)))
    else:
        print(supplying.page(found, faults, findings))
    return FOUND if findings else NOTHING
