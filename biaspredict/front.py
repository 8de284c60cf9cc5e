"""The package in Python: a handful of functions on frozen records.

    >>> import biaspredict
    >>> stage = biaspredict.read_stage('''
    ... stage "one transistor"
    ... rail B+ 10 V 5%
    ... Q1 npn silicon gain 100 vbe 0.7 V at 1.08 mA early none icbo 0
    ... B+ -- R1 10K -- Q1.base -- R2 2.2K -- ground
    ... B+ -- R3 3.6K -- Q1.collector
    ... Q1.emitter -- R4 1K -- ground
    ... ''')
    >>> found = biaspredict.bias(stage)
    >>> print(f"{found.levels['Q1.collector'].volts:.2f} V")
    6.14 V

What a function returns is a plain record of the package; in a notebook it shows itself. The
records know nothing of pages: the first function that returns one of a kind teaches that kind.
All functions raise `BiaspredictError`, with the fact and the remedy, and nothing else on purpose.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from biaspredict import classroom, pipeline, replacing
from biaspredict.errors import BiaspredictError
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import numpy as np
    from numpy.typing import NDArray

    from biaspredict.infer.supposition import Outcome
    from biaspredict.infer.verdict import Verdict
    from biaspredict.pipeline import Proof
    from biaspredict.predict.bias import Bias
    from biaspredict.predict.corners import Corners
    from biaspredict.predict.lesson import Lesson
    from biaspredict.predict.swap import Swap
    from biaspredict.report.plots import Figure

__all__ = [
    "BiaspredictError",
    "bias",
    "corners",
    "draw",
    "lesson",
    "load_readings",
    "load_stage",
    "plot_load_lines",
    "plot_response",
    "proof",
    "read_readings",
    "read_stage",
    "specimens",
    "suspect",
    "swap",
    "what_if",
    "write_stage",
]

Record = TypeVar("Record")
SHOWS = "_repr_html_"  # what notebooks ask a record for


def read_stage(text: str) -> Stage:
    """A stage from its text; grammar/README.md is the guide. Raises with every mistake's place.

    >>> stage = read_stage('''
    ... stage "three resistors"
    ... rail B+ 10 V
    ... B+ -- R1 1K -- A -- R2 1K -- ground
    ... ''')
    >>> [part.ref for part in stage.parts]
    ['R1', 'R2']
    """
    from biaspredict.notation import read_stage as read

    return _shown(read(text, "text"), _stage_html)


def load_stage(path: str | Path) -> Stage:
    """A stage from its file.

    >>> load_stage("no-such.stage")
    Traceback (most recent call last):
        ...
    biaspredict.errors.InputError: there is no file no-such.stage...
    """
    return _shown(pipeline.load_stage(path), _stage_html)


def write_stage(stage: Stage) -> str:
    """The text that reads back as the same stage.

    >>> text = write_stage(read_stage('stage "a"\\nrail B+ 10 V\\nB+ -- R1 1K -- ground'))
    >>> read_stage(text).parts[0].now
    1000.0
    """
    from biaspredict.notation import write_stage as write

    return write(stage)


def read_readings(text: str, stage: Stage) -> Readings:
    """Readings of a stage from their text.

    >>> stage = read_stage('stage "a"\\nrail B+ 10 V\\nB+ -- R1 1K -- A -- R2 1K -- ground')
    >>> read_readings('readings "today"\\nA 4.97', stage).entries[0].value
    4.97
    """
    from biaspredict.notation import read_readings as read

    return _shown(read(text, "text", stage), _readings_html)


def load_readings(path: str | Path, stage: Stage) -> Readings:
    """Readings of a stage from their file.

    >>> stage = read_stage('stage "a"\\nrail B+ 10 V\\nB+ -- R1 1K -- ground')
    >>> load_readings("no-such.readings", stage)
    Traceback (most recent call last):
        ...
    biaspredict.errors.InputError: there is no file no-such.readings...
    """
    return _shown(pipeline.load_readings(path, stage), _readings_html)


def proof(stage: Stage) -> Proof:
    """The slips of a transcription: `findings`, and each chart beside the stage.

    >>> slips = proof(read_stage('''
    ... stage "a base that nothing feeds"
    ... rail B+ 10 V
    ... Q1 npn
    ... B+ -- R1 1K -- Q1.collector
    ... Q1.emitter -- R2 1K -- ground
    ... IN -- C1 0.1 MFD film -- Q1.base
    ... input IN from 600
    ... '''))
    >>> any("Q1" in finding.about for finding in slips.findings)
    True
    """
    return pipeline.proof(stage)


def bias(stage: Stage) -> Bias:
    """Volts at every node with the band of sound specimens: `levels`, and `band` between two.

    >>> found = bias(read_stage('''
    ... stage "divider"
    ... rail B+ 10 V 5%
    ... assume resistors 10%
    ... B+ -- R1 10K -- A -- R2 10K -- ground
    ... '''))
    >>> level = found.levels["A"]
    >>> print(f"{level.volts:.2f}, sound from {level.low:.1f} to {level.high:.1f} V")
    5.00, sound from 4.5 to 5.5 V
    """
    pipeline.must_hang_together(stage)
    return _shown(pipeline.bias(stage), _bias_html)


def specimens(
    stage: Stage, count: int, seed: int = 1, executor: Executor | None = None
) -> dict[str, NDArray[np.float64]]:
    """Volts (count,) at each node of sound specimens drawn within tolerance; NaN where unsolved.

    executor: any of `concurrent.futures`' kind, left open; without one, many are shared out over
    the processors of this machine.

    >>> stage = read_stage('''
    ... stage "divider"
    ... rail B+ 10 V 5%
    ... assume resistors 10%
    ... B+ -- R1 10K -- A -- R2 10K -- ground
    ... ''')
    >>> volts = specimens(stage, 1000)["A"]
    >>> print(f"{volts.mean():.1f} V, {volts.std():.2f} V about it")
    5.0 V, 0.26 V about it
    """
    pipeline.must_hang_together(stage)
    return classroom.specimens(stage, count, seed, executor)


def suspect(stage: Stage, readings: Readings, others: Readings | None = None) -> Verdict:
    """What explains the readings: `ranking.suspects`, and `splits`, the readings to take next.

    others: readings of the other channel, known to be good.

    >>> stage = read_stage('''
    ... stage "divider"
    ... rail B+ 10 V 1%
    ... assume resistors 5%
    ... B+ -- R1 10K -- A -- R2 10K -- ground
    ... ''')
    >>> found = suspect(stage, read_readings('readings "today"\\nrail B+ 10.0\\nA 10.0', stage))
    >>> sorted({part for s in found.ranking.suspects[:2] for part in s.parts})
    ['R1', 'R2']
    """
    pipeline.must_hang_together(stage)
    return _shown(pipeline.suspect(stage, readings, None, others), _verdict_html)


def corners(stage: Stage, start: str | None = None, end: str | None = None) -> Corners:
    """What each capacitor does to the bass, and where the whole stage is 3 dB down.

    start, end: names of the input and the output, of several.

    >>> found = corners(read_stage('''
    ... stage "one capacitor"
    ... IN -- C1 1 MFD film -- OUT -- R1 1K -- ground
    ... rail B+ 10 V
    ... B+ -- R2 1M -- ground
    ... input IN from 1
    ... output OUT into 1M
    ... '''))
    >>> print(f"{found.figures.exact_hertz:.0f} Hz")
    159 Hz
    """
    from biaspredict.predict.corners import corners as corners_of

    pipeline.must_hang_together(stage)
    found = corners_of(pipeline.fed(stage).stage, pipeline.referee(), start=start, end=end)
    return _shown(found, _corners_html)


def swap(stage: Stage, *changes: str) -> Swap:
    """The stage before and after changes such as "C3=47uF" or "R4=1.2K".

    >>> stage = read_stage('''
    ... stage "divider"
    ... rail B+ 10 V
    ... B+ -- R1 10K -- A -- R2 10K -- ground
    ... ''')
    >>> found = swap(stage, "R2=30K")
    >>> print(f"{found.before.volts['A']:.2f} V, then {found.after.volts['A']:.2f} V")
    5.00 V, then 7.50 V
    """
    pipeline.must_hang_together(stage)
    return _shown(replacing.swap(stage, changes), _swap_html)


def lesson(stage: Stage) -> Lesson:
    """The bias worked by hand beside the solved stage: `lines`, and what follows from them.

    >>> found = lesson(read_stage('''
    ... stage "fixed bias"
    ... rail B+ 12 V
    ... Q1 npn gain 50 vbe 0.7 V at 2.35 mA early none icbo 0
    ... B+ -- R1 240K -- Q1.base
    ... B+ -- R2 2.2K -- Q1.collector
    ... Q1.emitter -- ground
    ... '''))
    >>> [line.step.sum for line in found.lines][1]
    '(12.0 V - 700 mV) / (240k)'
    """
    pipeline.must_hang_together(stage)
    return _shown(classroom.lesson(stage), _lesson_html)


def what_if(stage: Stage, fault: str) -> Outcome:
    """What a fault such as "R2 opens" or "C1 leaks 68K" would do: volts `before` and `after`.

    >>> stage = read_stage('''
    ... stage "divider"
    ... rail B+ 10 V
    ... B+ -- R1 10K -- A -- R2 10K -- ground
    ... ''')
    >>> found = what_if(stage, "R2 opens")
    >>> print(f"{found.after.volts['A']:.1f} V")
    10.0 V
    """
    pipeline.must_hang_together(stage)
    return _shown(classroom.what_if(stage, [fault])[0], _outcome_html)


def draw(stage: Stage) -> str:
    """The stage as an SVG document, each node at the height of its voltage where it solves.

    >>> svg = draw(read_stage('stage "a"\\nrail B+ 10 V\\nB+ -- R1 1K -- ground'))
    >>> "<svg" in svg
    True
    """
    from biaspredict.report.drawing.draw import draw as drawn

    return drawn(stage, _volts_or_none(stage))


def plot_response(found: Corners) -> Figure:
    """The response of `corners` as a matplotlib figure, 5 Hz to 50 kHz (needs matplotlib).

    >>> stage = read_stage('''
    ... stage "one capacitor"
    ... IN -- C1 1 MFD film -- OUT -- R1 1K -- ground
    ... rail B+ 10 V
    ... B+ -- R2 1M -- ground
    ... input IN from 1
    ... output OUT into 1M
    ... ''')
    >>> plot_response(corners(stage)).axes[0].get_xlabel()
    'Hz'
    """
    from biaspredict.report import plots

    return plots.response_figure(found)


def plot_load_lines(found: Lesson) -> Figure:
    """The load line of each transistor of a `lesson` as a matplotlib figure (needs matplotlib).

    >>> found = lesson(read_stage('''
    ... stage "fixed bias"
    ... rail B+ 12 V
    ... Q1 npn gain 50
    ... B+ -- R1 240K -- Q1.base
    ... B+ -- R2 2.2K -- Q1.collector
    ... Q1.emitter -- ground
    ... '''))
    >>> plot_load_lines(found).axes[0].get_title()
    'Q1'
    """
    from biaspredict.report import plots

    return plots.load_line_figure(found.loads)


# --- notebooks ------------------------------------------------------------------------------


def _shown(found: Record, show: Callable[[Any], str]) -> Record:
    """The record, whose kind from now on shows itself in a notebook."""
    kind = type(found)
    if SHOWS not in kind.__dict__:
        setattr(kind, SHOWS, show)
    return found


def _volts_or_none(stage: Stage) -> dict[str, float] | None:
    """Predicted volts where the stage solves."""
    try:
        pipeline.must_hang_together(stage)
        from biaspredict.predict.lesson import solve

        return solve(pipeline.fed(stage).stage, pipeline.referee())
    except BiaspredictError:
        return None


def _stage_html(stage: Stage) -> str:
    from biaspredict.report import notebook

    return notebook.stage_html(stage, _volts_or_none(stage))


def _readings_html(readings: Readings) -> str:
    from biaspredict.report import notebook

    return notebook.readings_html(readings)


def _bias_html(found: Bias) -> str:
    from biaspredict.report import notebook

    return notebook.bias_html(found)


def _verdict_html(found: Verdict) -> str:
    from biaspredict.report import notebook

    return notebook.verdict_html(found)


def _corners_html(found: Corners) -> str:
    from biaspredict.report import notebook

    return notebook.corners_html(found)


def _swap_html(found: Swap) -> str:
    from biaspredict.report import notebook

    return notebook.swap_html(found)


def _lesson_html(found: Lesson) -> str:
    from biaspredict.report import notebook

    return notebook.lesson_html(found)


def _outcome_html(found: Outcome) -> str:
    from biaspredict.report import notebook

    return notebook.outcome_html(found)
