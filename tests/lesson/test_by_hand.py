"""The hand results against the books' own, each with the book's own simplification."""

from __future__ import annotations

from functools import cache

import pytest

from biaspredict import classroom
from biaspredict.predict.hand.beside import Beside
from biaspredict.predict.lesson import Lesson, hand_value
from biaspredict.report import teaching
from tests.circuits.files import ROOT, load
from tests.lesson.books import CASES, Case
from tests.lesson.taught import with_devices


def label(case: Case) -> str:
    gains = "".join(f" gain {gain:.0f}" for gain in case.gains.values())
    drops = "".join(f" V_BE {drop}" for drop in case.drops.values())
    return f"{case.number} {case.file}{gains}{drops}"


def test_every_published_bias_row_is_here() -> None:
    # The bipolar rows of the list of published checks up to D26.
    asked = {1, 2, 3, 4, 5, 6, 7, 9, 13, 14, 15, 16, 17, 19, 20, 22, 24, 25, 26}
    assert asked <= {int(case.number[1:]) for case in CASES}


@cache
def taught(place: int) -> Lesson:
    case = CASES[place]
    stage = load(ROOT / "circuits" / "published" / f"{case.file}.stage")
    return classroom.lesson(with_devices(stage, case.gains, case.drops), case.way)


@pytest.mark.parametrize("case", CASES, ids=label)
def test_the_book_is_met_by_its_own_way(case: Case) -> None:
    found = taught(CASES.index(case))
    assert not found.borrowed, "a published example is worked without looking at the solution"
    for figure in case.figures:
        hand = hand_value(found, figure.key)
        assert hand is not None, f"no step gives {figure.key}"
        assert hand == pytest.approx(figure.value, rel=0, abs=figure.allowed), (
            f"{figure.key}, {case.source}; allowed for: {figure.why}"
        )


@pytest.mark.parametrize("case", CASES, ids=label)
def test_what_is_left_out_is_said(case: Case) -> None:
    found = taught(CASES.index(case))
    page = teaching.page(found, ("bias",))
    said = "Left out throughout" in page
    assert said == (not (case.way.own and case.way.following and case.way.difference))
    # A step that is off by more than a hundredth says why.
    for line in found.lines:
        if isinstance(line, Beside) and line.solved is not None and not line.agrees:
            assert line.causes or line.step.notes, line.step.title


def test_the_short_cuts_stand_beside_the_full_way() -> None:
    # Malvino & Bates, chapter 8: without base current the divider gives 1.80 V, with it 1.78 V.
    # With IE = IC upwards from 10.73 uA times 100 in 1K: 1.773 V.
    found = classroom.lesson(load(ROOT / "circuits" / "published" / "divider-10-volts.stage"))
    row = next(cut for cut in found.nodes if cut.node == "Q1.base")
    quick, alike = row.short
    assert quick == pytest.approx(1.803, abs=0.0005)
    assert alike == pytest.approx(1.773, abs=0.0005)
    assert row.hand == pytest.approx(1.784, abs=0.0005)
