"""Faults that blow a fuse: told together with it, and where the fuse goes by Ohm's law."""

from __future__ import annotations

import pytest

from biaspredict import pipeline
from biaspredict.engine.batch import Batch
from biaspredict.infer.faults import Fault, catalogue
from biaspredict.infer.fuses import BLOWS, as_met, known_faults
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.supposition import Supposed
from biaspredict.model.stage import Stage
from biaspredict.predict.observe import Predictor
from biaspredict.report.accusing import fuse_caution, repair
from tests.infer.stages import DIVIDER, readings, stage

BOARD = """
stage "a driver behind its fuse"
rail B+ 40 V 5%
Q1 npn silicon gain 60..200
B+ -- F1 {amps} -- HT
HT -- R1 10K -- Q1.base -- R2 1.5K -- ground
HT -- R3 470 2 W -- Q1.collector
Q1.emitter -- R4 100 -- ground
HT -- +C1 1000 MFD 50V -- ground
IN -- C2+ 10 MFD 25V -- Q1.base
input IN from 1K
"""
TWO = """
stage "one fuse behind another"
rail B+ 20 V 5%
B+ -- F1 {first} -- MAIN -- F2 {second} -- HT
MAIN -- R1 1K -- ground
HT -- R2 1K -- ground
HT -- +C1 100 MFD 25V -- ground
"""
SPLIT = """
stage "a bridge between two rails"
rail V+ 20 V 5%
rail V- -20 V 5%
V+ -- F1 250mA -- P
V- -- F2 250mA -- N
P -- R1 1K -- ground
N -- R2 1K -- ground
P -- +C1 100 MFD 50V -- N
"""


def _known(text: str) -> dict[tuple[str, str], list[Fault]]:
    found: dict[tuple[str, str], list[Fault]] = {}
    for fault in known_faults(Predictor(stage(text), Batch()), standard_priors()):
        found.setdefault(fault.key, []).append(fault)
    return found


def _suspects(of: Stage, text: str) -> dict[str, float]:
    ranking = pipeline.suspect(of, readings(text, of)).ranking
    return {suspect.words: suspect.weight for suspect in ranking.suspects}


def test_a_stage_without_a_rated_fuse_has_its_catalogue() -> None:
    for text in (DIVIDER, BOARD.format(amps="0.5 ohm")):
        predictor = Predictor(stage(text), Batch())
        known = known_faults(predictor, standard_priors())
        assert [f.words for f in known] == [
            f.words for f in catalogue(predictor.stage, standard_priors())]


def test_a_dead_board_is_the_fuse_or_what_blew_it() -> None:
    """A fuse blows for a reason (common practice, no source)."""
    of = stage(BOARD.format(amps="500mA"))
    verdict = pipeline.suspect(of, readings("rail B+ 40.3\nHT 0.0", of))
    first = {s.words: s.parts for s in verdict.ranking.suspects if s.group == 1}
    assert first["F1 is open"] == ("F1",)
    assert first["C1 is shorted, and has blown F1"] == ("C1", "F1")
    assert not verdict.settled
    assert verdict.splits[0].touch.words.startswith("ohms across C1, power off")
    assert fuse_caution(verdict) is not None
    found = _suspects(of, "rail B+ 40.3\nHT 0.0\nohms HT to ground 1.5")
    assert found["C1 is shorted, and has blown F1"] > 0.9
    told = pipeline.suspect(of, readings("rail B+ 40.3\nHT 0.0\nohms HT to ground 1.5", of))
    assert repair(told) == "renewing C1 and F1"
    assert max(_suspects(of, "rail B+ 40.3\nHT 0.0\nohms HT to ground 10.5K").items(),
               key=lambda item: item[1])[0] == "F1 is open"


def test_no_fuse_no_caution() -> None:
    of = stage(DIVIDER)
    assert fuse_caution(pipeline.suspect(of, readings("Q1.collector 19", of))) is None


@pytest.mark.parametrize("amps", [0.02, 0.025, 0.03])
def test_a_leak_blows_the_fuse_from_where_ohms_law_says(amps: float) -> None:
    """R1 takes 10 mA; the leak takes the rest of 2.1 times the rating at 100 V."""
    leaks = _known(
        f'stage "a reservoir"\nrail B+ 100 V 5%\nB+ -- F1 {1000 * amps:g}mA -- HT\n'
        "HT -- R1 10K 5 W -- ground\nHT -- +C1 100 MFD 150V -- ground\n"
    )["C1", "leak"]
    (whole,) = [f for f in catalogue(stage(DIVIDER), standard_priors()) if f.key == ("C1", "leak")]
    assert [leak.blown for leak in leaks] == [("F1",), ()]
    assert sum(leak.chance for leak in leaks) == pytest.approx(whole.chance)
    assert (leaks[0].least, leaks[1].most) == (whole.least, whole.most)
    assert leaks[0].most == pytest.approx(leaks[1].least)
    limit = 100.0 / (BLOWS * amps - 0.01)
    assert leaks[1].least is not None
    assert leaks[1].least / 2.2 < limit < leaks[1].least * 2.2  # a cell is a third of a decade


def test_of_two_fuses_in_line_the_weaker_goes() -> None:
    for first, second, gone in (("2A", "250mA", ("F2",)), ("250mA", "2A", ("F1",))):
        (short,) = _known(TWO.format(first=first, second=second))["C1", "short"]
        assert short.blown == gone
    (short,) = _known(TWO.format(first="250mA", second="250mA"))["C1", "short"]
    assert short.blown == ("F1", "F2")


def test_a_bridge_between_rails_takes_both_fuses() -> None:
    (short,) = _known(SPLIT)["C1", "short"]
    assert short.blown == ("F1", "F2")
    assert short.words == "C1 is shorted, and has blown F1 and F2"


def test_a_supposed_fault_at_one_degree() -> None:
    predictor = Predictor(stage(BOARD.format(amps="500mA")), Batch())
    (leak,) = _known(BOARD.format(amps="500mA"))["C1", "leak"]
    assert as_met(predictor, Supposed(leak, 68e3)).fault.blown == ()
    assert as_met(predictor, Supposed(leak, 10.0)).fault.blown == ("F1",)


def test_the_proof_reads_fuses() -> None:
    from biaspredict.predict.strain import strain
    from tests.predict.solved import solved

    def codes(text: str) -> set[str]:
        return {f.code for f in strain(stage(text), solved(stage(text)))}

    assert codes(BOARD.format(amps="500mA")) == set()
    assert codes(BOARD.format(amps="20mA")) == {"above-fuse"}
    assert codes(BOARD.format(amps="0.5 ohm")) == {"fuse-not-rated"}
