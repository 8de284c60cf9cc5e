"""Transistor states and strain: each check fires on its slip, at volts that ngspice solved."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from biaspredict.findings import Finding, Gravity
from biaspredict.model.devices import Material, Polarity, generic_bipolar
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import GROUND, Port, Rail, Stage
from biaspredict.predict.states import Region, transistor_state
from biaspredict.predict.strain import CHECKS, strain
from tests.graph.stages import (
    altered,
    amplifier,
    fet,
    npn,
    pair,
    plus,
    pnp,
    stage,
    two,
    without,
    zener,
)
from tests.predict.solved import solved


def only(whole: Stage, volts: dict[str, float] | None = None) -> Finding:
    (found,) = strain(whole, solved(whole) if volts is None else volts)
    return found


def region(whole: Stage, ref: str = "Q1") -> Region:
    state = transistor_state(whole, whole.part(ref), solved(whole))
    assert state is not None
    return state.region


@pytest.mark.parametrize("whole", [amplifier(), pair()])
def test_sound_stages_are_silent(whole: Stage) -> None:
    assert strain(whole, solved(whole)) == ()


# --- capacitors and resistors ---


def test_electrolytic_turned_round() -> None:
    turned = altered(amplifier(), "C2", nodes=("OUT", "c"))
    found = only(turned)
    assert (found.code, found.about, found.gravity) == ("against-polarity", ("C2",), Gravity.CHECK)
    assert found.fact.startswith("C2 has 8.36 V against its polarity")
    assert strain(altered(turned, "C2", dielectric="non-polar"), solved(turned)) == ()


def test_a_fraction_of_a_volt_against_polarity_is_a_note() -> None:
    whole = stage(plus("C1", "n", "B+", volts=25.0), two("R1", "n", GROUND, 1e3))
    assert only(whole, {"B+": 0.3, "n": 0.0}).gravity is Gravity.NOTE
    assert strain(whole, {"B+": 0.05, "n": 0.0}) == ()


def test_working_volts() -> None:
    found = only(altered(amplifier(), "C4", volts=15.0))
    assert found.code == "above-working-volts"
    assert found.fact == "C4 has 17.5 V across it and is rated 15.0 V."
    assert found.remedy.endswith(
        "A new one needs 25 V or more."
    )  # 17.5 V / 0.9, next of IEC 60384-4
    assert only(altered(amplifier(), "C4", volts=18.0)).code == "near-working-volts"
    film = stage(two("C1", "B+", GROUND, 1e-7, volts=15.0))
    assert only(film, {"B+": -22.0}).code == "above-working-volts"


def test_a_capacitor_with_a_floating_end_has_no_known_volts() -> None:
    open_ended = replace(amplifier(), outputs=(Port("OUT"),))
    volts = solved(open_ended) | {"OUT": 100.0}
    assert strain(open_ended, volts) == ()


def test_resistor_ratings() -> None:
    """22 V across 470 ohms is 1.03 W."""
    hot = stage(two("R1", "B+", GROUND, 470.0))
    found = only(hot, {"B+": 22.0})
    assert (found.code, found.gravity) == ("rating-not-said", Gravity.NOTE)
    assert found.fact == "R1 takes 1.03 W; its rating is not given."
    rated = only(altered(hot, "R1", watts=0.5), {"B+": 22.0})
    assert (rated.code, rated.gravity) == ("above-rating", Gravity.CHECK)
    assert strain(altered(hot, "R1", watts=2.0), {"B+": 22.0}) == ()


# --- transistors ---


def test_saturated() -> None:
    """A decimal slipped in the upper bias resistor: 22K for 220K."""
    found = only(altered(amplifier(), "R1", printed=22e3))
    assert (found.code, found.about) == ("transistor-saturated", ("Q1",))


def test_cut_off() -> None:
    """A decimal slipped in the lower one: 4.7K for 47K."""
    found = only(altered(amplifier(), "R2", printed=4.7e3))
    assert found.code == "transistor-cut-off"
    assert "V_BE 455 mV" in found.fact  # 22 V x 4.7k / 226.9k, less what 0.5 uA drops in R4


@pytest.mark.parametrize("lost", ["R3", "R4", "R5"])
def test_a_transistor_that_cannot_work_as_wired_is_not_judged(lost: str) -> None:
    """Its wiring is told elsewhere; its volts would lead astray."""
    cut = without(amplifier(), lost)
    assert not any("transistor" in finding.code for finding in strain(*_with_volts(cut)))


def test_a_limiter_that_rests_is_a_note() -> None:
    """Off the way of the signal, with 0.2 V across the resistor it watches."""
    sound = amplifier()
    parts = [part for part in sound.parts if part.ref != "R4"]
    limiter = [
        two("R4", "e", "s", 900.0),
        two("R6", "s", GROUND, 100.0),
        npn("Q2", "b", "s", GROUND),
    ]
    whole = stage(*parts, *limiter, inputs=sound.inputs, outputs=sound.outputs)
    found = only(whole)
    assert (found.code, found.about) == ("transistor-cut-off", ("Q2",))
    assert found.gravity is Gravity.NOTE


def test_collector_and_emitter_swapped() -> None:
    found = strain(*_with_volts(altered(amplifier(), "Q1", nodes=("e", "b", "c"))))
    assert found[0].code == "transistor-reversed"
    assert "collector and emitter swapped, or NPN written for PNP" in found[0].remedy


def test_pnp_written_for_npn() -> None:
    wrong = altered(amplifier(), "Q1", device=generic_bipolar(Polarity.PNP))
    found = strain(*_with_volts(wrong))
    assert found[0].code == "transistor-reversed"
    assert found[0].fact.startswith("Q1 stands the wrong way round for PNP")


def test_base_emitter_in_reverse() -> None:
    whole = stage(
        npn("Q1", "B+", GROUND, "e"), two("R1", "B+", "e", 10e3), two("R2", "e", GROUND, 10e3)
    )
    found = only(whole, {"B+": 22.0, "e": 11.0})
    assert found.code == "base-emitter-reversed"
    assert found.fact == "Q1 has 11.0 V in reverse from base to emitter."
    mirrored = stage(
        pnp("Q1", "V-", GROUND, "e"), two("R1", "V-", "e", 10e3), two("R2", "e", GROUND, 10e3),
        rails=[Rail("V-", -22.0)],
    )  # fmt: skip
    assert only(mirrored, {"V-": -22.0, "e": -11.0}).code == "base-emitter-reversed"


def test_a_diode_connected_transistor_is_no_switch() -> None:
    whole = stage(npn("Q1", "b", "b", GROUND), two("R1", "B+", "b", 10e3))
    assert strain(whole, solved(whole)) == ()


def test_germanium_conducts_at_less() -> None:
    """PNP germanium, IS 1e-6, -12 V, 22k/4.7k, RC 1.5k, RE 680: C / B / E -8.02 / -2.02 / -1.82."""
    device = replace(generic_bipolar(Polarity.PNP, Material.GERMANIUM), icbo=5e-6)
    whole = stage(
        two("R1", "V-", "b", 22e3), two("R2", "b", GROUND, 4.7e3), two("R3", "V-", "c", 1.5e3),
        two("R4", "e", GROUND, 680.0), Part("Q1", Kind.TRANSISTOR, ("c", "b", "e"), device=device),
        rails=[Rail("V-", -12.0)],
    )  # fmt: skip
    volts = {"V-": -12.0, "c": -8.02, "b": -2.02, "e": -1.82}
    state = transistor_state(whole, whole.part("Q1"), volts)
    assert state is not None
    assert state.region is Region.ACTIVE
    assert state.vbe == pytest.approx(-0.20)
    assert state.ic == pytest.approx(3.98 / 1.5e3, rel=1e-3)
    assert state.ie == pytest.approx(1.82 / 680, rel=1e-3)
    assert strain(whole, volts) == ()


def test_state_of_a_sound_transistor() -> None:
    whole = amplifier()
    volts = solved(whole)
    state = transistor_state(whole, whole.part("Q1"), volts)
    assert state is not None
    assert state.vbe == pytest.approx(volts["b"] - volts["e"])
    assert state.vce == pytest.approx(volts["c"] - volts["e"])
    assert state.ic is not None
    assert state.ib is not None
    assert state.ie == pytest.approx(state.ic + state.ib)
    assert state.ic == pytest.approx((volts["VA"] - volts["c"]) / 4.7e3, rel=1e-5)


def test_state_without_volts_or_without_transistor() -> None:
    whole = amplifier()
    assert transistor_state(whole, whole.part("Q1"), {"b": 1.0}) is None
    with pytest.raises(ValueError, match="R1 is no transistor"):
        transistor_state(whole, whole.part("R1"), {})


def _jfet(rd: float, rs: float) -> Stage:
    return stage(two("R1", "B+", "d", rd), fet("Q1", "d", GROUND, "s"), two("R2", "s", GROUND, rs))


def test_fets() -> None:
    assert region(_jfet(2.2e3, 1e3)) is Region.ACTIVE
    assert strain(*_with_volts(_jfet(2.2e3, 1e3))) == ()
    assert only(_jfet(47e3, 100.0)).code == "fet-saturated"
    pinched = stage(*_jfet(2.2e3, 1e3).parts, two("R3", "B+", "s", 1e3))
    assert only(pinched).code == "fet-cut-off"
    swapped = stage(two("R1", "B+", "s", 2.2e3), fet("Q1", "d", "g", "s"),
                    two("R2", "d", GROUND, 1e3), two("R3", "g", GROUND, 1e6))  # fmt: skip
    assert only(swapped).code == "fet-reversed"
    driven = stage(*_jfet(2.2e3, 1e3).parts[:1], fet("Q1", "d", "g", GROUND),
                   two("R3", "B+", "g", 1e5))  # fmt: skip
    assert only(driven).code == "fet-gate-open"


def test_zeners() -> None:
    """16 V, 1k, VZ 10: with 1.2k across it the zener is off at 8.73 V.

    Boylestad & Nashelsky, Electronic Devices and Circuit Theory, 10th ed., Ex 2.26.
    """
    rails = [Rail("B+", 16.0)]
    parts = [two("R1", "B+", "z", 1e3), zener("Z1", GROUND, "z", 10.0)]
    heavy = stage(*parts, two("R2", "z", GROUND, 1.2e3), rails=rails)
    found = only(heavy)
    assert found.code == "zener-not-regulating"
    assert found.fact == "Z1 has 8.73 V of its 10.0 V: it does not regulate."
    assert strain(*_with_volts(stage(*parts, two("R2", "z", GROUND, 3e3), rails=rails))) == ()
    turned = altered(heavy, "Z1", nodes=("z", GROUND))
    assert only(turned).code == "zener-forward"


@given(st.dictionaries(st.sampled_from(pair().nodes), st.floats(), max_size=9))
def test_no_volts_make_a_check_stumble(volts: dict[str, float]) -> None:
    for finding in strain(pair(), volts):
        assert finding.fact.endswith(".")
        assert finding.remedy.endswith(".")
        assert finding.about


def test_checks_are_listed_once() -> None:
    assert len(set(CHECKS)) == len(CHECKS)


def _with_volts(whole: Stage) -> tuple[Stage, dict[str, float]]:
    return whole, solved(whole)
