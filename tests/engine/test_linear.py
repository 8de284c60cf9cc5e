"""The linear stage against re-solves, against ngspice over frequency, and against formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.engine.batch import Batch
from biaspredict.engine.linear import linearise
from biaspredict.engine.ngspice import Ngspice
from biaspredict.engine.signals import (
    conductance,
    determinant_sign,
    source_ohms,
    time_constants,
    transfer,
)
from biaspredict.model.circuit import (
    FIELDS,
    OPEN,
    SOUND,
    TERMINALS,
    Axis,
    Circuit,
    Device,
    Element,
    Load,
    Variation,
)
from tests.engine import hand

STEP = 1e-3
# What has no part in direct current, or no slope.
IDLE = {"polarity", "farads", "series", "henries", "rms", "hertz"}
ADDED = {"turn", "volts", "amps", "icbo", "zener_volts", "zener_amps", "lambda"}


def of_everything() -> Circuit:
    """Every device of the contract once at least, with leaks that carry current."""
    return hand.circuit(
        hand.source("B+", 20.0, 10.0),
        hand.resistor("R1", "B+", "d", 3.3e3),
        hand.resistor("R2", "s", "ground", 1e3),
        hand.resistor("R3", "g", "ground", 1e6),
        Element("F1", Device.JFET, ("d", "g", "s"), (1.0, 8e-3, 4.0, 0.01, 1e7, 2e7, 1e6)),
        Element("P1", Device.POT, ("d", "w", "ground"), (1e6, 0.3)),
        Element("F2", Device.JFET, ("s2", "w", "B+"), (-1.0, 5e-3, 2.0, 0.0, 1e9, 1e9, 1e9)),
        hand.resistor("R4", "s2", "k", 2.2e3),
        hand.junction("Z1", "ground", "k", zener=5.6),
        Element("D1", Device.JUNCTION, ("k", "m"), (1e-12, 2.0, 2.4, math.inf, 1e-3, 1e6)),
        hand.resistor("R5", "m", "ground", 10e3),
        Element("LA1", Device.LAMP, ("k", "l"), (100.0, 6.0)),
        hand.resistor("R6", "l", "ground", 200.0),
        hand.current("I1", "B+", "k", 2e-3),
        Element(
            "Q1",
            Device.BIPOLAR,
            ("ground", "l", "e"),
            (-1.0, 1e-14, 80.0, 4.0, 60.0, 1e-7, 1.2, 1e6, 1e7, 1e6),
        ),
        hand.resistor("R7", "e", "B+", 4.7e3),
        Element("C1", Device.CAPACITOR, ("e", "c"), (1e-6, 1e5, 0.0)),
        Element("L1", Device.COIL, ("c", "t"), (500.0, 0.1)),
        Element("T1", Device.WINDING, ("t", "ground"), (50.0, 6.3, 50.0)),
        celsius=35.0,
    )


CIRCUITS = {
    "divider": hand.divider_stage(40.0),
    "feedback pair": hand.pair(),
    "everything": of_everything(),
    "germanium, warm": hand.germanium_stage(),
    "split rails": hand.split_amplifier(),
}


def every_axis(circuit: Circuit, additive: bool) -> list[Axis]:
    """Each value by factors, or those that may be added to by addition; and one mixed axis."""
    axes = []
    for element in circuit.elements:
        for field in FIELDS[element.device]:
            value = element.value(field)
            # At OPEN a leak is held and no longer follows its value.
            if field in IDLE or not 0.0 < abs(value) < OPEN:
                continue
            name = f"{element.name}.{field}"
            if not additive:
                axes.append(Axis((name,), STEP))
            elif field in ADDED:
                axes.append(Axis((name,), STEP * abs(value), additive=True))
    if additive:
        axes.append(Axis(("temperature",), 0.1, additive=True))
    else:
        ohms = [a.parameters[0] for a in axes if a.parameters[0].endswith(".ohms")]
        axes.append(Axis((ohms[0], ohms[1]), STEP))
    return axes


@pytest.mark.parametrize("additive", [False, True])
@pytest.mark.parametrize("circuit", CIRCUITS.values(), ids=CIRCUITS.keys())
def test_slopes_are_differences_of_solves(circuit: Circuit, additive: bool) -> None:
    axes = every_axis(circuit, additive)
    lead = next(
        f"{e.name}.{TERMINALS[e.device][0]}" for e in circuit.elements if e.device is Device.BIPOLAR
    )
    node = circuit.nodes[2]
    faulted = Variation(lifts=((lead, 1e4),), loads=(Load(node, "ground", 1e5, 1.0),))
    variations = [SOUND, faulted]
    n, count = len(circuit.nodes), len(axes)
    sigmas = np.array([axis.sigma for axis in axes])
    amounts = np.random.default_rng(1).normal(size=(2, count)) * sigmas
    engine = Batch()
    found = engine.solve(circuit, variations, axes, amounts)
    probes = [*((k, -1) for k in range(n)), (0, 1)]
    linear = linearise(circuit, variations, axes, amounts, found.volts, probes)
    assert linear.slopes.shape == (2, n + 1, count)
    between = linear.slopes[:, 0] - linear.slopes[:, 1]
    assert np.allclose(linear.slopes[:, n], between, rtol=1e-9, atol=1e-9)
    for b, variation in enumerate(variations):
        differences = []
        for share in (1.0, 0.5):
            steps = share * np.diag(sigmas)
            sides = amounts[b] + np.concatenate((steps, -steps))
            solved = engine.solve(circuit, [variation] * (2 * count), axes, sides)
            assert solved.solved.all()
            moved = solved.volts[:count, :n] - solved.volts[count:, :n]
            differences.append(moved.T / (2.0 * share))
        # Richardson: third derivatives drop out.
        meant = (4.0 * differences[1] - differences[0]) / 3.0
        off = np.abs(linear.slopes[b, :n] * sigmas - meant) - 1e-4 * np.abs(meant) - 3e-8
        worst = np.unravel_index(off.argmax(), off.shape)
        assert off.max() <= 0.0, (circuit.nodes[worst[0]], axes[worst[1]])


def test_source_ohms_are_volts_for_an_ampere() -> None:
    circuit = hand.divider_stage()
    engine, volts = Batch(), Batch().solve(circuit, [SOUND]).volts
    n = len(circuit.nodes)
    linear = linearise(circuit, [SOUND], (), None, volts, [(k, -1) for k in range(n)])
    for k, node in enumerate(circuit.nodes):
        ohms = linear.source_ohms[0, k]
        big = 1e4 * ohms  # little enough current to stay on the tangent
        lift = 1e-3 * big / ohms
        pulled = engine.solve(circuit, [Variation(loads=(Load(node, "ground", big, lift),))])
        change = pulled.volts[0, k] - volts[0, k]
        assert ohms == pytest.approx(change / ((lift - pulled.volts[0, k]) / big), rel=0.05)
        assert ohms == pytest.approx(source_ohms(circuit, SOUND, volts[0], k))


def test_rows_of_unsolved_points_stay_empty() -> None:
    circuit = hand.divider_stage()
    volts = np.repeat(Batch().solve(circuit, [SOUND]).volts, 3, axis=0)
    volts[1] = np.nan
    axis = Axis(("R1.ohms",), 0.1)
    linear = linearise(circuit, [SOUND] * 3, [axis], None, volts, [(0, -1)])
    assert np.isnan(linear.slopes[1]).all()
    assert np.isnan(linear.source_ohms[1]).all()
    assert (linear.slopes[0] == linear.slopes[2]).all()
    assert np.isfinite(linear.slopes[0]).all()


def test_probes_of_their_own_for_each_variation() -> None:
    """The far lead of a joint is column n; the near one that of the node."""
    circuit = hand.divider_stage()
    n, base = len(circuit.nodes), circuit.nodes.index("base")
    variations = [SOUND, Variation(lifts=(("R2.1", 1e3),))]
    volts = Batch().solve(circuit, variations).volts
    probes = np.array([[[base, -1]], [[n, -1]]])
    linear = linearise(circuit, variations, [Axis(("R2.ohms",), 0.1)], None, volts, probes)
    shared = linearise(circuit, variations, [Axis(("R2.ohms",), 0.1)], None, volts, [(base, -1)])
    assert linear.slopes[0, 0, 0] == shared.slopes[0, 0, 0]
    assert linear.slopes[1, 0, 0] != shared.slopes[1, 0, 0]
    assert linear.source_ohms[1, 0] < 22e3


def test_conductance_is_the_slope_of_the_balance() -> None:
    circuit = hand.circuit(hand.source("S", 1.0, 50.0), hand.resistor("R", "S", "x", 200.0))
    volts = Batch().solve(circuit, [SOUND]).volts[0]
    held = np.array([[1 / 50 + 1 / 200, -1 / 200], [-1 / 200, 1 / 200]]) + 1e-12 * np.eye(2)
    assert np.allclose(conductance(circuit, SOUND, volts), held, rtol=1e-12)
    assert determinant_sign(circuit, SOUND, volts) == 1.0


def tank() -> Circuit:
    return hand.circuit(
        hand.source("S", 0.0, 10.0, "a"),
        Element("L1", Device.COIL, ("a", "m"), (5.0, 1e-3)),
        hand.capacitor("C1", "m", "ground", 1e-6, series=2.0),
    )


def test_series_circuit_over_frequency_and_time() -> None:
    """Roots of L s^2 + R s + 1/C, and the divider Zc / (R + sL + Zc), R and L and C in series."""
    circuit = tank()
    volts = Batch().solve(circuit, [SOUND]).volts[0]
    roots = np.roots([1e-3, 17.0, 1e6])
    seconds = time_constants(circuit, SOUND, volts)
    assert np.allclose(np.sort_complex(-1.0 / seconds), np.sort_complex(roots), rtol=1e-6)
    hertz = np.array([10.0, 1e3, 5e3, 40e3])
    s = 2j * np.pi * hertz
    below = 2.0 + 1.0 / (s * 1e-6)
    meant = below / (15.0 + s * 1e-3 + below)
    got = transfer(circuit, SOUND, volts, "S", hertz)[:, circuit.nodes.index("m")]
    assert np.allclose(got, meant, rtol=1e-6)


def test_high_pass_corners() -> None:
    """Floyd, Electronic Devices, 7th ed., Ex 10.3 and 10.5: 1k with 1 uF 159 Hz, 20k with
    0.1 uF 79.6 Hz (as transcribed publicly)."""
    for ohms, farads, corner in ((1e3, 1e-6, 159.15), (20e3, 0.1e-6, 79.58)):
        circuit = hand.circuit(
            hand.source("S", 0.0, node="a"),
            hand.capacitor("C1", "a", "b", farads),
            hand.resistor("R1", "b", "ground", ohms),
        )
        volts = Batch().solve(circuit, [SOUND]).volts[0]
        (seconds,) = time_constants(circuit, SOUND, volts)
        assert 1.0 / (2.0 * np.pi * seconds.real) == pytest.approx(corner, rel=1e-4)
        (level,) = transfer(circuit, SOUND, volts, "S", np.array([corner]))[:, 1]
        assert abs(level) == pytest.approx(1.0 / math.sqrt(2.0), rel=1e-4)


@pytest.mark.parametrize("variation", [SOUND, Variation(settings=(("C2.farads", 1e-7),))])
def test_stage_over_frequency_as_ngspice_has_it(variation: Variation) -> None:
    circuit = hand.divider_stage()
    volts = Batch().solve(circuit, [variation]).volts[0]
    hertz = np.array([1.0, 10.0, 100.0, 1e3, 10e3])
    mine = transfer(circuit, variation, volts, "input in", hertz)
    theirs = Ngspice().sweep(circuit, variation, "input in", hertz)
    assert np.abs(mine).max() > 30.0
    assert np.abs(mine - theirs[:, : mine.shape[1]]).max() < 1e-3 * np.abs(mine).max()


def test_a_generator_connected_for_the_purpose() -> None:
    circuit = hand.divider_stage()
    volts = Batch().solve(circuit, [SOUND]).volts[0]
    hertz = np.array([1e3])
    node = circuit.nodes.index("collector")
    by_name = transfer(circuit, SOUND, volts, "input in", hertz)[0, node]
    # Beside the 600 ohms of the source itself: half the volts behind half the ohms.
    added = transfer(circuit, SOUND, volts, Load("in", "ground", 600.0), hertz)[0, node]
    assert 0.5 * abs(by_name) < abs(added) < abs(by_name)
    with pytest.raises(KeyError):
        transfer(circuit, SOUND, volts, "R1", hertz)


def test_time_constant_of_a_bypass_capacitor() -> None:
    """Capacitance times the resistance it sees; the others are made too small to matter."""
    circuit = hand.divider_stage()
    others = Variation(settings=(("C1.farads", 1e-15),))
    volts = Batch().solve(circuit, [others]).volts[0]
    seconds = time_constants(circuit, others, volts)
    seen = source_ohms(circuit, others, volts, circuit.nodes.index("emitter"))
    assert seconds[0].real == pytest.approx(50e-6 * seen, rel=1e-6)
    assert seconds[0].imag == 0.0


def test_rises_are_what_a_variation_nearby_adds() -> None:
    """A joint, a leak, a drift and a load, each a thousandth on its way."""
    circuit = hand.divider_stage()
    n, step = len(circuit.nodes), 1e-3
    lead = next(f"{e.name}.base" for e in circuit.elements if e.device is Device.BIPOLAR)

    def faulted(by: float) -> list[Variation]:
        grown = 1.0 + by
        return [
            SOUND,
            Variation(lifts=((lead, 1e4 * grown),)),
            Variation(settings=(("R1.ohms", 2e4 * grown),)),
            Variation(scales=(("R2.ohms", 1.3 * grown),)),
            Variation(loads=(Load(circuit.nodes[0], "ground", 1e5 * grown),)),
        ]

    variations, nearby = faulted(0.0), faulted(step)
    engine = Batch()
    volts = engine.solve(circuit, variations).volts
    moved = engine.solve(circuit, nearby).volts - engine.solve(circuit, faulted(-step)).volts
    probes = [(k, -1) for k in range(n)]
    linear = linearise(circuit, variations, (), None, volts, probes, (variations, nearby))
    assert (linear.rises[:, :, 0] == 0.0).all()
    assert (linear.rises[0] == 0.0).all()
    assert np.abs(linear.rises[1:, :, 1]).max(axis=1).min() > 1e-5
    assert np.allclose(linear.rises[:, :, 1], moved[:, :n] / 2.0, rtol=2e-3, atol=1e-7)
