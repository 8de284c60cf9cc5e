"""Trimmers that were set for a reading: where they stand, and what a specimen that differs does."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from biaspredict import pipeline, replacing
from biaspredict.engine.batch import Batch
from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.errors import InputError
from biaspredict.model.circuit import SOUND
from biaspredict.model.stage import Stage
from biaspredict.notation import read_stage
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe
from biaspredict.predict.spread import axes

CIRCUITS = Path(__file__).parents[2] / "circuits"
DIVIDER = '''stage "divider"
rail B+ 10 V
B+ -- R1 1K 5% -- RV1.top
RV1 trimmer 2K
RV1.wiper -- R3 10M -- ground
RV1.bottom -- R2 500 5% -- ground
'''
AMPLIFIER = CIRCUITS / "split-rail-amplifier.stage"


def ready(text: str) -> Stage:
    return pipeline.fed(read_stage(text)).stage


def test_ohms_law_says_where_it_stands() -> None:
    """4 V of 10 V over 3.5 k: 1.4 k below the wiper, 900 ohm of them in the track of 2 k."""
    stage = ready(DIVIDER + "set RV1 for 4 V at RV1.wiper\n")
    assert stage.part("RV1").turn == pytest.approx(0.45, abs=2e-4)


def test_it_makes_up_for_what_differs() -> None:
    """From 0.4 (R1 + P + R2) = R2 + t P: per ln R1 the wiper goes up by 0.4 R1/P, per ln R2 down by
    0.6 R2/P. Source: the divider itself."""
    (setting,) = ready(DIVIDER + "set RV1 for 4 V at RV1.wiper\n").settings
    follows = dict(setting.follows)
    assert follows["R1.ohms"] == pytest.approx(0.4 * 1000 / 2000, rel=0.01)
    assert follows["R2.ohms"] == pytest.approx(-0.6 * 500 / 2000, rel=0.01)
    assert "B+.volts" not in follows  # the rail is today's


@pytest.mark.parametrize("place", ["across R2", "at RV1.bottom", "at RV1.bottom to ground"])
def test_every_way_to_say_it(place: str) -> None:
    stage = ready(DIVIDER.replace("RV1.wiper -- R3 10M -- ground", "RV1.wiper -- RV1.top")
                  + f"set RV1 for 2 V {place}\n")
    # 4 mA through R2, R1 and what is left of the track: 2500 ohm in all
    assert stage.part("RV1").turn == pytest.approx(0.5, abs=1e-3)


def test_what_cannot_be_had_is_said_with_its_range() -> None:
    with pytest.raises(InputError) as caught:
        ready(DIVIDER + "set RV1 for 9 V at RV1.wiper\n")
    assert "from end to end 1.43 V to 7.14 V" in caught.value.fact
    assert caught.value.place is not None


def test_two_that_work_on_each_other() -> None:
    stage = ready(
        'stage "two"\nrail B+ 10 V\nB+ -- RV1.top\nRV1 trimmer 5K\nRV1.wiper -- RV1.bottom -- A\n'
        "A -- R1 1K -- B\nB -- RV2.top\nRV2 trimmer 5K\n"
        "RV2.wiper -- RV2.bottom -- R2 1K -- ground\n"
        "set RV1 for 6 V at A\nset RV2 for 4 V at B\n"
    )
    # 2 V over R1 is 2 mA: 2 k of RV1 above A, 1 k of RV2 below B, by Ohm's law
    assert stage.part("RV1").turn == pytest.approx(0.6, abs=1e-3)
    assert stage.part("RV2").turn == pytest.approx(0.8, abs=1e-3)


def test_the_idle_current_spreads_as_set_and_not_as_drawn() -> None:
    """Specimens as set, against a wiper that stands where the middle one's does."""
    stage = pipeline.fed(pipeline.load_stage(AMPLIFIER)).stage
    set_for = pipeline.bias(stage)
    text = AMPLIFIER.read_text("utf-8").replace("set RV1 for 10 mV across R20\n", "")
    turn = stage.part("RV1").turn
    fixed = pipeline.bias(read_stage(text.replace("RV1 trimmer 1K", f"RV1 trimmer 1K at {turn}")))
    spans = []
    for found in (set_for, fixed):
        ends = [found.draws[:, found.order.index(n)] for n in ("TP2", "MID")]
        spans.append(np.quantile(ends[0] - ends[1], (0.025, 0.975)))
    assert 1e-3 < spans[0][0] < 10e-3 < spans[0][1] < 40e-3
    assert spans[1][1] - spans[1][0] > 3.0 * (spans[0][1] - spans[0][0])


def test_both_engines_follow_alike_and_so_do_the_slopes() -> None:
    stage = pipeline.fed(pipeline.load_stage(AMPLIFIER)).stage
    around, circuit = axes(stage), flatten(stage)
    assert any(axis.also for axis in around)
    rng = np.random.default_rng(3)
    amounts = 0.5 * rng.standard_normal((20, len(around))) * [axis.sigma for axis in around]
    many = [SOUND] * len(amounts)
    ranked, referee = (
        engine.solve(circuit, many, around, amounts) for engine in (Batch(), Ngspice())
    )
    assert ranked.solved.all()
    assert referee.solved.all()
    assert np.abs(ranked.volts - referee.volts).max() < 1e-3
    predictor = Predictor(stage, Batch(), around)
    probes = [Probe("MID"), Probe("TP2")]
    k = next(i for i, axis in enumerate(around) if axis.name == "R12.ohms")
    step = np.zeros((2, len(around)))
    step[:, k] = 1e-4, -1e-4
    seen = predictor.observe([SOUND] * 2, step, probes)
    slope = (seen.values[0] - seen.values[1]) / 2e-4
    assert seen.slopes[0, :, k] == pytest.approx(slope, rel=0.01, abs=1e-4)


def test_a_swap_leaves_the_trimmer_alone() -> None:
    """2.2 k for 1.8 k spreads the bases: the idle current runs up, and nobody has turned RV1."""
    found = replacing.swap(pipeline.load_stage(AMPLIFIER), ["R12=2.2K"])
    after = found.after.volts["TP2"] - found.after.volts["MID"]
    assert after > 80e-3


def test_it_stands_on_the_page_and_in_the_record(capsys: pytest.CaptureFixture[str]) -> None:
    from biaspredict.cli import main
    from tests.heard import flat

    assert main(["bias", str(AMPLIFIER)]) == 0
    assert "RV1 set for 10.0 mV across R20: its wiper stands at 48 % of the track" in flat(
        capsys.readouterr().out)


@pytest.mark.parametrize(("lines", "said"), [
    ("set RV1 for 4 V at B\nset RV2 for 4 V at B\n", "does not say where each of them stands"),
    ("set RV1 for 9 V at B\nset RV2 for 4 V at A\n", "no position of RV1 gives 9 V at B"),
    ("set RV1 for 4 V at A\nset RV2 for 9 V at B\n", "no position of RV2 gives 9 V at B"),
])
def test_two_that_cannot_be_set_are_told(lines: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        ready(
            'stage "two"\nrail B+ 10 V\nB+ -- R1 1K -- RV1.top\nRV1 trimmer 1K\n'
            "RV1.wiper -- RV1.bottom -- A -- RV2.top\nRV2 trimmer 1K\n"
            f"RV2.wiper -- RV2.bottom -- B -- R2 1K -- ground\n{lines}"
        )
