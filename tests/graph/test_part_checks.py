"""Checks of single parts, and that no wiring whatever makes a check stumble."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from biaspredict.findings import Finding, Gravity
from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.graph.chains import chains
from biaspredict.graph.checks import CHECKS, connectivity
from biaspredict.graph.network import DC, dc_paths, floating, neighbours, network
from biaspredict.graph.signal import signal_path
from biaspredict.model.parts import CAPACITORS, TERMINALS, Kind, Part
from biaspredict.model.stage import GROUND, Pin, Port, Rail, Stage
from biaspredict.quantities import Tolerance
from biaspredict.span import Span
from tests.graph.stages import amplifier, fet, npn, part_of, plus, pot, stage, two


def found_in(*parts: Part) -> list[Finding]:
    sound = amplifier()
    whole = stage(*sound.parts, *parts, inputs=sound.inputs, outputs=sound.outputs)
    return list(connectivity(whole))


def only(*parts: Part) -> Finding:
    (found,) = found_in(*parts)
    return found


def test_never_placed() -> None:
    found = only(npn("Q7", "Q7.collector", "Q7.base", "Q7.emitter"))
    assert (found.code, found.about) == ("never-placed", ("Q7",))
    assert only(two("R7", "R7.1", "R7.2", 1e3)).code == "never-placed"


@pytest.mark.parametrize("ref", ["R8", "C8", "L8"])
def test_shorted_part(ref: str) -> None:
    found = only(two(ref, "c", "c", 1e-9 if ref == "C8" else 1e3))
    assert (found.code, found.about) == ("shorted-part", (ref, "c"))
    assert found.gravity is Gravity.CHECK
    assert found.place is not None


def test_shorted_pot() -> None:
    assert only(pot("P1", "c", "c", "c")).fact.startswith("All legs of P1")
    assert only(pot("P1", "c", "b", "c")).code == "shorted-part"
    assert found_in(pot("P1", "c", "b", "b")) == []


@pytest.mark.parametrize(
    ("part", "gravity", "words"),
    [
        (npn("Q2", "c", "c", "e"), Gravity.NOTE, "works as a diode"),
        (npn("Q2", "c", "e", "e"), Gravity.CHECK, "never conduct"),
        (npn("Q2", "c", "b", "c"), Gravity.CHECK, "controls nothing"),
        (npn("Q2", "c", "c", "c"), Gravity.CHECK, "does nothing"),
        (fet("Q2", "c", "e", "e"), Gravity.NOTE, "constant current"),
        (fet("Q2", "c", "c", "e"), Gravity.CHECK, "works as a diode"),
        (fet("Q2", "c", "b", "c"), Gravity.CHECK, "controls nothing"),
    ],
)
def test_terminals_joined(part: Part, gravity: Gravity, words: str) -> None:
    found = only(part)
    assert (found.code, found.gravity) == ("terminals-joined", gravity)
    assert words in found.fact


def test_polarity_not_said() -> None:
    found = only(two("C8", "c", GROUND, 10e-6))
    assert found.code == "polarity-not-said"
    assert found.fact == "C8 has 10 uF and no plus mark."
    assert found_in(two("C8", "c", GROUND, 10e-6, dielectric="film")) == []
    assert found_in(two("C8", "c", GROUND, 0.1e-6)) == []


def test_can_sections() -> None:
    one, other = plus("C8A", "c", GROUND, can="C8"), plus("C8B", "VA", GROUND, can="C8")
    assert found_in(one, other) == []
    turned = plus("C8B", GROUND, "VA", can="C8")
    found = only(one, turned)
    assert (found.code, found.about) == ("can-sections", ("C8A", "C8B"))
    assert only(one).gravity is Gravity.NOTE


@pytest.mark.parametrize("ohms", [4700.0, 47.0, 0.47, 4e3, 25e3, 500.0, 9.1e6, 1.0, 5e3])
def test_usual_values_pass(ohms: float) -> None:
    assert found_in(two("R8", "c", "b", ohms)) == []


@pytest.mark.parametrize("ohms", [4800.0, 74e3, 14.0, 687e3])
def test_odd_values(ohms: float) -> None:
    """Not in E24 of IEC 60063."""
    found = only(two("R8", "c", "b", ohms))
    assert (found.code, found.gravity) == ("odd-value", Gravity.NOTE)


def test_odd_value_says_what_is_near() -> None:
    found = only(two("R8", "c", "b", 4800.0))
    assert found.fact == "R8 is given as 4.8k, no usual value."
    assert "4.7k and 5.1k" in found.remedy


def test_close_tolerances_have_finer_series() -> None:
    """4.87k is in E96 of IEC 60063."""
    close = Tolerance(0.01, 0.01)
    assert found_in(two("R8", "c", "b", 4870.0, tolerance=close)) == []
    assert only(two("R8", "c", "b", 4870.0)).code == "odd-value"
    assert only(two("R8", "c", "b", 4850.0, tolerance=close)).code == "odd-value"


def test_gravest_first_and_codes_are_stable() -> None:
    found = found_in(two("R8", "p", "q", 1e3), two("R9", "q", "p", 4800.0), plus("C9", "c", "c"))
    order = [list(Gravity).index(f.gravity) for f in found]
    assert order == sorted(order)
    assert len(found) == 3
    for finding in found:
        assert finding.code == finding.code.lower()
        assert finding.fact.endswith(".")
        assert finding.remedy.endswith(".")


def test_equal_stages_keep_their_own_places() -> None:
    """Origins do not count when stages are compared."""
    for file in ("one.stage", "other.stage"):
        lost = [
            replace(two(ref, "p", "q", 1e3), origin=Span(file, 7, 1, 3)) for ref in ("R8", "R9")
        ]
        found = only(*lost)
        assert found.place is not None
        assert found.place.file == file


# --- any wiring at all ---

NODES = st.sampled_from([GROUND, "B+", "V-", "a", "b", "c", "d", "e"])


def _parts(draw: st.DrawFn) -> Iterator[Part]:
    for number in range(draw(st.integers(0, 9))):
        kind = draw(st.sampled_from(list(Kind)))
        nodes = tuple(draw(NODES) for _ in TERMINALS[kind])
        whole = part_of(kind, f"X{number}", nodes)
        value = draw(st.sampled_from([None, 0.0, 1e-9, 1e-5, 0.5, 4800.0, 1e6]))
        closed, can = draw(st.booleans()), draw(st.sampled_from(["", "", "K"]))
        turn = draw(st.sampled_from([None, 0.0, 0.3, 1.0]))
        yield Part(whole.ref, kind, nodes, printed=value, closed=closed, can=can, turn=turn)


@st.composite
def wirings(draw: st.DrawFn) -> Stage:
    ports = st.lists(st.builds(Port, NODES, st.sampled_from([None, 600.0]), st.booleans()))
    pins = st.lists(st.builds(Pin, st.just("U1"), NODES, st.sampled_from([None, 3.0])), max_size=2)
    return stage(
        *_parts(draw),
        rails=draw(st.sampled_from([(), (Rail("B+", 9.0),), (Rail("B+", 9.0), Rail("V-", -9.0))])),
        inputs=draw(ports.map(lambda found: found[:2])),
        outputs=draw(ports.map(lambda found: found[:2])),
        pins=draw(pins),
        names=draw(st.sampled_from([{}, {}, {"V-": "B+"}, {"B+": GROUND}])),
        points=(("1", draw(NODES)),),
    )


@given(wirings())
@settings(max_examples=50, deadline=None)
def test_no_wiring_makes_a_check_stumble(whole: Stage) -> None:
    for finding in connectivity(whole):
        assert finding.fact
        assert finding.remedy
    signal = signal_path(whole)
    assert set(signal.parts) == {part.ref for part in whole.parts}
    for node in whole.nodes:
        neighbours(whole, node)
        for path in dc_paths(whole, node):
            assert len(path.nodes) == len(path.branches) + 1
    for part in whole.parts:
        if part.kind in CAPACITORS:
            assert isinstance(capacitor_role(whole, part), Role)


@given(wirings())
@settings(max_examples=40, deadline=None)
def test_chains_are_paths_and_share_no_branch(whole: Stage) -> None:
    used = []
    for chain in chains(whole):
        for a, branch, b in zip(chain.nodes, chain.branches, chain.nodes[1:], strict=False):
            assert {a, b} == {branch.a, branch.b}
        used += chain.branches
    assert len(used) == len(set(used))


@given(wirings())
@settings(max_examples=40, deadline=None)
def test_a_node_floats_or_reaches_what_is_held(whole: Stage) -> None:
    """Two ways to the same answer: islands, and paths through everything that passes DC."""
    net = network(whole)
    for node in net.legs:
        assert (node in floating(whole)) == net.reached(node, DC).isdisjoint(net.held)


def test_checks_are_listed_once() -> None:
    assert len(set(CHECKS)) == len(CHECKS)
