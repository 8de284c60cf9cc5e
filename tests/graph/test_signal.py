"""The way of the signal, and what each capacitor is there for (common practice, no source)."""

from __future__ import annotations

import pytest

from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.graph.signal import signal_path
from biaspredict.model.stage import GROUND, Pin, Port, Rail, Stage
from tests.graph.stages import amplifier, npn, pair, plus, pnp, pot, stage, two


def roles(whole: Stage) -> dict[str, Role]:
    return {p.ref: capacitor_role(whole, p) for p in whole.parts if p.ref.startswith("C")}


def test_signal_of_an_amplifier() -> None:
    found = signal_path(amplifier())
    assert found.spine == ("IN", "C1", "b", "Q1", "c", "C2", "OUT")
    assert found.parts["C1"] < found.parts["Q1"] < found.parts["C2"]
    assert found.nodes["IN"] == 0.0
    assert GROUND not in found.nodes
    assert "B+" not in found.nodes


def test_feedback_does_not_shorten_the_way() -> None:
    found = signal_path(pair())
    assert found.spine == ("IN", "C1", "b1", "Q1", "c1", "Q2", "c2", "C5", "OUT")
    assert found.nodes["b1"] < found.nodes["c1"] < found.nodes["c2"] < found.nodes["OUT"]


def test_emitter_driven_transistors_are_on_the_way() -> None:
    """A long-tailed pair whose output is taken from the second half."""
    net = stage(
        plus("C1", "b1", "IN"), two("R1", "b1", GROUND), npn("Q1", "B+", "b1", "tail"),
        two("R2", "tail", "V-"), npn("Q2", "c2", GROUND, "tail"), two("R3", "B+", "c2"),
        plus("C2", "c2", "OUT"), inputs=["IN"], outputs=["OUT"],
        rails=[Rail("B+", 15.0), Rail("V-", -15.0)],
    )  # fmt: skip
    assert signal_path(net).spine == (
        "IN", "C1", "b1", "Q1", "tail", "Q2", "c2", "C2", "OUT",
    )  # fmt: skip
    common_base = stage(
        plus("C1", "e", "IN"), two("R1", "e", GROUND), npn("Q1", "c", "b", "e"),
        two("R2", "B+", "b"), plus("C3", "b", GROUND), two("R3", "B+", "c"),
        plus("C2", "c", "OUT"), inputs=["IN"], outputs=["OUT"],
    )  # fmt: skip
    assert signal_path(common_base).spine == ("IN", "C1", "e", "Q1", "c", "C2", "OUT")


def test_a_supply_is_followed_from_its_rail() -> None:
    net = stage(
        two("R1", "RAW", "b"), plus("C1", "b", GROUND), npn("Q1", "RAW", "b", "OUT"),
        rails=[Rail("RAW", 30.0)], outputs=[Port("OUT", 1e3)],
    )  # fmt: skip
    assert signal_path(net).spine == ("RAW", "R1", "b", "Q1", "OUT")


def test_every_part_has_a_place() -> None:
    for whole in (amplifier(), pair(), stage(), stage(two("R1", "a", "b"))):
        found = signal_path(whole)
        assert set(found.order) == {part.ref for part in whole.parts}


def test_roles_in_an_amplifier() -> None:
    assert roles(amplifier()) == {
        "C1": Role.COUPLING,
        "C2": Role.COUPLING,
        "C3": Role.BYPASS,
        "C4": Role.DECOUPLING,
    }


def test_roles_in_a_pair() -> None:
    assert roles(pair()) == {
        "C1": Role.COUPLING,
        "C2": Role.BYPASS,
        "C3": Role.FEEDBACK,
        "C4": Role.FEEDBACK,
        "C5": Role.COUPLING,
    }


def test_feedback_wired_the_other_way_round() -> None:
    """Capacitor at the collector, resistor at the emitter: the same branch."""
    parts = [p for p in pair().parts if p.ref not in ("R6", "C4")]
    parts += [plus("C4", "c2", "x"), two("R6", "x", "e1", 27e3)]
    net = stage(*parts, inputs=["IN"], outputs=["OUT"])
    assert roles(net)["C4"] is Role.FEEDBACK


def test_coupling_past_collector_feedback_and_a_follower() -> None:
    net = stage(
        plus("C1", "b1", "IN"), npn("Q1", "c1", "b1", "e1"), two("R1", "B+", "c1"),
        two("R2", "b1", "c1", 1e6), two("R3", "e1", GROUND),
        npn("Q2", "B+", "c1", "e2"), two("R4", "e2", GROUND),
        plus("C2", "e2", "b3"), two("R5", "b3", "c3", 1e6),
        npn("Q3", "c3", "b3", GROUND), two("R6", "B+", "c3"),
        plus("C3", "c3", "top"), pot("P1", "top", "OUT", GROUND),
        inputs=["IN"], outputs=["OUT"],
    )  # fmt: skip
    assert set(roles(net).values()) == {Role.COUPLING}


def test_partial_bypass() -> None:
    """Half of a split emitter resistor, then a capacitor with a resistor in series."""
    parts = [p for p in amplifier().parts if p.ref not in ("R4", "C3")]
    split = [two("R4", "e", "m"), two("R6", "m", GROUND), plus("C3", "m", GROUND)]
    assert roles(stage(*parts, *split))["C3"] is Role.BYPASS
    series = [two("R4", "e", GROUND), plus("C3", "e", "m"), two("R6", "m", GROUND)]
    assert roles(stage(*parts, *series))["C3"] is Role.BYPASS


def test_pnp_with_its_emitter_at_the_rail() -> None:
    net = stage(
        pnp("Q1", "c", "b", "e"), two("R1", "B+", "m"), two("R2", "m", "e"),
        two("R3", "c", GROUND), plus("C1", "B+", "m"), two("R4", "b", GROUND),
        plus("C2", "B+", GROUND),
    )  # fmt: skip
    assert roles(net) == {"C1": Role.BYPASS, "C2": Role.DECOUPLING}


def test_tone_parts() -> None:
    net = stage(
        *amplifier().parts,
        two("C6", "c", GROUND, 1e-9),  # treble cut at the collector
        two("R7", "OUT", "n", 100e3), two("C7", "OUT", "n", 220e-12),  # treble lift
        npn("Q2", "c2", "n", "e2"), two("R8", "n", GROUND), two("R9", "B+", "c2"),
        two("R10", "e2", GROUND), two("C8", "n", GROUND, 1e-9),
        inputs=["IN"], outputs=["c2"],
    )  # fmt: skip
    found = roles(net)
    assert {found[ref] for ref in ("C6", "C7", "C8")} == {Role.TONE}
    assert found["C2"] is Role.COUPLING


def test_a_filtered_supply_joins_no_two_ends() -> None:
    """Collector load and base divider hang on the same filtered supply: C2 still hands on."""
    net = stage(
        two("R5", "B+", "VA"), plus("C5", "VA", GROUND),
        plus("C1", "b1", "IN"), two("R1", "VA", "b1"), npn("Q1", "c1", "b1", GROUND),
        two("R3", "VA", "c1"), plus("C2", "c1", "b2"), two("R6", "VA", "b2"),
        npn("Q2", "OUT", "b2", GROUND), two("R8", "B+", "OUT"),
        inputs=["IN"], outputs=["OUT"],
    )  # fmt: skip
    assert roles(net)["C2"] is Role.COUPLING


def test_bootstrap_is_feedback() -> None:
    net = stage(
        npn("Q1", "d", "b1", GROUND), two("R1", "B+", "m"), two("R2", "m", "d"),
        two("R9", "b1", GROUND), npn("Q2", "B+", "d", "o"), pnp("Q3", GROUND, "d", "o"),
        plus("C1", "m", "o"), plus("C2", "o", "OUT", 1e-3), plus("C3", "b1", "IN"),
        inputs=["IN"], outputs=[Port("OUT", 8.0)],
    )  # fmt: skip
    assert roles(net) == {"C1": Role.FEEDBACK, "C2": Role.COUPLING, "C3": Role.COUPLING}


def test_filter_of_a_supply() -> None:
    """A capacitance multiplier: base filter, output filter, reservoir at the rail."""
    net = stage(
        two("R1", "RAW", "b"), plus("C1", "b", GROUND), npn("Q1", "RAW", "b", "OUT"),
        plus("C2", "OUT", GROUND), plus("C3", "RAW", GROUND),
        rails=[Rail("RAW", 30.0)], outputs=[Port("OUT", 1e3)],
    )  # fmt: skip
    assert set(roles(net).values()) == {Role.DECOUPLING}


def test_idle_capacitors() -> None:
    net = stage(plus("C1", "a", "a"), plus("C2", "B+", "nowhere"), two("R1", "a", GROUND))
    assert roles(net) == {"C1": Role.IDLE, "C2": Role.IDLE}


def test_a_box_behind_a_capacitor() -> None:
    pins = [Pin("U1.1", "U1.1", volts=5.0), Pin("U1.2", "U1.2", volts=6.0)]
    net = stage(
        plus("C1", "U1.1", "IN"), plus("C2", "U1.2", "OUT"),
        inputs=["IN"], outputs=["OUT"], pins=pins,
    )  # fmt: skip
    assert roles(net) == {"C1": Role.COUPLING, "C2": Role.COUPLING}


def test_only_capacitors_have_roles() -> None:
    whole = amplifier()
    with pytest.raises(ValueError, match="R1 is no capacitor"):
        capacitor_role(whole, whole.part("R1"))
