"""The line stage with the power off, written out by hand and solved by scipy.

Nothing here comes from the package: Kirchhoff's current law at each node, and the transistor as
Ebers and Moll have it with Early voltage (Getreu, Modeling the Bipolar Transistor, 1976), ICBO as
a base-collector diode of ideality 2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import root

VT = 8.617333262e-5 * 298.15
VOLTS_OF_1_MA = 0.655
GAIN, EARLY, ICBO = math.sqrt(75.0 * 300.0), 80.0, 1e-8

TEXT = """stage "line stage, off"
rail   B+ 22 V 5% off 3.3K
assume resistors 10%, electrolytics -10/+50%, temperature 25 C
Q1 npn silicon gain 75..300 vbe 0.655 V at 1 mA icbo 0.01 uA early 80 V reverse gain 4
B+ -- R5 2.2K -- VA -- +C4 100 MFD 25V -- ground
VA -- R1 220K -- Q1.base -- R2 47K -- ground
VA -- R3 4.7K -- Q1.collector
Q1.emitter -- R4 1K -- ground
Q1.emitter -- +C3 50 MFD 6V -- ground
"""
REVERSE = 4.0
ADDS_UP = 1e-11  # amperes within which the currents of every node must add up
NODES = ("B+", "VA", "Q1.base", "Q1.collector", "Q1.emitter")


@dataclass(frozen=True)
class Leads:
    """An ohmmeter of `volts` behind `ohms`: positive lead at `red`, None for ground."""

    red: str | None
    black: str | None
    ohms: float
    volts: float


def transistor(vb: float, vc: float, ve: float) -> tuple[float, float]:
    """Collector and base currents into an NPN."""
    saturation = 1e-3 / math.expm1(VOLTS_OF_1_MA / VT)
    be, bc = vb - ve, vb - vc
    forward = saturation * math.expm1(min(be / VT, 80.0))
    back = saturation * math.expm1(min(bc / VT, 80.0))
    leak = ICBO * math.expm1(min(bc / (2.0 * VT), 80.0))
    collector = (forward - back) * (1.0 - bc / EARLY) - back / REVERSE - leak
    return collector, forward / GAIN + back / REVERSE + leak


def leaving(volts: np.ndarray, leads: Leads) -> np.ndarray:
    """Amperes that leave each node, those into capacitors left out."""
    rail, va, vb, vc, ve = volts
    ic, ib = transistor(vb, vc, ve)
    r5, r1, r3 = (rail - va) / 2.2e3, (va - vb) / 220e3, (va - vc) / 4.7e3
    found = np.array([
        rail / 3.3e3 + r5, -r5 + r1 + r3, -r1 + vb / 47e3 + ib, -r3 + ic, ve / 1e3 - ic - ib,
    ])
    at = dict(zip(NODES, volts, strict=True)) | {None: 0.0}
    through = (leads.volts - (at[leads.red] - at[leads.black])) / leads.ohms
    for node, sign in ((leads.red, -1.0), (leads.black, 1.0)):
        if node is not None:
            found[NODES.index(node)] += sign * through
    return found


def shown(volts: np.ndarray, leads: Leads) -> float:
    at = dict(zip(NODES, volts, strict=True)) | {None: 0.0}
    across = float(at[leads.red] - at[leads.black])
    return leads.ohms * across / (leads.volts - across)


def settled(leads: Leads) -> float:
    """Ohms shown once every capacitor is charged."""
    found = root(lambda v: 1e3 * leaving(v, leads), np.zeros(5), tol=1e-12)
    assert np.abs(leaving(found.x, leads)).max() < ADDS_UP
    return shown(found.x, leads)


def after(leads: Leads, seconds: float) -> float:
    """Ohms shown so long after the leads touched, C4 and C3 discharged before."""
    farads = np.array([100e-6, 50e-6])

    def held(stored: np.ndarray) -> np.ndarray:
        def misses(free: np.ndarray) -> np.ndarray:
            volts = np.array([free[0], stored[0], free[1], free[2], stored[1]])
            return 1e3 * leaving(volts, leads)[[0, 2, 3]]

        found = root(misses, np.array([stored[0], stored[0], stored[0]]), tol=1e-12)
        assert np.abs(misses(found.x)).max() < 1e3 * ADDS_UP
        return np.array([found.x[0], stored[0], found.x[1], found.x[2], stored[1]])

    def charging(_: float, stored: np.ndarray) -> np.ndarray:
        return -leaving(held(stored), leads)[[1, 4]] / farads

    run = solve_ivp(charging, (0.0, seconds), np.zeros(2), method="LSODA", rtol=1e-8, atol=1e-10)
    assert run.success, run.message
    return shown(held(run.y[:, -1]), leads)
