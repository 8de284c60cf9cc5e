"""Currents from node volts: published stages, balances, and the engine's own laws."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from biaspredict.graph.chains import chains
from biaspredict.model.circuit import OPEN
from biaspredict.model.devices import Diode, Lamp, Material, Size
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import GROUND, Assumptions, Pin, Port, Rail, Stage
from biaspredict.predict.currents import Told, currents
from tests.graph.stages import amplifier, diode, fet, npn, pair, pnp, pot, stage, two, zener
from tests.predict.solved import solved


def test_fixed_bias() -> None:
    """12 V, RB 240k, RC 2.2k: IB 47.08 uA, IC 2.35 mA, VC 6.82 at VBE 0.7.

    Boylestad & Nashelsky, Electronic Devices and Circuit Theory, 10th ed., Ex 4.1.
    """
    whole = stage(
        two("RB", "B+", "b", 240e3), two("RC", "B+", "c", 2.2e3), npn("Q1", "c", "b", GROUND),
        rails=[Rail("B+", 12.0)],
    )  # fmt: skip
    found = currents(whole, {"B+": 12.0, "b": 0.7, "c": 6.82})
    ic, ib, ie = found.parts["Q1"].amps
    assert ib == pytest.approx(47.08e-6, rel=1e-4)
    assert ic == pytest.approx(2.35e-3, rel=3e-3)  # VC is printed to three digits
    assert ie == pytest.approx(-ic - ib)
    assert found.parts["Q1"].told is Told.BALANCE
    assert found.rails["B+"] == pytest.approx(ic + ib)


def test_pnp_behind_an_npn() -> None:
    """D7 with the base current of Q2 neglected: VC1 8.6, VE2 9.3, VC2 7.61, RE2 2k, RC2 2.7k.

    Sedra & Smith, Microelectronic Circuits, 5th ed., Ex 5.11.
    """
    whole = stage(
        two("R1", "B+", "b", 100e3), two("R2", "b", GROUND, 50e3), two("RC", "B+", "c1", 5e3),
        two("RE", "e1", GROUND, 3e3), npn("Q1", "c1", "b", "e1"),
        two("RE2", "B+", "e2", 2e3), pnp("Q2", "c2", "c1", "e2"), two("RC2", "c2", GROUND, 2.7e3),
        rails=[Rail("B+", 15.0)],
    )  # fmt: skip
    found = currents(whole, {"B+": 15.0, "b": 4.57, "e1": 3.87, "c1": 8.6, "e2": 9.3, "c2": 7.61})
    into_c, into_b, into_e = found.parts["Q2"].amps
    # The book's volts leave out the base current, 2.85 mA / 101: the currents miss by as much.
    assert into_e == pytest.approx(2.85e-3, abs=28.2e-6)
    assert into_c == pytest.approx(-7.61 / 2.7e3, abs=28.2e-6)
    assert into_c + into_b + into_e == pytest.approx(0.0, abs=28.2e-6)


def test_watts() -> None:
    """22 V across 1k is 484 mW."""
    whole = stage(two("R1", "B+", GROUND, 1e3))
    assert currents(whole, {"B+": 22.0}).parts["R1"].watts == pytest.approx(0.484)


def test_pot_and_its_wiper() -> None:
    """A third of 30k above, two thirds below: 10k and 20k."""
    whole = stage(pot("P1", "B+", "w", GROUND, 30e3, turn=2 / 3), two("R1", "w", GROUND, 20e3))
    flow = currents(whole, {"B+": 20.0, "w": 10.0}).parts["P1"]
    assert flow.amps == pytest.approx((1e-3, -0.5e-3, -0.5e-3))
    assert flow.watts == pytest.approx(10e-3 + 5e-3)


def test_what_passes_switches_and_pins() -> None:
    whole = stage(
        two("S1", "B+", "n"), two("R1", "n", GROUND, 1e3), two("R2", "n", "U1.1", 1e3),
        pins=[Pin("U1.1", "U1.1", volts=2.0)],
    )  # fmt: skip
    found = currents(whole, {"B+": 12.0, "n": 12.0, "U1.1": 2.0})
    assert found.parts["S1"].amps == pytest.approx((22e-3, -22e-3))
    assert found.leads["S1.1"] == pytest.approx(22e-3)
    assert found.rails["B+"] == pytest.approx(22e-3)


def test_unknown_stays_unknown() -> None:
    """Of two parts in series with no node read between, both currents are one and not known."""
    whole = stage(two("R1", "B+", "n", 1e3), diode("D1", "n", GROUND))
    found = currents(whole, {"B+": 12.0})
    assert "R1" not in found.parts
    assert "D1" not in found.parts
    assert "B+" not in found.rails


def test_a_missing_node_is_bridged_by_balance() -> None:
    """The emitter resistor tells the current of the transistor whose collector is not read."""
    volts = solved(amplifier())
    full = currents(amplifier(), volts)
    del volts["c"]
    found = currents(amplifier(), volts)
    assert found.parts["Q1"].amps == pytest.approx(full.parts["Q1"].amps, rel=1e-6)
    assert found.parts["R3"].watts is None


# Every kind of device, told once by the resistors around it and once by its own law, from the
# volts that ngspice finds. The engine has up to five open paths of 1 Tohm at a transistor's lead.

LAWS = {
    "NPN": amplifier(),
    "pair": pair(),
    "PNP, warm": stage(
        two("R1", "B+", "e", 1e3), pnp("Q1", "c", "b", "e"), two("R2", "c", GROUND, 4.7e3),
        two("R3", "B+", "b", 22e3), two("R4", "b", GROUND, 100e3),
    ),
    "saturated": stage(
        npn("Q1", "c", "b", GROUND), two("R1", "B+", "c", 10e3), two("R2", "B+", "b", 22e3)
    ),
    "reversed": stage(
        npn("Q1", GROUND, "b", "e"), two("R1", "B+", "e", 10e3), two("R2", "B+", "b", 1e6)
    ),
    "JFET": stage(
        two("R1", "B+", "d", 1e3), fet("Q1", "d", GROUND, "s"), two("R2", "s", GROUND, 1e3)
    ),
    "JFET as a resistor": stage(
        two("R1", "B+", "d", 22e3), fet("Q1", "d", GROUND, "s"), two("R2", "s", GROUND, 100.0)
    ),
    "diode": stage(two("R1", "B+", "n", 10e3), diode("D1", "n", GROUND)),
    "three junctions": stage(
        two("R1", "B+", "n", 10e3),
        Part("D1", Kind.DIODE, ("n", GROUND),
             device=Diode(Material.SILICON, Size.SMALL, 0.62, 1e-3, junctions=3)),
    ),
    "lamp": stage(
        two("R1", "B+", "n", 470.0), Part("LA1", Kind.LAMP, ("n", GROUND), device=Lamp(12.0, 0.04))
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", LAWS)
@pytest.mark.parametrize("celsius", [25.0, 50.0])
def test_balance_and_law_agree(name: str, celsius: float, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = replace(LAWS[name], assumptions=Assumptions(temperature=celsius))
    volts = solved(whole)
    balanced = currents(whole, volts)
    monkeypatch.setattr("biaspredict.predict.currents._by_balance", lambda *_: {})
    by_law = currents(whole, volts)
    devices = [p.ref for p in whole.parts if p.device is not None]
    assert devices
    for ref in devices:
        assert balanced.parts[ref].told is Told.BALANCE
        assert by_law.parts[ref].told is Told.MODEL
        assert by_law.parts[ref].amps == pytest.approx(
            balanced.parts[ref].amps, rel=1e-3, abs=5 * 22.0 / OPEN
        )


def test_zener_by_its_slope() -> None:
    """Behind a follower whose base current nothing else tells."""
    whole = stage(
        two("R1", "B+", "z", 1e3), zener("Z1", GROUND, "z", 12.0), npn("Q1", "B+", "z", "o"),
        outputs=[Port("o", 1e3)],
    )  # fmt: skip
    found = currents(whole, solved(whole))
    assert found.parts["Z1"].told is Told.OHM
    into_base = found.parts["Q1"].amps[1]
    assert found.leads["R1.1"] == pytest.approx(found.leads["Z1.cathode"] + into_base, rel=1e-4)
    assert found.parts["Z1"].watts == pytest.approx(12.0 * 9.9e-3, rel=0.05)


def test_a_mirror_is_told_by_its_law_and_the_rest_by_balance() -> None:
    """Two bases on one node, two collectors on one fuse: no balance tells them apart."""
    whole = stage(
        two("F1", "B+", "n"), npn("Q1", "n", "b", GROUND), npn("Q2", "n", "b", GROUND),
        two("R1", "B+", "b", 100e3),
    )  # fmt: skip
    found = currents(whole, solved(whole))
    assert {found.parts[ref].told for ref in ("Q1", "Q2")} == {Told.MODEL}
    assert found.parts["F1"].told is Told.BALANCE
    assert found.leads["F1.1"] == pytest.approx(2 * found.leads["Q1.collector"])


def test_heat_is_what_the_supply_gives() -> None:
    """Tellegen: the parts turn into heat what the rails deliver."""
    for whole in (amplifier(), pair()):
        found = currents(whole, solved(whole))
        heat = sum(flow.watts or 0.0 for flow in found.parts.values())
        assert heat == pytest.approx(22.0 * found.rails["B+"], rel=1e-5)


def test_chains_by_solved_currents() -> None:
    whole = pair()
    found = chains(whole, currents(whole, solved(whole)).leads)
    assert [chain.refs for chain in found] == [("R3", "Q2", "R4"), ("R1", "Q1", "R2")]


@given(st.dictionaries(st.sampled_from([*pair().nodes, "?"]), st.floats(), max_size=9))
def test_no_volts_make_it_stumble(volts: dict[str, float]) -> None:
    found = currents(pair(), volts)
    for flow in found.parts.values():
        assert not any(math.isnan(amps) for amps in flow.amps)


def test_stage_without_parts() -> None:
    empty: Stage = stage()
    assert currents(empty, {}).parts == {}
