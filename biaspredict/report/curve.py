"""A response curve drawn with characters, for a terminal 80 columns wide."""

from __future__ import annotations

import math
from collections.abc import Sequence

WIDTH, HEIGHT = 64, 13
STEPS = (1.0, 2.0, 3.0, 6.0, 10.0, 20.0)  # decibels from line to line
TICKS = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3, 20e3, 50e3)
LABELLED = {10.0: "10", 20.0: "20", 100.0: "100", 1e3: "1k", 10e3: "10k", 20e3: "20k"}
DEEPEST = 60.0  # decibels below the top that are drawn
BEFORE, AFTER = ".", "o"


def plot(
    hertz: Sequence[float], before: Sequence[float], after: Sequence[float] | None = None
) -> list[str]:
    """Lines of a plot of decibels over frequency (logarithmic); `after` hides `before`.

    hertz: rising. Values are joined by straight lines.
    """
    curves = [before] if after is None else [before, after]
    top = max(max(curve) for curve in curves)
    low = max(min(min(curve) for curve in curves), top - DEEPEST)
    step = next((s for s in STEPS if (top - low) / s <= HEIGHT - 2), STEPS[-1])
    ceiling = step * math.ceil(top / step)
    grid = [[" "] * WIDTH for _ in range(HEIGHT)]
    left, right = math.log(hertz[0]), math.log(hertz[-1])

    def column(f: float) -> int:
        return round((math.log(f) - left) / (right - left) * (WIDTH - 1))

    for curve, mark in zip(curves, (BEFORE, AFTER) if after is not None else (AFTER,), strict=True):
        for x in range(WIDTH):
            f = math.exp(left + (right - left) * x / (WIDTH - 1))
            y = round((ceiling - _between(hertz, curve, f)) / step)
            if 0 <= y < HEIGHT:
                grid[y][x] = mark
    lines = [
        f"  {ceiling - step * y:5.0f} |{''.join(row).rstrip()}" for y, row in enumerate(grid)
    ]
    while lines[-1].endswith("|"):
        lines.pop()
    axis = ["-"] * WIDTH
    names = [" "] * (WIDTH + 4)
    for tick in TICKS:
        if hertz[0] <= tick <= hertz[-1]:
            axis[column(tick)] = "+"
            label = LABELLED.get(tick, "")
            start = max(column(tick) - len(label) // 2, 0)
            names[start : start + len(label)] = label
    ruler = f"        +{''.join(axis)}"
    return ["     dB", *lines, ruler, f"         {''.join(names).rstrip()} Hz"]


def _between(hertz: Sequence[float], curve: Sequence[float], f: float) -> float:
    for i in range(1, len(hertz)):
        if f <= hertz[i]:
            share = math.log(f / hertz[i - 1]) / math.log(hertz[i] / hertz[i - 1])
            return curve[i - 1] + share * (curve[i] - curve[i - 1])
    return curve[-1]
