"""The page of `proof`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from biaspredict.findings import Finding
from biaspredict.infer.charts import DISAGREES, ChartCheck
from biaspredict.model.readings import Quantity
from biaspredict.model.stage import Stage
from biaspredict.report import asides, words


def page(
    stage: Stage, findings: Iterable[Finding], charts: Iterable[ChartCheck], unsolved: str
) -> str:
    """Findings, then each chart beside the stage."""
    lines = [words.wrapped(stage.title)]
    for finding in findings:
        text = f"{words.GRAVITIES[finding.gravity]}: {finding.fact}"
        lines.append(words.wrapped(text, "  ", "    "))
        if finding.remedy:
            lines.append(words.wrapped(finding.remedy, "    "))
    if unsolved:
        lines.append(words.wrapped(f"No volts could be predicted: {unsolved}", "  "))
    for check in charts:
        lines.extend(_chart(check))
    if len(lines) == 1:
        lines.append("  nothing to report")
    return "\n".join(lines)


def printed(value: float, quantity: Quantity) -> str:
    return words.measured(value, quantity) if math.isfinite(value) else "over"


def _chart(check: ChartCheck) -> Iterator[str]:
    quantity = Quantity.VOLTS if check.chart.quantity == "volts" else Quantity.OHMS
    if not check.off:
        yield f"  the {check.chart.quantity} chart agrees with the stage"
        return
    if check.agrees < DISAGREES:
        yield f"  the {check.chart.quantity} chart does not agree with the stage:"
    else:
        yield f"  the {check.chart.quantity} chart agrees on the whole; farthest off:"
    if check.turned:
        yield "    (taken with the black lead on the points, which fits better)"
    yield from words.table([
        (entry.name, f"printed {printed(entry.value, quantity)}",
         f"predicted {words.measured(expected, quantity)}")
        for entry, expected, _ in check.off
    ], indent="    ")
    for place, slip in enumerate(check.slips[:3]):
        lead = "most likely" if place == 0 else "or"
        yield words.wrapped(f"{lead}: {slip.words}", "    ", "      ")
    for balance in check.law:
        yield words.wrapped(f"by the chart's own volts: {asides.balance(balance)}", "    ",
                            "      ")
    if not check.slips and check.agrees < DISAGREES:
        yield "    no single slip explains it"
