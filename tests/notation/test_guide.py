"""The reader's guide says what is so: its examples read, its tables are those at work."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from biaspredict.notation import read_readings, read_stage, reason
from biaspredict.notation.names import FAMILIES
from biaspredict.notation.vocabulary import _DIELECTRICS, KIND_WORDS, MATERIALS
from biaspredict.quantities import engineering

GUIDE = (Path(__file__).parents[2] / "grammar" / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"(?:^    .*\n|^\n(?=    ))+", GUIDE, flags=re.M)
SHOWN = [re.sub(r"^    ", "", block, flags=re.M).strip("\n") for block in BLOCKS]
# What the shorter examples take for granted.
AROUND = """stage "x"
rail B+ 22 V
Q1 npn
Q2 npn
Q101 npn
B+ -- R1 100K -- Q1.base -- OUT
IN -- R2 1K -- Q1.collector -- OUT-B
Q1.emitter -- R3 1K -- Q2.emitter
Q2.base -- R4 1K -- Q2.collector
Q2.emitter -- R101 1K -- Q101.base
"""


def shown(beginning: str) -> str:
    (found,) = [text for text in SHOWN if text.startswith(beginning)]
    return found


def test_the_first_stage() -> None:
    stage = read_stage(shown('stage "line amplifier'), "guide")
    assert [one.ref for one in stage.parts] == ["Q1", "Q2", "R1", "R2", "R3", "R4", "C2", "C1"]
    assert stage.points == (("3", "TP3"),)


@pytest.mark.parametrize(
    "beginning", ["test point 3", "chart volts 20% meter 11 MEG line", "assume", "other channel"]
)
def test_the_shorter_examples(beginning: str) -> None:
    read_stage(AROUND + shown(beginning), "guide")


def test_the_rails_ports_and_boxes() -> None:
    """The same rail and port stand there in several ways: each is read by itself."""
    around = AROUND.replace("rail B+ 22 V\n", "") + "Q1.emitter -- U1.5\nQ2.base -- U1.7\n"
    lines = shown("rail B+ 22 V 5%").splitlines()
    boxes = "\n".join(line for line in lines if line.startswith(("rail", "pin")))
    for line in lines:
        stage = read_stage(f"{around}{boxes}\n{'' if line in boxes else line}\n", "guide")
        assert len(stage.pins) == 2


def test_the_readings() -> None:
    text = shown("readings")
    stage = shown('stage "line amplifier')
    more = "Q2.collector -- OUT\nOUT -- R9 1K -- ground\nQ2.emitter -- R10 1K -- B+\n"
    book = read_readings(
        text, "guide", read_stage(f"{more}\n{stage}".split("\n", 3)[3] + "\n" + more)
    )
    assert len(book.entries) == 19
    assert book.drive == (0.01, 600.0, "IN")


def test_words_of_the_table_of_parts() -> None:
    table = GUIDE[GUIDE.index("| Kind |") : GUIDE.index("A reference is letters")]
    words = set(re.findall(r"`([a-z-]+)`", table))
    for word in (*_DIELECTRICS, *(w for found in MATERIALS.values() for w in found)):
        assert word in words, word
    for word in KIND_WORDS:
        known_by_another = {"inductor", "potentiometer", "transistor", "fet", "jfet"}
        assert word in words | known_by_another, word
    letters = set(
        re.findall(
            r"\b[A-Z]{1,2}\b", " ".join(r.split("|")[2] for r in table.splitlines()[2:] if "|" in r)
        )
    )
    assert letters == set(FAMILIES)


def test_the_table_of_ranges_is_the_one_at_work() -> None:
    table = GUIDE[GUIDE.index("| Value | Usual | Possible |") :].strip().splitlines()[2:]
    rows = []
    for found in vars(reason).values():
        if isinstance(found, reason.Reason):
            usual, possible = (
                f"{engineering(low, found.unit, 2)} to {engineering(high, found.unit, 2)}"
                for low, high in (found.usual, found.possible)
            )
            rows.append(f"| {found.what} | {usual} | {possible} |")
    assert table == rows


def test_the_guide_stays_within_its_width() -> None:
    for line in GUIDE.splitlines():
        assert len(line) <= 125 or line.startswith("|"), line
