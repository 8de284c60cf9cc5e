"""A wiper, a gain, a type that the sheet leaves open: solved where the readings determine it."""

from __future__ import annotations

import numpy as np
import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.infer.unknowns import Unknown
from biaspredict.infer.verdict import Verdict
from biaspredict.model.circuit import Variation
from biaspredict.notation import read_stage
from tests.kinds.bench import judged

TRIMMED = """stage "bias"
rail B+ 20 V 5%
Q1 npn silicon gain 100..200
P1 trimmer 10K
B+ -- R1 22K -- P1.top
P1.bottom -- R2 2.2K -- ground
P1.wiper -- R6 1K -- Q1.base
B+ -- R3 4.7K -- Q1.collector
Q1.emitter -- R4 1K -- ground
"""
PAIR = TRIMMED + """Q2 npn
Q1.collector -- R7 100K -- Q2.base
Q2.base -- R8 47K -- ground
Q2.collector -- R9 4.7K -- B+
Q2.emitter -- R10 2.2K -- ground
"""


def read(text: str, variation: Variation, *names: str) -> str:
    """Readings of one specimen by ngspice, as a person writes them."""
    stage = read_stage(text, "specimen.stage")
    circuit = flatten(stage)
    volts = Ngspice().solve(circuit, [variation]).volts[0]
    at = dict(zip(circuit.nodes, np.round(volts, 3), strict=False))
    return "".join(f"{name} {at[stage.node(name)]:.3f}\n" for name in names)


def found(verdict: Verdict, part: str, what: str) -> Unknown:
    return next(u for u in verdict.unknowns if (u.part, u.what) == (part, what))


@pytest.mark.parametrize("turn", [0.1, 0.35, 0.8])
def test_a_wiper_is_solved_from_its_volts(turn: float) -> None:
    text = read(TRIMMED, Variation(settings=(("P1.turn", turn),)),
                "B+", "P1.wiper", "Q1.emitter", "Q1.collector")
    wiper = found(judged(TRIMMED, text), "P1", "wiper")
    assert wiper.determined
    assert wiper.low <= turn <= wiper.high
    assert wiper.high - wiper.low < 0.35  # R1, R2 and the trimmer itself are within 10 and 20 %


def test_a_wiper_that_no_reading_touches_stays_unknown() -> None:
    wiper = found(judged(TRIMMED, "rail B+ 20.0\n"), "P1", "wiper")
    assert not wiper.determined
    assert wiper.high - wiper.low > 0.8


def test_a_wiper_that_the_sheet_gives_is_not_listed() -> None:
    verdict = judged(TRIMMED.replace("trimmer 10K", "trimmer 10K at 0.5"), "rail B+ 20.0\n")
    assert not [u for u in verdict.unknowns if u.part == "P1"]


def test_a_gain_is_solved_where_the_base_current_shows() -> None:
    """1M from the rail into the base: the collector's volts are the gain."""
    plain = """stage "plain"
rail B+ 20 V 1%
assume resistors 1%
Q1 npn silicon
B+ -- R1 1M -- Q1.base
B+ -- R3 4.7K -- Q1.collector
Q1.emitter -- R4 100 -- ground
"""
    text = read(plain, Variation(settings=(("Q1.gain", 120.0),)), "B+", "Q1.collector", "Q1.base")
    gain = found(judged(plain, text), "Q1", "gain")
    assert gain.determined
    # with Early voltage the gain as read is a little above that at no collector volts
    assert gain.low <= 120.0 <= gain.high
    assert gain.high / gain.low < 1.4


def test_a_stiff_divider_hides_the_gain() -> None:
    stiff = TRIMMED.replace("trimmer 10K", "trimmer 10K at 0.35").replace(
        "gain 100..200", "gain 50..400")
    text = read(stiff, Variation(), "B+", "P1.wiper", "Q1.emitter", "Q1.collector")
    assert not found(judged(stiff, text), "Q1", "gain").determined


def test_a_transistor_of_unknown_type_is_told_by_its_junction() -> None:
    """Q2 of the sheet says npn and no more; a germanium one was fitted."""
    germanium = PAIR.replace("Q2 npn", "Q2 npn germanium")
    text = read(germanium, Variation(settings=(("P1.turn", 0.3),)), "B+", "P1.wiper",
                "Q1.emitter", "Q1.collector", "Q2.base", "Q2.emitter", "Q2.collector")
    verdict = judged(PAIR, text)
    told = found(verdict, "Q2", "type")
    assert told.says == "germanium"
    assert told.determined
    assert verdict.sound  # taken as germanium, nothing is left to explain


def test_a_fault_is_not_taken_for_another_type() -> None:
    """A silicon transistor with a base-emitter leak shows 0.3 V, and its collector does not fit."""
    leaking = Variation(settings=(("P1.turn", 0.3), ("Q2.be_leak", 300.0)))
    text = read(PAIR, leaking, "B+", "P1.wiper", "Q1.emitter", "Q1.collector", "Q2.base",
                "Q2.emitter", "Q2.collector")
    verdict = judged(PAIR, text)
    assert not [u for u in verdict.unknowns if u.what == "type"]
    assert not verdict.sound


def test_a_type_that_the_sheet_gives_is_a_fault_when_it_is_another() -> None:
    germanium = PAIR.replace("Q2 npn", "Q2 npn germanium")
    text = read(germanium, Variation(settings=(("P1.turn", 0.3),)), "B+", "P1.wiper",
                "Q1.emitter", "Q1.collector", "Q2.base", "Q2.emitter", "Q2.collector")
    verdict = judged(PAIR.replace("Q2 npn", "Q2 npn silicon"), text)
    assert not [u for u in verdict.unknowns if u.what == "type"]
    assert not verdict.sound
