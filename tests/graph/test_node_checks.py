"""Checks of nodes, rails and ports: each fires on its slip and is silent on sound stages."""

from __future__ import annotations

from dataclasses import replace

import pytest

from biaspredict.findings import Finding, Gravity
from biaspredict.graph.checks import connectivity
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Pin, Port, Rail, Stage
from tests.graph.stages import (
    altered,
    amplifier,
    fet,
    npn,
    pair,
    plus,
    pot,
    stage,
    two,
    without,
)


def codes(whole: Stage) -> list[tuple[str, str]]:
    return [(f.code, f.about[0] if f.about else "") for f in connectivity(whole)]


def only(whole: Stage, code: str) -> Finding:
    (found,) = [f for f in connectivity(whole) if f.code == code]
    return found


def with_parts(*parts: object) -> Stage:
    sound = amplifier()
    return stage(*sound.parts, *parts, inputs=sound.inputs, outputs=sound.outputs)  # type: ignore[arg-type]


@pytest.mark.parametrize("whole", [amplifier(), pair()])
def test_sound_stages_are_silent(whole: Stage) -> None:
    assert codes(whole) == []


def test_no_path_to_ground() -> None:
    lost = with_parts(two("R8", "p", "q", 1e3), two("C8", "q", "p", 1e-9))
    found = only(lost, "no-path-to-ground")
    assert found.gravity is Gravity.STOP
    assert found.about == ("R8", "C8", "p", "q")
    assert found.fact == "R8 and C8 have no way to ground or to a rail."
    assert codes(lost) == [("no-path-to-ground", "R8")]


def test_mains_side_of_a_transformer() -> None:
    mains = with_parts(two("T1", "p", "q", kind=Kind.WINDING, ohms=40.0), two("F1", "q", "p"))
    assert "mains side" in only(mains, "no-path-to-ground").remedy


def test_nothing_sets_the_dc_of_a_node() -> None:
    found = only(with_parts(two("C8", "c", "n", 1e-9), two("C9", "n", "b", 1e-9)), "no-dc-path")
    assert found.gravity is Gravity.CHECK
    assert found.fact == "Nothing sets the DC at n: no resistor is there, only C8 and C9."


def test_an_output_without_a_load_is_worth_a_note() -> None:
    bare = replace(amplifier(), outputs=(Port("OUT"),))
    found = only(bare, "no-dc-path")
    assert found.gravity is Gravity.NOTE
    assert "`output OUT into 47K`" in found.remedy
    assert codes(bare) == [("no-dc-path", "OUT")]


def test_parts_that_only_capacitors_join() -> None:
    lost = with_parts(
        two("C8", "c", "n", 1e-9), two("R8", "n", "m", 1e3), two("S1", "m", GROUND, closed=False)
    )
    found = only(lost, "capacitor-island")
    assert found.about == ("R8", "n", "m")
    assert found.fact == "No DC reaches R8: joined to the rest by C8 and S1 (open) only."
    assert codes(lost) == [("capacitor-island", "R8")]


def test_a_lead_that_goes_nowhere() -> None:
    found = only(with_parts(two("R8", "c", "R8.2", 1e3)), "one-legged")
    assert found.fact == "Of R8, lead 2 is joined to nothing."
    assert only(with_parts(two("R8", "c", "far", 1e3)), "one-legged").fact.endswith(", at far.")


@pytest.mark.parametrize("lead", ["collector", "base", "emitter"])
def test_a_transistor_lead_that_goes_nowhere(lead: str) -> None:
    sound = amplifier().part("Q1")
    nodes = tuple(
        f"Q1.{lead}" if terminal == lead else node
        for terminal, node in zip(sound.terminals, sound.nodes, strict=True)
    )
    lost = altered(
        replace(amplifier(), nodes=(*amplifier().nodes, f"Q1.{lead}")), "Q1", nodes=nodes
    )
    found = only(lost, "one-legged")
    assert found.about == ("Q1", f"Q1.{lead}")
    assert found.gravity is Gravity.CHECK


def test_a_trimmer_used_with_two_legs() -> None:
    trimmed = with_parts(pot("P1", "c", "e", "P1.bottom"))
    assert only(trimmed, "one-legged").gravity is Gravity.NOTE
    wiper = with_parts(pot("P1", "c", "P1.wiper", GROUND))
    assert only(wiper, "one-legged").gravity is Gravity.CHECK
    joined = with_parts(pot("P1", "c", "e", "e"))
    assert codes(joined) == []


def test_base_without_bias() -> None:
    unbiased = stage(
        plus("C1", "b", "IN"), npn("Q1", "c", "b", "e"), two("R3", "B+", "c", 1e3),
        two("R4", "e", GROUND, 1e3), inputs=[Port("IN", 600.0)], outputs=["c"],
    )  # fmt: skip
    found = only(unbiased, "no-bias-path")
    assert found.fact == "No DC comes to Q1.base but through Q1."
    assert "bias resistor" in found.remedy
    assert codes(unbiased) == [("no-bias-path", "Q1")]


def test_gate_without_bias() -> None:
    parts = (
        plus("C1", "g", "IN"), fet("Q1", "d", "g", "s"), two("R3", "B+", "d", 1e3),
        two("R4", "s", GROUND, 1e3),
    )  # fmt: skip
    unbiased = stage(*parts, inputs=[Port("IN", 600.0)], outputs=["d"])
    assert "gate to ground" in only(unbiased, "no-bias-path").remedy
    biased = stage(*parts, two("R5", "g", GROUND, 1e6), inputs=["IN"], outputs=["d"])
    assert [code for code, _ in codes(biased)] == ["no-dc-path"]  # IN, which has no source


@pytest.mark.parametrize(
    ("lost", "code", "remedy"),
    [
        ("R3", "no-collector-path", "collector resistor"),
        ("R4", "no-emitter-path", "emitter resistor"),
    ],
)
def test_collector_or_emitter_without_dc(lost: str, code: str, remedy: str) -> None:
    """A coupling capacitor at the collector, a bypass at the emitter, and no resistor."""
    cut = without(amplifier(), lost)
    found = only(cut, code)
    assert found.about[0] == "Q1"
    assert remedy in found.remedy
    assert codes(cut) == [(code, "Q1")]


def test_drain_or_source_without_dc() -> None:
    parts = (
        two("R5", "g", GROUND, 1e6), fet("Q1", "d", "g", "s"), two("R3", "B+", "d", 1e3),
        two("R4", "s", GROUND, 1e3), plus("C1", "d", GROUND), plus("C2", "s", GROUND),
    )  # fmt: skip
    assert codes(stage(*parts)) == []
    assert codes(without(stage(*parts), "R3")) == [("rail-not-used", "B+"), ("no-drain-path", "Q1")]
    assert codes(without(stage(*parts), "R4")) == [("no-source-path", "Q1")]


def test_transistor_between_ground_and_ground() -> None:
    """The collector resistor is lost, but the one to the base still brings DC from ground."""
    parts = (
        two("R1", "c", "b", 470e3), two("R2", "b", GROUND, 100e3), npn("Q1", "c", "b", "e"),
        two("R4", "e", GROUND, 330.0), two("R9", "B+", GROUND, 1e3),
    )  # fmt: skip
    found = only(stage(*parts), "no-supply-path")
    assert found.fact == "Collector and emitter of Q1 both lead to ground only."
    assert codes(stage(*parts, two("R3", "B+", "c", 4.7e3))) == []


def test_another_base_is_no_bias() -> None:
    """Two bases joined hold each other up through no junction of theirs."""
    parts = (
        npn("Q1", "B+", "b", "e"), npn("Q2", "B+", "b", "e"), two("R1", "e", GROUND, 100.0),
        plus("C1", "b", "IN"),
    )  # fmt: skip
    found = only(stage(*parts, inputs=[Port("IN", 600.0)]), "no-bias-path")
    assert found.about == ("Q1", "Q2", "b")
    assert "Q1.base and Q2.base but through themselves" in found.fact


def test_bases_biased_by_a_collector_an_emitter_a_box_or_the_source() -> None:
    darlington = stage(
        npn("Q1", "B+", "b1", "b2"), npn("Q2", "B+", "b2", "e"), two("R1", "e", GROUND, 100.0),
        two("R2", "B+", "b1", 1e6), outputs=["e"],
    )  # fmt: skip
    box = stage(
        npn("Q1", "B+", "U1.3", "e"), two("R1", "e", GROUND, 100.0),
        pins=[Pin("U1.3", "U1.3", amps=-1e-3)],
    )  # fmt: skip
    source = stage(
        npn("Q1", "B+", "IN", "e"), two("R1", "e", GROUND, 100.0), inputs=[Port("IN", 600.0)]
    )
    for whole in (darlington, box, source):
        assert codes(whole) == []


def test_rails_joined() -> None:
    rails = (Rail("B+", 22.0), Rail("VA", 12.0))
    parts = [two("R1", "B+", GROUND, 1e3)]
    found = only(stage(*parts, rails=rails, names={"VA": "B+"}), "rails-joined")
    assert found.gravity is Gravity.STOP
    assert found.fact == "A wire joins the rails B+ (22.0 V) and VA (12.0 V)."
    grounded = stage(*parts, rails=rails[:1], names={"B+": GROUND})
    assert only(grounded, "rail-grounded").gravity is Gravity.STOP


def test_rail_shorted_to_ground() -> None:
    shorted = with_parts(two("F1", "B+", "n"), two("S1", "n", GROUND))
    found = only(shorted, "rail-shorted")
    assert found.about == ("B+", GROUND, "F1", "S1")
    assert found.fact == "Between B+ (22.0 V) and ground stand only F1 and S1, 0 ohm."
    assert codes(with_parts(two("S1", "B+", GROUND, closed=False))) == []
    assert codes(with_parts(two("R8", "B+", GROUND, 10.0))) == []
    assert only(with_parts(two("R8", "B+", GROUND, 0.47)), "rail-shorted").about[2] == "R8"


def test_rails_shorted_to_each_other() -> None:
    parts = [two("R1", "B+", GROUND, 1e3), two("R2", "V-", GROUND, 1e3), two("S1", "B+", "V-")]
    rails = [Rail("B+", 15.0), Rail("V-", -15.0)]
    found = only(stage(*parts, rails=rails), "rail-shorted")
    assert found.fact == "Between B+ (15.0 V) and V- (-15.0 V) stands only S1, 0 ohm."
    same = [Rail("B+", 15.0), Rail("V-", 15.0)]
    assert codes(stage(*parts, rails=same)) == []


def test_rail_not_used_and_no_supply() -> None:
    unused = replace(amplifier(), rails=(*amplifier().rails, Rail("V-", -12.0)))
    assert only(unused, "rail-not-used").about == ("V-",)
    assert ("no-supply", "") in codes(stage(two("R1", "a", GROUND, 1e3), rails=[]))
    assert ("no-supply", "") not in codes(
        stage(two("R1", "a", GROUND, 1e3), rails=[], pins=[Pin("U1.1", "a", volts=5.0)])
    )


def test_ports_in_the_wrong_place() -> None:
    sound = amplifier()
    assert only(replace(sound, outputs=(Port("B+"),)), "port-on-rail").about == ("B+",)
    assert "ground" in only(replace(sound, inputs=(Port(GROUND),)), "port-on-rail").fact
    lost = stage(*sound.parts, inputs=sound.inputs, outputs=[*sound.outputs, Port("OTU", 47e3)])
    assert codes(lost) == [("port-not-connected", "OTU")]


def test_no_signal_path() -> None:
    cut = without(amplifier(), "C2")
    parts = [*cut.parts, two("R9", "OUT", GROUND, 1e3)]
    cut = stage(*parts, inputs=cut.inputs, outputs=cut.outputs)
    assert only(cut, "no-signal-path").fact == "No signal can come from IN to OUT."
    boxed = stage(
        *parts, two("C8", "c", "U1.1", 1e-9), two("C9", "OUT", "U1.2", 1e-9),
        inputs=cut.inputs, outputs=cut.outputs,
        pins=[Pin("U1.1", "U1.1", volts=5.0), Pin("U1.2", "U1.2", volts=5.0)],
    )  # fmt: skip
    assert codes(boxed) == []


def test_unused_test_point() -> None:
    whole = replace(amplifier(), nodes=(*amplifier().nodes, "z"), points=(("3", "z"), ("4", "c")))
    assert codes(whole) == [("test-point-not-used", "3")]
