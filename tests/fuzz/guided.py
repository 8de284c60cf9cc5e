"""A fuzzer steered by what its inputs reach.

A text is changed at random; where the changed one runs through lines of the readers, or jumps
between lines, that none before did, it is kept and changed further (M. Zalewski's method, from
memory). Lines are watched by `sys.settrace`, in the project's readers only.
"""

from __future__ import annotations

import contextlib
import random
import signal
import sys
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import FrameType
from typing import Any

from tests.fuzz.targets import ROOT, Target

HANG = 1.0  # seconds that no input may take
STUCK = 10  # seconds after which it is stopped
WATCHED = tuple(str(ROOT / "biaspredict" / part) for part in (
    "notation", "quantities", "numerals", "tolerance", "units", "model"))
PLAIN = "".join(map(chr, range(32, 127)))
ODD = ["\t", "\n", "\r\n", "\0", "\x7f", "\u00b5", "\u03a9", "\u2014", "\ufeff", "\u200b", "\ud800",
       "\U0001f600", "\u0660", "\u00bd", "\u2028", "9" * 400, "(" * 200, " " * 300, "e308", "-0"]


@dataclass
class Run:
    """inputs: fed; taken: accepted. failures: (text, what), one of each place it failed at."""

    name: str
    inputs: int = 0
    taken: int = 0
    kept: int = 0
    reached: int = 0
    slowest: float = 0.0
    seconds: float = 0.0
    failures: list[tuple[str, str]] = field(default_factory=list)


class Hung(Exception):
    """An input that does not come to an end."""


def _timed(target: Target, text: str) -> float:
    start = time.perf_counter()
    with contextlib.suppress(Exception), _ended():
        target.feed(text)
    return time.perf_counter() - start


def run(target: Target, inputs: int, seed: int, watched: tuple[str, ...] = WATCHED) -> Run:
    """So many inputs to one target, steered by the lines of files whose paths begin so."""
    rng, found = random.Random(seed), Run(target.name)
    corpus, seen, places = list(target.seeds()), set[tuple[str, int, int]](), set[str]()
    words = sorted({word for text in corpus for word in text.split()})
    begun = time.perf_counter()
    for number in range(inputs):
        text = corpus[number] if number < len(corpus) else changed(rng, corpus, words)
        start = time.perf_counter()
        try:
            with _watched(seen, watched) as fresh, _ended():
                found.taken += target.feed(text)
        except Exception as problem:
            where = traceback.extract_tb(problem.__traceback__)[-1]
            place = f"{type(problem).__name__} at {where.name}, line {where.lineno}"
            if place not in places:
                places.add(place)
                found.failures.append((text, f"{place}: {problem}"))
        took = time.perf_counter() - start
        if took > HANG:  # on a busy machine once is no hang
            took = min(took, _timed(target, text))
        if took > HANG and "hang" not in places:
            places.add("hang")
            found.failures.append((text, f"took {took:.1f} s"))
        found.slowest = max(found.slowest, took)
        if fresh and number >= len(target.seeds()) and len(text) < 20_000:
            corpus.append(text)
            found.kept += 1
        found.inputs += 1
    found.reached, found.seconds = len(seen), time.perf_counter() - begun
    return found


def changed(rng: random.Random, corpus: list[str], words: list[str]) -> str:
    """One of the corpus with up to a few changes; newer ones more often."""
    newer = int(len(corpus) * (1.0 - rng.random() ** 2))
    text = corpus[min(newer, len(corpus) - 1)]
    for _ in range(1 + int(rng.expovariate(0.7))):
        text = _once(rng, text, corpus, words)
    return text


def _once(rng: random.Random, text: str, corpus: list[str], words: list[str]) -> str:
    start = rng.randint(0, len(text))
    stop = min(len(text), start + int(rng.expovariate(0.3)))
    match rng.randrange(9):
        case 0:
            put = rng.choice(PLAIN)
        case 1:
            put = rng.choice(ODD)
        case 2:
            put = rng.choice(words)
        case 3:
            put = " " + rng.choice(words) + " "
        case 4:
            put = ""
        case 5:
            put = str(rng.choice((0, 1, 10**rng.randint(0, 30), rng.randint(0, 999), -1, 0.1)))
        case 6:
            other = rng.choice(corpus)
            first = rng.randint(0, len(other))
            put = other[first : first + int(rng.expovariate(0.05))]
        case 7:
            lines = text.splitlines(keepends=True) or [""]
            k = rng.randrange(len(lines))
            others = rng.choice(corpus).splitlines(keepends=True) or [""]
            lines[k : k + rng.randint(0, 1)] = [rng.choice(others)]
            return "".join(lines)
        case _:
            put = text[start:stop] * 2
    return text[:start] + put + text[stop:]


@contextmanager
def _watched(
    seen: set[tuple[str, int, int]], files: tuple[str, ...]
) -> Iterator[set[tuple[str, int, int]]]:
    """Jumps between lines of these files that `seen` lacks, also put there."""
    fresh: set[tuple[str, int, int]] = set()

    def within(frame: FrameType, event: str, _: Any) -> Any:
        if not frame.f_code.co_filename.startswith(files):
            return None
        last = frame.f_lineno

        def line(frame: FrameType, event: str, _: Any) -> Any:
            nonlocal last
            if event == "line":
                jump = frame.f_code.co_name, last, frame.f_lineno
                if jump not in seen:
                    seen.add(jump)
                    fresh.add(jump)
                last = frame.f_lineno
            return line

        return line

    before = sys.gettrace()
    sys.settrace(within)
    try:
        yield fresh
    finally:
        sys.settrace(before)


@contextmanager
def _ended() -> Iterator[None]:
    def stop(*_: object) -> None:
        raise Hung(f"no end after {STUCK} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(STUCK)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
