"""What an ngspice must show at its start before any number of it is believed."""

from __future__ import annotations

from biaspredict.engine.deck import KEY, OPTIONS, Deck
from biaspredict.engine.library import remedy
from biaspredict.engine.simulator import Simulator
from biaspredict.errors import EngineMissing

WARM = OPTIONS.format(celsius=25.0)
# Base divider 10k and 2.2k at 10 V, collector 3.6k, emitter 1k, IS 1 fA, gain 100.
STAGE = Deck(
    (
        "* trial", f"vkey {KEY} 0 0.0", "v1 n1 0 10.0", "r1 n1 n2 10000.0", "r2 n2 0 2200.0",
        "r3 n1 n3 3600.0", "r4 n4 0 1000.0", "q1 n3 n2 n4 m1", ".model m1 npn(is=1e-15 bf=100.0)",
        f".options {WARM}", ".end",
    ),
    {},
)
COLLECTOR, NEAR = 6.1766, 1e-3  # volts
# A current into a capacitor has no operating point; a run over time would give it one.
ADRIFT = Deck(
    ("* trial", f"vkey {KEY} 0 0.0", "i1 0 n3 0.001", "c1 n3 0 1e-6", f".options {WARM}", ".end"),
    {},
)


def must_be_trusted(simulator: Simulator) -> None:
    """Raises EngineMissing where an operating point is wrong, or given where there is none."""
    simulator.load(STAGE)
    found = simulator.value(b"n3") if simulator.run("op") else float("nan")
    if not abs(found - COLLECTOR) < NEAR:
        _refuse(simulator, f"a collector at {found:.4g} V that stands at {COLLECTOR:.4g} V")
    simulator.load(ADRIFT)
    if simulator.run("op"):
        _refuse(simulator, "volts to a circuit that has no operating point")


def _refuse(simulator: Simulator, gives: str) -> None:
    simulator.command("version")
    name = next((word for line in simulator.said for word in line.split() if "-" in word), "")
    raise EngineMissing(
        f"This {name or 'ngspice'} is too old, or broken: it gives {gives}.",
        remedy=f"Versions 39, 42 and 44 are known to do. {remedy()}",
    )
