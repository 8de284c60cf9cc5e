"""A few seconds of any text to every reader, and a fuzzer that sees what it should."""

from __future__ import annotations

import pytest

from tests.fuzz.guided import run
from tests.fuzz.targets import TARGETS, Target

QUICK = 1500  # inputs over all targets


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_no_text_brings_a_reader_down(target: Target) -> None:
    found = run(target, round(QUICK * target.share), seed=11)
    assert found.failures == []
    assert found.taken > 0


def test_every_good_text_is_taken() -> None:
    for target in TARGETS:
        if target.name not in ("values", "bench entries"):  # of which some are for one unit only
            assert all(map(target.feed, target.seeds())), target.name


def _picky(text: str) -> bool:
    if text[:1] == "b":
        taken = True
        if text[1:2] == "u":
            raise ValueError(taken)
    return bool(text)


@pytest.mark.parametrize(("watched", "failures"), [(__file__, 1), ("elsewhere", 0)])
def test_what_it_reaches_steers_it(watched: str, failures: int) -> None:
    """Two letters in a row by chance: one text in millions; one after the other: in thousands."""
    found = run(Target("picky", _picky, lambda: ["xx"], 1.0), 20_000, 3, (watched,))
    assert len(found.failures) == failures


def test_a_traceback_a_hang_and_a_misreading_are_failures() -> None:
    def slow(_: str) -> bool:
        import time

        time.sleep(1.01)
        return True

    def wrong(text: str) -> bool:
        assert text == "x", "read otherwise"
        return True

    assert "took 1.0 s" in run(Target("slow", slow, lambda: ["x"], 1.0), 1, 1).failures[0][1]
    assert "read otherwise" in run(Target("wrong", wrong, lambda: ["y"], 1.0), 1, 1).failures[0][1]
