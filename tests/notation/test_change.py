"""Changes of parts as typed: what they make of a part, and what is said of the senseless."""

from __future__ import annotations

import pytest

from biaspredict.errors import InputError
from biaspredict.model.devices import Bipolar, Material, Polarity, Range
from biaspredict.model.parts import Kind
from biaspredict.model.stage import Stage
from biaspredict.notation import read_stage
from biaspredict.notation.change import read_change, read_changes
from biaspredict.tolerance import Tolerance

STAGE = """stage "line stage"
rail B+ 22 V
Q1 pnp germanium medium gain 40..90 icbo 4 uA
P1 pot 50K log at 0.5
IN -- P1.top
P1.bottom -- ground
P1.wiper -- C1 0.1 MFD film -- Q1.base
B+ -- R1 100K measured 131K -- Q1.base -- R2 22K -- ground
B+ -- R3 6K8 1 W -- Q1.collector
Q1.emitter -- R4 1.5K 5% -- ground
Q1.emitter -- +C2 50 MFD 6V -- ground
B+ -- +C3 100 MFD 25V can C3 -- ground
input IN from 600
"""


@pytest.fixture(scope="module")
def stage() -> Stage:
    return read_stage(STAGE)


def test_a_value_is_fitted_and_the_rest_stays(stage: Stage) -> None:
    after = read_change(stage, "c2 = 47uF").after
    assert (after.fitted, after.printed, after.volts, after.kind) == (
        47e-6, 50e-6, 6.0, Kind.ELECTROLYTIC,
    )  # fmt: skip
    assert after.nodes == stage.part("C2").nodes


def test_what_was_measured_went_with_the_old_part(stage: Stage) -> None:
    after = read_change(stage, "R1=100K 2%").after
    assert (after.now, after.measured, after.tolerance) == (100e3, None, Tolerance(0.02, 0.02))


def test_only_the_working_volts(stage: Stage) -> None:
    after = read_change(stage, "C2=25V").after
    assert (after.now, after.fitted, after.volts) == (50e-6, None, 25.0)


def test_a_film_capacitor_for_an_electrolytic(stage: Stage) -> None:
    after = read_change(stage, "C2=film 4.7 uF 63V").after
    assert (after.kind, after.dielectric, after.volts) == (Kind.CAPACITOR, "film", 63.0)


def test_pot(stage: Stage) -> None:
    after = read_change(stage, "P1=at 0.2").after
    assert (after.turn, after.now, after.material) == (0.2, 50e3, "log")
    assert read_change(stage, "P1=47K").after.turn == 0.5


def test_a_transistor_keeps_what_sort_it_is(stage: Stage) -> None:
    device = read_change(stage, "Q1=gain 100..200").after.device
    assert isinstance(device, Bipolar)
    assert (device.polarity, device.material, device.gain) == (
        Polarity.PNP, Material.GERMANIUM, Range(100.0, 200.0),
    )  # fmt: skip
    other = read_change(stage, "Q1=npn silicon small").after.device
    assert isinstance(other, Bipolar)
    assert (other.polarity, other.material) == (Polarity.NPN, Material.SILICON)


def test_sure(stage: Stage) -> None:
    assert read_change(stage, "C2=50 MFD!").sure
    assert not read_change(stage, "C2=50 MFD").sure


@pytest.mark.parametrize(
    ("text", "fact", "remedy"),
    [
        ("C2", "no change of a part", "C3=47uF"),
        ("=47uF", "no change of a part", "C3=47uF"),
        ("C2=", "C2= what?", "C3=47uF"),
        ("C22=47uF", "no part is called C22", "Did you mean C2?"),
        ("B+=24", "no part is called B+", "in the stage file"),
        ("C2=1.2K", "not a capacitance", ""),
        ("R4=47uF", "not a resistance", ""),
        ("C2=0 uF", "not possible for an electrolytic", ""),
        ("R4=0", "no resistance", "link"),
        ("C2=47", "unit is missing", ""),
        ("R4=1.2K R5=3K", "two changes in one", "Keep them apart"),
        ("R4=1.2K 3.3K", "R4 has two values", ""),
        ("C2=47uF -- R4", "no value of a part", ""),
        ("C2=resistor 1K", "C2 is an electrolytic, and a resistor cannot stand", "stage file"),
        ("C1=electrolytic 10uF", "C1 has no plus", "non-polar"),
        ("Q1=1K", "no value of its own", "npn or pnp"),
        ("C2=47uF\n1K", "one part, one value", ""),
        ("C2=\x07", "does not show", ""),
        ("C2=" + "9" * 2000, "characters", ""),
    ],
)
def test_what_makes_no_sense(stage: Stage, text: str, fact: str, remedy: str) -> None:
    with pytest.raises(InputError) as caught:
        read_change(stage, text)
    assert fact in caught.value.fact
    assert remedy in caught.value.remedy


def test_a_part_is_changed_once(stage: Stage) -> None:
    assert [c.after.ref for c in read_changes(stage, ["C2=47uF", "R4=1K"])] == ["C2", "R4"]
    with pytest.raises(InputError, match="C2 is changed twice"):
        read_changes(stage, ["C2=47uF", "c2=22uF"])
