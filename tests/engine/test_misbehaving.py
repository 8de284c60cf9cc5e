"""An ngspice that is broken, stopped or killed: a message or an unsolved row, never its numbers."""

from __future__ import annotations

import math
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from biaspredict.engine import trial
from biaspredict.engine.batch import Batch
from biaspredict.engine.crew import Crew
from biaspredict.engine.ngspice import Ngspice, using
from biaspredict.model.circuit import SOUND, Variation
from tests.engine import hand
from tests.engine.deaths import DEADLY, Deadly
from tests.engine.test_library import ROOT, run
from tests.heard import flat

STAGE = hand.divider_stage()
BIAS = (
    "import sys\n"
    "from biaspredict.cli import main\n"
    f"sys.exit(main(['bias', {str(ROOT / 'demo' / 'preamp.stage')!r}]))\n"
)
# Every function is there and says that all is well; no vector ever is.
HOLLOW = "\n".join(
    f"void *{name}(void) {{ return 0; }}"
    for name in (
        "ngSpice_Init", "ngSpice_Init_Sync", "ngSpice_Command", "ngSpice_Circ", "ngGet_Vec_Info",
        "ngSpice_CurPlot", "ngSpice_AllPlots", "ngSpice_AllVecs", "ngSpice_running",
        "ngSpice_SetBkpt",
    )
)


def test_the_trial_expects_what_the_equations_give() -> None:
    """Emitter volts by bisection: IS exp(VBE/VT) in the emitter, a hundredth of it in the base."""

    def excess(emitter: float) -> float:
        amps = emitter / 1e3
        collector = amps * 100.0 / 101.0
        base = emitter + hand.VT25 * math.log(collector / 1e-15)
        return (10.0 - base) / 10e3 - base / 2.2e3 - collector / 100.0

    low, high = 1e-6, 2.0
    for _ in range(100):
        middle = (low + high) / 2.0
        low, high = (middle, high) if excess(middle) > 0.0 else (low, middle)
    assert 10.0 - 3600.0 * low / 1e3 * 100.0 / 101.0 == pytest.approx(trial.COLLECTOR, abs=2e-4)


def test_one_that_makes_volts_up_is_refused(tmp_path: Path) -> None:
    """As a version does that seeks operating points over time and knows no way to leave it."""
    old = "import biaspredict.engine.simulator as s; s.SEARCH = 'optran 1 1 1 100n 10u 0'\n"
    done = run(old + BIAS, tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    told = flat(done.stderr)
    assert told.startswith("This ngspice-")
    said = "broken: it gives volts to a circuit that has no operating point. Versions "
    assert "libngspice0" in told[told.index(said) :]


def test_one_that_computes_otherwise_is_refused(tmp_path: Path) -> None:
    hot = "import biaspredict.engine.deck as d; d.OPTIONS = 'temp=85.0 tnom=25.0'\n"
    done = run(hot + BIAS, tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "broken: it gives a collector at " in flat(done.stderr)


@pytest.mark.skipif(shutil.which("gcc") is None, reason="builds a library with gcc")
def test_a_hollow_library_is_refused(tmp_path: Path) -> None:
    source, library = tmp_path / "hollow.c", tmp_path / "libhollow.so"
    source.write_text(HOLLOW, encoding="ascii")
    subprocess.run(["gcc", "-shared", "-fPIC", "-o", library, source], check=True)
    done = run(BIAS, tmp_path, NGSPICE_LIBRARY_PATH=str(library))
    assert (done.returncode, done.stdout) == (2, "")
    told = flat(done.stderr)
    assert "it gives a collector at nan V" in told
    assert told.startswith("This ngspice is too old, or broken: ")
    assert told.endswith("system's ngspice library.")


def test_stopped_it_gives_no_number_ever_again(tmp_path: Path) -> None:
    code = (
        "from biaspredict.engine.ngspice import Ngspice, using\n"
        "from biaspredict.errors import Unsolved\n"
        "from biaspredict.model.circuit import SOUND\n"
        "from tests.engine import hand\n"
        "stage = hand.divider_stage()\n"
        "assert Ngspice().solve(stage, [SOUND]).solved.all()\n"
        "def stop():\n"
        "    with using() as simulator: simulator.command('quit')\n"
        "for work in (stop, lambda: Ngspice().solve(stage, [SOUND])) * 2:\n"
        "    try: print(work())\n"
        "    except Unsolved as error: print(error.fact)\n"
    )
    done = run(code, tmp_path)
    assert done.stdout == 4 * "ngspice stopped working in the middle of a run.\n", done.stderr


def test_numbers_of_the_run_before_are_not_read_again() -> None:
    """A solved row, a row without a solution, on one loaded deck."""
    circuit = hand.circuit(
        hand.source("B+", 10.0), hand.resistor("R1", "B+", "pin", 1e3),
        hand.current("U1", "ground", "pin", 1e-3), hand.resistor("R2", "pin", "ground", 1e3),
    )
    adrift = Variation(settings=(("R1.ohms", 1e12), ("R2.ohms", 1e12)))
    found = Ngspice().solve(circuit, [SOUND, adrift, SOUND])
    assert found.solved.tolist() == [True, False, True]
    assert np.isnan(found.volts[1]).all()
    with using() as simulator:
        assert simulator.run("op")
        assert not simulator.run("no analysis of that name")


@pytest.mark.parametrize("engine", [Ngspice, Batch])
def test_killed_in_a_worker(engine: type[Ngspice] | type[Batch]) -> None:
    """Its lot is unsolved, all other rows are as without workers."""
    values = [47e3, 100e3, DEADLY, 82e3, 150e3]
    variations = [Variation(settings=(("R1.ohms", ohms),)) for ohms in values]
    found = Crew(Deadly if engine is Ngspice else engine, workers=1, lot=1).solve(
        STAGE, variations
    )
    alone = engine().solve(STAGE, variations)
    dies = [engine is Ngspice and ohms == DEADLY for ohms in values]
    assert found.solved.tolist() == [not d for d in dies]
    assert np.isnan(found.volts[dies]).all()
    kept = found.solved
    assert np.abs(found.volts[kept] - alone.volts[kept]).max() < 1e-7


def test_workers_execute_nothing_of_the_working_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in (".spiceinit", "spinit"):
        (tmp_path / name).write_text("* trap\nshell touch executed\n", encoding="ascii")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    found = Crew(Ngspice, workers=1).solve(STAGE, [SOUND, SOUND])
    assert found.solved.all()
    assert sorted(p.name for p in tmp_path.iterdir()) == [".spiceinit", "spinit"]


def test_a_crew_is_its_engine() -> None:
    """Lifts, axes, amounts and starts, in lots of uneven size; nothing to solve."""
    variations = [Variation(lifts=(("R4.1", 10.0**k),)) for k in range(5)] + [SOUND] * 2
    whole = Batch().solve(STAGE, variations)
    crew = Crew(Batch, workers=1, lot=3)
    found = crew.solve(STAGE, variations, start=whole.volts)
    assert found.volts.shape == whole.volts.shape
    assert np.allclose(found.volts, whole.volts, atol=1e-6, equal_nan=True)
    assert Crew(Batch).solve(STAGE, []).volts.shape == (0, len(STAGE.nodes))
