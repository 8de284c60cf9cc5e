"""A swap is what comes of editing the stage and predicting again; and what is said of it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from biaspredict.engine.batch import Batch
from biaspredict.errors import InputError, Unsolved
from biaspredict.model.stage import Stage
from biaspredict.notation import read_stage
from biaspredict.notation.change import read_changes
from biaspredict.predict.corners import corners
from biaspredict.predict.duties import decibels
from biaspredict.predict.swap import MARKS, Swap, on_the_shelf, swap
from biaspredict.predict.turn_on import turn_on
from biaspredict.predict.verdict_of_swap import dangerous, verdict
from biaspredict.series import series
from tests.circuits.files import DEMO, OURS, load
from tests.predict.by_hand import DIVIDER, REFEREE, solved, stage_of

DRAWER = Batch()


def swapped(stage: Stage, *texts: str) -> Swap:
    read = [(change.after, change.sure) for change in read_changes(stage, texts)]
    return swap(stage, read, REFEREE, DRAWER)


def named(name: str) -> Stage:
    return load(next(path for path in OURS if path.stem == name))


# --- the same as editing the file ----------------------------------------------------------------

LINES = {"C1": "5 MFD 15V", "C2": "5 MFD 25V", "C3": "50 MFD 6V", "R3": "4.7K", "R4": "1K"}
NUMBERS = st.sampled_from(series("E6"))
CHANGES = st.fixed_dictionaries(
    {},
    optional={
        "C1": st.tuples(NUMBERS, st.sampled_from([1.0, 10.0])),
        "C2": st.tuples(NUMBERS, st.sampled_from([0.1, 1.0, 10.0])),
        "C3": st.tuples(NUMBERS, st.sampled_from([1.0, 10.0, 100.0])),
        "R3": st.tuples(NUMBERS, st.just(1.0)),
        "R4": st.tuples(NUMBERS, st.just(0.1)),
    },
).filter(len)


@settings(max_examples=5, deadline=None)
@given(CHANGES)
def test_a_swap_is_an_edit(chosen: dict[str, tuple[float, float]]) -> None:
    same_as_edited(chosen)


@pytest.mark.slow
@settings(max_examples=100, deadline=None)
@given(CHANGES)
def test_many_swaps_are_edits(chosen: dict[str, tuple[float, float]]) -> None:
    same_as_edited(chosen)


def same_as_edited(chosen: dict[str, tuple[float, float]]) -> None:
    """chosen: reference to a number and its decade, in uF or K."""
    text, typed = DIVIDER, []
    for ref, (number, decade) in chosen.items():
        unit = "uF" if ref.startswith("C") else "K"
        value = f"{float(f'{number * decade:.3g}'):g}{unit}"
        first, _, rest = LINES[ref].partition(" MFD")
        before = f"{ref} {first} MFD{rest}" if unit == "uF" else f"{ref} {LINES[ref]}"
        if before not in text:
            before = before.replace(ref, f"{ref}+", 1)
        assert before in text
        text = text.replace(before, f"{before} fitted {value}")
        typed.append(f"{ref}={value}")
    edited = read_stage(text)
    stage = stage_of(DIVIDER)
    if all(stage.part(ref).now == edited.part(ref).now for ref in chosen):
        return
    after = swapped(stage, *typed).after

    assert after.stage.parts == edited.parts
    volts = solved(edited)
    assert all(after.volts[node] == pytest.approx(volts[node], abs=1e-9) for node in after.volts)
    if after.corners is None:
        with pytest.raises(Unsolved) as caught:
            corners(edited, REFEREE)
        assert after.withheld == caught.value.fact
        return
    again = corners(edited, REFEREE)
    assert after.corners.figures == again.figures
    assert after.corners.corners == again.corners
    gains = [decibels(abs(complex(g))) for g in again.path.swept(REFEREE, MARKS)[0]]
    assert after.gains == pytest.approx(gains, abs=1e-9)
    again_on = turn_on(edited, REFEREE)
    assert after.turn_on is not None
    assert after.turn_on.thumps == pytest.approx(again_on.thumps, abs=1e-9)


# --- what is on the shelf ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "taken", "name"),
    # IEC 60063: E6 1.0 1.5 2.2 3.3 4.7 6.8; E24 and E96 for resistors.
    [
        ("C3=50 uF", 47e-6, "E6"),
        ("C3=80 uF", 68e-6, "E6"),
        ("C3=47 uF", 47e-6, None),
        ("C3=50 uF!", 50e-6, None),
        ("R4=1.2K", 1.2e3, None),
        ("R4=1.25K", 1.3e3, "E24"),
        ("R4=1.21K 1%", 1.21e3, None),
        ("R4=1.25K 1%", 1.24e3, "E96"),
        ("R4=1.1K 1%", 1.1e3, None),
        ("R4=1.2K 1%", 1.2e3, None),
    ],
)
def test_values_at_hand(text: str, taken: float, name: str | None) -> None:
    (change,) = read_changes(stage_of(DIVIDER), [text])
    part, matched = on_the_shelf(change.after, change.sure)
    assert part.now == pytest.approx(taken)
    assert (matched.series if matched else None) == name


def test_nothing_changes() -> None:
    with pytest.raises(InputError, match="nothing changes"):
        swapped(stage_of(DIVIDER), "R4=1K")


# --- the verdict ---------------------------------------------------------------------------------


def test_47_for_50_changes_nothing() -> None:
    found = swapped(load(DEMO[0]), "C3=50 MFD")
    assert not dangerous(found)
    text = verdict(found)
    assert "47 for 50 uF in C3 changes nothing you can hear: 3 dB down moves from" in text
    assert found.moved == ()
    assert found.buy["C3"] == 6.3


def test_what_is_heard_is_said() -> None:
    found = swapped(stage_of(DIVIDER), "C3=4.7 uF")
    assert found.before.gains is not None
    assert found.after.gains is not None
    lost = found.before.gains[0] - found.after.gains[0]
    assert lost > 1.0
    assert f"takes {lost:.1f} dB at 20 Hz" in verdict(found)


def test_above_its_working_volts() -> None:
    found = swapped(stage_of(DIVIDER), "C4=100 uF 16V")
    assert dangerous(found)
    assert "will not do: C4 has 17." in verdict(found)
    assert found.buy["C4"] >= 25.0


def test_a_transistor_that_no_longer_amplifies() -> None:
    found = swapped(stage_of(DIVIDER), "R1=10K")
    assert dangerous(found)
    assert "Q1 is saturated" in verdict(found)
    assert found.after.gains is None
    assert found.after.corners is None


def test_heat_in_an_output_stage() -> None:
    """The idle trimmer opened: more current through the output transistors, unheard at first."""
    found = swapped(named("split-rail-amplifier"), "RV1=at 0.9")
    assert dangerous(found)
    assert "would turn" in verdict(found)


def test_a_larger_output_capacitor_takes_longer() -> None:
    found = swapped(stage_of(DIVIDER), "C2=100 uF")
    before, after = found.before.turn_on, found.after.turn_on
    assert before is not None
    assert after is not None
    assert before.slowest is not None
    assert after.slowest is not None
    # 51K and 95 uF more: the last volts go that much slower.
    assert after.slowest[1] > before.slowest[1] + 10.0
    assert "it settles in" in verdict(found)


def test_thump_of_a_capacitor_coupled_output() -> None:
    """Everything discharged: the output follows its collector up, then goes back to nothing."""
    found = turn_on(stage_of(DIVIDER), REFEREE)
    assert 1.0 < found.thumps["OUT"] < 22.0
    assert found.seconds["B+"] == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize(
    ("name", "change"),
    # A gain of thousands, and a pair that is driven hard: runs that once took minutes or stopped.
    [("coupled-pair", "C6=22 uF"), ("phono-pair", "C2=47 uF"), ("direct-pair", "R4=6.8")],
)
def test_turn_on_ends(name: str, change: str) -> None:
    stage = named(name)
    (read,) = read_changes(stage, [change])
    then = replace(stage, parts=tuple(
        read.after if part.ref == read.after.ref else part for part in stage.parts
    ))  # fmt: skip
    found = turn_on(then, REFEREE)
    assert None not in found.seconds.values()


def test_ripple_where_a_supply_is_in_the_stage() -> None:
    """Large reservoir, so ripple goes as 1 / C: half the capacitance, twice the ripple."""
    found = swapped(named("bench-supply"), "C1=470 uF")
    ratio = found.after.ripple["RAW"] / found.before.ripple["RAW"]
    assert ratio == pytest.approx(1000.0 / 470.0, rel=0.05)
    assert "the ripple on RAW moves from" in verdict(found)


def test_signal_figures_are_withheld_without_ports() -> None:
    found = swapped(named("series-regulator"), "C2=47 uF")
    assert found.before.gains is None
    assert "no input" in found.before.withheld
    assert not math.isnan(sum(found.after.volts.values()))
