"""Rectifier schemes told from the wiring."""

from __future__ import annotations

import pytest

from biaspredict.graph.checks import connectivity
from biaspredict.graph.supply import Scheme, mains
from tests.predict import supplies
from tests.predict.supplies import stage


@pytest.mark.parametrize(
    ("text", "feeds", "swinging"),
    [
        (supplies.HALF_WAVE, {"RAW": (Scheme.HALF_WAVE, True, ("D1",))}, {"A"}),
        (supplies.NEGATIVE, {"RAW": (Scheme.HALF_WAVE, False, ("D1",))}, {"A", "F1/T1"}),
        (supplies.BRIDGE, {"RAW": (Scheme.BRIDGE, True, ("D1", "D2"))}, {"A", "B"}),
        (
            supplies.BOTH_WAYS,
            {
                "V+": (Scheme.CENTRE_TAP, True, ("D1", "D2")),
                "V-": (Scheme.CENTRE_TAP, False, ("D3", "D4")),
            },
            {"A", "B"},
        ),
        (supplies.DOUBLER, {"TOP": (Scheme.DOUBLER, True, ("D1",))}, {"A"}),
        (supplies.CASCADE, {"TOP": (Scheme.DOUBLER, True, ("D1",))}, {"A", "W"}),
        (supplies.CHOKE, {"X": (Scheme.CENTRE_TAP, True, ("D1", "D2"))}, {"A", "B"}),
    ],
    ids=["half", "negative", "bridge", "both", "doubler", "cascade", "choke"],
)
def test_schemes(
    text: str, feeds: dict[str, tuple[Scheme, bool, tuple[str, ...]]], swinging: set[str]
) -> None:
    side = mains(stage(text))
    assert side is not None
    told = {f.node: (f.scheme, f.positive, f.rectifiers) for f in side.feeds if f.rectifiers}
    assert told == feeds
    assert side.swinging == swinging
    assert not side.driven


@pytest.mark.parametrize(
    "text",
    [
        "rail B+ 9 V\nB+ -- R1 1K -- ground\n",
        "rail B+ 9 V\nB+ -- R1 1K -- ground\n"
        "T1 winding 6.3 V 50 Hz 1 ohms\nground -- T1 -- A -- LA1 lamp 6.3 V 0.3 A -- ground\n",
        # a transformer for the signal has no volts of its own
        "rail B+ 9 V\nT1 winding 100 ohms\nB+ -- T1 -- A -- D1> -- ground\n",
    ],
    ids=["no winding", "lamp winding", "signal winding"],
)
def test_no_mains_side(text: str) -> None:
    assert mains(stage(text)) is None


def codes(text: str) -> set[str]:
    return {finding.code for finding in connectivity(stage(text))}


def test_a_winding_without_rectifier_is_told() -> None:
    text = "T1 winding 18 V 50 Hz 3 ohms\nground -- T1 -- A -- R1 330 -- ground\n"
    assert "no-rectifier" in codes(text)
    assert "no-rectifier" not in codes(supplies.HALF_WAVE)


def test_a_node_fed_twice_is_told() -> None:
    assert "rail-and-rectifier" in codes("rail RAW 15 V\n" + supplies.HALF_WAVE)
    assert "rail-and-rectifier" not in codes(supplies.HALF_WAVE)


def test_a_transistor_on_the_winding_is_told() -> None:
    text = supplies.HALF_WAVE + "Q1 npn\nA -- R2 10K -- Q1.base\nRAW -- R3 1K -- Q1.collector\n"
    side = mains(stage(text + "Q1.emitter -- ground\n"))
    assert side is not None
    assert side.driven == ("Q1",)
