"""Readings taken with a leg lifted, a can warmed or a resistor across: notation and evidence."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from biaspredict.bench.asking import beginning
from biaspredict.errors import InputError
from biaspredict.infer.splits import Split, label_of
from biaspredict.infer.tasks import probe_as_read
from biaspredict.infer.verdict import Verdict
from biaspredict.model.circuit import SOUND as NO_FAULT
from biaspredict.model.circuit import Variation
from biaspredict.model.readings import Deed
from biaspredict.model.stage import Stage
from biaspredict.notation import parse_entry, read_readings
from biaspredict.pipeline import ranker, suspect
from biaspredict.predict.observe import Predictor
from biaspredict.report import accusing
from tests.cases.cases import BY_NAME
from tests.circuits.files import ROOT
from tests.kinds.bench import LINE, judged, readings_of, stage_of

GERMANIUM = (ROOT / "tests" / "cases" / "germanium-line-stage.stage").read_text("utf-8")
# The scratchy pot of the bench cases: C1 leaks 68k, or R1 is high, or the gain is low.
SCRATCHY = """meter 10 MEG 1% + 2 digits
rail B+ 22.0
VA 18.84
Q1.collector 12.44
Q1.base 2.03
Q1.emitter 1.37
"""
WARM = """meter 10 MEG 1% + 2 digits
rail B- -12.0
Q1.collector -6.68
Q1.base -2.55
Q1.emitter -2.34
"""


def shares(verdict: Verdict) -> dict[str, float]:
    """Belief by part."""
    found: dict[str, float] = {}
    for suspect_ in verdict.ranking.suspects:
        for name in label_of(suspect_.parts):
            found[name] = found.get(name, 0.0) + suspect_.weight
    return found


def shown(stage: Stage, line: str, fault: Variation = NO_FAULT) -> float:
    """What the tool predicts of that reading, of a specimen without spread."""
    readings = read_readings(f'readings "x"\n{line}\n', "x", stage)
    predictor = Predictor(stage, ranker(), ())
    asked = probe_as_read(readings.entries[0], readings, stage)
    return float(predictor.observe([fault], np.zeros((1, 0)), [asked]).values[0, 0])


def test_a_lifted_capacitor_acquits_or_convicts() -> None:
    """With C1 out a stage with no other fault reads as a sound one: 2.63 V. If R1 were high it
    would stay at the 2.03 V that were read before."""
    before = shares(judged(LINE, SCRATCHY))
    assert 0.05 < before["C1"] < 0.95
    away = shares(judged(LINE, SCRATCHY + "Q1.base with C1 lifted 2.63\n"))
    assert away["C1"] > 0.95
    same = shares(judged(LINE, SCRATCHY + "Q1.base with C1 lifted 2.03\n"))
    assert same.get("C1", 0.0) < 0.01 < same["R1"]


def test_a_resistor_by_itself_reads_its_own_ohms() -> None:
    """One leg out of the board: by Ohm's law nothing else can be in the reading."""
    stage = stage_of(LINE)
    for ref in ("R1", "R2", "R3", "R4"):
        own = shown(stage, f"ohms across {ref} with {ref} lifted 10k")
        assert math.exp(own) == pytest.approx(stage.part(ref).now, rel=1e-4)
    drifted = Variation(settings=(("R1.ohms", 330e3),))
    assert math.exp(shown(stage, "ohms across R1 with R1 lifted 300k", drifted)) == (
        pytest.approx(330e3, rel=1e-4))
    settled = shares(judged(LINE, SCRATCHY + "ohms across R1 with R1 lifted 331k\n"))
    assert settled["R1"] > 0.95
    acquitted = shares(judged(LINE, SCRATCHY + "ohms across R1 with R1 lifted 222k\n"))
    assert acquitted.get("R1", 0.0) < 0.05


def test_200_kohm_across_the_base() -> None:
    """The third bench case: line 6 % up, 200k across the base reads 2.48 V (ngspice, from
    the case book)."""
    case = BY_NAME["chart-reads-low"]
    assert case.next is not None
    fault = Variation(settings=(("B+.volts", 23.3),))
    assert shown(stage_of(LINE), "Q1.base 2.5 with 200k across", fault) == pytest.approx(
        case.next.faulty, abs=0.01)


@pytest.mark.parametrize("text", ["Q1.collector -8", "Q1.emitter -1.8"])
def test_a_warm_can_moves_as_the_whole_stage_would(text: str) -> None:
    """The stage has one transistor: warmed alone it is the stage at that temperature, which
    the engine computes by another law (a circuit's own temperature)."""
    stage = stage_of(GERMANIUM)
    sick = Variation(settings=(("Q1.icbo", 150e-6),))
    base = stage.assumptions.temperature
    hot = [
        shown(stage, f"{text} temperature {base + kelvin:g} C", sick) for kelvin in (8.0, 22.0)
    ]
    warmed = shown(stage, f"{text} with Q1 warm", sick)
    assert min(hot) - 0.1 < warmed < max(hot) + 0.1
    assert abs(warmed - shown(stage, text, sick)) > 0.2


def test_warming_tells_leakage_from_a_drifted_resistor() -> None:
    """The fourth bench case. Leakage of 150 uA doubled by the heat takes the collector further
    up; with R2 at 6.8k nothing much moves."""
    stage = stage_of(GERMANIUM)
    before = shares(judged(GERMANIUM, WARM))
    assert min(before["Q1"], before["R2"]) > 0.02
    moved = shown(stage, "Q1.collector -6 with Q1 warm",
                  Variation(settings=(("Q1.icbo", 150e-6),)))
    after = shares(judged(GERMANIUM, WARM + f"Q1.collector with Q1 warm {moved:.2f}\n"))
    assert after["Q1"] > before["Q1"]
    still = shown(stage, "Q1.collector -6 with Q1 warm",
                  Variation(settings=(("R2.ohms", 6.8e3),)))
    calm = shares(judged(GERMANIUM, WARM + f"Q1.collector with Q1 warm {still:.2f}\n"))
    assert calm["R2"] > before["R2"]
    assert calm.get("Q1", 0.0) < before["Q1"]


def test_what_is_advised_can_be_typed() -> None:
    """Every touch of the bench cases, in the words of a readings file, is that very probe."""
    some: list[tuple[Stage, Split]] = []
    for stage, readings in ((LINE, SCRATCHY), (GERMANIUM, WARM)):
        some += [(stage_of(stage), split) for split in judged(stage, readings).splits]
    done = {split.touch.probe.doing.split(" ")[-1] for _, split in some}
    assert {"lifted", "warm", ""} <= done
    for stage, split in some:
        asked = split.touch.probe
        if not asked.doing:
            continue
        value = "10k" if asked.quantity.value == "ohms" else "1.0"
        readings = read_readings(
            f'readings "x"\n{beginning(stage, asked)} {value}\n', "x", stage)
        typed = probe_as_read(readings.entries[0], readings, stage)
        alike = {"ohms": asked.ohms, "volts": asked.volts, "name": asked.name,
                 "minus": asked.minus}
        assert replace(typed, **alike) == asked  # type: ignore[arg-type]
        assert typed.name == asked.name or not asked.name.startswith("R")


def test_what_was_taken_is_not_advised_again() -> None:
    text = SCRATCHY + "Q1.base with C1 lifted about 2.4\n"
    for split in judged(LINE, text).splits:
        probe_ = split.touch.probe
        assert (probe_.node, probe_.doing) != ("Q1.base", "with C1 lifted")


def test_only_readings_as_found_speak_of_currents() -> None:
    """Ohm's law from readings of two different states of the stage would be nonsense."""
    plain = judged(LINE, SCRATCHY)
    lifted = judged(LINE, SCRATCHY + "Q1.emitter with C1 lifted 1.96\n")
    assert lifted.ledger.currents == plain.ledger.currents
    assert not lifted.ledger.clashes
    assert not lifted.doubts
    assert len(lifted.compared) == len(plain.compared) + 1
    page = accusing.page(stage_of(LINE), readings_of(SCRATCHY, stage_of(LINE)), lifted)
    assert re.search(r"Q1\.emitter with C1 lifted +1\.96 V", page)
    assert max(map(len, page.split("\n"))) <= 80


def test_the_volts_on_the_speaker_after_the_bridge() -> None:
    """The fifth bench case: 100 ohms across the terminals, read after a minute: millivolts."""
    stage = stage_of((ROOT / "tests" / "cases" / "output-capacitor.stage").read_text("utf-8"))
    text = 'readings "x"\nOUT 4m with 100 across after 1 minutes\n'
    verdict = suspect(stage, read_readings(text, "x", stage))
    assert verdict.sound
    assert not verdict.doubts


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("Q1.base 3 with Q1 lifted", "which leg of Q1 is lifted?"),
        ("Q1.base 3 with Q1.gate lifted", "Q1 has no leg 'gate'"),
        ("Q1.base 3 with R9 lifted", "no part is called R9"),
        ("Q1.base 3 with R1 warm", "what warm does to R1 is not known here"),
        ("Q1.base 3 with Q1.base cool", "what cool does to Q1.base is not known here"),
        ("Q1.base 3 with C1 lifted with C1 lifted", "this is said twice"),
        ("Q1.base 3 with 1k across with 2k across", "this is said twice"),
        ("Q1.base 3 with 0 across", "no resistor has no resistance"),
        ("Q1.base 3 warm", "'warm' does not fit here"),
    ],
)
def test_what_cannot_be_done(text: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_entry(text, stage_of(LINE))
    assert says in caught.value.fact
    assert caught.value.place is not None


def test_leads_are_found_however_they_are_written() -> None:
    found = parse_entry("q1.b ~3,1 WITH q1.B LIFTED", stage_of(LINE))
    assert found.about
    assert [(d.deed, d.ref) for d in found.meanwhile] == [(Deed.LIFTED, "Q1.base")]
