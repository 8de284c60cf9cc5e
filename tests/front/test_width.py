"""Help and messages fit a terminal of 80 columns."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator

import pytest

from biaspredict.cli import main, parser
from biaspredict.errors import InputError, Mistakes
from biaspredict.report import words
from biaspredict.said import WIDTH, said
from biaspredict.span import Span

REMEDY = "Write the winding by its open-circuit volts and the rectifiers behind it, " * 3


def _parsers() -> Iterator[argparse.ArgumentParser]:
    whole = parser()
    yield whole
    for action in whole._actions:
        if isinstance(action, argparse._SubParsersAction):
            yield from action.choices.values()


def test_help_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    wide = [line for p in _parsers() for line in p.format_help().splitlines() if len(line) > WIDTH]
    assert wide == []


def test_a_message_is_broken_and_a_line_of_the_file_is_not() -> None:
    line = "B+ -- R1 100Q -- A" + " -- R2 1K -- B" * 3
    place = Span("a.stage", 3, 10, 14, line)
    problem = InputError("'100Q' is not a resistance: " + REMEDY, remedy=REMEDY, place=place)
    shown = said(Mistakes([problem, problem]))
    assert max(map(len, shown.splitlines())) <= WIDTH
    assert shown.count(line) == 2
    assert "".join(shown.split()) == "".join(f"{problem}\n{problem}".split())


def test_the_command_line_says_it_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["supply", "circuits/line-stage.stage"]) == 2
    told = capsys.readouterr().err
    assert "winding" in told
    assert max(map(len, told.splitlines())) <= WIDTH


def test_no_line_breaks_between_a_number_and_its_percent_sign() -> None:
    for length in range(60, 90):
        page = words.wrapped("x" * length + " R7 (12 %) and R8 (5 %)")
        assert not re.search(r"^%", page, re.M)
        assert "(12 %)" in page
        assert page.isascii()
