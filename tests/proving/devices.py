"""Semiconductors as one specimen has them: richer than anything the tool assumes.

Ranges are those of ordinary discrete devices of the 1960s and 1970s (from memory). The sheet's
own figures (gain, junction volts, leakage) anchor each device at the current they are given for;
away from that current, temperature and voltage the truth goes its own way.
"""

from __future__ import annotations

import math

from biaspredict.model.devices import Bipolar, Diode, Fet, Material, Polarity, Size, Zener

from .draws import Draws

GUMMEL_POON = (
    "is", "bf", "ise", "ne", "br", "vaf", "var", "ikf", "ikr", "rb", "re", "rc", "xtb", "eg", "xti"
)  # fmt: skip
VT25 = 0.025693  # kT/q at 25 C, volts

# terminal resistances (base, emitter, collector), knee current of the gain, kelvin per watt
_BODY: dict[Size, tuple[tuple[float, float], ...]] = {
    Size.SMALL: ((50, 300), (0.3, 1.5), (1, 20), (0.03, 0.15), (200, 400)),
    Size.MEDIUM: ((10, 50), (0.1, 0.4), (0.5, 3), (0.3, 1.5), (40, 80)),
    Size.POWER: ((1, 10), (0.02, 0.08), (0.05, 0.3), (2.0, 8.0), (3, 8)),
}


def draw_bipolar(device: Bipolar, draw: Draws, known: Draws | None = None) -> dict[str, float]:
    """Gummel-Poon parameters at 25 C of one transistor, in ngspice's units.

    known: draws what the sheet speaks of (gain, V_BE, leakage, Early volts), where that is not
    to be drawn like the rest.

    At `vbe_amps` the specimen has the gain and the base-emitter volts drawn for it; from there
    the gain falls towards low currents (ISE, NE) and high ones (IKF), and rises with the
    collector volts (VAF) and the temperature (XTB).
    """
    known = known or draw
    rb, re, rc, knee, thermal = _BODY[device.size]
    silicon = device.material is Material.SILICON
    amps = device.vbe_amps
    gain = known.inside(device.gain.low, device.gain.high)
    vbe = device.vbe + known.normal(0.012 if silicon else 0.015)
    ikf = draw.log(*knee)
    base_ohms, emitter_ohms = draw.log(*rb), draw.log(*re)
    early = known.spread(device.early if device.early is not None else 100.0, 0.3)
    late = draw.log(6.0, 30.0)
    # Forward active, 5 V across: qb = q1 + q1^2 Ic/IKF solves the Gummel-Poon charge equation.
    q1 = 1 / (1 + 5.0 / early - vbe / late)
    transport = amps * (q1 + q1**2 * amps / ikf)
    base = amps / gain
    low_share = draw.uniform(0.02, 0.18) if silicon else draw.uniform(0.0, 0.06)
    ne = draw.uniform(1.4, 1.9)
    saturation = transport / math.exp(
        (vbe - base * base_ohms - (amps + base) * emitter_ohms) / VT25
    )
    icbo = known.spread(device.icbo, 0.45 if not silicon else 0.9)
    return {
        "is": saturation,
        "bf": transport / (base * (1 - low_share)),
        "ise": base * low_share / (transport / saturation) ** (1 / ne),
        "ne": ne,
        "br": known.spread(device.reverse_gain, 0.35),
        "vaf": early,
        "var": late,
        "ikf": ikf,
        "ikr": ikf * draw.log(0.1, 0.6),
        "rb": base_ohms,
        "re": emitter_ohms,
        "rc": draw.log(*rc),
        "xtb": draw.uniform(1.1, 1.9),
        "eg": 1.11 if silicon else 0.67,
        "xti": 3.0,
        "icbo": icbo,
        "icbo_ohmic": draw.uniform(0.0, 0.35),
        "icbo_doubling": draw.uniform(8.0, 10.0),
        "icbo_ideality": draw.uniform(1.5, 2.0),
        "kelvin_per_watt": draw.log(*thermal),
        "own_heat": draw.uniform(0.0, 5.0),
        "cb_leak": math.inf,
        "be_leak": math.inf,
        "ce_leak": math.inf,
        "npn": 1.0 if device.polarity is Polarity.NPN else -1.0,
    }


def bipolar_lines(
    name: str, legs: tuple[str, str, str], values: dict[str, float], celsius: float
) -> list[str]:
    """The transistor, its collector-base leakage and any leak across it; legs c, b, e."""
    c, b, e = legs
    kind = "npn" if values["npn"] > 0 else "pnp"
    given = " ".join(
        f"{key}={values[key]!r}"
        for key in GUMMEL_POON
    )
    hot = values["icbo"] * 2.0 ** ((celsius - 25.0) / values["icbo_doubling"])
    diffused = hot * (1 - values["icbo_ohmic"])
    ends = (b, c) if values["npn"] > 0 else (c, b)
    lines = [
        f"q{name} {c} {b} {e} m{name} temp={celsius!r}",
        f".model m{name} {kind} {given} tnom=25",
        # Its saturation current is already that of this temperature.
        f"dk{name} {ends[0]} {ends[1]} k{name} temp={celsius!r}",
        f".model k{name} d is={diffused!r} n={values['icbo_ideality']!r} tnom={celsius!r}",
    ]
    # The surface part of the leakage follows the volts: its full share is reached at 10 V.
    surface = hot * values["icbo_ohmic"]
    leak = 1 / (surface / 10.0 + 1 / values["cb_leak"]) if surface else values["cb_leak"]
    for tag, ohms, ends in (
        ("cb", leak, (c, b)),
        ("be", values["be_leak"], (b, e)),
        ("ce", values["ce_leak"], (c, e)),
    ):
        if ohms < 1e13:
            lines.append(f"rl{tag}{name} {ends[0]} {ends[1]} {ohms!r}")
    return lines


def draw_diode(device: Diode, draw: Draws, known: Draws | None = None) -> dict[str, float]:
    """One junction diode; real ones are less ideal than N = 1 away from their rated current."""
    known = known or draw
    silicon = device.material is Material.SILICON
    ideality = draw.uniform(1.0, 1.8) if silicon else draw.uniform(1.0, 1.5)
    ohms = draw.log(0.05, 0.4) if device.size is Size.POWER else draw.log(0.4, 3.0)
    drop = device.drop + known.normal(0.012) - device.drop_amps * ohms
    return {
        "is": device.drop_amps / math.exp(drop / (ideality * VT25)),
        "n": ideality,
        "rs": ohms,
        "eg": 1.11 if silicon else 0.67,
        "junctions": float(device.junctions),
        "own_heat": draw.uniform(0.0, 5.0),
        "extra": 0.0,
        "leak": math.inf,
        "bv": math.inf,
    }


def draw_zener(device: Zener, draw: Draws) -> dict[str, float]:
    """A zener within 5 %, with its own slope and a knee softer than an ideal junction's."""
    slope = draw.spread(device.ohms, 0.3)
    volts = device.volts * (1 + draw.uniform(-0.05, 0.05))
    softness = draw.uniform(1.0, 2.5)
    rs = max(0.1, slope - softness * VT25 / device.amps)
    return {
        "is": 1e-14,
        "n": 1.1,
        "rs": rs,
        "eg": 1.11,
        "junctions": 1.0,
        "own_heat": draw.uniform(0.0, 8.0),
        "extra": 0.0,
        "leak": math.inf,
        "bv": volts - device.amps * rs,
        "ibv": device.amps,
        "nbv": softness,
    }


def diode_lines(
    name: str, legs: tuple[str, str], values: dict[str, float], celsius: float
) -> list[str]:
    """The junctions in series from anode to cathode, with the fault volts in front of them."""
    breakdown = ""
    if values["bv"] < 1e6:
        breakdown = f" bv={values['bv']!r} ibv={values['ibv']!r} nbv={values['nbv']!r}"
    lines = [
        f".model m{name} d is={values['is']!r} n={values['n']!r} rs={values['rs']!r} "
        f"eg={values['eg']!r} tnom=25{breakdown}"
    ]
    here = legs[0]
    if values["extra"]:
        lines.append(f"v{name} {here} x{name} {values['extra']!r}")
        here = f"x{name}"
    count = round(values["junctions"])
    for k in range(count):
        there = legs[1] if k == count - 1 else f"y{name}_{k}"
        lines.append(f"d{name}_{k} {here} {there} m{name} temp={celsius!r}")
        here = there
    if values["leak"] < 1e13:
        lines.append(f"rl{name} {legs[0]} {legs[1]} {values['leak']!r}")
    return lines


def draw_fet(device: Fet, draw: Draws) -> dict[str, float]:
    """IDSS and pinch-off rise together from specimen to specimen (correlation 0.8)."""
    one, two = draw.normal(1.0), draw.normal(1.0)
    both = 0.8 * one + 0.6 * two
    wide = math.log(device.idss.high / device.idss.low) / 3.92
    deep = math.log(device.pinch_off.high / device.pinch_off.low) / 3.92
    idss = device.idss.middle * math.exp(wide * one)
    pinch = device.pinch_off.middle * math.exp(deep * both)
    return {
        "vto": -pinch,
        "beta": idss / pinch**2,
        "lambda": draw.log(0.003, 0.03),
        "rd": draw.log(5.0, 40.0),
        "rs": draw.log(5.0, 40.0),
        "is": draw.log(1e-14, 1e-12),
        "own_heat": draw.uniform(0.0, 5.0),
        "gs_leak": math.inf,
        "gd_leak": math.inf,
        "ds_leak": math.inf,
    }


def fet_lines(
    name: str, legs: tuple[str, str, str], values: dict[str, float], celsius: float, channel: str
) -> list[str]:
    """The field-effect transistor and any leak across it; legs drain, gate, source."""
    d, g, s = legs
    keys = ("vto", "beta", "lambda", "rd", "rs", "is")
    given = " ".join(f"{key}={values[key]!r}" for key in keys)
    lines = [
        f"j{name} {d} {g} {s} m{name} temp={celsius!r}",
        f".model m{name} {channel} {given} tnom=25",
    ]
    for tag, key, ends in (
        ("gs", "gs_leak", (g, s)),
        ("gd", "gd_leak", (g, d)),
        ("ds", "ds_leak", (d, s)),
    ):
        if values[key] < 1e13:
            lines.append(f"rl{tag}{name} {ends[0]} {ends[1]} {values[key]!r}")
    return lines
