"""The table of slips provokes its own messages, and none speaks as a parser would."""

from __future__ import annotations

import re

import pytest

from biaspredict.errors import InputError
from biaspredict.notation import syntax
from biaspredict.notation.lines import cut
from biaspredict.notation.slips import SLIPS, STRANGE, Slip

READERS = {
    "stage": syntax.stage_statement,
    "figures": syntax.chart_figures,
    "readings": syntax.readings_statement,
}
EXAMPLES = [
    (slip, reader, text) for slip in SLIPS for reader in READERS for text in getattr(slip, reader)
]
# What a parser would say, and no bench does.
JARGON = re.compile(r"token|parse|syntax|lexer|grammar|terminal|\$END|[A-Z]{3,}_|EOF|regex|None")


def mistake(reader: str, text: str) -> InputError:
    lines, wrong = cut(text, "x.stage")
    assert not wrong
    with pytest.raises(InputError) as caught:
        READERS[reader](lines[0])
    return caught.value


@pytest.mark.parametrize(("slip", "reader", "text"), EXAMPLES, ids=lambda value: str(value)[:40])
def test_each_example_provokes_its_message(slip: object, reader: str, text: str) -> None:
    found = mistake(reader, text)
    assert isinstance(slip, Slip)
    assert found.remedy == slip.remedy
    before, _, after = slip.fact.partition("{found}")
    assert found.fact.startswith(before)
    assert found.fact.endswith(after)
    assert found.place is not None
    assert 1 <= found.place.column <= len(text) + 1
    assert not JARGON.search(str(found).replace(text, ""))


@pytest.mark.parametrize(
    ("text", "sign"),
    [
        ("R1 100K (carbon)", "("),
        ("R1 100K [carbon]", "["),
        ("R1 100K; R2 22K", ";"),
        ("Q1.base: 3.1", ":"),
        ("B+ - R1 100K - ground", "-"),
        ('stage "line amplifier', '"'),
        ("R1 100K carbon !", "!"),
        ("R1 % 100K", "%"),
        ("stage 'line amplifier'", "'"),
        ("Q1 .base", "."),
        ("R1 100K / x", "/"),
        ("R1 100K ) x", ")"),
        ("R1 100K ] x", "]"),
        ("stage \u201cline amplifier", "\u201c"),
    ],
)
def test_a_sign_that_means_nothing(text: str, sign: str) -> None:
    found = mistake("stage", text)
    assert (found.fact, found.remedy) == STRANGE[sign]
    assert found.place is not None
    assert text[found.place.column - 1] == sign


def test_every_strange_sign_is_tried() -> None:
    tried = "([;:-\"!%'./)]\u201c"
    assert set(tried) == set(STRANGE)
