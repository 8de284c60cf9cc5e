"""The part of a sheet that is done at the desk: the drawing, the chart, what was noticed."""

from __future__ import annotations

import math
from collections.abc import Iterator

from biaspredict.findings import Gravity
from biaspredict.infer.charts import ChartCheck
from biaspredict.infer.worksheet import Worksheet
from biaspredict.model.readings import Quantity
from biaspredict.predict.meters import top_ohms
from biaspredict.report import words
from biaspredict.report.measuring import reach, shown
from biaspredict.report.sheet.figure import Figure
from biaspredict.report.sheet.markup import Html, join, table, tag
from biaspredict.report.sheet.pieces import box, checks, reason, section, sentences, span

LARGEST = 1.35  # times the drawing's own size


def drawing(picture: Figure) -> Html:
    """The drawing, or why there is none."""
    if not picture.svg:
        return reason(f"Not drawn: {picture.reason}")
    # On a screen letters keep their size, and the drawing is moved under the eye; on paper it is
    # as large as the paper, but not larger than life.
    wide = picture.paper.width
    sizes = f"--natural: {wide:.0f}px; max-width: {wide * LARGEST:.0f}px"
    return tag("div", Html(picture.svg), class_="drawing", style=sizes)


def pieces(picture: Figure) -> Html | None:
    """The drawing again in parts, for paper only."""
    paper = picture.paper
    count = len(paper.pieces)
    if not count:
        return None
    return join([
        tag("div", tag("p", f"Drawing, part {number} of {count}", class_="small"),
            tag("div", Html(piece), class_="drawing"),
            class_="piece lying" if paper.pieces_lie else "piece")
        for number, piece in enumerate(paper.pieces, start=1)
    ])


def transcription(sheet: Worksheet) -> Html:
    """What is checked before a probe is taken up."""
    told: list[object] = ["Every part of the paper sheet is on this drawing, with its value"]
    told += ["Controls and switches stand as the paper sheet's chart wants them"]
    for finding in sheet.findings:
        if finding.gravity is not Gravity.NOTE:
            told.append(sentences(finding.fact, finding.remedy))
    notes = [tag("li", note) for note in sheet.stage.notes]
    return section(
        "At the desk", checks(told),
        tag("ul", notes, class_="plain small") if notes else None,
        [chart(check) for check in sheet.charts if check.lines],
    )


def chart(check: ChartCheck) -> Html:
    """A printed chart beside the prediction, through the chart's own meter."""
    quantity = Quantity.OHMS if check.chart.quantity == "ohms" else Quantity.VOLTS
    off = {id(entry) for entry, _, _ in check.off}
    rows = []
    for line in check.lines:
        entry = line.entry
        name = entry.name if entry.minus_name is None else f"{entry.name} to {entry.minus_name}"
        printed = words.measured(entry.value, quantity) if math.isfinite(entry.value) else "over"
        if quantity is Quantity.OHMS:
            top = top_ohms(check.chart.meter)
            expected = shown(line.expected, top)
            limits = reach(line.low, line.high, top)
        else:
            expected, limits = words.volts(line.expected), span(line.low, line.high)
        rows.append((
            box(), name, printed, expected, limits,
            tag("strong", "OFF") if id(entry) in off else "agrees",
        ))
    return tag(
        "div",
        tag("h3", f"The printed {check.chart.quantity} chart beside the prediction"),
        table(
            ("", "Point", "Printed", "Predicted", "95 % of sound stages", "Verdict"), rows,
            kinds=("tick", "name", "figure", "figure", "band", ""), class_="wide low",
        ),
        list(_remarks(check)),
    )


def _remarks(check: ChartCheck) -> Iterator[Html]:
    if check.turned:
        yield tag("p", "It fits with the black lead on the points, and is taken so.")
    for place, slip in enumerate(check.slips[:2]):
        lead = "Most likely: " if place == 0 else "Or: "
        yield tag("p", lead, sentences(slip.words))
    if check.off and not check.slips and check.law:
        nodes = words.listed([balance.node for balance in check.law])
        yield tag("p", f"By the chart's own volts the currents at {nodes} do not add up: a "
                       "misprint there is likely.")
