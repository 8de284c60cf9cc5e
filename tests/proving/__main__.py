"""`python -m tests.proving --cases 500 --seed 1`: run the study and print its table."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from . import study
from .table import table


def _shares(text: str) -> dict[str, float]:
    shares = {}
    for item in text.split(","):
        law, _, share = item.partition("=")
        if law not in study.SHARES:
            raise argparse.ArgumentTypeError(f"laws are {', '.join(study.SHARES)}, not {law!r}")
        shares[law] = float(share or 1.0)
    return shares


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m tests.proving", description=__doc__)
    ask.add_argument("--cases", type=int, default=500)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--out", default=str(Path(tempfile.gettempdir()) / "biaspredict-proving"))
    ask.add_argument("--minutes", type=float, default=1e6, help="start no case after this long")
    ask.add_argument("--laws", type=_shares, default=dict(study.SHARES), help="sound=1,single=2")
    ask.add_argument("--circuit", action="append", default=[], help="only this one of circuits/")
    ask.add_argument("--no-hunts", action="store_true", help="leave the advice untested")
    ask.add_argument("--processes", type=int, default=2)
    ask.add_argument("--table", metavar="FILE", help="print the table of cases already run")
    given = ask.parse_args()
    path = Path(given.table) if given.table else None
    if path is None:
        plan = study.Plan(
            given.seed,
            given.cases,
            given.out,
            given.laws,
            tuple(given.circuit),
            not given.no_hunts,
            given.minutes * 60,
            given.processes,
        )
        path = study.run(plan)
    print(table(list(study.records(path))))
    print(f"\nrecords: {path}")


if __name__ == "__main__":
    main()
