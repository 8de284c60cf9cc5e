"""Devices of the truth, at the middle of their ranges, against published or hand-worked values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.model.devices import Polarity, generic_bipolar, generic_diode, generic_zener
from tests.proving import adapter, devices
from tests.proving.draws import Draws
from tests.proving.spice import Job, Runner
from tests.proving.truth import draw_specimen, solve


def node_volts(runner: Runner, text: str, *names: str) -> list[float]:
    stage = adapter.parse(text)
    (solved,) = solve(runner, [draw_specimen(stage, None)], check=True)
    assert solved is not None
    return [solved.volts[stage.node(name)] for name in names]


def test_field_effect_transistor(runner: Runner) -> None:
    """20 V, RD 3.3k, RS 1k, IDSS 8 mA, pinch-off 6 V: source 2.6 V, drain 11.42 V.

    Source: Boylestad & Nashelsky, Electronic Devices and Circuit Theory, 10th ed., Ex 7.2 (from a
    transcription). The truth adds channel slope and terminal ohms, worth some percent.
    """
    text = """stage "D29"
rail V+ 20 V
Q1 n-channel idss 8 mA pinch-off 6 V
V+ -- R1 3.3K -- Q1.drain
Q1.source -- R2 1K -- ground
ground -- R3 1M -- Q1.gate
"""
    found = node_volts(runner, text, "Q1.source", "Q1.drain")
    assert found == pytest.approx((2.6, 11.42), rel=0.06)


def test_zener_regulates_and_lets_go(runner: Runner) -> None:
    """16 V through 1k, 10 V zener: 8.73 V with 1.2k (off); 10 V with 3k.

    Source: same, Ex 2.26 (from a transcription).
    """
    text = """stage "D32"
rail V+ 16 V
ground -- Z1> 10 V -- OUT
V+ -- R1 1K -- OUT -- R2 {} -- ground
"""
    (off,) = node_volts(runner, text.format("1.2K"), "OUT")
    (on,) = node_volts(runner, text.format("3K"), "OUT")
    assert off == pytest.approx(8.73, abs=0.02)
    assert on == pytest.approx(10.0, abs=0.15)


def test_two_junctions_drop_twice_as_much(runner: Runner) -> None:
    text = """stage "bias diode"
rail V+ 10 V
V+ -- R1 8.7K -- TOP
TOP -- D1> silicon junctions 2 -- ground
"""
    (drop,) = node_volts(runner, text, "TOP")
    assert drop == pytest.approx(2 * 0.62, rel=0.02)  # 0.62 V each at 1 mA: the generic diode


def test_lamp_has_a_tenth_of_its_ohms_when_cold(runner: Runner) -> None:
    """Common practice, no source: at its rated volts the rated current, cold ten times as much."""
    text = """stage "lamp"
rail V+ {}
V+ -- LA1 12 V 100 mA -- LOW
LOW -- R1 1 -- ground
"""
    (hot,) = node_volts(runner, text.format("12.1 V"), "LOW")
    (cold,) = node_volts(runner, text.format("0.013 V!"), "LOW")
    assert hot == pytest.approx(0.1, rel=0.02)
    assert 0.013 / cold - 1 == pytest.approx(12.0, rel=0.5)


@pytest.mark.parametrize("seed", range(6))
def test_a_drawn_transistor_has_its_gain_and_volts_at_the_rated_current(
    runner: Runner, seed: int
) -> None:
    """The anchor: drawn gain and V_BE hold at `vbe_amps`, whatever the other parameters do."""
    device = generic_bipolar(Polarity.NPN)
    drawn = devices.draw_bipolar(device, Draws(np.random.default_rng(seed)))
    drawn["icbo"] = 1e-16  # leakage would add its own base current
    again = Draws(np.random.default_rng(seed))
    gain, vbe = again.inside(device.gain.low, device.gain.high), device.vbe + again.normal(0.012)
    base = device.vbe_amps / gain
    lines = devices.bipolar_lines("1", ("n1", "n2", "0"), drawn, 25.0)
    bench = Job((f"i1 0 n2 {base!r}", "v1 n1 0 5.65", *lines), ("n2", "v1#branch"))
    ((row,),) = runner.solve([bench])
    assert row is not None
    assert -row[1] == pytest.approx(device.vbe_amps, rel=0.02)
    assert row[0] == pytest.approx(vbe, abs=2e-3)


def test_gain_falls_at_low_and_high_current(runner: Runner) -> None:
    drawn = devices.draw_bipolar(generic_bipolar(Polarity.NPN), Draws())
    lines = devices.bipolar_lines("1", ("n1", "n2", "0"), drawn, 25.0)
    gains = []
    for base in (5e-8, 5e-6, 2e-3):
        bench = Job((f"i1 0 n2 {base!r}", "v1 n1 0 6", *lines), ("v1#branch",))
        ((row,),) = runner.solve([bench])
        assert row is not None
        gains.append(-row[0] / base)
    assert gains[0] < 0.85 * gains[1]
    assert gains[2] < 0.85 * gains[1]


def test_diode_drops_its_rated_volts() -> None:
    """By hand: N Vt ln(I / Is + 1) + I Rs."""
    device = generic_diode()
    drawn = devices.draw_diode(device, Draws())
    amps = device.drop_amps
    junction = drawn["n"] * devices.VT25 * math.log(amps / drawn["is"] + 1)
    assert junction + amps * drawn["rs"] == pytest.approx(device.drop, abs=1e-4)
    zener = devices.draw_zener(generic_zener(12.0), Draws())
    assert zener["bv"] + 5e-3 * zener["rs"] == pytest.approx(12.0)
