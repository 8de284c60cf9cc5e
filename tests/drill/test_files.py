"""Drill files: what is written reads back, and every mistake is named with its line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from biaspredict.errors import InputError, Mistakes
from biaspredict.model.drill import Deed, Done, Drill
from biaspredict.notation.drills import is_drill, load_drill, read_drill, save_drill, write_drill

WHOLE = """
drill "line amplifier ""A"" # 2"     # a comment
stage "my folder/line.stage"
level 2
number 17
meter 20 kohm/V range 10 V
fault R2 opens

read Q1.base 2.03
read ohms across R3 4.65K
read across C1 over
named R1
gave up
"""


def test_a_whole_file() -> None:
    found = read_drill(WHOLE, "x.drill")
    assert found.title == 'line amplifier "A" # 2'
    assert found.stage == "my folder/line.stage"
    assert (found.level, found.number, found.fault) == (2, 17, "R2 opens")
    assert found.meter.ohms_per_volt == 20e3
    assert found.meter.range_volts == 10.0
    assert found.done == (
        Done(Deed.READ, "Q1.base", "2.03"), Done(Deed.READ, "ohms across R3", "4.65K"),
        Done(Deed.READ, "across C1", "over"), Done(Deed.NAMED, "R1"), Done(Deed.GAVE_UP),
    )


WORDS = st.text("ABab12 .", min_size=1, max_size=12).map(str.strip).filter(bool)
DEEDS = st.one_of(
    st.builds(Done, st.just(Deed.READ), WORDS, st.from_regex(r"[0-9.]{1,5}K?", fullmatch=True)),
    st.builds(Done, st.just(Deed.NAMED), st.from_regex(r"[A-Z]{1,2}[0-9]{1,2}", fullmatch=True)),
    st.builds(Done, st.just(Deed.GAVE_UP)),
)
DRILLS = st.builds(
    Drill, title=st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Zl", "Zp")),
                         min_size=1).filter(lambda t: t == t.strip()),
    stage=st.from_regex(r"[a-z#\"]{1,8}( [a-z]{1,4})?\.stage", fullmatch=True),
    level=st.integers(1, 3), number=st.integers(1, 10**9),
    fault=st.sampled_from(["", "R2 opens", "C1 leaks 68K"]),
    done=st.lists(DEEDS, max_size=5).map(tuple),
)


@given(DRILLS)
def test_what_is_written_reads_back(drill: Drill) -> None:
    drill = replace(drill, done=tuple(
        replace(done, text=" ".join(done.text.split())) for done in drill.done))
    text = write_drill(drill)
    back = read_drill(text, "x.drill")
    assert back == drill
    assert write_drill(back) == text


@pytest.mark.parametrize(("line", "fact", "remedy"), [
    ("levle 2", "begins no line of a drill", "Did you mean level?"),
    ("level 4", "'4' is not a level", "from 1 to 3"),
    ("level", "level what?", "behind level"),
    ("number -1", "not a number of a drill", "from 1 to"),
    ("number 99999999999999999999", "not a number of a drill", "from 1 to"),
    ("number 1e3", "not a number of a drill", ""),
    ("number \N{SUPERSCRIPT TWO}", "not a number of a drill", ""),
    ("read 5", "read what", "read Q1.base 2.03"),
    ("meter banana", "meter", ""),
    ("stage other.stage", "stage is said twice", "line 2"),
])
def test_each_mistake_has_its_line(line: str, fact: str, remedy: str) -> None:
    with pytest.raises(Mistakes) as told:
        read_drill(f'drill "a"\nstage a.stage\n{line}\n', "x.drill")
    (mistake,) = told.value.mistakes
    assert fact in mistake.fact
    assert remedy in mistake.remedy
    assert mistake.place is not None
    assert mistake.place.line == 3


def test_all_mistakes_come_together() -> None:
    with pytest.raises(Mistakes) as told:
        read_drill("level 9\nnumber x\n", "x.drill")
    assert len(told.value.mistakes) == 4  # two lines wrong, two lines missing


@given(st.text())
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        found = read_drill(text, "x.drill")
    except InputError:
        return
    assert found.title is not None


def test_a_drill_is_told_from_a_stage(tmp_path: Path) -> None:
    drill, stage = tmp_path / "a", tmp_path / "b"
    drill.write_text("# of today\n\ndrill \"x\"\nstage b\n", encoding="utf-8")
    stage.write_text('stage "drill"\n', encoding="utf-8")
    assert is_drill(drill)
    assert not is_drill(stage)
    with pytest.raises(InputError):
        is_drill(tmp_path / "none")


def test_a_write_that_fails_leaves_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "a.drill"
    drill = read_drill(WHOLE, str(path))
    save_drill(drill, path)
    before = path.read_text(encoding="utf-8")
    assert load_drill(path) == drill
    with pytest.raises(InputError):
        save_drill(drill, tmp_path / "no" / "a.drill")
    assert path.read_text(encoding="utf-8") == before
