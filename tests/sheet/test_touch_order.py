"""The order of the points, against the whole inference after each reading."""

from __future__ import annotations

from pathlib import Path

from biaspredict.notation.load import load_readings
from biaspredict.pipeline import suspect
from biaspredict.quantities import Unit, engineering
from tests.circuits.files import load
from tests.sheet.made import LINE, made, written


def test_each_next_point_is_what_the_inference_advises(tmp_path: Path) -> None:
    """After the rail has read as it should, and after the next point too.

    The order on paper takes the readings as independent of each other, the inference does not;
    for this stage they choose alike.
    """
    (sheet,) = made(LINE).sheets
    stage = load(LINE)
    lines = ['readings "as expected"', "meter 10 MEG 1% + 2 digits"]
    assert sheet.plan[0].touch.probe.node == "B+"
    for k in range(2):
        point = sheet.plan[k]
        assert point.expected is not None
        lines.append(f"{point.touch.probe.name} {engineering(point.expected, Unit.VOLT, 4)}")
        read = load_readings(written(tmp_path, "read.readings", lines), stage)
        advised = suspect(stage, read).splits[0].touch
        assert advised.probe.name == sheet.plan[k + 1].touch.probe.name


def test_points_beyond_enough_tell_next_to_nothing(tmp_path: Path) -> None:
    (sheet,) = made(LINE).sheets
    stage = load(LINE)
    lines = ['readings "as expected"', "meter 10 MEG 1% + 2 digits"]
    for point in sheet.plan[: sheet.enough]:
        assert point.expected is not None
        lines.append(f"{point.touch.probe.name} {engineering(point.expected, Unit.VOLT, 4)}")
    verdict = suspect(stage, load_readings(written(tmp_path, "read.readings", lines), stage))
    # what the sheet says at that line: sound, as far as DC can tell
    assert verdict.sound
    assert all(s.weight < 0.05 for s in verdict.ranking.suspects)
    volts = [s for s in verdict.splits if s.touch.probe.quantity.value == "volts"
             and not s.touch.probe.doing]
    assert all(split.gain < 0.05 for split in volts)
