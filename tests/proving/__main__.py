"""`python -m tests.proving --cases 500 --seed 1`: run the study and print its table."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from . import adapter, study
from .spice import Runner
from .table import table


def _shares(text: str) -> dict[str, float]:
    shares = {}
    for item in text.split(","):
        law, _, share = item.partition("=")
        if law not in study.SHARES:
            raise argparse.ArgumentTypeError(f"laws are {', '.join(study.SHARES)}, not {law!r}")
        shares[law] = float(share or 1.0)
    return shares


def show(plan: study.Plan, case: int) -> None:
    """One case in full: the stage where it was generated, the sheet, the truth, the answer."""
    with Runner() as runner:
        record = study.run_case(study.Ground(plan, runner, adapter.answer), case)
    for name, value in record.items():
        if isinstance(value, str) and "\n" in value:
            print(f"--- {name}", value.rstrip(), "---", sep="\n")
        elif name != "weights":
            for line in value if name == "suspects" else [value]:
                print(f"{name}: {line}")


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m tests.proving", description=__doc__)
    ask.add_argument("--cases", type=int, default=500)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--out", default=str(Path(tempfile.gettempdir()) / "biaspredict-proving"))
    ask.add_argument("--minutes", type=float, default=1e6, help="start no case after this long")
    ask.add_argument("--laws", type=_shares, default=dict(study.SHARES), help="sound=1,single=2")
    ask.add_argument("--circuit", action="append", default=[], help="only this one of circuits/")
    ask.add_argument("--no-hunts", action="store_true", help="leave the advice untested")
    ask.add_argument("--readings", type=int, default=0, help="legs read besides the rails")
    ask.add_argument("--show", type=int, metavar="CASE", help="run this one case and print it")
    ask.add_argument("--other", action="store_true", help="also read a good other channel")
    ask.add_argument("--processes", type=int, default=2)
    ask.add_argument(
        "--table", metavar="FILE", nargs="+", default=[],
        help="print one table of the cases already run, of all these files together",
    )
    given = ask.parse_args()
    plan = study.Plan(
        given.seed,
        given.cases,
        given.out,
        given.laws,
        tuple(given.circuit),
        not given.no_hunts,
        given.readings,
        given.minutes * 60,
        given.processes,
        given.other,
    )
    if given.show is not None:
        show(plan, given.show)
        return
    paths = [Path(name) for name in given.table] or [study.run(plan)]
    for path in paths:
        if not path.is_file():
            ask.error(f"{path}: no such file; give the .jsonl file of cases that a run has left")
    print(table(study.together(paths)))
    print(f"\nrecords: {', '.join(map(str, paths))}")


if __name__ == "__main__":
    main()
