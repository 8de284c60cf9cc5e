"""Worked examples of the books: the figure printed, and the simplification it rests on.

Each case reckons as its book does; `allowed` is half the last printed digit, or where the book
carries a rounded figure on, what that costs (`why` says so).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from biaspredict.predict.hand.records import FULL, QUICK, Key, Reckoning, What, volts
from biaspredict.predict.lesson import ALIKE
from tests.published.bias_rows import BELL, BOYLESTAD, FLOYD, MALVINO, MEHTA, MEMORY, PAGE, SEDRA

ONE_BASE = Reckoning(own=True, following=False, difference=True)
LAST = "the last printed digit"


@dataclass(frozen=True, slots=True)
class Printed:
    key: Key
    value: float
    allowed: float
    why: str = LAST


@dataclass(frozen=True, slots=True)
class Case:
    """number: in the list of published checks. way: how the book reckons; gains, drops: what it
    takes for each transistor where the stage file says otherwise."""

    number: str
    file: str
    source: str
    way: Reckoning
    figures: tuple[Printed, ...]
    gains: Mapping[str, float] = field(default_factory=dict)
    drops: Mapping[str, float] = field(default_factory=dict)


def ib(ref: str) -> Key:
    return Key(What.BASE, ref)


def ic(ref: str) -> Key:
    return Key(What.COLLECTOR, ref)


def ie(ref: str) -> Key:
    return Key(What.EMITTER, ref)


def vce(ref: str = "Q1") -> Key:
    return Key(What.ACROSS, ref)


B, C, E = (volts(f"Q1.{leg}") for leg in ("base", "collector", "emitter"))
ROUNDED = "the book rounds IC to 0.01 mA before it multiplies"

CASES = (
    Case("D1", "fixed-bias", f"{BOYLESTAD}, 10th ed., Ex 4.1, {PAGE}", FULL, (
        Printed(ib("Q1"), 47.08e-6, 0.005e-6), Printed(ic("Q1"), 2.35e-3, 0.005e-3),
        Printed(C, 6.82, 0.005))),
    Case("D2", "emitter-bias", f"{BOYLESTAD}, Ex 4.4, {MEMORY}: IE = IC", ALIKE, (
        Printed(B, 2.71, 0.005), Printed(E, 2.01, 0.005),
        Printed(C, 15.98, 0.005e-3 * 2e3 + 0.005, ROUNDED))),
    *(Case("D3", "divider-22-volts", f"{BOYLESTAD}, {example}, {MEMORY}: IE = IC", ALIKE, (
        Printed(vce(), printed, 0.005e-3 * 11.5e3 + 0.005, ROUNDED),), {"Q1": gain})
      for gain, printed, example in ((140.0, 12.22, "Ex 4.7"), (100.0, 12.34, "Ex 4.8"))),
    Case("D4", "divider-10-volts", f"{MALVINO}, chapter 8, {PAGE}", FULL, (
        Printed(B, 1.78, 0.005), Printed(E, 1.08, 0.005), Printed(C, 6.14, 0.005))),
    *(Case("D5", "divider-18-volts", f"{BELL}, Ex 5.8 to 5.10, {PAGE}", FULL, (
        Printed(vce(), printed, 0.05),), {"Q1": gain})
      for gain, printed in ((50.0, 10.4), (100.0, 9.7), (200.0, 9.4))),
    Case("D6", "divider-15-volts", f"{SEDRA}, Ex 5.10, {PAGE}", FULL, (
        Printed(B, 4.57, 0.005), Printed(C, 8.6, 0.05))),
    Case("D7", "direct-coupled-pair",
         f"{SEDRA}, Ex 5.11, {PAGE}: base current of Q2 neglected at the collector of Q1",
         ONE_BASE, (
        Printed(volts("Q1.collector"), 8.6, 0.05), Printed(volts("Q2.emitter"), 9.3, 0.05),
        Printed(volts("Q2.collector"), 7.61, 0.05 * 2.7 / 2.0, "9.3 V is rounded"))),
    Case("D9", "collector-feedback-10-volts", f"{FLOYD}, Ex 5.8, {PAGE}: the base current is "
         "forgotten in RC", ALIKE, (Printed(vce(), 1.545, 0.0005),)),
    Case("D9", "collector-feedback-20-volts", f"{MEHTA}, Ex 9.14, {PAGE}: the base current is "
         "forgotten in RC", ALIKE, (Printed(vce(), 10.35, 0.005),)),
    Case("D13", "pnp-divider-10-volts", f"{MALVINO}, Ex 8-7, {PAGE}: no base current", QUICK, (
        Printed(B, 8.2, 0.05), Printed(E, 8.9, 0.05), Printed(C, 3.97, 0.005))),
    Case("D14", "pnp-divider-18-volts", f"{BOYLESTAD}, {MEMORY}: no base current", QUICK, (
        Printed(B, -3.16, 0.005), Printed(E, -2.46, 0.005),
        Printed(vce(), 10.16, 0.005e-3 * 3.5e3 + 0.005, ROUNDED))),
    *(Case("D15", "germanium-divider", f"{MEHTA}, Ex 9.21, {PAGE}: no base current", QUICK, (
        Printed(ie("Q1"), printed, 0.05e-3),), drops={"Q1": vbe})
      for vbe, printed in ((0.1, 1.9e-3), (0.3, 1.7e-3))),
    *(Case("D16", "germanium-fixed-bias", f"{MEHTA}, Ex 9.5, {PAGE}", FULL, (
        Printed(ic("Q1"), printed, 0.05e-3),), {"Q1": gain}, {"Q1": 0.3})
      for gain, printed in ((100.0, 1.0e-3), (50.0, 0.5e-3))),
    *(Case("D17", "germanium-collector-feedback", f"{MEHTA}, Ex 9.15, {PAGE}: the base current "
           "is forgotten in RC", ALIKE, (Printed(vce(), printed, last),), {"Q1": gain},
           {"Q1": 0.3})
      for gain, printed, last in ((100.0, 8.0, 0.005), (50.0, 9.6, 0.05))),
    Case("D19", "emitter-follower-20-volts", f"{BOYLESTAD}, {MEMORY}", FULL, (
        Printed(ie("Q1"), 4.16e-3, 0.005e-3), Printed(vce(), 11.68, 0.005))),
    Case("D20", "darlington-15-volts", f"{MALVINO}, Ex 11-8, {PAGE}: no base current", QUICK, (
        Printed(B, 10.0, 0.05), Printed(volts("Q2.emitter"), 8.6, 0.05))),
    Case("D22", "darlington-18-volts", f"{BOYLESTAD}, {MEMORY}", FULL, (
        Printed(B, 9.6, 0.05), Printed(volts("Q2.emitter"), 8.0, 0.05))),
    Case("D24", "differential-9-volts", f"{BOYLESTAD}, 10th ed., Ex 10.1, {PAGE}: no base "
         "current", QUICK, (
        Printed(volts("Q1.collector"), 4.1, 0.05), Printed(volts("Q2.collector"), 4.1, 0.05),
        Printed(ic("Q1"), 1.26e-3, 0.005e-3))),
    Case("D25", "differential-15-volts", f"{MALVINO}, Ex 17-2, {PAGE}: no base current", QUICK, (
        Printed(volts("Q2.collector"), 10.23, 0.005),)),
    Case("D26", "constant-current", f"{BOYLESTAD}, {MEMORY}: no base current", QUICK, (
        Printed(ic("Q1"), 4.65e-3, 0.005e-3),)),
    Case("D26", "constant-current-zener", f"{BOYLESTAD}, {MEMORY}: IE = IC", ALIKE, (
        Printed(ic("Q1"), 3.06e-3, 0.005e-3),)),
    # Beyond the asked range: the same recipes reach these too.
    Case("D28", "complementary-push-pull",
         f"Malvino, Semiconductor Circuit Approximations, 4th ed., Ex 10.4, {PAGE}", FULL, (
        Printed(Key(What.AMPS, "R2"), 19.3e-3, 0.05e-3), Printed(volts("OUT"), 20.0, 0.05))),
    Case("D29", "fet-self-bias", f"{BOYLESTAD}, 10th ed., Ex 7.2, {PAGE}", FULL, (
        Printed(volts("Q1.source"), 2.6, 0.05),
        Printed(volts("Q1.drain"), 11.42, 0.05 * 3.3 + 0.005,
                "the book reads 2.6 V from a drawn curve, and multiplies by RD/RS"))),
    Case("D33", "series-regulator", f"{BOYLESTAD}, 10th ed., Ex 15.8, {PAGE}", FULL, (
        Printed(volts("OUT"), 11.3, 0.05),)),
    Case("D35", "saturated-pnp", f"{SEDRA}, Ex 5.9, {PAGE}: V_EC 0.2 V", FULL, (
        Printed(volts("Q1.base"), 3.13, 0.005), Printed(volts("Q1.emitter"), 3.83, 0.005),
        Printed(volts("Q1.collector"), 3.63, 0.01, "0.2 V taken off VE already rounded"))),
)
