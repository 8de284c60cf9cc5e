"""What is fed with any text, and what must hold of whatever is accepted.

A reader takes a text or refuses it with its own error; anything else is a failure. What it takes
is written out and read again: the same must come back.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path

from biaspredict.errors import InputError
from biaspredict.model.log import Verb
from biaspredict.model.stage import Stage
from biaspredict.notation import (
    parse_entry,
    read_readings,
    read_stage,
    write_readings,
    write_stage,
)
from biaspredict.notation.change import read_change
from biaspredict.notation.drills import read_drill, write_drill
from biaspredict.notation.history import as_logged, chapters
from biaspredict.notation.logbook import entry_line, head_line, read_log
from biaspredict.quantities import parse_value, value_text
from biaspredict.tolerance import parse_tolerance
from biaspredict.units import Unit, ValueReadError

ROOT = Path(__file__).parents[2]
REFUSED = (InputError, ValueReadError)
THEN = datetime(2026, 11, 20, 19, 42)
# A number is a number in every unit: what reads in one must read back in that one.
UNITS = (Unit.OHM, Unit.FARAD, Unit.VOLT, Unit.AMPERE, Unit.HERTZ, Unit.HENRY, Unit.SECOND)


@dataclass(frozen=True, slots=True)
class Target:
    """`feed` says whether the text was taken; it raises where something is wrong. seeds: good
    texts to begin with. share: of the inputs of a run."""

    name: str
    feed: Callable[[str], bool]
    seeds: Callable[[], list[str]]
    share: float


@cache
def guide() -> Stage:
    """The stage of the notation's guide, which has a part of nearly every kind."""
    return read_stage(guide_texts()[0])


@cache
def guide_texts() -> tuple[str, str]:
    """The stage and the readings of the guide."""
    text = (ROOT / "grammar" / "README.md").read_text("utf-8")
    ends = (("    stage ", "Put a finger"), ("    readings ", "- `line`, `temp"))
    stage, readings = (
        re.sub(r"^    ", "", text[text.index(a) : text.index(b)], flags=re.M) for a, b in ends
    )
    return stage, readings.replace("OUT", "TP3")  # the guide's stage has no output


def value(text: str) -> bool:
    taken = False
    for unit in UNITS:
        try:
            found = parse_value(text, unit)
        except ValueReadError:
            continue
        taken = True
        again = parse_value(value_text(found, unit), unit)
        assert again == found, f"{text!r} in {unit}: {found!r}, again {again!r}"
    return taken


def tolerance(text: str) -> bool:
    try:
        found = parse_tolerance(text)
    except ValueReadError:
        return False
    again = parse_tolerance(found.text())
    assert again == found, f"{text!r}: {found}, again {again}"
    return True


def entry(text: str) -> bool:
    try:
        found = parse_entry(text, guide())
    except InputError:
        return False
    book = replace(read_readings('readings "x"\n', "x", guide()), entries=(found,))
    again = read_readings(write_readings(book), "again", guide()).entries
    assert again == (found,), f"{text!r}: {found}, again {again}"
    return True


def change(text: str) -> bool:
    try:
        found = read_change(guide(), text)
    except InputError:
        return False
    assert found.after.ref == found.before.ref
    return True


def readings(text: str) -> bool:
    try:
        found = read_readings(text, "x", guide())
    except InputError:
        return False
    again = read_readings(write_readings(found), "again", guide())
    assert again == found, f"{found}\nagain {again}"
    return True


def stage(text: str) -> bool:
    try:
        found = read_stage(text)
    except InputError:
        return False
    again = read_stage(write_stage(found), "again")
    assert again == found, f"{found}\nagain {again}"
    return True


def drill(text: str) -> bool:
    try:
        found = read_drill(text, "x.drill")
    except InputError:
        return False
    again = read_drill(write_drill(found), "x.drill")
    assert write_drill(again) == write_drill(found)
    return True


def log(text: str) -> bool:
    """Lines typed by hand, which carry no check; every entry read is written and read again."""
    try:
        found = read_log(text.encode("utf-8", "surrogatepass"), "x.log")
    except InputError:
        return False
    lines, kept = [head_line(found.title, THEN)], []
    for e in found.entries:
        if e.body.isprintable():  # a tab typed by hand is read, but not written
            lines.append(entry_line(e.verb, e.body, e.when))
            kept.append((e.when, e.verb, e.body))
    again = read_log(("\n".join(lines) + "\n").encode(), "x.log")
    assert again.damage is None
    assert [(e.when, e.verb, e.body) for e in again.entries] == kept
    try:
        chapters(found)
        as_logged(found, guide())
    except InputError:
        return False
    return True


def _values() -> list[str]:
    found = re.findall(r"[0-9][0-9.,]*[A-Za-z%]*", "".join(guide_texts()))
    more = ["4R7", "6K8", "2M2", "4.7K", "100 uF", "0.1 MFD", "330 PF", "1e3", "-3,1", "~310m",
            "1/2 W", "+5", "2.2 Mohm", "50 MMF", "1.000", "1,000.5", "1 000", "0.00", "10 megohms"]
    return [*dict.fromkeys([*found, *more])]


def _entries() -> list[str]:
    of_guide = [line for line in guide_texts()[1].splitlines()[1:] if line.strip()]
    return [*of_guide, "Q1.base 2.6", "Q1.base to Q1.emitter 0.62", "ohms B+ 1.2k",
            "across R1 3,1", "Q1.collector about 8", "Q1.base 2.6 with Q1 warm",
            "ohms across R3 4.7k with R3 lifted"]


def _stages() -> list[str]:
    paths = sorted((ROOT / "circuits").glob("*.stage"))
    return [guide_texts()[0], *(path.read_text("utf-8") for path in paths)]


def _logs() -> list[str]:
    head, title = 'log "hall mixer" 2026-11-20', guide().title.replace('"', '""')
    bodies = [f'stage "{title}"', "with meter 10 MEG", "read Q1.base 2,6", "skip Q1.emitter",
              "fitted R3 4.7K", "note R3 looks cooked", "advised Q1.base", "found sound 60 %",
              "undone", *(f"{verb.value} x" for verb in Verb)]
    lines = [f"2026-11-20 19:{k:02} {body}" for k, body in enumerate(bodies)]
    return ["\n".join([head, *lines[:k], ""]) for k in range(1, len(lines) + 1)]


def _drills() -> list[str]:
    head = 'drill "line stage"\nstage line.stage\n'
    return [head + "level 2\nnumber 17\nmeter 20 kohm/V range 10 V\n",
            head + "fault R2 opens\nread Q1.base 3.1\n"]


TARGETS = (
    Target("values", value, _values, 0.56),
    Target("tolerances", tolerance, lambda: ["10%", "+-5%", "-10/+50%", "J", "gold"], 0.1),
    Target("bench entries", entry, _entries, 0.14),
    Target("changes", change, lambda: ["R3=4.7K", "C1=10uF 25V", "Q1=npn silicon gain 80"], 0.06),
    Target("readings", readings, lambda: [guide_texts()[1]], 0.03),
    Target("stages", stage, _stages, 0.03),
    Target("logs", log, _logs, 0.06),
    Target("drills", drill, _drills, 0.02),
)
