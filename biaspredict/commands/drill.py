"""`drill`: a stage with a hidden fault, to be found for the least cost."""

from __future__ import annotations

import argparse
import io
import sys
from typing import TYPE_CHECKING

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path as FilePath

    from biaspredict.classroom import Practice
    from biaspredict.infer.drill.review import Path, Taken
    from biaspredict.model.drill import Drill


def add(subparsers: Subparsers) -> None:
    parser = command(subparsers, "drill", run, "practise: find a hidden fault for the least cost",
                     "One part of the stage has failed. Ask for readings, each at its cost at the\n"
                     "bench, and name the part; at the end your path stands beside the cheapest.\n"
                     "Name a drill file instead of a stage to go on with it, or to sit what a\n"
                     "teacher wrote, a text of a few lines:\n"
                     "  drill \"line stage\"          # the title of the stage\n"
                     "  stage line.stage            # as seen from this file's folder\n"
                     "  level 2                     # 1 easy to 3 hard\n"
                     "  number 17                   # hides a fault of that level; or\n"
                     "  fault R2 opens              # your own choice\n"
                     "  meter 20 kohm/V range 10 V\n"
                     "Progress is kept in the same form, in the folder you are in.")
    parser.add_argument("--level", type=int, choices=(1, 2, 3), help="1 easy (default) to 3 hard")
    parser.add_argument("--number", type=int, metavar="N",
                        help="which fault and specimen: the same number, the same drill")
    parser.add_argument("--meter", metavar="METER", help="like \"20 kohm/V range 10 V\"")
    parser.add_argument("--keep", metavar="FILE", help="where progress is kept")
    parser.add_argument("--print", dest="printed", action="store_true",
                        help="print the page for a class instead of sitting it")
    parser.add_argument("--key", action="store_true",
                        help="print the teacher's key; with --print behind the page")
    parser.add_argument("--priors", metavar="FILE", help="your own table of fault priors")


def run(args: argparse.Namespace) -> int:
    from biaspredict import classroom, pipeline
    from biaspredict.report import data, data_drill

    drill = classroom.drill_of(args.stage, args.level, _number(args.number), args.meter)
    with underway.shown():
        found = classroom.practice(drill, pipeline.priors_or_standard(args.priors))
    if args.json:
        record = data_drill.drill_record(found.stage, drill, found.specimen)
        if args.key:
            record |= data_drill.key_record(found.specimen, classroom.review(found, ())[1])
        print(data.dumps(record))
        return NOTHING
    if args.printed or args.key:
        print(_pages(found, args.printed, args.key))
        return NOTHING
    return _sit(found, args.keep, args.stage)


def _number(number: int | None) -> int | None:
    from biaspredict.errors import InputError
    from biaspredict.notation.drills import MOST

    if number is not None and not 1 <= number <= MOST:
        raise InputError(
            f"--number {number} stands for no drill",
            remedy=f"Give a whole number from 1 to {MOST}.",
        )
    return number


def _pages(found: Practice, printed: bool, key: bool) -> str:
    from biaspredict import classroom, pipeline
    from biaspredict.infer.drill.review import Taken
    from biaspredict.report import practising

    pages = []
    if printed:
        sound = pipeline.bias(found.stage)
        pages.append("\n".join(practising.class_page(found.stage, found.drill, sound)))
    if key:
        every = [
            Taken(asked, asked.cost, found.specimen.shown(asked.probe))
            for asked in practising.every_question(found.stage, found.drill.meter)
        ]
        with underway.shown():
            best = classroom.review(found, ())[1]
        hidden = found.specimen.hidden
        pages.append("\n".join(
            practising.key_page(found.stage, found.drill, hidden, every, best)))
    return "\n\f\n".join(pages)


def _sit(found: Practice, keep: str | None, named: str) -> int:
    from biaspredict import classroom
    from biaspredict.bench.drilling import Sitting
    from biaspredict.notation.drills import save_drill

    path, drill = _kept_at(found.drill, keep, named)
    if isinstance(sys.stdin, io.TextIOWrapper):
        # what is no text is complained of, not died of
        sys.stdin.reconfigure(errors="replace")

    def review(taken: Sequence[Taken]) -> tuple[Path, Path]:
        _say(("  Working out what each reading told ...",))
        with underway.shown():
            return classroom.review(found, taken)

    sitting = Sitting(
        found.stage, drill, found.specimen, lambda now: save_drill(now, path), review
    )
    said = sitting.begin()
    _say(said.lines)
    while not said.over:
        line = typed("> ")
        said = sitting.take("quit" if line is None else line)
        _say(said.lines)
    if not sitting.over:
        print(f"Go on with: biaspredict drill {path}")
    return NOTHING if sitting.found else FOUND


def _say(lines: tuple[str, ...]) -> None:
    if lines:
        print("\n".join(lines), flush=True)


def _kept_at(drill: Drill, keep: str | None, named: str) -> tuple[FilePath, Drill]:
    """Where the drill is kept: its own file, --keep, or a name of its own beside the user.

    With it the drill as it is kept there, its stage seen from that folder.
    """
    import os
    from dataclasses import replace
    from pathlib import Path

    from biaspredict.errors import InputError
    from biaspredict.notation.drills import load_drill, save_drill

    if drill.file and (keep is None or Path(keep).resolve() == Path(drill.file).resolve()):
        return Path(drill.file), drill
    stem = Path(named).stem
    path = Path(keep) if keep else Path(f"{stem}-{drill.level}-{drill.number}.drill")
    source = Path(drill.file).parent / drill.stage if drill.file else Path(drill.stage)
    seen = os.path.relpath(source.resolve(), path.resolve().parent)
    mine = replace(drill, stage=seen, done=())
    if path.exists():
        begun = load_drill(path)
        if replace(begun, done=()) != mine or begun.done:
            raise InputError(
                f"{path} is there already",
                remedy=f"Go on with it: biaspredict drill {path}. Or give --keep another name, "
                "or --number another drill.",
            )
    else:
        save_drill(mine, path)
    return path, mine


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
        print(line.rstrip("\n"))
        return line
    except (EOFError, KeyboardInterrupt):
        print()
        return None
