"""`lesson --if`: a fault as a person says it, and what it does, the reason first."""

from __future__ import annotations

import json
import math
import re

import pytest

from biaspredict import classroom
from biaspredict.errors import InputError
from biaspredict.infer.faults import catalogue
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.supposition import meant, suppose
from biaspredict.predict.states import Region
from biaspredict.report import supposing
from tests.circuits.files import DEMO, ENGINES, OURS, ROOT, load, name_of, volts
from tests.lesson.taught import some
from tests.lesson.test_pages import narrow, run, valid

LINE = load(ROOT / "circuits" / "line-stage.stage")
DIVIDER = load(ROOT / "circuits" / "published" / "divider-10-volts.stage")
PRIORS = standard_priors()


@pytest.mark.parametrize(("text", "part", "mode", "degree"), [
    ("R2 opens", "R2", "open", 1.0),
    ("r2 is open.", "R2", "open", 1.0),
    ("R3 shorts", "R3", "short", 1.0),
    ("R3 drifts up 20%", "R3", "drift up", 1.2),
    ("R3 high 1.5", "R3", "drift up", 1.5),
    ("R3 low 0.7 times", "R3", "drift down", 0.7),
    ("R3 is ten times too high", "R3", "wrong value, up", 1.0),
    ("C1 leaks 68K", "C1", "leak", 68e3),
    ("C1 is leaking at 6K8", "C1", "leak", 6.8e3),
    ("C1 leaky", "C1", "leak", math.sqrt(1e3 * 3e6)),
    ("C3 dries 0.1", "C3", "dry", 0.1),
    ("Q1 low gain 0.3", "Q1", "low gain", 0.3),
    ("Q1 has lost gain 30%", "Q1", "low gain", 0.3),
    ("Q1 weak 0.5", "Q1", "low gain", 0.5),
    ("Q1 shorts collector to emitter", "Q1", "c-e short", 1.0),
    ("Q1 leaks collector-base 100K", "Q1", "c-b leak", 1e5),
    ("Q1 base opens", "Q1", "base open", 1.0),
    ("Q1.base opens", "Q1", "base open", 1.0),
    ("Q1 open throughout", "Q1", "all open", 1.0),
    ("Q1 wrong polarity", "Q1", "wrong polarity", 1.0),
    ("Q1.emitter joint 1K", "Q1.emitter", "joint", 1e3),
    ("P1 wiper open", "P1", "wiper open", 1.0),
    ("B+ missing", "B+", "missing", 1.0),
    ("b+ low 0.8", "B+", "low", 0.8),
    ("board at Q1.base leak to ground 1M", "board at Q1.base", "leak to ground", 1e6),
])
def test_what_people_say_is_understood(text: str, part: str, mode: str, degree: float) -> None:
    found = suppose(LINE, text, PRIORS)
    assert (found.fault.part, found.fault.mode) == (part, mode)
    assert found.severity == pytest.approx(degree)


@pytest.mark.parametrize(("text", "fact", "remedy"), [
    ("", "nothing is supposed", "R2 opens"),
    ("R22 opens", "no part is called R22", "Did you mean R2?"),
    ("Q1 explodes", "no such fault of Q1", "Q1 can: c-b leak;"),
    ("R2 opn", "no such fault of R2", "Did you mean R2 open?"),
    ("R2", "no such fault of R2", "R2 can:"),
    ("Q1 shorts", "several faults", "Q1 c-e short"),
    ("R2 open 5", "has no degree", "R2 open by itself"),
    ("C1 leaks 0.1", "no degree of that fault", "1e+03 to 3e+06 ohm"),
    ("C1 leaks 5x5", "is not a resistance", "in ohms, like 68K"),
    ("R3 high -1", "no such fault", "R3 can"),
    ("Q1 low gain 1e999", "", ""),
    ("\x00", "no part is called", ""),
])
def test_what_is_not_understood_is_answered_with_the_near_miss(
    text: str, fact: str, remedy: str
) -> None:
    with pytest.raises(InputError) as told:
        suppose(LINE, text, PRIORS)
    assert fact in told.value.fact
    assert remedy in told.value.remedy


@pytest.mark.parametrize("path", OURS + DEMO, ids=name_of)
def test_every_fault_of_the_catalogue_can_be_said_as_it_is_called(path: object) -> None:
    stage = load(path)  # type: ignore[arg-type]
    if any(part.kind.value == "winding" and part.volts for part in stage.parts):
        return  # what a supply's parts do is told by `supply`
    faults = catalogue(stage, PRIORS)
    for fault in faults:
        found = meant(stage, faults, f"{fault.part} {fault.mode}")
        assert found.fault.key == fault.key


# Malvino & Bates, Electronic Principles: table of troubles and symptoms of this very divider
# stage (from memory); VB, VE, VC printed with two or three digits.
TROUBLES = [
    ("R1 shorts", 10.0, 9.3, 9.4), ("R1 opens", 0.0, 0.0, 10.0), ("R2 shorts", 0.0, 0.0, 10.0),
    ("R2 opens", 3.38, 2.68, 2.73), ("RE shorts", 0.71, 0.0, 0.06), ("RC shorts", 1.79, 1.12, 10.0),
    ("RC opens", 1.07, 0.4, 0.43), ("Q1 all joined", 2.06, 2.06, 2.06),
    ("Q1 all open", 1.8, 0.0, 10.0), ("B+ missing", 0.0, 0.0, 0.0),
]


@pytest.mark.parametrize(("text", "base", "emitter", "collector"), TROUBLES)
def test_the_books_table_of_troubles(
    text: str, base: float, emitter: float, collector: float
) -> None:
    (found,) = classroom.what_if(DIVIDER, [text])
    assert found.after is not None
    # The book takes 0.7 V for V_BE and 0.1 V for V_CE at any current, and rounds to a tenth in
    # the first row.
    for node, printed in (("base", base), ("emitter", emitter), ("collector", collector)):
        at = found.after.volts[DIVIDER.node(f"Q1.{node}")]
        assert at == pytest.approx(printed, abs=0.2 if printed > 5.0 else 0.06), node


def test_currents_after_a_fault_are_those_of_the_faulty_stage() -> None:
    """An open resistor carries nothing, a leak carries what its volts ask, and nodes balance."""
    opened, leaking = classroom.what_if(LINE, ["R2 opens", "C1 leaks 68K"])
    assert opened.after is not None
    assert leaking.after is not None
    assert abs(opened.after.flows.leads["R2.1"]) < 1e-11
    base = LINE.node("Q1.base")
    apart = leaking.after.volts[base] - leaking.after.volts["P1.wiper"]
    assert leaking.after.flows.parts["C1 (leak)"].amps[0] == pytest.approx(apart / 68e3, rel=1e-6)
    # The bench case of a leaking coupling capacitor, 68K: about 25 uA (simulated, invented).
    assert abs(apart) / 68e3 == pytest.approx(25e-6, rel=0.02)
    at = leaking.after
    into_base = at.flows.leads["R1.2"] + at.flows.leads["R2.1"] + apart / 68e3
    assert at.states["Q1"].ib == pytest.approx(-into_base, rel=1e-3)


def test_the_volts_are_the_engines() -> None:
    (found,) = classroom.what_if(LINE, ["Q1 low gain 0.3"])
    assert found.after is not None
    there = volts(LINE, ENGINES["batch"], found.supposed.variation)
    for node in LINE.nodes:
        assert found.after.volts[node] == pytest.approx(there[node], abs=2e-3)


def test_the_reason_comes_first_then_the_figures() -> None:
    (found,) = classroom.what_if(LINE, ["R2 opens"])
    page = narrow(supposing.page(found))
    reason = page.index("Open, the 56 uA that it carried from Q1.base to ground")
    then = page.index("Q1: its base goes from 2.63 V to 3.46 V")
    figures = page.index("node           sound    then")
    assert reason < then < figures
    assert found.regions == (("Q1", Region.ACTIVE, Region.SATURATED),)
    assert "it is saturated" in page


def test_a_silent_fault_is_said_to_be_silent() -> None:
    (found,) = classroom.what_if(LINE, ["C3 dries"])
    page = supposing.page(found)
    assert not found.moved
    assert "only the signal" in page
    assert "node" not in page.split("\n\n")[-1].split("\n")[0]


@pytest.mark.parametrize("path", some(OURS + DEMO), ids=name_of)
def test_every_answer_is_a_page_and_a_record(path: object) -> None:
    """A few faults of each kind on every stage: narrow, finite, valid."""
    stage = load(path)  # type: ignore[arg-type]
    faults = [f for f in catalogue(stage, PRIORS) if f.part in {p.ref for p in stage.parts}]
    if any(part.kind.value == "winding" and part.volts for part in stage.parts):
        return
    first = {fault.mode: fault for fault in faults}
    texts = [f"{fault.part} {fault.mode}" for fault in list(first.values())[::3]]
    for found in classroom.what_if(stage, texts):
        page = narrow(supposing.page(found))
        assert page.startswith(stage.title[:20])
        assert not re.search(r"\bNone\b|<|\{|\}", page)


def test_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    path = str(ROOT / "circuits" / "line-stage.stage")
    code, out, _ = run(capsys, path, "--if", "R2 opens", "--if", "C3 dries")
    assert code == 1
    assert out.count("what if") == 2
    code, out, _ = run(capsys, path, "--if", "C3 dries")
    assert code == 0
    code, out, _ = run(capsys, path, "--if", "R2 opens", "--json")
    valid(json.loads(out), "what-if")
    code, out, err = run(capsys, path, "--if", "R2 opn")
    assert code == 2
    assert "Did you mean R2 open?" in err
