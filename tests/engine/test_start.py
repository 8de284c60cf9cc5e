"""How ngspice is started and kept: quietly, by nobody's settings, one for the process."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from biaspredict.engine.library import find_library
from biaspredict.engine.ngspice import Ngspice
from biaspredict.model.circuit import SOUND, Variation
from tests.engine import hand
from tests.engine.test_library import ROOT, run

SOLVE = (
    "from biaspredict.engine.ngspice import Ngspice\n"
    "from biaspredict.model.circuit import SOUND, Variation\n"
    "from tests.engine import hand\n"
    "found = Ngspice().solve(hand.divider_stage(), [SOUND])\n"
)
PLAIN = (
    "import os; os.environ['NGSPICE_LIBRARY_PATH'] = {library!r}\n"
    "from PySpice.Spice.NgSpice.Shared import NgSpiceShared\n"
    "NgSpiceShared.new_instance()\n"
)


def test_settings_lying_about_are_not_executed(tmp_path: Path) -> None:
    """First that the trap is real: PySpice by itself executes the file."""
    for folder in (tmp_path, tmp_path / "scripts"):
        folder.mkdir(exist_ok=True)
        for name in (".spiceinit", "spinit"):
            (folder / name).write_text("* trap\nshell touch executed\n", encoding="ascii")
    mark = tmp_path / "executed"
    done = run(PLAIN.format(library=find_library()), tmp_path)
    assert done.returncode == 0, done.stderr
    assert mark.exists(), "the trap does not work"
    mark.unlink()
    places = {"SPICE_LIB_DIR": str(tmp_path), "SPICE_SCRIPTS": str(tmp_path / "scripts")}
    done = run(SOLVE + "print(found.solved.all())", tmp_path, **places)
    assert done.stdout == "True\n", done.stderr
    assert not mark.exists()


def test_nothing_is_printed_and_nothing_stays_changed(tmp_path: Path) -> None:
    code = (
        "import logging, locale, os, sys\n"
        "locale.setlocale(locale.LC_NUMERIC, 'C.UTF-8')\n"
        "before = os.getcwd(), dict(os.environ), locale.setlocale(locale.LC_NUMERIC)\n"
        + SOLVE
        + "stage = hand.divider_stage()\n"
        "Ngspice().solve(stage, [Variation(settings=(('temperature', 70.0),))])\n"
        "adrift = hand.circuit(hand.current('U', 'ground', 'a', 1.0), "
        "hand.resistor('R', 'a', 'ground', 1e12))\n"
        "assert not Ngspice().solve(adrift, [SOUND]).solved.any()\n"
        "after = os.getcwd(), dict(os.environ), locale.setlocale(locale.LC_NUMERIC)\n"
        "assert before == after, (before, after)\n"
        "assert not logging.getLogger().handlers\n"
        "assert logging.getLogger('PySpice').level == 0\n"
    )
    done = run(code, tmp_path)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert list(tmp_path.iterdir()) == []


def test_starts_where_the_working_folder_is_gone(tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    code = f"import os; os.rmdir({str(gone)!r})\n" + SOLVE + "print(found.solved.all())"
    assert run(code, gone).stdout == "True\n"


def test_a_library_in_a_folder_with_braces(tmp_path: Path) -> None:
    """PySpice formats the path it is given."""
    folder = tmp_path / "{0}{x}"
    folder.mkdir()
    code = (
        "import ctypes, os\n"
        "name = os.environ['FOUND']\n"
        "ctypes.CDLL(name)\n"
        "print(next(w for l in open('/proc/self/maps') for w in l.split() if 'ngspice' in w))\n"
    )
    if not sys.platform.startswith("linux"):
        pytest.skip("finds the file by a table that only Linux has")
    real = run(code, tmp_path, FOUND=find_library()).stdout.strip()
    (folder / "libngspice.so").symlink_to(real)
    done = run(
        SOLVE + "print(found.solved.all())",
        tmp_path,
        NGSPICE_LIBRARY_PATH=str(folder / "libngspice.so"),
    )
    assert done.stdout == "True\n", done.stderr


def test_pyspice_is_only_imported_when_needed(tmp_path: Path) -> None:
    code = (
        "import sys, biaspredict.engine.ngspice\n"
        "print([m for m in sys.modules if m.split('.')[0] in ('PySpice', 'cffi', 'scipy')])"
    )
    assert run(code, tmp_path).stdout == "[]\n"


def test_whoever_used_pyspice_first_shares_it(tmp_path: Path) -> None:
    code = (
        PLAIN.format(library=find_library())
        + SOLVE
        + "assert found.solved.all()\n"
        + "assert len(NgSpiceShared._instances) == 1\n"
    )
    done = run(code, tmp_path)
    assert done.returncode == 0, done.stderr


def test_ctrl_c_stops_a_long_run_and_leaves_the_engine_sound(tmp_path: Path) -> None:
    code = (
        "import time\n" + SOLVE + "many = [Variation(scales=(('R1.ohms', 1.0 + k * 1e-7),)) "
        "for k in range(200_000)]\n"
        "print('started', flush=True)\n"
        "try: Ngspice().solve(hand.divider_stage(), many)\n"
        "except KeyboardInterrupt: print('stopped')\n"
        "again = Ngspice().solve(hand.divider_stage(), [SOUND])\n"
        "print(abs(again.volts - found.volts).max() < 1e-7)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env={"PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "started\n"
        time.sleep(0.5)
        process.send_signal(signal.SIGINT)
        rest, noise = process.communicate(timeout=30)
    assert rest == "stopped\nTrue\n"
    assert noise == ""


def test_threads_take_turns() -> None:
    stages = [hand.divider_stage(), hand.pair(), hand.follower_of_pnp(), hand.diodes()]
    variations = [SOUND, Variation(settings=(("temperature", 40.0),)), SOUND]
    alone = [Ngspice().solve(stage, variations).volts for stage in stages]
    wrong: list[float] = []

    def work(which: int) -> None:
        for _ in range(15):
            volts = Ngspice().solve(stages[which], variations).volts
            wrong.append(float(np.abs(volts - alone[which]).max()))

    threads = [threading.Thread(target=work, args=(k,)) for k in range(len(stages))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(wrong) == 60
    assert max(wrong) < 1e-7


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_memory_stays_flat() -> None:
    """5000 solves on one deck and 2000 decks: each less than 1 MB more at the end."""

    def resident() -> float:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        return pages * 4096 / 1e6

    ours, stage = Ngspice(), hand.split_amplifier()
    scaled = [Variation(scales=(("R6.ohms", 1.0 + k * 1e-4),)) for k in range(1000)]
    moved = [Variation(moves=(("R3.1", node),)) for node in stage.nodes[:20]]
    for variations, rounds in ((scaled, 5), (moved, 100)):
        for _ in range(rounds):  # until whatever is kept between runs is there
            ours.solve(stage, variations)
        before = resident()
        for _ in range(rounds):
            ours.solve(stage, variations)
        assert resident() - before < 1.0
