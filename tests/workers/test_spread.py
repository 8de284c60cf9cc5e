"""Work over several workers: all results, whatever becomes of one of them; none left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from biaspredict.errors import WorkersLost
from biaspredict.workers import LOST, spread
from tests.engine import deaths

ROOT = Path(__file__).parents[2]
linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")


def of_spawned() -> Executor:
    return ProcessPoolExecutor(1, mp_context=get_context("spawn"))


@pytest.mark.parametrize("make", [lambda: ThreadPoolExecutor(3), of_spawned])
def test_over_an_executor_of_the_caller(make: Callable[[], Executor]) -> None:
    with make() as executor:
        assert dict(spread(abs, range(-9, 0), executor)) == {k: 9 - k for k in range(9)}
        # It is left open.
        assert executor.submit(abs, -1).result() == 1


def test_what_the_work_raises_is_raised() -> None:
    with ThreadPoolExecutor(1) as executor, pytest.raises(ValueError, match="three"):
        list(spread(deaths.failing, range(6), executor))


def test_killed_once_all_results_are_there(tmp_path: Path) -> None:
    tasks = [(k, str(tmp_path / "mark")) for k in range(5)]
    assert dict(spread(deaths.killed_once, tasks, workers=1)) == {k: k * k for k in range(5)}


def test_killed_again_and_again_one_result_is_lost() -> None:
    found = dict(spread(deaths.crashing, range(5), workers=2))
    assert found == {0: 0, 1: 1, 2: 4, 3: LOST, 4: 16}


def test_an_executor_of_the_caller_that_breaks_is_said() -> None:
    with of_spawned() as executor, pytest.raises(WorkersLost, match="worker of the executor"):
        list(spread(deaths.crashing, [3], executor))


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text("ascii").rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def gone(pids: list[int]) -> bool:
    """Whether they end within ten seconds."""
    end = time.monotonic() + 10.0
    while any(alive(pid) for pid in pids):
        if time.monotonic() > end:
            return False
        time.sleep(0.05)
    return True


@linux
def test_left_early_nothing_runs_on() -> None:
    found = spread(deaths.slow, [0.0, 60.0], workers=2)
    _, first = next(found)
    begun = time.monotonic()
    found.close()
    assert time.monotonic() - begun < 10.0
    assert gone([first])


@linux
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_stopped_or_killed_no_child_is_left(how: signal.Signals, tmp_path: Path) -> None:
    """Ctrl-C of a terminal reaches every process of the command."""
    code = (
        "import sys\n"
        "from biaspredict.workers import spread\n"
        "from tests.engine import deaths\n"
        "if __name__ == '__main__':\n"
        "    try:\n"
        "        for _, pid in spread(deaths.slow, [0.0, 60.0, 60.0], workers=2):\n"
        "            print(pid, flush=True)\n"
        "    except KeyboardInterrupt: print('stopped')\n"
    )
    script = tmp_path / "many.py"
    script.write_text(code, encoding="ascii")
    with subprocess.Popen(
        [sys.executable, str(script)], env={"PYTHONPATH": str(ROOT)}, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()
        children = [
            int(p.name) for p in Path("/proc").iterdir() if p.name.isdigit() and _group(p) ==
            process.pid and int(p.name) != process.pid
        ]
        assert len(children) >= 2
        if how is signal.SIGINT:
            os.killpg(process.pid, how)
        else:
            process.kill()
        rest, noise = process.communicate(timeout=20)
    assert gone(children)
    if how is signal.SIGINT:
        assert (process.returncode, rest, noise) == (0, "stopped\n", "")


def _group(process: Path) -> int:
    try:
        return int((process / "stat").read_text("ascii").rsplit(")", 1)[1].split()[2])
    except (FileNotFoundError, ProcessLookupError):
        return -1
