"""The table of troubles, backward: from its volts to the fault.

Source and readings: see troubles.py. Three volts cannot tell every trouble from every other, so
what is asked is that the true one is among those that explain the readings best, and that what
stands first is it or gives the same volts.
"""

from __future__ import annotations

import pytest

from biaspredict.pipeline import load_readings, suspect
from tests.circuits.files import ROOT, load
from tests.published.troubles import TROUBLES, Trouble

STAGE = load(ROOT / "circuits" / "published" / "divider-10-volts.stage")
BY_NAME = {trouble.name: trouble for trouble in TROUBLES}
WRONG = [trouble for trouble in TROUBLES if trouble.mode is not None]

# Faults outside the table that give the row as well: an open base rests the transistor as R1 open
# does, and with either of two legs off no current flows.
ALIKE = {
    "transistor open": {("Q1", "base open"), ("Q1", "emitter open")},
    "RE open": {("Q1", "emitter open")},
    "RC open": {("Q1", "collector open")},
}


@pytest.mark.parametrize("trouble", WRONG, ids=lambda trouble: trouble.name)
def test_each_row_names_its_trouble(trouble: Trouble) -> None:
    verdict = suspect(STAGE, load_readings(trouble.readings, STAGE))
    assert not verdict.sound
    suspects = verdict.ranking.suspects
    alike = {BY_NAME[name].mode for name in trouble.cannot_tell} | ALIKE.get(trouble.name, set())
    first = tuple(fault.key for fault in suspects[0].faults)
    assert len(first) == 1
    assert first[0] == trouble.mode or first[0] in alike
    best = {s.faults[0].key for s in suspects if s.group == 1 and len(s.faults) == 1}
    assert trouble.mode in best


def test_the_sound_row_is_called_sound() -> None:
    verdict = suspect(STAGE, load_readings(BY_NAME["none"].readings, STAGE))
    assert verdict.sound
    assert verdict.ranking.sound > 0.9
