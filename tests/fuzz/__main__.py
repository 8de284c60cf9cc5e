"""`python -m tests.fuzz --inputs 1000000 --seed 1`: any text to every reader; prints the table."""

from __future__ import annotations

import argparse

from tests.fuzz.guided import run
from tests.fuzz.targets import TARGETS


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--inputs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=[target.name for target in TARGETS])
    args = parser.parse_args()
    print(f"{'':15}{'inputs':>9}{'taken':>9}{'kept':>7}{'jumps':>7}{'slowest':>10}{'':>3}time")
    failures, total = [], 0
    for target in TARGETS:
        if args.only in (None, target.name):
            share = 1.0 if args.only else target.share
            found = run(target, round(args.inputs * share), args.seed)
            total += found.inputs
            failures += [(target.name, *failure) for failure in found.failures]
            print(
                f"{found.name:15}{found.inputs:9}{found.taken:9}{found.kept:7}{found.reached:7}"
                f"{found.slowest * 1e3:7.0f} ms{found.seconds:6.0f} s", flush=True,
            )
    print(f"{'all':15}{total:9}   failures: {len(failures)}")
    for name, text, what in failures:
        print(f"\n{name}: {what[:600]}\n{text[:2000]!r}")
    return 1 if failures else 0


if __name__ == "__main__":
    raise SystemExit(main())
