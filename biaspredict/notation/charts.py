"""The manual's charts: heads and figures, first as read, then at their nodes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

from biaspredict.errors import InputError
from biaspredict.model.stage import Chart, ChartEntry
from biaspredict.notation import outside, reason
from biaspredict.notation.clauses import ChartHead, Figure
from biaspredict.notation.lines import Line
from biaspredict.notation.naming import Named
from biaspredict.notation.place import Board
from biaspredict.notation.wiring import Point


class Printed(NamedTuple):
    """A chart whose nodes are not named yet: each entry with its points."""

    chart: Chart
    entries: tuple[tuple[ChartEntry, Point, Point | None], ...]


def printed(
    charts: Iterable[tuple[Line, ChartHead, list[Figure]]], board: Board
) -> tuple[Printed, ...]:
    """The charts of a file; mistakes go to `board.wrong`."""
    found = []
    for line, said, figures in charts:
        try:
            chart = _head(line, said)
        except InputError as problem:
            board.wrong.append(problem)
            chart = Chart("", ())
        entries = [entry for figure in figures if (entry := _entry(figure, chart, board))]
        _repeated([entry for entry, _, _ in entries], board)
        below = line.pieces[0].number
        if not figures and not any(m.place and m.place.line > below for m in board.wrong):
            board.say(
                "a chart without figures",
                "Write them indented in the next lines: Q1.base 3.1, Q1.emitter 2.5",
                line.span(),
            )
        found.append(Printed(chart, tuple(entries)))
    return tuple(found)


def at_nodes(found: Printed, named: Named) -> Chart:
    """The chart with the canonical node of each figure."""
    entries = tuple(
        replace(entry, node=named.of[point], minus=None if minus is None else named.of[minus])
        for entry, point, minus in found.entries
    )
    return replace(found.chart, entries=entries)


def _head(line: Line, said: ChartHead) -> Chart:
    head = outside.chart_head(said, line.span())
    chart = Chart(
        head.quantity, (), meter=head.meter, line_volts=head.line_volts, origin=line.span()
    )
    return chart if head.tolerance is None else replace(chart, tolerance=head.tolerance)


def _entry(
    figure: Figure, chart: Chart, board: Board
) -> tuple[ChartEntry, Point, Point | None] | None:
    """The figure with its points; None after a mistake."""
    point = board.point(figure.name, new=False)
    minus = board.point(figure.minus, new=False) if figure.minus else None
    value = float("inf")
    try:
        if figure.over and chart.quantity == "volts":
            raise InputError(
                "'over' belongs to ohms", remedy="Write the volts.", place=figure.place
            )
        if figure.amount is not None and chart.quantity:
            why = reason.VOLTS if chart.quantity == "volts" else reason.OHMS
            value = reason.value(figure.amount, why)
    except InputError as problem:
        board.wrong.append(problem)
    if point is None or (figure.minus is not None and minus is None):
        return None
    minus_name = board.spelling(minus) if minus else None
    entry = ChartEntry(
        board.spelling(point), "", value, minus_name, None, figure.about, figure.place
    )
    return entry, point, minus


def _repeated(entries: list[ChartEntry], board: Board) -> None:
    seen: set[tuple[str, str | None]] = set()
    for entry in entries:
        if (entry.name, entry.minus_name) in seen and entry.origin is not None:
            board.say(
                f"{entry.name} stands twice on this chart",
                "Keep the figure that is printed.",
                entry.origin,
            )
        seen.add((entry.name, entry.minus_name))
