"""Circuits with two states, from textbooks: both are found, said, and told from one another."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from biaspredict import pipeline
from biaspredict.cli import main
from biaspredict.engine.batch import Batch
from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.engine.signals import determinant_sign
from biaspredict.engine.standing import other_states
from biaspredict.model.circuit import SOUND
from biaspredict.notation import read_readings, read_stage
from tests.heard import flat

# Venkata Rao, Rama Sudha and Manmadha Rao, Pulse and Digital Circuits, 2010, chapter 9, problem 2,
# read on a public page of the book's solutions: VB1 -3.267 V, VB2 0.3 V, VC1 9.12 V, VC2 0.1 V
# with Q1 off. The book takes 0.3 V for a conducting base and 0.1 V for a saturated collector.
FLIP_FLOP = """
stage "flip-flop"
rail V+ 10 V
rail V- -10 V
Q1 npn germanium gain 40 early none icbo 0
Q2 npn germanium gain 40 early none icbo 0
V+ -- R1 1K -- Q1.collector -- R2 10K -- Q2.base -- R3 20K -- V-
V+ -- R4 1K -- Q2.collector -- R5 10K -- Q1.base -- R6 20K -- V-
Q1.emitter -- ground
Q2.emitter -- ground
"""
BOOK = {"Q1.base": -3.267, "Q2.base": 0.3, "Q1.collector": 9.12, "Q2.collector": 0.1}
TWIN = {"Q1.base": "Q2.base", "Q1.collector": "Q2.collector"}
TWIN |= {b: a for a, b in TWIN.items()}
# A base 0.1 V off shifts VC1 by a part in 11, a saturated collector the other base by 2/3.
NEAR = 0.12

# Millman and Taub, Pulse, Digital, and Switching Waveforms, 1965, chapter 10, from memory: the
# resistors, and 0.5 V at cut-in, 0.6 V active, gain 30; worked out by the book's formulas.
SCHMITT = """
stage "trigger"
rail V+ 12 V
rail IN {volts} V
Q1 npn gain 30 vbe 0.6 V at 1.5 mA early none icbo 0
Q2 npn gain 30 vbe 0.6 V at 1.5 mA early none icbo 0
IN -- R6 100 -- Q1.base
V+ -- R1 4K -- Q1.collector -- R2 2K -- Q2.base -- R3 6K -- ground
V+ -- R4 1K -- Q2.collector
Q1.emitter -- Q2.emitter -- R5 3K -- ground
"""
HELD, CUT_IN, ACTIVE, GAIN = 12.0 * 6.0 / 12.0, 0.5, 0.6, 30.0
BEHIND = 6.0 * 6.0 / 12.0  # K, R3 beside R1 and R2
UPPER = (HELD - ACTIVE) * 3.0 * (GAIN + 1) / (BEHIND + 3.0 * (GAIN + 1)) + CUT_IN
LOOP, EMITTER = 0.75 * 4.0 * 8.0 / 12.0, 3.0 * (1.0 + 1.0 / GAIN)
LOWER = ACTIVE + (HELD - CUT_IN) * EMITTER / (LOOP + EMITTER)
# What 0.05 V in every V_BE makes of the thresholds, and the fall of V_BE below 1.5 mA.
THRESHOLD = 0.25


def named(stage_text: str) -> list[dict[str, float]]:
    """Volts by name in every state, as the page of `bias` gives them."""
    stage = read_stage(stage_text, "text")
    found = pipeline.bias(stage)
    first = found.volts()
    states = [first, *(first | dict(other) for other in found.others)]
    return [{name: state[node] for name, node in stage.names.items()} | state for state in states]


def test_flip_flop_stands_as_the_book_says_either_way() -> None:
    one, other = sorted(named(FLIP_FLOP), key=lambda state: -state["Q1.collector"])
    for name, volts in BOOK.items():
        assert one[name] == pytest.approx(volts, abs=NEAR), name
        assert other[TWIN[name]] == pytest.approx(volts, abs=NEAR), name


@pytest.mark.parametrize("engine", [Ngspice(), Batch()])
def test_neither_engine_gives_the_point_between(engine: Ngspice | Batch) -> None:
    circuit = flatten(read_stage(FLIP_FLOP, "text"))
    volts = engine.solve(circuit, [SOUND]).volts
    assert determinant_sign(circuit, SOUND, volts[0]) > 0.0
    (others,) = other_states(Batch(), circuit, [SOUND], volts)
    assert len(others) == 1
    # The referee, set near the other state, confirms it.
    there = Ngspice().solve(circuit, [SOUND], start=others[0][None])
    assert np.abs(there.volts[0] - others[0]).max() < 1e-3
    # Where all sides are alike the circuit could balance, and does not stay there.
    columns = [circuit.nodes.index(n) for n in ("Q1.collector", "Q2.collector")]
    alike = volts[0].copy()
    alike[columns] = 0.5
    again = engine.solve(circuit, [SOUND], start=alike[None]).volts[0]
    assert abs(again[columns[0]] - again[columns[1]]) > 5.0


@pytest.mark.parametrize(
    ("volts", "states"),
    [
        (1.0, 1), (LOWER - THRESHOLD, 1), (LOWER + THRESHOLD, 2), (0.5 * (LOWER + UPPER), 2),
        (UPPER - THRESHOLD, 2), (UPPER + THRESHOLD, 1), (8.0, 1),
    ],
)
def test_trigger_has_two_states_between_its_thresholds_only(volts: float, states: int) -> None:
    assert pytest.approx((5.73, 3.94), abs=0.01) == (UPPER, LOWER)
    assert len(named(SCHMITT.format(volts=round(volts, 3)))) == states


def test_the_page_and_the_record_say_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stage = tmp_path / "a.stage"
    stage.write_text(FLIP_FLOP, encoding="utf-8")
    assert main(["bias", str(stage)]) == 0
    page = capsys.readouterr().out
    assert "can stand in another way as well" in page
    assert max(map(len, page.splitlines())) <= 80
    assert main(["bias", str(stage), "--json"]) == 0
    (other,) = json.loads(capsys.readouterr().out)["other_states"]
    assert len(other) == 4
    assert main(["proof", str(stage)]) == 1
    assert "can stand in another way as well" in capsys.readouterr().out


@pytest.mark.parametrize("turned", [False, True])
def test_readings_of_either_state_are_sound(turned: bool) -> None:
    stage = read_stage(FLIP_FLOP, "text")
    lines = [f"{TWIN[name] if turned else name} {volts:.2f}" for name, volts in BOOK.items()]
    lines += ["rail V+ 10.00", "rail V- -10.00"]
    text = "\n".join(['readings "today"', *lines])
    verdict = pipeline.suspect(stage, read_readings(text, "text", stage))
    assert verdict.sound
    (other,) = verdict.states
    high = "Q2.collector" if not turned else "Q1.collector"
    assert other[high] > 8.0


AMPLIFIER = """
stage "pair fed back from the wrong side"
rail B+ 20 V
Q1 npn gain 200
Q2 npn gain 200
B+ -- R1 22K -- Q1.collector -- Q2.base
B+ -- R2 4.7K -- Q2.collector
Q1.emitter -- ground
Q2.emitter -- R3 1K -- ground
Q2.collector -- R4 330K -- Q1.base -- R5 47K -- ground
"""


def test_a_pair_fed_back_from_the_wrong_side_latches() -> None:
    """Two inversions around a loop add up; one is what a stage needs."""
    assert len(named(AMPLIFIER)) == 2
    right = AMPLIFIER.replace("Q2.collector -- R4", "Q2.emitter -- R4")  # a shunt pair
    assert len(named(right)) == 1


def test_a_suspect_that_gives_the_stage_a_second_state_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A trigger below both thresholds; R3 drifted low draws the lower one below the input."""
    files = tmp_path / "a.stage", tmp_path / "a.readings"
    sound = SCHMITT.format(volts=3.4)
    assert len(named(sound)) == 1
    with_fault = named(sound.replace("R3 6K", "R3 3.6K"))
    assert len(with_fault) == 2
    names = ("IN", "V+", "Q1.collector", "Q2.base", "Q2.collector", "Q2.emitter")
    read = "\n".join(f"{name} {with_fault[0][name]:.2f}" for name in names)
    files[0].write_text(sound, encoding="utf-8")
    files[1].write_text(f'readings "today"\n{read}\n', encoding="utf-8")
    assert main(["suspect", *map(str, files)]) == 1
    page = flat(capsys.readouterr().out)
    assert "If it is so that R3 has drifted low, the stage can stand in another way as" in page
    assert main(["suspect", *map(str, files), "--json"]) == 1
    record = json.loads(capsys.readouterr().out)
    assert record["other_states"] == []
    first = next(s for s in record["suspects"] if s["parts"] == ["R3"])
    assert first["other_states"][0].keys() >= {"Q2.base"}
