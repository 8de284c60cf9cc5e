"""Symbols against the trade's convention (IEEE 315, IEC 60617; from memory)."""

from __future__ import annotations

from itertools import pairwise

import pytest

from biaspredict.model.devices import Channel, Polarity
from biaspredict.model.parts import Kind
from biaspredict.report.drawing.shapes import SIDE, reach_of
from biaspredict.report.drawing.symbols import Art, art, turned

TWO = [k.value for k in Kind if k not in (Kind.TRANSISTOR, Kind.FET, Kind.POT, Kind.TRIMMER)]
THREE = [
    Kind.POT.value,
    Kind.TRIMMER.value,
    *(p.value for p in Polarity),
    *(c.value for c in Channel),
]


def ends(a: Art) -> set[tuple[float, float]]:
    return {(round(s, 6), round(t, 6)) for stroke in a.strokes for s, t in (stroke[0], stroke[-1])}


@pytest.mark.parametrize("shape", [*TWO, *THREE, "switch closed"])
def test_strokes_reach_both_leads(shape: str) -> None:
    reach = reach_of(shape)
    assert {(0.0, -reach), (0.0, reach)} <= ends(art(shape))


@pytest.mark.parametrize("shape", THREE)
def test_strokes_reach_the_third_lead(shape: str) -> None:
    assert (SIDE, 0.0) in ends(art(shape))


def arrow(a: Art) -> tuple[tuple[float, float], tuple[float, float]]:
    """Tip of the arrowhead, and the middle of its back."""
    (head,) = a.fills
    (s1, t1), (s2, t2) = head[1], head[2]
    return head[0], ((s1 + s2) / 2, (t1 + t2) / 2)


@pytest.mark.parametrize(("shape", "outward"), [("npn", True), ("pnp", False)])
def test_the_arrow_is_on_the_emitter_and_points_out_of_an_npn(shape: str, outward: bool) -> None:
    # The arrow follows conventional current: out at the emitter of an NPN, in at that of a PNP.
    tip, back = arrow(art(shape))
    assert tip[1] > 0  # t runs from collector to emitter
    assert (tip[0] < back[0]) == outward  # s runs towards the base


@pytest.mark.parametrize(("shape", "inward"), [("n-channel", True), ("p-channel", False)])
def test_the_gate_arrow_points_to_an_n_channel(shape: str, inward: bool) -> None:
    tip, back = arrow(art(shape))
    assert (tip[0] < back[0]) == inward


@pytest.mark.parametrize("shape", ["diode", "zener"])
def test_a_diode_points_from_anode_to_cathode_where_its_bar_is(shape: str) -> None:
    a = art(shape)
    (triangle,) = a.fills
    peak = max(triangle, key=lambda point: point[1])
    assert peak[0] == 0
    assert sum(1 for point in triangle if point[1] < peak[1]) == 2
    bar = [stroke for stroke in a.strokes if len({t for _, t in stroke}) < len(stroke)]
    assert any(abs(t - peak[1]) < 1e-9 for stroke in bar for _, t in stroke)


def test_a_zener_bar_is_bent_and_a_diode_bar_is_not() -> None:
    assert [len(s) for s in art("zener").strokes].count(4) == 1
    assert all(len(s) == 2 for s in art("diode").strokes)


def test_an_electrolytic_has_its_sign_at_the_plus_and_its_curved_plate_at_the_minus() -> None:
    a = art("electrolytic")
    assert all(t > 0 for curve in a.curves for _, t in curve)
    off_axis = [s for s in a.strokes if all(p[0] < -0.1 for p in s)]
    assert len(off_axis) == 2  # the strokes of the sign
    assert all(t < 0 for stroke in off_axis for _, t in stroke)
    assert art("capacitor").curves == []


def test_a_resistor_zigzags() -> None:
    zigzag = max(art("resistor").strokes, key=len)
    sides = [s for s, _ in zigzag[1:-1]]
    assert len(sides) == 6
    assert all(a * b < 0 for a, b in pairwise(sides))


def test_an_open_switch_is_not_drawn_closed() -> None:
    assert art("switch").strokes != art("switch closed").strokes


def test_a_pot_has_an_arrow_at_its_wiper_and_a_trimmer_a_bar() -> None:
    tip, back = arrow(art("pot"))
    assert tip[0] < back[0]
    assert art("trimmer").fills == []


@pytest.mark.parametrize("along", ["down", "up", "left", "right"])
def test_turning_keeps_lengths(along: str) -> None:
    for side in (["left", "right"] if along in ("down", "up") else ["up", "down"]) + [""]:
        (a, b) = turned([(0, 0), (0.3, 0.4)], along, side)
        assert (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2 == pytest.approx(0.25)


def test_down_runs_from_the_first_lead_to_the_last_down_the_page() -> None:
    assert turned([(0, 1)], "down", "") == [(0, 1)]
    assert turned([(0, 1)], "left", "") == [(-1, 0)]
