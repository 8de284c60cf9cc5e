"""A stage as a log has it: parts fitted, readings since, each with the meter that took it."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from biaspredict.errors import Mistakes
from biaspredict.infer.progress import Progress, State, next_step, progress
from biaspredict.model.log import Log, Verb
from biaspredict.model.stage import Stage
from biaspredict.notation import read_stage
from biaspredict.notation.history import as_logged, chapter_of, chapters, stage_body
from biaspredict.notation.logbook import entry_line, head_line, read_log, upto

START = datetime(2026, 11, 20, 19, 42)
STAGE = """stage "line amplifier"
rail B+ 22 V
Q1 npn silicon gain 80..300
B+ -- R1 220K -- Q1.base -- R2 47K -- ground
B+ -- R3 4.7K -- Q1.collector
Q1.emitter -- R4 1K -- ground
Q1.emitter -- +C3 50 MFD 6V -- ground
"""


@pytest.fixture
def stage() -> Stage:
    return read_stage(STAGE, "line.stage")


def log(*said: str) -> Log:
    """A log of these entries, a minute apart, from line 3 on."""
    lines = [head_line("hall mixer", START),
             entry_line(Verb.STAGE, stage_body("line amplifier", "line.stage"), START)]
    for k, text in enumerate(said):
        word, _, body = text.partition(" ")
        lines.append(entry_line(Verb(word), body, START + timedelta(minutes=k)))
    return read_log(("\n".join(lines) + "\n").encode(), "set.log")


def test_readings_and_conditions(stage: Stage) -> None:
    _, found = as_logged(
        log("with meter 10 MEG 1% + 2 digits", "with temperature 31 C", "read rail B+ 21.8",
            "advised Q1.base", "read Q1.base 2,6", "skip Q1.emitter", "noted ohms B+ 1.2k",
            "found sound 60 %", "note R3 looks cooked"),
        stage,
    )
    assert [(r.name, r.value) for r in found.entries] == [("B+", 21.8), ("Q1.base", 2.6)]
    assert found.skipped == ("Q1.emitter",)
    assert (found.celsius, found.meter.digits) == (31.0, 2)
    assert found.title == "hall mixer"
    assert found.day is not None
    assert found.day.isoformat() == "2026-11-20"


def test_each_reading_keeps_the_meter_that_took_it(stage: Stage) -> None:
    """A needle of 20 kohm/V on its 10 V range stands across the base with 200 kohm."""
    _, found = as_logged(
        log("read Q1.base 2.6", "with meter 20 kohm/V range 10 V", "read Q1.base 2.4",
            "with meter 11 MEG", "read Q1.base 2.6"),
        stage,
    )
    first, second, third = found.entries
    assert first.meter is not None
    assert first.meter.ohms == 10e6
    assert second.meter is not None
    assert second.meter.input_ohms(2.4) == pytest.approx(200e3)
    assert third.meter is None
    assert found.meter.ohms == 11e6


def test_what_is_taken_back_is_gone(stage: Stage) -> None:
    _, found = as_logged(
        log("read Q1.base 2.6", "read Q1.emitter 2.0", "undo 4", "read Q1.emitter 1.9"), stage
    )
    assert [r.value for r in found.entries] == [2.6, 1.9]


def test_a_repair_begins_the_readings_anew(stage: Stage) -> None:
    told = log(
        "with meter 20 kohm/V range 10 V", "with after 2 minutes", "read Q1.base 4.1",
        "fitted R2 47K", "fitted C3 100 MFD 10V", "read Q1.base 2.6",
    )
    now, found = as_logged(told, stage)
    assert [r.value for r in found.entries] == [2.6]
    assert found.fresh == ("R2", "C3")
    assert now.part("C3").now == pytest.approx(100e-6)
    assert stage.part("C3").now == pytest.approx(50e-6)
    assert found.meter.needle  # still on the bench
    assert found.minutes is None  # switched off meanwhile
    before, then = as_logged(upto(told, "5"), stage)
    assert before.part("C3").now == pytest.approx(50e-6)
    assert [r.value for r in then.entries] == [4.1]


def test_mistakes_name_their_place_in_the_log(stage: Stage) -> None:
    with pytest.raises(Mistakes) as caught:
        as_logged(log("read Q1.base 2.6", "read Q7.base 2.6"), stage)
    (mistake,) = caught.value.mistakes
    assert mistake.place is not None
    assert (mistake.place.file, mistake.place.line) == ("set.log", 4)
    assert mistake.place.column == len("2026-11-20 19:43:00 read ") + 1
    with pytest.raises(Mistakes) as caught:
        as_logged(log("fitted R9 1K", "fitted R2 1 MFD"), stage)
    assert [m.place and m.place.line for m in caught.value.mistakes] == [3, 4]


def test_stages_do_not_mix(stage: Stage) -> None:
    told = log("read Q1.base 2.6", 'stage "other one" in other.stage', "read Q1.base 9.9",
               'stage "LINE  amplifier"', "read Q1.emitter 2.0")
    assert [c.title for c in chapters(told)] == ["line amplifier", "other one"]
    assert chapter_of(told, stage).file == "line.stage"
    _, found = as_logged(told, stage)
    assert [r.value for r in found.entries] == [2.6, 2.0]


def state(*said: str) -> State:
    (found,) = (progress(c) for c in chapters(log(*said)))
    return found.state


def test_states() -> None:
    read, sick = "read Q1.base 4.1", "found suspect: R2 60 %, C1 20 %"
    promise = "promised Q1.base is 2.6 V from 2.4 V to 2.9 V"
    assert state("advised Q1.base") is State.UNREAD
    assert state(read) is State.READING
    assert state(read, "found sound 81 %") is State.SOUND
    assert state(read, sick) is State.SUSPECT
    assert state(read, sick, promise, "fitted R2") is State.REPAIRED
    assert state(read, sick, promise, "fitted R2", "read Q1.base 2.6", "kept Q1.base 2.6 V",
                 "found sound 70 %") is State.RECHECKED
    assert state(read, sick, promise, "fitted R2", "read Q1.base 4", "missed Q1.base 4 V",
                 sick) is State.SUSPECT
    assert state(read, sick, "undo 4", "undo 3") is State.UNREAD


def test_a_promise_is_owed_from_the_repair_to_the_recheck() -> None:
    def owed(*said: str) -> bool:
        return progress(chapters(log(*said))[0]).owed is not None

    promise = "promised Q1.base is 2.6 V from 2.4 V to 2.9 V"
    assert not owed("read Q1.base 4.1", promise)  # power went before the part was in
    assert owed("read Q1.base 4.1", promise, "fitted R2", "read Q1.emitter 2.0")
    assert not owed("read Q1.base 4.1", promise, "fitted R2", "kept Q1.base 2.6 V")


def test_order_of_the_work() -> None:
    """Ohms before power, rails before stages, one board at a time (common practice, no source)."""
    stages = ['stage "output stage" in out.stage', 'stage "line amplifier"']

    def following(*said: str) -> str:
        found: tuple[Progress, ...] = tuple(
            progress(c) for c in chapters(log(stages[0], *said))
        )
        return next_step(found)

    ohms = ["noted ohms B+ 900", stages[1], "did left out ohms B+"]
    assert following().startswith("Power off")
    assert "line amplifier" in following(ohms[0])
    rails = [*ohms, "read rail B+ 22", stages[0], "read rail B+ 22"]
    assert following(*ohms).startswith("Power on: the rails of line amplifier")
    assert following(*rails) == "Finish output stage before another board is begun."
    sound = [*rails, "found sound 90 %", stages[1], "found sound 90 %"]
    assert following(*sound) == "Every stage is sound or rechecked."
    assert next_step(()).startswith("Name the set's stages")
