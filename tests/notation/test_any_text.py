"""No text at all brings a reader down: it is read, or refused with places and remedies."""

from __future__ import annotations

import re
from pathlib import Path

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from biaspredict.errors import InputError, Mistakes
from biaspredict.notation import parse_entry, read_readings, read_stage

GUIDE = (Path(__file__).parents[2] / "grammar" / "README.md").read_text(encoding="utf-8")
STAGE_TEXT = re.sub(
    r"^    ", "", GUIDE[GUIDE.index("    stage ") : GUIDE.index("Put a finger")], flags=re.M
)
READINGS_TEXT = re.sub(
    r"^    ", "", GUIDE[GUIDE.index("    readings ") : GUIDE.index("- `line`, `temp")], flags=re.M
)
STAGE = read_stage(STAGE_TEXT)
WORDS = [
    *sorted(set(re.findall(r"\S+", STAGE_TEXT + READINGS_TEXT))),
    "--", "+", "<", ">", "=", ",", "!", '"', "..", "to", "over", "about", "at", "1e9", "0", "-5",
    "99999999999999999999", "5 %", "R1/R2", "Q1.b", "Q1.", ".base", "TP1", "test point 1", "wire",
    "P1 pot", "T1 winding", "18 V at 1 A regulation 5%", "Z1>", "<D1", "+C1", "C1+", "R1.1",
    "input", "output", "pin", "holds", "takes", "other channel", "offset", "meter", "20 kohm/V",
    "+ 3 digits", "of range", "can", "fitted", "\t", "\u00b5F", "\u2014", "\ud7ff", "\U0001f600",
]  # fmt: skip
lines = st.lists(st.lists(st.sampled_from(WORDS), max_size=8).map(" ".join), max_size=8)
soups = st.one_of(
    st.text(max_size=200),
    lines.map("\n".join),
    lines.map(lambda made: "\n".join(['stage "x"', *made])),
    lines.map(lambda made: "\n".join(['readings "x"', *made])),
)


@st.composite
def damaged(draw: st.DrawFn, text: str) -> str:
    """A good text with a stretch taken out and something else put in."""
    start = draw(st.integers(0, len(text)))
    end = min(len(text), start + draw(st.integers(0, 12)))
    return text[:start] + draw(st.sampled_from(WORDS) | st.text(max_size=3)) + text[end:]


def check(problem: InputError, text: str) -> None:
    found = problem.mistakes if isinstance(problem, Mistakes) else (problem,)
    assert found
    assert str(problem)
    for mistake in found:
        assert mistake.fact
        if mistake.place is not None:
            assert 1 <= mistake.place.line <= len(re.split(r"\r\n|\n|\r", text))
            assert 1 <= mistake.place.column <= len(mistake.place.text) + 1


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(soups | damaged(STAGE_TEXT))
@example('stage "x"\nA -- R1 1K -- R1/R1')
@example('stage "x"\nR1.1 -- R1 1K -- R1.2\nR1/R2 = A')
@example('stage "x"\nchart volts\n  x')
@example('stage "x"\n-- \n--')
def test_any_text_as_a_stage(text: str) -> None:
    try:
        assert read_stage(text).title
    except InputError as problem:
        check(problem, text)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(soups | damaged(READINGS_TEXT))
def test_any_text_as_readings(text: str) -> None:
    try:
        read_readings(text, "x", STAGE)
    except InputError as problem:
        check(problem, text)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.text(max_size=40) | st.lists(st.sampled_from(WORDS), max_size=6).map(" ".join))
def test_any_text_at_the_bench(text: str) -> None:
    try:
        assert parse_entry(text, STAGE).name
    except InputError as problem:
        check(problem, text)
