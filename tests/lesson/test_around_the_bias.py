"""Load lines, sensitivities, steadiness and signal figures of a lesson."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from biaspredict.model.circuit import Variation
from biaspredict.predict.hand.records import QUICK
from tests.circuits.files import ENGINES, OURS, ROOT, load, volts
from tests.lesson.taught import lesson_of
from tests.published.bias_rows import BOYLESTAD, MALVINO

PUBLISHED = ROOT / "circuits" / "published"
LINE = next(path for path in OURS if path.stem == "line-stage")


def test_load_line_of_fixed_bias() -> None:
    # The load line runs from VCC to VCC / RC: Boylestad & Nashelsky, section 4.3 (from memory).
    (line,) = lesson_of(PUBLISHED / "fixed-bias.stage").loads
    assert line.open_volts == pytest.approx(12.0, abs=1e-3)
    assert line.full_amps == pytest.approx(12.0 / 2.2e3, rel=1e-3)
    assert line.vce == pytest.approx(6.82, abs=0.005)
    assert line.amps == pytest.approx(2.35e-3, abs=0.005e-3)


def test_load_line_with_an_emitter_resistor() -> None:
    # VCC / (RC + RE), and the emitter carries IE = IC (gain + 1) / gain.
    (line,) = lesson_of(PUBLISHED / "emitter-bias.stage").loads
    assert line.open_volts == pytest.approx(20.0, abs=1e-3)
    assert line.ohms == pytest.approx(2e3 + 1e3 * 51 / 50, rel=1e-4)
    # Q stands on its line.
    assert line.open_volts - line.ohms * line.amps == pytest.approx(line.vce, abs=1e-3)


def test_what_sets_a_voltage_is_what_happens() -> None:
    """The linear stage's word against solves with the part really up a tenth."""
    found = lesson_of(LINE)
    sway = next(s for s in found.sways if s.node == "Q1.collector")
    pulls = {pull.name: pull.volts for pull in sway.pulls}
    assert set(pulls) == {"R1", "R2", "R3", "R4", "R5", "B+"}
    sound = volts(load(LINE), ENGINES["ngspice"])["Q1.collector"]
    for name, moved in pulls.items():
        field = f"{name}.volts" if name == "B+" else f"{name}.ohms"
        up = Variation(scales=((field, 1.1),))
        really = volts(load(LINE), ENGINES["ngspice"], up)["Q1.collector"] - sound
        # A tenth is no small step: the curve bends by up to a fifth of it.
        assert moved == pytest.approx(really, rel=0.2), name
        assert math.copysign(1.0, moved) == math.copysign(1.0, really)


def test_steadiness_is_solved_at_the_ends() -> None:
    found = lesson_of(LINE)
    (steady,) = found.steady
    assert steady.gains == (80.0, 300.0)
    for gain, amps, across in zip((80.0, 300.0), steady.amps[1:3], steady.vce[1:3], strict=True):
        at = volts(load(LINE), ENGINES["batch"], Variation(settings=(("Q1.gain", gain),)))
        assert amps == pytest.approx((at["VA"] - at["Q1.collector"]) / 4.7e3, rel=2e-3)
        assert across == pytest.approx(at["Q1.collector"] - at["Q1.emitter"], abs=2e-3)
    assert steady.amps[3] is not None
    # Divider bias: V_BE falls 2 mV a kelvin, so V_E rises by at most 40 mV of 1.96 V in 20 K; the
    # gain rises by a tenth, and 3.75 times the gain gives 1.22 times the current.
    most = 0.040 / 1.96 + 0.22 * math.log(1.1) / math.log(3.75)
    assert 1.0 < steady.amps[3] / steady.amps[0] < 1.0 + most


@pytest.mark.parametrize(("file", "printed", "heat", "source"), [
    ("corners-20-volts", 15.76, 26.0, f"{BOYLESTAD}, 10th ed., Ex 9.11: 26 mV, no base current"),
    ("corners-10-volts", 22.7, 25.0, f"{MALVINO}, Ex 16-19: 25 mV, no base current"),
])
def test_the_emitters_own_ohms(file: str, printed: float, heat: float, source: str) -> None:
    way = lesson_of(PUBLISHED / f"{file}.stage", QUICK).signal
    assert way is not None, source
    (stride,) = way.strides
    # The books round kT/q; here it is 25.69 mV at 25 C (CODATA 2018).
    assert stride.inner * heat / 25.69 == pytest.approx(printed, rel=2e-3), source


def test_input_resistance_of_the_book() -> None:
    # Boylestad & Nashelsky, 10th ed., Ex 9.11: 40K, 10K and gain times re in parallel, 1.32K,
    # from which the corner of CS is 6.87 Hz with 1K and 10 uF.
    way = lesson_of(PUBLISHED / "corners-20-volts.stage", QUICK).signal
    assert way is not None
    assert way.input_ohms == pytest.approx(1.32e3, rel=0.01)
    corner = 1.0 / (2.0 * math.pi * (1e3 + way.input_ohms) * 10e-6)
    assert corner == pytest.approx(6.87, rel=0.01)


def test_gain_of_the_book() -> None:
    # Boylestad & Nashelsky, 10th ed., Ex 9.11: -(RC beside RL) / re = -90 (from memory).
    way = lesson_of(PUBLISHED / "corners-20-volts.stage", QUICK).signal
    assert way is not None
    assert way.gain == pytest.approx(-90.0, rel=0.02)


@pytest.mark.parametrize("name", ["line-stage", "coupled-pair", "fet-input",
                                  "germanium-line-stage", "microphone-stage",
                                  "two-channel-pair", "germanium-preamplifier"])
def test_hand_gain_is_near_the_linear_stage(name: str) -> None:
    """Without feedback from stage to stage the short formula is good to a tenth."""
    way = lesson_of(next(path for path in OURS if path.stem == name)).signal
    assert way is not None
    assert not way.feedback
    assert way.gain == pytest.approx(way.solved_gain, rel=0.1)
    assert way.input_ohms == pytest.approx(way.solved_input_ohms, rel=0.1)


def test_feedback_is_named_not_hidden() -> None:
    way = lesson_of(next(path for path in OURS if path.stem == "direct-pair")).signal
    assert way is not None
    assert way.feedback == ("R6",)
    assert abs(way.gain) > 10.0 * abs(way.solved_gain)


def test_a_bypassed_emitter_and_an_open_one() -> None:
    # Gain falls to RL / (re + RE) when the bypass is taken away: common practice, no source.
    stage = load(next(path for path in OURS if path.stem == "microphone-stage"))
    from biaspredict import classroom

    open_one = replace(stage, parts=tuple(p for p in stage.parts if p.ref != "C3"))
    way = classroom.lesson(open_one).signal
    assert way is not None
    (stride,) = way.strides
    load_ohms = 4.7e3 * 22e3 / 26.7e3
    gain = 300.0**0.5 * 10.0
    expected = gain / (gain + 1.0) * load_ohms / (1e3 + stride.inner)
    assert way.gain == pytest.approx(-expected, rel=1e-3)
