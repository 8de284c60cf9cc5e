"""`ohms`: what an ohmmeter shows with the power off."""

from __future__ import annotations

import argparse

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command

LONGEST = 3600.0  # seconds that a person may say to hold the leads down


def add(subparsers: Subparsers) -> None:
    parser = command(
        subparsers, "ohms", run, "predict the ohms at every node with the power off",
        "Ohms from every node to ground with the power off, both ways round, as the\n"
        "meter at hand shows them: junctions included, capacitors still charging, the\n"
        "printed resistance chart beside it.",
    )
    parser.add_argument("--at", metavar="PLACE", action="append", default=[],
                        help='only there, like Q1.base, "Q1.base to Q1.emitter" or "across R3"; '
                             "may be said again")
    parser.add_argument("--meter", metavar="METER",
                        help='your meter, like "10 MEG test 0.4 V" or '
                             '"20 kohm/V battery 1.5 V mid-scale 20"')
    parser.add_argument("--after", metavar="TIME",
                        help="how long the leads are held down, like 10 s or 2 min; else 10 s")


def run(args: argparse.Namespace) -> int:
    from biaspredict import pipeline
    from biaspredict.model.stage import Meter
    from biaspredict.notation.typed import read_meter

    stage = pipeline.load_stage(args.stage)
    pipeline.must_hang_together(stage)
    from biaspredict.report import data, data_ohms, measuring

    meter = Meter() if args.meter is None else read_meter(args.meter)
    seconds = None if args.after is None else _seconds(args.after)
    with underway.shown():
        found, charts = pipeline.ohms(stage, meter, args.at, seconds)
    if args.json:
        print(data.dumps(data_ohms.ohms_record(found, charts)))
    else:
        print(measuring.page(found, charts))
    return FOUND if any(chart.off for chart in charts) else NOTHING


def _seconds(text: str) -> float:
    from biaspredict.errors import InputError
    from biaspredict.quantities import Unit, ValueReadError, parse_value

    words = text.lower().removesuffix("utes").removesuffix("ute").split()
    minutes = bool(words) and words[-1].endswith("min")
    plain = text.lower().replace("minutes", "").replace("minute", "").replace("min", "")
    try:
        value = parse_value(plain.strip(), Unit.SECOND) * (60.0 if minutes else 1.0)
    except ValueReadError as problem:
        raise InputError(f"--after: {problem}", remedy="Write it like 10 s or 2 min.") from None
    if not 0.0 < value <= LONGEST:
        raise InputError(
            f"--after: nobody holds the leads down for {text}", remedy="Write 1 s to 60 min."
        )
    return value
