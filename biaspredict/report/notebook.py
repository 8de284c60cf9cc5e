"""How records show themselves in a notebook: tables, the drawing, the response.

Everything is black on white, and all text is escaped on its way in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from biaspredict.errors import BiaspredictError
from biaspredict.infer.supposition import Outcome
from biaspredict.infer.verdict import WORTH_A_LINE, Verdict
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage
from biaspredict.predict.bias import Bias
from biaspredict.predict.corners import Corners
from biaspredict.predict.duties import decibels
from biaspredict.predict.lesson import Lesson
from biaspredict.predict.swap import Swap
from biaspredict.report import accusing, asides, plots, supposing, swapping, teaching, words
from biaspredict.report.capacitors import hertz
from biaspredict.report.curve import plot
from biaspredict.report.drawing.cache import known_layout
from biaspredict.report.drawing.draw import draw
from biaspredict.report.sheet.markup import Html, join, tag

CELL = "padding:0.15em 0.8em; border-bottom:1px solid #000; text-align:"
MOST_SUSPECTS = 12


def stage_html(stage: Stage, volts: Mapping[str, float] | None) -> str:
    """The drawing, at the predicted volts where there are any."""
    return join(_title(stage.title), _picture(stage, volts))


def bias_html(bias: Bias) -> str:
    """The drawing, and the node table with bands."""
    bands = {node: (level.low, level.high) for node, level in bias.levels.items()}
    rows = [
        (node, words.volts(level.volts), words.span(level.low, level.high))
        for node, level in bias.levels.items()
    ]
    return join(
        _title(bias.stage.title), _picture(bias.stage, bias.volts(), bands),
        _table(("node", "volts", "95 % of sound stages"), rows, right=(1,)),
    )


def readings_html(readings: Readings) -> str:
    rows = [(asides.name_of(r), asides.value_of(r), r.remark) for r in readings.entries]
    return join(_title(readings.title), _table(("reading", "value", ""), rows, right=(1,)))


def verdict_html(verdict: Verdict) -> str:
    """Readings beside what a sound stage shows, suspects, and the next reading."""
    blocks: list[Html] = []
    if verdict.compared:
        rows = []
        for entry in verdict.compared:
            mark = "ok" if entry.inside else ("HIGH" if entry.off > 0 else "LOW")
            reading = entry.reading
            band = words.span(entry.low, entry.high, reading.quantity)
            rows.append((asides.name_of(reading), asides.value_of(reading), band, mark))
        blocks.append(_table(("reading", "value", "sound: 95 % between", ""), rows, right=(1,)))
    blocks.append(_suspects(verdict))
    mind = accusing.fuse_caution(verdict)
    if mind is not None:
        blocks.append(tag("p", f"Caution: {mind}"))
    if verdict.settled:
        told = f"Stop measuring: {accusing.repair(verdict)} answers all that is left."
        blocks.append(tag("p", told))
    elif verdict.splits:
        split = verdict.splits[0]
        means = [
            (words.span(o.low, o.high, split.touch.probe.quantity), words.listed(
                [f"{' with '.join(label)} ({words.percent(share)})" for label, share in o.means],
                "or"))
            for o in split.outcomes
        ]
        blocks.append(tag("p", f"Measure next: {split.touch.words} (costs {split.touch.cost:g})"))
        blocks.append(_table(("if it reads", "it means"), means))
    return join(*blocks)


def _suspects(verdict: Verdict) -> Html:
    ranking = verdict.ranking
    if not verdict.compared:
        return tag("p", "No readings yet.")
    head = f"Sound, as far as these readings tell ({words.percent(ranking.sound)})."
    if not verdict.sound:
        head = "Suspects"
    if not ranking.explained:
        head = "Nothing in the catalogue explains these readings; nearest:"
    shown = [s for s in ranking.suspects if s.weight >= WORTH_A_LINE][:MOST_SUSPECTS]
    rows = []
    for suspect in shown:
        degrees = [
            f"{words.severity(s.value, s.unit)} ({words.severity(s.low, s.unit)} to "
            f"{words.severity(s.high, s.unit)})" for s in suspect.severities if s is not None
        ]
        rows.append((str(suspect.group), words.percent(suspect.weight), suspect.words,
                     "; ".join(degrees)))
    return join(tag("p", head), _table(("group", "share", "fault", "degree"), rows, right=(0, 1)))


def corners_html(found: Corners) -> str:
    """Each capacitor's corner, the stage's figures, and the response as a curve."""
    rows = [
        (c.ref, c.duty.value, "-" if c.ohms is None else words.ohms(c.ohms), hertz(c.hertz),
         "bass" if c.bass else "treble")
        for c in found.corners
    ]
    figures = found.figures
    told = [
        ("gain from the source", words.ratio(abs(figures.gain))),
        ("sum of own corners", hertz(figures.sum_hertz)),
        ("3 dB down", hertz(figures.exact_hertz)),
    ]
    return join(
        _title(f"{found.path.stage.title}: {found.path.start.node} to {found.path.end.node}"),
        _table(("", "does", "sees", "own corner", "end"), rows, right=(2, 3)),
        _table(("the whole stage", ""), told, right=(1,)), _response(found),
    )


def _response(found: Corners) -> Html:
    """As a plot where matplotlib is installed, in characters where it is not."""
    try:
        return Html(plots.as_svg(plots.response_figure(found)))
    except BiaspredictError:
        band = np.geomspace(5.0, 50e3, 61)
        sizes = [decibels(float(size)) for size in np.abs(found.path.gain(band))]
        return _pre("\n".join(plot(band.tolist(), sizes)))


def lesson_html(found: Lesson) -> str:
    return _pre(teaching.page(found))


def outcome_html(found: Outcome) -> str:
    return _pre(supposing.page(found))


def swap_html(found: Swap) -> str:
    return _pre(swapping.page(found))


def _picture(
    stage: Stage, volts: Mapping[str, float] | None,
    bands: Mapping[str, tuple[float, float]] | None = None,
) -> Html:
    try:
        svg = draw(stage, volts, bands=bands, layout=known_layout(stage, volts))
    except BiaspredictError as problem:
        return tag("p", f"Not drawn: {problem.fact}. {problem.remedy}")
    return Html(svg[svg.index("<svg") :])


def _title(text: str) -> Html:
    return tag("p", tag("b", text))


def _pre(text: str) -> Html:
    return tag("pre", text, style="line-height:1.2")


def _table(
    heads: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()
) -> Html:
    def cells(kind: str, row: Sequence[str]) -> list[Html]:
        return [
            tag(kind, cell, style=f"{CELL}{'right' if i in right else 'left'}")
            for i, cell in enumerate(row)
        ]

    body = [tag("tr", cells("td", row)) for row in rows]
    return tag(
        "table", tag("thead", tag("tr", cells("th", heads))), tag("tbody", body),
        style="border-collapse:collapse",
    )
