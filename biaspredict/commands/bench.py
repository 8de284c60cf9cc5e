"""`bench`: entry at the bench, one reading after the other, kept in a log."""

from __future__ import annotations

import argparse
import io
import json
import sys
import time
from typing import TYPE_CHECKING

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command

if TYPE_CHECKING:
    from biaspredict.infer.verdict import Verdict
    from biaspredict.model.readings import Readings
    from biaspredict.model.stage import Stage


SLOW = 0.3  # seconds of the last answer from which the next one is worth waiting for with a word


def add(subparsers: Subparsers) -> None:
    parser = command(subparsers, "bench", run, "take readings one by one as they are advised",
                     "Asks for the next reading in the advised order and shows how the answer\n"
                     "changes: ohms before power, rails before stages. Every line goes into the\n"
                     "log at once; leave with quit and go on with the same command.")
    parser.add_argument("log", nargs="?",
                        help="the bench log; without it the stage's name with .log")
    parser.add_argument("--other", metavar="READINGS",
                        help="readings of the other channel, known to be good: evidence")
    parser.add_argument("--priors", metavar="FILE", help="your own table of fault priors")


def run(args: argparse.Namespace) -> int:
    from datetime import datetime
    from pathlib import Path

    from biaspredict import benchwork, pipeline
    from biaspredict.bench.sitting import Sitting, Step
    from biaspredict.infer.progress import State
    from biaspredict.notation.log_writer import LogWriter
    from biaspredict.report import data_log, words

    stage = pipeline.load_stage(args.stage)
    pipeline.must_hang_together(stage)
    priors = pipeline.priors_or_standard(args.priors)
    path = Path(args.log) if args.log else Path(args.stage).with_suffix(".log")

    if isinstance(sys.stdin, io.TextIOWrapper):
        # what is no text is complained of, not died of
        sys.stdin.reconfigure(errors="replace")
    with LogWriter(path, stage.title, datetime.now()) as writer:
        took = 0.0

        def answer(now: Stage, readings: Readings) -> Verdict:
            nonlocal took
            others = benchwork.others_or_none(args.other, now, readings)
            begun = time.monotonic()
            with underway.shown(first=sitting.first_sight if took > SLOW else ""):
                found = pipeline.suspect(now, readings, priors, others, soon=True)
            took = time.monotonic() - begun
            return found

        sitting = Sitting(stage, args.stage, writer, answer)

        def say(step: Step) -> None:
            if args.json:
                # one record a line, so that a program can follow the sitting
                record = data_log.step_record(
                    sitting.stage, step.said, sitting.asked, sitting.verdict,
                    state=sitting.state.value, over=step.over,
                )
                print(json.dumps(record, ensure_ascii=False, allow_nan=False), flush=True)
            else:
                print("\n".join(step.said), flush=True)

        if not args.json:
            print(words.wrapped(f"{stage.title}; log {path}"))
        step = sitting.begin()
        say(step)
        while not step.over:
            line = typed("" if args.json else sitting.prompt)
            step = sitting.take("quit" if line is None else line)
            say(step)
    good = sitting.state in (State.SOUND, State.RECHECKED, State.UNREAD)
    return NOTHING if good else FOUND


def typed(prompt: str) -> str | None:
    """One line from the keyboard or a pipe; None at its end or when it is interrupted."""
    try:
        if sys.stdin.isatty():
            import readline  # noqa: F401 -- editing and history while typing

            return input(prompt)
        sys.stdout.write(prompt)
        sys.stdout.flush()
        line = sys.stdin.readline()
        if not line:
            print()
            return None
        if prompt:
            print(line.rstrip("\n"))
        return line
    except (EOFError, KeyboardInterrupt):
        print()
        return None
