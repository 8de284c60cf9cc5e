"""A load line drawn with characters: collector current over V_CE, and where the stage stands."""

from __future__ import annotations

from biaspredict.predict.load_line import LoadLine
from biaspredict.report import words

WIDTH, HEIGHT = 56, 12


def plot(line: LoadLine) -> list[str]:
    """Lines of the plot, at most 80 columns wide; Q is the point at which it rests."""
    grid = [[" "] * (WIDTH + 1) for _ in range(HEIGHT + 1)]
    for column in range(WIDTH + 1):
        share = column / WIDTH
        grid[_row(1.0 - share)][column] = "."
    at = min(max(line.vce / line.open_volts, 0.0), 1.0)
    column, row = round(at * WIDTH), _row(min(max(line.amps / line.full_amps, 0.0), 1.0))
    grid[row][column] = "Q"
    labels = {0: words.amps(line.full_amps), row: words.amps(line.amps), HEIGHT: "0"}
    lines = [
        f"{labels.get(y, ''):>10} |{''.join(cells).rstrip()}".rstrip()
        for y, cells in enumerate(grid)
    ]
    axis = ["-"] * (WIDTH + 1)
    axis[column] = "+"
    lines.append(f"{'':>10} +{''.join(axis)}")
    ends = [" "] * (WIDTH + 12)
    for place, text in ((0, "0"), (WIDTH, words.volts(line.open_volts)),
                        (column, words.volts(line.vce))):
        start = max(place - len(text) // 2, 0)
        if all(cell == " " for cell in ends[max(start - 1, 0) : start + len(text) + 1]):
            ends[start : start + len(text)] = text
    lines.append(f"{'':>12}{''.join(ends).rstrip()}")
    return lines


def _row(height: float) -> int:
    return round((1.0 - height) * HEIGHT)
