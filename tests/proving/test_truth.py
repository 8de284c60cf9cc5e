"""The truth is itself held against worked bench cases before anything is judged by it.

The figures of stages A and G are of invented circuits, simulated once with ngspice 39 and plain
devices; richer devices at their own temperature may differ from them by a few percent.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from biaspredict.model.stage import GROUND, Stage
from tests.proving import adapter, faults, generate, meterman, truth
from tests.proving.adjusting import set_and_solved
from tests.proving.draws import Draws
from tests.proving.faults import Fault
from tests.proving.meterman import INSTRUMENTS, Point
from tests.proving.specimen import Specimen, write
from tests.proving.spice import Job, Runner
from tests.proving.truth import draw_specimen, solve

AMPLIFIER = Path(__file__).parents[2] / "circuits" / "split-rail-amplifier.stage"
STAGE_A = """stage "A"
rail B+ 22 V 5%
assume resistors 10%, electrolytics -10/+50%, temperature 25 C
Q1 npn silicon gain 80..300
P1 pot 50K at middle
IN -- P1.top
P1.bottom -- ground
P1.wiper -- C1+ 5 MFD 15V -- Q1.base
B+ -- R5 2.2K -- VA -- +C4 100 MFD 25V -- ground
VA -- R1 220K -- Q1.base -- R2 47K -- ground
VA -- R3 4.7K -- Q1.collector
Q1.emitter -- R4 1K -- ground
Q1.emitter -- +C3 50 MFD 6V -- ground
Q1.collector -- +C2 5 MFD 25V -- OUT
input IN from 600
output OUT into 47K
"""
STAGE_G = """stage "G"
rail B- -12 V 5%
Q1 pnp germanium gain 50..130 icbo 5 uA early 40 V
B- -- R1 22K -- Q1.base -- R2 4.7K -- ground
B- -- R3 1.5K -- Q1.collector
Q1.emitter -- R4 680 -- ground
"""


@pytest.fixture(scope="module")
def stage_a() -> Stage:
    return adapter.parse(STAGE_A)


def middle(stage: Stage) -> Specimen:
    return draw_specimen(stage, None)


def volts(runner: Runner, specimen: Specimen, *names: str) -> list[float]:
    (found,) = solve(runner, [specimen], check=True)
    assert found is not None
    return [found.volts[specimen.stage.node(n)] for n in names]


NODES_A = ("VA", "Q1.collector", "Q1.base", "Q1.emitter")
LEAK = Fault("electrolytic", "leak", "C1", 68e3, "ohm")
R1_HIGH = Fault("carbon", "drift up", "R1", 1.5, "times")
GAIN_40 = Fault("silicon", "low gain", "Q1", 40 / 150, "times")


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        (None, (17.58, 8.44, 2.63, 1.96)),
        (LEAK, (18.84, 12.44, 2.03, 1.37)),
        (R1_HIGH, (18.90, 12.51, 2.03, 1.37)),
        (GAIN_40, (18.75, 12.16, 2.09, 1.43)),
    ],
    ids=["sound", "C1 leaks", "R1 high", "low gain"],
)
def test_stage_a_reads_as_on_the_bench(
    runner: Runner, stage_a: Stage, fault: Fault | None, expected: tuple[float, ...]
) -> None:
    specimen = middle(stage_a)
    if fault is not None:
        specimen = faults.apply(specimen, fault)
    # The case: 0.02 of base-emitter volts and 3 % of current are the richer device's own.
    assert volts(runner, specimen, *NODES_A) == pytest.approx(expected, rel=0.03)


def test_stage_g_with_a_leaky_transistor(runner: Runner) -> None:
    stage = adapter.parse(STAGE_G)
    specimen = middle(stage)
    sound = volts(runner, specimen, "Q1.collector", "Q1.base", "Q1.emitter")
    assert sound == pytest.approx((-8.02, -2.02, -1.82), rel=0.03)
    sick = faults.apply(specimen, Fault("germanium", "icbo high", "Q1", 30.0, "times"))
    # 150 uA at 25 C; the can's own heat doubles it every 8 to 10 C, hence "at least".
    collector, base, emitter = volts(runner, sick, "Q1.collector", "Q1.base", "Q1.emitter")
    assert -6.9 < collector < -5.5
    assert base == pytest.approx(-2.55, rel=0.12)
    assert emitter == pytest.approx(-2.34, rel=0.12)


def test_sound_bands_are_those_of_healthy_parts(runner: Runner, stage_a: Stage) -> None:
    """With healthy 10 % parts, 5 % rail, gain 80-300: VA 7 %, B 13 %, E 17 %, C -35/+29 %."""
    rng = np.random.default_rng(3)
    found = solve(runner, [draw_specimen(stage_a, rng) for _ in range(150)])
    assert all(found)
    for node, low, high in (
        ("VA", 0.07, 0.07), ("Q1.base", 0.13, 0.13), ("Q1.emitter", 0.17, 0.17),
        ("Q1.collector", 0.35, 0.29),
    ):  # fmt: skip
        drawn = np.array([s.volts[node] for s in found if s is not None])
        bottom, half, top = np.percentile(drawn, (2.5, 50, 97.5))
        assert 0.6 * low < 1 - bottom / half < 1.3 * low, node
        assert 0.6 * high < top / half - 1 < 1.3 * high, node


def test_needle_meter_pulls_the_base_down(runner: Runner, stage_a: Stage) -> None:
    """20 kohm/V on 10 V, 200 kohm, pulls the base of stage A from 2.63 to 2.35."""
    (solved,) = solve(runner, [middle(stage_a)])
    assert solved is not None
    fixed = replace(INSTRUMENTS[3], ohms=200e3)
    base = [Point("Q1.base", "Q1.base")]
    ((loaded, _),) = meterman.loaded_volts(runner, solved, base, fixed) or [(0.0, 0.0)]
    assert loaded == pytest.approx(2.35, rel=0.02)


def test_node_sums_catch_a_wrong_point(runner: Runner, stage_a: Stage) -> None:
    deck = write(middle(stage_a))
    ((row,),) = runner.solve([Job(tuple(deck.lines), truth.reads(deck))])
    found = truth._unpack(deck, row)
    assert found is not None
    assert truth._adds_up(deck, found[0], found[1])
    for node in deck.numbers:
        if node != GROUND:
            moved = {**found[0], node: found[0][node] + 0.2}
            assert not truth._adds_up(deck, moved, found[1]), node


def test_an_unsolvable_deck_gives_nothing_and_the_next_one_works(runner: Runner) -> None:
    nonsense = Job(("r1 n1 0 1", "q1 n1 n2 n3 nomodel"), ("n1",))
    absent = Job(("v1 n1 0 5", "r1 n1 n2 1"), ("n1", "n7"))
    fine = Job(("v1 n1 0 5", "r1 n1 n2 1", "r2 n2 0 4"), ("n2",))
    assert runner.solve([nonsense, absent]) == [[None], [None]]
    ((row,),) = runner.solve([fine])
    assert row == pytest.approx((4.0,))


def test_two_resting_points_are_not_one(runner: Runner) -> None:
    """A latch has two; the truth must refuse to say which volts it has."""
    latch = adapter.parse(
        """stage "latch"
rail B+ 10 V 5%
Q1 npn silicon gain 200
Q2 npn silicon gain 200
B+ -- R1 4.7K -- Q1.collector -- R3 47K -- Q2.base
B+ -- R2 4.7K -- Q2.collector -- R4 47K -- Q1.base
Q1.emitter -- ground
Q2.emitter -- ground
"""
    )
    rng = np.random.default_rng(5)
    drawn = [draw_specimen(latch, rng) for _ in range(5)]
    for specimen, solved in zip(drawn, solve(runner, drawn, check=True), strict=True):
        if solved is not None:
            one, two = (solved.volts[f"Q{k}.collector"] for k in (1, 2))
            assert abs(one - two) > 1.0, "the balanced point of a latch is no resting point"
            assert specimen.ambient == solved.specimen.ambient


@pytest.mark.parametrize("kind", sorted(generate.KINDS))
def test_generated_stages_can_be_read_and_mostly_work(runner: Runner, kind: str) -> None:
    from tests.proving.study import biased

    working = 0
    for seed in range(12):
        stage = adapter.parse(generate.KINDS[kind](np.random.default_rng(seed)))
        (nominal,) = solve(runner, [middle(stage)], check=True)
        working += nominal is not None and biased(stage, nominal)
    assert working >= 6


def test_every_fault_of_the_catalogue_solves_or_is_refused(
    runner: Runner, stage_a: Stage
) -> None:
    """Each changes the deck, and none leaves a trace in the specimen it was made from."""
    from tests.proving.draws import Draws

    specimen = middle(stage_a)
    plain = write(specimen).lines
    (sound,) = solve(runner, [specimen])
    assert sound is not None
    draw = Draws(np.random.default_rng(1))
    sick = []
    for _, group, mode, part, lead in faults.options(stage_a):
        fault = faults.draw_fault(stage_a, (group, mode, part, lead), sound.volts, draw)
        sick.append(faults.apply(specimen, fault))
        assert write(sick[-1]).lines != plain, fault
    assert write(specimen).lines == plain
    solved = solve(runner, sick)
    assert sum(s is None for s in solved) == 0


def test_a_shorted_output_transistor_melts_its_fuse(runner: Runner) -> None:
    """And only that one: what flows then is next to nothing."""
    stage = adapter.parse(AMPLIFIER.read_text("utf-8"))
    sound = set_and_solved(runner, middle(stage), Draws(), check=True)
    assert sound is not None
    for ref, mode, gone in (("Q9", "c-e short", "F1"), ("Q10", "c-e short", "F2")):
        fault = Fault("silicon", mode, ref)
        (sick,) = solve(runner, [faults.apply(sound.specimen, fault)], check=True)
        assert sick is not None
        ohms = {f: sick.specimen.bodies[f].values["ohms"] for f in ("F1", "F2")}
        assert [f for f, value in ohms.items() if value > 1e9] == [gone]
        assert abs(sick.volts[stage.part(ref).node("emitter")]) < 1.0
    assert all(sound.specimen.bodies[f].values["ohms"] < 1.0 for f in ("F1", "F2"))
