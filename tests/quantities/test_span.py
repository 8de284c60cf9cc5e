"""A place in a text, shown so that the eye finds it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from biaspredict.span import WINDOW, Span


def shown(text: str, column: int, end_column: int) -> tuple[str, str]:
    line, marks = Span("preamp.stage", 4, column, end_column, text).caret().split("\n")
    return line, marks


def marked(text: str, column: int, end_column: int) -> str:
    line, marks = shown(text, column, end_column)
    return line[marks.index("^") : len(marks)]


def test_place() -> None:
    assert Span("preamp.stage", 4, 7, 9).place() == "preamp.stage, line 4, column 7"
    assert Span("a\x1b[2Jb\n", 1, 1, 2).place() == "a?[2Jb?, line 1, column 1"


def test_caret_stands_under_the_word() -> None:
    assert shown("Q1.base -- R2 4m7", 15, 18) == ("Q1.base -- R2 4m7", " " * 14 + "^^^")


def test_no_line_no_caret() -> None:
    assert Span("x", 1, 1, 2).caret() == ""


def test_tabs_are_expanded_under_the_caret_too() -> None:
    line, marks = shown("\tR2\t4m7", 5, 8)
    assert line == "    R2  4m7"
    assert marks == " " * 8 + "^^^"


def test_wide_characters_keep_the_caret_in_place() -> None:
    line, marks = shown("\u97f3\u97f3 4m7", 4, 7)
    assert line == "\u97f3\u97f3 4m7"
    assert marks == " " * 5 + "^^^"


def test_long_lines_are_windowed_round_the_mark() -> None:
    text = "a" * 100 + "WRONG" + "b" * 100
    line, _ = shown(text, 101, 106)
    assert len(line) == WINDOW
    assert line.startswith("...a")
    assert line.endswith("b...")
    assert marked(text, 101, 106) == "WRONG"
    assert marked("WRONG" + "b" * 100, 1, 6) == "WRONG"
    assert marked("a" * 100 + "WRONG", 101, 106) == "WRONG"


def test_the_end_of_a_line_can_be_marked() -> None:
    assert shown("R1 100K --", 11, 11) == ("R1 100K --", " " * 10 + "^")
    for length in (70, 71, 72, 73, 200):
        _, marks = shown("a" * length, length + 1, length + 1)
        assert len(marks) <= WINDOW
        assert marks.endswith("^")


@given(
    text=st.text(max_size=300),
    column=st.integers(-5, 400),
    width=st.integers(-5, 400),
)
def test_any_line_shows_in_two_short_lines(text: str, column: int, width: int) -> None:
    caret = Span("x", 1, column, column + width, text).caret()
    if not caret:
        assert text.split("\n", 1)[0].rstrip("\r") == ""
        return
    line, marks = caret.split("\n")
    assert line.isprintable()
    assert len(line) <= WINDOW
    assert 1 <= len(marks) <= WINDOW
    assert set(marks.strip()) == {"^"}


@given(before=st.integers(0, 200), after=st.integers(0, 200), width=st.integers(1, 30))
def test_a_short_mark_is_always_shown_whole(before: int, after: int, width: int) -> None:
    text = "a" * before + "W" * width + "b" * after
    assert marked(text, before + 1, before + width + 1) == "W" * width


def test_a_hundred_thousand_characters() -> None:
    text = "a" * 50_000 + "W" + "b" * 50_000
    assert marked(text, 50_001, 50_002) == "W"
