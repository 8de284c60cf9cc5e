"""The way that PySpice's own examples go: build the circuit anew, run it, read the nodes."""

from __future__ import annotations

import math
from typing import Any

from biaspredict.engine.values import applied, device_at
from biaspredict.model.circuit import GMIN, OPEN, Circuit, Device, Element, Variation


def operating_point(circuit: Circuit, variation: Variation) -> list[float] | None:
    """Node volts, None where PySpice raises (as it does for mere notes on stderr too)."""
    from PySpice.Spice.Netlist import Circuit as Netlist
    from PySpice.Spice.NgSpice.Shared import NgSpiceCommandError

    concrete = applied(circuit, variation)
    netlist = Netlist("bench")
    names = {node: f"n{i}" for i, node in enumerate(concrete.nodes, 1)} | {"ground": netlist.gnd}
    for k, element in enumerate(concrete.elements):
        _add(netlist, k, element, [names[node] for node in element.nodes], concrete.celsius)
    for i in range(1, len(concrete.nodes) + 1):
        netlist.R(f"g{i}", f"n{i}", netlist.gnd, OPEN)
    simulator = netlist.simulator(
        temperature=concrete.celsius, nominal_temperature=concrete.celsius
    )
    simulator.options(reltol=1e-5, vntol=1e-8, abstol=1e-14, itl1=200, gmin=GMIN)
    try:
        analysis = simulator.operating_point()
    except NgSpiceCommandError:
        return None
    return [float(analysis.nodes[names[node]][0]) for node in concrete.nodes]


def _add(netlist: Any, k: int, element: Element, nodes: list[str], celsius: float) -> None:
    values = device_at(element, element.values, celsius)
    if element.device in (Device.RESISTOR, Device.COIL):
        netlist.R(k, *nodes, values[0])
    elif element.device is Device.CAPACITOR:
        netlist.R(k, *nodes, values[1])
    elif element.device is Device.SOURCE:
        netlist.V(k, f"s{k}", netlist.gnd, values[0])
        netlist.R(k, f"s{k}", nodes[0], values[1])
    elif element.device is Device.POT:
        netlist.R(f"{k}a", nodes[0], nodes[1], max(values[0] * (1.0 - values[1]), 1e-3))
        netlist.R(f"{k}b", nodes[1], nodes[2], max(values[0] * values[1], 1e-3))
    elif element.device is Device.JUNCTION:
        netlist.model(f"d{k}", "D", IS=values[0], N=values[1])
        netlist.D(k, *nodes, model=f"d{k}")
        netlist.R(k, *nodes, values[5])
    elif element.device is Device.BIPOLAR:
        kind = "npn" if values[0] > 0.0 else "pnp"
        early = values[4] if math.isfinite(values[4]) else 1e30
        netlist.model(f"q{k}", kind, IS=values[1], BF=values[2], BR=values[3], VAF=early,
                      ISC=values[5], NC=2.0)
        netlist.Q(k, *nodes, model=f"q{k}")
        for name, (a, b), ohms in zip(
            ("cb", "be", "ce"), ((0, 1), (1, 2), (0, 2)), values[7:], strict=True
        ):
            netlist.R(f"{k}{name}", nodes[a], nodes[b], ohms)
    else:
        raise ValueError(f"no {element.device.value} on the benchmark's boards")
