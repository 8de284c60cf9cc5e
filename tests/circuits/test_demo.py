"""The readings of the demo come from one specimen with one fault, read and rounded."""

from __future__ import annotations

import pytest

from biaspredict.model.circuit import Variation
from biaspredict.notation.load import load_readings
from biaspredict.pipeline import suspect
from tests.circuits.files import ENGINES, ROOT, load, metered

STAGE = load(ROOT / "demo" / "preamp.stage")
READ = load_readings(ROOT / "demo" / "preamp.readings", STAGE)

# A specimen as old carbon resistors make it, every value within the tolerance of the stage.
SPECIMEN = Variation(
    settings=(
        ("R1.ohms", 186e3),
        ("R2.ohms", 32.1e3),
        ("R3.ohms", 7.1e3),
        ("R4.ohms", 1.24e3),
        ("R5.ohms", 2.26e3),
        ("R6.ohms", 80e3),
        ("R7.ohms", 18.7e3),
        ("R8.ohms", 3.95e3),
        ("R9.ohms", 1.17e3),
        ("Q1.gain", 140.0),
        ("Q2.gain", 210.0),
        ("B+.volts", 19.9),
    )
)
LEAK = 47e3  # ohms of C2


@pytest.mark.parametrize("engine", ENGINES)
def test_the_readings_are_those_of_a_leaking_c2(engine: str) -> None:
    points = [(entry.node, entry.minus, READ.meter.ohms) for entry in READ.entries]
    fault = Variation(settings=(("C2.leak", LEAK),))
    shown = metered(STAGE, ENGINES[engine], points, SPECIMEN.plus(fault))
    for entry, value in zip(READ.entries, shown, strict=True):
        last = 0.05 if abs(value) >= 10 else 0.005  # three digits were written down
        assert entry.value == pytest.approx(value, abs=last * 1.01), entry.name


@pytest.mark.parametrize("engine", ENGINES)
def test_the_specimen_without_the_leak_is_sound(engine: str) -> None:
    # Its second base then stands where the drawing has it, within the chart's 15 %.
    chart = next(entry for entry in STAGE.charts[0].entries if entry.name == "Q2.base")
    points = [("Q2.base", None, 600e3)]
    sound = metered(STAGE, ENGINES[engine], points, SPECIMEN)[0]
    assert sound == pytest.approx(chart.value, rel=STAGE.charts[0].tolerance)
    leaking = Variation(settings=(("C2.leak", LEAK),))
    faulty = metered(STAGE, ENGINES[engine], points, SPECIMEN.plus(leaking))[0]
    assert faulty > chart.value * 1.3


def test_the_specimen_lies_within_tolerance() -> None:
    for name, value in SPECIMEN.settings:
        ref, _, what = name.partition(".")
        if what == "ohms":
            part = STAGE.part(ref)
            assert part.now is not None
            assert abs(value / part.now - 1.0) <= STAGE.tolerance(part).plus


def test_the_leak_is_found_among_what_gives_the_same_volts() -> None:
    verdict = suspect(STAGE, READ)
    first = verdict.ranking.suspects[0]
    assert [fault.key for fault in first.faults] == [("C2", "leak")]
    severity = first.severities[0]
    assert severity is not None
    assert severity.low < LEAK < severity.high
    alike = {s.faults[0].key for s in verdict.ranking.suspects if s.group == 1}
    assert ("R7", "drift up") in alike  # why one more reading is worth its while
    assert verdict.splits


def test_every_command_advises_the_same_next_touch() -> None:
    """`draw` and `bench` ask for less than `suspect`, not for something else."""
    stage = load(ROOT / "demo" / "preamp.stage")
    readings = load_readings(ROOT / "demo" / "preamp.readings", stage)
    soon, whole = suspect(stage, readings, soon=True), suspect(stage, readings)
    assert soon.splits[0].touch == whole.splits[0].touch
