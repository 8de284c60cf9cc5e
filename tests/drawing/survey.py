"""A table of drawings: `python -m tests.drawing.survey`, or of the stage files named.

For each stage its parts, rows, crossings, collisions, whether the netlist reads back from the
picture, and processor seconds, the least of three: to predict with bands, to draw from nothing
(cold), and to draw where the layout is kept in a folder (kept).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from biaspredict import pipeline
from biaspredict.report.drawing.cache import known_layout
from biaspredict.report.drawing.draw import draw, lay_out
from biaspredict.report.drawing.facts import facts
from biaspredict.report.drawing.readback import Unreadable, read_back
from biaspredict.report.drawing.rows import plan_rows
from tests.drawing.collisions import collisions
from tests.drawing.stages import load, netlist, solved


def seconds(work: Callable[[], object]) -> float:
    """Least processor time of three."""
    took = []
    for _ in range(3):
        start = time.process_time()
        work()
        took.append(time.process_time() - start)
    return min(took)


def row(path: Path) -> str:
    """One line of the table."""
    stage, volts = load(path), solved(path)
    layout = lay_out(stage, volts)
    svg = draw(stage, volts, layout=layout)
    predict = seconds(lambda: pipeline.bias(stage))
    cold = seconds(lambda: draw(stage, volts))
    with TemporaryDirectory() as folder:
        known_layout(stage, volts, Path(folder))
        kept = seconds(lambda: draw(stage, volts, layout=known_layout(stage, volts, Path(folder))))
    try:
        same = "yes" if read_back(svg) == netlist(stage) else "NO"
    except Unreadable as problem:
        same = f"NO: {problem}"
    return (
        f"{path.stem:27} {len(stage.parts):5} {len(plan_rows(facts(stage, volts))):4}"
        f" {layout.width:5.0f} {layout.height:5.0f} {len(layout.hops):9} {len(collisions(svg)):10}"
        f" {same:>5} {predict:7.3f} {cold:5.2f} {kept:5.3f}"
    )


def main(names: list[str]) -> None:
    """Print the table."""
    print(
        f"{'stage':27} {'parts':>5} {'rows':>4} {'wide':>5} {'tall':>5} {'crossings':>9}"
        f" {'collisions':>10} {'reads':>5} {'predict':>7} {'cold':>5} {'kept':>5}"
    )
    for name in names:
        print(row(Path(name).resolve()), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:] or sorted(map(str, Path("circuits").glob("*.stage"))))
