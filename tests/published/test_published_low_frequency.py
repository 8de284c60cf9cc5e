"""The corners command against the books: rows F1 to F10 of low-frequency and equalisation values.

Mark S: read in a public transcription of the book's worked examples, not in the printed book.
Mark M: recalled from memory.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.stage import Port, Stage
from biaspredict.notation import read_stage
from biaspredict.predict.corners import Corners, corners
from biaspredict.predict.duties import decibels
from biaspredict.predict.path import signal_path_of
from tests.circuits.files import ROOT, load
from tests.published.test_published_corners import CORNERS, LAST_DIGIT, Corner

REFEREE = Ngspice()


def published(row: Corner) -> Stage:
    stage = load(ROOT / "circuits" / "published" / f"{row.file}.stage")
    return replace(stage, outputs=stage.outputs or (Port(stage.node(row.output), None),))


@pytest.mark.parametrize("row", CORNERS, ids=lambda r: f"{r.file} {r.ref}")
def test_own_corners(row: Corner) -> None:
    """F1, F2, F4 (S). What the books' own emitter resistance costs is reckoned in `row.cost`."""
    found = corners(published(row), REFEREE)
    (corner,) = (c for c in found.corners if c.ref == row.ref)
    assert corner.hertz == pytest.approx(row.hertz, rel=row.cost + LAST_DIGIT), row.source


@pytest.mark.parametrize("file", ["corners-20-volts", "corners-10-volts"])
def test_the_true_corner_lies_between_the_highest_and_the_sum(file: str) -> None:
    """F1: 337 Hz between 327 and 363; F2: 722 between 632 and 835 (recomputed, re as printed)."""
    found = corners(load(ROOT / "circuits" / "published" / f"{file}.stage"), REFEREE)
    own = [c.hertz for c in found.corners if c.hertz is not None]
    figures = found.figures
    assert figures.sum_hertz == pytest.approx(sum(own))
    assert figures.exact_hertz is not None
    assert max(own) < figures.exact_hertz < sum(own)
    # The ratio of both does not hang on the emitter's own resistance, which the book rounds.
    printed = {"corners-20-volts": 337.0 / 363.0, "corners-10-volts": 722.0 / 835.0}[file]
    assert figures.exact_hertz / sum(own) == pytest.approx(printed, rel=0.005)


def high_pass(ohms: float, farads: float) -> Stage:
    return read_stage(
        f"""stage "one capacitor and one resistor"
IN -- C1 {farads * 1e12:.12g} pF film! -- OUT
OUT -- R1 {ohms:.12g} -- ground
input IN
output OUT
""".replace(" pF film!", " pF! film")
    )


@pytest.mark.parametrize(
    ("ohms", "farads", "hertz"),
    [(1e3, 1e-6, 159.15), (20e3, 0.1e-6, 79.58), (10e6, 1e-9, 15.915)],
)
def test_one_capacitor(ohms: float, farads: float, hertz: float) -> None:
    """F5 (S): Floyd, Electronic Devices, 7th ed., Ex 10.3, 10.5, 10.7 (the last as 15.9)."""
    found = corners(high_pass(ohms, farads), REFEREE)
    figures = (found.corners[0].hertz, found.figures.sum_hertz, found.figures.exact_hertz)
    assert figures == pytest.approx((hertz,) * 3, rel=1e-4)
    assert found.corners[0].share == 1.0


def test_design_for_100_hertz() -> None:
    """F6 (S): Sedra & Smith, Microelectronic Circuits, 5th ed., Ex 5.19.

    r_pi 2.5K at 1 mA and gain 100 is kT/q of 25 mV: 17 C. Resistances seen 72.1, 7.44K, 13K.
    """
    found = corners(
        read_stage("""stage "design for 100 Hz"
rail V+ 10 V
rail V- -10 V
assume temperature 17 C
Q1 npn gain 100 vbe 0.7 V at 1 mA early none icbo 0
pin TAIL.1 takes 1 mA
IN -- CC1 capacitor 2.1 MFD film -- Q1.base -- RB resistor 100K -- ground
V+ -- RC resistor 8K -- Q1.collector -- CC2 capacitor 1.2 MFD film -- OUT
Q1.emitter -- TAIL.1
Q1.emitter -- CE capacitor 27.6 MFD! film -- ground
V- -- R9 1M -- ground
input IN from 5K
output OUT into 5K
"""),
        REFEREE,
    )
    rows = {c.ref: c for c in found.corners}
    # IE is 1 mA, so IC 0.99 mA: one hundredth off in r_pi; the gain at 17 C is 4 % lower.
    assert rows["CE"].ohms == pytest.approx(72.1, rel=0.05)
    assert rows["CC1"].ohms == pytest.approx(7.44e3, rel=0.02)
    assert rows["CC2"].ohms == pytest.approx(13e3, rel=1e-4)
    shares = [rows[ref].share for ref in ("CE", "CC1", "CC2")]
    assert shares == pytest.approx([0.8, 0.1, 0.1], abs=0.01)
    assert found.figures.sum_hertz == pytest.approx(100.0, rel=0.04)


@pytest.mark.parametrize(
    ("corner", "square", "tilt"),
    # 10 Hz and 2 % at 1.57 kHz; 9.5 Hz and 3 % at 1 kHz; 59.3 Hz and 8.2 % over 220 us.
    [(10.0, 1570.0, 0.02), (9.55, 1e3, 0.03), (59.3, 1.0 / 440e-6, 0.082)],
)
def test_tilt(corner: float, square: float, tilt: float) -> None:
    """F8 (S): Bell, Solid State Pulse Circuits, 4th ed., ch 1 Ex 7 to 9: fL = tilt f / pi."""
    found = corners(
        high_pass(10e3, 1.0 / (2.0 * math.pi * 10e3 * corner)), REFEREE, square=square
    ).figures.tilt
    assert found == pytest.approx(tilt, rel=0.01)
    # One capacitor alone: 2 tanh(pi fL / 2 f), exactly.
    assert found == pytest.approx(2.0 * math.tanh(math.pi * corner / (2.0 * square)), rel=1e-6)


def test_phono_equalisation() -> None:
    """F9 (M): 3180, 318 and 75 us (IEC 60098), against 1 kHz, by a passive network.

    R1 in series, then R2 with C1 and C2 across both to ground: R2 C1 = 318 us,
    R1 C1 + R1 C2 + R2 C1 = 3255 us, R1 R2 C1 C2 = 3180 x 75 us2; R1 chosen 100K.
    """
    r1, t1, t2, t3 = 100e3, 3180e-6, 318e-6, 75e-6
    c2 = t1 * t3 / (r1 * t2)
    c1 = (t1 + t3 - t2) / r1 - c2
    stage = read_stage(f"""stage "record equaliser"
IN -- R1 100K -- OUT
OUT -- R2 {t2 / c1:.12g} -- KNEE -- C1 {c1 * 1e12:.12g} pF polystyrene -- ground
OUT -- C2 {c2 * 1e12:.12g} pF polystyrene -- ground
input IN
output OUT
""")
    path = signal_path_of(stage, REFEREE)
    marks = [20.0, 50.0, 100.0, 1e3, 10e3, 20e3]
    printed = [19.27, 16.95, 13.09, 0.0, -13.73, -19.62]
    for gains in (path.gain(marks), path.swept(REFEREE, marks)[0]):
        level = [decibels(abs(complex(g))) for g in gains]
        assert [db - level[3] for db in level] == pytest.approx(printed, abs=0.006)
    assert not corners(stage, REFEREE).figures.flat


@pytest.mark.parametrize(
    ("micros", "hertz", "at_15k"), [(75, 2122.0, -17.07), (50, 3183.0, -13.66)]
)
def test_de_emphasis(micros: float, hertz: float, at_15k: float) -> None:
    """F10 (M): 75 us (47 CFR 73) and 50 us (ITU-R BS.450); a treble capacitor, not a bass one."""
    stage = read_stage(f"""stage "de-emphasis"
IN -- R1 {micros}K -- OUT
OUT -- C1 1000 pF ceramic -- ground
IN -- C2 0.1 MFD film -- X -- R2 1M -- ground
input IN
output OUT
""")
    found: Corners = corners(stage, REFEREE)
    (own,) = (c for c in found.corners if c.ref == "C1")
    assert not own.bass
    assert own.hertz == pytest.approx(hertz, rel=2e-4)
    level = decibels(abs(complex(found.path.swept(REFEREE, [15e3])[0][0])))
    assert level == pytest.approx(at_15k, abs=0.006)
