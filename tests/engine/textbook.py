"""Node equations written from the textbook, with no part of the engines, solved by scipy.

Transistor: transport form of Ebers and Moll with the Early effect of Gummel and Poon,
    IC = IS (exp(VBE/VT) - exp(VBC/VT)) (1 - VBC/VA) - IS/BR (exp(VBC/VT) - 1)
    IB = IS/BF (exp(VBE/VT) - 1) + IS/BR (exp(VBC/VT) - 1)
(Gray, Hurst, Lewis & Meyer, Analysis and Design of Analog Integrated Circuits, ch. 1; Massobrio
& Antognetti, Semiconductor Device Modeling with SPICE, ch. 2; both from memory), and a collector
leakage diode of ideality 2 for ICBO. JFET: Shichman & Hodges, IEEE J. Solid-State Circuits, 1968
(from memory): 2 beta ((VGS - VP) VDS - VDS^2/2) below pinch-off, beta (VGS - VP)^2 above, both
times 1 + lambda VDS. Temperature: EG effective, XTI 0, XTB 1.5; ICBO doubles every 9 K.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from scipy.constants import Boltzmann, elementary_charge, zero_Celsius
from scipy.optimize import root

from biaspredict.model.circuit import Circuit, Device, Element, Load

LEAST = 1e-12  # siemens across every junction and from every node to ground
STEPS = 40  # in which the sources are brought up


def _exp(x: float) -> float:
    """Exponential, straight beyond 60 so that a wild step of the solver stays finite."""
    return math.exp(x) if x < 60.0 else math.exp(60.0) * (1.0 + x - 60.0)


Branch = tuple[str, str, float]  # amps from the first node through the element to the second


def branches(
    element: Element, celsius: float, v: Callable[[str], float], share: float = 1.0
) -> Iterator[Branch]:
    """The currents of one element at node volts `v`, sources at `share` of their volts."""
    kelvin, room = celsius + zero_Celsius, 25.0 + zero_Celsius
    vt = Boltzmann * kelvin / elementary_charge
    n, x = element.nodes, element.values
    if element.device in (Device.RESISTOR, Device.COIL, Device.WINDING):
        yield n[0], n[1], (v(n[0]) - v(n[1])) / x[0]
    elif element.device is Device.CAPACITOR:
        yield n[0], n[1], (v(n[0]) - v(n[1])) / x[1]
    elif element.device is Device.SOURCE:
        yield n[0], "ground", (v(n[0]) - share * x[0]) / x[1]
    elif element.device is Device.CURRENT:
        yield n[0], n[1], share * x[0]
    elif element.device is Device.POT:
        yield n[0], n[1], (v(n[0]) - v(n[1])) / max(x[0] * (1.0 - x[1]), 1e-3)
        yield n[1], n[2], (v(n[1]) - v(n[2])) / max(x[0] * x[1], 1e-3)
    elif element.device is Device.LAMP:
        u = v(n[0]) - v(n[1])
        yield n[0], n[1], u / (x[0] * math.sqrt(0.01 + 0.99 * abs(u) / x[1]))
    elif element.device is Device.JUNCTION:
        sat, ideality, gap, zener_volts, zener_amps, leak = x
        sat *= math.exp((kelvin / room - 1.0) * gap / (ideality * vt))
        u = v(n[0]) - v(n[1])
        yield n[0], n[1], sat * (_exp(u / (ideality * vt)) - 1.0) + u * (LEAST + 1.0 / leak)
        if math.isfinite(zener_volts):
            vt25 = Boltzmann * room / elementary_charge
            w = -u - zener_volts + vt25 * math.log(zener_amps / 1e-15 + 1.0)
            yield n[1], n[0], 1e-15 * (_exp(w / vt) - 1.0) + LEAST * w
    elif element.device is Device.BIPOLAR:
        sign, sat, gain, reverse, early, icbo, gap, cb, be, ce = x
        c, b, e = n
        sat *= math.exp((kelvin / room - 1.0) * gap / vt)
        gain, reverse = gain * (kelvin / room) ** 1.5, reverse * (kelvin / room) ** 1.5
        icbo *= 2.0 ** ((celsius - 25.0) / 9.0)
        vbe, vbc = sign * (v(b) - v(e)), sign * (v(b) - v(c))
        forward, back = sat * (_exp(vbe / vt) - 1.0), sat * (_exp(vbc / vt) - 1.0)
        leak = icbo * (_exp(vbc / (2.0 * vt)) - 1.0)
        ic = (forward - back) * (1.0 - vbc / early) - back / reverse - leak
        ib = forward / gain + back / reverse + leak
        yield c, e, sign * ic + (v(c) - v(e)) / ce
        yield b, e, sign * ib + (v(b) - v(e)) * (LEAST + 1.0 / be)
        yield c, b, (v(c) - v(b)) * (LEAST + 1.0 / cb)
    else:
        sign, *_, gs, gd, ds = x
        d, g, s = n
        if sign * (v(d) - v(s)) < 0.0:  # the channel is symmetrical
            yield s, d, sign * _channel(sign * (v(g) - v(d)), sign * (v(s) - v(d)), x)
        else:
            yield d, s, sign * _channel(sign * (v(g) - v(s)), sign * (v(d) - v(s)), x)
        for end, leak in ((s, gs), (d, gd)):
            u = sign * (v(g) - v(end))
            yield g, end, sign * (1e-14 * (_exp(u / vt) - 1.0) + LEAST * u)
            yield g, end, (v(g) - v(end)) / leak
        yield d, s, (v(d) - v(s)) / ds


def _channel(vgs: float, vds: float, x: tuple[float, ...]) -> float:
    _, idss, pinch_off, slope, *_ = x
    drive = max(vgs + pinch_off, 0.0)
    reach = min(vds, drive)
    body = 2.0 * (drive * reach - reach * reach / 2.0)
    return idss / pinch_off**2 * body * (1.0 + slope * vds)


def unbalance(
    circuit: Circuit, volts: np.ndarray, loads: tuple[Load, ...] = (), share: float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """Sum of the currents leaving each node, and the sum of their sizes, in amps."""
    place = {node: i for i, node in enumerate(circuit.nodes)}
    sums, sizes = np.zeros(len(place)), np.zeros(len(place))

    def v(node: str) -> float:
        return 0.0 if node == "ground" else float(volts[place[node]])

    def add(a: str, b: str, amps: float) -> None:
        for node, signed in ((a, amps), (b, -amps)):
            if node != "ground":
                sums[place[node]] += signed
                sizes[place[node]] += abs(amps)

    for node in circuit.nodes:
        add(node, "ground", v(node) * LEAST)
    for element in circuit.elements:
        for branch in branches(element, circuit.celsius, v, share):
            add(*branch)
    for load in loads:
        add(load.a, load.b, (v(load.a) - v(load.b) - share * load.volts) / load.ohms)
    return sums, sizes


def solve(circuit: Circuit) -> np.ndarray:
    """Node volts, found by bringing the sources up from nothing in steps."""
    size = len(circuit.nodes)
    volts = np.zeros(size)
    # Rows as volts rather than amps: a stiff rail's row would drown the others.
    small = [unbalance(circuit, 1e-3 * np.eye(size)[k], share=0.0)[0][k] for k in range(size)]
    scale = 1e-3 / np.array(small)
    for step in range(1, STEPS + 1):
        share = step / STEPS

        def rows(x: np.ndarray, share: float = share) -> np.ndarray:
            return unbalance(circuit, x, share=share)[0] * scale

        volts = root(rows, volts, method="hybr", options={"xtol": 1e-13, "factor": 1.0}).x
    left, sizes = unbalance(circuit, volts)
    assert (np.abs(left) < 1e-12 + 1e-6 * sizes).all(), "the textbook equations were not solved"
    return volts
