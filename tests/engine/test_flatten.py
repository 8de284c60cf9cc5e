"""A stage becomes the circuit that the contract between the engines describes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.constants import Boltzmann, elementary_charge

from biaspredict.engine.batch import Batch
from biaspredict.engine.flatten import flatten
from biaspredict.errors import InputError
from biaspredict.model.circuit import CLOSED, OPEN, SOUND, Circuit, Device, Load, Variation
from biaspredict.model.devices import (
    Channel,
    Diode,
    Fet,
    Lamp,
    Material,
    Polarity,
    Range,
    Size,
    Thermistor,
    Zener,
    generic_bipolar,
)
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import Assumptions, Pin, Port, Rail, Stage

VT25 = Boltzmann * 298.15 / elementary_charge


def stage(
    *parts: Part,
    rails: tuple[Rail, ...] = (Rail("B+", 12.0),),
    pins: tuple[Pin, ...] = (),
    inputs: tuple[Port, ...] = (),
    outputs: tuple[Port, ...] = (),
    celsius: float = 25.0,
) -> Stage:
    named = [node for part in parts for node in part.nodes]
    named += [rail.name for rail in rails] + [pin.node for pin in pins]
    named += [port.node for port in (*inputs, *outputs)]
    nodes = tuple(dict.fromkeys(("ground", *named)))
    assumed = Assumptions(temperature=celsius)
    return Stage("test", parts, rails, nodes, {}, pins, inputs, outputs, assumptions=assumed)


def volts(circuit: Circuit, node: str, *loads: Load) -> float:
    found = Batch().solve(circuit, [Variation(loads=loads)])
    assert found.solved.all()
    return float(found.volts[0, circuit.nodes.index(node)])


def test_parts_rails_and_ports_by_name() -> None:
    circuit = flatten(
        stage(
            Part("R1", Kind.RESISTOR, ("B+", "a"), printed=100e3, fitted=82e3, measured=80e3),
            Part("C1", Kind.ELECTROLYTIC, ("a", "OUT"), printed=5e-6),
            Part("T1", Kind.TRIMMER, ("a", "w", "ground"), printed=1e3),
            Part("L1", Kind.COIL, ("w", "x"), printed=0.5, ohms=120.0),
            Part("T2", Kind.WINDING, ("x", "y"), ohms=3.0, volts=12.0, hertz=50.0),
            Part("S1", Kind.SWITCH, ("y", "z"), closed=False),
            Part("S2", Kind.SWITCH, ("y", "z")),
            Part("F1", Kind.FUSE, ("y", "z"), printed=0.4),
            rails=(Rail("B+", 22.0, ohms=470.0), Rail("B-", -9.0)),
            pins=(Pin("P1", "x", volts=2.5, ohms=50.0), Pin("P2", "y", amps=1e-3)),
            inputs=(Port("IN", 600.0), Port("IN2", 600.0, blocked=True), Port("IN3")),
            outputs=(Port("OUT", 47e3), Port("OUT2", 8.0, blocked=True)),
        )
    )
    assert "ground" not in circuit.nodes
    values = {e.name: (e.device, e.nodes, e.values) for e in circuit.elements}
    assert values == {
        "R1": (Device.RESISTOR, ("B+", "a"), (80e3,)),
        "C1": (Device.CAPACITOR, ("a", "OUT"), (5e-6, OPEN, 0.0)),
        "T1": (Device.POT, ("a", "w", "ground"), (1e3, 0.5)),
        "L1": (Device.COIL, ("w", "x"), (120.0, 0.5)),
        "T2": (Device.WINDING, ("x", "y"), (3.0, 12.0, 50.0)),
        "S1": (Device.RESISTOR, ("y", "z"), (OPEN,)),
        "S2": (Device.RESISTOR, ("y", "z"), (CLOSED,)),
        "F1": (Device.RESISTOR, ("y", "z"), (0.4,)),
        "B+": (Device.SOURCE, ("B+",), (22.0, 470.0)),
        "B-": (Device.SOURCE, ("B-",), (-9.0, CLOSED)),
        "P1": (Device.SOURCE, ("x",), (2.5, 50.0)),
        "P2": (Device.CURRENT, ("y", "ground"), (1e-3,)),
        "input IN": (Device.SOURCE, ("IN",), (0.0, 600.0)),
        "load OUT": (Device.RESISTOR, ("OUT", "ground"), (47e3,)),
    }


def test_power_off() -> None:
    circuit = flatten(
        stage(
            Part("R1", Kind.RESISTOR, ("B+", "a"), printed=1e3),
            rails=(Rail("B+", 22.0, off_ohms=2.2e3), Rail("B-", -9.0, ohms=10.0)),
            pins=(Pin("P1", "a", volts=2.5), Pin("P2", "a", amps=1e-3)),
        ),
        powered=False,
    )
    values = {e.name: e.values for e in circuit.elements}
    assert values["B+"] == (0.0, 2.2e3)
    assert values["B-"] == (0.0, OPEN)
    assert values["P1"] == (0.0, OPEN)
    assert values["P2"] == (0.0,)
    # An ohmmeter at `a` sees R1 and, behind it, what the rail measures when off.
    assert volts(circuit, "a", Load("a", "ground", 3.2e3, 1.0)) == pytest.approx(0.5, rel=1e-6)


@pytest.mark.parametrize("size", Size)
@pytest.mark.parametrize("material", Material)
@pytest.mark.parametrize("polarity", Polarity)
def test_transistor_has_its_vbe_at_its_current(
    polarity: Polarity, material: Material, size: Size
) -> None:
    device = generic_bipolar(polarity, material, size)
    sign = 1.0 if polarity is Polarity.NPN else -1.0
    # Base and collector joined: neither the Early effect nor ICBO acts.
    circuit = flatten(stage(Part("Q1", Kind.TRANSISTOR, ("x", "x", "ground"), device=device)))
    gain = device.gain.middle
    amps = device.vbe_amps * (1.0 + 1.0 / gain)
    pull = Load("x", "ground", 1e6, sign * (amps * 1e6 + device.vbe))
    assert volts(circuit, "x", pull) == pytest.approx(sign * device.vbe, abs=2e-4)
    assert gain == pytest.approx(math.sqrt(device.gain.low * device.gain.high))


@pytest.mark.parametrize("junctions", [1, 2, 4])
def test_diode_drops_each_of_its_junctions(junctions: int) -> None:
    device = Diode(Material.SILICON, Size.SMALL, 0.62, 1e-3, junctions)
    circuit = flatten(stage(Part("D1", Kind.DIODE, ("x", "ground"), device=device)))
    pull = Load("x", "ground", 1e6, 1e3 + 0.62 * junctions)
    assert volts(circuit, "x", pull) == pytest.approx(0.62 * junctions, abs=1e-4)


def test_silicon_junction_falls_by_two_millivolts_a_degree() -> None:
    """About -2 mV per kelvin (common practice, no source)."""
    device = Diode(Material.SILICON, Size.SMALL, 0.62, 1e-3)
    part = Part("D1", Kind.DIODE, ("x", "ground"), device=device)
    pull = Load("x", "ground", 1e6, 1e3)
    cool, warm = (volts(flatten(stage(part, celsius=t)), "x", pull) for t in (20.0, 30.0))
    assert (warm - cool) / 10.0 == pytest.approx(-2e-3, abs=0.15e-3)


@pytest.mark.parametrize(("amps", "ohms"), [(5e-3, 10.0), (5e-3, 60.0), (20e-3, 4.0)])
def test_zener_has_its_volts_and_its_slope_at_its_current(amps: float, ohms: float) -> None:
    device = Zener(9.1, amps, ohms)
    circuit = flatten(stage(Part("Z1", Kind.ZENER, ("ground", "x"), device=device)))
    assert {"Z1", "Z1.slope"} <= {e.name for e in circuit.elements}
    at, above = (
        volts(circuit, "x", Load("x", "ground", 1e6, current * 1e6 + 9.1))
        for current in (amps, 1.02 * amps)
    )
    assert at == pytest.approx(9.1, abs=1e-4)
    assert (above - at) / (0.02 * amps) == pytest.approx(ohms, rel=0.02)


def test_fet_takes_idss_at_no_bias_and_nothing_beyond_pinch_off() -> None:
    device = Fet(Channel.N, Range(8e-3, 8e-3), Range(3.0, 3.0))
    for gate, amps in ((0.0, 8e-3), (-1.5, 2e-3), (-3.1, 0.0)):
        circuit = flatten(
            stage(
                Part("R1", Kind.RESISTOR, ("B+", "d"), printed=1e3),
                Part("Q1", Kind.FET, ("d", "g", "ground"), device=device),
                rails=(Rail("B+", 20.0), Rail("g", gate)),
            )
        )
        assert volts(circuit, "d") == pytest.approx(20.0 - 1e3 * amps, abs=1e-3)


def test_lamp_has_its_hot_ohms_at_its_rating_and_a_tenth_of_them_cold() -> None:
    part = Part("LA1", Kind.LAMP, ("x", "ground"), device=Lamp(6.0, 0.05))
    circuit = flatten(stage(part))
    assert volts(circuit, "x", Load("x", "ground", 120.0, 12.0)) == pytest.approx(6.0, rel=1e-6)
    faint = volts(circuit, "x", Load("x", "ground", 12.0, 1e-6))
    assert faint == pytest.approx(0.5e-6, rel=1e-4)


def test_thermistor_follows_the_beta_law() -> None:
    device = Thermistor(3500.0)
    part = Part("R1", Kind.THERMISTOR, ("B+", "ground"), printed=1e3, device=device)
    assert flatten(stage(part)).value("R1.ohms") == 1e3
    warm = flatten(stage(part, celsius=50.0)).value("R1.ohms")
    assert warm == pytest.approx(1e3 * math.exp(3500.0 * (1 / 323.15 - 1 / 298.15)))


def test_a_link_of_no_ohms_is_a_sound_joint() -> None:
    circuit = flatten(stage(Part("R1", Kind.RESISTOR, ("B+", "a"), printed=0.0)))
    assert circuit.value("R1.ohms") == CLOSED
    assert np.isfinite(volts(circuit, "a"))


@pytest.mark.parametrize(
    ("part", "fact"),
    [
        (Part("R1", Kind.RESISTOR, ("B+", "a")), "R1 has no value"),
        (Part("Q1", Kind.TRANSISTOR, ("B+", "a", "b")), "Q1 is not described as a transistor"),
        (Part("D1", Kind.DIODE, ("B+", "a")), "D1 is not described as a diode"),
        (Part("D1", Kind.ZENER, ("B+", "a")), "D1 is not described as a zener"),
        (Part("Q1", Kind.FET, ("B+", "a", "b")), "Q1 is not described as a FET"),
    ],
)
def test_what_lacks_is_said(part: Part, fact: str) -> None:
    with pytest.raises(InputError, match=fact) as caught:
        flatten(stage(part))
    assert part.ref in caught.value.remedy


def test_flattening_is_repeatable() -> None:
    part = Part("R1", Kind.RESISTOR, ("B+", "a"), printed=1e3)
    first, second = flatten(stage(part)), flatten(stage(part))
    assert first == second
    assert hash(first) == hash(second)
    assert Batch().solve(first, [SOUND]).solved.all()
