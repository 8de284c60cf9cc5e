"""How far apart the columns stand: as close as their boxes allow, then drawn to what they feed."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from biaspredict.report.drawing.costs import Column
from biaspredict.report.drawing.heights import leads
from biaspredict.report.drawing.room import Box
from biaspredict.report.drawing.sketch import Sketch

GAP = 0.22
STRAIGHT = 0.06  # columns nearer than this are set in line


def apart(left: Sequence[Box], right: Sequence[Box]) -> float:
    """Least distance between the middles of two columns."""
    far = 0.0
    for a in left:
        for b in right:
            if a.y1 < b.y2 + GAP / 2 and b.y1 < a.y2 + GAP / 2:
                far = max(far, a.x2 - b.x1 + GAP)
    return far


def compact(
    sketch: Sketch, columns: Sequence[Column], boxes: Sequence[Sequence[Box]]
) -> list[float]:
    """Middle of each column, from the left."""
    count = len(columns)
    needs = [[apart(boxes[i], boxes[j]) for j in range(i + 1, count)] for i in range(count)]
    x = [0.0] * count
    for j in range(count):
        x[j] = max((x[i] + needs[i][j - i - 1] for i in range(j)), default=0.0)
    beside = _neighbours(sketch, columns)
    for sweep in range(8):
        for j in range(count) if sweep % 2 else reversed(range(count)):
            low = max((x[i] + needs[i][j - i - 1] for i in range(j)), default=None)
            high = min((x[i] - needs[j][i - j - 1] for i in range(j + 1, count)), default=None)
            if not beside[j]:
                continue
            wish = median(x[i] for i in beside[j])
            if low is not None:
                wish = max(wish, low)
            if high is not None:
                wish = min(wish, high)
            x[j] = wish
    least = min((x[k] + min(b.x1 for b in boxes[k]) for k in range(count) if boxes[k]), default=0.0)
    return [value - least for value in x]


def _neighbours(sketch: Sketch, columns: Sequence[Column]) -> list[list[int]]:
    """Columns that share a line with each, rails and ground left out."""
    on: dict[int, list[int]] = {}
    for place, column in enumerate(columns):
        for line, _ in leads(sketch, column):
            if not sketch.lines[line].still:
                on.setdefault(line, []).append(place)
    found: list[list[int]] = []
    for place, column in enumerate(columns):
        met: list[int] = []
        for line, _ in leads(sketch, column):
            if not sketch.lines[line].still:
                met += [other for other in on[line] if other != place]
        found.append(met)
    return found
