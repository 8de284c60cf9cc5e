"""What is typed at the bench is what was meant."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from biaspredict.bench.typed import Act, Typed, read_typed


@pytest.mark.parametrize(
    ("line", "act", "text"),
    [
        ("3.1", Act.VALUE, "3.1"),
        ("3,1", Act.VALUE, "3,1"),
        (" 310m ", Act.VALUE, "310m"),
        ("~3.1", Act.VALUE, "~3.1"),
        ("about 3.1", Act.VALUE, "about 3.1"),
        ("-12.4", Act.VALUE, "-12.4"),
        ("-12V", Act.VALUE, "-12V"),
        (".47", Act.VALUE, ".47"),
        ("42.4k", Act.VALUE, "42.4k"),
        ("over", Act.VALUE, "over"),
        ("over 20M", Act.VALUE, "over 20M"),
        ("3.1 range 10 V drifting", Act.VALUE, "3.1 range 10 V drifting"),
        ("Q1.base 3.1", Act.READING, "Q1.base 3.1"),
        ("-12V 11.8", Act.READING, "-12V 11.8"),
        ("overload 3", Act.READING, "overload 3"),
        ("ohms Q1.base 42k", Act.READING, "ohms Q1.base 42k"),
        ("skip", Act.SKIP, ""),
        ("skip Q1.base", Act.SKIP, "Q1.base"),
        ("UNDO", Act.UNDO, ""),
        ("done C1 10uF fitted", Act.DONE, "C1 10uF"),
        ("done C1 10 uF 25V", Act.DONE, "C1 10 uF 25V"),
        ("done C1", Act.DONE, "C1"),
        ("meter 20 kohm/V range 10 V", Act.WITH, "meter 20 kohm/V range 10 V"),
        ("temperature 31 C", Act.WITH, "temperature 31 C"),
        ("note R9 looks cooked", Act.NOTE, "R9 looks cooked"),
        ("quit", Act.QUIT, ""),
        ("q", Act.QUIT, ""),
        ("?", Act.HELP, ""),
        ("", Act.NOTHING, ""),
        ("# a remark", Act.NOTHING, ""),
    ],
)
def test_lines(line: str, act: Act, text: str) -> None:
    assert read_typed(line) == Typed(act, text)


@given(st.text(max_size=60))
def test_any_text_is_taken_as_something(line: str) -> None:
    assert read_typed(line).act in Act
