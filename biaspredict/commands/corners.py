"""`corners`: what each capacitor does, what it costs when it fails, and how long to wait."""

from __future__ import annotations

import argparse

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command

SECTIONS = {
    "bass": "corners, gain, 3 dB down",
    "dry": "what a dried or resistive capacitor costs",
    "leakage": "how much leakage the circuit stands",
    "waiting": "how long after switch-on each node may be read",
}

LOWEST, HIGHEST = 1.0, 100e3  # hertz of a bench generator (common practice, no source)


def add(subparsers: Subparsers) -> None:
    parser = command(subparsers, "corners", run, "say what each capacitor does, and what it stands",
                     "For each capacitor the resistance it sees, its own corner, its share of the\n"
                     "bass; for the stage the gain and where it is 3 dB down. Then what drying\n"
                     "costs, how much leakage the circuit stands, and how long to wait before a\n"
                     "reading. Without a section named, all of them.")
    for name, words in SECTIONS.items():
        parser.add_argument(f"--{name}", action="store_true", help=words)
    parser.add_argument("--from", dest="start", metavar="NODE", help="the input, of several")
    parser.add_argument("--to", dest="end", metavar="NODE", help="the output, of several")
    parser.add_argument("--square", metavar="HERTZ",
                        help="square wave whose tilt is told, like 100 or 1k; else a suitable one")


def run(args: argparse.Namespace) -> int:
    from biaspredict import pipeline

    stage = pipeline.load_stage(args.stage)
    pipeline.must_hang_together(stage)
    from biaspredict.report import capacitors, data, data_capacitors

    asked = tuple(name for name in SECTIONS if getattr(args, name)) or tuple(SECTIONS)
    square = _hertz(args.square) if args.square is not None else None
    with underway.shown():
        found = pipeline.capacitors(stage, asked, args.start, args.end, square)
    if args.json:
        print(data.dumps(data_capacitors.corners_record(found)))
    else:
        print(capacitors.page(found))
    return FOUND if found.withheld else NOTHING


def _hertz(text: str) -> float:
    from biaspredict.errors import InputError
    from biaspredict.quantities import Unit, ValueReadError, parse_value

    try:
        value = parse_value(text, Unit.HERTZ)
    except ValueReadError as problem:
        raise InputError(f"--square: {problem}", remedy="Write it like 100 or 1k.") from None
    if not LOWEST <= value <= HIGHEST:
        raise InputError(
            f"--square: no generator gives a square wave of {text}",
            remedy=f"Write {LOWEST:g} to {HIGHEST / 1e3:g}k.",
        )
    return value
