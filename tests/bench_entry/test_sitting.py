"""A sitting: the order of what is asked, what goes into the log, leaving and going on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from biaspredict import pipeline
from biaspredict.bench.sitting import Sitting
from biaspredict.errors import InputError
from biaspredict.infer.progress import State
from biaspredict.infer.splits import label_of
from biaspredict.infer.verdict import Verdict
from biaspredict.model.log import Verb
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage
from biaspredict.notation import read_stage
from biaspredict.notation.history import as_logged
from biaspredict.notation.log_writer import LogWriter
from biaspredict.notation.logbook import load_log
from tests.heard import flat

STAGE = """stage "line amplifier"
rail B+ 22 V 5%
assume resistors 10%
Q1 npn silicon gain 80..300
B+ -- R1 220K -- Q1.base -- R2 47K -- ground
B+ -- R3 4.7K -- Q1.collector
Q1.emitter -- R4 1K -- ground
Q1.emitter -- +C3 50 MFD 6V -- ground
"""


def unanswered(stage: Stage, readings: Readings) -> Verdict:
    raise InputError("no answer today", remedy="Ask again.")


@pytest.fixture
def clock() -> Callable[[], datetime]:
    now = iter(datetime(2026, 11, 20, 19, 0) + timedelta(seconds=k) for k in range(100_000))
    return lambda: next(now)


@pytest.fixture
def sit(
    tmp_path: Path, clock: Callable[[], datetime]
) -> Iterator[Callable[..., Sitting]]:
    """Sits down with the stage, again and again on one log."""
    stage = read_stage(STAGE, "line.stage")
    writers: list[LogWriter] = []

    def down(judge: Callable[[Stage, Readings], Verdict] | None = None) -> Sitting:
        while writers:
            writers.pop().close()
        writers.append(LogWriter(tmp_path / "set.log", stage.title, clock()))
        return Sitting(
            stage, "line.stage", writers[-1],
            judge or (lambda now, read: pipeline.suspect(now, read, soon=True)), clock,
        )

    yield down
    while writers:
        writers.pop().close()


def state_of(sitting: Sitting) -> State:
    return sitting.state


def entries(sitting: Sitting) -> list[tuple[Verb, str]]:
    return [(e.verb, e.body) for e in load_log(sitting.writer.path).standing]


def test_ohms_before_power_then_rails_then_as_advised(sit: Callable[..., Sitting]) -> None:
    """The order of the trade (common practice, no source), cautions at the step they belong to."""
    sitting = sit()
    first = "\n".join(sitting.begin().said)
    assert "pull the plug" in first
    assert "discharge" in first
    assert sitting.prompt == "ohms B+ > "
    second = "\n".join(sitting.take("2.1k").said)
    assert (Verb.NOTED, "ohms B+ 2.1k") in entries(sitting)  # the rest of the set hangs there
    assert "One hand" in second
    assert "discharge" not in second
    assert sitting.prompt == "rail B+ > "
    third = "\n".join(sitting.take("21,8").said)
    assert sitting.asked is not None
    assert sitting.asked.split is not None
    assert sitting.asked.powered
    assert "One hand" not in third  # said once, while the power stays on
    assert [r.value for r in sitting.readings.entries] == [21.8]


def test_a_short_at_the_rail(sit: Callable[..., Sitting]) -> None:
    sitting = sit()
    sitting.begin()
    assert "Do not switch on" in "\n".join(sitting.take("12").said)


def test_a_planted_fault_is_found_repaired_and_rechecked(sit: Callable[..., Sitting]) -> None:
    """R2 doubled to 94k: by the divider, loaded by the base, the base stands near 4.8 V of 22."""
    sitting = sit()
    sitting.begin()
    for line in ("skip", "22.0", "Q1.base 4.83", "Q1.emitter 4.15", "Q1.collector 4.2"):
        said = "\n".join(sitting.take(line).said)
        assert all(len(row) <= 80 for row in said.splitlines()), said
    assert "Q1.collector 4.20 V: " in said
    assert "was " in said
    assert sitting.verdict is not None
    assert any("R2" in s.parts for s in sitting.verdict.ranking.suspects[:2])
    assert state_of(sitting) is State.SUSPECT
    # the repair, what was promised of it, and the recheck
    said = "\n".join(sitting.take("done R2 47K fitted").said)
    assert "the recheck" in said
    assert state_of(sitting) is State.REPAIRED
    promised = [body for verb, body in entries(sitting) if verb is Verb.PROMISED]
    assert len(promised) == 1
    name = promised[0].split(" is ")[0]
    assert sitting.prompt == f"{name} > "
    # what the sound stage reads there: 22 V over 220k and 47k is 3.87 V, less the base current's
    sound = {"Q1.base": "3.6", "Q1.emitter": "2.95", "Q1.collector": "8.4"}[name]
    assert "Rechecked" in "\n".join(sitting.take(sound).said)
    assert state_of(sitting) is State.RECHECKED
    sitting.take("undo")
    assert state_of(sitting) is State.REPAIRED
    assert "Not as promised" in "\n".join(sitting.take("7.7").said)
    assert state_of(sitting) is State.SUSPECT


def test_what_the_reading_asked_for_says_at_first_sight(sit: Callable[..., Sitting]) -> None:
    """It is there before the answer is asked for, and speaks of the reading just typed."""
    heard: list[str] = []

    def judge(stage: Stage, readings: Readings) -> Verdict:
        heard.append(sitting.first_sight if readings.entries else "no readings")
        return pipeline.suspect(stage, readings, soon=True)

    sitting = sit()
    sitting._judge = judge
    sitting.begin()
    for line in ("skip", "22.0", "4.83"):
        sitting.take(line)
    assert heard[-2] == ""  # a rail is asked for before anything is foreseen
    assert heard[-1].startswith("at first sight R2 "), heard[-1]
    assert sitting.verdict is not None
    (_, share) = heard[-1].removeprefix("at first sight ").split(", ")[0].split(maxsplit=1)
    full = sum(s.weight for s in sitting.verdict.ranking.suspects if label_of(s.parts) == ("R2",))
    assert float(share.rstrip(" %")) == pytest.approx(100 * full, abs=10)
    sitting.take("undo")
    assert heard[-1] == sitting.first_sight == ""


def test_left_and_resumed_is_the_same_sitting(sit: Callable[..., Sitting]) -> None:
    sitting = sit()
    sitting.begin()
    for line in ("skip", "meter 20 kohm/V range 10 V", "22.0", "skip", "quit"):
        step = sitting.take(line)
    assert step.over
    asked, readings = sitting.asked, sitting.readings
    again = sit()
    again.begin()
    assert again.readings == readings
    assert again.readings.skipped
    assert again.asked is not None
    assert asked is not None
    assert again.asked.begin == asked.begin
    assert not any(verb is Verb.STAGE for verb, _ in entries(again)[1:])


def test_undo_goes_back_step_by_step(sit: Callable[..., Sitting]) -> None:
    sitting = sit(unanswered)
    sitting.begin()
    for line in ("skip", "22", "Q1.base 2.6", "Q1.emitter 2", "undo", "undo"):
        sitting.take(line)
    assert [r.name for r in sitting.readings.entries] == ["B+"]
    sitting.take("undo")
    assert sitting.prompt == "rail B+ > "
    sitting.take("undo")
    assert sitting.prompt == "ohms B+ > "
    assert "nothing to take back" in "\n".join(sitting.take("undo").said)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("Q1.bass 3.1", "Did you mean Q1.base"),
        ("Q9.base 3.1", "no node"),
        ("Q1.base", "figure"),
        ("Q1.base 3.1, Q1.emitter 2.4", "one reading at a time"),
        ("Q1.base 31000000", "3"),
        ("3.1.1.1 V of what", "Not taken"),
        ("done R99 1K", "no part is called R99"),
        ("done C3 47 ohms", "C3"),
        ("done", "missing"),
        ("skip Q7.base", "no node"),
        ("meter elephant", "Not taken"),
        ("note", "missing"),
        ("Q1.base 3\x00.1", "Not taken"),
    ],
)
def test_what_is_not_understood_is_said_and_changes_nothing(
    sit: Callable[..., Sitting], line: str, said: str
) -> None:
    sitting = sit(unanswered)
    sitting.begin()
    sitting.take("skip")
    before, prompt = sitting.writer.path.read_bytes(), sitting.prompt
    answer = "\n".join(sitting.take(line).said)
    assert "Not taken" in answer
    assert said in answer
    assert sitting.writer.path.read_bytes() == before
    assert sitting.prompt == prompt


def test_a_leg_lifted_as_advised_is_typed_as_any_other_value(
    sit: Callable[..., Sitting],
) -> None:
    """The advice names the reading, its value alone is typed, and the leg goes back after it."""
    bench = sit()
    bench.begin()
    for line in ("5k", "22", "Q1.collector 12.44", "Q1.base 2.03", "Q1.emitter 1.37"):
        bench.take(line)
    asked = []
    while " with R3 lifted" not in bench.prompt:
        assert bench.prompt not in asked  # what was left out is not asked for again
        asked.append(bench.prompt)
        bench.take("skip")
    assert bench.prompt == "ohms across R3 with R3 lifted > "
    sound = "\n".join(bench.take("4.75k").said)
    assert "R3.1 to R3.2 with R3 lifted 4.75k ohm: ok" in sound
    assert "solder R3 back" in sound
    bench.take("undo")
    assert bench.prompt == "ohms across R3 with R3 lifted > "
    assert "HIGH" not in sound
    assert "HIGH" in "\n".join(bench.take("7.4k").said)
    assert bench.verdict is not None
    answer = [s.parts for s in bench.verdict.ranking.suspects]
    resumed = sit()
    resumed.begin()
    assert [r.meanwhile[0].text for r in resumed.readings.entries if r.meanwhile] == [
        "with R3 lifted"]
    assert resumed.verdict is not None
    assert [s.parts for s in resumed.verdict.ranking.suspects] == answer


def test_odd_readings_are_named_and_kept(sit: Callable[..., Sitting]) -> None:
    """30 V on a 22 V set, and a base 4 V above its emitter."""

    def late(stage: Stage, readings: Readings) -> Verdict:
        few = len(readings.entries) < 4
        return (unanswered if few else pipeline.suspect)(stage, readings)

    sitting = sit(late)
    sitting.begin()
    for line in ("skip", "22", "Q1.base 6.1", "Q1.emitter 2.1"):
        sitting.take(line)
    assert "beyond the 22.0 V that the rails can" in " ".join(
        "\n".join(sitting.take("Q1.collector 60").said).split())
    assert "V_BE of Q1 is 4.00 V" in "\n".join(sitting.take("more").said)
    assert [r.value for r in sitting.readings.entries] == [22.0, 6.1, 2.1, 60.0]


def test_readings_stay_when_no_answer_can_be_given(sit: Callable[..., Sitting]) -> None:
    sitting = sit(unanswered)
    sitting.begin()
    sitting.take("skip")
    assert "no answer today" in "\n".join(sitting.take("22").said)
    sitting.take("Q1.base 2.6")
    assert [r.value for r in sitting.readings.entries] == [22.0, 2.6]


def test_the_other_channel_at_the_bench(tmp_path: Path, clock: Callable[[], datetime]) -> None:
    stage = read_stage(STAGE + "other channel offset 100\nother channel Q1 = Q2\n", "x")
    with LogWriter(tmp_path / "set.log", stage.title, clock()) as writer:
        sitting = Sitting(stage, "line.stage", writer, unanswered, clock)
        sitting.begin()
        assert "the other channel's" in "\n".join(sitting.take("Q2.base 2.6").said)
        assert [r.name for r in sitting.readings.other] == ["Q2.base"]
        assert sitting.readings.entries == ()


LINES = st.one_of(
    st.text(max_size=40),
    st.sampled_from([
        "3.1", "~2,6", "over", "skip", "undo", "Q1.base 2.6", "rail B+ 21", "ohms R1.1 42k",
        "done R2 47K fitted", "done C3", "note x", "meter 20 kohm/V", "line 117 V", "help",
        "temperature 31 C", "skip Q1.base", "drop Q1.base to Q1.emitter 0.65", "generator 1 V",
    ]),
)


@settings(max_examples=60, deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(LINES, max_size=8))
def test_whatever_is_typed_the_log_stays_whole(
    tmp_path: Path, clock: Callable[[], datetime], typed: list[str]
) -> None:
    """No traceback, and the log always reads back to the sitting's own readings."""
    stage = read_stage(STAGE, "line.stage")
    path = tmp_path / "any.log"
    path.unlink(missing_ok=True)
    with LogWriter(path, stage.title, clock()) as writer:
        sitting = Sitting(stage, "line.stage", writer, unanswered, clock)
        sitting.begin()
        for line in typed:
            for text in sitting.take(line).said:
                assert all(len(row) <= 80 for row in text.splitlines())
        log = load_log(path)
        assert log.damage is None
        assert as_logged(log, stage)[1] == sitting.readings


def test_a_low_rail_is_not_renewed(sit: Callable[..., Sitting]) -> None:
    """What feeds it is put right, and it is read again: no part of the stage has failed."""
    bench = sit()
    bench.begin()
    bench.take("skip")
    said = "\n".join(bench.take("14").said)
    assert "putting right what feeds B+ answers all" in flat(said)
    assert "read B+ again" in flat(said)
    assert "renew" not in said
    assert bench.verdict is not None
    assert bench.verdict.fed == ("B+",)
