"""Supplies against published figures: capacitor-input filters, RC sections, rectifiers' duties."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from biaspredict.engine.flatten import flatten
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.stage import Stage
from biaspredict.notation import read_stage
from biaspredict.predict.at_rest import must_be_fed
from biaspredict.predict.rectifying import rectifiers
from biaspredict.predict.steady import Steady, settle
from biaspredict.predict.supply import Supply, supply
from biaspredict.predict.supply_faults import SupplyFault, supply_faults
from tests.circuits.files import ROOT, load

# So high that the drops of the rectifiers count for little.
PEAK = 1000.0
RMS = PEAK / math.sqrt(2.0)
DROP = 0.5  # volts at 1 A; 0.12 less at a hundredth of that
IDEAL = f"rectifier drop {DROP} V at 1 A"
LOAD = 10e3
HALF = f"ground -- T1 -- A -- D1> {IDEAL} -- RAW"
BRIDGE = (
    f"A -- T1 -- B\nA -- D1> {IDEAL} -- RAW\nB -- D2> {IDEAL} -- RAW\n"
    f"ground -- D3> {IDEAL} -- A\nground -- D4> {IDEAL} -- B"
)


def stage(wiring: str, ohms: float, farads: str = "1000 MFD") -> Stage:
    """A winding of 1000 V peak behind `ohms`, a reservoir, and a load of 10 kilohms."""
    return read_stage(
        f'stage "rectifier"\nT1 winding {RMS:.6f} V! 50 Hz {ohms:g} ohms\n{wiring}\n'
        f"RAW -- +C1 {farads} 2000V! -- ground\nRAW -- R1 10K 100 W! -- ground\n",
        "rectifier.stage",
    )


def settled(of: Stage) -> Steady:
    return settle(flatten(of), must_be_fed(of), 50.0, Ngspice())


# Analytic limit of a large reservoir: half the angle of conduction t obeys
# tan t - t = pi Rs / (2 RL) full wave, pi Rs / RL half wave, and the mean is cos t of the peak.
# Tabulated values of that limit, worked out apart from this project.
@pytest.mark.parametrize(
    ("wiring", "share", "mean"),
    [
        (BRIDGE, 0.01, 0.938),
        (BRIDGE, 0.05, 0.832),
        (BRIDGE, 0.10, 0.752),
        (HALF, 0.01, 0.904),
        (HALF, 0.05, 0.752),
        (HALF, 0.10, 0.646),
    ],
)
def test_capacitor_input_filter_with_a_large_reservoir(
    wiring: str, share: float, mean: float
) -> None:
    found = settled(stage(wiring, share * LOAD))
    drops = (2 if wiring == BRIDGE else 1) * DROP
    # Half the last digit of the table, and what the drops differ from those at 1 A.
    assert found.means["RAW"] / (PEAK - drops) == pytest.approx(mean, abs=0.0005 + 0.0003)


def test_full_wave_supply_as_the_book_has_it() -> None:
    # Boylestad & Nashelsky, 10th ed., Ex 15.3 to 15.5, worked-examples page: 27.9 V DC and 1.2 V
    # rms of ripple at 50 mA by formulas that let the reservoir discharge for a whole half period;
    # the run in time gives 28.35 V and 1.04 V.
    found = supply(load(ROOT / "circuits" / "published" / "supply-full-wave.stage"), Ngspice())
    (line,) = found.lines
    assert line.volts == pytest.approx(28.35, abs=0.05)
    assert line.rms == pytest.approx(1.04, abs=0.015)
    assert 1.0 < 1.2 / line.rms < 1.2
    assert line.hertz == 120.0
    (source,) = found.sources
    assert source.amps == pytest.approx(50e-3, rel=0.02)


def test_rc_section_behind_a_rectifier() -> None:
    # Boylestad & Nashelsky, 10th ed., Ex 15.6: 60 V through 120 ohms into 1 kilohm leaves 53.6 V.
    # The ratio holds for the means of any supply, whatever its ripple.
    text = (
        f'stage "rc"\nT1 winding 50 V 50 Hz 2 ohms\n{BRIDGE}\n'
        "RAW -- +C1 1000 MFD 100V -- ground\nRAW -- R1 120 5 W -- B+\n"
        "B+ -- +C2 100 MFD 100V -- ground\nB+ -- R2 1K 5 W -- ground\noutput B+\n"
    )
    found = settled(read_stage(text, "rc.stage"))
    assert found.means["B+"] / found.means["RAW"] * 60.0 == pytest.approx(53.6, abs=0.05)
    # and its ripple by the reactance of C2 alone, as the book has it in Ex 15.7: 15.9 ohms at the
    # second harmonic of the mains, less at higher ones, against 120 ohms
    raw, out = (found.ripple_rms(found.at(node)) for node in ("RAW", "B+"))
    book = raw / (2 * math.pi * 100.0 * 100e-6) / 120.0
    assert 0.85 * book < out < book


# Textbooks on rectifiers (from memory): the crest that a rectifier blocks, the frequency of the
# ripple, each rectifier's mean current as a share of the load's.
CENTRE = (
    f"T2 winding {RMS:.6f} V! 50 Hz 50 ohms\nA -- T1 -- ground\nground -- T2 -- B\n"
    f"A -- D1> {IDEAL} -- RAW\nB -- D2> {IDEAL} -- RAW"
)


@pytest.mark.parametrize(
    ("wiring", "blocks", "hertz", "share"),
    [(HALF, 2.0, 50.0, 1.0), (BRIDGE, 1.0, 100.0, 0.5), (CENTRE, 2.0, 100.0, 0.5)],
)
def test_duties_of_rectifiers(wiring: str, blocks: float, hertz: float, share: float) -> None:
    of = stage(wiring, 50.0, "100 MFD")
    found = settled(of)
    volts = found.at("RAW")
    assert found.ripple_hertz(volts) == hertz
    for rectifier in rectifiers(must_be_fed(of), found):
        assert rectifier.mean == pytest.approx(share * found.means["RAW"] / LOAD, rel=0.01)
        # Off load it blocks that many peaks; under load as much less as its output has lost.
        assert rectifier.reverse == pytest.approx(blocks * PEAK - PEAK + volts.max(), rel=0.02)


def test_ripple_of_a_reservoir_is_below_the_formula() -> None:
    # V = I / (2 f C), which lets it discharge for the whole half period (common practice).
    volts = settled(stage(BRIDGE, 50.0, "47 MFD")).at("RAW")
    formula = volts.mean() / LOAD / (100.0 * 47e-6)
    assert 0.6 * formula < volts.max() - volts.min() < formula


def test_switch_on_is_bounded_by_the_winding() -> None:
    # Ohm's law: the crest over all the resistance in the loop, the capacitor being empty.
    found = supply(load(ROOT / "circuits" / "bench-supply.stage"), Ngspice())
    bound = 18.0 * math.sqrt(2.0) / 3.0
    drops = 2 * 0.85 / 3.0  # of two rectifiers at some amperes
    assert bound - drops < found.switch_on.amps < bound


def _ripple(of: Supply | SupplyFault) -> tuple[float, float | None]:
    if isinstance(of, Supply):
        return of.lines[0].ripple, of.lines[0].hertz
    return of.reads[0].ripple, of.reads[0].hertz


@pytest.fixture(scope="module")
def bridge() -> tuple[Supply, Callable[[str, float | None], SupplyFault]]:
    found = supply(load(ROOT / "circuits" / "bench-supply.stage"), Ngspice())
    faults = supply_faults(found, Ngspice())

    def fault(name: str, severity: float | None = None) -> SupplyFault:
        ref, mode = name.split()
        return next(
            f for f in faults if ref in f.parts and f.mode == mode and f.severity == severity
        )

    return found, fault


def test_an_open_rectifier_halves_the_frequency(
    bridge: tuple[Supply, Callable[[str, float | None], SupplyFault]],
) -> None:
    # Common practice, no source: ripple at half its frequency, about twice as large.
    found, fault = bridge
    size, hertz = _ripple(found)
    broken, half = _ripple(fault("D1 open", None))
    assert (hertz, half) == (100.0, 50.0)
    assert 1.7 < broken / size < 2.4
    assert fault("D1 open", None).parts == ("D1", "D2", "D3", "D4")  # no reading tells which


def test_a_dried_reservoir_gives_its_ripple_by_its_farads(
    bridge: tuple[Supply, Callable[[str, float | None], SupplyFault]],
) -> None:
    found, fault = bridge
    size, _ = _ripple(found)
    tenth, hertz = _ripple(fault("C1 dry", 0.1))
    assert hertz == 100.0
    # Ten times less what the longer time of conduction saves: between six and ten.
    assert 6.0 < tenth / size < 10.0
