"""Worked examples of bipolar bias.

How each was read: "worked-examples page" is a public page that repeats the book's examples,
not the printed book; "from memory" means what it says.
"""

from __future__ import annotations

from biaspredict.engine.flatten import saturation
from tests.published.figures import NO_BASE_CURRENT, Row, across, amps, node, vce

PAGE = "worked-examples page"
MEMORY = "from memory"
BOYLESTAD = "Boylestad & Nashelsky, Electronic Devices and Circuit Theory"
MALVINO = "Malvino & Bates, Electronic Principles, 7th ed."
SEDRA = "Sedra & Smith, Microelectronic Circuits, 5th ed."
BELL = "Bell, Electronic Devices and Circuits, 5th ed."
MEHTA = "Mehta, Principles of Electronics, 11th ed."
FLOYD = "Floyd, Electronic Devices, 7th ed."

NEGLECTED = (("Q1.gain", NO_BASE_CURRENT),)
BOTH_NEGLECTED = (*NEGLECTED, ("Q2.gain", NO_BASE_CURRENT))


def past_the_collector_resistor(
    rail: float, rc: float, rb: float, gain: float, vbe: float
) -> float:
    """Volts that collector feedback loses by reckoning IB = IC/gain but forgetting IB in RC.

    Exact: I = (V - VBE) / (RC + RB/(gain + 1)); book: I = (V - VBE) / (RC + RB/gain).
    """
    exact = (rail - vbe) / (rc + rb / (gain + 1.0))
    book = (rail - vbe) / (rc + rb / gain)
    return (exact - book) * rc


ROWS = (
    Row(
        "fixed-bias",
        f"{BOYLESTAD}, 10th ed., Ex 4.1, {PAGE}",
        (
            amps("B+", "Q1.base", 240e3, 47.08e-6, 0.005e-6, "the last printed digit"),
            amps("B+", "Q1.collector", 2.2e3, 2.35e-3, 0.005e-3, "the last printed digit"),
            node("Q1.collector", 6.82, 0.005),
        ),
    ),
    Row(
        "emitter-bias",
        f"{BOYLESTAD}, Ex 4.4, {MEMORY}",
        (
            node("Q1.base", 2.71, 2.01 / 50 + 0.005, "the book sets IE = IC: 1/gain of VE"),
            node("Q1.emitter", 2.01, 2.01 / 50 + 0.005, "the book sets IE = IC: 1/gain of VE"),
            node("Q1.collector", 15.98, 0.005e-3 * 2e3 + 0.005, "IC rounded to 0.01 mA, in 2K"),
        ),
    ),
    *(
        Row(
            "divider-22-volts",
            f"{BOYLESTAD}, {example}, {MEMORY}",
            (vce(printed, 0.005e-3 * 11.5e3 + 0.005, "IC rounded to 0.01 mA, in 11.5K"),),
            (("Q1.gain", gain),),
            f"gain {gain:.0f}",
        )
        for gain, printed, example in ((140.0, 12.22, "Ex 4.7"), (100.0, 12.34, "Ex 4.8"))
    ),
    Row(
        "divider-10-volts",
        f"{MALVINO}, chapter 8, circuit from a {PAGE}, values from another public page",
        (
            node("Q1.base", 1.78, 0.005),
            node("Q1.emitter", 1.08, 0.005),
            node("Q1.collector", 6.14, 0.005),
        ),
    ),
    *(
        Row(
            "divider-18-volts",
            f"{BELL}, Ex 5.8 to 5.10, {PAGE}",
            (vce(printed, 0.05),),
            (("Q1.gain", gain),),
            f"gain {gain:.0f}",
        )
        for gain, printed in ((50.0, 10.4), (100.0, 9.7), (200.0, 9.4))
    ),
    Row(
        "divider-15-volts",
        f"{SEDRA}, Ex 5.10, {PAGE}",
        (node("Q1.base", 4.57, 0.005), node("Q1.collector", 8.6, 0.05)),
    ),
    Row(
        "direct-coupled-pair",
        f"{SEDRA}, Ex 5.11, {PAGE}",
        (
            node("Q1.collector", 8.6, 0.05),
            node("Q2.emitter", 9.3, 0.05),
            node(
                "Q2.collector",
                7.61,
                7.61 / 101 + 0.05 * 2.7 / 2.0,
                "here Q2 takes no base current, the book lets 1/101 of IE2 go; 9.3 V is rounded",
            ),
        ),
        (("Q2.gain", NO_BASE_CURRENT),),
        "base current of Q2 neglected",
    ),
    Row(
        "collector-feedback-10-volts",
        f"{FLOYD}, Ex 5.8, {PAGE}",
        (
            vce(
                1.545,
                past_the_collector_resistor(10.0, 10e3, 100e3, 100.0, 0.7) + 0.0005,
                "the base current is forgotten in RC",
            ),
        ),
    ),
    Row(
        "collector-feedback-20-volts",
        f"{MEHTA}, Ex 9.14, {PAGE}",
        (
            vce(
                10.35,
                past_the_collector_resistor(20.0, 1e3, 100e3, 100.0, 0.7) + 0.005,
                "the base current is forgotten in RC",
            ),
        ),
    ),
    Row(
        "pnp-divider-10-volts",
        f"{MALVINO}, Ex 8-7, {PAGE}",
        (
            node("Q1.base", 8.2, 0.05),
            node("Q1.emitter", 8.9, 0.05),
            node("Q1.collector", 3.97, 0.005),
        ),
        NEGLECTED,
    ),
    Row(
        "pnp-divider-18-volts",
        f"{BOYLESTAD}, {MEMORY}",
        (
            node("Q1.base", -3.16, 0.005),
            node("Q1.emitter", -2.46, 0.005),
            vce(-10.16, 0.005e-3 * 3.5e3 + 0.005, "IC rounded to 0.01 mA, in 3.5K"),
        ),
        NEGLECTED,
    ),
    *(
        Row(
            "germanium-divider",
            f"{MEHTA}, Ex 9.21, {PAGE}",
            (amps("Q1.emitter", "ground", 1e3, printed, 0.05e-3, "the last printed digit"),),
            (*NEGLECTED, ("Q1.saturation", saturation(printed, vbe))),
            f"VBE {vbe} V",
        )
        for vbe, printed in ((0.1, 1.9e-3), (0.3, 1.7e-3))
    ),
    *(
        Row(
            "germanium-fixed-bias",
            f"{MEHTA}, Ex 9.5, {PAGE}",
            (amps("B+", "Q1.collector", 1e3, printed, 0.05e-3, "the last printed digit"),),
            (("Q1.gain", gain),),
            f"gain {gain:.0f}",
        )
        for gain, printed in ((100.0, 1.0e-3), (50.0, 0.5e-3))
    ),
    *(
        Row(
            "germanium-collector-feedback",
            f"{MEHTA}, Ex 9.15, {PAGE}",
            (
                vce(
                    printed,
                    past_the_collector_resistor(12.0, 4e3, 770e3, gain, 0.3) + last,
                    "the base current is forgotten in RC",
                ),
            ),
            (("Q1.gain", gain),),
            f"gain {gain:.0f}",
        )
        for gain, printed, last in ((100.0, 8.0, 0.005), (50.0, 9.6, 0.05))
    ),
    Row(
        "emitter-follower-20-volts",
        f"{BOYLESTAD}, {MEMORY}",
        (
            amps("Q1.emitter", "B-", 2e3, 4.16e-3, 0.005e-3, "the last printed digit"),
            vce(11.68, 0.005),
        ),
    ),
    Row(
        "darlington-15-volts",
        f"{MALVINO}, Ex 11-8, {PAGE}",
        (node("Q1.base", 10.0, 0.05), node("Q2.emitter", 8.6, 0.05)),
        NEGLECTED,
    ),
    Row(
        "darlington-18-volts",
        f"{BOYLESTAD}, {MEMORY}",
        (node("Q1.base", 9.6, 0.05), node("Q2.emitter", 8.0, 0.05)),
    ),
    Row(
        "differential-9-volts",
        f"{BOYLESTAD}, 10th ed., Ex 10.1, {PAGE}",
        (
            node("Q1.collector", 4.1, 0.05),
            node("Q2.collector", 4.1, 0.05),
            amps("V+", "Q1.collector", 3.9e3, 1.26e-3, 0.005e-3, "the last printed digit"),
        ),
        BOTH_NEGLECTED,
    ),
    Row(
        "differential-15-volts",
        f"{MALVINO}, Ex 17-2, {PAGE}",
        (node("Q2.collector", 10.23, 0.005),),
        BOTH_NEGLECTED,
    ),
    Row(
        "constant-current",
        f"{BOYLESTAD}, {MEMORY}",
        (amps("ground", "Q1.collector", 1e3, 4.65e-3, 0.005e-3, "the last printed digit"),),
        NEGLECTED,
    ),
    Row(
        "constant-current-zener",
        f"{BOYLESTAD}, {MEMORY}",
        (amps("Q1.emitter", "B-", 1.8e3, 3.06e-3, 0.005e-3, "the last printed digit"),),
    ),
    Row(
        "complementary-push-pull",
        "Malvino, Semiconductor Circuit Approximations, 4th ed., Ex 10.4, " + PAGE,
        (
            amps("B+", "Q1.base", 1e3, 19.3e-3, 0.05e-3, "the last printed digit"),
            node("OUT", 20.0, 0.05),
        ),
    ),
    Row(
        "series-regulator",
        f"{BOYLESTAD}, 10th ed., Ex 15.8, {PAGE}",
        (
            node("OUT", 11.3, 0.05),
            amps("RAW", "Q1.base", 220.0, 36.1e-3 + 11.3e-3 / 51, 0.05e-3, "zener and base"),
        ),
    ),
    Row(
        "saturated-pnp",
        f"{SEDRA}, Ex 5.9, {PAGE}",
        (
            node("Q1.base", 3.13, 0.005),
            node("Q1.emitter", 3.83, 0.005),
            node("Q1.collector", 3.63, 0.01, "0.2 V taken off VE already rounded"),
        ),
    ),
    Row(
        "saturated-pnp",
        f"{SEDRA}, Ex 5.9, {PAGE}",
        (across("Q1.emitter", "Q1.collector", 0.1, 0.1, "saturated: between 0 and 0.2 V"),),
        (("Q1.reverse_gain", 4.0),),
        "usual reverse gain",
    ),
)
