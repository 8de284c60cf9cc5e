"""Checks of the mains side: windings without rectifiers, and nodes fed twice."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.findings import Finding, Gravity
from biaspredict.graph.network import Network
from biaspredict.graph.supply import RECTIFIERS, mains
from biaspredict.graph.wording import listed
from biaspredict.model.parts import Kind
from biaspredict.model.stage import Stage


def no_rectifier(stage: Stage, net: Network) -> Iterator[Finding]:
    """Windings with volts that no rectifier leads away from, where nothing else feeds the stage."""
    windings = [p for p in stage.parts if p.kind is Kind.WINDING and p.volts]
    fed = stage.rails or any(pin.volts or pin.amps for pin in stage.pins)
    if windings and not fed and mains(stage) is None:
        refs = tuple(part.ref for part in windings)
        yield Finding(
            "no-rectifier",
            Gravity.CHECK,
            refs,
            f"No rectifier leads from {listed(refs)} to the stage: it has no DC.",
            "Draw the rectifiers, as in `A -- D1> rectifier -- RAW`.",
            windings[0].origin,
        )


def rail_and_rectifier(stage: Stage, net: Network) -> Iterator[Finding]:
    """Rails that rectifiers behind a winding feed too."""
    ends = {node for p in stage.parts if p.kind is Kind.WINDING and p.volts for node in p.nodes}
    for node, rails in net.rails.items():
        feeding = [
            part
            for part, _ in net.legs[node]
            if part.kind in RECTIFIERS and not ends.isdisjoint(part.nodes)
        ]
        if feeding:
            refs = tuple(part.ref for part in feeding)
            yield Finding(
                "rail-and-rectifier",
                Gravity.CHECK,
                (rails[0].name, *refs),
                f"{rails[0].name} is written as a rail, and is fed from a winding through "
                f"{listed(refs)} too: the rail holds it, and the winding counts for nothing.",
                "Leave the rail's line out to run the supply, or the winding and its rectifiers.",
                rails[0].origin,
            )
