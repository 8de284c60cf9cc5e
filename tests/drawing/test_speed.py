"""Time a person waits, as processor time, so that other work on the machine does not count."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from biaspredict.report.drawing.cache import known_layout
from biaspredict.report.drawing.draw import draw, lay_out
from tests.drawing.stages import EVERY, load, name_of, solved

BIG = [path for path in EVERY if 14 <= len(load(path).parts) <= 45]


@pytest.mark.slow
@pytest.mark.parametrize("path", BIG, ids=name_of)
def test_laying_out_takes_two_seconds_for_20_parts_and_five_for_40(path: Path) -> None:
    stage, volts = load(path), solved(path)
    before = time.process_time()
    lay_out(stage, volts)
    took = time.process_time() - before
    parts = len(stage.parts)
    assert took < (2.0 if parts <= 20 else 2.0 + 3.0 * (parts - 20) / 20)


@pytest.mark.slow
def test_a_known_layout_is_drawn_in_a_fifth_of_a_second(tmp_path: Path) -> None:
    path = max(EVERY, key=lambda one: len(load(one).parts))
    stage, volts = load(path), solved(path)
    known_layout(stage, volts, tmp_path)
    before = time.process_time()
    draw(stage, volts, layout=known_layout(stage, volts, tmp_path))
    assert time.process_time() - before < 0.2
