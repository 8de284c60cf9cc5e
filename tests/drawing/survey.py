"""A table of drawings: `python -m tests.drawing.survey`, or of the stage files named.

For each stage its parts, rows, crossings, collisions, whether the netlist reads back from the
picture, processor seconds to lay out, and to draw once laid out.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from biaspredict.report.drawing.draw import draw, lay_out
from biaspredict.report.drawing.facts import facts
from biaspredict.report.drawing.readback import Unreadable, read_back
from biaspredict.report.drawing.rows import plan_rows
from tests.drawing.collisions import collisions
from tests.drawing.stages import load, netlist, solved


def row(path: Path) -> str:
    """One line of the table."""
    stage, volts = load(path), solved(path)
    start = time.process_time()
    layout = lay_out(stage, volts)
    laid = time.process_time()
    svg = draw(stage, volts, layout=layout)
    drawn = time.process_time()
    try:
        same = "yes" if read_back(svg) == netlist(stage) else "NO"
    except Unreadable as problem:
        same = f"NO: {problem}"
    return (
        f"{path.stem:30} {len(stage.parts):5} {len(plan_rows(facts(stage, volts))):4}"
        f" {layout.width:5.0f} {layout.height:5.0f} {len(layout.hops):9} {len(collisions(svg)):10}"
        f" {same:>9} {laid - start:8.2f} {drawn - laid:7.3f}"
    )


def main(names: list[str]) -> None:
    """Print the table."""
    print(
        f"{'stage':30} {'parts':>5} {'rows':>4} {'wide':>5} {'tall':>5} {'crossings':>9}"
        f" {'collisions':>10} {'reads':>9} {'lay out':>8} {'draw':>7}"
    )
    for name in names:
        print(row(Path(name).resolve()), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:] or sorted(map(str, Path("circuits").glob("*.stage"))))
