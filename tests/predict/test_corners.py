"""Corners against node equations written out by hand, and what is withheld."""

from __future__ import annotations

import cmath
import math

import pytest

from biaspredict.errors import InputError, Unsolved
from biaspredict.model.stage import Stage
from biaspredict.predict.corners import Corner, Corners, corners
from biaspredict.predict.duties import Duty
from tests.predict.by_hand import DIVIDER, REFEREE, Divider, decibels, stage_of


@pytest.fixture(scope="module")
def found() -> Corners:
    return corners(stage_of(DIVIDER), REFEREE, square=2e3)


@pytest.fixture(scope="module")
def hand() -> Divider:
    return Divider()


def by_ref(found: Corners) -> dict[str, Corner]:
    return {corner.ref: corner for corner in found.corners}


def test_what_each_capacitor_sees(found: Corners, hand: Divider) -> None:
    for ref, corner in by_ref(found).items():
        assert corner.ohms == pytest.approx(hand.seen(ref), rel=1e-4)
        assert corner.hertz == pytest.approx(
            1.0 / (2.0 * math.pi * hand.seen(ref) * hand.farads[ref]), rel=1e-4
        )


def test_the_three_figures(found: Corners, hand: Divider) -> None:
    figures = found.figures
    own = {ref: 1.0 / (2.0 * math.pi * hand.seen(ref) * hand.farads[ref]) for ref in hand.farads}
    # C4 only holds the supply still: the gain without it is no smaller.
    assert figures.sum_hertz == pytest.approx(own["C1"] + own["C2"] + own["C3"], rel=1e-4)
    assert figures.exact_hertz == pytest.approx(hand.three_down(), rel=1e-4)
    total = own["C1"] + own["C2"] + own["C3"]
    assert by_ref(found)["C3"].share == pytest.approx(own["C3"] / total, rel=1e-4)


def test_gain_loss_and_phase(found: Corners, hand: Divider) -> None:
    figures = found.figures
    assert figures.gain == pytest.approx(hand.middle().real, rel=1e-4)
    assert hand.middle().real < 0.0
    at_20, middle = decibels([hand.gain(20.0), hand.middle()])
    assert figures.loss == pytest.approx(at_20 - middle, abs=1e-3)
    lead = math.degrees(cmath.phase(hand.gain(20.0) / hand.middle()))
    assert figures.lead == pytest.approx(lead, abs=0.01)


def test_tilt_against_the_sum_of_harmonics(found: Corners, hand: Divider) -> None:
    first, last = hand.square_top(2e3)
    assert found.figures.tilt == pytest.approx(2.0 * (first - last) / (first + last), rel=2e-3)


def test_each_alone(found: Corners, hand: Divider) -> None:
    for ref, corner in by_ref(found).items():
        others = dict.fromkeys(hand.farads, 10.0) | {ref: hand.farads[ref]}
        one, none = decibels([hand.gain(20.0, others), hand.middle()])
        assert corner.alone == pytest.approx(one - none, abs=1e-3)


def test_duties(found: Corners) -> None:
    assert {ref: corner.duty for ref, corner in by_ref(found).items()} == {
        "C1": Duty.COUPLING, "C2": Duty.COUPLING, "C3": Duty.BYPASS, "C4": Duty.DECOUPLING,
    }  # fmt: skip


def edited(*changes: tuple[str, str], more: str = "") -> Stage:
    text = DIVIDER
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return stage_of(text + more)


def test_a_miller_capacitor_is_no_bass_capacitor() -> None:
    found = corners(edited(more="Q1.collector -- C7 100 PF ceramic -- Q1.base\n"), REFEREE)
    miller = by_ref(found)["C7"]
    assert (miller.duty, miller.bass, miller.share) == (Duty.MILLER, False, None)
    # Textbook: the base sees the capacitance times 1 + gain; the corner is at some tens of kHz.
    assert miller.hertz is not None
    assert 1e4 < miller.hertz < 1e5
    # Two decades above 3 dB down it moves that by no more than a hundredth or so.
    assert found.figures.exact_hertz == pytest.approx(
        corners(edited(), REFEREE).figures.exact_hertz, rel=0.02
    )


def test_two_beside_each_other_have_one_corner() -> None:
    found = by_ref(corners(edited(("+C3 50 MFD", "+C3 30 MFD"),
                                  more="Q1.emitter -- +C8 20 MFD 6V -- ground\n"), REFEREE))
    alone = by_ref(corners(edited(), REFEREE))
    assert found["C3"].hertz == pytest.approx(alone["C3"].hertz, rel=1e-6)
    assert found["C3"].beside == ("C8",)
    shares = [found[ref].share for ref in ("C3", "C8")]
    assert shares.count(None) == 1  # counted once


def test_no_signal_crosses_a_capacitor_on_a_stiff_rail() -> None:
    found = by_ref(corners(edited(more="B+ -- +C9 100 MFD 25V -- ground\n"), REFEREE))
    assert not found["C9"].crossed
    assert found["C9"].hertz is None
    assert found["C9"].share is None


def test_a_shelf_has_no_three_decibels() -> None:
    """With 1K left unbypassed, the bypass of 100 ohms can only take a tenth of the gain."""
    split = (
        "Q1.emitter -- R4 1K -- ground\nQ1.emitter -- +C3 50 MFD 6V -- ground\n",
        "Q1.emitter -- R4 1K -- X -- R6 100 -- ground\nX -- +C3 50 MFD 6V -- ground\n",
    )
    found = corners(edited(split, ("C1+ 5 MFD", "C1+ 1000 MFD"), ("+C2 5 MFD", "+C2 1000 MFD")),
                    REFEREE)
    bypass = by_ref(found)["C3"]
    assert bypass.share is None
    # the emitter's own resistance stands in series with the kilohm
    assert bypass.most == pytest.approx(-20.0 * math.log10(1.1), abs=0.05)


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        (("input IN from 600\n", ""), InputError, "no input"),
        (("output OUT into 47K\n", ""), InputError, "no output"),
        (("R1 220K", "R1 10K"), Unsolved, "saturated"),
        (("R1 220K", "R1 10M"), Unsolved, "cut off"),
        (("-- +C2 5 MFD 25V -- OUT", "\nOUT -- C2 1 MFD film -- B+"), Unsolved, "no signal gets"),
    ],
)
def test_what_cannot_be_told_is_withheld(
    change: tuple[str, str], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        corners(edited(change), REFEREE)


def test_a_stage_without_capacitors() -> None:
    bare = """stage "bare"
rail B+ 20 V
B+ -- R1 10K -- IN -- R2 10K -- ground
IN -- OUT
input IN from 600
output OUT into 47K
"""
    with pytest.raises(InputError, match="no capacitor"):
        corners(stage_of(bare), REFEREE)


def test_an_oscillator_is_withheld() -> None:
    """Two stages in a row and a capacitor from the second collector back to the first base."""
    text = """stage "multivibrator at rest"
rail B+ 12 V
Q1 npn silicon gain 150
Q2 npn silicon gain 150
B+ -- R1 220K -- Q1.base -- R2 47K -- ground
B+ -- R3 4.7K -- Q1.collector
Q1.emitter -- R4 1K -- ground
Q1.collector -- +C1 10 MFD -- Q2.base
B+ -- R5 220K -- Q2.base -- R6 47K -- ground
B+ -- R7 4.7K -- Q2.collector
Q2.emitter -- R8 1K -- ground
Q2.collector -- +C2 10 MFD -- Q1.base
Q1.emitter -- +C3 100 MFD -- ground
Q2.emitter -- +C4 100 MFD -- ground
IN -- C5+ 1 MFD -- Q1.base
Q2.collector -- +C6 1 MFD -- OUT
input IN from 100K
output OUT into 47K
"""
    with pytest.raises(Unsolved, match="latches or oscillates"):
        corners(stage_of(text), REFEREE)
    with pytest.raises(InputError, match="no output is called X"):
        corners(stage_of(text), REFEREE, end="X")
