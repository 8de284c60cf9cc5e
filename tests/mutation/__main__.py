"""`python -m tests.mutation --sample 150 --seed 1`: how many small wrongs the tests notice.

Wrongs are drawn from every module of infer/ and engine/, or of those named, and put one at a time
into a copy of the project, where the tests of that package run until the first that fails.
"""

from __future__ import annotations

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.mutation.mutants import Mutant, mutants

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "biaspredict"
# The nearest tests first: most wrongs end there.
TESTS = {
    "engine": ["tests/engine", "tests/predict", "tests/published", "tests/kinds"],
    "infer": ["tests/infer", "tests/kinds", "tests/cases", "tests/bench_entry", "tests/drill",
              "tests/twins", "tests/circuits", "tests/log", "tests/front"],
}
LONGEST = 240  # seconds; a wrong that never ends is noticed too


def drawn(names: Sequence[str], sample: int, seed: int) -> list[tuple[Path, Mutant]]:
    """A sample of all wrongs of these packages or modules."""
    paths: list[Path] = []
    for name in names:
        there = PACKAGE / name
        paths += sorted(there.rglob("*.py")) if there.is_dir() else [there]
    every = [(path, m) for path in paths for m in mutants(path.read_text("utf-8"))]
    return random.Random(seed).sample(every, min(sample, len(every)))


def survives(path: Path, mutant: Mutant, copy: Path) -> bool:
    """Whether every test passes with this wrong in the copy."""
    package = path.relative_to(PACKAGE).parts[0]
    there = copy / path.relative_to(ROOT)
    before = there.read_text("utf-8")
    there.write_text(mutant.source, "utf-8")
    try:
        for group in TESTS[package]:
            done = subprocess.run(
                [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", group],
                cwd=copy, capture_output=True, check=False, timeout=LONGEST,
            )
            if done.returncode:
                return False
    except subprocess.TimeoutExpired:
        return False
    finally:
        there.write_text(before, "utf-8")
    return True


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("names", nargs="*", default=["infer", "engine"])
    parser.add_argument("--sample", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=1e9)
    args = parser.parse_args()
    begun, noticed, left = time.monotonic(), 0, 0
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", "__pycache__", ".*"))
        for path, mutant in drawn(args.names, args.sample, args.seed):
            if time.monotonic() - begun > args.minutes * 60:
                break
            if survives(path, mutant, copy):
                left += 1
                print(f"{path.relative_to(ROOT)}:{mutant.line}: {mutant.words}", flush=True)
            else:
                noticed += 1
    total = noticed + left
    print(f"{noticed} of {total} noticed, {noticed / max(total, 1):.0%}; "
          f"seed {args.seed}, {time.monotonic() - begun:.0f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
