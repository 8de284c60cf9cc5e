"""Worked examples of junction FETs, zeners and resistive supplies."""

from __future__ import annotations

from tests.published.bias_rows import BOYLESTAD, PAGE
from tests.published.figures import Row, amps, node

ROWS = (
    Row(
        "fet-self-bias",
        f"{BOYLESTAD}, 10th ed., Ex 7.2, {PAGE}",
        (
            node("Q1.source", 2.6, 0.05, "ID is read from a drawn curve as 2.6 mA"),
            node("Q1.drain", 11.42, 0.05e-3 * 3.3e3, "ID is read from a drawn curve as 2.6 mA"),
        ),
    ),
    Row(
        "fet-divider",
        f"{BOYLESTAD}, 10th ed., Ex 7.5, {PAGE}",
        (
            node("Q1.gate", 1.82, 0.005),
            node("Q1.source", 3.6, 0.05e-3 * 1.5e3, "ID is read from a drawn curve as 2.4 mA"),
            node("Q1.drain", 10.24, 0.05e-3 * 2.4e3, "ID is read from a drawn curve as 2.4 mA"),
        ),
    ),
    Row(
        "zener-shunt",
        f"{BOYLESTAD}, 10th ed., Ex 2.26, {PAGE}",
        (node("OUT", 8.73, 0.005),),
        (("R2.ohms", 1.2e3),),
        "the zener rests",
    ),
    Row(
        "zener-shunt",
        f"{BOYLESTAD}, 10th ed., Ex 2.26, {PAGE}",
        (
            node("OUT", 10.0, 0.005),
            amps("B+", "OUT", 1e3, 2.67e-3 + 10.0 / 3e3, 0.005e-3, "zener and load current"),
        ),
        (("R2.ohms", 3e3),),
        "the zener holds",
    ),
    Row(
        "supply-rc-section",
        f"{BOYLESTAD}, 10th ed., Ex 15.6, {PAGE}",
        (node("B+", 53.6, 0.05),),
    ),
    Row(
        "supply-rc-ripple",
        f"{BOYLESTAD}, 10th ed., Ex 15.7, {PAGE}",
        (node("B+", 136.4, 0.05),),
    ),
)
