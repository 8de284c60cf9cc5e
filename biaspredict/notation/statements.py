"""A text as statements: each line read by itself, so that one mistake hides no other."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from biaspredict.errors import InputError, Mistakes
from biaspredict.notation import names, syntax
from biaspredict.notation.clauses import ChartHead, Figure, Path, StageStatement
from biaspredict.notation.lines import Line, cut
from biaspredict.span import Span

MOST_MISTAKES = 40


@dataclass(slots=True)
class Statements:
    """What the lines of a stage file say.

    charts: each chart with its figures. blurred: keys of all words in lines that could not be
    read: what they would have said of these names is unknown.
    """

    lines: tuple[Line, ...]
    wrong: list[InputError]
    read: list[tuple[Line, StageStatement]] = field(default_factory=list)
    charts: list[tuple[Line, ChartHead, list[Figure]]] = field(default_factory=list)
    blurred: frozenset[str] = frozenset()


def stage_statements(text: str, file: str) -> Statements:
    """Read every line of a stage file; mistakes are in the answer, not raised."""
    lines, wrong = cut(text, file)
    found = Statements(lines, list(wrong))
    under: Line | None = None  # the chart whose figures may follow
    open_chart = False  # no other statement has come since
    for line in lines:
        if under is not None and line.indent > under.indent:
            _figures(found, line)
            continue
        under = None
        try:
            statement = syntax.stage_statement(line)
        except InputError as problem:
            figures = open_chart and _is_figures(line)
            found.wrong.append(_unindented(line) if figures else problem)
            found.blurred |= _words(line.text)
            if line.text.casefold().startswith("chart"):
                under = line
            continue
        if isinstance(statement, ChartHead):
            under, open_chart = line, True
            found.charts.append((line, statement, []))
        elif open_chart and isinstance(statement, Path) and _is_figure(statement):
            found.wrong.append(_unindented(line))
        else:
            open_chart = False
            found.read.append((line, statement))
    return found


def _figures(found: Statements, line: Line) -> None:
    try:
        figures = syntax.chart_figures(line)
    except InputError as problem:
        found.wrong.append(problem)
        return
    if found.charts:
        found.charts[-1][2].extend(figures)


def _is_figures(line: Line) -> bool:
    try:
        syntax.chart_figures(line)
    except InputError:
        return False
    return True


def _is_figure(path: Path) -> bool:
    item = path.items[0]
    one = len(path.items) == len(item.clauses) == 1 and bool(item.clauses[0].amounts)
    return one and names.family(item.name.text) is None and not item.clauses[0].key


def _unindented(line: Line) -> InputError:
    return InputError(
        "is this a figure of the chart above?",
        remedy="Chart figures stand indented under their chart line.",
        place=line.span(),
    )


def _words(text: str) -> frozenset[str]:
    """Keys of everything in a line that might be a name."""
    found = re.findall(r"[\w+'/-]*\w[\w+'/-]*", text)
    return frozenset(names.key(part) for word in found for part in (word, word.rstrip("+-")))


def fail(wrong: Iterable[InputError]) -> None:
    """Raise all mistakes in the order of their places, if there are any."""
    found = sorted(wrong, key=lambda m: (m.place.line, m.place.column) if m.place else (0, 0))
    if not found:
        return
    more = len(found) - MOST_MISTAKES
    if more > 0:
        del found[MOST_MISTAKES:]
        found.append(InputError(f"and {more} more mistakes", remedy="Mend these first."))
    raise Mistakes(found)


def start_of(text: str, file: str) -> Span:
    """The first line, for what is wrong with a file as a whole."""
    first = text.removeprefix("\ufeff").splitlines()[:1] or [""]
    return Span(file, 1, 1, len(first[0]) + 1, first[0])
