"""Runs every benchmark in a process of its own and prints the table.

`python -m tests.bench` (some minutes); `--quick` leaves out the slow ones. CPU time throughout,
so that a busy machine does not count; ratios are between rows of one run.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench.boards import NEEDLE, ROOT

Figures = dict[str, Any]


def run(*words: str) -> Figures:
    """Figures of one case."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.cases", *words], cwd=ROOT, env=_environment(),
        capture_output=True, text=True, check=False,
    )
    if done.returncode:
        sys.exit(f"{' '.join(words)}: {done.stderr}")
    found: Figures = json.loads(done.stdout.splitlines()[-1])
    return found


def _environment() -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"OPENBLAS_NUM_THREADS": "1"}


def started(*words: str) -> tuple[float, float]:
    """(CPU seconds, megabytes) of one run of the command, the fastest of three."""
    best, most = 9e9, 0.0
    for _ in range(3):
        child = subprocess.Popen(
            [sys.executable, "-m", "biaspredict", *words], cwd=ROOT, env=_environment(),
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )
        _, _, used = os.wait4(child.pid, 0)
        child.returncode = 0
        best = min(best, used.ru_utime + used.ru_stime)
        most = max(most, used.ru_maxrss / 1024.0)
    return best, most


def engines(quick: bool) -> None:
    print("operating points, CPU microseconds each, and how many times the batch")
    heads = ("(a) rebuild", "(b) alter", "(c) one LU")
    print(f"{'':26}{'batch':>9}" + "".join(f"{head:>16}" for head in heads) + f"{'differ':>10}")
    for name, words, (ours, theirs) in (
        ("small", "phono pair, 19 parts", (2000, 300)),
        ("power", "amplifier, 55 parts", (2000, 100)),
        ("board", "board, 294 parts", (1000, 20)),
    ):
        if quick and name == "board":
            continue
        one = run("batch", name, str(ours))
        a, b = run("rebuilt", name, str(theirs)), run("altered", name, str(theirs))
        cells = [
            f"{1e6 * s:9.0f} {s / one['seconds']:5.1f}x"
            for s in (a["seconds"], b["seconds"], one["floor"])
        ]
        print(f"{words:26}{1e6 * one['seconds']:9.0f}" + "".join(f"{c:>16}" for c in cells)
              + f"{_differ(one, b):>10}")
        if one["solved"] < one["count"]:
            print(f"  batch: {one['count'] - one['solved']} of {one['count']} unsolved")
        if a["raised"]:
            print(f"  (a): PySpice raised on {a['raised']} of {a['count']}")


def _differ(one: Figures, other: Figures) -> str:
    """Median difference of the volts that two ways give for the same faults."""
    many = min(len(one["sample"]), len(other["sample"]))
    apart = np.abs(np.array(one["sample"][:many]) - np.array(other["sample"][:many]))
    return f"{np.nanmedian(apart.max(axis=1)) * 1e6:.0f} uV"


def answers(quick: bool) -> None:
    print("\nsuspect, CPU seconds after start-up: all there is to say; after one more reading;")
    print("only what the next reading needs; milliseconds until an advised one is seen")
    print(f"{'':34}{'first':>8}{'again':>8}{'soon':>8}{'sight':>7}{'MB':>7}")
    for name, words, readings in (
        ("demo", "demo stage, 18 parts, 6 readings", ("6",)),
        ("small", "phono pair, 19 parts, 8 readings", ("8",)),
        ("power", "amplifier, 55 parts, 12 readings", ("12",)),
        ("power", "amplifier, 30 by a needle meter", ("30", NEEDLE)),
        ("board", "board, 294 parts, 20 readings", ("20",)),
    ):
        if quick and name == "board":
            continue
        one = run("suspect", name, *readings)
        print(f"{words:34}{one['first']:8.2f}{one['again']:8.2f}{one['soon']:8.2f}"
              f"{_sight(one['sight']):>7}{one['megabytes']:7.0f}")


def _sight(seconds: float) -> str:
    return "-" if math.isnan(seconds) else f"{1e3 * seconds:.1f}"


def memory(count: int) -> None:
    print(f"\nmemory, MB after a tenth of {count} solves, and after all (19 parts)")
    for engine in ("batch", "ngspice"):
        one = run("flat", "small", engine, str(count))
        print(f"{engine:34}{one['early']:8.0f}{one['late']:8.0f}")


def starts() -> None:
    print("\nstart-up, CPU milliseconds and MB")
    demo = str(Path("demo") / "preamp.stage")
    with tempfile.TemporaryDirectory() as folder:
        wrong = Path(folder) / "wrong.stage"
        wrong.write_text("stage wrong\nR1 4k7 --\n", encoding="utf-8")
        for words, command in (
            ("--help", ("--help",)),
            ("a stage with a syntax error", ("bias", str(wrong))),
            ("bias, demo stage", ("bias", demo)),
            ("suspect, demo stage and readings", ("suspect", demo, "demo/preamp.readings")),
        ):
            seconds, most = started(*command)
            print(f"{words:34}{1e3 * seconds:8.0f}{most:8.0f}")


def main() -> None:
    words = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    words.add_argument("--quick", action="store_true", help="without the board and long runs")
    quick = words.parse_args().quick
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, "
          f"numpy {np.__version__}\n")
    engines(quick)
    answers(quick)
    memory(20_000 if quick else 200_000)
    starts()
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0
    print(f"\nmost memory of any of these processes: {most:.0f} MB")


if __name__ == "__main__":
    main()
