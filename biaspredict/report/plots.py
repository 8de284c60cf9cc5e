"""Plots for paper and notebooks, in black, through matplotlib."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from biaspredict.errors import InputError
from biaspredict.predict.corners import Corners
from biaspredict.predict.duties import decibels
from biaspredict.predict.load_line import LoadLine
from biaspredict.report import words
from biaspredict.saving import save as save_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Figure

KINDS = ("svg", "png", "pdf")
BAND = np.geomspace(5.0, 50e3, 121)


def _figure(**size: Any) -> Figure:
    """An empty figure. Raises InputError where matplotlib is not installed."""
    try:
        from matplotlib.figure import Figure as Made
    except ImportError:
        raise InputError(
            "plots are drawn by matplotlib, which is not installed",
            remedy='Install it along: pip install "biaspredict[plots]". The text page has a plot '
            "of its own.",
        ) from None
    return Made(**size)


def load_line_figure(loads: Sequence[LoadLine]) -> Figure:
    """The load line of each transistor, and where it rests. Raises InputError without any."""
    if not loads:
        raise InputError(
            "no transistor here works into a resistance, so there is no load line to draw",
            remedy="The text page tells where each transistor stands.",
        )
    figure = _figure(figsize=(6.0, 3.6 * len(loads)), layout="constrained")
    for place, line in enumerate(loads, start=1):
        axes = figure.add_subplot(len(loads), 1, place)
        axes.plot([0.0, line.open_volts], [line.full_amps * 1e3, 0.0], color="black")
        axes.plot([line.vce], [line.amps * 1e3], "o", color="black")
        axes.annotate(
            f"Q: {words.volts(line.vce)}, {words.amps(line.amps)}", (line.vce, line.amps * 1e3),
            textcoords="offset points", xytext=(8, 8),
        )
        axes.set_title(line.ref)
        axes.set_xlabel("V_CE in volts")
        axes.set_ylabel("current in mA")
        axes.set_xlim(left=0.0)
        axes.set_ylim(bottom=0.0)
        axes.grid(True, color="0.85")
    return figure


def response_figure(found: Corners) -> Figure:
    """Decibels at the output for a volt of the source, 5 Hz to 50 kHz."""
    figure = _figure(figsize=(6.0, 3.6), layout="constrained")
    axes = figure.add_subplot()
    sizes = np.abs(found.path.gain(BAND))
    axes.semilogx(BAND, [decibels(float(size)) for size in sizes], color="black")
    exact = found.figures.exact_hertz
    if exact is not None:
        axes.axvline(exact, color="black", linestyle=":", label="3 dB down")
        axes.legend()
    axes.set_title(f"{found.path.start.node} to {found.path.end.node}")
    axes.set_xlabel("Hz")
    axes.set_ylabel("dB")
    axes.grid(True, which="both", color="0.9")
    return figure


def as_svg(figure: Figure) -> str:
    """The figure as an SVG element."""
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None})
    found = text.getvalue()
    return found[found.index("<svg") :]


def save(figure: Figure, path: str | Path) -> None:
    """Write a figure to a file whose ending tells its kind. Raises InputError."""
    where = Path(path)
    kind = where.suffix.lstrip(".").lower()
    if kind not in KINDS:
        raise InputError(
            f"{where.name} has no ending that tells the kind of picture",
            remedy=f"End it in {', '.join('.' + k for k in KINDS[:-1])} or .{KINDS[-1]}.",
        )
    made = io.BytesIO()
    figure.savefig(made, format=kind)
    save_file(where, made.getvalue())
